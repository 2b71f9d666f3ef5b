"""BIDS datasets and plain folders: sidecars, inheritance, events, participants, plug-ins. BIDS 1.11 (EMG)."""

import json
import os
import sys
import warnings
from collections.abc import Callable
from importlib.metadata import EntryPoint
from pathlib import Path

import numpy as np
import pyedflib
import pytest
from files_on_disk import Layout, Sig, noise, write

import emgreview as er
from emgreview.errors import (
    EmgreviewError,
    FormatError,
    MarkerError,
    RateError,
    ReadError,
    SignalWarning,
    UnitError,
    UnknownNameError,
)
from emgreview.reading import Contents, Reader, Signal, known_extensions

OPEN_DATA = os.environ.get("EMGREVIEW_OPEN_DATA")

CHANNELS = """\
name\ttype\tunits\ttarget_muscle\tlow_cutoff\thigh_cutoff\tstatus\tstatus_description\tsampling_frequency
FDI\tEMG\tmicroV\tfirst dorsal interosseous\t20\t450\tgood\tn/a\t100
AUX1\tTRIG\tV\tn/a\tn/a\tn/a\tn/a\tn/a\tn/a
APB\tEMG\tµV\tabductor pollicis brevis\tn/a\tn/a\tbad\tloose electrode\t100
"""
EVENTS = """\
onset\tduration\ttrial_type\tchannel\tvalue
0.5\tn/a\tgo\tFDI\t7
1.006\t0.25\tn/a\tn/a\tstop
1.25\t0\tcatch\tFDI,APB\tn/a
"""


def dataset(root: Path) -> Path:
    """One participant, two sessions, one recording of 4 s at 100 Hz each; sidecars at three levels."""
    root.mkdir()
    (root / "dataset_description.json").write_text(json.dumps({"Name": "Demo pinch", "BIDSVersion": "1.11.1"}))
    (root / "participants.tsv").write_text("participant_id\tage\thand\nsub-01\t31\tn/a\n")
    (root / "task-pinch_emg.json").write_text(
        '{"PowerLineFrequency": 60, "SamplingFrequency": 100, "TaskName": "pinch"}'
    )
    (root / "task-reach_emg.json").write_text('{"PowerLineFrequency": 16.7}')
    (root / "sub-01").mkdir()
    (root / "sub-01" / "sub-01_task-pinch_channels.tsv").write_text(CHANNELS, encoding="utf-8")
    for session in ("a", "b"):
        folder = root / "sub-01" / f"ses-{session}" / "emg"
        folder.mkdir(parents=True)
        signals = [Sig("FDI", noise(1, 400)), Sig("AUX1", noise(2, 400), "V"), Sig("APB", noise(3, 400))]
        write(folder / f"sub-01_ses-{session}_task-pinch_run-2_emg.edf", signals)
    folder = root / "sub-01" / "ses-a" / "emg"
    (folder / "sub-01_ses-a_task-pinch_run-2_events.tsv").write_text(EVENTS)
    (root / "sub-01" / "ses-b" / "sub-01_ses-b_emg.json").write_text('{"PowerLineFrequency": 50}')
    (root / "sub-01" / "ses-b" / "sub-01_ses-b_channels.tsv").write_text("name\ttype\tunits\nFDI\tMISC\tuV\n")
    return root


def events_file(root: Path) -> Path:
    return root / "sub-01" / "ses-a" / "emg" / "sub-01_ses-a_task-pinch_run-2_events.tsv"


def test_sidecars_describe_recording_channels_and_events(tmp_path: Path) -> None:
    data = er.read_dataset(dataset(tmp_path / "demo"))
    assert (data.name, len(data.recordings)) == ("Demo pinch", 2)
    assert data.recordings.names == ("sub-01_ses-a_task-pinch_run-2", "sub-01_ses-b_task-pinch_run-2")
    assert data.participants == ({"participant_id": "sub-01", "age": "31", "hand": "n/a"},)
    rec = data.recordings["sub-01_ses-a_task-pinch_run-2"]
    assert rec.entities == {"sub": "01", "ses": "a", "task": "pinch", "run": "2"}
    assert (rec.mains_hz, rec.rate_hz, rec.name) == (60, 100, "sub-01_ses-a_task-pinch_run-2")
    fdi, aux, apb = rec.channels
    assert (fdi.kind, fdi.unit, fdi.over, fdi.low_cutoff_hz, fdi.high_cutoff_hz, fdi.status) == (
        *("EMG", "uV", "first dorsal interosseous"),
        *(20, 450, "good"),
    )
    assert (aux.kind, aux.unit, aux.over) == ("TRIG", "V", "")
    assert (apb.status, apb.status_description) == ("bad", "loose electrode")
    assert [(m.sample, m.label, m.source, m.duration_s, dict(m.details)) for m in rec.markers] == [
        (50, "go", "events", None, {"trial_type": "go", "channel": "FDI", "value": "7"}),
        (101, "stop", "events", 0.25, {"value": "stop"}),
        (125, "catch", "events", 0.0, {"trial_type": "catch", "channel": "FDI,APB"}),
    ]


def test_specific_sidecars_override_json_by_key_and_tables_as_a_whole(tmp_path: Path) -> None:
    rec = er.read_dataset(dataset(tmp_path / "demo")).recordings[1]
    assert rec.mains_hz == 50
    assert rec.channel("FDI").kind == "MISC"
    assert rec.channel("FDI").over == ""
    assert rec.channel("APB").over == ""
    assert rec.notes[0] == "sub-01_ses-b_channels.tsv has no row for AUX1, APB: described by the file alone."


def test_events_higher_up_apply_where_no_closer_table_does(tmp_path: Path) -> None:
    root = dataset(tmp_path / "demo")
    (root / "task-pinch_events.tsv").write_text("onset\tduration\n2\t0\n")
    a, b = er.read_dataset(root).recordings
    assert [m.label for m in a.markers] == ["go", "stop", "catch"]
    assert [(m.sample, m.label, dict(m.details)) for m in b.markers] == [(200, "event", {})]


def test_read_and_read_dataset_agree(tmp_path: Path) -> None:
    data = er.read_dataset(dataset(tmp_path / "demo"))
    for rec in data.recordings:
        alone = er.read(rec.source.file)
        for name in ("name", "channels", "rate_hz", "markers", "entities", "notes", "mains_hz", "fingerprint"):
            assert getattr(alone, name) == getattr(rec, name)


def test_recordings_are_opened_only_when_taken(tmp_path: Path) -> None:
    data = er.read_dataset(dataset(tmp_path / "demo"))
    for path in data.recordings.files.values():
        path.unlink()
    assert len(data.recordings[1:]) == 1
    assert list(data.problems()) == list(data.recordings.names)
    with pytest.raises(ReadError, match="there is no file"):
        next(iter(data.recordings))
    with pytest.raises(UnknownNameError, match=r"no recording is called 'sub-02'"):
        data.recordings["sub-02"]
    with pytest.raises(IndexError):
        data.recordings[2]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("1e999\t0\tgo\tn/a\tn/a", r"row 4 \(line 5\) has the onset '1e999'; allowed: seconds"),
        ("1,5\t0\tgo\tn/a\tn/a", r"row 4 \(line 5\) has the onset '1,5'; allowed: seconds with a decimal point"),
        ("2\t-1\tgo\tn/a\tn/a", r"row 4 \(line 5\) has a duration of -1 s"),
    ],
)
def test_bad_events_name_their_row(tmp_path: Path, line: str, said: str) -> None:
    root = dataset(tmp_path / "demo")
    events_file(root).write_text(EVENTS + line + "\n")
    with pytest.raises(MarkerError, match=said):
        er.read_dataset(root).recordings[0]


@pytest.mark.parametrize(
    ("old", "new", "error", "said"),
    [
        ("EMG\tmicroV", "emg\tmicroV", FormatError, r"line 2 has type 'emg' for 'FDI'; allowed, in upper case: .*EMG"),
        ("\tgood\t", "\tfine\t", FormatError, r"line 2 has status 'fine' for 'FDI'; allowed: good, bad, n/a"),
        ("\t20\t", "\t20 Hz\t", FormatError, r"line 2 has low_cutoff '20 Hz'; allowed: a number"),
        ("FDI\t", "FDJ\t", FormatError, r"describes a channel 'FDJ' that .*_emg\.edf does not have.*perhaps 'FDI'"),
        ("APB\t", "FDI\t", FormatError, r"line 4 describes 'FDI' a second time"),
        ("APB\tEMG", "APB", FormatError, r"line 4 has 8 cells, the header 9"),
        ("n/a\t100\nAUX1", "n/a\t200\nAUX1", RateError, r"sampling_frequency of channel 'FDI'.*200 Hz, but .* 100 Hz"),
        ("name\t", "label\t", FormatError, r"line 2 names no channel; the column 'name' is required"),
        ("status_description", "status", FormatError, r"line 1 names a column twice"),
    ],
)
def test_bad_channels_table(tmp_path: Path, old: str, new: str, error: type, said: str) -> None:
    root = dataset(tmp_path / "demo")
    assert CHANNELS.count(old) == 1 or old in ("EMG\tmicroV",)
    (root / "sub-01" / "sub-01_task-pinch_channels.tsv").write_text(CHANNELS.replace(old, new), encoding="utf-8")
    with pytest.raises(error, match=said):
        er.read_dataset(root).recordings[0]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("microV", "V", "states 'V' for FDI, but sub-01_ses-a_task-pinch_run-2_emg.edf itself 'uV'"),
        ("microV", "N", "states 'N' for FDI, but "),
        ("microV", "a.u.", "states 'a.u.' for FDI, but "),
        ("TRIG\tV", "TRIG\tmV", "states 'mV' for AUX1, but "),
    ],
)
def test_the_files_own_unit_wins_over_the_table_loudly(tmp_path: Path, old: str, new: str, said: str) -> None:
    root = dataset(tmp_path / "demo")
    before = er.read_dataset(root).recordings[0].values()
    table = root / "sub-01" / "sub-01_task-pinch_channels.tsv"
    table.write_text(CHANNELS.replace(old, new), encoding="utf-8")
    with pytest.warns(SignalWarning, match=said + ".*the file's own unit was taken") as caught:
        rec = er.read_dataset(root).recordings[0]
    np.testing.assert_array_equal(rec.values(), before)
    assert [said in note for note in rec.notes] == [True]
    assert len(caught) == 1
    assert caught[0].filename == __file__


def test_contradicting_unit_is_settled_by_confirming_the_file(tmp_path: Path) -> None:
    root = dataset(tmp_path / "demo")
    before = er.read_dataset(root).recordings[0].microvolts()
    (root / "sub-01" / "sub-01_task-pinch_channels.tsv").write_text(CHANNELS.replace("microV", "V"), encoding="utf-8")
    rec = er.read_dataset(root, unit="uV").recordings[0]
    np.testing.assert_array_equal(rec.microvolts(), before)
    assert rec.notes == ()
    with pytest.raises(UnitError, match="but unit= says 'V'"):
        er.read_dataset(root, unit="V").recordings[0]


def test_table_gives_the_unit_that_the_file_lacks_and_names_cut_to_16_characters(tmp_path: Path) -> None:
    root = dataset(tmp_path / "demo")
    path = er.read_dataset(root).recordings.files["sub-01_ses-a_task-pinch_run-2"]
    write(path, [Sig("first dorsal int", noise(1, 400), "")])
    table = "name\ttype\tunits\nfirst dorsal interosseous\tEMG\tmV\n"
    (root / "sub-01" / "sub-01_task-pinch_channels.tsv").write_text(table)
    rec = er.read(path)
    assert rec.labels == ("first dorsal int",)
    assert "The unit 'mV' of first dorsal int is that of sub-01_task-pinch_channels.tsv" in rec.notes[0]
    assert np.isclose(rec.microvolts().max(), 500e3)


@pytest.mark.parametrize(
    ("content", "error", "said"),
    [
        ('{"SamplingFrequency": 2000}', RateError, r"SamplingFrequency of its emg.json says 2000 Hz, but .* 100 Hz"),
        ('{"PowerLineFrequency": "50"}', FormatError, r"PowerLineFrequency '50'; allowed: a number above 0, or 'n/a'"),
        ('{"RecordingType": "epoched"}', ReadError, r"RecordingType 'epoched'; only 'continuous'"),
        ("{", FormatError, r"ses-b_emg\.json is not JSON"),
        ("[]", FormatError, r"holds a list; a sidecar must be a JSON object"),
    ],
)
def test_bad_emg_json(tmp_path: Path, content: str, error: type, said: str) -> None:
    root = dataset(tmp_path / "demo")
    (root / "sub-01" / "ses-b" / "sub-01_ses-b_emg.json").write_text(content)
    with pytest.raises(error, match=said):
        er.read_dataset(root).recordings[1]


def test_two_sidecars_that_apply_equally_are_an_error(tmp_path: Path) -> None:
    root = dataset(tmp_path / "demo")
    (root / "run-2_emg.json").write_text("{}")
    with pytest.raises(FormatError, match=r"both run-2_emg\.json and task-pinch_emg\.json in demo apply"):
        er.read_dataset(root).recordings[0]


def test_annotations_and_events_stand_side_by_side(tmp_path: Path) -> None:
    root = dataset(tmp_path / "demo")
    path = er.read_dataset(root).recordings.files["sub-01_ses-a_task-pinch_run-2"]
    signals = [Sig("FDI", noise(1, 400)), Sig("AUX1", noise(2, 400), "V"), Sig("APB", noise(3, 400))]
    tals = [[b"+%d\x14\x14" % k] for k in range(4)]
    tals[0].append(b"+0.75\x14sound\x14")
    write(path, signals, Layout(annotations=tals, reserved="EDF+C"))
    assert [(m.sample, m.source) for m in er.read(path).markers] == [
        (50, "events"),
        (75, "annotations"),
        (101, "events"),
        (125, "events"),
    ]


def test_problems_collects_errors_and_warnings(tmp_path: Path) -> None:
    root = dataset(tmp_path / "demo")
    data = er.read_dataset(root)
    assert data.problems() == {}
    a, b = data.recordings.files.values()
    a.write_bytes(a.read_bytes()[:-1])
    write(b, [Sig("FDI", np.zeros(400), "uV")])
    problems = data.problems()
    assert "announces 4 data records" in problems[a.stem.removesuffix("_emg")]
    assert "is flat" in problems[b.stem.removesuffix("_emg")]


def test_plain_folder(tmp_path: Path) -> None:
    write(tmp_path / "p02.edf", [Sig("FDI", noise(1, 40))])
    write(tmp_path / "p01.bdf", [Sig("FDI", noise(1, 40))], Layout(bdf=True))
    (tmp_path / "readme.txt").write_text("not a recording")
    data = er.read_dataset(tmp_path)
    assert (data.recordings.names, data.left_out, data.participants) == (("p01", "p02"), ("readme.txt",), ())
    assert [rec.name for rec in data.recordings] == ["p01", "p02"]
    write(tmp_path / "p01.edf", [Sig("FDI", noise(1, 40))])
    with pytest.raises(FormatError, match=r"p01\.bdf and p01\.edf would both be called 'p01'.*rename"):
        er.read_dataset(tmp_path)


def test_folder_of_text_files_needs_the_callers_words(tmp_path: Path) -> None:
    for name in ("t1.csv", "t2.csv"):
        (tmp_path / name).write_text("1,2\n3,4\n")
    with pytest.raises(ReadError, match=r"holds no recording; 2 text files \(t1\.csv …\) are taken only with rate_hz"):
        er.read_dataset(tmp_path)
    data = er.read_dataset(tmp_path, rate_hz=100, unit="mV", columns=["FDI", "APB"])
    assert [rec.microvolts()[1, 1] for rec in data.recordings] == [4000, 4000]


def test_folders_without_recordings(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match=r"holds no recording; allowed: \.edf, \.bdf"):
        er.read_dataset(tmp_path)
    with pytest.raises(ReadError, match="does not exist"):
        er.read_dataset(tmp_path / "no")
    (tmp_path / "dataset_description.json").write_text("{}")
    with pytest.raises(ReadError, match=r"is a BIDS dataset without surface EMG"):
        er.read_dataset(tmp_path)
    with pytest.raises(ReadError, match=r"is a file; use read\(\)"):
        er.read_dataset(tmp_path / "dataset_description.json")


class _Ramp:
    def stored(self, signal: int, start: int, stop: int) -> np.ndarray:
        return np.arange(start, stop, dtype=np.int16) * (signal + 1)


def read_ramp(path: Path, *, rate_hz: float | None = None, columns: object = None) -> Contents:
    signals = (Signal("FDI", "mV", 200, 40, gain=0.5), Signal("angle", "deg", 100, 20))
    return Contents(path, signals, _Ramp(), markers=((0.1, "go", None),), marker_source="events")


RAMP = Reader("ramps", (".ramp",), read_ramp)
NO_READER = 3


def test_plug_in_by_entry_point(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.ramp").write_text("")
    monkeypatch.setitem(sys.modules, "plug_in_for_test", sys.modules[__name__])

    def offer(name: str) -> None:
        entry = EntryPoint("ramp", f"plug_in_for_test:{name}", "emgreview.readers")
        monkeypatch.setattr("emgreview.reading.registry.entry_points", lambda group: [entry])

    offer("RAMP")
    rec = er.read(tmp_path / "a.ramp")
    np.testing.assert_array_equal(rec.values(1, 4), [[500, 1000, 1500], [0, 2, 2]])
    assert [(m.sample, m.source) for m in rec.markers] == [(20, "events")]
    assert known_extensions()[".ramp"] == "ramps"
    offer("NO_READER")
    with pytest.raises(ReadError, match=r"plug-in 'ramp' .* is a int; it must be an emgreview\.reading\.Reader"):
        er.read(tmp_path / "a.ramp")
    offer("missing")
    with pytest.raises(ReadError, match=r"plug-in 'ramp' .* cannot be loaded.*update or uninstall"):
        er.read(tmp_path / "a.ramp")
    assert er.read(write(tmp_path / "b.edf", [Sig("FDI", noise(1, 40))])).name == "b"


def read_all_but_b(path: Path, **said: object) -> Contents:
    if path.stem == "b":
        raise ZeroDivisionError("no samples in a record")
    return read_ramp(path)


def test_a_plug_in_that_ends_with_an_error_of_its_own_stops_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before, a command on the folder ended with a traceback."""
    for name in "abc":
        (tmp_path / f"{name}.ramp").write_text("")
    reader = Reader("ramps", (".ramp",), read_all_but_b)
    monkeypatch.setattr("emgreview.reading.registry._readers", lambda: iter((reader,)))
    with pytest.raises(
        ReadError, match=r"b\.ramp cannot be read: the plug-in that reads ramps ended with ZeroDivision"
    ):
        er.read(tmp_path / "b.ramp")
    with pytest.warns(er.SignalWarning, match="no samples in a record"):
        assert [rec.name for rec in er.read_dataset(tmp_path).recordings] == ["a", "c"]


@pytest.mark.skipif(OPEN_DATA is None, reason="EMGREVIEW_OPEN_DATA is unset: no open data at hand")
def test_the_published_examples_read_or_say_exactly_what_is_wrong(counted: Callable[[str], None]) -> None:
    """Eight EMG layouts of the public BIDS examples (BSD 3-Clause, one CC0 1.0). Seven read: all their tables say V
    where the files say uV, and one table of events runs on after the 0.5 s of dummy samples; one header is a byte
    short. The truth is the physical values as the header scales them, by an independent reader."""
    roots = sorted(Path(OPEN_DATA or "", "bids_emg_examples").glob("emg_*"))
    assert len(roots) == 8
    read, refused, outside = [], {}, {}
    for root in roots:
        data = er.read_dataset(root)
        assert data.participants[0]["participant_id"] == "sub-01"
        for name in data.recordings.names:
            try:
                with warnings.catch_warnings(record=True) as caught:
                    warnings.simplefilter("always")
                    rec = data.recordings[name]
            except EmgreviewError as error:
                refused[f"{root.name}/{name}"] = str(error)
                continue
            read.append(root.name)
            assert {str(warning.message).removeprefix(f"{name}: ") for warning in caught} == set(rec.notes)
            assert f"states 'V' for {rec.labels[0]}" in rec.notes[0]
            assert f"but {name}_emg.edf itself 'uV': the file's own unit was taken" in rec.notes[0]
            outside |= dict.fromkeys([name], rec.notes[1]) if len(rec.notes) > 1 else {}
            assert (rec.rate_hz, rec.mains_hz, rec.entities["sub"]) == (2000, 60, "01")
            assert all(channel.kind == "EMG" and channel.over for channel in rec.channels)
            with pyedflib.EdfReader(str(rec.source.file)) as other:
                expected = np.stack([other.readSignal(row) for row in range(len(rec.labels))])
            np.testing.assert_allclose(rec.microvolts(), expected, rtol=1e-12, atol=1e-9)
    counted(
        f"public BIDS examples: {len(read)} recordings of {len(set(read))} sets read, {len(refused)} refused by name"
    )
    assert (len(read), len(set(read))) == (8, 7)
    jumping = "sub-01_task-jumping_recording"
    assert set(outside) == {f"{jumping}-bipolar", f"{jumping}-highDensity"}
    assert "15 of 15 lie outside the recording (0 to 0.5 s), at or after its end" in outside[f"{jumping}-bipolar"]
    ((name, said),) = refused.items()
    assert name == "emg_Multimodal/sub-01_task-pullstand"
    assert said.startswith("sub-01_task-pullstand_emg.edf: the header field 'number of signals' reads '0  E'")
    assert "start date stands 1 byte too early" in said


def test_warning_of_a_dataset_names_the_recording(tmp_path: Path) -> None:
    root = dataset(tmp_path / "demo")
    path = er.read_dataset(root).recordings.files["sub-01_ses-b_task-pinch_run-2"]
    write(path, [Sig("FDI", np.zeros(400))])
    with pytest.warns(SignalWarning, match=r"sub-01_ses-b_task-pinch_run-2: Channel 'FDI' is flat"):
        er.read_dataset(root).recordings[1]
