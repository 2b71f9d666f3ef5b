"""BIDS datasets as they are found: events outside the recording, rates that differ, EMG in files of EEG, files that
cannot be read. Each shape is written byte by byte; those that the standard allows pass the official validator."""

import json
import os
import warnings
from pathlib import Path

import numpy as np
import pyedflib
import pytest
from files_on_disk import Layout, Sig, decode, noise, write
from official_validator import errors_of

import emgreview as er
from emgreview.errors import EmgreviewError, FormatError, RateError, ReadError, SignalWarning, UnknownNameError

BITS24 = ("-8388608", "8388607")
PLACES = {"emg": {"EMGPlacementScheme": "Measured", "EMGReference": "ChannelSpecific"}}
PLACES |= {"eeg": {"EEGReference": "Cz"}, "ieeg": {"iEEGReference": "left mastoid"}}


def describe(root: Path, *, participants: str = "participant_id\nsub-01\n") -> Path:
    root.mkdir(exist_ok=True)
    words = {"Name": "Invented reaches", "BIDSVersion": "1.11.1", "DatasetType": "raw", "License": "CC0"}
    (root / "dataset_description.json").write_text(json.dumps(words))
    (root / "README.md").write_text("Invented noise, written for tests.\n")
    (root / "participants.tsv").write_text(participants)
    return root


def add(root: Path, sub: str, signals: list[Sig], kinds: list[str], *, datatype: str = "emg", **more: object) -> Path:
    """One recording of 4 records of 1 s with channels.tsv, json and perhaps events; its path."""
    bdf, events = bool(more.pop("bdf", False)), more.pop("events", None)
    folder = root / f"sub-{sub}" / datatype
    folder.mkdir(parents=True, exist_ok=True)
    stem = f"sub-{sub}_task-reach"
    path = write(folder / f"{stem}_{datatype}.{'bdf' if bdf else 'edf'}", signals, Layout(bdf=bdf))
    metadata = {"TaskName": "reach", "SamplingFrequency": len(signals[0].x) / 4, "PowerLineFrequency": 50}
    metadata |= {"SoftwareFilters": "n/a", "RecordingType": "continuous"} | PLACES[datatype]
    (folder / f"{stem}_{datatype}.json").write_text(json.dumps(metadata | more))
    rows = [f"{one.label}\t{kind}\t{one.unit}" for one, kind in zip(signals, kinds, strict=True)]
    cutoffs = "\tlow_cutoff\thigh_cutoff" if datatype == "ieeg" else ""
    rows = [row + ("\t0.5\t200" if cutoffs else "") for row in rows]
    (folder / f"{stem}_channels.tsv").write_text("\n".join([f"name\ttype\tunits{cutoffs}", *rows]) + "\n")
    if events is not None:
        (folder / f"{stem}_events.tsv").write_text(str(events))
        columns = {"trial_type": {"Description": "cue", "Levels": {"go": "turn", "stop": "rest"}}}
        (folder / f"{stem}_events.json").write_text(json.dumps(columns))
    return path


def emg(n: int = 400, label: str = "FDI", seed: int = 1) -> Sig:
    return Sig(label, noise(seed, n))


HEAD = "onset\tduration\ttrial_type\n"


@pytest.mark.parametrize(
    ("rows", "samples", "said"),
    [
        ("-0.5\t0\tgo\n1\t0\tgo\n", [100], "'go' at -0.5 s lies outside the recording (0 to 4 s), before its first"),
        ("1\t0\tgo\n4\t0\tstop\n", [100], "'stop' at 4 s lies outside the recording (0 to 4 s), at or after its end"),
        ("1\t0\tgo\n3.996\t0\tgo\n", [100], "'go' at 3.996 s lies outside"),
        ("1\t0\tgo\n9\t0\tgo\n", [100], "'go' at 9 s lies outside"),
        (
            "1\t0\tgo\n5\t0\tgo\n6\t0\tstop\n7\t0\tgo\n",
            [100],
            "3 of 4 lie outside the recording (0 to 4 s), at or after its end, from 5 to 7 s, and are no markers: "
            "'go' 2, 'stop' 1.",
        ),
        ("3\t0\tgo\n1\t0\tstop\n2\t0\tgo\n", [100, 200, 300], "1 row is out of order of time, the first of them row 2"),
        ("n/a\t0\tgo\n1\t0\tgo\n", [100], "1 row has no onset, no marker: row 1."),
        ("1000\t0\tgo\n2000\t0\tgo\n", [], "all onsets are outside: see that they are seconds"),
    ],
)
def test_events_are_sorted_and_those_outside_are_told(tmp_path, rows, samples, said) -> None:
    """BIDS allows negative onsets and any order, and has no rule on onsets after the end: none of them is an error."""
    root = describe(tmp_path / "study")
    path = add(root, "01", [emg()], ["EMG"], events=HEAD + rows)
    assert errors_of(root) == []
    with pytest.warns(SignalWarning) as caught:
        rec = er.read_dataset(root).recordings[0]
    assert [marker.sample for marker in rec.markers] == samples
    (warning,) = caught
    assert said in str(warning.message)
    assert warning.filename == __file__
    assert f"sub-01_task-reach: {rec.notes[0]}" == str(warning.message)
    with pytest.warns(SignalWarning):
        assert er.read(path).markers == rec.markers


def test_events_without_a_column_of_onsets_say_so(tmp_path) -> None:
    root = describe(tmp_path / "study")
    add(root, "01", [emg()], ["EMG"], events="time\tduration\n1\t0\n")
    with pytest.raises(FormatError, match=r"has no column 'onset', only time, duration; .*name the column so"):
        er.read_dataset(root).recordings[0]


def with_force(root: Path, sub: str = "01") -> Path:
    """EMG at 2000 Hz and a force at 148 Hz, with the force's own rate in the table as its device states it."""
    signals = [emg(8000), emg(8000, "APB", 2), Sig("Force", noise(3, 592), "N", ("0", "250"))]
    path = add(root, sub, signals, ["EMG", "EMG", "MISC"])
    table = path.with_name(f"sub-{sub}_task-reach_channels.tsv")
    head, *rows = table.read_text().splitlines()
    rates = ["2000", "2000", "148.148"]
    rows = [f"{row}\t{rate}" for row, rate in zip(rows, rates, strict=True)]
    table.write_text("\n".join([f"{head}\tsampling_frequency", *rows]) + "\n")
    return path


def test_a_slower_force_is_held_and_can_be_left_out(tmp_path) -> None:
    root = describe(tmp_path / "study")
    path = with_force(root)
    assert errors_of(root) == []
    with pytest.warns(SignalWarning, match=r"sampling_frequency of channel 'Force'.*148\.148 Hz, but .* itself 148 Hz"):
        rec = er.read_dataset(root).recordings[0]
    force = np.array(decode(path)[2][2])
    np.testing.assert_allclose(rec.values(channels=["Force"])[0], force[np.arange(8000) * 148 // 2000])
    assert "each value is held for 13 or 14 samples of the recording (2000 Hz)" in " ".join(rec.notes)
    for way in (er.read_dataset(root, columns=["FDI", "APB"]).recordings[0], er.read(path, columns=["FDI", "APB"])):
        assert (way.labels, way.notes, way.rate_hz) == (("FDI", "APB"), (), 2000)
        np.testing.assert_array_equal(way.values(), rec.values(channels=["FDI", "APB"]))
    with pytest.raises(UnknownNameError, match=r"no signal is called 'FDJ'.*'FDI'\? .*sub-01_task-reach_emg\.edf"):
        er.read_dataset(root, columns=["FDJ"]).recordings[0]


def test_a_rate_of_emg_that_the_table_denies_is_still_an_error(tmp_path) -> None:
    root = describe(tmp_path / "study")
    path = with_force(root)
    table = path.with_name("sub-01_task-reach_channels.tsv")
    table.write_text(table.read_text().replace("uV\t2000", "uV\t1000", 1))
    with pytest.raises(RateError, match=r"channel 'FDI'.* 1000 Hz, but .* 2000 Hz; the two must agree"):
        er.read_dataset(root).recordings[0]


@pytest.mark.filterwarnings("ignore:.* has a level that no surface EMG has:emgreview.errors.SignalWarning")
@pytest.mark.parametrize(("datatype", "bdf"), [("eeg", False), ("eeg", True), ("ieeg", False)])
def test_emg_in_a_file_of_eeg_or_ieeg_is_read(tmp_path, datatype: str, bdf: bool) -> None:
    """Against an independent reader; the dataset passes the official validator."""
    limits, bits = (BITS24, 24) if bdf else (("-32768", "32767"), 16)
    kind = "EEG" if datatype == "eeg" else "SEEG"
    signals = [
        Sig("A1", noise(1, 400, bits), "uV", digital=limits),
        Sig("A2", noise(2, 400, bits), "uV", digital=limits),
        Sig("arm right", noise(3, 800, bits), "mV", ("-5", "5"), limits),
        Sig("EOG", noise(4, 400, bits), "uV", digital=limits),
        Sig("light", noise(5, 800, bits), "V", ("0", "5"), limits),
    ]
    root = describe(tmp_path / "study")
    kinds = [kind, kind, "EMG", "EOG", "TRIG"]
    events = HEAD + "0.5\t0\tgo\n"
    path = add(root, "01", signals, kinds, datatype=datatype, bdf=bdf, events=events)
    if datatype == "ieeg":
        space = {"iEEGCoordinateSystem": "Other", "iEEGCoordinateUnits": "mm"}
        words = {"iEEGCoordinateSystemDescription": "invented", "iEEGCoordinateProcessingDescription": "none"}
        (path.parent / "sub-01_coordsystem.json").write_text(json.dumps(space | words))
        (path.parent / "sub-01_electrodes.tsv").write_text("name\tx\ty\tz\tsize\nA1\t1\t1\t1\t5\nA2\t2\t1\t1\t5\n")
    assert errors_of(root) == []
    data = er.read_dataset(root)
    name = f"sub-01_task-reach_{datatype}"
    assert (data.recordings.names, data.notes) == ((name,), ())
    with pytest.warns(SignalWarning, match=rf"is read for its EMG: .* are left out \({kind} 2\); name"):
        rec = data.recordings[name]
    assert [(one.label, one.kind, one.unit) for one in rec.channels] == [
        ("arm right", "EMG", "uV"),
        ("EOG", "EOG", "uV"),
        ("light", "TRIG", "V"),
    ]
    assert (rec.name, rec.rate_hz, rec.mains_hz, rec.entities["sub"]) == (name, 200, 50, "01")
    assert [(marker.sample, marker.label) for marker in rec.markers] == [(100, "go")]
    with pyedflib.EdfReader(str(path)) as other:
        np.testing.assert_allclose(rec.microvolts()[0], other.readSignal(2) * 1e3, rtol=1e-12, atol=1e-6)
        np.testing.assert_allclose(rec.values(channels=["EOG"])[0][::2], other.readSignal(3), rtol=1e-12, atol=1e-6)
    whole = er.read(path, columns=["A1", "arm right"])
    assert [one.kind for one in whole.channels] == [kind, "EMG"]
    trials = er.cut_trials(rec, cue="go", before_s=0.5, after_s=1, processing=er.Processing(high_hz=None))
    assert trials.data.shape == (1, 1, 300)


def test_files_of_eeg_without_emg_are_left_out_and_told(tmp_path) -> None:
    root = describe(tmp_path / "study")
    add(root, "01", [emg()], ["EMG"])
    add(root, "01", [emg(label="A1"), emg(label="A2", seed=2)], ["EEG", "EEG"], datatype="eeg")
    data = er.read_dataset(root)
    assert data.recordings.names == ("sub-01_task-reach",)
    assert data.left_out == ("sub-01/eeg/sub-01_task-reach_eeg.edf",)
    assert data.notes == ("Without a channel of type EMG, and left out: sub-01/eeg/sub-01_task-reach_eeg.edf.",)
    assert data.notes[0] in repr(data)
    (root / "sub-01" / "emg" / "sub-01_task-reach_emg.edf").unlink()
    with pytest.raises(ReadError, match=r"without surface EMG; sub-01/eeg/.* list no channel of type EMG; it must"):
        er.read_dataset(root)


def test_without_a_table_only_names_make_emg_in_a_file_of_eeg(tmp_path) -> None:
    root = describe(tmp_path / "study")
    signals = [
        emg(label="Cz"),
        emg(label="EMG arm", seed=2),
        emg(label="Pz", seed=3),
        Sig("Status", noise(4, 400), "V"),
    ]
    path = add(root, "01", signals, ["EEG"] * 4, datatype="eeg")
    path.with_name("sub-01_task-reach_channels.tsv").unlink()
    with pytest.warns(SignalWarning, match=r"left out \(EEG 2\)"):
        rec = er.read_dataset(root).recordings[0]
    assert [(one.label, one.kind) for one in rec.channels] == [("EMG arm", "EMG"), ("Status", "TRIG")]
    assert any("No type is stated for Cz, Pz: taken as EEG" in note for note in rec.notes)
    assert "'EMG arm' is taken as EMG, not EEG, by its name." in " ".join(rec.notes)
    write(path, [emg(label="Cz"), emg(label="Pz", seed=3)])
    with pytest.raises(ReadError, match="list no channel of type EMG"):
        er.read_dataset(root)
    assert {one.kind for one in er.read(path).channels} == {"EEG"}, "read as it is when asked for by itself"


def test_a_file_that_may_hold_emg_and_cannot_be_read_is_named(tmp_path) -> None:
    root = describe(tmp_path / "study", participants="participant_id\nsub-01\nsub-07\n")
    path = add(root, "01", [emg()], ["EMG"])
    for name in ("sub-02/emg/sub-02_task-reach_emg.mat", "sub-03/emg/sub-03_task-reach_emg.csv"):
        (root / name).parent.mkdir(parents=True)
        (root / name).write_text("")
    (root / "sub-01" / "emg" / "run1").mkdir()
    (root / "sub-01" / "emg" / "run1" / "deep_emg.edf").write_bytes(path.read_bytes())
    add(root, "04", [emg(label="x")], ["EMG"], datatype="eeg").rename(root / "sub-04/eeg/sub-04_task-reach_eeg.vhdr")
    with pytest.warns(SignalWarning, match="Files that may hold EMG are left out") as caught:
        data = er.read_dataset(root)
    assert data.recordings.names == ("sub-01_task-reach",)
    assert data.left_out == (
        "sub-01/emg/run1/deep_emg.edf",
        "sub-02/emg/sub-02_task-reach_emg.mat",
        "sub-03/emg/sub-03_task-reach_emg.csv",
        "sub-04/eeg/sub-04_task-reach_eeg.vhdr",
    )
    assert all(name in str(caught[0].message) for name in data.left_out)
    assert data.notes[1:] == ("There is no EMG recording of sub-02, sub-03, sub-04, sub-07.",)


def test_a_file_that_is_not_named_as_bids_wants_says_that_its_sidecars_were_not_looked_for(tmp_path) -> None:
    root = describe(tmp_path / "study")
    path = add(root, "01", [emg()], ["MISC"], events=HEAD + "1\t0\tgo\n")
    path.rename(path.with_name("sub-01_task-my_reach_emg.edf"))
    with pytest.warns(SignalWarning, match="is not named as BIDS names recordings.*sidecars were not looked for"):
        rec = er.read_dataset(root).recordings[0]
    assert (rec.name, dict(rec.entities), rec.channels[0].kind, rec.markers) == (
        *("sub-01_task-my_reach", {"sub": "01"}),
        *("EMG", ()),
    )
    path.with_name("sub-01_task-my_reach_emg.edf").rename(path.with_suffix(".EDF"))
    rec = er.read_dataset(root).recordings[0]
    assert (rec.name, rec.channels[0].kind, len(rec.markers)) == ("sub-01_task-reach", "MISC", 1)


def three(root: Path) -> Path:
    """Three people; the file of the second ends too early."""
    describe(root, participants="participant_id\nsub-01\nsub-02\nsub-03\n")
    for sub in ("01", "02", "03"):
        path = add(root, sub, [emg(seed=int(sub))], ["EMG"], events=HEAD + "1\t0\tgo\n2\t0\tgo\n")
        if sub == "02":
            path.write_bytes(path.read_bytes()[:-7])
    return root


def test_a_loop_goes_on_after_a_recording_that_cannot_be_read_and_names_it_every_time(tmp_path) -> None:
    data = er.read_dataset(three(tmp_path / "study"))
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("default")  # as in a notebook, where the same cell is run twice
        for _ in range(2):
            assert [rec.name for rec in data.recordings] == ["sub-01_task-reach", "sub-03_task-reach"]
        assert [rec.name for rec in reversed(data.recordings)] == ["sub-03_task-reach", "sub-01_task-reach"]
        assert [rec.name for rec in data.recordings[1:]] == ["sub-03_task-reach"]
    assert len(caught) == 4
    for warning in caught:
        assert warning.category is SignalWarning
        assert str(warning.message).startswith(
            "sub-02_task-reach cannot be read and is left out: sub-02_task-reach_emg"
        )
        assert "announces 4 data records" in str(warning.message)
        assert warning.filename == __file__
    assert list(data.problems()) == ["sub-02_task-reach"]
    assert len(data.recordings) == 3
    assert "sub-02_task-reach" in data.recordings
    assert "sub-09_task-reach" not in data.recordings
    with pytest.raises(EmgreviewError, match="announces 4 data records"):
        data.recordings["sub-02_task-reach"]


def test_a_loop_in_which_nothing_can_be_read_is_an_error(tmp_path) -> None:
    data = er.read_dataset(three(tmp_path / "study"))
    with pytest.raises(ReadError, match=r"none of 1 recordings can be read\. sub-02_task-reach.*announces 4"):
        list(data.recordings[1:2])


def test_a_file_that_may_not_be_opened_is_an_error_of_its_own(tmp_path, monkeypatch) -> None:
    data = er.read_dataset(three(tmp_path / "study"))
    opened = os.open

    def guarded(path: Path, *how: object, **more: object) -> object:
        if Path(path).name == "sub-03_task-reach_emg.edf":
            raise PermissionError(13, "Permission denied", str(path))
        return opened(path, *how, **more)

    monkeypatch.setattr(os, "open", guarded)
    with pytest.raises(
        ReadError, match=r"sub-03_task-reach_emg\.edf.* cannot be read \(Permission denied.*that you may read"
    ):
        data.recordings["sub-03_task-reach"]
    with pytest.warns(SignalWarning):
        assert [rec.name for rec in data.recordings] == ["sub-01_task-reach"]


def test_a_plain_folder_says_what_it_left_out_and_what_it_does_not_know(tmp_path) -> None:
    write(tmp_path / "p01.edf", [emg()])
    (tmp_path / "readme.txt").write_text("words")
    data = er.read_dataset(tmp_path)
    assert data.notes[0] == "Not taken for recordings: readme.txt."
    assert data.notes[1].startswith("A plain folder does not say who was recorded")
    (tmp_path / "p02.xyz").write_bytes(b"")
    (tmp_path / "p03.csv").write_text("1,2\n")
    (tmp_path / "more").mkdir()
    write(tmp_path / "more" / "p04.edf", [emg()])
    with pytest.warns(SignalWarning) as caught:
        data = er.read_dataset(tmp_path)
    assert [str(warning.message).removeprefix(f"{data.name}: ") for warning in caught] == list(data.notes[:3])
    assert [word in note for word, note in zip(("p03.csv", "p02.xyz", "more"), data.notes, strict=False)] == [True] * 3
    assert all(note in repr(data) for note in data.notes)
    (tmp_path / "p01.edf").unlink()
    with pytest.raises(ReadError, match="text files"):
        er.read_dataset(tmp_path)
    (tmp_path / "p03.csv").unlink()
    (tmp_path / "readme.txt").unlink()
    with pytest.raises(ReadError, match=r"holds no recording.*\(its sub-folders more hold some\)"):
        er.read_dataset(tmp_path)


def test_columns_choose_channels_in_a_plain_folder_too(tmp_path) -> None:
    write(tmp_path / "p01.edf", [emg(), Sig("mic", noise(2, 4000), "V")])
    (tmp_path / "readme.txt").write_text("words")
    data = er.read_dataset(tmp_path, columns=["FDI"])
    assert (data.recordings.names, data.recordings[0].labels) == (("p01",), ("FDI",))


def test_labels_that_are_not_kept_may_be_the_same(tmp_path) -> None:
    path = write(tmp_path / "a.edf", [emg(), emg(label="AUX", seed=2), emg(label="AUX", seed=3)])
    with pytest.raises(FormatError, match=r"are all called 'AUX'; .*or name in columns only others"):
        er.read(path)
    assert er.read(path, columns=["FDI"]).labels == ("FDI",)
    with pytest.raises(FormatError, match="are all called 'AUX'"):
        er.read(path, columns=["FDI", "AUX"])


def test_rows_of_other_kinds_without_a_channel_are_passed_over_and_told(tmp_path) -> None:
    root = describe(tmp_path / "study")
    table = add(root, "01", [emg()], ["EMG"]).with_name("sub-01_task-reach_channels.tsv")
    table.write_text(table.read_text() + "STATUS\tTRIG\tn/a\n")
    with pytest.warns(SignalWarning, match=r"describes channels that .*_emg\.edf does not have.*passed over: STATUS\."):
        rec = er.read_dataset(root).recordings[0]
    assert rec.labels == ("FDI",)
    table.write_text(table.read_text() + "APB\tEMG\tuV\n")
    with pytest.raises(FormatError, match=r"describes a channel 'APB' that .* does not have; it has: FDI"):
        er.read_dataset(root).recordings[0]
