"""Free texts that a person gives: their length is limited and told, older logs with longer ones open."""

import re
from pathlib import Path

import numpy as np
import pytest

import emgreview as er
from emgreview.annotations.events import LONGEST_TEXT, check_text
from emgreview.errors import DecisionError

RATE_HZ = 1000


@pytest.fixture
def trials():
    x = np.random.default_rng(1).normal(0, 5, (1, 12 * RATE_HZ))
    rec = er.Recording.from_array(x, RATE_HZ, labels=["FDI"], markers=[(3000, "go"), (6000, "go")], name="rec")
    return er.cut_trials(rec, cue="go", before_s=0.5, after_s=1.0, processing=er.Processing(high_hz=None))


def test_a_text_that_is_too_long_is_refused_whatever_it_is_for(trials, tmp_path):
    long, longest = "x" * (LONGEST_TEXT + 1), "x" * LONGEST_TEXT
    with er.open_review(trials, tmp_path / "review", reviewer="r1", method="threshold") as session:
        trial = session.queue[0]
        said = "a text of 10001 letters came, which begins with 'xxx.*at most 10000 are allowed; shorten it"
        for refused in (
            lambda: session.comment(trial, long),
            lambda: session.comment(trial, long, "FDI"),
            lambda: session.unusable(trial, "FDI", [f"other: {long}"]),
            lambda: session.exclude(recording="rec", reason=long),
            lambda: session.correct_cue(trial, 0.01, long),
            lambda: session.no_cue(trial, long),
            lambda: session.add_cue("rec", 9.0, long),
            lambda: session.set_aside("rec", "FDI", 1.0, 2.0, [f"other: {long}"]),
        ):
            with pytest.raises(DecisionError, match=said):
                refused()
        session.comment(trial, longest)
        assert session.state(trial).comment == longest
        with pytest.raises(DecisionError, match=r"5 came as a text; allowed: text in quotes"):
            session.comment(trial, 5)


def test_a_log_that_holds_a_longer_one_opens(trials, tmp_path, monkeypatch):
    long = "x" * 50_000
    folder = tmp_path / "review"
    with er.open_review(trials, folder, reviewer="r1", method="threshold") as session:
        monkeypatch.setattr("emgreview.annotations.fields.comment.check_text", lambda text: text)
        session.comment(session.queue[0], long)
    monkeypatch.undo()
    with er.open_review(trials, folder, reviewer="r1") as session:
        assert session.problem in (None, "")
        assert session.state(session.queue[0]).comment == long
        session.comment(session.queue[0], "short")
    assert er.verify(folder).ok


def test_the_browser_takes_texts_as_long_as_python_does():
    asking = Path(er.__file__).parent / "views" / "js" / "shared" / "asking.js"
    (most,) = re.findall(r"export const LONGEST = ([\d_]+)", asking.read_text("utf-8"))
    assert int(most) == LONGEST_TEXT
    assert check_text("x" * LONGEST_TEXT)


def test_words_beside_an_axis_are_cut_and_turn_nothing_round():
    pytest.importorskip("panel", reason="the widgets need the extra [notebook]")
    from emgreview.views.texts import on_axis

    assert on_axis("go") == "go"
    assert on_axis("a\u202eb\nc\u200b") == "a\ufffdb\ufffdc\ufffd"
    assert on_axis("אות 7") == "\u2068אות 7\u2069"
    assert on_axis("x" * 10_000) == "x" * 59 + "…"
