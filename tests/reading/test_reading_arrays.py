"""MATLAB's files and HDF5: what of an array must be said, against scipy's and h5py's own writers and readers."""

import os
import subprocess
import sys
import tracemalloc
import warnings
from pathlib import Path

import h5py
import numpy as np
import pytest
import scipy.io
from mutated_formats import write_mat73

import emgreview as er
from emgreview.errors import EmgreviewError, FormatError, ParameterError, RateError, TruncatedError, UnknownNameError
from emgreview.reading.matlab import _variables

X = np.random.default_rng(1).integers(-2000, 2000, (3000, 2)).astype(np.int16)
LABELS = ("FCR", "ECR")
SAID = {"data": "trial.emg", "samples_along": "rows", "rate": "trial.fs", "labels": "trial.names", "unit": "uV"}
MATLAB_ITSELF = Path(scipy.io.__file__).parent / "matlab" / "tests" / "data"


def write_mat(path: Path, packed: bool = False, x: np.ndarray = X) -> Path:
    trial = {"emg": x, "fs": 1000.0, "names": np.array(LABELS, object)}
    more = {"across": x.T, "t": [0.5, 1.25], "n": [501, 1251], "lsb": 0.25, "one": x[:, 0].astype(float)}
    odd = {"turned": x + 1j, "note": "grasp", "sure": np.array([True]), "deep": np.zeros((2, 3, 4))}
    thin = {"thin": scipy.sparse.eye_array(3, format="csc")}
    scipy.io.savemat(path, {"trial": trial, **more, **odd, **thin}, do_compression=packed, oned_as="column")
    return path


@pytest.fixture(params=["plain", "packed", "7.3"])
def mat(request, tmp_path) -> Path:
    if request.param == "7.3":
        write_mat73(tmp_path / "a.mat", X, LABELS, 1000.0)
        return tmp_path / "a.mat"
    return write_mat(tmp_path / "a.mat", request.param == "packed")


def test_the_versions_agree_on_rows_and_columns_and_keep_stored_values(mat) -> None:
    rec = er.read(mat, **SAID, cues="t", cues_in="s", cue_label="go")
    assert (rec.labels, rec.rate_hz, rec.n_samples) == (LABELS, 1000, 3000)
    np.testing.assert_array_equal(rec.values(), X.T)
    assert rec.source.digital(5, 9, [1]).dtype == np.int16
    np.testing.assert_array_equal(rec.source.digital(700, 900, [1, 0]), X[700:900, ::-1].T)
    assert (rec.markers[0].sample, rec.markers[0].label, rec.markers[0].source) == (500, "go", "variable t")
    with pytest.raises(FormatError, match=r"holds 2 texts \(FCR, ECR\), and there are 3000 channels"):
        er.read(mat, **{**SAID, "samples_along": "columns"})


def test_a_look_lists_the_variables_and_asks_for_what_none_of_them_says(mat) -> None:
    seen = er.look(mat)
    assert {"trial.emg: 3000 x 2 int16", "trial.fs: 1 x 1 double", "trial.names: 1 x 2 cell"} <= set(seen.facts) | {
        fact.replace("2 x 1", "1 x 2") for fact in seen.facts
    }
    scaled = {"gain"} if any(fact.startswith("lsb") for fact in seen.facts) else set()
    assert {"data", "samples_along", "rate_hz", "columns", "unit"} | scaled == set(seen.asks)
    assert "rate='…', the variable that is it: trial.fs" in seen.asks["rate_hz"]
    with pytest.raises(ParameterError, match=r"which variable holds the samples.*trial\.emg: 3000 x 2"):
        er.read(mat, rate_hz=1000, unit="uV")


def test_columns_gains_and_cues_as_they_are_said(tmp_path) -> None:
    path = write_mat(tmp_path / "a.mat")
    across = er.read(path, data="across", samples_along="columns", rate_hz=1000, columns=[None, "ECR"], unit="uV")
    np.testing.assert_array_equal(across.values(), X.T[1:])
    scaled = er.read(path, **SAID, gain="lsb", cues="n", cues_in="samples from 1", cue_label="tone")
    np.testing.assert_array_equal(scaled.values(), X.T * 0.25)
    assert scaled.source.scale(0) == (0.25, 0.0)
    assert [one.sample for one in scaled.markers] == [500, 1250]
    one = er.read(path, data="one", rate_hz=1000, columns=["FCR"], unit="uV", gain=2)
    np.testing.assert_array_equal(one.values(), 2 * X.T[:1])
    renamed = er.read(path, **SAID, columns={"ECR": "extensor"})
    assert renamed.labels == ("extensor",)
    np.testing.assert_array_equal(renamed.values(), X.T[1:])


def test_a_column_of_times_is_held_against_the_rate(tmp_path) -> None:
    timed = np.c_[np.arange(3000) / 1000, X]
    scipy.io.savemat(tmp_path / "a.mat", {"x": timed})
    said = {"data": "x", "samples_along": "rows", "columns": ["time", *LABELS], "unit": "uV"}
    assert er.read(tmp_path / "a.mat", rate_hz=1000, **said).labels == LABELS
    with pytest.raises(RateError):
        er.read(tmp_path / "a.mat", rate_hz=2000, **said)


@pytest.mark.parametrize(
    ("change", "error", "said"),
    [
        ({"data": "turned"}, FormatError, "its numbers are complex"),
        ({"data": "thin"}, FormatError, "sparse"),
        ({"data": "note"}, FormatError, "holds no numbers"),
        ({"data": "deep"}, FormatError, "2 x 3 x 4; allowed: one channel"),
        ({"data": "trial.emgs"}, UnknownNameError, r"Did you mean 'trial\.emg'"),
        ({"samples_along": None}, ParameterError, "samples_along='rows' for 3000 samples of 2 channels"),
        ({"samples_along": "down"}, ParameterError, "'rows' or 'columns'"),
        ({"rate": "t"}, RateError, "is 2 numbers; allowed: one number above 0"),
        ({"rate": None}, RateError, r"rate='…'.*trial\.fs"),
        ({"rate_hz": 2000}, RateError, "the two must agree"),
        ({"labels": None}, ParameterError, "names no channels"),
        ({"cues": "t"}, ParameterError, "cues came without cues_in and cue_label"),
        ({"gain": "t", "labels": None, "columns": [None, "b"]}, None, ""),
        ({"gain": 0}, ParameterError, "other than 0"),
        ({"names": True}, UnknownNameError, "argument for MATLAB"),
    ],
)
def test_what_is_said_wrongly_is_told(tmp_path, change, error, said) -> None:
    path = write_mat(tmp_path / "a.mat")
    if error is None:
        assert er.read(path, **SAID | change).source.scale(0) == (1.25, 0.0)
        return
    with pytest.raises(error, match=said):
        er.read(path, **SAID | change)


def test_numbers_and_texts_of_files_that_matlab_wrote_are_those_that_scipy_reads() -> None:
    """The files that scipy's own tests bring along, written by MATLAB 6 to 8 on several machines."""
    compared = 0
    for path in sorted(MATLAB_ITSELF.glob("*.mat")):
        try:
            variables = _variables(path)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                known = scipy.io.loadmat(path)
        except (EmgreviewError, ValueError, TypeError, NotImplementedError, ImportError):
            continue
        for entry in variables.entries():
            if entry.name not in known:
                continue
            if entry.role == "numbers":
                np.testing.assert_array_equal(variables.numbers(entry.name), known[entry.name].ravel(order="F"))
                compared += 1
            elif entry.kind == "char" and entry.size:
                assert variables.texts(entry.name) == [str(one).rstrip() for one in known[entry.name]]
                compared += 1
    if not MATLAB_ITSELF.is_dir():
        pytest.skip("scipy's own tests are not installed")
    assert compared > 30


@pytest.mark.parametrize("at", [0, 60, 127, 128, 140, 200, 5000, -1])
def test_a_file_that_is_cut_short_is_told(mat, at) -> None:
    whole = mat.read_bytes()
    mat.write_bytes(whole[:at])
    with pytest.raises((FormatError, TruncatedError, UnknownNameError)):
        er.look(mat).call and er.read(mat, **SAID | {"data": "gone"})


def test_a_packed_variable_that_announces_more_than_it_can_hold_is_refused(tmp_path) -> None:
    import struct
    import zlib

    head = b"MATLAB 5.0".ljust(124) + b"\0\1IM"
    flags = struct.pack("<IIIIII", 6, 8, 6, 0, 5, 8) + struct.pack("<ii", 2**14, 2**14)
    element = struct.pack("<IIII", 1, 1, ord("x"), 0)[:16] + struct.pack("<II", 9, 2**31)
    inner = struct.pack("<II", 14, 2**31 + 100) + flags + element + bytes(10_000)
    packed = zlib.compress(inner)
    (tmp_path / "a.mat").write_bytes(head + struct.pack("<II", 15, len(packed)) + packed)
    with pytest.raises(FormatError, match="bytes"):
        er.read(tmp_path / "a.mat", data="x", samples_along="rows", rate_hz=1000, columns=["a"])


def test_cells_in_cells_without_end_are_refused(tmp_path) -> None:
    import struct

    inner = b""
    for _ in range(3000):
        body = struct.pack("<IIIIIIiiII", 6, 8, 1, 0, 5, 8, 1, 1, 1, 0) + inner
        inner = struct.pack("<II", 14, len(body)) + body
    (tmp_path / "a.mat").write_bytes(b"MATLAB 5.0".ljust(124) + b"\0\1IM" + inner)
    with pytest.raises(FormatError, match="more than 16 deep"):
        er.look(tmp_path / "a.mat")


def test_text_of_an_impossible_size_in_a_cell_is_no_text(tmp_path) -> None:
    import struct

    names = np.array(LABELS, dtype=object)
    scipy.io.savemat(tmp_path / "a.mat", {"x": X.astype(float), "names": names})
    head = struct.pack("<IIIIII", 6, 8, 4, 0, 5, 8)
    content = (tmp_path / "a.mat").read_bytes()
    assert content.count(head) == len(LABELS)
    at = content.index(head) + len(head)
    (tmp_path / "a.mat").write_bytes(content[:at] + struct.pack("<i", -1) + content[at + 4 :])
    with pytest.raises(EmgreviewError, match="names"):
        er.read(tmp_path / "a.mat", data="x", samples_along="rows", rate_hz=1000, labels="names", unit="uV")


def test_an_older_file_is_named(tmp_path) -> None:
    scipy.io.savemat(tmp_path / "a.mat", {"x": X.astype(float)}, format="4")
    with pytest.raises(FormatError, match=r"MATLAB 4; allowed: what save\('…', '-v7'\)"):
        er.look(tmp_path / "a.mat")


# HDF5 -------------------------------------------------------------------------------------------------------------

H5_SAID = {"data": "trial/emg", "samples_along": "rows", "rate": "trial/emg@rate", "labels": "names", "unit": "uV"}


@pytest.fixture
def h5(tmp_path) -> Path:
    path = tmp_path / "a.h5"
    with h5py.File(path, "w") as file:
        emg = file.create_dataset("trial/emg", data=X, chunks=(256, 2), compression="gzip")
        emg.attrs["rate"] = 1000.0
        file["names"] = list(LABELS)
        file["t"] = [500, 1250]
        file["across"] = X.T.astype(">f4")
        file["soft"] = h5py.SoftLink("/trial/emg")
        file["loop"] = h5py.SoftLink("/loop")
        file["trial/again"] = file["trial"]
        file["away"] = h5py.ExternalLink("other.h5", "/x")
        file["trial/home"] = h5py.SoftLink("/trial/emg")
        file.create_dataset("outside", (100, 2), "f8", external=[(str(tmp_path / "raw.bin"), 0, 1600)])
        layout = h5py.VirtualLayout((3000, 2), "f8")
        layout[:] = h5py.VirtualSource(str(tmp_path / "other.h5"), "x", (3000, 2))
        file.create_virtual_dataset("virtual", layout)
        file.create_dataset("huge", (10**12, 4), "f8", chunks=(1000, 4), compression="gzip")
        file.create_dataset("lump", (1 << 28, 8), "f8", chunks=(1 << 28, 1), compression="gzip")
        file["parts"] = np.zeros(200, [("a", "f8"), ("b", "i4")])
    return path


def test_a_dataset_is_read_as_h5py_reads_it(h5) -> None:
    rec = er.read(h5, **H5_SAID, cues="t", cues_in="samples from 0", cue_label="go")
    assert (rec.labels, rec.rate_hz) == (LABELS, 1000)
    with h5py.File(h5) as file:
        np.testing.assert_array_equal(rec.values(), file["trial/emg"][()].T)
    np.testing.assert_array_equal(rec.source.digital(250, 1300, [1]), X[250:1300, 1:].T)
    assert [one.sample for one in rec.markers] == [500, 1250]
    across = er.read(h5, data="across", samples_along="columns", rate_hz=1000, columns=[None, "ECR"], unit="uV")
    np.testing.assert_array_equal(across.values(), X.T[1:])


def test_a_look_at_a_file_lists_datasets_and_attributes(h5) -> None:
    seen = er.look(h5)
    assert "trial/emg: 3000 x 2 int16" in seen.facts
    assert "trial/emg@rate: one float64 (attribute)" in seen.facts
    assert any("away: one link (it leads to another file, which is not opened)" in fact for fact in seen.facts)
    assert sum("3000 x 2 int16" in fact for fact in seen.facts) == 1, "a group within itself is passed once"


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("away", "leads to another file, which is not opened"),
        ("outside", "its values lie in another file"),
        ("virtual", "virtual: its values lie in other files"),
        ("huge", "announces 32000000000000 bytes, and the file of"),
        ("lump", "bytes"),
        ("parts", "compound"),
        ("names", "no numbers|texts"),
        ("loop", "leads to '/loop'"),
        ("soft", "give that path"),
    ],
)
def test_what_cannot_be_read_from_the_file_alone_is_refused(h5, name, said, monkeypatch) -> None:
    opened = []
    real = os.open
    monkeypatch.setattr(os, "open", lambda path, *more, **named: opened.append(str(path)) or real(path, *more, **named))
    with pytest.raises(FormatError, match=said):
        er.read(h5, **H5_SAID | {"data": name})
    assert {Path(one).name for one in opened} <= {"a.h5"}
    assert sorted(one.name for one in h5.parent.iterdir()) == ["a.h5"]


def test_a_filter_that_is_missing_is_named(tmp_path) -> None:
    with h5py.File(tmp_path / "a.h5", "w") as file:
        made = h5py.h5p.create(h5py.h5p.DATASET_CREATE)
        made.set_chunk((100, 2))
        made.set_filter(32999, h5py.h5z.FLAG_OPTIONAL, ())
        h5py.h5d.create(file.id, b"x", h5py.h5t.NATIVE_DOUBLE, h5py.h5s.create_simple((300, 2)), made)
    with pytest.raises(FormatError, match=r"packed by filter 32999.*save it with gzip"):
        er.read(tmp_path / "a.h5", data="x", samples_along="rows", rate_hz=1000, columns=["a", "b"])


def test_memory_stays_flat_while_a_long_recording_is_looked_through(tmp_path) -> None:
    n = 2_000_000
    with h5py.File(tmp_path / "a.h5", "w") as file:
        emg = file.create_dataset("x", (n, 8), "i2", chunks=(8192, 8))
        for start in range(0, n, 1 << 16):
            emg[start : start + (1 << 16)] = np.arange(start, min(n, start + (1 << 16)))[:, None] % 999
    labels = [f"m{k}" for k in range(8)]
    tracemalloc.start()
    rec = er.read(tmp_path / "a.h5", data="x", samples_along="rows", rate_hz=2000, columns=labels, unit="uV")
    for start in range(0, n, 1 << 16):
        rec.source.digital(start, min(n, start + (1 << 16)), range(8))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 12 << 20, f"{peak >> 20} MB of {n * 16 >> 20}"


def test_bytes_that_are_no_hdf5_are_named(tmp_path) -> None:
    (tmp_path / "a.h5").write_bytes(b"1,2\n" * 500)
    with pytest.raises(FormatError, match="does not begin as a file in HDF5"):
        er.look(tmp_path / "a.h5")


def test_a_missing_package_is_named_with_the_way_to_it(h5, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "h5py", None)
    with pytest.raises(er.errors.ReadError, match=r"needs the package 'h5py'.*pip install 'emgreview\[hdf5\]'"):
        er.read(h5, **H5_SAID)


def test_no_package_of_a_format_is_imported_before_a_file_asks_for_it() -> None:
    code = (
        "import sys, emgreview as er; er.read, er.look; "
        "print(*[m for m in ('h5py', 'pyxdf', 'openpyxl', 'pyarrow.parquet', 'ezc3d', 'pynwb') if m in sys.modules])"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == ""
