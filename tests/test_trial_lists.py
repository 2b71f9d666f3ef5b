"""Lists of trials: each holds exactly the trials its words say."""

import sys
from pathlib import Path

import pytest

from emgreview.errors import EmgreviewError, UnknownNameError
from emgreview.second_look import BulkRule, plan_bulk
from emgreview.trial_lists import (
    AUDIT,
    OWN,
    TRIAL_LISTS,
    MethodComparison,
    left_of_audit,
    trial_list,
    where_methods_differ,
    where_reviewers_differ,
    with_behaviour,
)

sys.path.insert(0, str(Path(__file__).parent / "browser"))
from small_study import open_session


@pytest.fixture
def session(tmp_path):
    with open_session(tmp_path) as opened:
        yield opened


def test_lists_follow_the_decisions(session):
    one, two, three, four, *_ = session.queue
    session.accept_rest(one)
    session.unusable(two, "biceps", ["clipped"])
    session.move(three, "biceps", onset_s=0.25)
    session.discuss(four, "biceps")
    assert trial_list(session, "not yet reviewed") == session.queue[1:]
    assert trial_list(session, "unusable or with caution") == (two,)
    assert trial_list(session, "moved, added or removed") == (three,)
    assert trial_list(session, "to discuss") == (four,)
    session.undo()
    assert trial_list(session, "to discuss") == ()


def test_orders_hold_every_trial_once(session):
    for which in ("all trials, in the order of the review", "least certain first", "in random order"):
        assert sorted(trial_list(session, which)) == sorted(session.queue)
    assert trial_list(session, "in random order") == trial_list(session, "in random order") != session.queue


def test_trials_where_two_methods_differ(session):
    assert where_methods_differ(session, OWN, "ramp", 0.0) == ()  # the review was opened with this method
    for one in (OWN, "energy"):
        assert set(where_methods_differ(session, one, "threshold", 0.001)) >= set(
            where_methods_differ(session, one, "threshold", 0.050)
        )
        assert where_methods_differ(session, one, "threshold", 0.001) == where_methods_differ(
            session, "threshold", one, 0.001
        )
    session.move(session.queue[0], "biceps", onset_s=0.3)  # a hand's mark is not what a method says
    assert where_methods_differ(session, OWN, "ramp", 0.0) == ()


def test_a_comparison_goes_in_steps_that_add_up_to_the_whole(session):
    comparison = MethodComparison(session, OWN, "threshold", 0.001)
    shares = [comparison.share]
    while comparison.step():
        shares.append(comparison.share)
    assert shares[0] == 0
    assert comparison.share == 1
    assert shares == sorted(set(shares))
    assert comparison.trials() == where_methods_differ(session, OWN, "threshold", 0.001)


def test_two_methods_must_be_two_and_known(session):
    with pytest.raises(EmgreviewError, match="came twice"):
        MethodComparison(session, "ramp", "ramp", 0.01)
    with pytest.raises(UnknownNameError, match="Did you mean 'threshold'"):
        MethodComparison(session, OWN, "treshold", 0.01)


def test_reviewed_trials_and_those_of_one_behaviour(session):
    one, two, *_ = session.queue
    session.accept_rest(one)
    session.behaviour(two, "late")
    assert trial_list(session, "reviewed") == (one,)
    assert with_behaviour(session, "late") == (two,)
    assert with_behaviour(session, "no response") == ()


def test_the_bulk_audit_is_stepped_through_by_its_open_channels_alone(session):
    with pytest.raises(EmgreviewError, match="plan_bulk first"):
        trial_list(session, AUDIT)
    rule = BulkRule(interval_below_s=0.1, level_above_db=6)
    audit = plan_bulk(session, rule, at_most=0.3, moved_by_s=0.1, expected=0.0)
    assert {(trial, label) for trial, labels in left_of_audit(session).items() for label in labels} == set(audit.sample)
    assert trial_list(session, AUDIT) == tuple(trial for trial in session.queue if trial in dict(audit.sample))
    for trial, channel in audit.sample:
        session.none_visible(trial, channel)
    assert trial_list(session, AUDIT) == ()


def test_trials_where_two_reviewers_differ(session, tmp_path):
    for trial in session.queue:
        session.accept_rest(trial)
    with open_session(tmp_path, reviewer="r2") as other:
        for trial in other.queue:
            other.accept_rest(trial)
        other.move(other.queue[3], "biceps", onset_s=0.3)
        other.accept(other.queue[3], "biceps")
    assert where_reviewers_differ(session, "r2", 10) == (session.queue[3],)
    assert where_reviewers_differ(session, "r2", 500) == ()
    with pytest.raises(EmgreviewError, match="r9"):
        where_reviewers_differ(session, "r9", 10)


def test_an_unknown_list_is_answered_with_the_list(session):
    with pytest.raises(UnknownNameError, match="Did you mean 'to discuss'"):
        trial_list(session, "to discus")
    assert all(words for words in TRIAL_LISTS)
