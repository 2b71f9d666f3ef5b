"""A stranger's text in messages of Python, of the shell, in JSON and HTML: every letter is seen, none acts."""

import json
import shutil
import subprocess
import sys
import warnings

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scripted_reviews import make_trials, start

import emgreview as er
from emgreview.annotations.versions import DESCRIPTION
from emgreview.errors import DecisionWarning, EmgreviewError, ReadError, SignalWarning, UnknownNameError, tell
from emgreview.legible import escaped, legible, one_line
from emgreview.showing import Sheet, Shown

ACTING = "\x1b[2J\x07\x9b31m\u202e\u2066\ud800\u2028\r\x00\u200b\ufeff\U000e0041"
"""Escape, bell, the eight-bit escape, two that turn, half a pair, a line end, a return, nought, and three unseen."""

LETTERS = {one for one in ACTING if not one.isprintable()}


@given(st.text(st.characters(exclude_categories=())))
def test_no_letter_acts_and_seen_ones_stay(text):
    shown = legible(text)
    assert legible(shown) == shown, "once is enough"
    shown.encode()
    assert not LETTERS & set(shown)
    assert len(one_line(text).splitlines()) <= 1
    seen = "".join(one for one in text if one.isprintable())
    assert legible(seen) == seen


@given(st.recursive(st.text(st.characters(exclude_categories=())), lambda part: st.lists(part, max_size=3)))
def test_json_stays_the_same(value):
    text = escaped(json.dumps(value, ensure_ascii=False, indent=1))
    assert json.loads(text) == json.loads(json.dumps(value)), "halves that make a pair are one"
    assert not LETTERS & set(text)


def test_ordinary_text_of_any_language_stays():
    for text in ("µV, 4 °C — “as usual”", "می‌خواهم", "👩‍🔬", "a\u00a0b", "two\nlines\tand a tab", "co\u00adop"):
        assert legible(text) == text


class Result(Shown):
    def _parts(self):
        yield Sheet(ACTING, (ACTING, "b"), [[ACTING, "1"]])
        yield ACTING


def test_errors_warnings_and_results_show_it_as_numbers():
    told = [str(kind(ACTING)) for kind in (EmgreviewError, ReadError, SignalWarning, DecisionWarning)]
    told += [str(UnknownNameError("channel", "x", [ACTING])), repr(Result()), str(Result()), Result()._repr_html_()]
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        tell(ACTING)
    told.append(warnings.formatwarning(caught[0].message, caught[0].category, "f", 1))
    for words in told:
        assert not LETTERS & set(words), ascii(words)
        assert "\\x1b[2J" in words


@pytest.fixture
def folder(tmp_path):
    """A review with a version of which a stranger made the description."""
    for code in ("r1", "r2"):
        with start(tmp_path, reviewer=code) as session:
            for trial in session.queue:
                session.accept_rest(trial)
            if code == "r2":
                session.seal("v1")
    shutil.copytree(tmp_path / "versions" / "v1", tmp_path / "versions" / "v9")
    path = tmp_path / "versions" / "v9" / DESCRIPTION
    said = json.loads(path.read_text("utf-8"))
    said["name"] = "v9"
    said["bulk"] = [f"of {ACTING}\nnote: invented"]
    said["logs"] |= {f"logs/{ACTING}_reviewer-r1.jsonl": {"lines": 1, "sha256": "0" * 64}}
    path.chmod(0o644)
    path.write_text(json.dumps(said), "utf-8")
    return tmp_path


@pytest.mark.parametrize(
    "command",
    [("verify",), ("agreement", "r1", "r2"), ("adjudicate", "r1", "r2"), ("diff", "v9", "now", "--reviewer", "r1")],
)
@pytest.mark.parametrize("json_too", [False, True])
def test_the_shell_prints_no_letter_that_acts(folder, command, json_too):
    name, *more = command
    line = [sys.executable, "-m", "emgreview", name, str(folder), *more, *["--json"] * json_too]
    done = subprocess.run(line, capture_output=True, timeout=120)
    assert b"Traceback" not in done.stderr
    for stream in (done.stdout.decode(), done.stderr.decode()):
        assert not LETTERS & set(stream), ascii(stream)
    if json_too and done.stdout:
        json.loads(done.stdout)


def test_a_forged_line_of_a_note_stays_in_its_own(capsys):
    from emgreview.cli.saying import say

    say("v9: of x\nnote: invented")
    assert capsys.readouterr().err == "v9: of x note: invented\n"


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_what_python_hands_back_of_a_folder_is_in_one_line_each(folder):
    found = er.verify(folder)
    assert not found.ok
    for words in (*found.problems, *found.notes):
        assert words == one_line(words)


def test_a_review_of_recordings_with_such_labels_tells_no_letter_that_acts(tmp_path):
    trials = make_trials(labels=(f"F{ACTING[0]}DI", "APB"))
    with start(tmp_path, trials) as session, pytest.raises(UnknownNameError) as why:
        session.accept(session.queue[0], "nope")
    assert not LETTERS & set(str(why.value))
