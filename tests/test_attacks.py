"""Text that attacks: it stays text in logs, tables, spreadsheets and notebooks, and no name leaves the folder."""

import csv
import io
import json
import os
import re
from pathlib import Path

import pandas as pd
import pytest
from scripted_reviews import detect, log_lines, make_trials, start

import emgreview as er
from emgreview.cells import FORMULA_STARTERS, TURNING, guard, unguard
from emgreview.errors import DecisionError, ParameterError

MARKUP = ["<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "<b>&amp;</b>", "{{7*7}}", "${x}", "`id`"]
FORMULAS = [
    "=1+1", "+1", "-1", "@SUM(A1)", '=HYPERLINK("https://example.org","x")', "=cmd|' /C calc'!A0", " =1", "  @x",
    "＝1+1", "'=1", "''", "-", "=",
]  # fmt: skip
QUOTES = ['"', '"a', 'a"b', '"a"', '\'"a"', "'\"", "n/a", "'n/a", "NA", "nan", "None", "true", "1e5", "0012"]
TURNED = ["\u202egpj.exe", "a\u2066b\u2069", "\u200fabc", "\u061c1"]
OTHER = ["µV 😀", "é", " a ", "\\", "\\t", "a,b;c", "\ufeffx", "\u200bx"]
TEXTS = [*MARKUP, *FORMULAS, *QUOTES, *TURNED, *OTHER]
CONTROL = ["a\tb", "a\nb", "a\r\nb", "\x00", "\x1b[31mred", "a\x7f", "a\u2028b", "a\x85b", "\t=1"]


@pytest.mark.parametrize("text", [*TEXTS, *CONTROL, "\ud800"])
def test_a_cell_is_safe_and_gives_its_text_back(text):
    cell = guard(text)
    assert unguard(cell) == text
    assert not re.search(r"[\x00-\x1f\x7f\x85\u2028\u2029]", cell)
    assert not TURNING & set(cell)
    assert cell == text or cell.startswith("'")
    assert not cell.lstrip().startswith(tuple(FORMULA_STARTERS.replace("'", "") + '"'))
    assert cell != "n/a"


@pytest.fixture
def sealed(tmp_path):
    """A review whose every free text attacks: comments, reasons, conditions, labels, the convention, the exclusion."""
    trials = make_trials("=re'c", n=len(TEXTS), labels=("<img src=x>", "=A1"), sub="+7")
    cues = tuple(
        er.Marker(cue.sample, "go", details={"=cond": text}) for cue, text in zip(trials.cues, TEXTS, strict=True)
    )
    object.__setattr__(trials, "cues", cues)
    with start(tmp_path, trials, convention=TEXTS[0]) as session:
        for trial, text in zip(session.queue, TEXTS, strict=True):
            session.comment(trial, text)
            session.comment(trial, text, channel="=A1")
            if text.strip():
                session.unusable(trial, "<img src=x>", [f"other: {text}"])
        session.exclude("=why <b>", recording="=re'c", channel="=A1")
        session.seal("=v 1")
    return tmp_path


def test_logs_and_versions_give_every_text_back(sealed, counted):
    said = [line["new"] for line in log_lines(sealed) if line["operation"] == "comment"]
    assert said == [text for text in TEXTS for _ in range(2)]
    table = er.read_version(sealed, "=v 1")
    assert list(table["trial_comment"].dropna().unique()) == TEXTS
    assert list(table["=cond"].dropna().unique()) == TEXTS
    assert set(table["signal_reasons"].dropna()) == {f"other: {text.strip()}" for text in TEXTS}
    assert er.verify(sealed).ok
    counted(
        f"attacking texts: {len(TEXTS)} kept as they are in log and table, {len(CONTROL)} with control characters "
        "refused"
    )


def test_a_spreadsheet_sees_text_and_the_same_cells(sealed):
    content = (sealed / "versions" / "=v 1" / "decisions.tsv").read_bytes().decode()
    plain = [line.split("\t") for line in content.removesuffix("\n").split("\n")]
    assert {len(row) for row in plain} == {len(plain[0])}
    assert list(csv.reader(io.StringIO(content, newline=""), dialect="excel-tab")) == plain, "no quote swallows a cell"
    number = re.compile(r"-?\d+(\.\d+)?(e-?\d+)?|n/a|true|false")
    for cell in {cell for row in plain for cell in row}:
        assert number.fullmatch(cell) or not cell.lstrip().startswith(tuple('=+-@"＝＋－＠\t\r')), cell
    frame = pd.read_csv(io.StringIO(content), sep="\t", keep_default_na=False, quoting=csv.QUOTE_MINIMAL, dtype=str)
    assert len(frame) == len(plain) - 1


def test_a_notebook_shows_markup_as_text(sealed):
    table = er.read_version(sealed, "=v 1")
    for shown in (table, er.diff(sealed, 1).table, er.include(table, er.Rule(name="<b>", version=1))):
        html = shown.to_html(max_rows=None)
        assert "<script" not in html
        assert "<img" not in html
    assert "&lt;script&gt;" in html


@pytest.mark.parametrize("text", CONTROL)
def test_control_characters_are_refused_everywhere(tmp_path, text):
    with start(tmp_path) as session:
        one = session.queue[0]
        for command in (
            lambda: session.comment(one, text),
            lambda: session.comment(one, text, channel="FDI"),
            lambda: session.unusable(one, "FDI", [f"other: x{text}y"]),
            lambda: session.correct_cue(one, 0.01, reason=text),
            lambda: session.exclude(f"x{text}y", recording="rec"),
            lambda: er.Rule(name=f"x{text}y", version=1),
        ):
            with pytest.raises(DecisionError, match="control character"):
                command()
        assert len(log_lines(tmp_path)) == 1


@pytest.mark.parametrize(
    "name", ["../x", "a/b", "a\\b", "..", ".", "", "/x", "C:\\x", "con:", "a\0b", "x\u2028", "a\n"]
)
def test_no_name_leaves_the_folder(tmp_path, name):
    folder = tmp_path / "in" / "review"
    options = [{"reviewer": name}, {"trials": make_trials(name)}]
    if name:  # without one, a recording is of no participant
        options.append({"trials": make_trials(sub=name)})
    for one in options:
        with pytest.raises(ParameterError, match="file name"):
            start(folder, **one)
    with start(folder) as session, pytest.raises(ParameterError, match="file name"):
        session.seal(name)
    outside = [path for path in tmp_path.rglob("*") if folder not in (path, *path.parents) and path != folder.parent]
    assert outside == []


def test_names_that_only_look_odd_stay_inside(tmp_path):
    with start(tmp_path / "in", make_trials("x; rm -rf ~ $(id) %2e%2e", sub="~")) as session:
        session.discuss(session.queue[0])
        session.seal("-rf")
    assert [path.name for path in tmp_path.iterdir()] == ["in"]
    assert er.read_version(tmp_path / "in", "-rf") is not None


def test_a_forged_log_puts_no_file_elsewhere(tmp_path):
    """A version whose description names a log outside, as an attacker might send it."""
    with start(tmp_path) as session:
        session.accept(session.queue[0], "FDI")
        session.seal("v1")
    path = tmp_path / "versions" / "v1" / "decisions.json"
    description = json.loads(path.read_text())
    (head,) = description["logs"].values()
    description["logs"] = {"logs/../../../evil_reviewer-r1.jsonl": head}
    path.chmod(0o644)
    path.write_text(json.dumps(description))
    with pytest.raises(er.EmgreviewError):
        er.diff(tmp_path, "v1")
    with pytest.raises(er.EmgreviewError):
        er.replay(tmp_path, make_trials().recording, "v1", detect=detect)
    assert not er.verify(tmp_path).ok
    assert not Path(os.path.normpath(tmp_path / "logs/../../../evil_reviewer-r1.jsonl")).exists()
