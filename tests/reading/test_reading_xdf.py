"""XDF, written byte by byte after its specification (XDF 1.0), against pyxdf."""

from pathlib import Path

import numpy as np
import pytest
import pyxdf
from mutated_formats import write_xdf, xdf_streams

import emgreview as er
from emgreview.errors import (
    FormatError,
    ParameterError,
    RateError,
    ReadError,
    SignalWarning,
    TruncatedError,
    UnknownNameError,
)


@pytest.fixture
def path(tmp_path) -> Path:
    return write_xdf(tmp_path / "a.xdf", xdf_streams())


def test_a_stream_is_read_as_the_library_reads_it_with_markers_on_its_clock(path) -> None:
    rec = er.read(path, stream="EMG")
    known = {one["info"]["name"][0]: one for one in pyxdf.load_xdf(str(path))[0]}
    np.testing.assert_array_equal(rec.values(), known["arm"]["time_series"].T)
    assert (rec.labels, rec.rate_hz, rec.channels[0].unit) == (("FDI", "APB"), 200, "uV")
    emg_s, words_s = known["arm"]["time_stamps"], known["tones"]["time_stamps"]
    nearest = [int(np.argmin(np.abs(emg_s - at))) for at in words_s]
    assert [(one.sample, one.label) for one in rec.markers] == list(zip(nearest, ["go", "go"], strict=True))
    assert nearest == [100, 200], "50 + 0.5 s on one clock is 1 s on the other"
    assert any("on one clock by their clock offsets" in note for note in rec.notes)
    assert any("left out: 'grip' (Force): 1 x float32 at 20 Hz" in note for note in rec.notes)
    assert er.read(path, stream="arm", columns={"APB": "thumb"}).labels == ("thumb",)


def test_which_stream_is_asked(path) -> None:
    assert "'arm' (EMG): 2 x int16 at 200 Hz" in er.look(path).asks["stream"]
    with pytest.raises(ParameterError, match="2 streams that could be the recording"):
        er.read(path)
    with pytest.raises(UnknownNameError):
        er.read(path, stream="leg")
    with pytest.raises(FormatError, match="allowed: numbers at a regular rate"):
        er.read(path, stream="tones")


def test_a_rate_that_the_time_stamps_contradict_is_told_or_asked_and_moves_no_marker(tmp_path) -> None:
    arm, _, tones = xdf_streams()
    slow = arm | {"stamps": 50 + np.arange(400) / 199.5}
    late = tones | {"stamps": [0.5 + 100 / 199.5, 0.5 + 300 / 199.5]}
    rec = er.read(write_xdf(tmp_path / "a.xdf", [slow, late]))
    assert rec.rate_hz == 200
    assert [one.sample for one in rec.markers] == [100, 300]
    assert any("is to have 200 Hz, and its time stamps say 199.5 Hz" in note for note in rec.notes)
    far = write_xdf(tmp_path / "b.xdf", [arm | {"stamps": 50 + np.arange(400) / 180}])
    with pytest.raises(RateError, match="rate='nominal' or rate='measured'"):
        er.read(far)
    assert er.read(far, rate="measured").rate_hz == pytest.approx(180)


def test_a_gap_is_no_recording_and_several_streams_of_words_name_themselves(tmp_path) -> None:
    arm, _, tones = xdf_streams()
    gap = arm["stamps"] + np.where(np.arange(400) < 200, 0, 3.0)
    with pytest.raises(ReadError, match=r"has 1 gaps, the first after 0\.995 s"):
        er.read(write_xdf(tmp_path / "a.xdf", [arm | {"stamps": gap}]))
    rec = er.read(write_xdf(tmp_path / "b.xdf", [arm, tones, tones | {"name": "keys", "x": [["press"], ["lift"]]}]))
    assert [one.label for one in rec.markers] == ["tones: go", "keys: press", "tones: go", "keys: lift"]


def test_a_file_that_is_cut_or_does_not_add_up_is_told(path) -> None:
    whole = path.read_bytes()
    for at in (0, 3, 5, 60, 400, 2000, len(whole) // 2, len(whole) - 1):
        path.write_bytes(whole[:at])
        with pytest.raises((FormatError, TruncatedError, ParameterError)):
            er.read(path, stream="EMG") if at > 4 else er.look(path)
    for old, new, said in (
        (b"int16", b"int99", "channel_format 'int99'; allowed"),
        (b"<channel_count>2<", b"<channel_count>9<", "do not fill"),
        (b"<?xml version='1.0'?><info><name>arm", b"<!DOCTYPE info ><     ><info><name>arm", "words of its own"),
    ):
        path.write_bytes(whole.replace(old, new, 1))
        with pytest.raises(FormatError, match=said):
            er.read(path, stream="EMG")


def beside(offset_s: float, rate: float = 200.0, n: int = 380, labels=("FDI", "knee")) -> dict:
    """A stream of the rate of the arm on a clock of its own, that begins so much later."""
    x = np.arange(2 * n, dtype=np.int16).reshape(n, 2)
    stamps = 150 + offset_s + np.arange(n) / rate
    said = {"name": "leg", "type": "EMG", "rate": 200, "form": "float32", "x": x, "stamps": stamps}
    return said | {"labels": [(label, "microvolts") for label in labels]}


@pytest.mark.parametrize("offset_s", [-0.25, 0.0, 0.101, 0.5])
def test_streams_of_one_rate_are_joined_by_their_clock(tmp_path, offset_s) -> None:
    arm, grip, tones = xdf_streams()
    path = write_xdf(tmp_path / "a.xdf", [arm, grip, tones, beside(offset_s)])
    known = {one["info"]["name"][0]: one for one in pyxdf.load_xdf(str(path))[0]}
    rec = er.read(path, stream=["arm", "leg"])
    assert rec.labels == ("arm FDI", "APB", "leg FDI", "knee")
    arm_s, leg_s = known["arm"]["time_stamps"], known["leg"]["time_stamps"]
    both = [(i, j) for i, at in enumerate(arm_s) if abs(leg_s[j := int(np.argmin(np.abs(leg_s - at)))] - at) < 0.00251]
    rows = [[*known["arm"]["time_series"][i], *known["leg"]["time_series"][j]] for i, j in both]
    np.testing.assert_array_equal(rec.values(), np.transpose(rows))
    first_s = arm_s[both[0][0]]
    at = [round((one - first_s) * 200) for one in known["tones"]["time_stamps"]]
    assert [marker.sample for marker in rec.markers] == at
    assert any("'leg' of a.xdf was joined to 'arm'" in note for note in rec.notes)
    assert any("are left out: another stream does not have them" in note for note in rec.notes)
    assert any("left out: 'grip'" in note and "stream='grip' reads it" in note for note in rec.notes)
    alone = er.read(path, stream="arm")
    assert any("stream=['arm', 'leg'] or stream='grip'" in note or "stream='grip' or stream=['arm', 'leg']" in note
               for note in alone.notes)  # fmt: skip
    assert "joined by their clock: stream=['arm', 'leg']" in er.look(path).asks["stream"]


def test_streams_that_do_not_run_together_are_not_joined(tmp_path) -> None:
    arm, grip, _ = xdf_streams()
    with pytest.raises(RateError, match="half a sample, are allowed: their clocks drift"):
        er.read(write_xdf(tmp_path / "a.xdf", [arm, beside(0, rate=199)]), stream=["arm", "leg"])
    with pytest.raises(RateError, match="no stretch in common"):
        er.read(write_xdf(tmp_path / "b.xdf", [arm, beside(60)]), stream=["arm", "leg"])
    path = write_xdf(tmp_path / "c.xdf", [arm, grip, beside(0)])
    with pytest.raises(RateError, match="arm 200 Hz, grip 20 Hz"):
        er.read(path, stream=["arm", "grip"])
    with pytest.raises(ParameterError, match="stream came as"):
        er.read(path, stream=["arm", "arm"])
    with pytest.raises(ParameterError, match="or a list of several of one rate"):
        er.read(path, stream=["EMG", "leg"])


def test_labels_that_stand_twice_and_markers_that_are_numbers(tmp_path) -> None:
    arm, _, tones = xdf_streams()
    codes = tones | {"name": "codes", "form": "int16", "x": [[7], [12]]}
    path = write_xdf(tmp_path / "a.xdf", [arm | {"labels": [("FDI", "microvolts")] * 2}, codes])
    rec = er.read(path)
    assert rec.labels == ("FDI", "FDI.2")
    assert [(one.sample, one.label) for one in rec.markers] == [(100, "7"), (200, "12")]


def long_arm(lost: int, at: int = 9000, jitter_s: float = 0.0, n: int = 20_000) -> dict:
    """A hundred seconds of the arm, of which so many samples never came."""
    stamps = 50 + np.arange(n) / 200 + np.random.default_rng(3).normal(0, jitter_s, n)
    stamps[at:] += lost / 200
    x = np.tile(xdf_streams()[0]["x"], (n // 400, 1))
    return xdf_streams()[0] | {"x": x, "stamps": stamps, "offset": 0.0}


@pytest.mark.parametrize("jitter_s", [0.0, 0.002, 0.01])
@pytest.mark.parametrize("lost", [30, 90, 180])
def test_samples_that_never_came_are_told_and_move_no_marker(tmp_path, lost, jitter_s) -> None:
    """A line through all stamps would hide less than a second, and move markers by up to half of it."""
    arm = long_arm(lost, jitter_s=jitter_s)
    at_s = [50 + 8990 / 200, 50 + (9010 + lost) / 200, 50 + (15_000 + lost) / 200]
    tones = xdf_streams()[2] | {"x": [["go"]] * 3, "stamps": at_s, "offset": 0.0}
    path = write_xdf(tmp_path / "a.xdf", [arm, tones])
    with pytest.warns(SignalWarning, match=r"samples of 'arm' are missing after sample 9000"):
        rec = er.read(path)
    told = next(note for note in rec.notes if "are missing after sample" in note)
    assert abs(int(told.split()[1]) - lost) <= 1
    assert np.abs(np.array([one.sample for one in rec.markers]) - [8990, 9010, 15_000]).max() <= 1
    assert not any("is to have 200 Hz" in note for note in rec.notes)


@pytest.mark.parametrize(
    "late",
    [
        lambda n, rng: rng.normal(0, 0.01, n),
        lambda n, rng: np.where(rng.random(n) < 0.002, 0.3, 0.0),
        lambda n, rng: -(np.arange(n) % 32) / 200.0,
        lambda n, rng: np.where((np.arange(n) // 100) % 40 == 7, 0.1, 0.0) * (1 - (np.arange(n) % 100) / 100),
        lambda n, rng: np.arange(n) * 4e-7,
    ],
    ids=["jitter", "late ones", "chunks of one stamp", "a stall that is caught up", "drift"],
)
def test_stamps_that_only_jitter_hide_nothing(tmp_path, late) -> None:
    arm = long_arm(0)
    arm["stamps"] = arm["stamps"] + late(len(arm["stamps"]), np.random.default_rng(4))
    path = write_xdf(tmp_path / "a.xdf", [arm])
    rec = er.read(path)
    assert not any("missing" in note for note in rec.notes)
    assert rec.n_samples == 20_000
