"""Two reviewers compared and merged: known differences come back, nothing is dropped, order does not matter."""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_reviews import make_trials, mark_all, start

from emgreview.annotations import state as states
from emgreview.cohort.agreement import agreement
from emgreview.cohort.between import midpoint
from emgreview.cohort.marks import mark_of, read_logs
from emgreview.cohort.merging import merge_reviews
from emgreview.cohort.statistics import icc
from emgreview.errors import DecisionError, LogBrokenError, LogError, ParameterError, UnknownNameError
from emgreview.second_look import draw_sample

pytestmark = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # test_told.py asks for them


@pytest.fixture
def two(tmp_path):
    """Eight trials, two channels. r2 marks 4 ms later on FDI and 30 ms later on APB, and differs in some states."""
    trials = make_trials()
    a, b, c, d, *_, h = trials.ids
    with start(tmp_path, trials, "r1") as r1:
        mark_all(r1)
        r1.none_visible(a, "FDI")
        r1.unusable(b, "FDI", ["clipped"])
        r1.caution(c, "APB", ["tremor/rhythmic"])
        r1.comment(d, "=1+1", "FDI")
    with start(tmp_path, trials, "r2") as r2:
        mark_all(r2, lambda trial, channel: 4 if channel == "FDI" else 30, trials.ids[:-1])
        r2.unusable(b, "FDI", ["clipped", "mains hum"])
        r2.not_locatable(c, "FDI", earliest_s=0.1, latest_s=0.3)
        r2.comment(d, "<b>bold</b>", "FDI")
        r2.behaviour(d, "late")
        r2.accept(h, "APB")
    return tmp_path, trials


def test_known_differences_come_back(two):
    folder, _ = two
    found = agreement(folder, "r1", "r2")
    assert (found.both, found.trials, found.not_first, found.not_second) == (15, 8, 0, 1)
    counts = dict(zip(found.states.words, found.states.counts, strict=True))
    assert counts == {
        "onset marked": (12, 0, 0, 1, 0),
        "other bursts only": (0, 0, 0, 0, 0),
        "none visible": (1, 0, 0, 0, 0),
        "not locatable": (0, 0, 0, 0, 0),
        "unusable": (0, 0, 0, 0, 1),
    }
    assert found.states.raw.value == pytest.approx(13 / 15)
    assert sum(found.states.prevalence.values()) == pytest.approx(1)
    onsets = found.onsets
    assert (onsets.n, onsets.only_first, onsets.only_second) == (12, 1, 1)
    differences = np.array([4.0] * 4 + [30.0] * 7 + [0.0]) / 1000
    assert (onsets.bias.value, onsets.sd) == pytest.approx((differences.mean(), differences.std(ddof=1)))
    assert {ms: round(share.value * 12) for ms, share in onsets.within.items()} == {5: 5, 10: 5, 20: 5}
    assert onsets.within_all[5].value == pytest.approx(5 / 14), "marks that one alone has count as apart"
    assert found.signals.counts[1] == (1, 0, 0)
    assert set(found.heads) == {"logs/rec_reviewer-r1.jsonl", "logs/rec_reviewer-r2.jsonl"}


def test_in_words_and_as_json(two):
    found = agreement(two[0], "r1", "r2")
    words = str(found)
    assert "15 channel-trials in 8 trials, finished by both; 1 more by r1 alone, 0 by r2 alone" in words
    assert "Onset (r2 minus r1), 12 pairs: bias 18.8 ms [" in words
    assert "Onset marked by r1 alone 1, by r2 alone 1; with these counted as apart: 35.7 % within 5 ms" in words
    back = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert back["onsets"]["within"]["5"]["n"] == 12
    assert len(found.table) == 16
    assert set(found.table["onset_difference_s"].dropna().round(3)) == {0.0, 0.004, 0.03}


def test_where_one_uses_a_single_word_kappa_says_why_it_has_no_interval(tmp_path):
    trials = make_trials()
    for reviewer, differs in (("r1", True), ("r2", False)):
        with start(tmp_path, trials, reviewer) as session:
            mark_all(session)
            if differs:
                session.none_visible(trials.ids[0], "FDI")
    words = str(agreement(tmp_path, "r1", "r2"))
    assert "kappa 0.000 (interval n/a: r2 used one word only, which makes it 0); AC1" in words
    assert "Signal: same word 100.0 % [80.6, 100.0]; kappa n/a (each used one word only); AC1 1.000" in words
    assert "-0.0" not in words


def test_identical_marks_agree_wholly(tmp_path):
    trials = make_trials()
    for reviewer in ("r1", "r2"):
        with start(tmp_path, trials, reviewer) as session:
            mark_all(session, 7)
            session.none_visible(trials.ids[0], "FDI")
    found = agreement(tmp_path, "r1", "r2")
    assert (found.states.kappa.value, found.states.raw.value, found.onsets.bias.value, found.onsets.sd) == (1, 1, 0, 0)
    assert found.onsets.icc.value == pytest.approx(1)
    merged = merge_reviews(tmp_path, "r1", "r2", within_ms=0)
    assert not merged.conflicts
    ones = read_logs(tmp_path, "r1").marks()
    assert {item: merged.mark(item) for item in ones} == ones, "merging with oneself changes nothing"
    assert set(merged.table["how"]) == {"same"}


def test_nothing_in_common_is_said_not_raised(tmp_path):
    trials = make_trials(n=2)
    for reviewer, trial in (("r1", 0), ("r2", 1)):
        with start(tmp_path, trials, reviewer) as session:
            mark_all(session, trials=[trials.ids[trial]])
    found = agreement(tmp_path, "r1", "r2")
    assert (found.both, found.not_first, found.not_second) == (0, 2, 2)
    assert math.isnan(found.onsets.bias.value)
    assert "n/a" in str(found)
    assert json.dumps(found.to_dict(), allow_nan=False)


def test_only_the_drawn_trials_are_compared(tmp_path):
    trials = make_trials(n=20, sub="01")
    with start(tmp_path, trials, "r1") as session:
        mark_all(session)
    with start(tmp_path, trials, "r2") as session:
        drawn = draw_sample(session, share=0.3)
        mark_all(session, 6)
    found = agreement(tmp_path, "r1", "r2")
    assert (found.sampled, found.trials, found.both, found.not_second) == (len(drawn), len(drawn), 2 * len(drawn), 0)
    assert set(found.table["participant"]) == {"01"}
    assert f"of the {len(drawn)} trials drawn for a second review" in str(found)


def test_what_cannot_be_compared_is_refused(two, tmp_path):
    folder, trials = two
    with pytest.raises(UnknownNameError, match=r"no reviewer with a log in .* is called 'r3'; there are: r1, r2"):
        agreement(folder, "r1", "r3")
    with pytest.raises(ParameterError, match="reviewer 'r1' came twice"):
        agreement(folder, "r1", "r1")
    with pytest.raises(ParameterError, match="cannot be used; allowed are"):
        agreement(folder, "../r1", "r2")
    with start(folder, make_trials(seed=9), "r4") as session:
        session.accept(trials.ids[0], "FDI")
    with pytest.raises(LogError, match="'r1' and 'r4' reviewed different samples under the name 'rec'"):
        agreement(folder, "r1", "r4")
    log = folder / "logs" / "rec_reviewer-r2.jsonl"
    log.write_bytes(log.read_bytes().replace(b"bold", b"bald"))
    with pytest.raises(LogBrokenError, match="line"):
        agreement(folder, "r1", "r2")


# Merging ---------------------------------------------------------------------------------------------------------


def test_merge_keeps_what_agrees_and_names_what_does_not(two):
    folder, trials = two
    a, b, c, d, *_, h = trials.ids
    merged = merge_reviews(folder, "r1", "r2", within_ms=10)
    conflicts = {(conflict.item[1], conflict.item[2]): (conflict.field, conflict.why) for conflict in merged.conflicts}
    assert conflicts[a, "FDI"] == ("activity", "none visible against onset marked")
    assert conflicts[c, "FDI"] == ("activity", "not locatable against onset marked")
    assert conflicts[d, "APB"] == ("activity", "onsets further apart than the tolerance")
    assert (b, "FDI") not in conflicts, "both said unusable"
    assert merged.values[("rec", b, "FDI"), "signal"] == (
        states.Signal("unusable", ("clipped", "mains hum")),
        "reasons of both",
    )
    assert merged.values[("rec", d, None), "behaviour"] == ("late", "r2 alone")
    assert merged.values[("rec", h, "FDI"), "activity"].how == "r1 alone"
    assert merged.values[("rec", h, "APB"), "activity"].how == "same"
    middle = merged.values[("rec", d, "FDI"), "activity"]
    assert (merged.mark(("rec", d, "FDI")).onset, middle.how) == (7000 + 203 + 2, "within the tolerance: midpoint")
    assert merged.values[("rec", d, "FDI"), "comment"].value == "=1+1 / <b>bold</b>", "both comments, as text"
    assert (("rec", c, "APB"), "signal") not in merged.values
    fields = {conflict.field for conflict in merged.conflicts if conflict.item == ("rec", c, "APB")}
    assert fields == {"signal", "activity"}
    table = merged.table.set_index(["trial", "channel"])
    assert table.loc[(d, "FDI"), "onset_s"] == pytest.approx(0.205)
    assert table.loc[(a, "FDI"), "conflict"] == "activity: none visible against onset marked"


def test_merge_is_the_same_whoever_comes_first(two):
    folder, _ = two
    one, other = merge_reviews(folder, "r1", "r2"), merge_reviews(folder, "r2", "r1")
    assert one.disputed == other.disputed
    assert {item: one.mark(item) for item, name in one.values if name == "activity"} == {
        item: other.mark(item) for item, name in other.values if name == "activity"
    }


def test_a_wider_tolerance_leaves_fewer_conflicts(two):
    counts = [len(merge_reviews(two[0], "r1", "r2", within_ms=ms).conflicts) for ms in (0, 5, 29, 30, 1000)]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] > counts[1] > counts[3]
    with pytest.raises(ParameterError, match="within_ms came as -1"):
        merge_reviews(two[0], "r1", "r2", within_ms=-1)
    for wrong in (-1, float("nan"), "ten"):
        with pytest.raises(ParameterError, match=r"within_ms came as .*at least 0 ms"):
            agreement(two[0], "r1", "r2", within_ms=(5, wrong))


@st.composite
def activities(draw):
    """Anything a reviewer can make of a channel-trial."""
    activity = states.proposal({"onset": 500, "offset": 900, "low": 490, "high": 510})
    for _ in range(draw(st.integers(1, 4))):
        onset = draw(st.integers(480, 540))
        step = draw(st.sampled_from(["accept", "move", "add", "none", "between", "remove"]))
        if step == "accept":
            activity = states.accept(activity)
        elif step == "move" and states.find_burst(activity, None):
            activity = states.accept(states.move(activity, None, onset, draw(st.sampled_from([None, 900]))))
        elif step == "add":
            activity = states.add(activity, f"added-{onset}", onset, None, draw(st.sampled_from(["response", "tonic"])))
        elif step == "none":
            activity = states.none_visible(activity)
        elif step == "between":
            activity = states.not_locatable(activity, onset - 20, onset)
        elif step == "remove" and activity["found"] == "bursts" and states.find_burst(activity, None):
            activity = states.remove(activity, None)
    return states.accept(activity)


def kinds(activity):
    standing = [burst for burst in activity["bursts"].values() if states.stands(burst)]
    counted = [] if activity["found"] in states.VERDICTS else standing
    return [burst["kind"] for burst in sorted(counted, key=lambda burst: burst["onset"])]


@settings(deadline=None)
@given(activities(), activities())
def test_the_midpoint_lies_between_and_is_the_same_either_way(a, b):
    assert mark_of(midpoint(a, a), None)[:6] == mark_of(a, None)[:6]
    one, two = mark_of(a, None), mark_of(b, None)
    if a["found"] != b["found"] or kinds(a) != kinds(b):
        with pytest.raises(DecisionError, match="nothing lies between them"):
            midpoint(a, b)
        return
    between, other = mark_of(midpoint(a, b), None), mark_of(midpoint(b, a), None)
    assert between == other
    assert between.state == one.state == two.state
    if between.onset is not None:
        assert min(one.onset, two.onset) <= between.onset <= max(one.onset, two.onset) + 1
    if between.earliest is not None:
        assert (between.earliest, between.latest) == (min(one.earliest, two.earliest), max(one.latest, two.latest))


def with_cues_corrected(folder, codes):
    """Two reviewers of eight trials, r2's marks 0 to 7 ms later; ``codes`` say who corrected every third cue."""
    trials = make_trials()
    tables = []
    for code in ("r1", "r2"):
        with start(folder, trials, code) as session:
            mark_all(session, lambda trial, channel, late=code == "r2": late * list(trials.ids).index(trial))
            for trial in trials.ids[::3] if code in codes else ():
                session.correct_cue(trial, 0.1, "the tone came later")
            tables.append(session.decisions())
    return agreement(folder, "r1", "r2"), tables


@pytest.mark.parametrize("codes", [(), ("r1", "r2"), ("r2",)])
def test_the_icc_is_of_the_times_in_the_tables_of_decisions(tmp_path, codes):
    found, tables = with_cues_corrected(tmp_path, codes)
    keys = ["trial", "channel"]
    one, two = (table[table["origin"] != "removed"].set_index(keys)["onset_s"].dropna() for table in tables)
    ratings = np.column_stack([one, two.reindex(one.index)])
    assert found.onsets.icc.value == pytest.approx(icc(ratings, "(2,1)").value)
    mine = found.table.set_index(keys)
    np.testing.assert_allclose(mine["first_onset_s"].reindex(one.index), one)
    np.testing.assert_allclose(mine["second_onset_s"].reindex(one.index), two.reindex(one.index))
    assert found.onsets.bias.value == pytest.approx(0.0035), "of the marks, wherever the cue lies"
    assert found.cues_apart == found.to_dict()["cues_apart"] == (6 if codes == ("r2",) else 0)
    assert ("6 of 16 channel-trials count from cues" in str(found)) == (codes == ("r2",))
