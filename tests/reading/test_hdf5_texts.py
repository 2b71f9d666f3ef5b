"""Texts in HDF5 whose store is damaged: the library would never come back; ours refuses before it is asked."""

import subprocess
import sys

import h5py
import numpy as np
import pytest

import emgreview as er
from emgreview.errors import FormatError

HEAD = 16
"""Bytes of a heap's head, and of that of an object in it."""


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "it.h5"
    with h5py.File(path, "w") as made:
        made["emg"] = np.random.default_rng(1).normal(size=(400, 2))
        made["emg"].attrs["names"] = ["FDI", "APB"]
    return path


def changed(path, at, new):
    """The first global heap of a file with some bytes written anew."""
    content = bytearray(path.read_bytes())
    start = content.index(b"GCOL") + at
    content[start : start + len(new)] = new
    path.write_bytes(content)


def read(path):
    return er.read(path, data="emg", samples_along="rows", rate_hz=200, unit="uV", labels="emg@names")


def test_texts_that_are_sound_are_read(file):
    assert read(file).labels == ("FDI", "APB")


@pytest.mark.parametrize(
    ("at", "new"),
    [
        (HEAD + 8, (2**64 - HEAD).to_bytes(8, "little")),  # the head and this together are nothing
        (HEAD + 8, (2**64 - 2 * HEAD).to_bytes(8, "little")),  # back to where it was
        (HEAD + 8, (0xD9).to_bytes(8, "little")),  # the next one would begin within zeros
        (HEAD, bytes(16)),  # free room of no size
    ],
)
def test_a_text_that_takes_no_room_is_refused_before_the_library_looks_for_the_next(file, at, new):
    changed(file, at, new)
    run = [sys.executable, "-c", f"import emgreview as er; er.read({str(file)!r}, data='emg', samples_along='rows', "]
    run[-1] += "rate_hz=200, unit='uV', labels='emg@names')"
    done = subprocess.run(run, capture_output=True, text=True, timeout=60, check=False)  # nothing else could stop it
    assert "FormatError: it.h5 cannot be read as HDF5 (the texts stored at byte" in done.stderr
    with pytest.raises(FormatError, match="damaged"):
        er.look(file)


def test_a_file_that_was_mended_is_read(file):
    whole = file.read_bytes()
    changed(file, HEAD, bytes(16))
    with pytest.raises(FormatError):
        read(file)
    file.unlink()
    file.write_bytes(whole)
    assert read(file).n_samples == 400


def test_many_texts_are_read_wherever_their_heaps_lie(tmp_path):
    path = tmp_path / "it.h5"
    names = [f"channel {number}{'x' * (number % 90)}" for number in range(300)]
    with h5py.File(path, "w", userblock_size=1024) as made:
        made["emg"] = np.random.default_rng(1).normal(size=(400, len(names)))
        made["names"] = names
    found = er.read(path, data="emg", samples_along="rows", rate_hz=200, unit="uV", labels="names")
    assert found.labels == tuple(names)
    changed(path, HEAD, bytes(16))
    with pytest.raises(FormatError, match="the texts stored at byte"):
        er.look(path)
