"""The same work from a shell: other bands, cues from a channel of pulses, one unit a column."""

import csv
import io
import json
import re

import edfio
import numpy as np
import pytest

import emgreview as er
from emgreview import cli

ONSETS_S = {"FDI": 0.2, "APB": 0.25}


def write(folder, rate_hz, suffix, codes=(5,)):
    """60 s of two muscles, one in mV and one in µV, that are active from known times after 19 pulses, whose heights
    ``codes`` holds in turn."""
    rng, n = np.random.default_rng(3), round(60 * rate_hz)
    x, trigger = rng.normal(0, 5, (2, n)), np.zeros(n)
    for i, at in enumerate(range(2 * rate_hz, n - 3 * rate_hz, 3 * rate_hz)):
        trigger[at : at + rate_hz // 20] = codes[i % len(codes)]
        for row, onset_s in zip(x, ONSETS_S.values(), strict=True):
            row[at + round(onset_s * rate_hz) : at + round(0.6 * rate_hz)] *= 8
    path = folder / f"one{suffix}"
    if suffix == ".csv":
        table = np.c_[np.arange(n) / rate_hz, x[0] / 1000, x[1], trigger]
        np.savetxt(path, table, delimiter=",", fmt="%.6f")
        return path
    rows = (
        *zip(x, ("FDI", "APB"), ("uV", "uV"), ((-400, 400),) * 2, strict=True),
        (trigger, "TRIGGER", "V", (-10, 10)),
    )
    edfio.Edf(
        [edfio.EdfSignal(v, rate_hz, label=name, physical_dimension=u, physical_range=r) for v, name, u, r in rows]
    ).write(path)
    return path


PULSES = ["--pulses", "TRIGGER", "--level", "2.5", "--hold-off", "0.5"]
WINDOW = ["--cue", "go", "--before", "1", "--after", "1.5"]
TEXT = ["--rate", "500", "--columns", "time,FDI,APB,TRIGGER", "--unit", "mV,uV,V"]


@pytest.mark.parametrize(("rate_hz", "band"), [(200, ["20", "90"]), (200, ["20", "none"]), (500, ["20", "200"])])
def test_detect_finds_the_onsets_of_slow_recordings_with_cues_from_pulses(run, tmp_path, rate_hz, band):
    path = write(tmp_path, rate_hz, ".edf")
    status, out, _ = run("detect", path, *WINDOW, *PULSES, "--band", *band)
    assert status == 0
    rows = list(csv.DictReader(io.StringIO(out), delimiter="\t"))
    assert len(rows) == 2 * 19
    for label, onset_s in ONSETS_S.items():
        found = [float(row["onset_s"]) for row in rows if row["channel"] == label and row["onset_s"] != "n/a"]
        assert len(found) >= 18
        assert np.median(found) == pytest.approx(onset_s, abs=0.025)
    status, _, err = run("detect", path, *WINDOW, *PULSES)
    assert status == 1
    assert "--band" in err
    assert "high_hz" not in err


def test_one_unit_a_column_in_any_of_three_spellings(run, tmp_path):
    path = write(tmp_path, 500, ".csv")
    plain = ["detect", path, *WINDOW, *PULSES, "--band", "20", "200", "--json", "--rate", "500", "--columns"]
    spelt = [
        run(*plain, "time,FDI,APB,TRIGGER", "--unit", "mV,uV,V"),
        run(*plain, "-,FDI,APB,TRIGGER", "--unit", "-,mV,uV,V"),
        run(*plain, "time,FDI,APB,TRIGGER", "--unit", "FDI=mV,APB=uV,TRIGGER=V"),
    ]
    assert [status for status, _, _ in spelt] == [0, 0, 0]
    assert spelt[0][1] == spelt[1][1] == spelt[2][1]
    levels = {row["channel"]: row["level_db"] for row in json.loads(spelt[0][1])}
    assert all(abs(level - 18) < 3 for level in levels.values())
    status, _, err = run("check", path, *TEXT[:-1], "mV,uV")
    assert (status, err.count("\n")) == (1, 1)
    assert "2 units, and --columns as 'time,FDI,APB,TRIGGER', 4 columns, 3 of them signals" in err
    status, _, err = run("check", path, "--rate", "500", "--unit", "mV,uV,V")
    assert "--columns is missing" in err
    with pytest.raises(SystemExit):
        run("check", path, *TEXT[:-1], "mV,APB=uV")


def test_pulses_from_check_to_replay(run, tmp_path, monkeypatch):
    """A text file of 500 Hz: looked at, reviewed, sealed, replayed and measured with the same words."""
    path, folder = write(tmp_path, 500, ".csv"), tmp_path / "review"
    status, out, _ = run("check", path, *TEXT, *PULSES)
    assert "markers: cue 19" in out
    served = []
    monkeypatch.setattr("emgreview.views.host.serve", lambda screen, **_: served.append(screen))
    way = [*WINDOW, *PULSES, "--band", "20", "200"]
    status, _, _ = run("review", path, *TEXT, *way, "--reviewer", "r1", "--folder", folder, "--no-browser")
    assert (status, len(served)) == (0, 1)
    processing = er.Processing(high_hz=200.0)
    rec = er.read(path, rate_hz=500.0, columns=["time", "FDI", "APB", "TRIGGER"],
                  unit={"FDI": "mV", "APB": "uV", "TRIGGER": "V"})  # fmt: skip
    rec = er.with_cues(rec, "TRIGGER", level=2.5, hold_off_s=0.5, label="go")
    trials = er.cut_trials(rec, cue="go", before_s=1, after_s=1.5, processing=processing)
    with er.open_review(trials, folder, reviewer="r1") as session:
        for trial in session.queue[:3]:
            session.accept_rest(trial)
    assert run("seal", path, *TEXT, "--folder", folder, "--version", "v1")[0] == 0
    status, out, _ = run("replay", path, *TEXT, "--folder", folder, "--version", "v1")
    assert (status, "same bytes: yes" in out) == (0, True)
    status, out, err = run("measure", path, *TEXT, *way, "--folder", folder, "--version", "v1", "--json")
    assert status == 0, err
    assert len(json.loads(out)["rows"]) == 6


def test_half_a_search_for_pulses_says_what_is_missing(run, tmp_path):
    path = write(tmp_path, 500, ".edf")
    for given, missing in ((PULSES[:2], "--level and --hold-off"), (PULSES[:4], "without --hold-off;")):
        status, _, err = run("detect", path, *WINDOW, *given)
        assert status == 1
        assert missing in err
    status, _, err = run("detect", path, *WINDOW, *PULSES[2:])
    assert "--level, --hold-off came without --pulses" in err
    status, _, err = run("detect", path, *WINDOW, *PULSES[:-1], "500")
    assert "perhaps 0.5, if milliseconds were given" in err
    status, _, err = run("detect", path, *WINDOW, *PULSES[:-1], "50")
    assert "perhaps 0.05, if milliseconds were given" in err


def test_pulses_beside_markers_of_the_same_name_are_refused(run, tmp_path):
    x = np.zeros((2, 10_000))
    x[0], x[1, 5000:5050] = np.random.default_rng(1).normal(0, 5, 10_000), 5
    signals = [
        edfio.EdfSignal(row, 1000, label=name, physical_dimension="uV", physical_range=(-50, 50))
        for row, name in zip(x, ("FDI", "TRIGGER"), strict=True)
    ]
    edfio.Edf(signals, annotations=[edfio.EdfAnnotation(5, None, "go")]).write(tmp_path / "a.edf")
    status, _, err = run("detect", tmp_path / "a.edf", *WINDOW, *PULSES)
    assert status == 1
    assert "holds 1 markers 'go' of its own" in err


def test_cues_from_digital_codes(run, tmp_path):
    path = write(tmp_path, 500, ".csv", codes=(5, 9))
    codes = ["--codes", "TRIGGER", "--hold-off", "0.01"]
    status, out, _ = run("check", path, *TEXT, *codes)
    assert "markers: cue 5 10, cue 9 9" in out
    way = ["--before", "1", "--after", "1.5", "--band", "20", "200", *codes]
    for code, n in (("go 5", 10), ("go 9", 9)):
        status, out, _ = run("detect", path, *TEXT, *way, "--cue", code)
        assert (status, out.count("TRIGGER/")) == (0, 2 * n)
    _, out, _ = run("detect", path, *TEXT, *way, "--cue", "go 1", "--mask", "1")
    assert out.count("TRIGGER/") == 2 * 19, "5 and 9 are odd"
    status, _, err = run("detect", path, *TEXT, *way, "--cue", "go 7")
    assert (status, "there are: go 5, go 9" in err) == (1, True)


def test_half_a_search_for_codes_says_what_is_missing(run, tmp_path):
    path, codes = write(tmp_path, 500, ".edf"), ["--codes", "TRIGGER"]
    cue = ["--cue", "go 5", *WINDOW[2:]]
    for given, words in (
        ([*WINDOW, *codes, "--hold-off", "0.01"], "--cue came as 'go'; with --codes a cue is a name"),
        ([*cue, *codes], "--codes TRIGGER came without --hold-off"),
        ([*cue, *codes, *PULSES], "--pulses TRIGGER and --codes TRIGGER both came"),
        ([*cue, *codes, *PULSES[2:]], "--level came with --codes TRIGGER"),
        ([*cue, *PULSES, "--mask", "3"], "--mask came with --pulses TRIGGER"),
        ([*cue, *PULSES[2:]], "came without --pulses or --codes"),
        ([*cue, "--codes", "FDI", "--hold-off", "0"], "counts as EMG"),
        ([*cue, *codes, "--hold-off", "0"], "codes are whole numbers; search it with --pulses and --level"),
    ):
        status, _, err = run("detect", path, *given, "--band", "20", "200")
        assert (status, words in err) == (1, True), err
    with pytest.raises(SystemExit):
        run("detect", path, *cue, *codes, "--mask", "0")


PYTHON = re.compile(r"\b\w+_(hz|ms|min)\b|\b(before|after|hold_off|plausible|rest)_s\b|\b[a-z]+=|\w\(\)|\bNone\b")


def sentences(value, name=""):
    """Every text of an answer that is for people."""
    if isinstance(value, dict):
        return [words for key, part in value.items() for words in sentences(part, key)]
    if isinstance(value, list):
        return [words for part in value for words in sentences(part, name)]
    return [value] if isinstance(value, str) and value.count(" ") > 2 else []


def test_every_command_speaks_as_a_shell_does_in_its_notes_and_its_json(run, tmp_path):
    """A plain folder with a text file that is left out, cues found in a channel, and a log that breaks later."""
    study, folder = tmp_path / "study", tmp_path / "review"
    study.mkdir()
    write(study, 500, ".edf")
    (study / "more.csv").write_text("1,2")
    way = [*WINDOW, *PULSES, "--band", "20", "200"]
    rec = er.with_cues(er.read(study / "one.edf"), "TRIGGER", level=2.5, hold_off_s=0.5, label="go")
    processing = er.Processing(high_hz=200.0)
    for code in ("r1", "r2"):
        trials = er.cut_trials(rec, cue="go", before_s=1, after_s=1.5, processing=processing)
        with er.open_review(trials, folder, reviewer=code) as session:
            session.accept_rest(session.queue[0])
            session.seal(f"v-{code}")
    of_review = ["--folder", folder, "--version"]
    notes = 0
    for number, arguments in enumerate((
        ["check", study, *PULSES], ["detect", study, *way, "--expect", "9"],
        ["review", study, *way, "--reviewer", "r1", "--folder", folder, "--method", "foo"],
        ["measure", study, *way, *of_review, "v-r1"], ["agreement", folder, "r1", "r2"],
        ["adjudicate", folder, "r1", "r2"], ["diff", folder, "v-r1", "now", "--reviewer", "r1"],
        ["seal", study, *of_review, "v3", "--reviewer", "r1"], ["replay", study, *of_review, "v-r1"],
        ["verify", folder], ["demo", tmp_path / "demo", "--participants", "1", "--trials", "0"],
    )):  # fmt: skip
        _, out, err = run(*arguments, "--json")
        said = {*(sentences(json.loads(out)) if out else []), *err.splitlines()}
        notes += sum("unless --rate, --unit and --columns are given" in words for words in said)
        for words in said:
            assert not PYTHON.search(words.replace(str(tmp_path), "")), (number, arguments[0], words)
    assert notes == 6 + 5, "all six that read the folder tell what they left out, and five in their answer too"


def test_what_looks_or_describes_answers_in_json(run, tmp_path, capsys):
    """Every command has the option, and those that describe files answer by it."""
    rows = "".join(f"{n / 1000},{n % 7},{5 * (n % 1000 < 20)}\n" for n in range(4000))
    (tmp_path / "P1.csv").write_text("time [s],FCR [mV],key [V]\n" + rows)
    _, out, _ = run("look", tmp_path / "P1.csv", "--json")
    assert {"format", "facts", "how", "asks", "call", "refused"} <= set(json.loads(out))
    pulses = ["--pulses", "key", "--level", "2.5", "--hold-off", "0.5"]
    status, out, _ = run("study", tmp_path, "--pattern", "P{participant}.csv", "--cue", "go", *pulses, "--json")
    assert status == 0
    assert json.loads(out)["recordings"]
    _, out, _ = run("convert", tmp_path / "study.toml", "--list", "--json")
    assert json.loads(out)
    for command in cli.COMMANDS:
        with pytest.raises(SystemExit):
            run(command, "--help")
        assert "--json" in capsys.readouterr().out or command == "bench", command
    for part in ("onsets", "findings"):
        with pytest.raises(SystemExit):
            run("bench", part, "--help")
        assert "--json" in capsys.readouterr().out
