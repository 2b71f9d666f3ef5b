"""A review from a plain script: what is decided is what stands, is on disk, and comes back."""

import dataclasses
import errno
import json
import os
import tempfile
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scripted_reviews import CHECK, RATE, Unflushed, detect, log_lines, make_trials, start, whole

from emgreview.annotations import verify
from emgreview.annotations.convention import Convention, read_convention
from emgreview.annotations.files import FileSystem
from emgreview.errors import (
    DecisionError,
    DecisionWarning,
    LogError,
    LogReadOnlyError,
    LogWriteError,
    ParameterError,
    ReadError,
    UnknownNameError,
    VersionError,
)
from emgreview.model import Marker, Processing, Recording
from emgreview.session import COMMANDS, Session
from emgreview.tables import read_version, to_tsv
from emgreview.trial_lists import trial_list

pytestmark = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # test_told.py asks for them


@pytest.fixture
def session(tmp_path):
    with start(tmp_path) as opened:
        yield opened


@pytest.fixture
def one(session):
    return session.queue[0]


def channel(session, trial, label="FDI"):
    return session.state(trial).channels[label]


# Deciding --------------------------------------------------------------------------------------------------------


def test_accept_keeps_the_mark_where_the_method_put_it(session, one):
    assert session.accept(one, "FDI") == (one,)
    burst = channel(session, one).response
    assert (burst.origin, burst.accepted, burst.onset, burst.onset_s) == ("automatic", True, 1200, 0.2)
    assert channel(session, one).reviewed
    assert session.accept(one, "FDI") == (), "the same again is no new event"


def test_a_moved_mark_keeps_the_automatic_value_and_waits_to_be_accepted(session, one):
    session.move(one, "FDI", onset_s=0.2507)
    burst = channel(session, one).response
    assert (burst.origin, burst.accepted, burst.onset, burst.automatic["onset"]) == ("moved", False, 1251, 1200)
    assert burst.offset == 1500
    session.accept(one, "FDI")
    assert channel(session, one).response.accepted
    session.move(one, "FDI", onset_s=0.2)
    burst = channel(session, one).response
    assert (burst.origin, burst.accepted) == ("automatic", False)


def test_halves_of_a_sample_round_up(session, one):
    session.move(one, "FDI", onset_s=0.2505)
    assert channel(session, one).response.onset == 1251
    session.add(one, "FDI", onset_s=-0.0505, kind="early small")
    assert channel(session, one).active[0].onset == 950


def test_bursts_have_stable_ids(session, one):
    session.add(one, "FDI", onset_s=0.05, offset_s=0.1, kind="early small")
    (early, response) = channel(session, one).active
    assert (early.id[:6], early.origin, early.accepted, response.id) == ("added-", "added", True, "response")
    with pytest.warns(DecisionWarning, match="no burst of kind response stands any more"):
        session.remove(one, "FDI")
    assert channel(session, one).bursts["response"].origin == "removed"
    assert [burst.id for burst in channel(session, one).active] == [early.id]
    session.move(one, "FDI", onset_s=0.06, burst=early.id)
    assert channel(session, one).bursts[early.id].onset == 1060
    session.remove(one, "FDI", burst=early.id)
    assert list(channel(session, one).bursts) == ["response"]
    session.accept(one, "FDI")
    assert channel(session, one).found == "none visible"


def test_accepting_that_nothing_was_detected_says_none_visible(session, tmp_path):
    empty = session.queue[3]
    assert channel(session, empty).found == "none detected"
    session.accept(empty, "FDI")
    assert channel(session, empty).found == "none visible"
    assert log_lines(tmp_path)[-1]["old"]["found"] == "none detected"


def test_a_verdict_sets_marks_aside_without_erasing_them(session, one):
    session.none_visible(one, "FDI")
    state = channel(session, one)
    assert (state.found, state.active, state.response, state.reviewed) == ("none visible", (), None, True)
    assert session.accept(one, "FDI") == (), "accept confirms the verdict"
    session.confidence(one, "FDI", "unsure")
    assert channel(session, one).confidence == "unsure"
    session.accept(one, "FDI", burst="response")
    assert channel(session, one).response.accepted


def test_a_mark_after_a_verdict_is_the_only_one_that_counts(session, one):
    session.add(one, "FDI", onset_s=0.05, kind="early small")
    session.none_visible(one, "FDI")
    session.add(one, "FDI", onset_s=0.4)
    assert [burst.onset for burst in channel(session, one).active] == [1400]
    assert channel(session, one).reviewed


def test_not_locatable_keeps_earliest_and_latest(session, one):
    session.not_locatable(one, "FDI", earliest_s=0.1, latest_s=0.3)
    state = channel(session, one)
    assert (state.earliest, state.latest, state.earliest_s, state.latest_s) == (1100, 1300, 0.1, 0.3)
    with pytest.raises(DecisionError, match="swap them"):
        session.not_locatable(one, "FDI", earliest_s=0.3, latest_s=0.1)


def test_signal_and_marks_are_apart(session, one):
    session.move(one, "FDI", onset_s=0.3)
    session.unusable(one, "FDI", reasons=["clipped", "mains hum"])
    state = channel(session, one)
    assert (state.signal, state.reasons, state.reviewed) == ("unusable", ("clipped", "mains hum"), True)
    assert state.response.onset == 1300
    session.usable(one, "FDI")
    assert not channel(session, one).reviewed
    session.caution(one, "FDI", reasons=["weak"])
    assert channel(session, one).signal == "caution"


def test_copy_to_all_is_one_step_and_copies_no_marks(session, one):
    session.move(one, "APB", onset_s=0.31)
    before = whole(session)
    session.unusable(one, "FDI", reasons=["clipped"])
    session.none_visible(one, "FDI")
    session.copy_to_all(one, "FDI")
    assert channel(session, one, "APB").signal == "unusable"
    assert channel(session, one, "APB").found == "none visible"
    assert channel(session, one, "APB").bursts["response"].onset == 1310
    session.undo()
    assert channel(session, one, "APB").signal == "usable"
    session.undo()
    session.undo()
    assert whole(session) == before


def test_accept_rest_is_one_step(session, tmp_path):
    empty = session.queue[3]
    before = whole(session)
    session.unusable(empty, "APB", reasons=["clipped"])
    assert session.accept_rest(empty) == (empty,)
    assert channel(session, empty, "APB").found == "none detected", "what was reviewed stays as it was"
    assert session.accept_rest(empty) == ()
    session.undo()
    session.undo()
    assert whole(session) == before
    assert [line["operation"] for line in log_lines(tmp_path)[1:]] == ["unusable", "accept rest", "undo", "undo"]


def test_notes_of_the_trial(session, one):
    session.behaviour(one, "late")
    session.comment(one, "=HYPERLINK(x)")
    session.comment(one, "µ", channel="FDI")
    session.discuss(one)
    session.discuss(one, "FDI")
    session.correct_cue(one, 0.01, reason="photodiode")
    state = session.state(one)
    assert (state.behaviour, state.comment, state.discuss) == ("late", "=HYPERLINK(x)", True)
    assert (state.channels["FDI"].comment, state.channels["FDI"].discuss) == ("µ", True)
    assert (state.cue, state.corrected_cue) == (1000, 1010)
    session.discuss(one)
    session.comment(one, "")
    assert (session.state(one).discuss, session.state(one).comment) == (False, None)


def test_kind_and_confidence_of_a_burst(session, one):
    session.kind(one, "FDI", "braking", burst="response")
    session.confidence(one, "FDI", "fairly", burst="response")
    burst = channel(session, one).bursts["response"]
    assert (burst.kind, burst.confidence) == ("braking", "fairly")
    with pytest.raises(DecisionError, match="no such burst"):
        session.confidence(one, "FDI", "sure")
    session.accept(one, "FDI")
    assert channel(session, one).reviewed


def test_the_half_width_of_an_onset(session, one):
    session.half_width(one, "FDI", 4)
    assert channel(session, one).bursts["response"].half_width_s == 0.004
    session.move(one, "FDI", onset_s=0.21)
    session.accept(one, "FDI")
    table = session.decisions()
    (row,) = table[(table["trial"] == one) & (table["channel"] == "FDI")].to_dict("records")
    assert (row["half_width_s"], row["onset_s"], row["reviewed"]) == (0.004, 0.21, True)
    assert table["half_width_s"].notna().sum() == 1
    for wrong in (0, -1, float("nan"), float("inf"), 1e9, True, "5"):
        with pytest.raises(DecisionError, match="half_width_ms came as"):
            session.half_width(one, "FDI", wrong)
    session.apply("half_width", one, "FDI", half_width_ms=0.01)
    assert channel(session, one).bursts["response"].half_width == 1, "a sample at least"
    session.half_width(one, "FDI", None)
    assert channel(session, one).bursts["response"].half_width is None
    session.undo()
    assert channel(session, one).bursts["response"].half_width == 1
    session.none_visible(one, "FDI")
    with pytest.raises(DecisionError, match="no such burst stands"):
        session.half_width(one, "FDI", 4)


def test_a_half_width_is_in_the_log_only_where_one_was_given(session, one, tmp_path):
    session.accept(one, "FDI")
    session.half_width(one, "FDI", 4)
    session.half_width(one, "FDI", None)
    parts = [
        json.loads(line)["new"]["bursts"]["response"]
        for path in tmp_path.rglob("*.jsonl")
        for line in path.read_bytes().splitlines()[1:]
    ]
    assert [part.get("half_width", "left out") for part in parts] == ["left out", 4, "left out"]


def test_a_stretch_set_aside_touches_the_trials_it_overlaps(session):
    assert session.set_aside("rec", "FDI", 1.1, 2.6, reasons=["clipped"]) == session.queue[:2]
    assert session.aside == (("rec", "FDI", 1100, 2600, ("clipped",)),)
    table = session.decisions()
    assert list(table["set_aside"][:4]) == [True, False, False, False]
    assert session.undo() == session.queue[:2]
    assert session.aside == ()


def test_exclusions_are_decisions_with_a_reason(tmp_path):
    trials = [
        make_trials(name, n=2, seed=seed, sub=sub) for seed, (name, sub) in enumerate(zip("abc", "778", strict=True))
    ]
    with start(tmp_path, trials) as session:
        fresh = whole(session)
        assert session.exclude("electrode re-applied", recording="b") == session.queue[2:4]
        assert session.apply("exclude", "c", "APB", reason="=broken lead") == session.queue[4:]
        assert session.exclude("left early", participant="7") == session.queue[:4]
        assert session.exclude("left early", participant="7") == (), "the same again is no new event"
        why = session.decisions().groupby(["recording", "channel"])["excluded"].first()
        assert why["b", "FDI"] == "recording: electrode re-applied; participant: left early"
        assert (why["a", "APB"], why["c", "APB"]) == ("participant: left early", "channel: =broken lead")
        assert why.isna().sum() == 1
        session.seal("v1")
    with start(tmp_path, trials) as session:
        assert session.readmit("came back", participant="7") == session.queue[:4]
        assert session.decisions()["excluded"].isna().sum() == 6
        assert session.undo() == session.queue[:4]
        for _ in range(3):
            assert session.undo()
        assert (session.excluded, whole(session)) == ((), fresh)
        assert session.redo() == session.queue[2:4]
        assert session.excluded == (("recording", "b", None, "electrode re-applied"),)
        for wrong, error in (
            ({"reason": " ", "recording": "a"}, DecisionError),
            ({"reason": "x"}, DecisionError),
            ({"reason": "x", "participant": "7", "recording": "a"}, DecisionError),
            ({"reason": "x", "participant": "7", "channel": "FDI"}, DecisionError),
            ({"reason": "x", "participant": "9"}, UnknownNameError),
            ({"reason": "x", "recording": "d"}, UnknownNameError),
            ({"reason": "x", "recording": "a", "channel": "ECG"}, UnknownNameError),
        ):
            with pytest.raises(error):
                session.exclude(**wrong)
    for line in log_lines(tmp_path):
        CHECK.validate(line)
    table = read_version(tmp_path, "v1")
    assert table["excluded"].notna().sum() == 10


@pytest.mark.parametrize(
    ("command", "arguments", "error", "words"),
    [
        ("move", {"onset_s": 5.0}, DecisionError, "allowed is -0.5 to 0.999 s"),
        ("move", {"onset_s": float("nan")}, DecisionError, "nan"),
        ("move", {"onset_s": "0.2"}, DecisionError, "'0.2'"),
        ("move", {}, DecisionError, "give one of them"),
        ("move", {"onset_s": 0.6}, DecisionError, "does not come after"),
        ("add", {"onset_s": 0.2, "kind": "twitch"}, UnknownNameError, "kind"),
        ("add", {"onset_s": None}, DecisionError, "onset_s"),
        ("unusable", {"reasons": ["bored"]}, UnknownNameError, "bored"),
        ("unusable", {"reasons": []}, DecisionError, "at least one"),
        ("confidence", {"confidence": "certain"}, UnknownNameError, "certain"),
        ("behaviour", {"behaviour": "lat"}, UnknownNameError, "Did you mean 'late'"),
        ("comment", {"text": "a\nb"}, DecisionError, "line break"),
        ("remove", {"burst": "added-9"}, UnknownNameError, "added-9"),
        ("explode", {}, UnknownNameError, "command"),
    ],
)
def test_what_is_refused_leaves_no_trace(session, one, tmp_path, command, arguments, error, words):
    before, lines = whole(session), log_lines(tmp_path)
    with pytest.raises(error, match=words):
        session.apply(command, one, "FDI", **arguments)
    assert whole(session) == before
    assert log_lines(tmp_path) == lines


def test_unknown_trial_and_channel_are_named(session, one):
    with pytest.raises(UnknownNameError, match=r"no trial is called 'rec_given_1001'.*rec_given_1000"):
        session.accept("rec_given_1001", "FDI")
    with pytest.raises(UnknownNameError, match=r"no channel is called 'FDJ'.*Did you mean 'FDI'"):
        session.accept(one, "FDJ")


def test_front_ends_come_through_one_door(session, one):
    told = []
    session.changed.append(told.append)
    session.showing(raw=True, span_s=[-0.5, 1.0])
    assert session.apply("accept", one, "FDI") == (one,)
    assert session.apply("behaviour", one, "FDI", behaviour="late") == (one,)
    assert session.apply("discuss", one, "APB") == (one,)
    assert session.apply("undo", one, "FDI") == (one,)
    assert session.apply("accept", one, "FDI") == ()
    assert told == [(one,)] * 4
    for command in COMMANDS:
        assert callable(getattr(session, command))


# The queue -------------------------------------------------------------------------------------------------------


def test_progress_and_what_comes_next(session):
    a, b, c, d = session.queue
    assert session.where == a
    session.accept_rest(a)
    session.accept(c, "FDI")
    assert session.progress == (3, 8, 1, 4)
    assert session.where == c
    assert session.next_unreviewed() == b
    assert session.next_unreviewed(after=c) == d
    assert session.next_unreviewed(after=d) == b
    for trial in session.queue:
        session.accept_rest(trial)
    assert session.next_unreviewed() is None
    assert session.progress == (8, 8, 4, 4)
    session.go_to(b)
    assert session.where == b


def test_a_review_resumes_where_decisions_stopped(tmp_path):
    with start(tmp_path) as session:
        a, b, c, _ = session.queue
        session.accept_rest(a)
        session.accept(b, "FDI")
        session.go_to(c)
    with start(tmp_path) as session:
        assert session.where == b
        session.accept_rest(b)
    with start(tmp_path) as session:
        assert session.where == c


def test_several_threads_lose_nothing_and_break_nothing(tmp_path):
    trials = make_trials(n=40)
    with start(tmp_path, trials) as session, ThreadPoolExecutor(4) as pool:
        accepted = [pool.submit(session.accept, trial, label) for trial in session.queue for label in trials.labels]
        seen = [pool.submit(lambda: (session.progress, session.excluded, len(session.decisions()))) for _ in range(5)]
        commented = [pool.submit(session.comment, trial, f"number {n}") for n, trial in enumerate(session.queue)]
        for done in (*accepted, *seen, *commented):
            done.result()
        assert session.problem is None
        assert session.progress[0] == 80
    assert verify(tmp_path).ok
    assert len(log_lines(tmp_path)) == 1 + 80 + 40


def test_least_certain_first(tmp_path):
    with start(tmp_path, order="least certain") as session:
        assert session.queue == tuple(f"rec_given_{sample}" for sample in (5000, 3000, 1000, 7000))


def test_where_the_method_could_not_tell_comes_first_and_is_not_called_no_activity(tmp_path):
    def could_not_tell(*x, **named):
        found = detect(*x, **named, absent=(2, 3))
        found.present[2] = np.nan
        return dataclasses.replace(found, baseline_note=np.array(["", "", "drifting", ""]))

    with start(tmp_path, order="least certain", detect=could_not_tell) as session:
        assert session.queue == tuple(f"rec_given_{sample}" for sample in (5000, 3000, 1000, 7000))
        assert session.automatic("rec_given_5000", "FDI").undecided
        assert not session.automatic("rec_given_7000", "FDI").undecided
        assert trial_list(session, "least certain first") == session.queue


def test_random_order_holds_and_moves_no_trial_for_another(tmp_path):
    with start(tmp_path / "a", make_trials(n=12), order="random") as session:
        order = session.queue
        assert sorted(order) != list(order)
    (tmp_path / "a").rename(tmp_path / "b")
    with start(tmp_path / "b", make_trials(n=12), order="random") as session:
        assert session.queue == order
    with pytest.raises(UnknownNameError, match="order"):
        start(tmp_path / "c", order="alphabetic")
    assert not (tmp_path / "c").exists()


def test_blind_shuffles_and_hides_until_unblinded(tmp_path):
    trials = [make_trials(name, n=6, seed=seed, sub=name) for seed, name in enumerate(("one", "two"))]
    with start(tmp_path, trials, blind=True) as session:
        owners = [trial.split("_")[0] for trial in session.queue]
        assert owners != sorted(owners)
        assert not {"condition", "participant"} & set(session.decisions())
        session.accept_rest(session.queue[0])
        assert session.seal("v1").path.is_dir()
        session.unblind("finished")
        assert {"condition", "participant"} <= set(session.decisions())
        assert session.undo() == (session.queue[0],), "unblinding is not what is taken back"
    assert [line["blind"] for line in log_lines(tmp_path)][-1] is False
    with pytest.raises(DecisionError, match="unblinded on"):
        start(tmp_path, trials, blind=True)
    with start(tmp_path, trials) as session:
        assert session.blind is False


# Undo ------------------------------------------------------------------------------------------------------------


def test_undo_goes_across_recordings_and_restarts(tmp_path):
    trials = [make_trials(name, seed=seed) for seed, name in enumerate(("one", "two"))]
    with start(tmp_path, trials) as session:
        fresh = whole(session)
        first, second = session.queue[0], session.queue[4]
        for trial in (first, second, session.queue[1], session.queue[5]):
            session.accept_rest(trial)
        done = whole(session)
        assert session.undo() == (session.queue[5],)
    with start(tmp_path, trials) as session:
        assert session.redo() == (session.queue[5],)
        assert whole(session) == done
        assert [session.undo() for _ in range(5)] == [
            (session.queue[5],), (session.queue[1],), (second,), (first,), ()
        ]  # fmt: skip
        assert whole(session) == fresh
    with start(tmp_path, trials) as session:
        assert [session.redo() for _ in range(5)][-2:] == [(session.queue[5],), ()]
        assert whole(session) == done
        session.undo()
        session.accept(session.queue[2], "FDI")
        assert session.redo() == (), "a new decision ends redo"


def test_reviews_of_single_recordings_can_be_opened_together_later(tmp_path):
    one, two = (make_trials(name, seed=seed) for seed, name in enumerate(("one", "two")))
    for trials in (one, two):
        with start(tmp_path, trials) as session:
            session.accept(session.queue[0], "FDI")
            session.accept(session.queue[0], "APB")
            session.undo()
    counters = [line["counter"] for line in log_lines(tmp_path)]
    assert len(set(counters)) == len(counters)
    with start(tmp_path, [one, two]) as session:
        assert session.undo() == (two.ids[0],)
        assert session.undo() == (one.ids[0],)
        assert session.progress[0] == 0
        assert verify(tmp_path).ok


@settings(max_examples=40, deadline=None)
@given(order=st.permutations(range(10)))
def test_the_order_of_review_does_not_change_what_is_sealed(order):
    steps = [
        lambda session, q: session.accept(q[0], "FDI"),
        lambda session, q: session.accept_rest(q[1]),
        lambda session, q: session.move(q[0], "APB", onset_s=0.25),
        lambda session, q: session.none_visible(q[2], "FDI"),
        lambda session, q: session.not_locatable(q[2], "APB", earliest_s=0.1, latest_s=0.2),
        lambda session, q: session.unusable(q[3], "FDI", ["clipped"]),
        lambda session, q: session.behaviour(q[0], "late"),
        lambda session, q: session.comment(q[0], "odd", "FDI"),
        lambda session, q: session.correct_cue(q[3], 0.01),
        lambda session, q: session.exclude("broken lead", recording="rec", channel="APB"),
    ]
    contents = []
    for sequence in (range(10), order):
        with tempfile.TemporaryDirectory() as place, start(Path(place), files=Unflushed()) as session:
            for step in sequence:
                steps[step](session, sorted(session.queue))
            contents.append(to_tsv(session.decisions()))
    assert contents[0] == contents[1]


# Logs ------------------------------------------------------------------------------------------------------------


def test_the_log_says_everything_in_order(session, one, tmp_path):
    session.showing(raw=True, gain={"FDI": 2})
    session.move(one, "FDI", onset_s=0.25)
    session.seal("v1")
    first, move, seal = log_lines(tmp_path)
    assert first["new"]["fingerprint"]["samples"] == session.trials[0].recording.fingerprint.samples
    assert first["new"]["processing"]["hash"] == Processing().hash
    assert first["new"]["detection"]["parameters"] == {"onset_s": 0.2}
    assert (first["new"]["rate_hz"], first["new"]["schema"]) == (1000, 1)
    assert move["subject"] == {
        "burst": "response", "channel": "FDI", "dataset": None, "participant": None, "recording": "rec", "trial": one
    }  # fmt: skip
    assert (move["operation"], move["visible"]) == ("move", {"raw": True, "gain": {"FDI": 2}})
    assert (move["old"]["bursts"]["response"]["onset"], move["new"]["bursts"]["response"]["onset"]) == (1200, 1250)
    assert seal["operation"] == "seal"


def test_the_convention_is_kept_once_and_again_when_it_changes(tmp_path):
    words = "First sample at which the raw trace leaves the rest for good"
    with start(tmp_path) as session:
        assert session.convention is None
    for told, holds in ((words, words), (None, words), (words, words), ("Foot of the burst", "Foot of the burst")):
        with start(tmp_path, convention=told) as session:
            assert session.convention == holds
            assert session.undo() == (), "a convention is no decision"
    with start(tmp_path, reviewer="r2", convention=words) as session:
        assert session.convention == words
    lines = log_lines(tmp_path)
    assert [line["operation"] for line in lines] == ["open log", "change convention", "change convention", "open log"]
    assert lines[-1]["new"]["convention"] == words
    for line in lines:
        CHECK.validate(line)
    with pytest.raises(DecisionError, match="control character"):
        start(tmp_path, convention="a\tb")


PARTS = {
    "search": "from the burst's plateau backwards",
    "start": "first sample that leaves the rest for good",
    "stray_units": "left out when 20 ms of rest follow",
    "shortest_burst": "30 ms",
}


def test_a_convention_of_four_parts_is_told_in_words(tmp_path):
    words = "\n".join(
        (
            "Search direction: from the burst's plateau backwards",
            "What counts as the start: first sample that leaves the rest for good",
            "Single stray units: left out when 20 ms of rest follow",
            "Shortest burst: 30 ms",
        )
    )
    with start(tmp_path, convention=Convention(**PARTS)) as session:
        assert session.convention == words
        session.accept(session.queue[0], "FDI")
        session.seal("v1")
    with start(tmp_path, convention="one\r\n\n two ") as session:
        assert session.convention == "one\ntwo"
    lines = log_lines(tmp_path)
    assert [line["new"]["convention"] for line in lines if "convention" in line["new"]] == [words, "one\ntwo"]
    for line in lines:
        CHECK.validate(line)
    assert json.loads((tmp_path / "versions" / "v1" / "decisions.json").read_text())["convention"] == words
    assert str(Convention(**PARTS, further="Offsets too.")) == f"{words}\nFurther: Offsets too."


def test_a_convention_is_read_from_a_file(tmp_path):
    toml, text = tmp_path / "convention.toml", tmp_path / "convention.txt"
    toml.write_text("\n".join(f"{name} = {json.dumps(words)}" for name, words in PARTS.items()))
    (tmp_path / "convention.json").write_text(json.dumps(PARTS))
    assert Convention.read(toml) == Convention.read(tmp_path / "convention.json") == Convention(**PARTS)
    assert read_convention(toml) == str(Convention(**PARTS))
    text.write_text("\ufeffFirst lasting rise.\r\n\r\nNo stray units.", encoding="utf-8")
    assert read_convention(text) == "First lasting rise.\nNo stray units."


@pytest.mark.parametrize(
    ("name", "content", "error", "words"),
    [
        ("a.toml", "serch = 'x'", UnknownNameError, "Did you mean 'search'"),
        ("a.toml", "search = 'x'", ParameterError, "lacks start, stray_units, shortest_burst"),
        ("a.toml", "search = ", ReadError, "cannot be read as a marking convention"),
        ("a.json", "[1]", ReadError, "holds no names"),
        ("a.json", json.dumps({**PARTS, "start": 5}), ParameterError, "start of the marking convention came as 5"),
        ("a.json", json.dumps({**PARTS, "start": " "}), ParameterError, "say in words: what counts as the start"),
        ("a.json", json.dumps({**PARTS, "start": "a\nb"}), DecisionError, "line break"),
        ("a.txt", " \n", ReadError, "is empty"),
        ("missing.txt", None, ReadError, r"there is no file .*missing\.txt"),
    ],
)
def test_a_convention_that_cannot_be_read_is_refused(tmp_path, name, content, error, words):
    if content is not None:
        (tmp_path / name).write_text(content)
    with pytest.raises(error, match=words):
        read_convention(tmp_path / name)


def test_logs_are_named_by_participant_recording_and_reviewer(tmp_path):
    with start(tmp_path, make_trials("a b", sub="07", dataset="reach"), reviewer="r-2"):
        assert (tmp_path / "logs" / "sub-07" / "a b_reviewer-r-2.jsonl").is_file()
    assert log_lines(tmp_path)[0]["subject"]["dataset"] == "reach"
    for name, reviewer in (("a/b", "r1"), ("ab", "r 1")):
        with pytest.raises(ParameterError, match="file name"):
            start(tmp_path, make_trials(name), reviewer=reviewer)


def test_a_log_of_another_recording_is_refused(tmp_path, counted):
    start(tmp_path).close()
    others = [make_trials(seed=2), make_trials(n=5), make_trials(labels=("FDI", "ADM")), make_trials(labels=("FDI",))]
    for other in others:
        with pytest.raises(LogError, match="belongs to another recording"):
            start(tmp_path, other)
    counted(f"log of another recording: {len(others)} recordings under the same name, all refused")
    with start(tmp_path) as session:
        assert not session.read_only, "the refusal freed the lock"


def test_recordings_and_trials_must_differ(tmp_path):
    with pytest.raises(ParameterError, match="two different recordings"):
        start(tmp_path, [make_trials(), make_trials(seed=2)])
    with pytest.raises(ParameterError, match="came twice"):
        start(tmp_path, [make_trials(), make_trials()])
    with pytest.raises(ParameterError, match=r"no trial"):
        start(tmp_path, [])


def test_a_reader_and_another_reviewer_stand_beside(session, one, tmp_path):
    session.accept(one, "FDI")
    with start(tmp_path, read_only=True) as reader:
        assert whole(reader) == whole(session)
        with pytest.raises(LogReadOnlyError):
            reader.accept(one, "APB")
    with start(tmp_path, reviewer="r2") as other:
        assert other.progress[0] == 0
    session.accept(one, "APB")


def test_running_a_cell_twice_goes_on_with_the_later_review(session, one, tmp_path):
    session.accept(one, "FDI")
    with start(tmp_path) as later:
        assert later.progress[0] == 1
        assert "later review" in session.problem
        with pytest.raises(LogReadOnlyError, match="later review"):
            session.accept(one, "APB")
        later.accept(one, "APB")


def test_a_broken_log_opens_the_review_for_reading_and_says_where(session, one, tmp_path):
    session.accept(one, "FDI")
    session.accept(one, "APB")
    session.close()
    (path,) = (tmp_path / "logs").glob("*.jsonl")
    path.write_bytes(path.read_bytes().replace(b'"channel":"APB"', b'"channel":"ADM"'))
    with start(tmp_path) as again:
        assert again.read_only
        assert "line 3" in again.problem
        assert again.progress[0] == 1
        with pytest.raises(LogReadOnlyError, match="line 3"):
            again.accept(one, "APB")


def test_the_way_on_from_a_broken_log_is_said_and_works(session, one, tmp_path):
    session.accept(one, "FDI")
    session.seal("v1")
    session.accept(one, "APB")
    session.comment(one, "odd")
    session.close()
    (path,) = (tmp_path / "logs").glob("*.jsonl")
    path.write_bytes(path.read_bytes().replace(b'"channel":"APB"', b'"channel":"ADM"'))
    with start(tmp_path, read_only=True) as again:
        assert again.problem in verify(tmp_path).problems
        assert "rename it to rec_reviewer-r1.jsonl.broken, and save the first 3 lines" in again.problem
        assert "hold all that sealed version 'v1' rests on" in again.problem
    broken = path.rename(path.with_name(f"{path.name}.broken"))
    path.write_bytes(b"".join(broken.read_bytes().splitlines(keepends=True)[:3]))
    assert verify(tmp_path).ok
    with start(tmp_path) as again:
        again.accept(one, "APB")
    assert verify(tmp_path).ok


def test_an_unfinished_line_is_kept_beside_and_said(session, one, tmp_path):
    session.accept(one, "FDI")
    session.close()
    (path,) = (tmp_path / "logs").glob("*.jsonl")
    path.write_bytes(path.read_bytes() + b'{"blind"')
    with start(tmp_path) as again:
        assert "unfinished" in again.notices[0]
        assert again.progress[0] == 1
        assert not again.read_only


def test_the_state_never_runs_ahead_of_the_file(tmp_path):
    class Full(FileSystem):
        full = False

        def fsync(self, fd):
            if self.full:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    files = Full()
    session = start(tmp_path, files=files)
    one = session.queue[0]
    session.accept(one, "FDI")
    before, told = whole(session), []
    session.changed.append(told.append)
    files.full = True
    with pytest.raises(LogWriteError, match="No space left"):
        session.accept(one, "APB")
    files.full = False
    with pytest.raises(LogWriteError, match="takes no more decisions"):
        session.accept(one, "APB")
    assert whole(session) == before
    assert told == []
    assert session.read_only
    assert "open it again" in session.problem
    session.close()
    with start(tmp_path) as again:
        assert again.progress[0] in (1, 2)


def test_another_method_refreshes_only_what_nobody_has_touched(tmp_path):
    with start(tmp_path) as session:
        one, two = session.queue[:2]
        session.accept(one, "FDI")
        session.move(two, "APB", onset_s=0.3)
        session.undo()
    with start(tmp_path, detect=partial(detect, onset_s=0.22)) as session:
        assert channel(session, one, "FDI").response.onset == 1200
        assert channel(session, one, "APB").response.onset == 1220
        assert channel(session, two, "APB").response.onset == 3220
        assert session.relook == (one,)
        assert session.accept(one, "FDI") == (one,), "a confirmation is worth an event"
        assert session.relook == ()
    assert [line["operation"] for line in log_lines(tmp_path)][-2:] == ["change method", "accept"]


@pytest.mark.parametrize(
    ("options", "now", "again"),
    [
        ({}, {"onset_s": 0.21}, False),
        ({}, {"onset_s": 0.189}, True),
        ({"relook_ms": 20}, {"onset_s": 0.22}, False),
        ({"relook_ms": 0}, {"onset_s": 0.201}, True),
        ({"relook_ms": 1000}, {"absent": (0, 3)}, True),
        ({}, {"length_s": 0.351}, True),
        ({"relook_offset_ms": 51}, {"length_s": 0.351}, False),
        ({"relook_offset_ms": None}, {"length_s": np.nan}, False),
    ],
)
def test_what_joins_the_list_to_look_at_again(tmp_path, options, now, again):
    with start(tmp_path) as session:
        one, absent = session.queue[0], session.queue[3]
        session.accept(one, "FDI")
        session.none_visible(absent, "FDI")
        session.accept(session.queue[1], "APB")
        session.move(session.queue[1], "APB", onset_s=0.4)
    with start(tmp_path, detect=partial(detect, **now), **options) as session:
        assert (one in session.relook) == again, "what counts is the value seen, also of a mark that was then moved"
        assert (session.queue[1] in session.relook) == (again and "absent" not in now)
        assert absent not in session.relook, "nothing was seen, and nothing is found"
        assert bool(session.notices) == again
    with start(tmp_path, **options) as session:
        assert session.relook == (), "the first method again says what was seen"


def test_other_packages_that_find_another_mark_ask_to_look_again(tmp_path, monkeypatch):
    with start(tmp_path) as session:
        session.accept(session.queue[0], "FDI")
    monkeypatch.setattr("emgreview.annotations.reviewer_logs.installed", lambda: {"numpy": "9.9"})
    with start(tmp_path) as session:
        assert session.relook == (), "the mark is the same"
    monkeypatch.setattr("emgreview.annotations.reviewer_logs.installed", lambda: {"numpy": "9.9.1"})
    quietly = partial(detect, onset_s=0.3)
    with start(
        tmp_path,
        detect=lambda x, rate_hz, **how: dataclasses.replace(quietly(x, rate_hz, **how), parameters={"onset_s": 0.2}),
    ) as session:
        assert session.relook == (session.queue[0],)


@pytest.mark.parametrize("came", [{"relook_ms": -1}, {"relook_ms": None}, {"relook_offset_ms": np.nan}])
def test_a_distance_to_look_again_from_must_be_one(tmp_path, came):
    with pytest.raises(ParameterError, match=r"relook\w*_ms came as .*at least 0 ms"):
        start(tmp_path, **came)


def test_the_method_changes_in_the_middle_of_a_review(tmp_path):
    told = []
    with start(tmp_path) as session:
        one, two = session.queue[:2]
        session.accept(one, "FDI")
        session.changed.append(told.append)
        assert session.change_method("ramp") == (), "no change is no event"
        assert session.change_method("other", onset_s=0.23) == session.queue
        assert told == [session.queue]
        assert channel(session, one, "FDI").response.onset == 1200
        assert channel(session, one, "APB").response.onset == 1230
        assert session.automatic(one, "FDI").onset_s == pytest.approx(0.23)
        assert session.relook == (one,)
        assert session.notices[0] == "Onsets are now found by other (onset_s 0.23)."
        assert session.notices[1].startswith("Reviewed marks to look at again: 1, trials: 1. ")
        assert session.undo() == (one,), "undo passes over the method"
        session.redo()
        session.accept(two, "FDI")
        session.change_method("other", onset_s=0.2305)
        assert session.notices[1].startswith("Reviewed marks to look at again: 1, ")
        session.change_method("other", onset_s=0.205)
        assert session.relook == (two,)
        before = whole(session)
        with pytest.raises(TypeError):
            session.change_method("other", nothing=1)
        assert whole(session) == before
    lines = [line for line in log_lines(tmp_path) if line["operation"] == "change method"]
    assert [line["new"]["detection"]["parameters"] for line in lines] == [
        {"onset_s": 0.23}, {"onset_s": 0.2305}, {"onset_s": 0.205}
    ]  # fmt: skip
    with start(tmp_path, read_only=True) as session, pytest.raises(LogReadOnlyError, match="not changed"):
        session.change_method("other", onset_s=0.3)


def test_a_review_goes_on_with_the_method_in_its_log(tmp_path):
    rough = {"k": 4, "run_s": 0.02}
    with start(tmp_path, detect=None, method="threshold", parameters=rough) as session:
        session.accept(session.queue[0], "FDI")
        assert session.methods["rec"]["detection"]["parameters"]["k"] == 4
    with start(tmp_path, detect=None) as session:
        assert session.methods["rec"]["detection"]["method"] == "threshold"
        assert session.relook == session.notices == ()
        session.change_method("double-threshold", shortest_s=0.05, merge_s=0.02)
        assert session.method_words == "double-threshold (shortest_s 0.05, merge_s 0.02)"
        assert session.notices[0] == "Onsets are now found by double-threshold (shortest_s 0.05, merge_s 0.02)."
    with start(tmp_path, detect=None) as session:
        found = session.methods["rec"]["detection"]
        assert (found["method"], found["parameters"]["shortest_s"], found["parameters"]["merge_s"]) == (
            "double-threshold", 0.05, 0.02
        )  # fmt: skip
    with start(tmp_path, detect=None, method="ramp") as session:
        assert session.methods["rec"]["detection"]["method"] == session.method_words == "ramp"
    operations = [line["operation"] for line in log_lines(tmp_path)]
    assert operations == ["open log", "accept", "change method", "change method"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"parameters": {"k": 4}}, "without the method"),
        ({"method": "treshold"}, "Did you mean 'threshold'"),
        ({"method": "threshold", "parameters": {"kk": 4}}, "no parameter of method 'threshold' is called 'kk'"),
    ],
)
def test_a_method_that_is_none_is_refused_before_any_file_is_made(tmp_path, options, words):
    with pytest.raises((ParameterError, UnknownNameError), match=words):
        start(tmp_path / "review", detect=None, **options)
    assert not (tmp_path / "review").exists()


def test_a_method_of_ones_own_in_the_log_asks_for_it(tmp_path):
    with start(tmp_path, method="mine"):
        pass
    with pytest.raises(LogError, match=r"'mine', which the package does not have .* give that function as detect="):
        start(tmp_path, detect=None)
    with start(tmp_path, detect=None, method="threshold") as session:
        assert session.methods["rec"]["detection"]["method"] == "threshold"


def test_a_cue_that_is_gone_takes_no_decisions_with_it(tmp_path):
    with start(tmp_path, make_trials(n=4)) as session:
        session.accept(session.queue[1], "FDI")
        session.accept(session.queue[2], "FDI")
    trials = make_trials(n=4)
    fewer = dataclasses.replace(
        trials, ids=trials.ids[:2], cues=trials.cues[:2], data=trials.data[:2], envelope=trials.envelope[:2]
    )
    with start(tmp_path, fewer) as session:
        assert session.progress[0] == 1
        assert session.undo() == ()
        assert session.redo() == ()
    with start(tmp_path, trials) as session:
        assert session.progress[0] == 2


# Versions and the sample file ------------------------------------------------------------------------------------


def test_a_sealed_version_reads_back_and_never_changes(session, one, tmp_path):
    session.move(one, "FDI", onset_s=0.1234)
    session.comment(one, '=1+1 "quoted" µ', channel="FDI")
    session.not_locatable(one, "APB", earliest_s=0.1, latest_s=0.2)
    assert session.next_version == "v1"
    sealed = session.seal("v1")
    table = session.decisions()
    again = read_version(tmp_path, "v1", expect=sealed.sha256)
    pd.testing.assert_frame_equal(again, table)
    description = again.attrs["version"]
    (head,) = description["logs"].values()
    assert head["lines"] == 4
    assert description["recordings"]["rec"]["processing"]["hash"] == Processing().hash
    session.accept(one, "FDI")
    pd.testing.assert_frame_equal(read_version(tmp_path, "v1"), table)
    assert session.next_version == "v2"
    with pytest.raises(VersionError, match="exists already"):
        session.seal("v1")
    with pytest.raises(ParameterError, match="version name"):
        session.seal("../v1")
    assert verify(tmp_path).ok


FILES = Path(__file__).parent / "files"


def sample_trials():
    """The recording under files/log-1.jsonl, made by a rule, so that its fingerprint never changes."""
    k = np.arange(5 * 2000, dtype=np.float64)
    x = np.stack([k * k % 101, k * 7 % 89])
    cues = tuple(Marker(2000 * n + 1000, "go") for n in range(4))
    recording = Recording.from_array(x, RATE, labels=("FDI", "APB"), markers=cues, name="sample")
    return dataclasses.replace(make_trials("sample"), recording=recording, cues=cues)


def test_a_log_of_version_1_still_opens(tmp_path):
    (tmp_path / "logs").mkdir()
    stored = (FILES / "log-1.jsonl").read_bytes()
    log = tmp_path / "logs" / "sample_reviewer-r1.jsonl"
    log.write_bytes(stored)
    for line in stored.splitlines():
        CHECK.validate(json.loads(line))
    assert verify(tmp_path).ok
    with start(tmp_path, sample_trials()) as session:
        a, b, c, d = session.queue
        assert not session.read_only
        burst = channel(session, a).response
        assert (burst.origin, burst.accepted, burst.onset, burst.automatic["onset"]) == ("moved", True, 1215, 1200)
        assert burst.confidence == "fairly"
        assert [one.kind for one in channel(session, b).active] == ["early small"]
        assert channel(session, b).bursts["response"].origin == "removed"
        assert channel(session, b, "APB").earliest_s == 0.1
        assert channel(session, c).reasons == ("clipped", "other: strap slipped")
        assert channel(session, c, "APB").signal == "unusable"
        assert channel(session, d).found == "none visible"
        assert session.state(d).behaviour == "no response"
        assert session.state(a).corrected_cue == 1010
        assert session.state(a).comment == "=µ 😀"
        assert session.aside == (("sample", "FDI", 8000, 9000, ("heart beats",)),)
        assert session.progress == (7, 8, 3, 4)
        assert session.redo() == (c,)
    assert log.read_bytes().startswith(stored)


# What is marked in a recording ----------------------------------------------------------------------------------


def test_bursts_marked_in_a_recording_carry_over_to_the_trials_that_hold_their_onset(tmp_path):
    with start(tmp_path) as session:
        a, b = session.queue[:2]
        with pytest.warns(DecisionWarning, match="burst 2 of 2 .added-[0-9]+, onset 300 ms. lies inside burst 1 of 2"):
            assert session.mark_burst("rec", "FDI", 1.3, 1.45) == (a,)
        with pytest.warns(DecisionWarning, match="APB: the burst ends beyond the trial, .* goes on in 1 other, whose"):
            assert session.mark_burst("rec", "APB", 3.9, 5.0, kind="tonic") == (b,), "its offset lies beyond the trial"
        (added,) = [burst for burst in session.state(a).channels["FDI"].active if burst.origin == "added"]
        assert (added.onset, added.offset, added.accepted) == (1300, 1450, True)
        (added,) = [burst for burst in session.state(b).channels["APB"].active if burst.origin == "added"]
        assert (added.onset, added.offset, added.kind) == (3900, None, "tonic")
        assert session.mark_burst("rec", "FDI", 2.1, 2.2) == ()
        assert session.marked == (("rec", "FDI", 2100, 2200, "response"),)
        assert session.undo() == ()
        assert session.marked == ()
        assert session.redo() == ()
    with start(tmp_path) as session:
        assert session.marked == (("rec", "FDI", 2100, 2200, "response"),)
    for line in log_lines(tmp_path):
        CHECK.validate(line)


def test_a_cue_that_is_none_leaves_its_trial_out_and_can_stand_again(tmp_path):
    with start(tmp_path) as session:
        a, b = session.queue[:2]
        markers = session.trials[0].recording.markers
        assert session.no_cue(b, "double") == (b,)
        assert session.no_cue(b, "double") == (), "the same again is no new event"
        table = session.decisions().set_index("trial")
        assert set(table.loc[b, "excluded"]) == {"trial: no cue, double"}
        assert table.loc[a, "excluded"].isna().all()
        assert session.trials[0].recording.markers == markers
    with start(tmp_path) as session:
        assert session.no_cues == {b: "double"}
        session.no_cue(b, None)
        assert session.no_cues == {}
        session.undo()
        assert session.no_cues == {b: "double"}
    for line in log_lines(tmp_path):
        CHECK.validate(line)


def test_an_added_cue_joins_the_markers_of_a_recording_cut_anew(tmp_path):
    with start(tmp_path) as session:
        before = session.trials[0].recording.markers
        assert session.add_cue("rec", 2.2, "go", reason="trigger dropped out") == ()
        assert session.add_cue("rec", 1.5, "go") == session.queue[:1]
        assert session.added_cues == (("rec", 1500, "go"), ("rec", 2200, "go"))
        now = session.with_added_cues("rec").markers
        assert [marker.sample for marker in now if marker.source == "added"] == [1500, 2200]
        assert [marker for marker in now if marker.source != "added"] == list(before)
        assert session.undo() == session.queue[:1]
        assert session.added_cues == (("rec", 2200, "go"),)
    for line in log_lines(tmp_path):
        CHECK.validate(line)


@pytest.mark.parametrize(
    ("act", "error", "words"),
    [
        (lambda s: s.mark_burst("rec", "FDI", 2.0, 2.0), DecisionError, "start before stop"),
        (lambda s: s.mark_burst("rec", "FDI", 2.0, 99.0), DecisionError, "does not lie in recording"),
        (lambda s: s.mark_burst("rec", "ECG", 2.0, 3.0), UnknownNameError, "no channel is called 'ECG'"),
        (lambda s: s.mark_burst("rec", "FDI", 2.0, 3.0, kind="odd"), UnknownNameError, "no kind is called 'odd'"),
        (lambda s: s.mark_burst("reg", "FDI", 2.0, 3.0), UnknownNameError, "Did you mean 'rec'"),
        (lambda s: s.no_cue(s.queue[0], "  "), DecisionError, "without a reason"),
        (lambda s: s.add_cue("rec", 1.0, "go"), DecisionError, "no second cue with that label at one sample"),
        (lambda s: s.add_cue("rec", float("nan"), "go"), DecisionError, "a time within 0 to 10 s"),
        (lambda s: s.add_cue("rec", 2.0, " "), DecisionError, "a label"),
    ],
)
def test_marks_in_a_recording_that_cannot_be_are_refused_and_write_nothing(tmp_path, act, error, words):
    with start(tmp_path) as session:
        n = len(log_lines(tmp_path))
        with pytest.raises(error, match=words):
            act(session)
        assert len(log_lines(tmp_path)) == n


def test_one_decision_works_out_a_trial_s_state_once(tmp_path, monkeypatch):
    made = []
    real = Session._state
    monkeypatch.setattr(Session, "_state", lambda self, trial, of: made.append(trial) or real(self, trial, of))
    with start(tmp_path) as session:
        trial = session.queue[0]
        session.changed.append(lambda ids: [session.state(one) for one in ids for _ in range(4)])
        before = session.state(trial)
        made.clear()
        session.accept(trial, "FDI")
        assert made == [trial]
        assert session.state(trial) is session.state(trial) != before
        session.undo()
        assert session.state(trial) == before
        assert made == [trial, trial]


def test_every_command_is_registered_with_its_subject_and_is_the_method_of_that_name(tmp_path):
    with start(tmp_path) as session:
        for name in COMMANDS:
            assert callable(getattr(session, name))
        session.apply("accept", session.queue[0], "FDI")
        session.apply("behaviour", session.queue[0], "a channel that it does not take", behaviour="late")
        session.apply("set_aside", "rec", "FDI", start_s=0.5, stop_s=0.6, reasons=["clipped"])
        session.apply("undo", "a trial that it does not take")
        assert session.aside == ()
        with pytest.raises(UnknownNameError, match="accept"):
            session.apply("acept")


def test_the_former_name_of_active_bursts_works_and_says_so(session):
    state = channel(session, session.queue[0])
    with pytest.warns(DeprecationWarning, match="active"):
        assert state.standing == state.active
