"""A participant withdraws: their logs go for good, the rest of the review goes on and says so wherever it counts."""

import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from mutations import signed
from scripted_reviews import CHECK, detect, make_trials, start

import emgreview as er
from emgreview.annotations.withdrawals import withdrawals
from emgreview.errors import (
    EmgreviewError,
    LogError,
    LogLockedError,
    ParameterError,
    SignalWarning,
    UnknownNameError,
    VersionError,
)

quiet = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
CODES = ("r1", "r2")
WHY = "withdrew consent"


def cut(name, **options):
    return er.cut_trials(make_trials(name, **options).recording, cue="go", before_s=0.5, after_s=1.0)


ONE, TWO, LATER = cut("one", seed=1, sub="01"), cut("two", seed=2, sub="02"), cut("later", seed=3, sub="02")
ALL = [ONE, TWO, LATER]
RECORDINGS = [part.recording for part in ALL]
LOGS = sorted(f"logs/sub-02/{name}_reviewer-{code}.jsonl" for name in ("two", "later") for code in (*CODES, "r3"))


def settle(folder, trials=ALL, **options):
    return er.adjudicate(trials, folder, "r1", "r2", reviewer="r3", blind=False, detect=detect, **options)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Two reviewers of two people, who dispute one trial of each; a third who settled and sealed."""
    folder = tmp_path_factory.mktemp("made") / "review"
    for code, version in zip(CODES, ("v1", "v2"), strict=True):
        with start(folder, ALL, reviewer=code) as session:
            for trial in session.queue:
                session.accept_rest(trial)
            if code == "r2":
                for part in (ONE, TWO):
                    session.unusable(part.ids[0], "FDI", ["clipped"])
            session.seal(version)
    with settle(folder) as third:
        for dispute in third.disputes():
            third.settle(dispute.trial, dispute.channel, "A")
        third.seal("settled")
    return folder


@pytest.fixture
def folder(made, tmp_path):
    return shutil.copytree(made, tmp_path / "review")


def withdraw(folder, participant="02", **options):
    return er.withdraw(folder, participant, **{"reviewer": "r1", "reason": WHY, **options})


def of_two(folder):
    """Every file of participant 02."""
    return sorted(path for path in (folder / "logs" / "sub-02").glob("*"))


def taken_away(folder):
    """As a person does who does not know of the command."""
    shutil.rmtree(folder / "logs" / "sub-02")


@pytest.mark.parametrize("first", [None, taken_away])
@quiet
def test_the_rest_of_the_review_goes_on(folder, first):
    if first:
        first(folder)
        for call in (lambda: er.agreement(folder, *CODES), lambda: settle(folder, ONE)):
            with pytest.raises(LogError, match=r"er\.withdraw says so"):
                call()
        assert not er.verify(folder).ok
    before = {path: path.read_bytes() for path in (folder / "versions").rglob("*") if path.is_file()}
    done = withdraw(folder)
    assert (done.participant, sorted(done.logs), done.recordings) == ("02", LOGS, ("later", "two"))
    assert not (folder / "logs" / "sub-02").exists()
    assert before == {path: path.read_bytes() for path in before}, "sealed versions stay what they are"
    assert "v1, v2" in " ".join(done.left)

    found = er.verify(folder)
    assert found.ok, found.problems
    told = " ".join(found.notes)
    assert "Without participant '02', withdrawn from the review with 6 logs (reviewer 'r1' on " in told
    assert "version 'v1' was sealed with 6 logs of participant '02', withdrawn since" in told or "'settled'" in told

    agreed, merged = er.agreement(folder, *CODES), er.merge_reviews(folder, *CODES, "r3")
    assert set(agreed.table["recording"]) == {"one"}
    assert not merged.conflicts
    for notes in (agreed.notes, merged.notes):
        assert [words for words in notes if "withdrawn from the review with" in words and WHY in words]
    assert WHY in str(agreed)

    for code, version in zip(CODES, ("w1", "w2"), strict=True):
        with start(folder, ONE, reviewer=code) as session:
            assert session.problem is None
            assert [note for note in session.notices if "Without participant '02'" in note]
            session.comment(session.queue[0], "goes on")
            sealed = session.seal(version)
        table = er.read_version(folder, version, sealed.sha256)
        assert set(table["participant"]) == {"01"}
        assert [note for note in table.attrs["notes"] if "Without participant '02'" in note], "and in the version"
        assert er.replay(folder, RECORDINGS[0], version, detect=detect).same_bytes
    with settle(folder, ONE) as third:
        assert third.problem is None
        assert third.progress[0] == 1
        third.seal("settled-anew")
    assert er.replay(folder, RECORDINGS[0], "settled-anew", detect=detect).same_bytes
    assert str(er.diff(folder, "settled-anew", "now", reviewer="r3")) == "nothing changed"
    assert er.verify(folder).ok
    for path in (folder / "logs").rglob("*.jsonl"):
        for line in path.read_bytes().splitlines():
            CHECK.validate(json.loads(line))


@quiet
def test_versions_sealed_before_say_that_logs_are_gone_and_are_rebuilt_without(folder):
    withdraw(folder)
    table = er.read_version(folder, "v1")
    assert set(table["participant"]) == {"01", "02"}
    (note,) = [note for note in table.attrs["notes"] if "withdrawn since" in note]
    assert note.startswith("Version 'v1' was sealed with 2 logs of participant '02'")
    rows = int((table["participant"] == "02").sum())
    for version in ("v1", "v2", "settled"):
        held = er.replay(folder, RECORDINGS[0], version, detect=detect)
        assert held.ok, held
        assert held.same_bytes
        assert set(held.table["recording"]) == {"one"}
        assert f"{rows} of {len(table)} rows are of logs that were withdrawn" in " ".join(held.notes)
        with pytest.warns(SignalWarning, match=f"Version '{version}' was sealed with .* withdrawn since"):
            assert str(er.diff(folder, version, "now", reviewer="r1"))


@quiet
def test_a_version_can_go_too_and_its_name_is_never_given_again(folder):
    withdraw(folder)
    with pytest.raises(UnknownNameError, match="sealed version"):
        withdraw(folder, versions=["v7"])
    done = withdraw(folder, versions=["v1", "settled"])
    assert not (folder / "versions" / "v1").exists()
    assert {"versions/v1", "versions/settled"} <= set(done.removed)
    found = er.verify(folder)
    assert found.ok, found.problems
    assert "version 'settled' was removed with participant '02'" in " ".join(found.notes)
    with start(folder, ONE) as session:
        assert session.next_version == "v3"
        session.comment(session.queue[0], "more")
        with pytest.raises(VersionError, match="is not there"):
            session.seal("v1")


def test_nothing_of_them_is_begun_again(folder):
    withdraw(folder)
    for code in ("r1", "r9"):
        with pytest.raises(LogError, match=f"is of participant '02', withdrawn .*{WHY}.*leave it out"):
            start(folder, ALL, reviewer=code)
    assert not (folder / "logs" / "sub-02").exists()


@quiet
def test_results_kept_beside_the_review_go_too(folder):
    runner = er.Runner(cache=folder / "cache", progress=None)
    er.check_all(RECORDINGS, runner=runner)
    assert list((folder / "cache").rglob("*.result"))
    assert "cache" in withdraw(folder).removed
    assert not (folder / "cache").exists()
    assert er.verify(folder).ok


@quiet
def test_a_folder_called_cache_that_is_none_stays(folder):
    (folder / "cache").mkdir()
    (folder / "cache" / "own.txt").write_text("mine")
    assert "cache" not in withdraw(folder).removed
    assert (folder / "cache" / "own.txt").read_text() == "mine"


@quiet
def test_what_a_backup_brings_back_is_told_and_removed_again(folder):
    kept = {path: path.read_bytes() for path in of_two(folder)}
    withdraw(folder)
    (folder / "logs" / "sub-02").mkdir()
    for path, content in kept.items():
        path.write_bytes(content)
    problems = er.verify(folder).problems
    assert len([words for words in problems if "stands there again" in words]) == len(LOGS)
    for call in (lambda: er.agreement(folder, *CODES), lambda: start(folder, ONE).seal("v9")):
        with pytest.raises(LogError, match=r"stands there again.*remove it: er\.withdraw\(folder, '02', …\) does"):
            call()
    lines = [path.read_bytes() for path in sorted((folder / "logs" / "sub-01").glob("*.jsonl"))]
    withdraw(folder)
    assert er.verify(folder).ok
    assert lines == [path.read_bytes() for path in sorted((folder / "logs" / "sub-01").glob("*.jsonl"))], "said once"


@quiet
@pytest.mark.parametrize("after", range(1, 8))
def test_what_was_interrupted_is_ended_by_saying_it_again(folder, monkeypatch, after):
    from pathlib import Path

    unlink, done = Path.unlink, []

    def unlinking(self, missing_ok=False):
        if "sub-02" in str(self) and not self.name.startswith("."):
            done.append(self)
            if len(done) == after:
                raise OSError(5, os.strerror(5))
        unlink(self, missing_ok=missing_ok)

    monkeypatch.setattr(Path, "unlink", unlinking)
    if after <= len(LOGS):
        with pytest.raises(LogError, match=r"not all was deleted.*Input/output"):
            withdraw(folder)
        assert withdrawals(folder), "said before anything goes"
        assert not er.verify(folder).ok
    withdraw(folder)
    monkeypatch.undo()
    assert er.verify(folder).ok, er.verify(folder).problems
    assert len(withdrawals(folder)) == 1
    assert str(er.agreement(folder, *CODES))


@quiet
def test_everything_under_their_logs_names_goes_and_what_else_lies_there_is_told(folder):
    place = folder / "logs" / "sub-02"
    beside = [place / f"two_reviewer-r1.jsonl{end}" for end in (".torn-2026", ".broken")]
    for path in [*beside, place / "note.txt", folder / "logs" / "sub-01" / "two_reviewer-r1.jsonl.torn-1"]:
        path.write_text("x")
    done = withdraw(folder)
    assert [path.name for path in of_two(folder)] == ["note.txt"]
    assert "logs/sub-02/note.txt" in " ".join(done.left)
    assert (folder / "logs" / "sub-01" / "two_reviewer-r1.jsonl.torn-1").exists()


@quiet
def test_one_recording_goes_alone_and_logs_without_a_participant_by_name(tmp_path):
    parts = [make_trials("left", seed=4), make_trials("right", seed=5)]
    for code in CODES:
        with start(tmp_path, parts, reviewer=code) as session:
            for trial in session.queue:
                session.accept_rest(trial)
            session.seal(f"of-{code}")
    with pytest.raises(UnknownNameError, match="participant with a log"):
        withdraw(tmp_path)
    with pytest.raises(UnknownNameError, match=r"recording with a log.*left, right"):
        withdraw(tmp_path, None, recordings=["middle"])
    done = withdraw(tmp_path, None, recordings=["right"])
    assert done.logs == tuple(f"logs/right_reviewer-{code}.jsonl" for code in CODES)
    assert er.verify(tmp_path).ok
    assert er.agreement(tmp_path, *CODES).both == 8
    with pytest.raises(LogError, match="is of recording 'right', withdrawn"):
        start(tmp_path, parts)


@quiet
def test_people_who_withdraw_one_after_another_are_all_kept(tmp_path):
    parts = [make_trials(name, seed=n, sub=f"0{n}") for n, name in enumerate(("a", "b", "c"), 1)]
    for code in CODES:
        with start(tmp_path, parts[:2] if code == "r1" else parts, reviewer=code) as session:
            for trial in session.queue:
                session.accept_rest(trial)
            session.seal(f"of-{code}")
    withdraw(tmp_path, "01")  # which r1 says in the log of b alone
    with pytest.raises(LogError, match="none would keep that they were withdrawn; have it said by another reviewer"):
        withdraw(tmp_path, "sub-02")
    withdraw(tmp_path, "sub-02", reviewer="r2")
    assert [one.participant for one in withdrawals(tmp_path)] == ["01", "02"]
    found = er.verify(tmp_path)
    assert found.ok, found.problems
    with start(tmp_path, parts[2], reviewer="r2") as session:
        assert session.problem is None


@quiet
def test_a_blind_reviewer_hears_of_it_without_names_and_stays_blind(tmp_path):
    parts = [make_trials(name, seed=n, sub=f"0{n}") for n, name in enumerate(("a", "b"), 1)]
    with start(tmp_path, parts, blind=True) as session:
        for trial in session.queue:
            session.accept_rest(trial)
    withdraw(tmp_path)
    with start(tmp_path, parts[0], blind=True) as session:
        assert session.blind
        told = " ".join(session.notices)
        assert "Withdrawn from this review, without a name here: 1" in told
        assert "'02'" not in told
        session.comment(session.queue[0], "goes on")
    assert er.verify(tmp_path).ok


@quiet
def test_who_draws_a_sample_goes_on_without_those_who_withdrew(tmp_path):
    parts = [make_trials(name, seed=n, sub=f"0{n}", n=8) for n, name in enumerate(("a", "b"), 1)]
    with start(tmp_path, parts, reviewer="r1") as session:
        for trial in session.queue:
            session.accept_rest(trial)
    with start(tmp_path, parts, reviewer="r2") as session:
        er.draw_sample(session, share=0.5)
        for trial in session.queue:
            session.accept_rest(trial)
        session.seal("drawn")
    whole = er.agreement(tmp_path, *CODES)
    withdraw(tmp_path)
    with start(tmp_path, parts[0], reviewer="r2") as session:
        assert session.problem is None
        assert all(trial.startswith("a") for trial in session.queue)
    found = er.agreement(tmp_path, *CODES)
    assert 0 < found.both < whole.both
    assert "draws" in " ".join(found.notes), "what was drawn counts them still, and that is said"


def test_who_has_it_open_is_asked_to_close_it(folder):
    code = "import sys, emgreview as er; er.withdraw(sys.argv[1], '02', reviewer='r1', reason='x')"
    with start(folder, TWO, reviewer="r2"):
        done = subprocess.run([sys.executable, "-c", code, str(folder)], capture_output=True, text=True)
    assert "LogLockedError" in done.stderr
    assert len(of_two(folder)) >= len(LOGS)
    assert not withdrawals(folder)
    with start(folder, TWO, reviewer="r2"), pytest.raises(LogLockedError):
        withdraw(folder)


@quiet
def test_nothing_is_said_while_another_log_of_who_says_it_is_open(folder):
    """It would stand in one, and the person be withdrawn with all logs there."""
    with start(folder, cut("three", seed=4, sub="03")) as session:
        session.comment(session.queue[0], "kept")
    code = (
        "import sys; sys.path[:0] = sys.argv[2:]; from annotations.test_withdrawing import *\n"
        "with start(sys.argv[1], cut('three', seed=4, sub='03')): print(1, flush=True); sys.stdin.read()"
    )
    tests = Path(__file__).parents[1]
    line = [sys.executable, "-c", code, str(folder), str(tests), str(tests.parent)]
    with subprocess.Popen(line, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout.readline() == b"1\n"
        with pytest.raises(LogLockedError, match="three_reviewer-r1"):
            withdraw(folder)
        assert not withdrawals(folder)
        assert len(list((folder / "logs" / "sub-02").glob("*.jsonl"))) == len(LOGS)
        other.stdin.close()


@quiet
def test_a_recording_whose_name_begins_like_a_log_of_another_stays(tmp_path):
    name = "two_reviewer-r1.jsonl"
    parts = [cut("two", seed=1, sub="01"), cut(name, seed=2, sub="01"), cut(f"{name}.2", seed=3, sub="01")]
    with start(tmp_path, parts) as session:
        for trial in session.queue:
            session.accept_rest(trial)
    place = tmp_path / "logs" / "sub-01"
    torn = [place / f"{one}_reviewer-r1.jsonl.torn-1" for one in ("two", name)]
    for path in torn:
        path.write_text("x")
    before = sorted(place.iterdir())
    withdraw(tmp_path, None, recordings=["two"])
    gone = {place / name, torn[0], place / f".{name}.lock"}
    assert sorted(place.iterdir()) == [path for path in before if path not in gone]
    assert er.verify(tmp_path).ok


@quiet
@pytest.mark.parametrize("of", [{"participant": "02", "recordings": []}, {"participant": None, "recordings": ["two"]}])
def test_a_line_takes_along_nobody_else_whoever_wrote_it(folder, of):
    others = {f"logs/sub-01/one_reviewer-{code}.jsonl": {"lines": 1, "sha256": "0" * 64} for code in CODES}
    with start(folder, cut("three", seed=4, sub="03"), reviewer="r9") as session:
        session.note("withdraw", {"withdrawn": {**of, "logs": others}}, reason="forged")
    start(folder, ONE, read_only=True).close()
    assert not [words for words in er.verify(folder).problems if "one_reviewer" in words]
    withdraw(folder)
    assert all((folder / where).exists() for where in others)
    assert er.verify(folder).ok


@pytest.mark.parametrize(
    ("options", "error"),
    [
        ({"reason": " "}, ParameterError),
        ({"reason": 3}, ParameterError),
        ({"reason": "a\nb"}, EmgreviewError),
        ({"recordings": ["two"]}, ParameterError),
        ({"participant": None}, ParameterError),
        ({"participant": 2}, ParameterError),
        ({"participant": "../.."}, ParameterError),
        ({"participant": "2"}, UnknownNameError),
        ({"participant": None, "recordings": "two"}, ParameterError),
        ({"participant": None, "recordings": ["../x"]}, ParameterError),
        ({"reviewer": "r9"}, UnknownNameError),
        ({"versions": "v1"}, ParameterError),
    ],
)
def test_what_was_mistyped_deletes_nothing(folder, options, error):
    before = sorted(path for path in folder.rglob("*") if not path.name.endswith(".lock"))
    with pytest.raises(error):
        withdraw(folder, options.pop("participant", "02"), **options)
    assert before == sorted(path for path in folder.rglob("*") if not path.name.endswith(".lock"))
    assert er.verify(folder).ok


def test_nothing_is_deleted_where_a_link_leads(folder, tmp_path):
    shutil.move(folder / "logs" / "sub-02", tmp_path / "elsewhere")
    (folder / "logs" / "sub-02").symlink_to(tmp_path / "elsewhere")
    before = sorted(path.name for path in (tmp_path / "elsewhere").glob("*.jsonl"))
    with pytest.raises(LogError, match="leads out of the review folder; nothing was deleted"):
        withdraw(folder)
    assert before == sorted(path.name for path in (tmp_path / "elsewhere").glob("*.jsonl"))
    assert not withdrawals(folder), "nothing is said that was not done"


def test_the_shell_does_the_same(folder):
    line = [sys.executable, "-m", "emgreview", "withdraw", str(folder), "sub-02", "--reviewer", "r1", "--reason", WHY]
    done = subprocess.run([*line, "--json"], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["participant"] == "02"
    again = subprocess.run([*line, "--version", "v1"], capture_output=True, text=True)
    assert again.returncode == 0, again.stderr
    assert "Participant 02 withdrawn: 6 logs of later, two" in again.stdout
    checked = subprocess.run([*line[:3], "verify", str(folder)], capture_output=True, text=True)
    assert checked.returncode == 0, checked.stdout
    assert WHY in checked.stdout


@quiet
def test_numbers_carry_what_was_told_of_the_version_that_they_come_from(folder):
    withdraw(folder)
    for path in (folder / "logs" / "sub-01").glob("*.jsonl"):  # nothing vouches for it any more, either
        path.write_bytes(b"".join(line for line in path.read_bytes().splitlines(True) if b'"seal"' not in line))
    shutil.rmtree(folder / "versions" / "settled")
    table = er.read_version(folder, "v1")
    told = table.attrs["notes"]
    assert any("cannot be told: no log beside it" in note for note in told)
    results = [
        er.measure([ONE], table).attrs["notes"],
        er.compare_channels(ONE, table, "FDI", "APB").attrs["notes"],
        er.average_envelopes(ONE, table, to="go", before_s=0.2, after_s=0.2)["FDI"].notes,
        er.detection_floor(ONE, "FDI", decisions=table, injections=20).left_out,
        er.measure_evoked(ONE, stimulus="go", decisions=table).attrs["notes"],
    ]
    for notes in results:
        assert set(told) <= set(notes)
        assert len(notes) == len(set(notes))
    with pytest.warns(SignalWarning) as caught:
        er.measure([ONE], table)
    assert not [one for one in caught if str(one.message) in told], "they were told when it was read"


@quiet
def test_what_was_drawn_and_hidden_holds_where_the_first_recording_goes(tmp_path):
    """What is said of the whole review stands in the log of the first recording."""
    parts = [cut(name, seed=n, sub=f"0{n}", n=8) for n, name in enumerate(("a", "b", "c"), 1)]
    with start(tmp_path, parts, reviewer="r1") as session:
        for trial in session.queue:
            session.accept_rest(trial)
    with start(tmp_path, parts, reviewer="r2") as session:
        drawn = er.draw_sample(session, share=0.5)
        hidden = [trial for trial in session.queue if trial.startswith("c")]
        session.note("hide marks", {"hide": [[hidden[0], "FDI"]]})
        session.note("bulk acceptance", {"audit": 1, "accepted": [], "sentence": "worth little"})
        queue = [trial for trial in session.queue if not trial.startswith("a")]
        for trial in session.queue:
            session.none_visible(trial, "FDI")
            session.accept_rest(trial)
    assert drawn
    for sub, left in (("01", parts[1:]), ("02", parts[2:])):  # also where what was carried over goes itself
        withdraw(tmp_path, sub)
        names = {part.recording.name for part in left}
        queue = [trial for trial in queue if trial.partition("/")[0] in names]
        with start(tmp_path, left, reviewer="r2") as session:
            assert session.problem is None
            assert list(session.queue) == queue, "the review stays narrowed to what was drawn"
            assert session.bulk_sentences == ("worth little",)
            assert session._hides(hidden[0], "FDI")
        assert er.agreement(tmp_path, *CODES).sampled, "only what was drawn is compared"
        assert er.verify(tmp_path).ok
    kept = [json.loads(line) for path in tmp_path.rglob("*_r*.jsonl") for line in path.read_bytes().splitlines()]
    for line in kept:
        CHECK.validate(line)
    withdraw(tmp_path, "02")
    again = [json.loads(line) for path in tmp_path.rglob("*_r*.jsonl") for line in path.read_bytes().splitlines()]
    assert kept == again, "carried over once"


@quiet
def test_what_a_third_settled_holds_where_the_log_with_the_plan_goes(folder):
    (plan,) = [path for path in folder.rglob("*_reviewer-r3.jsonl") if b'"operation":"adjudicate"' in path.read_bytes()]
    assert plan.parent.name == "sub-01"
    withdraw(folder, "01")
    merged = er.merge_reviews(folder, *CODES, "r3")
    assert not merged.conflicts
    with settle(folder, [TWO, LATER]) as third:
        assert third.progress[:2] == (1, 1)
        third.seal("anew")
    assert er.replay(folder, RECORDINGS[1:], "anew", detect=detect).same_bytes
    again = er.replay(folder, RECORDINGS[1:], "settled", detect=detect)
    assert again.same_bytes
    assert "not rebuilt" in str(again)
    assert str(er.diff(folder, "settled", reviewer="r3"))
    assert er.replay(folder, RECORDINGS[1:], "v1", detect=detect).same_bytes
    assert er.verify(folder).ok


@quiet
def test_what_was_carried_over_again_and_again_is_known_to_versions_sealed_between(tmp_path):
    three = [cut(name, seed=seed, sub=f"0{seed}") for seed, name in enumerate(("one", "two", "three"), start=1)]
    for code in CODES:
        with start(tmp_path, three, reviewer=code) as session:
            for trial in session.queue:
                session.accept_rest(trial)
            if code == "r2":
                for part in three:
                    session.unusable(part.ids[0], "FDI", ["clipped"])
    with settle(tmp_path, three) as third:
        for dispute in third.disputes():
            third.settle(dispute.trial, dispute.channel, "A" if dispute.trial == three[2].ids[0] else "B")
        third.seal("first")
    withdraw(tmp_path, "01")
    with settle(tmp_path, three[1:]) as third:
        third.seal("second")
    withdraw(tmp_path, "02")
    for name in ("first", "second"):
        again = er.replay(tmp_path, three[2].recording, name, detect=detect)
        assert again.same_bytes, str(again)
        assert len(again.table), name
    found = er.verify(tmp_path)
    assert found.ok, found.problems


def anew(path, keep):
    """A log without the lines that are not to be kept, signed anew."""
    lines = [line for line in map(json.loads, path.read_bytes().splitlines()) if keep(line)]
    head, raws = "0" * 64, []
    for number, line in enumerate(lines):
        raws.append(signed({**line, "prev": head, "seq": number}, strict=True))
        head = hashlib.sha256(raws[-1]).hexdigest()
    path.write_bytes(b"\n".join([*raws, b""]))


@quiet
def test_where_no_log_says_when_a_version_was_sealed_it_is_not_rebuilt(folder):
    withdraw(folder, "01")
    logs = list(folder.glob("logs/*/*_reviewer-r3.jsonl"))
    kept = {path: path.read_bytes() for path in logs}
    for path in logs:
        anew(path, lambda line: line["operation"] != "seal")
    for look in (
        lambda: er.replay(folder, RECORDINGS[1:], "settled", detect=detect),
        lambda: er.diff(folder, "settled", reviewer="r3"),
    ):
        with pytest.raises(LogError, match=r"between whom was settled stood.*no log that stays says when.*seal anew"):
            look()
    for path, content in kept.items():
        path.write_bytes(content.replace(b'"operation":"seal"', b'"operation":"sael"'))
    with pytest.raises(LogError, match=r"what was carried over into .* cannot be told"):
        er.replay(folder, RECORDINGS[1:], "settled", detect=detect)


@quiet
def test_what_a_crash_or_a_person_left_of_them_goes_or_is_told(folder):
    """Copies in other places, versions that nobody can read, a version and a result that were being written."""
    begun = folder / "versions" / f".v3.{'0' * 16}.unfinished"
    begun.mkdir()
    (begun / "decisions.tsv").write_text("x")
    (folder / "versions" / "dark").mkdir()
    runner = er.Runner(cache=folder / "cache", progress=None)
    er.check_all(RECORDINGS, runner=runner)
    result = next((folder / "cache").rglob("*.result"))
    result.with_name(f"{result.name}.00.part").write_bytes(b"x")
    (folder / "logs" / "old").mkdir()
    log = folder / "logs" / "sub-02" / "two_reviewer-r1.jsonl"
    copies = [folder / "logs" / "old" / log.name, folder / "logs" / "two_reviewer-r1 (copy).jsonl"]
    for path in copies:
        shutil.copy(log, path)
    done = withdraw(folder)
    assert not begun.exists()
    assert begun.relative_to(folder).as_posix() in done.removed
    assert not (folder / "cache").exists()
    left = " ".join(done.left)
    for named in ("dark", *(path.relative_to(folder).as_posix() for path in copies)):
        assert named in left


@quiet
def test_copies_of_a_recording_without_a_participant_are_told_too(tmp_path):
    parts = [cut(name, seed=seed) for seed, name in enumerate(("one", "two"), start=1)]
    with start(tmp_path, parts) as session:
        session.accept_rest(session.queue[0])
    copy = tmp_path / "logs" / "two_reviewer-r1 (copy).jsonl"
    shutil.copy(tmp_path / "logs" / "two_reviewer-r1.jsonl", copy)
    done = er.withdraw(tmp_path, recordings=["two"], reviewer="r1", reason="x")
    assert copy.name in " ".join(done.left)
    assert "one_reviewer" not in " ".join(done.left)


@quiet
def test_a_cache_that_holds_something_else_is_not_called_removed(folder):
    runner = er.Runner(cache=folder / "cache", progress=None)
    er.check_all(RECORDINGS, runner=runner)
    (folder / "cache" / "own.txt").write_text("mine")
    assert "cache" not in withdraw(folder).removed
    assert [path.name for path in (folder / "cache").iterdir()] == ["own.txt"]
