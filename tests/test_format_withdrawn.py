"""A stored review from which a participant was withdrawn, and in which a log stood twice, read for ever."""

import contextlib
import json
import shutil
from pathlib import Path

import pytest
from format_page import run_page
from scripted_reviews import CHECK, detect
from stored_reviews import cut, recordings

import emgreview as er
from emgreview.errors import LogError

REVIEW = Path(__file__).parent / "files" / "review-1g"


def write_review(folder):
    """How files/review-1g was made, once: two reviewers of two people and a third, all sealed; a second log of r1 that
    a version names and that was moved out; then one of the two people withdrew, and the reviews went on."""
    folder = Path(folder)
    trials = cut()
    for code in ("r1", "r2"):
        with er.open_review(trials, folder, reviewer=code, detect=detect) as session:
            for trial in session.queue[::7]:
                session.accept_rest(trial)
            if code == "r2":
                for part in trials:
                    session.unusable(part.ids[0], "FDI", ["clipped"])
            session.seal(f"of-{code}")
    with er.open_review(trials[:1], folder / "laptop", reviewer="r1", detect=detect) as session:
        session.none_visible(session.queue[1], "FDI")
    twin = folder / "logs" / "early_reviewer-r1.jsonl"
    shutil.move(folder / "laptop" / "logs" / "sub-1" / twin.name, twin)
    shutil.rmtree(folder / "laptop")
    with er.open_review(trials[2:], folder, reviewer="r4", detect=detect) as session:
        session.accept_rest(session.queue[0])
        session.seal("with-twin")
    twin.unlink()
    with er.open_review(trials[:2], folder, reviewer="r1", detect=detect, log_restored="the laptop's is void"):
        pass
    with er.open_review(trials[2:], folder, reviewer="r2", detect=detect) as session:
        session.note("hide marks", {"hide": [[trials[0].ids[3], "FDI"]]})
    with er.adjudicate(trials, folder, "r1", "r2", reviewer="r3", blind=False, detect=detect) as third:
        for dispute in third.disputes():
            third.settle(dispute.trial, dispute.channel, "A")
        third.seal("settled")
    er.withdraw(folder, "2", reviewer="r1", reason="withdrew consent", versions=["of-r2"])
    with er.adjudicate(trials[:2], folder, "r1", "r2", reviewer="r3", blind=False, detect=detect) as third:
        third.seal("settled-anew")


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_it_is_valid_verified_told_and_replayed(tmp_path, counted):
    review = shutil.copytree(REVIEW, tmp_path / "review")
    lines = [json.loads(line) for path in review.rglob("*.jsonl") for line in path.read_bytes().splitlines()]
    for line in lines:
        CHECK.validate(line)
    said = [line for line in lines if line["operation"] == "withdraw"]
    assert {line["reason"] for line in said} == {"withdrew consent"}
    assert {line["new"]["withdrawn"]["participant"] for line in said} == {"2"}
    (twin,) = [line for line in lines if line["operation"] == "go on after loss"]
    assert [one["log"] for one in twin["new"]["lost"]] == ["logs/early_reviewer-r1.jsonl"]
    (over,) = [line for line in lines if line["operation"] == "carry over"]
    assert [note["operation"] for note in over["new"]["notes"]] == ["hide marks"]
    with er.open_review(cut()[:2], review, reviewer="r2", detect=detect, read_only=True) as session:
        assert "hide marks" in [note.operation for note in session.notes], "as if its log still said so"
    found = er.verify(review)
    assert found.ok, found.problems
    for words in ("withdrew consent", "the laptop's is void", "version 'of-r2' was removed"):
        assert words in " ".join(found.notes)
    for version in ("of-r1", "settled", "settled-anew"):
        table = er.read_version(review, version)
        assert ("2" in set(table["participant"])) is (version != "settled-anew")
        held = er.replay(review, recordings(), version, detect=detect)
        assert held.same_decisions
        assert set(held.table["participant"]) == {"1"}
    assert set(er.read_version(review, "with-twin")["participant"]) == {"2"}
    with pytest.raises(LogError, match="every log that version 'with-twin' rests on was withdrawn"):
        er.replay(review, recordings(), "with-twin", detect=detect)
    assert not er.merge_reviews(review, "r1", "r2", "r3").conflicts
    counted(f"stored review of which one withdrew: {len(lines)} lines, verified, three versions rebuilt without them")


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_the_page_reads_it_without_the_package(tmp_path):
    review = shutil.copytree(REVIEW, tmp_path / "review")
    with contextlib.chdir(review):
        spoken = run_page()
    assert {one["participant"] for one in spoken["withdrawn"].values()} == {"2"}
    assert len(spoken["versions"]["settled"]) > len(spoken["versions"]["settled-anew"])
    by_page = spoken["in_the_end"]
    assert set(by_page["settled"]) == set(by_page["settled-anew"]) == {"early", "later"}
    assert by_page["settled"] == by_page["settled-anew"]
