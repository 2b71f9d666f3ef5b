"""Studies whose files are of several kinds, or whose trials stand in one long table; each file is read once."""

import csv

import numpy as np
import pandas as pd
import pytest
import scipy.io

import emgreview as er
from emgreview.cli import run
from emgreview.errors import FormatError, MarkerError, ParameterError, SignalWarning
from emgreview.reading import study_description

N = 4000
PULSES = (np.arange(N) % 1000 < 20) * (np.arange(N) > 500) * 5.0
CUES = {"label": "go", "channel": "key", "level": 2.5, "hold_off_s": 0.5}
EMG = {"pattern": "P{participant}_run{run}.csv", "rate_hz": 1000, "header": 1, "names": 1, "separator": ";"}
EMG |= {"unit": {"FCR": "uV", "key": "V"}}
FORCE = {"pattern": "F{participant}_{run}.mat", "data": "grip", "rate_hz": 1000, "columns": ["force"]}
FORCE |= {"unit": {"force": "N"}}
WHO = [("01", "1"), ("01", "2"), ("02", "1")]


def x_of(who, run_, of):
    return np.round(np.random.default_rng([int(who), int(run_), of]).normal(0, 9, N), 3)


@pytest.fixture
def lab(tmp_path):
    rows = []
    for who, run_ in WHO:
        emg = x_of(who, run_, 0)
        lines = "".join(f"{a};{t:g}\n" for a, t in zip(emg, PULSES, strict=True))
        (tmp_path / f"P{who}_run{run_}.csv").write_text("FCR;key\n" + lines)
        scipy.io.savemat(tmp_path / f"F{who}_{run_}.mat", {"grip": x_of(who, run_, 1)})
        rows += [[int(who), run_, side, n] for n, side in enumerate(("left", "right", "left"))]
    (tmp_path / "log").mkdir()
    with (tmp_path / "log" / "all.csv").open("w", newline="") as stream:
        csv.writer(stream).writerows([["subject", "block", "side", "n"], *rows])
    return tmp_path


def described(lab, **parts):
    return er.write_study(lab / "study.toml", **{"files": EMG | {"also": [FORCE]}, "cues": CUES} | parts)


def test_files_of_two_kinds_make_one_recording(lab):
    data = er.read_study(described(lab, channels={"FCR": {"muscle": "flexor"}, "force": {"kind": "MISC"}}))
    assert data.recordings.names == ("sub-01_run-1", "sub-01_run-2", "sub-02_run-1")
    for (who, run_), rec in zip(WHO, data.recordings, strict=True):
        assert rec.labels == ("FCR", "key", "force")
        np.testing.assert_array_equal(rec.values(), [x_of(who, run_, 0), PULSES, x_of(who, run_, 1)])
        assert [marker.sample for marker in rec.markers] == [1000, 2000, 3000]
        assert [channel.unit for channel in rec.channels] == ["uV", "V", "N"]


def test_kinds_of_files_that_lack_each_other_are_told(lab):
    (lab / "F01_2.mat").unlink()
    with pytest.warns(
        SignalWarning, match=r"No file of the pattern 'F\{participant\}_\{run\}\.mat' belongs to sub-01_run-2"
    ):
        data = er.read_study(described(lab))
    assert data.recordings["sub-01_run-2"].labels == ("FCR", "key")


def test_further_sessions_may_have_another_form(lab):
    """Files of two patterns that say different things are recordings of their own."""
    later = {**EMG, "pattern": "later_{participant}.csv", "columns": {"a": "FCR", "b": "key"}}
    lines = "".join(f"{a};{t:g}\n" for a, t in zip(x_of("01", "1", 0), PULSES, strict=True))
    (lab / "later_01.csv").write_text("a;b\n" + lines)
    for file in lab.glob("F*"):
        file.unlink()
    data = er.read_study(described(lab, files=EMG | {"also": [later]}))
    assert set(data.recordings.names) == {"sub-01", "sub-01_run-1", "sub-01_run-2", "sub-02_run-1"}
    np.testing.assert_array_equal(data.recordings["sub-01"].values(), data.recordings["sub-01_run-1"].values())


@pytest.mark.parametrize(
    ("also", "error", "said"),
    [
        ([{"pattern": "P01_{run}.csv"}], FormatError, r"fits two patterns of study\.toml"),
        ([{"rate_hz": 1000}], ParameterError, r"lacks the pattern of its files below \[\[files\.also\]\]"),
        ([FORCE | {"unit": "?"}], ParameterError, r"unit below \[\[files\.also\]\] still holds"),
        ("F.mat", ParameterError, r"also below \[files\]"),
        ([{"pattern": "F{participant}_*.mat"}], FormatError, "F01_1.mat and F01_2.mat would both be called 'sub-01'"),
    ],
)
def test_further_patterns_that_make_no_sense_are_refused(lab, also, error, said):
    with pytest.raises(error, match=said):
        er.read_study(described(lab, files=EMG | {"also": also}))


def test_each_file_is_read_once(lab, monkeypatch):
    reads = []
    real = study_description.read_of
    monkeypatch.setattr(study_description, "read_of", lambda path, **how: reads.append(path.name) or real(path, **how))
    data = er.read_study(described(lab))
    opened, parse = [], pd.read_csv
    monkeypatch.setattr(pd, "read_csv", lambda *given, **how: opened.append(1) or parse(*given, **how))
    _ = data.recordings["sub-01_run-1"]
    assert reads == ["P01_run1.csv", "F01_1.mat"]
    assert opened == [1]


LONG = {"table": "log/all.csv", "participant": "subject", "run": "block"}


def test_one_long_table_gives_each_recording_its_rows(lab):
    data = er.read_study(described(lab, trials=LONG))
    assert not any("One table of trials" in note for note in data.notes)
    for rec in data.recordings:
        assert [marker.details["side"] for marker in rec.markers] == ["left", "right", "left"]
        assert not {"subject", "block"} & set(rec.markers[0].details)
        assert any("of all.csv was taken for" in note for note in rec.notes), "1 is 01 there"


def test_rows_of_nobody_and_recordings_without_rows_are_told(lab):
    text = (lab / "log" / "all.csv").read_text()
    (lab / "log" / "all.csv").write_text(text.replace("2,1,", "9,1,"))
    with pytest.warns(
        SignalWarning, match=r"3 rows of all\.csv belong to no recording, the first of them row 7 \(subject '9'"
    ):
        data = er.read_study(described(lab, trials=LONG))
    with pytest.raises(
        MarkerError, match=r"no row of all\.csv is of sub-02_run-1, with participant '02' \(column 'subj"
    ):
        data.recordings["sub-02_run-1"]
    assert len(data.recordings["sub-01_run-2"].markers) == 3


def test_a_number_stands_for_one_participant_alone(lab):
    """Where people are called "1" and "01", the rows of "1" are those of "1"."""
    (lab / "P1_run1.csv").write_bytes((lab / "P01_run1.csv").read_bytes())
    for file in lab.glob("F*"):
        file.unlink()
    with pytest.warns(SignalWarning, match=r"3 rows of all\.csv belong to no recording"):
        data = er.read_study(described(lab, files=EMG, trials=LONG))
    assert [marker.details["n"] for marker in data.recordings["sub-1_run-1"].markers] == ["0", "1", "2"]
    with pytest.raises(MarkerError, match=r"no row of all\.csv is of sub-01_run-1"):
        data.recordings["sub-01_run-1"]


def test_a_number_of_any_length_is_no_trouble(lab):
    text = (lab / "log" / "all.csv").read_text()
    (lab / "log" / "all.csv").write_text(f"{text}{'7' * 5000},1,left,1\n")
    with pytest.warns(SignalWarning, match=r"1 rows of all\.csv belong to no recording"):
        assert len(er.read_study(described(lab, trials=LONG)).recordings["sub-02_run-1"].markers) == 3


def test_a_column_that_the_pattern_cannot_fill_is_refused(lab):
    with pytest.raises(ParameterError, match=r"session = 'day' came below .* does not say it"):
        described(lab, trials=LONG | {"session": "day"})
    path = described(lab, trials=LONG | {"run": "round"})
    with pytest.raises(er.EmgreviewError, match="no column is called 'round'"):
        er.read_study(path)


def test_a_shell_describes_one_long_table_and_confirms(lab, capsys):
    for file in lab.glob("F*"):
        file.unlink()
    text = (lab / "log" / "all.csv").read_text().splitlines()
    (lab / "log" / "all.csv").write_text("\n".join(text[:-1]) + "\n")
    order = ["study", str(lab), "--pattern", EMG["pattern"], "--cue", "go", "--pulses", "key", "--level", "2.5"]
    order += ["--hold-off", "0.5", "--rate", "1000", "--unit", "FCR=uV,key=V", "--columns", "FCR=FCR,key=key"]
    order += ["--trials", "log/all.csv", "--trials-of", "participant=subject,run=block"]
    assert run(order) == 1
    assert "sub-02_run-1 has 3 cues and 2 rows of log/all.csv" in capsys.readouterr().out
    said = ["--confirm", "sub-02_run-1", "--rows", "1,-,2", "--reason", "one was not written"]
    assert run(["study", str(lab), *said]) == 0
    assert "side: left 1, n/a 1, right 1" in capsys.readouterr().out
    rec = er.read_study(lab / "study.toml").recordings["sub-02_run-1"]
    assert [marker.details.get("side") for marker in rec.markers] == ["left", None, "right"]


def test_a_plain_folder_takes_what_is_said_of_its_files(lab, tmp_path):
    for file in lab.glob("F*"):
        file.unlink()
    how = {name: value for name, value in EMG.items() if name != "pattern"}
    data = er.read_dataset(lab, **how)
    assert data.recordings.names == ("P01_run1", "P01_run2", "P02_run1")
    np.testing.assert_array_equal(data.recordings[:2][0].values(), [x_of("01", "1", 0), PULSES])
    with pytest.raises(ParameterError, match=r"headers came, and no file of .* takes it"):
        er.read_dataset(lab, rate_hz=1000, columns=["FCR", "key"], headers=1)
    with pytest.raises(er.EmgreviewError, match=r"describe the folder, once: er\.write_study"):
        er.read_dataset(lab)
    demo = er.write_demo(tmp_path / "demo", participants=1, trials=1)
    with pytest.raises(ParameterError, match=r"header came for .*, a BIDS dataset"):
        er.read_dataset(demo, header=1)
