"""The second and third stored review: three reviewers, and every operation that the first one lacks. They are read for
ever, too. What came into the format later stands in the third."""

import contextlib
import json
import re
import shutil
import sys
from functools import partial
from pathlib import Path

import pytest
from format_page import run_page
from scripted_reviews import CHECK, detect
from stored_reviews import cut, recordings

import emgreview as er

REVIEW = Path(__file__).parent / "files" / "review-1b"
LATER = Path(__file__).parent / "files" / "review-1c"


def write_review(folder):
    """How files/review-1b was made, once: two reviewers of three recordings, an audit and what it accepts in bulk, a
    hidden self-check, a drawn sample, and a third reviewer who settles what the two dispute. Seeds were taken then."""
    with er.open_review(cut(), folder, reviewer="r1", detect=detect, order="random") as session:
        er.plan_self_check(session, seed="self", repeats_share=0.1, hidden_share=0.1)
        audit = er.plan_bulk(
            session, er.BulkRule(interval_below_s=0.08, level_above_db=10), at_most=0.3, expected=0.0, seed="audit"
        )
        for number, (trial, channel) in enumerate(audit.open):
            session.add(trial, channel, onset_s=0.2 + number % 5 / 1000)
        audit.finish()
        audit.accept()
        for number, trial in enumerate(session.queue):
            for channel in session.open_channels(trial):
                if session.hides_automatic(trial, channel) or not session.state(trial).channels[channel].active:
                    session.add(trial, channel, onset_s=0.205, offset_s=0.4)
                elif number % 7 == 3:
                    session.move(trial, channel, onset_s=0.213)
                    session.accept(trial, channel)
                elif number % 7 == 5:
                    session.not_locatable(trial, channel, earliest_s=0.1, latest_s=0.25)
                else:
                    session.accept(trial, channel)
        a, b, c, d, *_ = sorted(trial for trial in session.queue if session.source(trial) == trial)
        session.no_cue(a, "double")
        session.no_cue(b, "knock")
        session.no_cue(b, None)
        session.add_cue("other", 33.25, "go", reason="button stuck")
        session.mark_burst("early", "FDI", 0.05, 0.25, kind="tonic")
        session.set_aside("later", "FDI", 2.9, 3.4, ["clipped"])
        session.exclude("ill", participant="2")
        session.behaviour(c, "late")
        session.comment(c, "slow", channel="FDI")
        session.correct_cue(d, 0.012)
        session.seal("first")
    with er.open_review(cut(), folder, reviewer="r2", detect=detect, blind=True) as session:
        er.draw_sample(session, share=0.6, seed="sample")
        for number, trial in enumerate(session.queue):
            for channel in session.open_channels(trial):
                active = session.state(trial).channels[channel].active
                if not active:
                    session.none_visible(trial, channel)
                elif number % 5 == 1 and channel == "FDI":
                    session.move(trial, channel, onset_s=0.24)
                    session.accept(trial, channel)
                elif number % 5 == 2:
                    session.move(trial, channel, onset_s=0.207, offset_s=0.45)
                    session.accept(trial, channel)
                elif number % 5 == 3 and channel == "APB":
                    session.caution(trial, channel, ["weak"])
                    session.accept(trial, channel)
                else:
                    session.accept(trial, channel)
        session.exclude("electrode re-applied", recording="other", channel="APB")
        session.behaviour(c, "as instructed")
        session.comment(c, "slow, but there", channel="FDI")
        session.set_aside("later", "APB", 4.9, 5.4, ["heart beats"])
        session.unblind("all decided")
    with er.adjudicate(cut(), folder, "r1", "r2", reviewer="r3", detect=detect, seed="settle") as session:
        disputes = session.disputes()
        for number, dispute in enumerate(disputes[:-1]):
            choice = ("A", "B", "both acceptable", "cannot be settled")[number % 4]
            try:
                session.settle(dispute.trial, dispute.channel, choice, "by its course" if number == 1 else None)
            except er.errors.DecisionError:
                session.settle(dispute.trial, dispute.channel, "A")
        last = disputes[-1]
        if last.channel is None:
            session.behaviour(last.trial, "late")
        else:
            session.add(last.trial, last.channel, onset_s=0.22)
        session.readmit("is well", participant="2")
        session.seal("settled", er.Rule(name="main", version=1, signal=("usable", "caution")))
    with er.open_review(cut(1.2), folder, reviewer="r1", detect=partial(detect, onset_s=0.21), relook_ms=5) as session:
        changed = next(one for one in disputes if one.channel and all(a.channel.response for a in one.candidates))
        session.move(changed.trial, changed.channel, onset_s=0.3)
        session.accept(changed.trial, changed.channel)
        session.seal("first-again")
    with er.adjudicate(cut(), folder, "r1", "r2", reviewer="r3", detect=detect) as session:
        for dispute in session.disputes():
            if not dispute.settled:
                session.settle(dispute.trial, dispute.channel, "B")
        session.seal("settled-again")


def write_later(folder):
    """How files/review-1c was made, once: two reviewers who give their onsets a half-width, and one who settles."""
    trials = cut()[:1]
    for reviewer, onset_s, half_ms in (("r1", 0.2, 3), ("r2", 0.204, 5)):
        with er.open_review(trials, folder, reviewer=reviewer, detect=detect) as session:
            a, b, *_ = session.queue
            session.move(a, "FDI", onset_s=onset_s)
            session.half_width(a, "FDI", half_ms)
            session.accept(a, "FDI")
            session.half_width(a, "APB", half_ms)
            session.move(b, "FDI", onset_s=onset_s + (0.1 if reviewer == "r2" else 0.0))
            session.half_width(b, "FDI", half_ms)
            session.accept(b, "FDI")
            session.half_width(b, "FDI", None)
            session.undo()
            session.accept_rest(a)
            session.seal(f"of-{reviewer}")
    with er.adjudicate(trials, folder, "r1", "r2", reviewer="r3", detect=detect, seed="settle") as session:
        session.settle(b, "FDI", "both acceptable")
        session.seal("settled")


@pytest.fixture
def review(tmp_path):
    shutil.copytree(REVIEW, tmp_path / "review")
    return tmp_path / "review"


def lines():
    return [json.loads(line) for path in (REVIEW / "logs").rglob("*.jsonl") for line in path.read_bytes().splitlines()]


def test_the_stored_reviews_hold_every_operation_there_is():
    said = CHECK.schema["properties"]["operation"]["description"].removeprefix("Plain words: ")
    words = set(re.split(", |; of a second look: ", said))
    first = [
        json.loads(line)
        for one in REVIEW.parent.glob("review-*")
        for path in (one / "logs").rglob("*.jsonl")
        for line in path.read_bytes().splitlines()
    ]
    done = {line["operation"] for line in [*first, *lines()]} - {"hide marks"}
    assert done == words
    fields = {line["field"] for line in [*first, *lines()]}
    assert fields == set(CHECK.schema["properties"]["field"]["examples"])


def test_it_is_verified_read_and_replayed_by_every_later_version(review, counted):
    for line in lines():
        CHECK.validate(line)
    found = er.verify(review)
    assert (found.ok, found.logs, found.versions) == (True, 9, 4)
    for version, method in (("first", detect), ("settled", detect), ("settled-again", detect)):
        assert er.replay(review, recordings(), version, detect=method).same_decisions, version
    again = er.replay(review, recordings(), "first-again", detect=partial(detect, onset_s=0.21))
    assert again.same_decisions
    counted(f"stored reviews of schema 1: 2, with {found.events} lines in the second; every version read and rebuilt")


@pytest.mark.filterwarnings("ignore:Version .* bulk-accepted:emgreview.errors.SignalWarning")
@pytest.mark.filterwarnings("ignore:Reviewer .* the scale .* was not kept:emgreview.errors.SignalWarning")
def test_what_the_second_looks_found_is_found_again(review):
    first = er.read_version(review, "first")
    assert first["in_bulk"].sum() == 30
    (sentence,) = first.attrs["version"]["bulk"]
    assert sentence.startswith("At most 30 % of the 30 bulk-accepted onsets would have been moved by more than 10 ms")
    assert set(first["excluded"].dropna()) == {"trial: no cue, double", "participant: ill"}
    settled = er.read_version(review, "settled")
    assert set(settled["excluded"].dropna()) == {
        "trial: no cue, double (one of two)", "channel: electrode re-applied (one of two)"
    }  # fmt: skip
    assert set(settled["comment"].dropna()) == {"slow / slow, but there"}
    assert settled["in_bulk"].sum() == 8
    agreement = er.agreement(review, "r1", "r2")
    assert (agreement.sampled, agreement.bulk_first, agreement.own_second) == (29, 30, None)
    assert er.self_check(review, "r1").repeated == 25
    merged = er.merge_reviews(review, "r1", "r2", "r3")
    assert (len(merged.sides), len(merged.disputed), len(merged.unsettled), merged.reopened) == (17, 4, 4, ())
    assert (
        str(er.diff(review, "first", "first-again")) == "1 onset moved, +100 ms; 3 recordings under another detection"
    )
    assert str(er.diff(review, "settled", "settled-again")) == "1 onset moved, +20 ms"


@pytest.mark.filterwarnings("ignore:Version .* bulk-accepted:emgreview.errors.SignalWarning")
def test_the_page_s_lines_rebuild_what_three_reviewers_came_to(review, counted):
    with contextlib.chdir(review):
        spoken = run_page()
    assert set(spoken["in_the_end"]) == {"settled", "settled-again"}
    for name, values in spoken["in_the_end"].items():
        table = er.read_version(review, name)
        marks = table[table["reviewed"] & table["accepted"].fillna(False) & (table["activity"] == "bursts")]
        wanted = {(row.trial, row.channel, row.burst): row.onset_s for row in marks.itertuples()}
        found = {}
        with contextlib.chdir(review):
            third = spoken["logs_of"](name)
        for events in third.values():
            found |= spoken["onsets_s"](events, values[events[0]["subject"]["recording"]])
        assert found == wanted
        counted(f"version {name!r} of three reviewers: {len(found)} onsets rebuilt by the format page's lines")
    table = er.read_version(review, "first")
    unseen = {key[:2] for kept in spoken["unseen"].values() for key in kept}
    rows = table[table["in_bulk"]]
    assert unseen == set(zip(rows["trial"], rows["channel"], strict=True))


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # many; test_told.py asks for them
def test_it_is_opened_and_goes_on(review):
    trials = cut()
    with er.open_review(trials, review, reviewer="r1", detect=detect) as session:
        assert er.bulk_audit(session).passed
        assert session.added_cues == (("other", 33250, "go"),)
        assert session.marked == (("early", "FDI", 50, 250, "tonic"),)
        assert session.notes
    with er.adjudicate(trials, review, "r1", "r2", reviewer="r3", detect=detect) as session:
        assert session.progress[0] == session.progress[1]
        while session.undo():
            pass
        assert session.progress[0] == 0


def test_half_widths_are_read_replayed_and_joined_the_wider_holding(tmp_path):
    folder = shutil.copytree(LATER, tmp_path / "review")
    for path in (folder / "logs").rglob("*.jsonl"):
        for line in path.read_bytes().splitlines():
            CHECK.validate(json.loads(line))
    found = er.verify(folder)
    assert (found.ok, found.logs, found.versions) == (True, 3, 3)
    for version in ("of-r1", "of-r2", "settled"):
        assert er.replay(folder, recordings()[:1], version, detect=detect).same_decisions, version
    tables = {name: er.read_version(folder, name) for name in ("of-r1", "of-r2", "settled")}
    given = {name: list(table["half_width_s"].dropna()) for name, table in tables.items()}
    assert given == {"of-r1": [0.003] * 3, "of-r2": [0.005] * 3, "settled": [0.005] * 3}
    assert tables["settled"].attrs["version"]["columns"]["half_width_s"]["type"] == "number"
    with contextlib.chdir(folder):
        spoken = run_page()
    (values,) = spoken["in_the_end"]["settled"].values()
    widths = [
        burst["half_width"]
        for key, value in values.items()
        if key[2] == "activity"
        for burst in value["bursts"].values()
        if "half_width" in burst
    ]
    assert widths == [5, 5, 5]


if __name__ == "__main__":
    write_review(Path(sys.argv[1]))
