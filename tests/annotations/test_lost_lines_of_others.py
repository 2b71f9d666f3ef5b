"""What rests on other reviewers' logs, and on versions' names, is held against what the folder knows, too."""

import json
import shutil

import pytest
from scripted_reviews import detect, make_trials, start, two_who_differ

import emgreview as er
from emgreview.annotations.versions import DESCRIPTION, TABLE
from emgreview.errors import EmgreviewError, LogError, ParameterError, SignalWarning, VersionError


@pytest.fixture
def sealed(tmp_path):
    """Two reviewers of one recording who dispute one trial, both sealed."""
    return two_who_differ(tmp_path)


def settle(folder):
    return er.adjudicate(make_trials(), folder, "r1", "r2", reviewer="r3", blind=False, detect=detect)


def log(folder, code="r1"):
    return folder / "logs" / f"rec_reviewer-{code}.jsonl"


@pytest.mark.parametrize("kept", [4, 0])
def test_nobody_compares_or_settles_a_log_that_lacks_known_lines(sealed, kept):
    log(sealed).write_bytes(b"".join(log(sealed).read_bytes().splitlines(keepends=True)[:kept]))
    for call in (
        lambda: settle(sealed),
        lambda: er.agreement(sealed, "r1", "r2"),
        lambda: er.merge_reviews(sealed, "r1", "r2"),
    ):
        with pytest.raises(LogError, match=r"rests on its line .* Reviewer 'r1' does so on opening"):
            call()
    with start(sealed, log_restored="backup") as session:
        for trial in session.queue:
            session.accept_rest(trial)
    er.agreement(sealed, "r1", "r2")
    with settle(sealed) as session:
        assert session.problem is None


def test_a_version_under_another_name_is_no_version(sealed):
    (sealed / "versions" / "v1").rename(sealed / "versions" / "v9")
    for call in (
        lambda: er.read_version(sealed, "v9"),
        lambda: er.diff(sealed, "v9", "now", reviewer="r1"),
        lambda: er.replay(sealed, make_trials().recording, "v9", detect=detect),
    ):
        with pytest.raises(VersionError, match="was sealed as 'v1'"):
            call()
    problems = " ".join(er.verify(sealed).problems)
    assert "was sealed as 'v1'" in problems
    assert "version 'v1' was sealed, as the logs say, and is not there" in problems


def test_a_name_that_was_sealed_is_never_given_again(sealed):
    shutil.rmtree(sealed / "versions" / "v1")
    assert "is not there" in er.verify(sealed).problems[0]
    with start(sealed) as session:
        assert session.next_version == "v3"
        session.comment(session.queue[0], "more")
        with pytest.raises(VersionError, match="put it back from a copy"):
            session.seal("v1")


def unvouched(folder, **changes):
    """An edited version that no log speaks of, with digests that fit."""
    place = folder / "versions" / "v9"
    shutil.copytree(folder / "versions" / "v1", place)
    (place / DESCRIPTION).chmod(0o644)
    said = json.loads((place / DESCRIPTION).read_text("utf-8"))
    (place / DESCRIPTION).write_text(json.dumps({**said, "name": "v9", **changes}), "utf-8")
    assert (place / TABLE).exists()


def test_where_nothing_vouches_for_a_version_diff_and_verify_say_so(sealed):
    unvouched(sealed)
    with pytest.warns(SignalWarning, match="no log beside it says that it was sealed"):
        er.diff(sealed, "v9", "now", reviewer="r1")
    assert "'v9'" in er.verify(sealed).notes[0]


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
@pytest.mark.parametrize(
    "changes", [{"logs": {}}, {"trials": []}, {"trials": [{"recording": "rec", "cue": "zz"}]}, {"trials": [{}]}]
)
def test_a_version_that_does_not_fit_its_logs_is_not_replayed(sealed, changes):
    unvouched(sealed, **changes)
    with pytest.raises(EmgreviewError):
        er.replay(sealed, make_trials().recording, "v9", detect=detect)


def test_a_digest_is_text(sealed):
    with pytest.raises(ParameterError, match="expect came as 123"):
        er.read_version(sealed, "v1", expect=123)


def test_nobody_merges_what_a_third_reviewer_settled_in_logs_that_are_gone(sealed):
    with settle(sealed) as session:
        session.settle(session.where, "FDI", "A")
        session.seal("settled")
    assert not er.merge_reviews(sealed, "r1", "r2", "r3").conflicts
    log(sealed, "r3").unlink()
    with pytest.raises(LogError, match="and nothing is there now"):
        er.merge_reviews(sealed, "r1", "r2", "r3")
    assert len(er.merge_reviews(sealed, "r1", "r2").conflicts) == 1
