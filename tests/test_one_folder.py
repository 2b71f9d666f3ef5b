"""What does not belong together is told at opening: another study's logs, the dataset itself, one recording twice."""

import shutil
import sys
import warnings
from pathlib import Path

import pytest

import emgreview as er
from emgreview.errors import LogError

sys.path.insert(0, str(Path(__file__).parent / "browser"))
from small_study import recording


def cut(*names_and_seeds):
    return [
        er.cut_trials(recording(name, seed), cue="go", before_s=1.0, after_s=1.5, blind=True)
        for name, seed in names_and_seeds
    ]


def told(trials, folder, **options):
    """The notices of a review that is opened, after one decision in each recording; all are told as warnings too."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        with er.open_review(trials, folder, **{"reviewer": "r1", **options}) as session:
            for part in trials if not session.problem else ():
                session.accept(part.ids[0], "biceps")
            assert len(caught) == len(session.notices)
            return session.notices


def test_a_folder_that_holds_another_study_of_the_reviewer_is_told_at_opening(tmp_path):
    folder, study, other = tmp_path / "rev", cut(("one", 1), ("two", 2)), cut(("p1", 3))
    assert told(study, folder) == ()
    (words,) = told(other, folder)
    assert words.startswith("rev also holds logs of r1 on 2 recordings that did not come (one, two): a version")
    assert words.endswith("sealing from files asks for all; another study needs another folder.")
    assert told(other, folder, reviewer="r2") == ()
    assert told([*study, *other], folder) == ()
    assert told(study, folder) == told(other, folder) == ()  # who goes on knows what lies there: once is enough


def test_a_blind_review_does_not_name_what_did_not_come(tmp_path):
    told(cut(("one", 1)), tmp_path, blind=True)
    words = told(cut(("two", 2)), tmp_path, blind=True)[0]
    assert "1 recording that did not come: a version" in words


def test_a_folder_of_two_studies_can_be_taken_apart_and_sealed(tmp_path):
    folder, study, other = tmp_path / "rev", cut(("one", 1), ("two", 2)), cut(("p1", 3))
    told(study, folder)
    data = [part.recording for part in study]
    er.seal(folder, data, "v1")
    told(other, folder)
    with pytest.raises(LogError, match="move the logs of one of them into 'logs' of a folder"):
        er.seal(folder, data, "v2")
    (tmp_path / "new" / "logs").mkdir(parents=True)
    shutil.move(folder / "logs" / "p1_reviewer-r1.jsonl", tmp_path / "new" / "logs")
    assert er.seal(folder, data, "v2").name == "v2"
    assert er.seal(tmp_path / "new", other[0].recording, "v1").name == "v1"
    assert er.verify(folder).ok
    assert er.verify(tmp_path / "new").ok


def test_decisions_in_the_dataset_itself_are_told(tmp_path):
    study = er.write_demo(tmp_path / "study", participants=1, trials=4)
    trials = er.cut_all(er.read_dataset(study), cue="go", before_s=1.0, after_s=1.5)
    with pytest.warns(er.SignalWarning, match="study is the dataset that is reviewed: decisions go into 'logs' in it"):
        er.open_review(trials, study, reviewer="r1").close()
    with er.open_review(trials, study / "derivatives", reviewer="r1") as session:
        assert session.notices == ()


def test_recordings_that_hold_the_same_samples_are_told(tmp_path):
    alike = cut(("sub-01", 1), ("sub-02", 1), ("sub-03", 2))
    words = "sub-01, sub-02 hold the same samples: one file under several names, or one copied over another."
    for _ in range(2):
        (notice,) = told(alike, tmp_path / "r")
        assert notice.startswith(words)
    assert told(alike, tmp_path / "r", read_only=True)[-1].startswith(words)
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        er.open_review(alike, tmp_path / "blind", reviewer="r1", blind=True).close()
    heard = [str(one.message) for one in caught]
    assert heard[0].startswith("2 recordings hold the same samples: ")
    assert not any("sub-01" in words for words in heard if not words.startswith("A plain folder"))
