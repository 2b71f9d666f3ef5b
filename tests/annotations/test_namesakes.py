"""Logs that stand twice, recordings of one name, versions that are none: refused or told, in nobody's way."""

import json
import shutil

import pytest
from scripted_reviews import detect, log_lines, make_trials, start, two_who_differ

import emgreview as er
from emgreview.annotations.known_heads import known_heads
from emgreview.annotations.versions import DESCRIPTION
from emgreview.errors import LogError, VersionError


def cut(name="rec", **options):
    return er.cut_trials(make_trials(name, **options).recording, cue="go", before_s=0.5, after_s=1.0)


TRIALS = cut(sub="01")
quiet = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
TWIN = "logs/rec_reviewer-r1.jsonl"


def log(folder, code="r1"):
    return folder / "logs" / "sub-01" / f"rec_reviewer-{code}.jsonl"


@pytest.fixture
def folder(tmp_path):
    """Two reviewers who dispute one trial, both sealed."""
    return two_who_differ(tmp_path, TRIALS)


def settle(folder, **options):
    return er.adjudicate(TRIALS, folder, "r1", "r2", reviewer="r3", blind=False, detect=detect, **options)


def works(folder):
    """Everything that rests on the logs of both."""
    assert str(er.agreement(folder, "r1", "r2"))
    assert len(er.merge_reviews(folder, "r1", "r2").conflicts) == 1
    with settle(folder) as session:
        assert session.problem is None
        session.settle(session.queue[0], "FDI", "A")
        session.seal("settled")
    assert er.replay(folder, TRIALS.recording, "settled", detect=detect).same_bytes
    assert er.replay(folder, TRIALS.recording, "v1", detect=detect).same_bytes


def named_by_a_version(folder, content):
    """A twin of r1's log, which r3's version names, and which is then moved out."""
    (folder / TWIN).write_bytes(content)
    with start(folder, cut("else", seed=9, sub="03"), reviewer="r3") as session:
        session.accept_rest(session.queue[0])
        session.seal("with-twin")
    (folder / TWIN).unlink()
    assert TWIN in json.loads((folder / "versions" / "with-twin" / DESCRIPTION).read_text("utf-8"))["logs"]


@quiet
def test_a_copy_that_a_version_names_is_missed_by_nobody_where_the_log_holds_it(folder):
    named_by_a_version(folder, log(folder).read_bytes())
    works(folder)
    found = er.verify(folder)
    assert found.ok, found.problems
    assert "a log of that name in another place holds what it held" in " ".join(found.notes)


def another(folder):
    """A log of r1 of the same recording with other decisions."""
    other = folder / "another"
    with start(other, TRIALS) as session:
        session.none_visible(session.queue[0], "FDI")
        session.comment(session.queue[0], "otherwise")
    content = log(other).read_bytes()
    shutil.rmtree(other)
    return content


@quiet
def test_a_twin_that_a_version_names_is_left_by_a_decision_that_the_log_keeps(folder):
    named_by_a_version(folder, another(folder))
    for call in (
        lambda: er.agreement(folder, "r1", "r2"),
        lambda: er.merge_reviews(folder, "r1", "r2"),
        lambda: settle(folder),
    ):
        with pytest.raises(LogError, match=rf"{TWIN} is gone, where a second log .* log_restored='why' on opening"):
            call()
    with start(folder, TRIALS) as session:
        assert session.problem is None, "the log that is open is whole"
        assert f"{TWIN} is gone" in " ".join(session.notices)
    with start(folder, TRIALS, log_restored="the copy of the old laptop") as session:
        assert session.problem is None
        assert "is gone" not in " ".join(session.notices)
    (line,) = [one for one in log_lines(folder) if one["operation"] == "go on after loss"]
    assert line["reason"] == "the copy of the old laptop"
    assert line["new"]["lost"][0]["log"] == TWIN
    works(folder)
    found = er.verify(folder)
    assert found.ok, found.problems
    assert "the copy of the old laptop" in " ".join(found.notes)


def test_recordings_of_one_name_are_refused_before_a_log_is_begun(folder):
    other = cut(seed=5, sub="02")
    before = sorted(folder.rglob("*.jsonl"))
    for code in ("r1", "r5"):
        with pytest.raises(LogError, match=r"another recording that is called 'rec', too.*nothing was begun; rename"):
            start(folder, other, reviewer=code)
    with pytest.raises(LogError, match="would be a second log of it"):
        start(folder, cut())
    assert sorted(folder.rglob("*.jsonl")) == before
    assert er.verify(folder).ok
    with start(folder, cut(), reviewer="r5") as session:  # the same recording, of whom nobody says who
        session.accept_rest(session.queue[0])
    assert er.agreement(folder, "r1", "r5").both == 2


@quiet
def test_a_name_that_others_began_under_two_participants_can_be_parted(folder):
    """As two sessions of an earlier package left it."""
    other = cut(seed=5, sub="02")
    with start(folder / "apart", other) as session:
        session.accept_rest(session.queue[0])
    shutil.copytree(folder / "apart" / "logs" / "sub-02", folder / "logs" / "sub-02")
    shutil.rmtree(folder / "apart")
    with start(folder, TRIALS) as session:
        assert "where two recordings have one name, into 'logs' of a review folder of its own" in session.problem
    (folder / "apart" / "logs").mkdir(parents=True)
    shutil.move(folder / "logs" / "sub-02", folder / "apart" / "logs" / "sub-02")
    works(folder)
    with start(folder / "apart", other) as session:
        assert session.problem is None


def sealed_as(folder, name="v9", **changes):
    """A version of a stranger, with digests that fit."""
    place = folder / "versions" / name
    shutil.copytree(folder / "versions" / "v2", place)
    said = json.loads((place / DESCRIPTION).read_text("utf-8")) | {"name": name}
    logs = said["logs"] | changes.pop("logs", {})
    (place / DESCRIPTION).chmod(0o644)
    (place / DESCRIPTION).write_text(json.dumps({**said, "logs": logs, **changes}), "utf-8")


ODD = [
    "logs/a\0_reviewer-r1.jsonl", "\0_reviewer-r1.jsonl", "logs/\ud800_reviewer-r1.jsonl",
    f"logs/{'x' * 5000}_reviewer-r1.jsonl", "/dev/zero/_reviewer-r1.jsonl", "../../etc/_reviewer-r1.jsonl",
    "logs/../_reviewer-r1.jsonl", "logs/sub-01\\rec_reviewer-r1.jsonl", "logs/./sub-01/rec_reviewer-r1.jsonl",
    "logs/\x1b[31m\u202e_reviewer-r1.jsonl", "logs/a\n_reviewer-r1.jsonl",
]  # fmt: skip
HEAD = {"lines": 1, "sha256": "a" * 64}


@quiet
@pytest.mark.parametrize(
    "changes",
    [*({"logs": {where: HEAD}} for where in ODD), {"logs": {TWIN: {"lines": 10**30, "sha256": "a" * 64}}},
     {"logs": {TWIN: {"lines": "1"}}}, {"columns": 7}, {"recordings": []}, {"table": None}],
    ids=lambda changes: ascii(changes)[:40],
)  # fmt: skip
def test_one_bad_version_is_set_apart_and_told_and_the_rest_goes_on(folder, changes):
    sealed_as(folder, **changes)
    with pytest.raises(VersionError):
        er.read_version(folder, "v9")
    with start(folder, TRIALS) as session:
        assert session.problem is None
        (words,) = [note for note in session.notices if "'v9' is set apart" in note]
    with start(folder, cut("blind", seed=8, sub="07"), reviewer="r7", blind=True) as session:
        (blind,) = [note for note in session.notices if "'v9' is set apart" in note]
        assert "rec" not in blind, "whose logs it names is nothing for who must not know"
    assert words in er.agreement(folder, "r1", "r2").notes
    assert words in er.merge_reviews(folder, "r1", "r2").notes
    works(folder)
    found = er.verify(folder)
    assert [problem for problem in found.problems if "'v9'" in problem]
    assert not [problem for problem in found.problems if "'v9'" not in problem]


@quiet
def test_a_copy_that_an_earlier_package_took_for_a_log_keeps_nobody_from_a_version(folder):
    sealed_as(folder, "old", logs={"logs/backup/rec_reviewer-r1.jsonl": HEAD})
    assert len(er.read_version(folder, "old")) == len(er.read_version(folder, "v2"))
    assert known_heads(folder, lambda where: "backup" in where) == []
    works(folder)
    sealed_as(folder, "twice", logs={"logs/backup/rec_reviewer-r2.jsonl": HEAD, "logs/rec_reviewer-r2.jsonl": HEAD})
    assert er.replay(folder, TRIALS.recording, "twice", detect=detect).same_bytes
    shutil.rmtree(folder / "versions" / "twice")
    found = er.verify(folder)
    assert found.ok, found.problems
    assert "which an earlier package took for a log" in " ".join(found.notes)


CASES = {
    "recordings": [cut("Rec", seed=1), cut("rec", seed=2)],
    "letters with accents": [cut("\u00e9", seed=1), cut("e\u0301", seed=2)],
    "participants": [cut("one", seed=1, sub="A1"), cut("two", seed=2, sub="a1")],
}


@quiet
@pytest.mark.parametrize("parts", CASES.values(), ids=CASES)
def test_logs_that_are_one_where_case_does_not_count_are_not_begun(tmp_path, parts):
    """Copied to Windows, macOS or a stick, one of the two would take the place of the other."""
    with pytest.raises(LogError, match=r"would be one on other computers.*nothing was begun"):
        start(tmp_path / "at once", parts)
    assert not list((tmp_path / "at once").rglob("*.jsonl"))
    folder = tmp_path / "after one another"
    start(folder, parts[:1]).close()
    with pytest.raises(LogError, match="would be one on other computers"):
        start(folder, parts[1:])
    with start(folder, parts[:1]) as session:
        assert session.problem is None


@quiet
def test_codes_and_versions_that_differ_in_case_alone_are_refused(tmp_path):
    with start(tmp_path, TRIALS) as session:
        session.accept_rest(session.queue[0])
        session.seal("V1")
        assert session.next_version == "v2"
        for name in ("v1", "V1"):
            with pytest.raises(VersionError, match="exists already"):
                session.seal(name)
        session.seal("Straße")
        with pytest.raises(VersionError, match="exists already"):
            session.seal("STRASSE")
    with pytest.raises(LogError, match=r"write 'rec_reviewer-R1\.jsonl' as 'rec_reviewer-r1.jsonl'"):
        start(tmp_path, TRIALS, reviewer="R1")
    start(tmp_path, cut("other", seed=3), reviewer="R1").close()  # no file of the one is one of the other


@quiet
def test_logs_that_differ_in_case_and_stand_already_are_opened(tmp_path):
    start(tmp_path, CASES["recordings"][:1]).close()
    start(tmp_path / "other", CASES["recordings"][1:]).close()
    shutil.copy(tmp_path / "other" / "logs" / "rec_reviewer-r1.jsonl", tmp_path / "logs")
    with start(tmp_path, CASES["recordings"]) as session:
        assert session.problem is None
