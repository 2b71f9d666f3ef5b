"""A further stored review: samples that follow from the recordings, and a tolerance that is not rounded to samples."""

import contextlib
import json
import shutil
import sys
from pathlib import Path

import numpy as np
import pytest
from format_page import run_page
from scripted_reviews import CHECK, detect

import emgreview as er
from emgreview.cohort.drawing import Numbers

REVIEW = Path(__file__).parent / "files" / "review-1-draws"
RATE = 1250.0
BEFORE = 4
"""Trials that r1 had decided before the audit was planned; the mark of one of them was moved."""


def recordings():
    """Two recordings, made by a rule, so that their fingerprints never change. 10 ms are 12.5 samples."""
    k = np.arange(60_000, dtype=np.float64)
    markers = [er.Marker(2500 * n + 1250, "go", details={"condition": "near" if n % 2 else "far"}) for n in range(22)]
    made = []
    for name in ("one", "two"):
        x = np.stack([k * k % (101 + 6 * len(made)), k * (7 + 2 * len(made)) % 97])
        made.append(
            er.Recording.from_array(
                x, RATE, labels=("FDI", "APB"), markers=markers, name=name, entities={"sub": "1", "dataset": "invented"}
            )
        )
    return made


def cut():
    return [er.cut_trials(one, cue="go", before_s=0.5, after_s=1.0) for one in recordings()]


def write_review(folder):
    """How files/review-1-draws was made, once: a hidden self-check, an audit after some decisions and what it accepts
    in bulk, a sample for a second reviewer, onsets 13 samples apart, and a third who settles them."""
    trials = cut()
    with er.open_review(trials, folder, reviewer="r1", detect=detect, order="random") as session:
        er.plan_self_check(session, repeats_share=0.1, hidden_share=0.1)
        rule = er.BulkRule(interval_below_s=0.15, level_above_db=10)
        once = [trial for trial in session.queue if session.source(trial) == trial]
        lot = [(t, c) for t in once for c in ("FDI", "APB") if rule.meets(session, t, c)]
        numbers = Numbers.of("audit", recordings())
        lowest = sorted(lot, key=lambda pair: numbers.order(session.state(pair[0]).recording, *pair))[:BEFORE]
        session.move(*lowest[0], onset_s=0.26)
        for trial, channel in lowest:
            session.accept(trial, channel)
        audit = er.plan_bulk(session, rule, at_most=0.3, expected=0.05)
        for trial, channel in audit.open:
            session.add(trial, channel, onset_s=0.2)
        audit.finish()
        audit.accept()
        for trial in session.queue:
            for channel in session.open_channels(trial):
                if not session.state(trial).channels[channel].active:
                    session.add(trial, channel, onset_s=0.2, offset_s=0.4)
                session.accept(trial, channel)
        session.seal("first")
    with er.open_review(trials, folder, reviewer="r2", detect=detect) as session:
        er.draw_sample(session, share=0.4)
        for number, trial in enumerate(session.queue):
            for channel in session.open_channels(trial):
                shown = session.state(trial).channels[channel].response
                if shown is None:
                    session.none_visible(trial, channel)
                    continue
                if number % 2:  # 12 or 13 samples: 9.6 and 10.4 ms
                    session.move(trial, channel, onset_s=0.2 + (12 if channel == "FDI" else 13) / RATE)
                session.accept(trial, channel)
    with er.adjudicate(trials, folder, "r1", "r2", reviewer="r3", detect=detect) as session:
        for number, dispute in enumerate(session.disputes()):
            session.settle(dispute.trial, dispute.channel, "AB"[number % 2])
        session.seal("settled")


@pytest.fixture
def review(tmp_path):
    return shutil.copytree(REVIEW, tmp_path / "review")


def events(review):
    return [json.loads(line) for path in (review / "logs").rglob("*.jsonl") for line in path.read_bytes().splitlines()]


def test_it_is_verified_read_and_replayed_by_every_later_version(review, counted):
    for line in events(review):
        CHECK.validate(line)
    found = er.verify(review)
    assert (found.ok, found.logs, found.versions) == (True, 6, 2)
    for version in ("first", "settled"):
        assert er.replay(review, recordings(), version, detect=detect).same_decisions, version
    counted(f"stored review of draws: {found.events} lines, both versions rebuilt")


def test_what_is_new_stands_in_it(review):
    said = {event["operation"]: event["new"] for event in events(review) if event["field"] == "log"}
    plan = said["plan audit"]
    assert set(plan["drawn_by"]) == {"one", "two"}
    assert plan["before"] == {"moved": 1, "as they were": BEFORE - 1, "kept out": 0, "not open": 0}
    assert "seed" not in plan
    assert said["audit result"]["moved"] == 1
    assert "1 of these had been found moved by eye before the audit" in said["bulk acceptance"]["sentence"]
    assert set(said["draw sample"]["drawn_by"]) == {"one", "two"}
    assert len(said["plan self-check"]["heads"]) == 2
    assert said["adjudicate"]["rounded"] is False
    with er.open_review(cut(), review, reviewer="r1", detect=detect) as session:
        assert er.bulk_audit(session).passed


@pytest.mark.filterwarnings("ignore:Version .* bulk-accepted:emgreview.errors.SignalWarning")
def test_the_page_s_lines_find_every_draw_and_what_three_reviewers_came_to(review):
    with contextlib.chdir(review):
        spoken = run_page()
        (audit,) = [found for found in spoken["audits"].values() if found]
        assert audit == [True]
        third = spoken["logs_of"]("settled")
    log = next(name for name, found in spoken["audits"].items() if found)
    swapped = json.loads(json.dumps(spoken["logs"][log]))
    draw = next(event for event in swapped if event["operation"] == "draw audit")
    plan = next(event for event in swapped if event["operation"] == "plan audit")
    draw["new"]["hide"][0] = next(
        [trial, channel] for trial, channel, _ in plan["new"]["lot"] if [trial, channel] not in draw["new"]["hide"]
    )
    assert list(spoken["follows"](swapped)) == [False]
    sample = next(event["new"] for event in events(review) if event["operation"] == "draw sample")
    for stratum in {tuple(row["stratum"]) for row in sample["strata"]}:
        assert stratum
    numbers = [spoken["number"]("second reviewer", sample["drawn_by"], trial)[0] for trial in sample["only"]]
    assert len(set(numbers)) == len(sample["only"])
    table = er.read_version(review, "settled")
    marks = table[table["reviewed"] & table["accepted"].fillna(False) & (table["activity"] == "bursts")]
    wanted = {(row.trial, row.channel, row.burst): row.onset_s for row in marks.itertuples()}
    found = {}
    for one in third.values():
        found |= spoken["onsets_s"](one, spoken["in_the_end"]["settled"][one[0]["subject"]["recording"]])
    assert found == wanted


if __name__ == "__main__":
    write_review(Path(sys.argv[1]))
