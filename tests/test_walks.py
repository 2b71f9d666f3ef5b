"""Ways through a review: each holds exactly the trials its words say."""

import sys
from pathlib import Path

import pytest

from emgreview.errors import EmgreviewError, UnknownNameError
from emgreview.second_look import BulkRule, plan_bulk
from emgreview.walks import AUDIT, OWN, WALKS, Comparison, audited, behaving, differing, disagreeing, walk

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
    assert differing(session, OWN, "ramp", 0.0) == ()  # the review was opened with this method
    for one in (OWN, "energy"):
        assert set(differing(session, one, "threshold", 0.001)) >= set(differing(session, one, "threshold", 0.050))
        assert differing(session, one, "threshold", 0.001) == differing(session, "threshold", one, 0.001)
    session.move(session.queue[0], "biceps", onset_s=0.3)  # a hand's mark is not what a method says
    assert differing(session, OWN, "ramp", 0.0) == ()


def test_a_comparison_goes_in_steps_that_add_up_to_the_whole(session):
    comparison = Comparison(session, OWN, "threshold", 0.001)
    shares = [comparison.share]
    while comparison.step():
        shares.append(comparison.share)
    assert shares[0] == 0
    assert comparison.share == 1
    assert shares == sorted(set(shares))
    assert comparison.trials() == differing(session, OWN, "threshold", 0.001)


def test_two_methods_must_be_two_and_known(session):
    with pytest.raises(EmgreviewError, match="came twice"):
        Comparison(session, "ramp", "ramp", 0.01)
    with pytest.raises(UnknownNameError, match="Did you mean 'threshold'"):
        Comparison(session, OWN, "treshold", 0.01)


def test_reviewed_trials_and_those_of_one_behaviour(session):
    one, two, *_ = session.queue
    session.accept_rest(one)
    session.behaviour(two, "late")
    assert walk(session, "reviewed") == (one,)
    assert behaving(session, "late") == (two,)
    assert behaving(session, "no response") == ()


def test_the_bulk_audit_is_walked_by_its_open_channels_alone(session):
    with pytest.raises(EmgreviewError, match="plan_bulk first"):
        walk(session, AUDIT)
    rule = BulkRule(interval_below_s=0.1, level_above_db=6)
    audit = plan_bulk(session, rule, at_most=0.3, moved_by_s=0.1, expected=0.0)
    assert {(trial, label) for trial, labels in audited(session).items() for label in labels} == set(audit.sample)
    assert walk(session, AUDIT) == tuple(trial for trial in session.queue if trial in dict(audit.sample))
    for trial, channel in audit.sample:
        session.none_visible(trial, channel)
    assert walk(session, AUDIT) == ()


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
