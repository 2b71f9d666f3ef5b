"""Slips at the command line: each gets a line that says what to do, in a shell's words, and a status that is not 0."""

import dataclasses
import json
import re

import numpy as np
import pytest

import emgreview as er
from emgreview import cli
from emgreview.cli.words import answer, in_shell_lines, in_shell_words
from emgreview.signal.onset import METHODS
from emgreview.unnamed import alike

PYTHON = re.compile(
    r"\b\w+_(hz|ms|min)\b|\b(before|after|hold_off|plausible|rest)_s\b|\b[a-z]+=|\w\(\)|\bNone\b|----|Errno"
)
"""What a shell does not know."""
TEXT = ["--rate", "500", "--unit", "mV", "--columns"]
CUT = ["--cue", "go", "--before", "1", "--after", "1.5"]
REVIEW = ["review", "{study}", *CUT, "--no-browser", "--folder", "{tmp}/new", "--reviewer"]


@pytest.fixture(scope="module")
def places(tmp_path_factory):
    """A study, a review of it in which nothing is decided, and files with faults."""
    tmp = tmp_path_factory.mktemp("slips")
    study = er.write_demo(tmp / "study", participants=1, trials=3)
    data = er.read_dataset(study)
    trials = er.cut_all(data, cue="go", before_s=1, after_s=1.5)
    er.open_review(trials, tmp / "open", reviewer="r1").close()
    (tmp / "empty").mkdir()
    numbers = "\n".join(f"{x:.3f},{y:.3f}" for x, y in np.random.default_rng(1).normal(0, 9, (2000, 2)))
    for name, words in {
        "head.csv": "FDI,APB\n" + numbers, "plain.csv": numbers, "empty.csv": "", "bare": numbers,
        "a.xyz": "\0" + numbers, "a.dat": numbers,
        "comma.csv": "1,5;2,5\n1,6;2,7\n", "short.edf": "0 ",
        "ms.json": '{"name": "a", "version": 1, "onset_s": [80, 800]}',
        "half.json": '{"name": "a"}', "broken.json": "{",
    }.items():  # fmt: skip
        (tmp / name).write_text(words)
    return {"tmp": tmp, "study": study, "file": next(study.glob("sub-01/emg/*.bdf"))}


SLIPS = [
    (["seal", "{study}", "--folder", "{tmp}/none", "--version", "v1"], "none does not exist; a review is a folder"),
    (["seal", "{study}", "--folder", "{tmp}/empty", "--version", "v1"], "holds no log of a review (it holds nothing)"),
    (["seal", "{study}", "--folder", "{tmp}/open", "--version", "v1"], "'r1' has decided nothing in"),
    (["seal", "{study}", "--folder", "{tmp}/open", "--version", "v1", "--reviewer", "r9"], "there are: r1"),
    (
        ["seal", "{study}", "--folder", "{tmp}/open", "--version", "v1", "--rule", "{tmp}/ms.json"],
        "perhaps (0.08, 0.8)",
    ),
    (
        ["seal", "{study}", "--folder", "{tmp}/open", "--version", "v1", "--rule", "{tmp}/half.json"],
        "version is missing",
    ),
    (
        ["seal", "{study}", "--folder", "{tmp}/open", "--version", "v1", "--rule", "{tmp}/broken.json"],
        "correct the file",
    ),
    (["seal", "{study}", "--folder", "{tmp}/open", "--version", "v1", "--rule", "{tmp}/no.json"], "there is no file"),
    (["replay", "{study}", "--folder", "{tmp}/none", "--version", "v1"], "does not exist"),
    (["measure", "{study}", *CUT, "--folder", "{tmp}/none", "--version", "v1"], "does not exist"),
    (["agreement", "{tmp}/none", "r1", "r2"], "does not exist"),
    (["agreement", "{tmp}/open", "r1", "r2"], "there are: r1"),
    (["agreement", "{tmp}/open", "r1", "r1"], "give two reviewers"),
    (["adjudicate", "{tmp}/open", "r1", "r2", "--within", "0.01"], "perhaps 10, if seconds were given"),
    (["diff", "{tmp}/none", "v1"], "does not exist"),
    (["diff", "{tmp}/open", "v1"], "there are: now"),
    (
        ["check", "{tmp}/plain.csv"],
        "--rate, --unit and --columns are missing; give --rate 2000, --unit mV and --columns",
    ),
    (["check", "{tmp}/plain.csv", "--rate", "500"], "--unit and --columns are missing"),
    (["check", "{tmp}/plain.csv", "--rate", "500", "--columns", "FDI,APB"], "say --unit mV"),
    (["check", "{tmp}/plain.csv", *TEXT[:-1]], "--columns is missing"),
    (
        ["check", "{tmp}/head.csv", *TEXT, "FDI,APB"],
        "remove the line in a copy, and give its words as --columns FDI,APB",
    ),
    (["check", "{tmp}/plain.csv", *TEXT, "FDI"], "but --columns names 1"),
    (["check", "{tmp}/comma.csv", *TEXT, "FDI,APB"], "decimal comma"),
    (["check", "{tmp}/empty.csv", *TEXT, "FDI,APB"], "export the file again"),
    (["check", "{tmp}/plain.csv", "--rate", "0", *TEXT[2:], "FDI,APB"], "--rate came as 0.0"),
    (["check", "{tmp}/bare"], "has no extension, and none is guessed"),
    (["check", "{tmp}/a.xyz"], "the extension '.xyz'"),
    (["check", "{tmp}/a.dat"], "a.dat is text, which states no rate"),
    (["check", "{tmp}/short.edf"], "copy or export it again"),
    (["check", "{tmp}/nothere.edf"], "there is no file"),
    (["check", "{tmp}/empty"], "holds no recording"),
    (["check", "{file}", "--rate", "1000"], "leave --rate out"),
    (["check", "{file}", "--unit", "mV"], "leave --unit out"),
    (["check", "{file}", "--columns", "BB,XX"], "no signal is called 'XX'"),
    (["detect", "{file}", "--cue", "stop", *CUT[2:]], "there are: go"),
    (["detect", "{file}", "--cue", "go", "--before", "1000", "--after", "1500"], "perhaps 1 and 1.5"),
    (["detect", "{file}", "--cue", "go", "--before", "1", "--after", "500"], "perhaps --after 0.5, if its 500 were"),
    (["detect", "{file}", *CUT, "--method", "threshold", "--set", "k=abc"], "--set k came as 'abc'; allowed: a number"),
    (["detect", "{file}", *CUT, "--set", "quiet_s=-1"], "--set quiet_s came as -1"),
    (["detect", "{study}", *CUT, "--band", "0.02", "0.45"], "--band came as 0.02 0.45; allowed: frequencies of EMG"),
    (["detect", "{file}", *CUT, "--band", "0.02", "0.45"], "perhaps 20 and 450, if kilohertz were given"),
    (["detect", "{file}", *CUT, "--band", "0.02", "none"], "perhaps 20, if kilohertz were given"),
    (
        ["seal", "{study}", "--folder", "{tmp}/open", "--version", "v1", "--rule", "{file}"],
        "is not text in UTF-8",
    ),
    (
        ["seal", "{study}", "--folder", "{tmp}/open", "--version", "v1", "--rule", "{tmp}/plain.csv"],
        "a rule is a .json or .toml file with a name",
    ),
    (
        ["seal", "{study}", "--folder", "{tmp}/open", "--version", "v1", "--rule", "{study}/participants.json"],
        "participants.json: no part of a rule is called",
    ),
    ([*REVIEW, "r1", "--convention", "{file}"], "give text in UTF-8"),
    (["detect", "{file}", "--cue", "go", "--before", "0.2", "--after", "1"], "give a --before of 0.5 or more"),
    (["detect", "{file}", *CUT, "--method", "foo"], "there are: ramp"),
    (["detect", "{file}", *CUT, "--method", "double-threshold", "--set", "shortest_s=50"], "perhaps 0.05"),
    (["detect", "{file}", *CUT, "--band", "450", "20"], "the upper edge of --band came as 20.0"),
    (["detect", "{file}", *CUT, "--band", "20", "2000"], "--band 20 none"),
    (["detect", "{file}", *CUT, "--band", "none", "20"], "--band came without a LOW"),
    (["detect", "{file}", *CUT, "--out", "{tmp}/no/x.tsv"], "which is no folder; nothing was written"),
    (["detect", "{file}", *CUT, "--expect", "0"], "--expect came as 0"),
    ([*REVIEW, "Jane Doe"], "use a code such as 'r1'"),
    ([*REVIEW, "r1", "--order", "best"], "there are: recorded"),
    ([*REVIEW, "r1", "--plausible", "80", "800"], "--plausible came as 80 800"),
    ([*REVIEW, "r1", "--convention", "{tmp}/no.toml"], "there is no file"),
    ([*REVIEW, "r1", "--set", "k=6"], "--set k came without its --method"),
    (["demo", "{tmp}/x", "--trials", "0"], "--trials came as 0"),
    (["demo", "{tmp}/bare/x"], "the system says 'Not a directory' of"),
    (["bench", "findings", "--trials", "0"], "--trials came as 0"),
    ([*REVIEW, "r1", "--folder", "{tmp}/bare"], "bare is a file; decisions are kept in a folder"),
    ([*REVIEW, "r1", "--folder", "{tmp}/bare/x"], "no review can be begun in"),
    ([*REVIEW, "r1", "--break-after", "-5"], "--break-after came as -5.0; allowed: minutes above 0, or 0 for never;"),
    ([*REVIEW, "r1", "--plausible", "0.8", "0.1"], "--plausible came as 0.8 0.1; allowed: START and STOP in seconds"),
    (["detect", "{file}", *CUT, "--columns", "BB,BB"], "--columns came as BB,BB; for"),
    (["detect", "{file}", *CUT, "--pulses", "NOPE", "--level", "1", "--hold-off", "1"], "no channel is called 'NOPE'"),
    (
        ["seal", "{study}", "--folder", "{tmp}/open", "--version", "v1", "--rule", "{tmp}"],
        "is a folder; only a plain file can be read",
    ),
]


@pytest.mark.parametrize(("arguments", "words"), SLIPS, ids=lambda part: " ".join(part)[:60] if part else "")
def test_a_slip_gets_a_message_that_says_what_to_do(arguments, words, places, capsys):
    status = cli.run([argument.format(**places) for argument in arguments])
    said = capsys.readouterr().err
    assert status == 1
    assert words in said
    plain = said.replace(str(places["tmp"]), "")
    assert not PYTHON.search(plain), PYTHON.search(plain)
    assert "Traceback" not in said
    assert not (places["tmp"] / "new").exists(), "nothing is begun by a slip"


def test_mistyped_pairs_are_told_with_an_example(places, capsys):
    for option, value, example in (("--reference", "BB", "BB=120.5"), ("--reference", "BB=x", "BB=120.5")):
        with pytest.raises(SystemExit) as ended:
            cli.run(["measure", "x", *CUT, "--folder", "x", "--version", "v1", option, value])
        assert ended.value.code == 2
        assert example in capsys.readouterr().err
    with pytest.raises(SystemExit):
        cli.run(["detect", "x", *CUT, "--set", "shortest_s"])
    assert "--set shortest_s=0.05" in capsys.readouterr().err
    for option, value, words in (
        ("--before", "1,5", "'1,5' came; give a number, with a point and no unit: 1.5"),
        ("--expect", "4.5", "'4.5' came; give a whole number: 40"),
        ("--rate", "2000Hz", "'2000Hz' came; give a number"),
    ):
        with pytest.raises(SystemExit) as ended:
            cli.run(["detect", "x", *CUT, option, value])
        assert (ended.value.code, words in capsys.readouterr().err) == (2, True)
    with pytest.raises(SystemExit):
        cli.run([*REVIEW, "r1", "--port", "99999"])
    assert "give a port from 1024 to 65535, or 0 for a free one" in capsys.readouterr().err


def test_slips_at_measuring_and_with_what_a_dataset_states_itself(places, capsys):
    folder = places["tmp"] / "measured"
    with er.open_review(
        er.cut_all(er.read_dataset(places["study"]), cue="go", before_s=1, after_s=1.5), folder, reviewer="r1"
    ) as session:
        session.accept(session.queue[0], "BB")
        session.seal("v1")
    measure = ["measure", "{study}", *CUT, "--folder", str(folder), "--version", "v1"]
    for arguments, words in (
        (
            [*measure, "--reference", "BB=100"],
            "--reference came, and no --normalise that divides by it; allowed with it: 't",
        ),
        ([*measure, "--reference", "BB=100"], "give one to --normalise, or leave --reference out."),
        (
            ["detect", "{study}", *CUT, "--rate", "1999"],
            "--rate says 1999 Hz, but sub-01_task-turnhandle_emg.bdf itself 20",
        ),
        (["detect", "{study}", *CUT[:-1], "0.05"], "--after came as 0.050; allowed: 0.2 or more, in which an onset"),
        (["agreement", str(folder), "r1", "r2"], "there are: r1"),
    ):
        assert cli.run([argument.format(**places) for argument in arguments]) == 1
        said = capsys.readouterr().err
        assert words in said
        assert not PYTHON.search(said.replace(str(places["tmp"]), ""))
    assert cli.run([part.format(**places) for part in [*measure, "--response", "rt"]]) == 0
    assert "has no marker 'rt' (there are: go, response, warning): reaction" in capsys.readouterr().err
    assert cli.run(["detect", str(places["study"]), *CUT, "--rate", "2000"]) == 0, "the right rate is no slip"


def test_what_is_mistyped_is_told_in_one_line_without_the_usage_page(places, capsys):
    detect, measure = ["detect", "x", *CUT], ["measure", "x", *CUT, "--folder", "x", "--version", "v1"]
    for arguments, words in (
        ([*measure, "--reference", "BB"], "measure: --reference: 'BB' came; give a channel and its value: --reference"),
        (["check", "x", "--codes", "T", "--mask", "0"], "check: --mask: '0' came; give the bits as a whole number"),
        (["detct", "x"], "no command is called 'detct'; allowed: demo, look, study, check, detect"),
        (["detct", "x"], "did you mean detect;"),
        (["detect"], "detect: missing: path, --cue, --before, --after; give what is missing"),
        ([], "missing: COMMAND"),
        (
            [*detect, "--bands", "20", "40"],
            "--bands 20 40 came, which this command does not take; did you mean --band;",
        ),
        (["detect", "x", "--cue", "go", "left", *CUT[2:]], "left came, which this command does not take"),
        (["detect", "x", "--cue", "go", "left", *CUT[2:]], "in quotes together with what stands before it"),
        ([*detect, "--expect"], "--expect came without its value"),
        ([*detect, "--band", "20"], "--band came without its 2 values"),
        ([*detect, "--edge", "up"], "--edge came as 'up'; allowed: rising, falling, both; give one of them"),
        ([*detect, "--json=yes"], "--json takes no value, and 'yes' came"),
        (["bench", "onset"], "bench: 'onset' came; allowed: onsets, findings; did you mean onsets;"),
        (["agreement", "x", "r1"], "agreement: missing: SECOND;"),
        ([*measure, "--re", "a"], "may be any of --reference, --response"),
    ):
        with pytest.raises(SystemExit) as ended:
            cli.run(arguments)
        said = capsys.readouterr().err
        assert (ended.value.code, said.count("\n")) == (2, 1), said
        assert words in said
        assert said.startswith("emgreview")
        assert "usage:" not in said
        assert said.endswith("--help tells more.\n")


def test_one_slip_on_every_recording_is_told_once(places, capsys):
    study = er.write_demo(places["tmp"] / "four", participants=4, trials=2)
    assert cli.run(["detect", str(study), "--cue", "stop", *CUT[2:]]) == 1
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 2
    assert said[0].startswith("emgreview: 4 recordings (sub-01_task-turnhandle, sub-02_task-turnhandle, sub-03_task-")
    assert " …): no marker is called 'stop'; there are: go, " in said[0]
    assert cli.run(["check", str(study), "--columns", "BB,XX"]) == 1
    said = capsys.readouterr().err.splitlines()
    assert [line.startswith("emgreview: 4 recordings (") for line in said].count(True) == len(said) == 1
    found = alike({"a": "a lasts 19 s.", "b": "b lasts 20 s.", "c": "no rate. This was asked of recording 'c'."})
    assert found == {"2 recordings (a, b)": "a lasts 19 s. (The numbers are those of the first.)", "c": "no rate."}


def test_every_parameter_of_the_method_is_listed(places, capsys):
    for name in ("k", "before"):
        assert cli.run(["detect", str(places["file"]), *CUT, "--set", f"{name}=6"]) == 1
        said = capsys.readouterr().err
        assert f"no parameter of method 'ramp' is called '{name}' (--set NAME=VALUE); there are: 'memory_s', 'r" in said
        assert all(f"'{field.name}'" in said for field in dataclasses.fields(METHODS["ramp"][1]))


def test_what_was_expected_and_is_not_there_is_in_the_status_and_the_answer_of_each_command(
    places, capsys, monkeypatch
):
    pytest.importorskip("panel")
    monkeypatch.setattr("emgreview.views.host.serve", lambda screen, ready, **_: ready("http://here"))
    folder = places["tmp"] / "expected"
    way = [str(places["study"]), *CUT, "--json"]
    review = ["review", *way, "--reviewer", "r1", "--folder", str(folder), "--no-browser"]
    with er.open_review(
        er.cut_all(er.read_dataset(places["study"]), cue="go", before_s=1, after_s=1.5), folder, reviewer="r1"
    ) as session:
        session.accept(session.queue[0], "BB")
        session.seal("v1")
    measure = ["measure", *way, "--folder", str(folder), "--version", "v1"]
    words = "40 cues 'go' were expected and 3 are there"
    for command in (["detect", *way], review, measure):
        for expect, status in (("3", 0), ("40", 1)):
            assert cli.run([*command, "--expect", expect]) == status
            out, err = capsys.readouterr()
            found = json.loads(out)
            rows = found if isinstance(found, list) else [found]
            assert all(any(words in note for note in row["notes"]) == bool(status) for row in rows)
            assert (f"note: {places['file'].stem.removesuffix('_emg')}: {words}" in err) == bool(status)


def test_notes_of_a_dataset_and_what_is_left_out_are_in_the_answer_of_detect(tmp_path, capsys):
    study = er.write_demo(tmp_path / "study", participants=3, trials=3)
    (study / "sub-09").mkdir()
    broken = next(study.glob("sub-02/emg/*.bdf"))
    broken.write_bytes(broken.read_bytes()[:3000])
    assert cli.run(["detect", str(study), *CUT, "--json"]) == 1
    out, err = capsys.readouterr()
    rows = json.loads(out)
    assert {row["recording"] for row in rows} == {"sub-01_task-turnhandle", "sub-03_task-turnhandle"}
    for row in rows:
        assert row["dataset_notes"][0] == "There is no EMG recording of sub-09."
        assert row["dataset_notes"][1].startswith("sub-02_task-turnhandle is left out: ")
    assert "There is no EMG recording of sub-09." in err
    assert "emgreview: sub-02_task-turnhandle: " in err


def test_a_recording_too_short_to_be_looked_at_is_no_recording_in_which_nothing_stands_out(tmp_path, capsys):
    for n, at, words in ((2, "0.002", True), (150, "0.15", True), (1500, "", False)):
        path = tmp_path / f"n{n}.csv"
        path.write_text("\n".join(f"{x:.4f}" for x in np.random.default_rng(1).normal(0, 0.01, n)))
        status = cli.run(["check", str(path), "--rate", "1000", "--unit", "mV", "--columns", "FDI"])
        out = capsys.readouterr().out
        assert (status == 1, f"Nothing could be looked at: the longest piece has {at}" in out) == (words, words)
        assert ("nothing stands out" in out) != words


def test_sentences_of_an_answer_are_in_shell_words_and_data_stay():
    said = "Text files are taken only with rate_hz, unit and columns given; give before_s=1 or None."
    value = {"notes": [said], "rows": [{"comment": said, "problem": said}], "level": None, "n": 3}
    found = answer(value)
    assert found["rows"][0]["comment"] == said
    assert found["notes"] == [found["rows"][0]["problem"]]
    assert not PYTHON.search(found["notes"][0])
    assert (found["level"], found["n"]) == (None, 3)
    assert in_shell_lines("a   b\n  rate_hz=5 'None'") == "a   b\n  --rate 5 'None'"


def test_what_stands_in_quotes_stays():
    said = "no channel is called 'before_s'; before_s came as 3"
    assert in_shell_words(said) == "no channel is called 'before_s'; --before came as 3"


def test_a_blind_review_that_cannot_be_opened_loses_no_note_and_names_nobody(places, capsys):
    way = [part.format(**places) for part in (*REVIEW, "r1", "--expect", "9", "--method", "foo")]
    for blind in (False, True):
        assert cli.run([*way, *(["--blind"] if blind else [])]) == 1
        said = capsys.readouterr().err
        assert "9 cues 'go' were expected and 3 are there" in said
        assert "no onset method is called 'foo'" in said
        assert ("a recording: 9 cues" in said) == blind
        assert ("sub-01" in said) != blind
