"""A stored review that went on from a restored backup, read for ever: what its log lacks, and why."""

import json
import shutil
from pathlib import Path

import pytest
from scripted_reviews import CHECK, detect
from stored_reviews import cut, recordings

import emgreview as er
from emgreview.errors import LogError

REVIEW = Path(__file__).parent / "files" / "review-1e"


def write_review(folder):
    """How files/review-1e was made, once: sealed, cut back as a backup of the morning would be, and gone on with."""
    folder = Path(folder)
    trials = cut()[0]
    with er.open_review(trials, folder, reviewer="r1", detect=detect) as session:
        session.accept_rest(session.queue[0])
        (log,) = folder.rglob("*_reviewer-r1.jsonl")
        backup = log.read_bytes()
        session.none_visible(session.queue[1], trials.labels[0])
        session.seal("lost")
    log.write_bytes(backup)
    with er.open_review(
        trials, folder, reviewer="r1", detect=detect, log_restored="the disk failed; backup of the morning"
    ) as session:
        session.accept_rest(session.queue[1])
        session.seal("after")


def test_it_is_valid_verified_and_replayed(tmp_path, counted):
    review = shutil.copytree(REVIEW, tmp_path / "review")
    (log,) = review.rglob("*_reviewer-r1.jsonl")
    lines = [json.loads(line) for line in log.read_bytes().splitlines()]
    for line in lines:
        CHECK.validate(line)
    (said,) = [line for line in lines if line["operation"] == "go on after loss"]
    assert said["reason"] == "the disk failed; backup of the morning"
    assert [one["by"] for one in said["new"]["lost"]] == ["version 'lost'"]
    found = er.verify(review)
    assert found.ok, found.problems
    assert "backup of the morning" in " ".join(found.notes)
    with pytest.warns(er.SignalWarning, match="no log beside it says that it was sealed"):
        assert len(er.read_version(review, "lost")) == len(er.read_version(review, "after"))
    assert er.replay(review, recordings(), "after", detect=detect).same_decisions
    with pytest.raises(LogError, match="is not the one that was sealed"):
        er.replay(review, recordings(), "lost", detect=detect)
    counted(f"stored review after a loss: {len(lines)} lines, verified, one version rebuilt, the lost one refused")
