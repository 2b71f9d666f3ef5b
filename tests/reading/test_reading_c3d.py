"""C3D against ezc3d, another reader and writer of the format; whole numbers and other processors by their bytes."""

import struct
from pathlib import Path

import ezc3d
import numpy as np
import pytest
from mutated_formats import write_c3d

import emgreview as er
from emgreview.errors import EmgreviewError, FormatError, ParameterError, RateError, TruncatedError

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
