"""Ways through a review: each holds exactly the trials its words say."""

import sys
from pathlib import Path

import pytest

from emgreview.errors import EmgreviewError, UnknownNameError
from emgreview.walks import WALKS, differing, disagreeing, walk

sys.path.insert(0, str(Path(__file__).parent / "browser"))
from small_study import open_session


@pytest.fixture
def session(tmp_path):
    with open_session(tmp_path) as opened:
        yield opened


def test_walks_follow_the_decisions(session):
    one, two, three, four, *_ = session.queue
    session.accept_rest(one)
    session.unusable(two, "biceps", ["clipped"])
    session.move(three, "biceps", onset_s=0.25)
    session.discuss(four, "biceps")
    assert walk(session, "not yet reviewed") == session.queue[1:]
    assert walk(session, "unusable or with caution") == (two,)
    assert walk(session, "moved, added or removed") == (three,)
    assert walk(session, "to discuss") == (four,)
    session.undo()
    assert walk(session, "to discuss") == ()


def test_orders_hold_every_trial_once(session):
    for which in ("all trials, in the order of the review", "least certain first", "in random order"):
        assert sorted(walk(session, which)) == sorted(session.queue)
    assert walk(session, "in random order") == walk(session, "in random order") != session.queue


def test_trials_where_two_methods_differ(session):
    assert differing(session, "ramp", 0.0) == ()
    assert set(differing(session, "threshold", 0.001)) >= set(differing(session, "threshold", 0.050))


def test_trials_where_two_reviewers_differ(session, tmp_path):
    for trial in session.queue:
        session.accept_rest(trial)
    with open_session(tmp_path, reviewer="r2") as other:
        for trial in other.queue:
            other.accept_rest(trial)
        other.move(other.queue[3], "biceps", onset_s=0.3)
        other.accept(other.queue[3], "biceps")
    assert disagreeing(session, "r2", 10) == (session.queue[3],)
    assert disagreeing(session, "r2", 500) == ()
    with pytest.raises(EmgreviewError, match="r9"):
        disagreeing(session, "r9", 10)


def test_an_unknown_walk_is_answered_with_the_list(session):
    with pytest.raises(UnknownNameError, match="Did you mean 'to discuss'"):
        walk(session, "to discus")
    assert all(words for words in WALKS)
