"""Logs that were exchanged, cut back, emptied or removed: noticed where anything knows better, never written over."""

import re
import shutil

import pytest
from scripted_reviews import detect, log_lines, make_trials, start, whole

import emgreview as er
from emgreview.errors import EmgreviewError, LogReadOnlyError, ParameterError, SignalWarning


@pytest.fixture
def sealed(tmp_path):
    """Two reviewers of one recording, four decisions each, both sealed."""
    for code, version in (("r1", "v1"), ("r2", "v2")):
        with start(tmp_path, reviewer=code) as session:
            for trial in session.queue:
                session.accept_rest(trial)
            session.comment(session.queue[0], f"of {code}")
            session.seal(version)
    return tmp_path


def disputed(folder):
    """Two reviewers who disagree on one channel of one trial."""
    for code in ("r1", "r2"):
        with start(folder, reviewer=code) as session:
            for trial in session.queue:
                session.accept_rest(trial)
            if code == "r2":
                session.unusable(session.queue[0], "FDI", ["clipped"])


def closed(folder, **options):
    """A session in which nothing can be decided, which is told on opening."""
    with pytest.warns(SignalWarning, match="Nothing can be decided"):
        return start(folder, **options)


def log(folder, code="r1"):
    return folder / "logs" / f"rec_reviewer-{code}.jsonl"


def cut_to(lines):
    def cut(path):
        path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:lines]))

    return cut


def anew(path):
    """A log of as many lines that is sound in itself, of a review that was made anew."""
    with start(path.parents[1] / "other") as session:
        for trial in session.queue:
            session.none_visible(trial, "FDI")
            session.accept_rest(trial)
        session.comment(session.queue[0], "other")
        session.comment(session.queue[1], "other")
        session.comment(session.queue[2], "other")
        session.comment(session.queue[3], "other")
    shutil.copy(path.parents[1] / "other" / "logs" / path.name, path)


LOSSES = {"cut back": cut_to(4), "emptied": cut_to(0), "removed": lambda path: path.unlink(), "written anew": anew}


@pytest.mark.parametrize("how", LOSSES)
def test_a_log_that_lacks_known_lines_opens_for_reading_only(sealed, how):
    LOSSES[how](log(sealed))
    before = log(sealed).read_bytes() if log(sealed).exists() else None
    with closed(sealed) as session:
        assert "version 'v2' rests on its line" in session.problem or "version 'v1' rests" in session.problem
        assert "log_restored=" in session.problem
        with pytest.raises(LogReadOnlyError):
            session.comment(session.queue[0], "more")
        with pytest.raises(LogReadOnlyError):
            session.seal("v3")
    assert (log(sealed).read_bytes() if log(sealed).exists() else None) == before
    assert not er.verify(sealed).ok


def test_what_is_missing_since_when_is_said(sealed):
    cut_to(4)(log(sealed))
    last = log_lines(sealed)[3]
    with closed(sealed) as session:
        assert f"ends with line 4 of {last['time']}" in session.problem


@pytest.mark.parametrize("how", LOSSES)
def test_a_person_may_go_on_and_the_log_says_so(sealed, how):
    LOSSES[how](log(sealed))
    with start(sealed, log_restored="backup of Monday") as session:
        assert session.problem is None
        session.comment(session.queue[0], "goes on")
    (line,) = [line for line in log_lines(sealed) if line["operation"] == "go on after loss"]
    assert line["reason"] == "backup of Monday"
    assert line["new"]["lost"][0]["lines"] >= 5
    with start(sealed) as session:
        assert session.problem is None, "decided once"
        session.comment(session.queue[0], "and on")
    found = er.verify(sealed)
    assert found.ok, found
    assert "backup of Monday" in " ".join(found.notes), found
    with pytest.raises(EmgreviewError):
        er.replay(sealed, make_trials().recording, "v1")


def test_a_later_loss_is_another_decision(sealed):
    cut_to(4)(log(sealed))
    with start(sealed, log_restored="backup") as session:
        session.comment(session.queue[0], "goes on")
        session.seal("v3")
    cut_to(5)(log(sealed))
    with closed(sealed) as session:
        assert "version 'v3' rests on its line" in session.problem


def test_reading_only_says_it_too_and_shows_what_there_is(sealed):
    cut_to(4)(log(sealed))
    with pytest.warns(SignalWarning, match="was cut back"), start(sealed, read_only=True) as session:
        assert session.progress[0] > 0


def test_nothing_lost_is_said_and_words_are_asked_for(sealed):
    with pytest.warns(SignalWarning, match="log_restored came, and no line"), start(sealed, log_restored="x"):
        pass
    with pytest.raises(ParameterError, match="without words"):
        start(sealed, log_restored=" ")


def test_a_whole_folder_from_a_backup_opens_without_a_word(sealed, tmp_path_factory):
    copy = tmp_path_factory.mktemp("backup") / "review"
    shutil.copytree(sealed, copy)
    with start(sealed) as session:
        session.comment(session.queue[0], "after the backup")
    with start(copy) as session:
        assert (session.problem, session.notices) == (None, ())


def test_a_third_reviewer_knows_the_logs_that_were_settled(tmp_path):
    disputed(tmp_path)
    with er.adjudicate(make_trials(), tmp_path, "r1", "r2", reviewer="r3", blind=False, detect=detect):
        pass
    cut_to(4)(log(tmp_path))
    with closed(tmp_path) as session:
        assert re.search(r"line \d+ of logs/rec_reviewer-r3\.jsonl rests on its line", session.problem)


def test_logs_of_two_reviewers_that_were_exchanged_are_nobodys(sealed):
    one, two = log(sealed), log(sealed, "r2")
    first, second = one.read_bytes(), two.read_bytes()
    one.write_bytes(second)
    two.write_bytes(first)
    for code, other in (("r1", "r2"), ("r2", "r1")):
        with closed(sealed, reviewer=code) as session:
            assert f"it is of reviewer {other!r}" in session.problem
            assert session.progress[0] == 0, "nothing of the other's is shown as one's own"
            with pytest.raises(LogReadOnlyError):
                session.seal("v3")
    assert (one.read_bytes(), two.read_bytes()) == (second, first)
    for call in (
        lambda: er.agreement(sealed, "r1", "r2"),
        lambda: er.diff(sealed, "v1", "now", reviewer="r1"),
        lambda: er.replay(sealed, make_trials().recording, "v1"),
        lambda: er.adjudicate(make_trials(), sealed, "r1", "r2", reviewer="r3", detect=detect),
    ):
        with pytest.raises(EmgreviewError, match="exchanged or renamed"):
            call()
    found = er.verify(sealed)
    assert not found.ok
    assert "exchanged or renamed" in " ".join(found.problems)


def test_a_log_of_another_recording_under_this_name_is_refused(tmp_path):
    with start(tmp_path, make_trials("other", seed=2)) as session:
        session.accept_rest(session.queue[0])
    (tmp_path / "logs" / "other_reviewer-r1.jsonl").rename(log(tmp_path))
    with closed(tmp_path) as session:
        assert "on 'other', and the file's name says" in session.problem
        assert whole(session)[2][0] == 0


@pytest.mark.parametrize("blind", [False, True])
def test_a_loss_in_a_log_that_is_not_opened_is_told_too(tmp_path, blind):
    both = [make_trials("one", sub="07"), make_trials("two", seed=2, sub="08")]
    options = {"blind": blind}
    with start(tmp_path, both, **options) as session:
        for trial in session.queue:
            session.accept_rest(trial)
        session.seal("v1")
    other = tmp_path / "logs" / "sub-08" / "two_reviewer-r1.jsonl"
    cut_to(3)(other)
    with pytest.warns(SignalWarning, match="not open here"):
        session = start(tmp_path, both[0], **options)
    with session:
        assert session.problem is None, "what is open here is whole"
        (words,) = [note for note in session.notices if "not open here" in note]
    assert ("two_reviewer" in words) is not blind
    with start(tmp_path, both, log_restored="backup", **options):
        pass
    with start(tmp_path, both[0], **options) as session:
        assert not [note for note in session.notices if "not open here" in note]


def test_a_third_reviewer_whose_logs_are_gone_is_told_how_to_go_on(tmp_path):
    disputed(tmp_path)
    options = {"reviewer": "r3", "blind": False, "detect": detect}
    with er.adjudicate(make_trials(), tmp_path, "r1", "r2", **options) as session:
        session.settle(session.where, "FDI", "A")
        session.seal("v1")
    log(tmp_path, "r3").unlink()
    with pytest.raises(EmgreviewError, match="log_restored="):
        er.adjudicate(make_trials(), tmp_path, "r1", "r2", **options)
    with er.adjudicate(make_trials(), tmp_path, "r1", "r2", **options, log_restored="backup") as session:
        assert session.progress[0] == 0
