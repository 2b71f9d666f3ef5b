"""A lab's own files as a study: what names of files say, cues and rows of tables together, and everything behind it the
same as for the same recordings made in memory."""

import csv
import json

import numpy as np
import pytest

import emgreview as er
from emgreview.cli import run
from emgreview.errors import (
    EmgreviewError,
    FormatError,
    MarkerError,
    ParameterError,
    ReadError,
    SignalWarning,
    UnknownNameError,
)
from emgreview.reading.alignment import propose_alignment
from emgreview.reading.patterns import Pattern

RATE = 500
FILES = {"pattern": "P{participant}_{task}_run{run}.csv", "header": 1, "names": 1, "separator": ";", "decimal": ","}
FILES |= {"rate_hz": RATE, "columns": {"EMG 1": "FCR", "EMG 2": "ECR", "Trig": "key"}}
FILES |= {"unit": {"FCR": "uV", "ECR": "uV", "key": "V"}}
CUES = {"channel": "key", "level": 2.5, "hold_off_s": 0.5, "label": "go"}
TRIALS = {"table": "behaviour/{participant}_{run}.csv", "time": "t", "columns": ["condition"]}
WHO = [("01", 1), ("01", 2), ("02", 1), ("ab", 1)]


def cues_of(who, run, n=8):
    """Seconds of the cues of a recording, unevenly apart."""
    rng = np.random.default_rng([ord(who[-1]), run])
    return np.round(1.5 + np.cumsum(rng.uniform(1.8, 3.1, n)), 3)


def signals(who, run):
    at = cues_of(who, run)
    rng = np.random.default_rng([run, ord(who[0])])
    x = np.round(rng.normal(0, 5, (3, int((at[-1] + 3) * RATE))), 2)
    x[2] = 0
    for one in at:
        first = round(one * RATE)
        x[2, first : first + 10] = 5
        x[:2, first + 90 : first + 200] += rng.normal(0, 90, (2, 110))
    return np.round(x, 2)


@pytest.fixture
def lab(tmp_path):
    """A folder as an amplifier and a stimulus program left it."""
    (tmp_path / "behaviour").mkdir()
    for who, run_ in WHO:
        lines = [";".join(f"{value:g}" for value in row).replace(".", ",") for row in signals(who, run_).T]
        (tmp_path / f"P{who}_press_run{run_}.csv").write_text("\n".join(["EMG 1;EMG 2;Trig", *lines]), "utf-8")
        with (tmp_path / "behaviour" / f"{who}_{run_}.csv").open("w", newline="", encoding="utf-8") as stream:
            table = csv.writer(stream)
            table.writerow(["number", "condition", "t"])
            for k, at in enumerate(cues_of(who, run_)):
                table.writerow([k + 1, "left" if k % 3 else "right", f"{(at + 40) * (1 + 2e-5):.4f}"])
    (tmp_path / "people.csv").write_text("code;age\n01;30\n02;41\nab;22\n", "utf-8")
    return tmp_path


def study(lab, **parts):
    said = {"files": FILES, "cues": CUES, "participants": {"table": "people.csv", "code": "code"}, "trials": TRIALS}
    return er.write_study(lab / "study.toml", **(said | parts))


def drop_rows(lab, name, *places):
    path = lab / "behaviour" / name
    lines = path.read_text("utf-8").splitlines()
    path.write_text("\n".join(line for k, line in enumerate(lines) if k not in places) + "\n", "utf-8")


def test_a_study_is_a_dataset_of_what_was_recorded(lab):
    data = er.read_study(study(lab, name="Key press"))
    assert data.name == "Key press"
    assert data.recordings.names == (
        "sub-01_task-press_run-1",
        "sub-01_task-press_run-2",
        "sub-02_task-press_run-1",
        "sub-ab_task-press_run-1",
    )
    assert [row["age"] for row in data.participants] == ["30", "41", "22"]
    for (who, run_), rec in zip(WHO, data.recordings, strict=True):
        assert rec.entities == {"sub": who, "task": "press", "run": str(run_)}
        assert (rec.labels, rec.rate_hz) == (("FCR", "ECR", "key"), RATE)
        np.testing.assert_array_equal(rec.values(), signals(who, run_))
        assert [marker.sample for marker in rec.markers] == [round(at * RATE) for at in cues_of(who, run_)]
        assert [marker.details["condition"] for marker in rec.markers] == [
            "left" if k % 3 else "right" for k in range(8)
        ]
        assert "number" not in rec.markers[0].details, "it was not asked for"
    assert data.problems().keys() == set()


def test_everything_behind_it_knows_participants_and_conditions(lab, tmp_path):
    path = study(lab)
    data = er.read_study(path)
    trials = er.cut_all(data, cue="go", before_s=0.8, after_s=1.0, processing=er.Processing(high_hz=200), expect=8)
    with er.open_review(trials, tmp_path / "review", reviewer="r1") as session:
        for trial in session.queue:
            session.accept_rest(trial)
        table = session.decisions()
        session.seal("v1")
    assert table.groupby("participant").size().to_dict() == {"01": 32, "02": 16, "ab": 16}
    assert table.groupby("condition").size().to_dict() == {"left": 40, "right": 24}
    with pytest.warns(SignalWarning, match="no marker 'response'"):
        measured = er.measure(trials, er.read_version(tmp_path / "review", "v1"))
    assert set(measured["condition"]) == {"left", "right"}
    replayed = er.replay(tmp_path / "review", path, "v1")
    assert (replayed.same_bytes, replayed.notes) == (True, ())
    blind = er.cut_all(data, cue="go", before_s=0.8, after_s=1.0, processing=er.Processing(high_hz=200), blind=True)
    with er.open_review(blind, tmp_path / "blind", reviewer="r1", blind=True) as session:
        assert not {"left", "right"} & set(str(session.state(session.queue[0])).split("'"))


def test_other_numbers_of_cues_and_rows_are_refused_with_a_proposal_until_a_person_confirms(lab):
    path = study(lab)
    drop_rows(lab, "02_1.csv", 3, 6)
    name = "sub-02_task-press_run-1"
    with pytest.raises(
        MarkerError, match=r"8 cues and 6 rows of behaviour/02_1\.csv: 6 belong together.*cues without a row: 3, 6"
    ):
        er.read_study(path).recordings[name]
    assert len(er.read_study(path).problems()) == 1, "it stops no other"
    with pytest.raises(ParameterError, match="reason came without words"):
        er.confirm_alignment(path, name, reason=" ")
    assert er.confirm_alignment(path, name, reason="two were started twice") == [1, 2, None, 3, 4, None, 5, 6]
    rec = er.read_study(path).recordings[name]
    assert [marker.details.get("condition") for marker in rec.markers] == [
        "right",
        "left",
        None,
        "right",
        "left",
        None,
        "right",
        "left",
    ]
    assert any("two were started twice" in note for note in rec.notes)
    assert any("Cues without a row" in note for note in rec.notes)
    drop_rows(lab, "02_1.csv", 1)
    with pytest.raises(MarkerError, match="was confirmed for others"):
        er.read_study(path).recordings[name]
    assert er.confirm_alignment(path, name, reason="again", rows=[None, 1, None, 2, 3, None, 4, 5])[0] is None
    assert path.read_text("utf-8").count("[[trials.aligned]]") == 1
    assert er.read_study(path).recordings[name].markers[1].details["condition"] == "left"


def test_as_many_cues_as_rows_whose_intervals_differ_are_refused(lab):
    path = study(lab)
    table = lab / "behaviour" / "01_1.csv"
    lines = table.read_text("utf-8").splitlines()
    last = float(lines[-1].split(",")[2])
    table.write_text("\n".join([lines[0], *lines[2:], f"9,left,{last + 2.5}"]), "utf-8")
    with pytest.raises(
        MarkerError,
        match=r"as many cues as .* has rows \(8\), but cue 2 comes .* missing on both sides.*7 belong together",
    ):
        er.read_study(path).recordings["sub-01_task-press_run-1"]


def test_without_times_nothing_is_proposed(lab):
    path = study(lab, trials={"table": TRIALS["table"]})
    drop_rows(lab, "02_1.csv", 3)
    name = "sub-02_task-press_run-1"
    with pytest.raises(MarkerError, match="no column of times by which"):
        er.read_study(path).recordings[name]
    with pytest.raises(MarkerError, match="say rows="):
        er.confirm_alignment(path, name, reason="x")
    for rows in ([1, 2, 3], [1, 1, 2, 3, 4, 5, 6, 7], [2, 1, 3, 4, 5, 6, 7, None], [1, 2, 3, 4, 5, 6, 7, 8]):
        with pytest.raises(ParameterError, match="one number for each of 8 cues"):
            er.confirm_alignment(path, name, reason="x", rows=rows)


def test_alignments_of_invented_sessions_are_right_or_none(counted):
    """Truth is known: a session of two clocks, of which each forgot some trials."""
    rng = np.random.default_rng(7)
    right = none = 0
    for _ in range(300):
        n = int(rng.integers(5, 60))
        at = np.cumsum(rng.uniform(2, 5, n))
        drift, shift = rng.uniform(-3e-4, 3e-4), rng.uniform(-100, 100)
        cues, rows = rng.random(n) > 0.1, rng.random(n) > 0.1
        found = propose_alignment((at + rng.normal(0, 0.01, n))[cues], ((at - shift) * (1 + drift))[rows])
        there = {place: number for number, place in enumerate(np.flatnonzero(rows))}
        truth = tuple(there.get(place) for place in np.flatnonzero(cues))
        none += found is None
        right += found is not None and found.rows == truth
        assert found is None or found.rows == truth
    counted(
        f"alignments of cues and rows of which a tenth is missing on either side: {right} right, {none} not proposed"
    )
    assert right > 280


def test_regular_intervals_allow_no_proposal():
    at = np.arange(20) * 3.0
    assert propose_alignment(at, at[:-2] + 50) is None
    assert propose_alignment(at, []) is None
    assert propose_alignment(at, np.cumsum(np.random.default_rng(1).uniform(2, 5, 12))) is None


def test_parts_and_sides_become_one_recording(tmp_path):
    x = np.round(np.random.default_rng(1).normal(0, 9, (4, 3000)), 3)
    for part, (first, stop) in {"9": (0, 1000), "10": (1000, 1700), "11": (1700, 3000)}.items():
        for side, rows in {"arm": [0, 1], "hand": [2, 3]}.items():
            np.savetxt(
                tmp_path / f"P01_{side}_{part}.csv",
                x[rows, first:stop].T,
                fmt="%.17g",
                delimiter=",",
                header=f"{side}1,{side}2",
                comments="",
            )
    path = er.write_study(
        tmp_path / "s.toml",
        files={"pattern": "P{participant}_{side}_{part}.csv", "rate_hz": 1000, "unit": "uV", "header": 1, "names": 1},
    )
    (rec,) = er.read_study(path).recordings
    assert (rec.name, rec.labels) == ("sub-01", ("arm1", "arm2", "hand1", "hand2"))
    np.testing.assert_array_equal(rec.values(), x)


@pytest.mark.parametrize(
    ("pattern", "path", "said"),
    [
        (
            "P{participant}_{task}_run{run}.csv",
            "P01_press_run2.csv",
            {"participant": "01", "task": "press", "run": "2"},
        ),
        ("{participant}/{session}/*.csv", "ab/1/x y.csv", {"participant": "ab", "session": "1"}),
        ("P{participant}.csv", "P01.CSV", None),
        ("P{participant}.csv", "sub/P01.csv", None),
        ("P{participant}[1].csv", "P01[1].csv", {"participant": "01"}),
    ],
)
def test_patterns_say_what_names_say(pattern, path, said):
    assert Pattern(pattern).match(path) == said


def test_patterns_that_say_too_little_or_too_much_are_refused():
    with pytest.raises(FormatError, match=r"fits the pattern .* in two ways"):
        Pattern("{participant}_{task}.csv").match("a_b_c.csv")
    for wrong in ("{who}.csv", "/abs/{run}.csv", "../{run}.csv", "{run.csv"):
        with pytest.raises(ParameterError, match="pattern"):
            Pattern(wrong)


@pytest.mark.parametrize(
    ("parts", "error", "said"),
    [
        ({"files": {"rate_hz": 1}}, ParameterError, "lacks the pattern"),
        ({"files": {**FILES, "unit": "?"}}, ParameterError, r"unit below \[files\] still holds"),
        ({"cues": {"level": 1}}, ParameterError, "without a channel"),
        ({"cues": {"channel": "key", "level": 1}}, ParameterError, "hold_off_s"),
        ({"cues": {"chanel": "key"}}, UnknownNameError, "'chanel'.*Did you mean 'channel'"),
        ({"channels": {"FCR": {"mucsle": "x"}}}, UnknownNameError, "Did you mean 'muscle'"),
        ({"trials": {"table": "x", "time_unit": "h"}}, ParameterError, "time_unit"),
    ],
)
def test_a_description_that_makes_no_sense_is_never_written(lab, parts, error, said):
    with pytest.raises(error, match=said):
        study(lab, **parts)
    assert not (lab / "study.toml").exists()


def test_what_does_not_fit_is_told_by_name(lab):
    path = study(lab)
    with pytest.raises(ReadError, match="is there already"):
        study(lab)
    path.unlink()
    with pytest.raises(ReadError, match=r"no file below .* fits"):
        er.read_study(study(lab, files={**FILES, "pattern": "Q{participant}.csv"}))
    (lab / "study.toml").unlink()
    (lab / "P03-spare.csv").write_text("1;2;3\n")
    (lab / "people.csv").write_text("code;age\n01;30\n", "utf-8")
    with pytest.warns(SignalWarning) as told:
        er.read_study(study(lab))
    words = " ".join(str(one.message) for one in told)
    assert "left out: P03-spare.csv" in words
    assert "no row for sub-02, sub-ab" in words
    (lab / "study.toml").unlink()
    (lab / "behaviour" / "01_2.csv").unlink()
    with pytest.warns(SignalWarning):
        data = er.read_study(study(lab))
    with pytest.raises(MarkerError, match=r"no file fits 'behaviour/01_2\.csv'"):
        data.recordings["sub-01_task-press_run-2"]


def test_the_shell_describes_shows_and_confirms(lab, capsys):
    drop_rows(lab, "02_1.csv", 3)
    order = ["study", str(lab), "--pattern", FILES["pattern"], "--cue", "go", "--pulses", "key", "--level", "2.5"]
    order += ["--hold-off", "0.5", "--trials", TRIALS["table"], "--time", "t", "--trial-columns", "condition"]
    order += ["--people", "people.csv:code", "--muscle", "FCR=flexor carpi radialis"]
    assert run([*order, "--json"]) == 1
    asked = capsys.readouterr().err
    assert "rate_hz" in asked or "--rate" in asked
    assert "unit" in asked
    order += ["--rate", "500", "--columns", "EMG 1=FCR,EMG 2=ECR,Trig=key", "--unit", "uV,uV,V"]
    assert run([*order, "--json"]) == 1
    shown = json.loads(capsys.readouterr().out)
    problems = {one["recording"]: one["problem"] for one in shown["recordings"] if one["problem"]}
    assert problems.keys() == {"sub-02_task-press_run-1"}
    assert "--confirm RECORDING" in problems["sub-02_task-press_run-1"]
    assert run(["study", str(lab), "--confirm", "sub-02_task-press_run-1", "--reason", "one was a test"]) == 0
    assert "condition: left 4, n/a 1, right 3" in capsys.readouterr().out
    assert (
        run(
            [
                "detect",
                str(lab / "study.toml"),
                "--cue",
                "go",
                "--before",
                "0.8",
                "--after",
                "1",
                "--band",
                "20",
                "200",
                "--json",
            ]
        )
        == 0
    )
    rows = json.loads(capsys.readouterr().out)
    assert len(rows["onsets"] if isinstance(rows, dict) else rows) == 4 * 8 * 2
    assert run(["check", str(lab / "study.toml"), "--rate", "500"]) == 1
    assert "came beside study.toml" in capsys.readouterr().err


def test_a_confirmed_study_is_the_same_whoever_reads_it(lab):
    path = study(lab)
    with pytest.raises(EmgreviewError):
        er.confirm_alignment(path, "sub-99", reason="x")
    first = er.read_study(path).recordings[0].fingerprint
    assert er.read_study(path).recordings[0].fingerprint == first


def test_a_part_that_is_missing_is_named_and_never_joined_over(tmp_path):
    for part in (1, 3):
        (tmp_path / f"P01_{part}.csv").write_text("".join(f"{n % 7}\n" for n in range(500)), "utf-8")
    files = {"pattern": "P{participant}_{part}.csv", "rate_hz": 1000, "unit": "uV", "columns": ["FDI"]}
    path = er.write_study(tmp_path / "s.toml", files=files)
    with pytest.raises(FormatError, match="part 2 is not there"):
        er.read_study(path).recordings["sub-01"]


def test_letters_that_a_name_cannot_hold_are_named(tmp_path):
    (tmp_path / "P\u00d63.csv").write_text("".join(f"{n % 7}\n" for n in range(500)), "utf-8")
    files = {"pattern": "P{participant}.csv", "rate_hz": 1000, "unit": "uV", "columns": ["FDI"]}
    with pytest.raises(FormatError, match="would be lost; rename the file"):
        er.read_study(er.write_study(tmp_path / "s.toml", files=files))


def test_other_numbers_of_cues_than_expected_are_in_the_exit_status(lab, capsys):
    with pytest.warns(SignalWarning, match="8 cues 'go' were found, and the description expects 7"):
        er.read_study(study(lab, cues={**CUES, "expect": 7})).recordings[0]
    assert run(["study", str(lab)]) == 1
    assert "the description expects 7" in capsys.readouterr().out
    order = ["detect", str(lab / "study.toml"), "--cue", "go", "--before", "0.8", "--after", "1", "--band", "20", "200"]
    assert run([*order, "--json"]) == 1


def test_rows_and_cues_that_only_their_number_puts_together_are_told(tmp_path):
    at = np.arange(500, 6000, 500)
    x = np.zeros(6500)
    for one in at:
        x[one : one + 10] = 5
    noise = np.random.default_rng(1).normal(0, 9, 6500)
    (tmp_path / "P01.csv").write_text("".join(f"{a:.2f},{b:g}\n" for a, b in zip(noise, x, strict=True)), "utf-8")
    rows = "".join(f"{'near' if n % 2 else 'far'},{n * 0.5}\n" for n in range(len(at)))
    (tmp_path / "T01.csv").write_text("side,t\n" + rows.replace("far", "f\u00f6r"), "cp1252")
    files = {
        "pattern": "P{participant}.csv",
        "rate_hz": 1000,
        "unit": {"FDI": "uV", "key": "V"},
        "columns": ["FDI", "key"],
    }
    cues = {"channel": "key", "level": 2.5, "hold_off_s": 0.1, "label": "go"}
    for time, why in (({"time": "t"}, "too regular to tell"), ({}, "it has no times")):
        trials = {"table": "T{participant}.csv", "columns": ["side"], **time}
        path = er.write_study(tmp_path / "s.toml", files=files, cues=cues, trials=trials)
        with pytest.raises(FormatError, match="say its encoding"):
            er.read_study(path).recordings[0]
        path.unlink()
        path = er.write_study(tmp_path / "s.toml", files=files, cues=cues, trials={**trials, "encoding": "cp1252"})
        assert any(why in note for note in er.read_study(path).recordings[0].notes)
        path.unlink()


def test_a_table_of_participants_lies_below_the_description(lab):
    for table in ("/etc/passwd", "../people.csv"):
        path = study(lab, participants={"table": table, "code": "code"})
        with pytest.raises(ParameterError, match="a path below the folder"):
            er.read_study(path)
        path.unlink()


def test_rows_without_times_hide_no_shift(lab):
    path = study(lab)
    table = lab / "behaviour" / "02_1.csv"
    lines = [line.split(",") for line in table.read_text("utf-8").splitlines()]
    lines[4][2] = "n/a"
    table.write_text("\n".join(map(",".join, lines)), "utf-8")
    rec = er.read_study(path).recordings["sub-02_task-press_run-1"]
    assert any("1 rows have no time" in note for note in rec.notes)
    lines[3][2], lines[5][2] = lines[2][2], lines[3][2]
    table.write_text("\n".join(map(",".join, lines)), "utf-8")
    with pytest.raises(MarkerError, match=r"missing on both sides|by the table"):
        er.read_study(path).recordings["sub-02_task-press_run-1"]


def test_parts_go_by_the_number_in_their_names(tmp_path):
    for part in (1, 2, 10):
        (tmp_path / f"P01_p{part}.csv").write_text(f"{part}\n" * 500, "utf-8")
    files = {"pattern": "P{participant}_{part}.csv", "rate_hz": 1000, "unit": "uV", "columns": ["FDI"]}
    path = er.write_study(tmp_path / "s.toml", files=files)
    with pytest.raises(FormatError, match="part 3 is not there"), pytest.warns(SignalWarning):
        er.read_study(path).recordings["sub-01"]
    (tmp_path / "P01_p10.csv").rename(tmp_path / "P01_p3.csv")
    with pytest.warns(SignalWarning):
        rec = er.read_study(path).recordings["sub-01"]
    assert rec.values()[0, [0, 600, 1400]].tolist() == [1, 2, 10]
