"""Hidden self-check: known spread, drift and pull come back, nothing is told before sealing, nothing leaks."""

import itertools
import math
import sys
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from small_reviews import make_trials, mark_all, place_mark, start

from emgreview.annotations import log
from emgreview.cohort.agreement import agreement
from emgreview.errors import DecisionError, ParameterError
from emgreview.second_look import plan_self_check, self_check
from emgreview.tables import read_version


def review(folder, *, n=120, sd_ms=6.0, pull=0.5, seed=4, **plan):
    """A scripted reviewer: automatic onset + Gaussian error, of which ``pull`` is lost where that onset is shown."""
    rng = np.random.default_rng(seed)
    with start(folder, make_trials(n=n), order="random", blind=True) as session:
        counts = plan_self_check(session, **plan)
        for trial in session.queue:
            for channel in session.state(trial).channels:
                shown = not session.hides_automatic(trial, channel)
                place_mark(session, trial, channel, round(rng.normal(0, sd_ms) * (1 - pull if shown else 1)))
        queue = session.queue
        session.seal("v1")
    return counts, queue


@pytest.fixture(autouse=True)
def one_draw(monkeypatch):
    """Which trials come again follows from the logs, times of day included: here always the same, as a share of all
    draws is elsewhere than most."""
    monkeypatch.setattr(sys.modules[plan_self_check.__module__], "digest_of", lambda heads: "one draw")


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
def test_spread_and_pull_come_back(tmp_path):
    (again, hidden), queue = review(tmp_path, n=150, sd_ms=20, pull=0.5, repeats_share=0.2, hidden_share=0.3)
    assert (again, hidden, len(queue)) == (30, 45, 180)
    found = self_check(tmp_path, "r1")
    assert (found.planned_repeats, found.repeated, found.own_sd.n, found.only_once) == (30, 60, 60, 0)
    assert found.own_sd.low <= 10 / 1000 <= found.own_sd.high, "half of 20 ms is left where the mark is shown"
    assert found.bias.low <= 0 <= found.bias.high
    assert found.changed.value == 0
    assert (found.n_hidden, found.n_shown, found.missing_hidden) == (90, 2 * 105, 0)
    assert found.hidden == pytest.approx(0.6745 * 20 / 1000, rel=0.25), "median of |Gaussian|"
    assert found.pull.value > 0
    assert found.pull.low <= 0.6745 * 10 / 1000 <= found.pull.high
    words = str(found)
    assert "Self-check of r1: 60 channel-trials decided twice (30 trials planned to come again)" in words
    assert found.to_dict()["own_sd"]["n"] == 60
    assert "in a new folder another draw comes, which nothing here can see; report the first" in words


def test_agreement_tells_each_reviewer_s_own_spread_after_sealing(tmp_path):
    trials = make_trials(n=40)
    with start(tmp_path, trials, order="random") as session:
        plan_self_check(session)
        for trial in session.queue:
            for channel in session.state(trial).channels:
                place_mark(session, trial, channel, 8 if session.source(trial) != trial else 0)
        with start(tmp_path, trials, "r2") as other:
            mark_all(other, 3)
        found = agreement(tmp_path, "r1", "r2")
        assert (found.own_first, found.own_second) == (None, None)
        session.seal("v1")
    found = agreement(tmp_path, "r1", "r2")
    assert found.own_first.value == self_check(tmp_path, "r1").own_sd.value == pytest.approx(0.008 / math.sqrt(2))
    assert f"Own SD of an onset of r1, from {found.own_first.n} marks made twice: 5.7 ms [" in str(found)
    assert "Own SD of r2 is not known: no hidden repeats were planned" in str(found)
    assert found.to_dict()["own_first"]["n"] == found.own_first.n > 20


def test_nothing_is_told_before_sealing(tmp_path):
    with start(tmp_path, make_trials(n=40), order="random") as session:
        with pytest.raises(DecisionError, match="no self-check was planned"):
            self_check(tmp_path, "r1")
        plan_self_check(session)
        mark_all(session)
        with pytest.raises(DecisionError, match="told after sealing only"):
            self_check(tmp_path, "r1")
        session.seal("v1")
        assert self_check(tmp_path, "r1").own_sd.value == 0
        with pytest.raises(DecisionError, match="planned for this review already"):
            plan_self_check(session)


def test_hidden_trials_and_repeats_are_spread_and_apart(tmp_path):
    with start(tmp_path, make_trials(n=100), order="random") as session:
        assert plan_self_check(session) == (20, 10)
        hidden = [place for place, trial in enumerate(session.queue) if session.hides_automatic(trial)]
        again = [place for place, trial in enumerate(session.queue) if session.source(trial) != trial]
        first = [session.queue.index(session.source(session.queue[place])) for place in again]
        assert len(session.queue) == 120
        assert max(np.diff([0, *hidden, 120])) < 40
        assert min(np.array(again) - first) >= 20
        assert not {session.queue[place] for place in hidden} & {session.source(session.queue[p]) for p in again}
        assert min(again) < 60 < max(again)


@pytest.mark.filterwarnings("ignore:A plain folder does not say:emgreview.errors.SignalWarning")
def test_the_sealed_table_holds_each_trial_once_and_every_automatic_value(tmp_path):
    review(tmp_path, n=40)
    table = read_version(tmp_path, "v1")
    assert len(table) == 80
    assert table["automatic_onset_s"].notna().all()
    assert set(table["origin"]) <= {"automatic", "moved"}, (
        "a mark made while the automatic one was hidden is no addition"
    )


def test_missing_marks_are_counted(tmp_path):
    with start(tmp_path, make_trials(n=40), order="random") as session:
        plan_self_check(session)
        mark_all(session)
        again = [trial for trial in session.queue if session.source(trial) != trial]
        hidden = [trial for trial in session.queue if session.hides_automatic(trial)]
        session.none_visible(again[0], "FDI")
        session.unusable(again[1], "FDI", ["clipped"])
        session.none_visible(hidden[0], "APB")
        session.seal("v1")
    found = self_check(tmp_path, "r1")
    assert (found.repeated, found.own_sd.n, found.only_once) == (26, 24, 2)
    assert found.changed.value == pytest.approx(2 / 26)
    assert (found.n_hidden, found.missing_hidden, found.missing_shown) == (7, 1, 0)


def test_a_review_without_repeats_or_hidden_marks(tmp_path):
    with start(tmp_path, make_trials(n=20), order="random") as session:
        assert plan_self_check(session, repeats_share=0, hidden_share=0) == (0, 0)
        mark_all(session)
        session.seal("v1")
    found = self_check(tmp_path, "r1")
    assert (found.repeated, found.n_hidden) == (0, 0)
    assert math.isnan(found.pull.value)
    assert "n/a" in str(found)


@pytest.mark.parametrize(("seconds_a_decision", "told"), [(0.5, False), (60.0, True)])
def test_a_drift_an_hour_needs_minutes(tmp_path, monkeypatch, seconds_a_decision, told):
    clock = itertools.count()
    start_at = datetime(2026, 1, 1, tzinfo=UTC)

    def now():
        moment = start_at + timedelta(seconds=seconds_a_decision * next(clock))
        return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")

    monkeypatch.setattr(log, "now", now)
    with start(tmp_path, make_trials(n=40), order="random") as session:
        plan_self_check(session)
        for number, trial in enumerate(session.queue):
            for channel in session.state(trial).channels:
                place_mark(session, trial, channel, 1 + number // 2)
        session.seal("v1")
    found = self_check(tmp_path, "r1")
    assert found.drift.n == found.own_sd.n >= 20
    assert (found.longest_min >= 10) == told
    if told:
        assert 0 < found.drift.low < found.drift.value < found.drift.high, "later marks come later"
        assert " an hour; another state" in str(found)
    else:
        assert math.isnan(found.drift.value)
        assert "drift n/a (no trial came again later than " in str(found)
        assert found.to_dict()["drift"]["value"] is None


def test_plans_that_make_no_sense(tmp_path):
    with start(tmp_path, make_trials(n=8)) as session:
        with pytest.raises(DecisionError, match=r"8 trials are left .* 12 or more"):
            plan_self_check(session)
        with pytest.raises(ParameterError, match=r"hidden_share came as 0\.9"):
            plan_self_check(session, hidden_share=0.9)
