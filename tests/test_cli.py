"""The command line: what each command prints, writes and returns, on a small demo study and on broken input."""

import csv
import importlib.util
import json
import os
import pty
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import edfio
import numpy as np
import pytest

import emgreview as er
from emgreview import cli
from emgreview.demo import lab
from emgreview.reading import known_extensions

WINDOW = ["--cue", "go", "--before", "1", "--after", "1.5"]


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return er.write_demo(tmp_path_factory.mktemp("cli") / "demo-study", participants=2, trials=4)


def test_demo_writes_a_study_and_finds_it_complete(run, tmp_path):
    folder = tmp_path / "mine"
    status, out, err = run("demo", folder, "--participants", "1", "--trials", "3")
    assert (status, out) == (0, f"The demo study is in {folder}.\n")
    assert err == "1 of 1: sub-01 written\n"
    status, out, err = run("demo", folder, "--participants", "1", "--trials", "3", "--json")
    assert (status, json.loads(out)) == (0, {"folder": str(folder)})
    assert "complete already" in err


def test_an_error_is_one_line_without_a_traceback(run, study):
    status, out, err = run("demo", study, "--participants", "3")
    assert (status, out) == (1, "")
    assert err.count("\n") == 1
    assert re.match(r"emgreview: .*another demo study \(participants 2 there, 3 asked", err)


@pytest.mark.parametrize("arguments", [[], ["nonsense"], ["detect", "x"], ["verify"], ["demo", "--port", "x"]])
def test_a_mistyped_command_is_status_2(arguments, capsys):
    with pytest.raises(SystemExit) as ended:
        cli.run(arguments)
    assert ended.value.code == 2
    said = capsys.readouterr().err
    assert said.startswith("emgreview")
    assert (said.count("\n"), "usage" in said) == (1, False)


def test_check_shows_numbers_and_mains_and_fails_on_findings(run, study):
    status, out, err = run("check", study)
    reports = json.loads(run("check", study, "--json")[1])
    findings = [finding for report in reports for channel in report["channels"] for finding in channel["findings"]]
    assert status == (1 if findings else 0)
    assert [report["recording"] for report in reports] == ["sub-01_task-turnhandle", "sub-02_task-turnhandle"]
    assert all(finding in out for finding in findings)
    assert "mains 50 Hz as stated" in out
    assert out.count("of power") == sum(len(report["channels"]) for report in reports) == 12
    assert err == ""
    first = er.check(er.read_dataset(study).recordings[0])[0]
    assert reports[0]["channels"][0]["rms"] == first.rms
    assert reports[0]["markers"]["go"] == 4


def test_check_of_a_sound_recording_is_status_0(run, tmp_path):
    x = np.random.default_rng(3).normal(0, 0.01, (8000, 2))
    path = tmp_path / "rest.txt"
    np.savetxt(path, x, fmt="%.6f")
    status, out, err = run("check", path, "--rate", "2000", "--unit", "mV", "--columns", "FDI,-")
    assert (status, err) == (0, "")
    assert re.search(r"FDI  RMS (9\.\d+|10(\.\d)?) µV", out)
    assert "nothing stands out" in out


def test_check_goes_on_after_a_recording_that_cannot_be_read(run, study, tmp_path):
    folder = tmp_path / "plain"
    folder.mkdir()
    whole = next(study.glob("sub-01/emg/*.bdf")).read_bytes()
    (folder / "a.bdf").write_bytes(whole[:5000])
    (folder / "b.bdf").write_bytes(whole)
    status, out, err = run("check", folder)
    assert status == 1
    assert err.startswith("emgreview: a: ")
    assert err.count("\n") == 1
    assert out.startswith("b: 6 EMG channels")
    assert "a:" not in out


def test_detect_gives_the_onsets_that_a_review_proposes(run, study, tmp_path):
    out_file = tmp_path / "onsets.tsv"
    status, out, _ = run("detect", study, *WINDOW, "--out", out_file)
    assert status == 0
    rows = list(csv.DictReader(out_file.read_text(encoding="utf-8").splitlines(), delimiter="\t"))
    assert out.startswith(f"{len(rows)} channels of trials, ")
    trials = [er.cut_trials(rec, cue="go", before_s=1, after_s=1.5) for rec in er.read_dataset(study).recordings]
    with er.open_review(trials, tmp_path / "review", reviewer="r1") as session:
        proposed = session.decisions()
    assert len(rows) == 2 * 4 * 6
    for row in rows:
        mine = proposed[(proposed["trial"] == row["trial"]) & (proposed["channel"] == row["channel"])].iloc[0]
        if row["onset_s"] == "n/a":
            assert mine["activity"] == "none detected"
        else:  # a review rounds to whole samples of 0.5 ms
            assert float(row["onset_s"]) == pytest.approx(mine["automatic_onset_s"], abs=2.6e-4)
            assert float(row["low_s"]) <= float(row["onset_s"]) <= float(row["high_s"])


def test_detect_marks_what_a_method_does_not_give_as_missing(run, study):
    status, out, _ = run("detect", study, *WINDOW, "--method", "threshold", "--json")
    assert status == 0
    rows = json.loads(out)
    assert {row["method"] for row in rows} == {"threshold"}
    assert all(row["low_s"] is None and row["present"] is None for row in rows)
    assert any(row["onset_s"] is not None for row in rows)
    harsh = json.loads(run("detect", study, *WINDOW, "--method", "threshold", "--set", "k=1000", "--json")[1])
    assert not any(row["onset_s"] is not None for row in harsh)


def test_detect_never_overwrites(run, study, tmp_path):
    file = tmp_path / "precious.tsv"
    file.write_text("mine")
    status, _, err = run("detect", study, *WINDOW, "--out", file)
    assert status == 1
    assert "exists already; nothing was written" in err
    assert file.read_text() == "mine"


def test_detect_names_the_recordings_without_the_cue(run, study):
    status, out, err = run("detect", study, "--cue", "gow", "--before", "1", "--after", "1.5")
    assert (status, out) == (1, "")
    assert "2 recordings (sub-01_task-turnhandle, sub-02_task-turnhandle): no marker is called 'gow'" in err
    assert "Did you mean 'go'?" in err


@pytest.fixture(scope="module")
def sealed(study, tmp_path_factory):
    """A review of both people, all accepted, sealed as v1."""
    folder = tmp_path_factory.mktemp("measure") / "review"
    trials = [er.cut_trials(rec, cue="go", before_s=1, after_s=1.5) for rec in er.read_dataset(study).recordings]
    with er.open_review(trials, folder, reviewer="r1") as session:
        for part in trials:
            for trial in part.ids:
                session.accept_rest(trial)
        session.seal("v1")
    return folder


def test_measure_gives_one_row_a_burst_and_what_each_column_means(run, study, sealed, tmp_path):
    options = [study, *WINDOW, "--folder", sealed, "--version", "v1"]
    status, out, err = run("measure", *options)
    rows = list(csv.DictReader(out.splitlines(), delimiter="\t"))
    decisions = er.read_version(sealed, "v1")
    assert (status, err) == (0, "")
    assert len(rows) == decisions["onset_s"].notna().sum()
    assert float(rows[0]["burst_rms"]) > float(rows[0]["rest_rms"])
    status, out, _ = run("measure", *options, "--normalise", "peak in task", "--json")
    found = json.loads(out)
    assert status == 0
    assert len(found["rows"]) == len(rows)
    assert "peak in task" in found["columns"]["burst_rms_percent"]["description"]
    target = tmp_path / "measures.tsv"
    labels = sorted(set(decisions["channel"]))
    references = [part for label in labels for part in ("--reference", f"{label}=200")]
    status, out, _ = run("measure", *options, "--normalise", "isometric maximum", *references, "--out", target)
    assert (status, out) == (0, f"{len(rows)} bursts measured: {target}\n")
    status, _, err = run("measure", *options, "--out", target)
    assert status == 1
    assert "exists already" in err


def test_measure_leaves_out_what_the_sealed_rule_leaves_out_and_says_so(run, study, tmp_path):
    trials = [er.cut_trials(rec, cue="go", before_s=1, after_s=1.5) for rec in er.read_dataset(study).recordings]
    with er.open_review(trials, tmp_path, reviewer="r1", method="threshold") as session:
        for trial in session.queue:
            session.accept_rest(trial)
        bursts = session.decisions().query("origin == 'automatic'")
        trial, label = bursts[["trial", "channel"]].iloc[0]
        session.unusable(trial, label, ["clipped"])
        session.seal("v1", rule=er.Rule(name="main", version=1))
    where = (study, *WINDOW, "--folder", tmp_path, "--version", "v1")
    status, out, err = run("measure", *where, "--json")
    found = json.loads(out)
    assert (status, len(found["rows"])) == (0, len(bursts) - 1)
    told = "1 bursts are left out by the rule for inclusion: 'signal unusable (clipped)' 1."
    assert told in found["notes"]
    assert f"note: {told}" in err
    status, out, _ = run("measure", *where, "--left-out-too", "--json")
    assert (status, len(json.loads(out)["rows"])) == (0, len(bursts))


def test_measure_refuses_other_samples_than_those_reviewed(run, sealed, tmp_path):
    other = er.write_demo(tmp_path / "other", participants=2, trials=4, seed=99)
    status, out, err = run("measure", other, *WINDOW, "--folder", sealed, "--version", "v1")
    assert (status, out) == (1, "")
    assert "other samples, labels or rate than the one that was reviewed" in err


def test_seal_diff_and_replay(run, study, tmp_path):
    trials = [er.cut_trials(rec, cue="go", before_s=1, after_s=1.5) for rec in er.read_dataset(study).recordings]
    with er.open_review(trials, tmp_path, reviewer="r1", method="threshold") as session:
        session.accept_rest(session.queue[0])
    where = ("--folder", tmp_path, "--version", "v1")
    rule = er.Rule(name="main", version=1).write(tmp_path / "rule.toml")
    status, out, _ = run("seal", study, *where, "--rule", rule, "--json")
    sealed = json.loads(out)
    assert status == 0
    table = er.read_version(tmp_path, "v1", expect=sealed["sha256"])
    assert table["included"].sum() == (table["reviewed"] & (table["activity"] == "bursts")).sum()
    status, out, _ = run("replay", study, *where)
    assert (status, "same bytes: yes" in out) == (0, True)
    assert json.loads(run("replay", study, *where, "--json")[1])["same_decisions"] is True
    with er.open_review(trials, tmp_path, reviewer="r1", method="threshold") as session:
        session.unusable(session.queue[1], "BB", ["clipped"])
        session.comment(session.queue[1], "=odd")
    status, out, _ = run("diff", tmp_path, "v1")
    assert (status, out) == (0, "1 newly unusable: clipped\n1 comment changed\n")
    status, out, _ = run("diff", tmp_path, "v1", "now", "--table")
    assert len(out.splitlines()) == 3
    assert "'=odd" in out, "safe for a spreadsheet"
    changes = json.loads(run("diff", tmp_path, "v1", "--json")[1])["changes"]
    assert [change["what"] for change in changes] == ["comment changed", "newly unusable"]
    assert run("diff", tmp_path, "v1", "v1")[1] == "nothing changed\n"
    status, out, err = run("replay", study / "participants.tsv", *where)
    assert (status, out) == (1, "")
    assert err.startswith("emgreview: ")
    status, _, err = run("diff", tmp_path, "v9")
    assert (status, err.count("\n")) == (1, 1)


def test_verify_says_whether_all_is_as_written(run, study, tmp_path):
    trials = er.cut_trials(er.read_dataset(study).recordings[0], cue="go", before_s=1, after_s=1.5)
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        session.accept(session.queue[0], "BB")
        session.seal("v1")
    status, out, _ = run("verify", tmp_path)
    assert (status, out) == (0, "Events 3, logs 1, sealed versions 1: all as written.\n")
    (log,) = (tmp_path / "logs").rglob("*.jsonl")
    log.write_bytes(log.read_bytes().replace(b'"accepted":true', b'"accepted":false', 1))
    status, out, _ = run("verify", tmp_path)
    assert status == 1
    assert log.name in out
    status, out, _ = run("verify", tmp_path, "--json")
    assert (status, json.loads(out)["ok"]) == (1, False)


def test_two_reviewers_compared_and_what_is_left_to_settle(run, study, tmp_path):
    trials = er.cut_trials(er.read_dataset(study).recordings[0], cue="go", before_s=1, after_s=1.5)
    for reviewer in ("r1", "r2"):
        with er.open_review(trials, tmp_path, reviewer=reviewer) as session:
            for trial in session.queue:
                session.accept_rest(trial)
            if reviewer == "r2":
                session.none_visible(session.queue[0], "BB")
    status, out, _ = run("agreement", tmp_path, "r1", "r2")
    assert status == 0
    assert out.startswith("Agreement of r1 and r2: ")
    status, out, _ = run("agreement", tmp_path, "r1", "r2", "--json")
    assert json.loads(out)["onsets"]["only_first"] == 1
    status, out, err = run("adjudicate", tmp_path, "r1", "r2")
    head, row = csv.reader(out.splitlines(), delimiter="\t")
    assert (status, head[5:7], row[3]) == (1, ["said_by_r1", "said_by_r2"], "activity")
    assert (row[5][:13], row[6]) == ("onset marked:", "none visible")
    assert "1 disputes are left" in err
    status, out, err = run("adjudicate", tmp_path, "r1", "r2", "--third", "r3")
    assert (status, out.count("\n")) == (1, 2)
    assert "r3 has no log here yet, and has settled nothing" in err
    with er.adjudicate(trials, tmp_path, "r1", "r2", reviewer="r3") as session:
        session.settle(session.queue[0], "BB", "A")
        session.exclude("hum", recording=trials.recording.name, channel="BB")
    status, out, err = run("adjudicate", tmp_path, "r1", "r2", "--third", "r3", "--json")
    assert (status, json.loads(out), err) == (0, [], "No dispute is left.\n")
    with er.open_review(trials, tmp_path, reviewer="r2") as session:
        session.exclude("hum", recording=trials.recording.name, channel="BB")
    _, _, err = run("adjudicate", tmp_path, "r1", "r2", "--third", "r3")
    assert "Kept out of every analysis, or set aside: 0 by both, 1 by one alone; all stand." in err
    assert run("agreement", tmp_path, "r1", "r9")[0] == 1


def test_a_missing_package_is_named_with_its_cure(run, study, tmp_path, monkeypatch):
    find = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name: None if name in ("jupyterlab", "panel") else find(name)
    )
    for arguments in (
        ["demo", study, "--participants", "2", "--trials", "4", "--open"],
        ["review", study, *WINDOW, "--reviewer", "r1", "--folder", tmp_path / "review"],
    ):
        status, _, err = run(*arguments)
        assert status == 1
        assert "is not installed" in err
        assert "[notebook]" in err
    assert not (tmp_path / "review").exists()
    assert not (study.parent / "review.ipynb").exists()


def test_a_notebook_with_other_constants_keeps_everything_else():
    path = lab.notebook("review.ipynb")
    before, after = json.loads(path.read_text("utf-8")), json.loads(lab.with_constants(path, {"AFTER_S": "0.7"}))
    changed = [
        (old, new)
        for old_cell, new_cell in zip(before["cells"], after["cells"], strict=True)
        for old, new in zip(old_cell["source"], new_cell["source"], strict=True)
        if old != new
    ]
    assert changed == [("AFTER_S = 1.5  # and after it\n", "AFTER_S = 0.7  # and after it\n")]
    with pytest.raises(er.EmgreviewError, match="sets NOTHING 0 times"):
        lab.with_constants(path, {"NOTHING": "1"})


class Server:
    """A command that serves, in a process of its own, its standard input a terminal as it is for a person."""

    def __init__(self, *arguments: str | Path, folder: Path):
        keyboard, terminal = pty.openpty()
        self.keyboard = os.fdopen(keyboard, "wb")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "emgreview", *map(str, arguments)],
            cwd=folder,
            env={**os.environ, "HOME": str(folder), "PYTHONPATH": str(Path(er.__file__).parents[1])},
            stdin=terminal,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )
        os.close(terminal)

    def address(self) -> str:
        text = ""
        while "}" not in text:
            line = self.process.stdout.readline()
            assert line, f"it ended without an address: {self.process.communicate()[1]}"
            text += line
        return json.loads(text)["address"]

    def get(self, address: str) -> str:
        for _ in range(120):
            try:
                with urllib.request.urlopen(address, timeout=5) as answer:
                    return answer.read().decode()
            except urllib.error.HTTPError:
                raise
            except OSError:
                time.sleep(0.25)
        raise TimeoutError(address)

    def stop(self) -> tuple[int, str]:
        """End it as Ctrl-C does: exit status and standard error."""
        self.process.send_signal(signal.SIGINT)
        return self.end()

    def end(self) -> tuple[int, str]:
        try:
            err = self.process.communicate(timeout=30)[1]
        except subprocess.TimeoutExpired:
            self.process.kill()
            err = self.process.communicate()[1]
        self.keyboard.close()
        return self.process.returncode, err


def test_demo_opens_jupyterlab_for_this_machine_alone(study):
    pytest.importorskip("jupyterlab")
    folder = study.parent
    options = ["--participants", "2", "--trials", "4", "--open", "--no-browser", "--json"]
    server = Server("demo", study.name, *options, folder=folder)
    try:
        address = server.address()
        page = server.get(address)
        base, token = re.match(r"(http://127\.0\.0\.1:\d+)/lab/tree/review\.ipynb\?token=(\w+)$", address).groups()
        with pytest.raises(urllib.error.HTTPError, match="403"):
            server.get(f"{base}/api/contents")
        settings = server.get(f"{base}/lab/api/settings/@jupyterlab/apputils-extension:notification?token={token}")
        content = json.loads(server.get(f"{base}/api/contents/review.ipynb?token={token}"))["content"]
    finally:
        status, err = server.stop()
    assert status == 0, err
    assert "Traceback" not in err
    assert '"news": {"disabled": true}' in page
    assert '"name": "read-only"' in page or '"can_install": false' in page
    assert json.loads(settings)["schema"]["properties"]["fetchNews"]["default"] == "false"
    assert ", participants=2, trials=4, seed=20)  #" in json.dumps(content)
    copy = folder / "review.ipynb"
    copy.write_text(copy.read_text().replace("RECORDINGS = 3", "RECORDINGS = 2  # mine"))
    again = Server("demo", study.name, *options, folder=folder)
    try:
        again.get(again.address())
    finally:
        _, err = again.stop()
    assert "review.ipynb, first_look.ipynb" in err
    assert "there already, left as it is" in err
    assert "# mine" in copy.read_text()
    for name in lab.NOTEBOOKS:
        assert ", participants=2, trials=4, " in (folder / name).read_text("utf-8")


def test_review_serves_the_screen_at_an_address_nobody_can_guess(study, tmp_path):
    pytest.importorskip("panel")
    arguments = ["review", study, *WINDOW, "--reviewer", "r1", "--folder", "decisions", "--no-browser", "--json"]
    server = Server(*arguments, folder=tmp_path)
    try:
        address = server.address()
        page = server.get(address)
        base, word = re.match(r"(http://127\.0\.0\.1:\d+)/([\w-]+)$", address).groups()
        with pytest.raises(urllib.error.HTTPError, match="404"):
            server.get(f"{base}/")
    finally:
        status, err = server.stop()
    assert status == 0, err
    assert len(word) > 20
    assert "Bokeh" in page
    assert not re.search(r'(src|href)="https?://(?!127\.0\.0\.1|localhost)', page)
    assert er.verify(tmp_path / "decisions").ok


def test_review_hands_its_options_on(run, study, tmp_path, monkeypatch):
    host = pytest.importorskip("emgreview.views.host")
    shown = []
    monkeypatch.setattr(host, "serve", lambda widget, **how: shown.append(json.loads(widget.setup)))
    convention = tmp_path / "convention.txt"
    convention.write_text("First lasting rise.\nNo stray units.")
    where = [study, *WINDOW, "--reviewer", "r1", "--folder", tmp_path / "decisions"]
    method = ["--method", "double-threshold", "--set", "shortest_s=0.05", "--set", "merge_s=0.02"]
    screen = ["--convention", convention, "--plausible", "0.1", "0.6", "--break-after", "0"]
    assert run("review", *where, *method, *screen)[0] == 0
    assert run("review", *where)[0] == 0
    first, again = shown
    assert (first["plausible_s"], first["break_after_min"], again["break_after_min"]) == ([0.1, 0.6], None, 25)
    assert first["convention"] == again["convention"] == "First lasting rise.\n\nNo stray units."
    log = next((tmp_path / "decisions" / "logs").rglob("*.jsonl")).read_text().splitlines()
    assert len(log) == 1, "opened again, nothing is said anew"
    detection = json.loads(log[0])["new"]["detection"]
    assert (detection["method"], detection["parameters"]["merge_s"]) == ("double-threshold", 0.02)
    for wrong, words in (
        (["--plausible", "0.6", "0.1"], "--plausible came as 0.6 0.1"),
        (["--break-after", "-1"], "--break-after came as -1"),
        (["--convention", tmp_path / "no.txt"], "there is no file"),
        (["--method", "threshold", "--set", "k=high"], "k came as 'high'"),
        (["--set", "k=3"], "--set k came without its --method"),
    ):
        status, _, err = run("review", *where, *wrong)
        assert status == 1
        assert words in err


def test_review_refuses_a_port_that_is_taken(study, tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        arguments = ["review", study, *WINDOW, "--reviewer", "r1", "--folder", "decisions", "--port", str(port)]
        server = Server(*arguments, folder=tmp_path)
        status, err = server.end()
    assert status == 1
    assert f"port {port} cannot be used" in err.splitlines()[-1]


def test_bench_prints_the_report_and_writes_it_once(run, tmp_path, monkeypatch):
    parts = ("grid", "troubles", "quiet", "untrusted")
    small = er.bench_onsets(trials=10, levels_db=(30,), rises_s=(0.05,), kinds=("units",), parts=parts)
    asked = {}

    def bench(**options):
        asked.update(options)
        return small

    monkeypatch.setattr(er, "bench_onsets", bench)
    status, out, err = run("bench", "onsets", "--trials", "10", "--seed", "4", "--out", tmp_path / "new")
    assert (asked["trials"], asked["seed"], asked["open_data"]) == (10, 4, None)
    assert "parts" not in asked
    assert status == (0 if all(figure.reached for figure in small.figures) else 1)
    assert "## Figures to reach" in out
    assert "written to" in err
    assert (tmp_path / "new" / "report.md").read_text() + "\n" == out
    status, out, _ = run("bench", "onsets", "--json")
    values = json.loads(out)
    beside = {"rates", "shapes", "others", "filters"}
    assert set(values) == {"facts", "cells", "troubles", "quiet", "untrusted", "figures"} | beside
    assert values["facts"]["not run"] == "rates, shapes, others, filters"
    assert "seed" in values["facts"]
    run("bench", "onsets", "--part", "grid", "--part", "quiet")
    assert asked["parts"] == ["grid", "quiet"]
    assert "methods" not in asked
    run("bench", "onsets", "--methods", "ramp, energy")
    assert asked["methods"] == ["ramp", "energy"]
    status, out, err = run("bench", "onsets", "--out", tmp_path / "new")
    assert (status, out) == (1, "")
    assert "nothing was run" in err


def test_bench_says_what_methods_are_and_that_findings_have_none(run):
    status, out, err = run("bench", "onsets", "--methods", "ramp,rampe", "--trials", "10")
    assert (status, out) == (1, "")
    assert "Did you mean 'ramp'?" in err
    status, out, err = run("bench", "findings", "--methods", "ramp", "--part", "grid")
    assert (status, out) == (1, "")
    assert "--part and --methods came for findings" in err
    status, out, err = run("bench", "onsets", "--methods", "energy", "--trials", "10", "--part", "untrusted")
    assert status == 1
    assert "no figure to reach was judged" in err


def test_version_is_that_of_the_package(capsys):
    with pytest.raises(SystemExit) as ended:
        cli.run(["--version"])
    assert ended.value.code == 0
    assert capsys.readouterr().out == f"emgreview {er.__version__}\n"


def plain_study(folder: Path, study: Path) -> Path:
    """Two whole recordings, one cut short, one of another kind, in a plain folder."""
    folder.mkdir()
    whole = next(study.glob("sub-01/emg/*.bdf")).read_bytes()
    (folder / "a.bdf").write_bytes(whole[:5000])
    (folder / "b.bdf").write_bytes(whole)
    (folder / "c.bdf").write_bytes(next(study.glob("sub-02/emg/*.bdf")).read_bytes())
    (folder / "d.xyz").write_bytes(b"")
    return folder


def test_what_is_left_out_of_a_folder_is_told_in_text_and_json(run, study, tmp_path):
    folder = plain_study(tmp_path / "plain", study)
    status, _, err = run("check", folder)
    assert status == 1
    notes = [f"note: Files that no reader knows are left out: d.xyz; known: {', '.join(known_extensions())}."]
    assert err.splitlines()[:1] == notes
    assert err.splitlines()[1].startswith("emgreview: a: a.bdf announces")
    assert len(err.splitlines()) == 2
    reports = json.loads(run("check", folder, "--json")[1])
    assert [report["recording"] for report in reports] == ["a", "b", "c"]
    assert reports[0]["problem"].startswith("a.bdf announces")
    assert [report["problem"] for report in reports[1:]] == [None, None]
    for report in reports:
        assert "note: " + report["dataset_notes"][0] in notes
        assert report["dataset_notes"][1].startswith("A plain folder does not say who was recorded")


def test_expect_tells_of_missing_cues_in_text_and_json(run, study):
    first = study / "sub-01/emg/sub-01_task-turnhandle_emg.bdf"
    status, _, err = run("detect", first, *WINDOW, "--expect", "4")
    assert (status, err) == (0, "")
    said = "6 cues 'go' were expected and 4 are there: 2 are missing."
    status, out, err = run("detect", study, *WINDOW, "--expect", "6", "--json")
    assert status == 1, "a script hears it too"
    assert [said in line for line in err.splitlines()] == [True, True]
    assert err.startswith("note: sub-01_task-turnhandle: ")
    rows = json.loads(out)
    assert all(any(said in note for note in row["notes"]) for row in rows)
    status, out, err = run("detect", first, *WINDOW, "--expect", "0")
    assert (status, out) == (1, "")
    assert "expect came as 0" in err


def test_seconds_given_as_milliseconds_are_refused(run, study, tmp_path):
    window = ["--cue", "go", "--before", "1000", "--after", "1500"]
    status, out, err = run("detect", study, *window)
    assert (status, out) == (1, "")
    assert err.count("perhaps 1 and 1.5, if milliseconds were given") == 1
    assert "emgreview: 2 recordings (sub-01_task-turnhandle, sub-02_task-turnhandle): trials from" in err


def test_columns_leave_channels_out_of_a_dataset(run, study):
    status, out, _ = run("detect", study, *WINDOW, "--columns", "BB,BR", "--json")
    assert status == 0
    assert {row["channel"] for row in json.loads(out)} == {"BB", "BR"}


def test_what_needs_people_says_that_a_plain_folder_names_none(run, tmp_path):
    folder = tmp_path / "plain"
    folder.mkdir()
    for name in ("a", "b"):
        x = np.random.default_rng(ord(name)).normal(0, 10, 20000)
        signal = edfio.EdfSignal(x, 1000, label="FDI", physical_dimension="uV", physical_range=(-200, 200))
        edfio.Edf([signal], annotations=[edfio.EdfAnnotation(5, None, "go")]).write(folder / f"{name}.edf")
    trials = er.cut_all(er.read_dataset(folder), cue="go", before_s=1, after_s=1.5)
    with er.open_review(trials, tmp_path / "review", reviewer="r1") as session:
        session.accept_rest(session.queue[0])
        with pytest.raises(er.EmgreviewError, match="No recording names its participant: a plain folder does not"):
            session.exclude("ill", participant="a")
    status, _, err = run("seal", folder, "--folder", tmp_path / "review", "--version", "v1")
    assert status == 0
    assert err.startswith("note: A plain folder does not say who was recorded")
    assert er.read_version(tmp_path / "review", "v1")["participant"].isna().all()


def test_check_tells_what_was_looked_at_what_was_not_and_every_finding_on_its_line(run, tmp_path):
    rng = np.random.default_rng(4)
    x = rng.normal(0, 0.003, (4000, 3))
    x[:, 1] = x[:, 0]
    x[::400, 2] = -999
    path = tmp_path / "rest.txt"
    np.savetxt(path, x, fmt="%.6f")
    status, out, _ = run("check", path, "--rate", "2000", "--unit", "mV", "--columns", "FDI,ADM,APB", "--whole")
    assert status == 1
    assert "looked at: all 2 s" in out
    assert "not looked for in any channel: heart beats: 2 s at rest" in out or "heart beats" in out
    assert re.search(r"\n +- The same signal as other channels: identical to ADM", out)
    assert re.search(r"\n +- 0\.25% of samples hold the value -999000 µV", out)
    told = json.loads(
        run("check", path, "--rate", "2000", "--unit", "arbitrary", "--columns", "FDI,ADM,APB", "--json")[1]
    )
    first = told[0]["channels"][0]
    assert [one["code"] for one in first["found"]] == ["same signal"]
    assert first["found"][0]["channels"] == ["FDI", "ADM"]
    assert first["findings"] == [one["words"] for one in first["found"]]
    assert "no level is impossible" in first["not_looked"][0]


def test_bench_findings_prints_shares_with_intervals(run, tmp_path, monkeypatch):
    small = er.bench_findings(recordings=2, faulty=1, faults=["constant"], seed=3)
    asked = {}
    monkeypatch.setattr(er, "bench_findings", lambda **options: asked.update(options) or small)
    status, out, _ = run("bench", "findings", "--trials", "2", "--seed", "3", "--out", tmp_path / "new")
    assert status == 0
    assert (asked["recordings"], asked["seed"]) == (2, 3)
    assert "constant" in out
    assert "1 of 1 (20.7% to 100.0%)" in out
    assert (tmp_path / "new" / "findings.txt").read_text("utf-8") == out
