"""What nobody judged counts apart: pairs that both left as the method had them, in every statistic."""

import json

import pytest
from small_reviews import make_trials, mark_all, place_mark, start

from emgreview.cohort import statistics
from emgreview.cohort.agreement import agreement
from emgreview.cohort.marks import read_logs
from emgreview.cohort.untouched import Left, left
from emgreview.second_look import plan_self_check, self_check


@pytest.fixture
def two(tmp_path):
    """Twenty trials, FDI and APB. r2 moves the onset of five trials on FDI by 12 ms, and one on APB, where r1 moved it
    as far; everything else is accepted, so that no offset is touched by anybody."""
    trials = make_trials(n=20)
    for reviewer in ("r1", "r2"):
        with start(tmp_path, trials, reviewer) as session:
            for number, trial in enumerate(trials.ids):
                place_mark(session, trial, "FDI", 12 if reviewer == "r2" and number < 5 else 0)
                place_mark(session, trial, "APB", 12 if number == 7 else 0)
    return tmp_path, trials


def test_offsets_that_nobody_touched_are_no_agreement(two):
    found = agreement(two[0], "r1", "r2")
    offsets = found.offsets
    assert (offsets.n, offsets.within[5].value, offsets.icc.value) == (40, 1, 1), "as it was told before"
    assert (offsets.left, offsets.judged.n) == (40, 0)
    assert str(offsets.judged.icc.value) == "nan"
    assert "Offset: both left all 40 pairs where the method had put them, so this says nothing of two people." in str(
        found
    )


def test_onsets_stand_once_with_and_once_without(two):
    found = agreement(two[0], "r1", "r2")
    onsets = found.onsets
    assert (onsets.n, onsets.left, onsets.judged.n, onsets.judged.judged) == (40, 34, 6, None)
    assert onsets.within[5].value == pytest.approx(35 / 40)
    assert onsets.judged.within[5].value == pytest.approx(1 / 6), "the one that both moved alike"
    assert onsets.judged.bias.value == pytest.approx(0.012 * 5 / 6)
    alone = statistics.limits_of_agreement([0.012] * 5 + [0.0])
    assert (onsets.judged.sd, onsets.judged.lower) == (
        pytest.approx(alone.sd),
        pytest.approx(alone.lower, abs=1e-9),
    ) or (onsets.judged.lower.value == pytest.approx(alone.lower.value))
    assert onsets.judged.icc.n == 6
    words = str(found)
    assert "Onset without the 34 pairs that both left where the method had put it, 6 left: bias 10.0 ms [" in words
    back = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert back["onsets"]["judged"]["within"]["5"]["n"] == 6
    assert (back["offsets"]["left"], back["offsets"]["judged"]["icc"]["value"]) == (40, None)
    table = found.table
    assert (table["onset_left"] == "both").sum() == 34
    assert (table["onset_left"] == "first").sum() == 5
    assert table["onset_left"].isna().sum() == 1


def test_an_offset_moved_is_judged_and_the_onset_beside_it_is_not(two):
    folder, trials = two
    with start(folder, trials, "r2") as session:
        session.move(trials.ids[19], "APB", offset_s=0.6)
        session.accept(trials.ids[19], "APB")
    found = agreement(folder, "r1", "r2")
    assert (found.offsets.left, found.offsets.judged.n, found.onsets.left) == (39, 1, 34)


def test_words_and_signals_that_nobody_said_count_apart(two):
    folder, trials = two
    a, b, c, d, *_ = trials.ids[10:]
    for reviewer in ("r1", "r2"):
        with start(folder, trials, reviewer) as session:
            session.none_visible(a, "FDI")
            session.unusable(b, "FDI", ["clipped"])
            session.caution(c, "FDI", ["weak"])
            if reviewer == "r2":
                session.none_visible(d, "FDI")
    found = agreement(folder, "r1", "r2")
    assert found.states.n == 40
    assert found.states.left == 40 - 6 - 3, "6 moved by one, 3 given another word; APB 7 moved by both is one of the 6"
    judged = found.states.judged
    assert (judged.n, judged.raw.value) == (9, pytest.approx(8 / 9))
    assert judged.kappa.value == statistics.kappa(judged.counts).value != found.states.kappa.value
    signals = found.signals
    assert (signals.left, signals.judged.n, signals.judged.raw.value) == (38, 2, 1)
    words = str(found)
    assert "State without the 31 of 40 pairs that both left as the method had it: same word 88.9 % [" in words
    assert "Signal without the 38 of 40 pairs that both left as the method had it: same word 100.0 % [" in words
    assert "Signal: 'caution' was said only 2 times by both together; kappa hangs on each of these" in words
    assert "State: 'unusable' was said only 2 times by both together" in words


def test_a_word_is_not_called_rare_where_it_is_not(tmp_path):
    trials = make_trials(n=20)
    for reviewer in ("r1", "r2"):
        with start(tmp_path, trials, reviewer) as session:
            mark_all(session)
            for trial in trials.ids[:6]:
                session.none_visible(trial, "FDI")
    assert "was said only" not in str(agreement(tmp_path, "r1", "r2"))


def test_what_counts_as_left(tmp_path):
    trials = make_trials(n=12)
    a, b, c, d, e, f, g, h, i, *_ = trials.ids
    missing = {"absent": (7, 8)}
    with start(tmp_path, trials, detect=lambda *given, **named: _detect(*given, **named, **missing)) as session:
        session.accept(a, "FDI")
        session.move(b, "FDI", onset_s=0.3)
        session.accept(b, "FDI")
        session.move(c, "FDI", offset_s=0.6)
        session.accept(c, "FDI")
        session.kind(d, "FDI", "early small")
        session.accept(d, "FDI")
        session.unusable(e, "FDI", ["clipped"])
        session.none_visible(f, "FDI")
        session.caution(g, "FDI", ["weak"])
        session.usable(g, "FDI")
        session.accept(g, "FDI")
        session.accept(h, "FDI")
        session.none_visible(i, "FDI")
        session.caution(a, "APB", ["weak"])
        session.undo()
        session.accept(a, "APB")
    logs = read_logs(tmp_path, "r1")
    expected = {
        a: Left(True, True, True, True), b: Left(False, True, False, True), c: Left(False, True, True, False),
        d: Left(False, True, False, False), e: Left(False, False, False, False), f: Left(False, True, False, False),
        g: Left(True, False, True, True), h: Left(True, True, False, False), i: Left(False, True, False, False),
    }  # fmt: skip
    assert {trial: left(logs, ("rec", trial, "FDI")) for trial in expected} == expected
    assert left(logs, ("rec", a, "APB")) == Left(True, True, True, True), (
        "taken back: nobody said anything of the signal"
    )


def test_what_undo_and_redo_bring_back_was_said_as_it_first_was(tmp_path):
    trials = make_trials(n=12)
    a, b, c, d, e, f, *_ = trials.ids
    missing = {"absent": range(12)}
    with start(tmp_path, trials, detect=lambda *given, **named: _detect(*given, **named, **missing)) as session:
        session.none_visible(a, "FDI")
        session.undo()
        session.redo()
        session.none_visible(b, "FDI")
        session.add(b, "FDI", onset_s=0.2, offset_s=0.4)
        session.undo()
        session.accept(c, "FDI")
        session.add(c, "FDI", onset_s=0.2, offset_s=0.4)
        session.undo()
        session.none_visible(d, "FDI")
        session.undo()
        session.accept(d, "FDI")
        session.none_visible(e, "FDI")
        session.copy_to_all(e, "FDI")
        session.add(e, "APB", onset_s=0.2)
        session.undo()
        session.undo()
        session.redo()
        session.caution(f, "FDI", ["weak"])
        session.usable(f, "FDI")
        session.unusable(f, "FDI", ["clipped"])
        session.undo()
        session.accept(f, "FDI")
    logs = read_logs(tmp_path, "r1")
    stated, accepted = Left(False, True, False, False), Left(True, True, False, False)
    expected = {a: stated, b: stated, c: accepted, d: accepted, e: stated, f: Left(True, False, False, False)}
    assert {trial: left(logs, ("rec", trial, "FDI")) for trial in expected} == expected
    assert left(logs, ("rec", e, "APB")) == stated, "copied, and no other signal with it"


def _detect(*given, **named):
    from small_reviews import detect

    return detect(*given, **named)


def test_a_mark_made_while_the_automatic_one_was_hidden_is_judged_wherever_it_lies(tmp_path):
    trials = make_trials(n=40)
    with start(tmp_path, trials, order="random") as session:
        plan_self_check(session, hidden_share=0.2)
        hidden = {trial for trial in session.queue if session.hides_automatic(trial)}
        mark_all(session)
    with start(tmp_path, trials, "r2") as session:
        mark_all(session)
    found = agreement(tmp_path, "r1", "r2")
    assert len(hidden) == 8
    assert (found.onsets.n, found.onsets.left, found.onsets.judged.n) == (80, 64, 16)
    assert found.onsets.judged.within[5].value == 1


def test_the_self_check_s_spread_without_marks_that_were_left_both_times(tmp_path):
    trials = make_trials(n=60)
    with start(tmp_path, trials, order="random") as session:
        plan_self_check(session)
        for trial in session.queue:
            for channel, by in (("FDI", 0), ("APB", 8 if session.source(trial) != trial else 0)):
                place_mark(session, trial, channel, by)
        session.seal("v1")
    found = self_check(tmp_path, "r1")
    n = found.own_sd.n
    assert (found.left_automatic, found.own_sd_judged.n) == (n // 2, n // 2)
    assert found.own_sd_judged.value == pytest.approx(0.008 / 2**0.5)
    assert found.own_sd.value == pytest.approx(0.008 / 2)
    told = f"(without the {n // 2} left where the method had put them both times: 5.7 ms ["
    assert told in str(found)
    with start(tmp_path, trials, "r2") as session:
        mark_all(session)
    both = agreement(tmp_path, "r1", "r2")
    assert both.own_first_judged == found.own_sd_judged
    assert f"without the {n // 2} left where the method had put them both times: 5.7 ms [" in str(both)
