"""A stored review: a stretch set aside inside a burst without an offset, sealed before versions told of stretches."""

import json
import shutil
from pathlib import Path

import pytest
from scripted_reviews import CHECK, detect
from stored_reviews import cut, recordings

import emgreview as er

pytestmark = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")  # test_told.py asks for them

REVIEW = Path(__file__).parent / "files" / "review-1f"
RULE = er.Rule(name="main", version=1)


def decide(session):
    """A burst without an offset from 0.2 s on, and a stretch set aside 0.05 to 0.1 s after its onset."""
    one, label = session.queue[0], "FDI"
    session.remove(one, label)
    session.add(one, label, onset_s=0.2)
    session.set_aside("early", label, 1.25, 1.3, ["clipped"])


def write_review(folder):
    """How files/review-1f was made, once, by the package of that time."""
    with er.open_review(cut()[0], folder, reviewer="r1", detect=detect) as session:
        decide(session)
        session.seal("onset-alone", RULE)


@pytest.fixture
def review(tmp_path):
    return shutil.copytree(REVIEW, tmp_path / "review")


def test_it_is_valid_verified_and_replayed_with_the_values_that_were_sealed(review, counted):
    (log,) = review.rglob("*_reviewer-r1.jsonl")
    for line in log.read_bytes().splitlines():
        CHECK.validate(json.loads(line))
    assert er.verify(review).ok
    sealed = er.read_version(review, "onset-alone")
    row = sealed[sealed["origin"] == "added"].iloc[0]
    assert (row["set_aside"], row["included"], "aside_samples" in sealed) == (False, True, False)
    again = er.replay(review, recordings(), "onset-alone", detect=detect)
    assert (again.same_decisions, again.same_numbers) == (True, True), str(again)
    assert not any("set_aside" in one or "included" in one for one in again.differences)
    counted(f"stored review with a stretch set aside: one version of {len(sealed)} rows rebuilt as it was sealed")


def test_a_version_of_today_asks_the_whole_burst_and_tells_the_stretches(review):
    with er.open_review(cut()[0], review, reviewer="r1", detect=detect) as session:
        session.seal("whole", RULE)
    table = er.read_version(review, "whole")
    row = table[table["origin"] == "added"].iloc[0]
    assert (row["set_aside"], row["included"], row["why_not"]) == (True, False, "stretch set aside")
    assert row["aside_samples"] == "1250 to 1300"
    again = er.replay(review, recordings(), "whole", detect=detect)
    assert again.same_bytes, str(again)
