"""A version holds decisions: where none stands, nothing is sealed, from a notebook, a screen or a shell alike."""

import pytest

import emgreview as er
from emgreview.errors import DecisionError

WORDS = "reviewer 'r1' has decided nothing in .* so far, or has taken it all back"


@pytest.fixture
def trials():
    rec = er.simulate_study(1, 3, 1000, seed=1).recordings[0]
    return er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)


def test_a_review_without_a_decision_is_not_sealed(tmp_path, trials):
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        with pytest.raises(DecisionError, match=WORDS):
            session.seal("v1")
        assert not (tmp_path / "versions").exists()
    with pytest.raises(DecisionError, match=WORDS):
        er.seal(tmp_path, trials.recording, "v1")


def test_a_review_whose_decisions_were_all_undone_is_not_sealed(tmp_path, trials):
    with er.open_review(trials, tmp_path, reviewer="r1") as session:
        session.accept_rest(session.queue[0])
        session.behaviour(session.queue[1], "late")
        session.seal("v1")
        while session.undo():
            pass
        with pytest.raises(DecisionError, match=WORDS):
            session.seal("v2")
        session.redo()
        assert session.seal("v2").name == "v2"


def test_what_is_no_acceptance_is_a_decision_too(tmp_path, trials):
    for number, decide in enumerate((
        lambda one: one.exclude(recording=trials.recording.name, reason="talked"),
        lambda one: one.comment(one.queue[0], "looks odd"),
        lambda one: one.unusable(one.queue[0], trials.labels[0], reasons=["mains hum"]),
    )):  # fmt: skip
        with er.open_review(trials, tmp_path / str(number), reviewer="r1") as session:
            decide(session)
            assert session.seal("v1").path.is_dir()
