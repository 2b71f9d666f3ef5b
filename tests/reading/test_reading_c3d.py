"""C3D against ezc3d, another reader and writer of the format; whole numbers and other processors by their bytes."""

import struct
from pathlib import Path

import ezc3d
import numpy as np
import pytest
from mutated_formats import write_c3d

import emgreview as er
from emgreview.errors import EmgreviewError, FormatError, ParameterError, RateError, SignalWarning, TruncatedError

X = np.random.default_rng(5).normal(size=(2, 400)) * 1e-3


def with_ezc3d(path: Path, a_frame: int = 4) -> Path:
    made = ezc3d.c3d()
    made["parameters"]["POINT"]["RATE"]["value"] = [50.0]
    made["parameters"]["POINT"]["LABELS"]["value"] = ["wrist"]
    made["parameters"]["ANALOG"]["RATE"]["value"] = [50.0 * a_frame]
    made["parameters"]["ANALOG"]["LABELS"]["value"] = ["FCR", "ECR"]
    made["parameters"]["ANALOG"]["UNITS"]["value"] = ["V", "V"]
    made["parameters"]["ANALOG"]["SCALE"]["value"] = [2.0, 0.5]
    made["parameters"]["ANALOG"]["OFFSET"]["value"] = [0, 0]
    made.add_parameter("EVENT", "USED", [2])
    made.add_parameter("EVENT", "CONTEXTS", ["Left", "Right"])
    made.add_parameter("EVENT", "LABELS", ["grasp", "tone"])
    made.add_parameter("EVENT", "TIMES", np.array([[0.0, 0.0], [0.5, 1.25]]))
    made["data"]["points"] = np.zeros((4, 1, 400 // a_frame))
    made["data"]["analogs"] = X[None]
    made.write(str(path))
    return path


def test_channels_units_and_events_are_those_that_another_reader_finds(tmp_path) -> None:
    path = with_ezc3d(tmp_path / "a.c3d")
    rec, known = er.read(path), ezc3d.c3d(str(path))
    assert rec.labels == tuple(known["parameters"]["ANALOG"]["LABELS"]["value"])
    assert rec.rate_hz == known["header"]["analogs"]["frame_rate"] == 200
    np.testing.assert_allclose(rec.values() / 1e6, known["data"]["analogs"][0], rtol=1e-6)
    np.testing.assert_array_equal(rec.values()[:, 37:91], rec.source.read(37, 91, [0, 1]))
    assert [(one.sample, one.label) for one in rec.markers] == [(100, "Left grasp"), (250, "Right tone")]
    assert any("points of a moving body, which are left out" in note for note in rec.notes)
    assert er.read(path, columns={"ECR": "extensor"}).labels == ("extensor",)
    assert er.read(path, columns=["ECR"]).labels == ("ECR",)
    assert "2 signals at 200 Hz, 2.0 s: FCR (V), ECR (V)" in er.look(path).facts


@pytest.mark.parametrize("processor", [84, 85, 86])
@pytest.mark.parametrize("kind", ["signed", "unsigned", "float"])
def test_every_processor_and_kind_of_number_gives_the_same_values(tmp_path, processor, kind) -> None:
    """A writer of a few lines after the guide; ezc3d reads its whole numbers and floats of Intel alike."""
    counts = np.random.default_rng(6).integers(1, 2000, (2, 60)).astype(float) + (40_000 if kind == "unsigned" else 0)
    path = write_c3d(tmp_path / "a.c3d", counts, kind=kind, processor=processor, offset=7)
    rec = er.read(path)
    np.testing.assert_allclose(rec.values(), (counts - 7) * 0.5, rtol=1e-6)
    if processor == 84 and kind != "unsigned":
        np.testing.assert_allclose(ezc3d.c3d(str(path))["data"]["analogs"][0], rec.values(), rtol=1e-6)


def test_what_events_count_from_is_asked_where_the_file_was_cut_out_of_another(tmp_path) -> None:
    path = write_c3d(tmp_path / "a.c3d", np.ones((2, 60)) * np.arange(60), first=11, events=[("tone", 0.3)])
    assert "'frame 1' if from 0.2 s before it" in er.look(path).asks["events_from"]
    with pytest.raises(ParameterError, match="begins with frame 11 and holds 1 events, and events_from is missing"):
        er.read(path)
    assert [one.sample for one in er.read(path, events_from="first frame").markers] == [30]
    assert [one.sample for one in er.read(path, events_from="frame 1").markers] == [10]


@pytest.mark.parametrize(
    ("change", "error", "said"),
    [
        ({"rate_hz": 90.0}, RateError, "2 samples in each frame of 50 Hz make 100 Hz"),
        ({"used": 3}, FormatError, "announces 3 analogue channels"),
        ({"labels": ["FCR"]}, FormatError, "2 analogue channels, 1 labels"),
        ({"processor": 83}, FormatError, "processor 83; allowed: 84"),
    ],
)
def test_what_does_not_agree_is_told(tmp_path, change, error, said) -> None:
    with pytest.raises(error, match=said):
        er.read(write_c3d(tmp_path / "a.c3d", np.ones((2, 60)), **change))


def test_a_file_that_is_cut_or_spoilt_anywhere_is_told(tmp_path) -> None:
    whole = write_c3d(tmp_path / "a.c3d", np.arange(120.0).reshape(2, 60)).read_bytes()
    for at in (0, 100, 511, 512, 600, 1100, len(whole) - 200):
        (tmp_path / "b.c3d").write_bytes(whole[:at])
        with pytest.raises((FormatError, TruncatedError)):
            er.read(tmp_path / "b.c3d")
    for place in range(0, 1024, 3):
        (tmp_path / "b.c3d").write_bytes(whole[:place] + b"\xff" + whole[place + 1 :])
        try:
            er.read(tmp_path / "b.c3d", unit="uV").values()
        except EmgreviewError:
            continue
    (tmp_path / "b.c3d").write_bytes(struct.pack("<BB", 2, 0x50) + bytes(510))
    with pytest.raises(TruncatedError, match="ends before its parameters"):
        er.read(tmp_path / "b.c3d")


@pytest.mark.parametrize("value", [np.nan, np.inf, 2.5])
@pytest.mark.parametrize("name", ["ANALOG", "EVENT"])
def test_a_number_that_is_none_is_named(tmp_path, name, value) -> None:
    path = with_ezc3d(tmp_path / "a.c3d")
    raw = bytearray(path.read_bytes())
    at = raw.index(b"USED", raw.index(name.encode() + b"\3"))
    raw[at + 6], raw[at + 8 : at + 12] = 4, struct.pack("<f", value)
    path.write_bytes(raw)
    with pytest.raises(FormatError, match=rf"states {value:g} as {name}:USED; allowed: a whole number"):
        er.read(path)


def frames_of(path: Path, frames: int) -> Path:
    made = ezc3d.c3d()
    made["parameters"]["POINT"]["RATE"]["value"] = [1000.0]
    made["parameters"]["ANALOG"]["RATE"]["value"] = [1000.0]
    made["parameters"]["ANALOG"]["LABELS"]["value"] = ["FCR"]
    made["parameters"]["ANALOG"]["UNITS"]["value"] = ["V"]
    made["parameters"]["POINT"]["LABELS"]["value"] = ["wrist"]
    made["data"]["points"] = np.zeros((4, 1, frames))
    made["data"]["analogs"] = np.arange(1, frames + 1, dtype=float)[None, None] * 1e-8
    made.write(str(path))
    return path


def test_more_frames_than_the_header_can_count_are_told_or_read_as_a_parameter_says(tmp_path) -> None:
    rec = er.read(frames_of(tmp_path / "a.c3d", 65_535))
    np.testing.assert_allclose(rec.values() / 1e6, ezc3d.c3d(str(tmp_path / "a.c3d"))["data"]["analogs"][0], rtol=1e-6)
    path = frames_of(tmp_path / "b.c3d", 70_001)
    with pytest.warns(SignalWarning, match="announces 65535 frames, and bytes for 4481 more follow them"):
        assert er.read(path).n_samples == 65_535


def test_a_float_says_how_many_frames_there_are(tmp_path) -> None:
    counts = np.zeros((2, 140_002))
    counts[:, -1] = 7
    path = write_c3d(tmp_path / "a.c3d", counts, frames=70_001)
    rec = er.read(path, unit="uV")
    assert rec.n_samples == 140_002
    assert rec.values()[0, -1] == 3.5


def test_what_is_not_read_is_told(tmp_path) -> None:
    path = write_c3d(tmp_path / "a.c3d", np.arange(2000.0).reshape(2, 1000))
    assert er.read(path, unit="uV").notes == ()
    raw = bytearray(path.read_bytes())
    raw[8:10] = struct.pack("<H", 100)  # the last frame, of 500
    raw[300:302] = struct.pack("<H", 3)
    path.write_bytes(raw)
    with pytest.warns(SignalWarning, match=r"announces 100 frames|in its header alone"):
        notes = er.read(path, unit="uV").notes
    assert any("announces 100 frames, and bytes for 400 more follow them" in note for note in notes)
    assert any("holds 3 events in its header alone" in note for note in notes)
    assert set(notes) <= set(er.look(path).facts)


def test_channels_of_one_name_are_told_apart(tmp_path) -> None:
    counts = np.arange(120.0).reshape(2, 60)
    path = write_c3d(tmp_path / "a.c3d", counts, labels=["FCR", "FCR"])
    rec = er.read(path)
    assert rec.labels == ("FCR", "FCR.2")
    np.testing.assert_array_equal(rec.values(), counts * 0.5)
    assert er.read(path, columns={"FCR.2": "deep"}).labels == ("deep",)
