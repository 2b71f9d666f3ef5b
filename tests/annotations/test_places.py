"""Logs that hold nothing, lie elsewhere, or are there twice: what rests on other logs goes on, or says why."""

import json
import os
import re

import numpy as np
import pytest
from scripted_reviews import detect, make_trials, start

import emgreview as er
from emgreview.annotations.conforming import misfit
from emgreview.annotations.files import MOST_LOG
from emgreview.annotations.known_heads import known_heads
from emgreview.annotations.log_positions import find_position
from emgreview.annotations.versions import DESCRIPTION, seal_version
from emgreview.errors import LogBrokenError, LogError, LogWriteError, ReadError, VersionError
from emgreview.plain_files import read_small

TRIALS = make_trials(sub="01")
quiet = pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")


def log(folder, code="r1", place="logs/sub-01"):
    return folder / place / f"rec_reviewer-{code}.jsonl"


@pytest.fixture
def folder(tmp_path):
    """Two reviewers who dispute one trial."""
    for code in ("r1", "r2"):
        with start(tmp_path, TRIALS, reviewer=code) as session:
            for trial in session.queue:
                session.accept_rest(trial)
            if code == "r2":
                session.unusable(session.queue[0], "FDI", ["clipped"])
    return tmp_path


@quiet
@pytest.mark.parametrize("left", [b"", b'{"blind":fal'])
def test_a_log_without_a_line_is_told_and_nothing_rests_on_it(folder, left):
    log(folder, "r9").write_bytes(left)
    assert not er.verify(folder).ok
    with start(folder, TRIALS, reviewer="r2") as session:
        sealed = session.seal("v1")
    heads = json.loads((sealed.path / DESCRIPTION).read_text("utf-8"))["logs"]
    assert sorted(heads) == [f"logs/sub-01/rec_reviewer-{code}.jsonl" for code in ("r1", "r2")]
    assert str(er.agreement(folder, "r1", "r9"))
    with start(folder, TRIALS, reviewer="r9") as session:
        assert session.problem is None
        session.comment(session.queue[0], "begun after all")
    assert er.verify(folder).ok
    assert find_position(folder, "v1").decides
    assert len(er.read_version(folder, "v1", sealed.sha256))


@quiet
def test_a_version_that_names_the_head_of_an_empty_log_is_read_as_if_it_did_not(folder):
    with start(folder, TRIALS) as session:
        table, description = session.as_version()
    seal_version(folder, "v1", table, description)
    path = folder / "versions" / "v1" / DESCRIPTION
    said = json.loads(path.read_text("utf-8"))
    said["logs"]["logs/sub-01/rec_reviewer-r9.jsonl"] = {"lines": 0, "sha256": "0" * 64}
    path.chmod(0o644)
    path.write_text(json.dumps(said), "utf-8")
    assert er.verify(folder).ok
    assert known_heads(folder, lambda where: where.endswith("r9.jsonl")) == []
    with start(folder, TRIALS, reviewer="r9") as session:
        assert session.problem is None
    assert er.verify(folder).ok


STRAY = ("logs/backup/rec_reviewer-r1.jsonl", "logs/sub-01/old/rec_reviewer-r1.jsonl", "logs/a.jsonl")
STRAY += ("logs/sub-01/rec_reviewer-r1 (copy).jsonl",)


@pytest.mark.parametrize("where", STRAY)
def test_a_copy_that_is_no_log_is_passed_over_everywhere_and_told(folder, where):
    before = er.diff(folder, 1, "now", reviewer="r1").words
    (folder / where).parent.mkdir(exist_ok=True)
    (folder / where).write_bytes(b"".join(log(folder).read_bytes().splitlines(keepends=True)[:2]))
    assert er.diff(folder, 1, "now", reviewer="r1").words == before
    with pytest.warns(er.SignalWarning, match=rf"1 file below 'logs' .* passed over \({re.escape(where)} the first"):
        session = start(folder, TRIALS)
    with session, pytest.warns(er.SignalWarning, match="1 file below 'logs' .* in no version"):
        sealed = session.seal("v1")
    assert len(er.read_version(folder, "v1", sealed.sha256))
    with (
        pytest.warns(er.SignalWarning, match="passed over"),
        er.adjudicate(TRIALS, folder, "r1", "r2", reviewer="r3", blind=False, detect=detect) as third,
    ):
        assert third.problem is None
    (problem,) = er.verify(folder).problems
    assert problem.startswith(f"{where} is passed over")
    assert problem.endswith("move it.")


def test_no_version_is_written_that_nobody_could_read(folder):
    with start(folder, TRIALS) as session:
        table, description = session.as_version()
    with pytest.raises(VersionError, match=r"could not be read again \(.*reviewer came as .*nothing was sealed"):
        seal_version(folder, "v1", table, {**description, "reviewer": "r 1"})
    assert not (folder / "versions").exists()


@pytest.mark.parametrize("place", ["logs", "logs/sub-99"])
def test_two_logs_of_one_reviewer_on_one_recording_are_told_and_never_compared(folder, place):
    log(folder, place=place).parent.mkdir(exist_ok=True)
    log(folder, place=place).write_bytes(log(folder).read_bytes())
    for call in (
        lambda: er.agreement(folder, "r1", "r2"),
        lambda: er.merge_reviews(folder, "r1", "r2"),
        lambda: er.adjudicate(TRIALS, folder, "r1", "r2", reviewer="r3", blind=False, detect=detect),
        lambda: er.diff(folder, 1, "now", reviewer="r1"),
        lambda: er.seal(folder, TRIALS.recording, "v1", reviewer="r1", detect=detect),
    ):
        with pytest.raises(
            LogError, match=r"are logs of one reviewer on one recording; allowed is one.*move the other"
        ):
            call()
    assert "are logs of one reviewer on one recording" in er.verify(folder).problems[0]
    with pytest.warns(er.SignalWarning, match="are logs of one reviewer"):
        session = start(folder, TRIALS)
    with session:
        assert "are logs of one reviewer" in session.problem, "before any work is done, not at its end"
        for work in (lambda: session.comment(session.queue[0], "more"), lambda: session.seal("v1")):
            with pytest.raises(LogError, match="are logs of one reviewer"):
                work()
    assert not (folder / "versions").exists()


@quiet
@pytest.mark.parametrize("kept", [0, 2])
def test_a_third_reviewer_goes_on_from_a_log_that_was_cut_back(folder, kept):
    def settle(**options):
        return er.adjudicate(TRIALS, folder, "r1", "r2", reviewer="r3", blind=False, detect=detect, **options)

    with settle() as third:
        third.settle(third.where, "FDI", "A")
        third.seal("settled")
    log(folder, "r3").write_bytes(b"".join(log(folder, "r3").read_bytes().splitlines(keepends=True)[:kept]))
    with settle(log_restored="backup of Monday") as third:
        assert third.problem is None
        third.settle(third.queue[0], "FDI", "B")
    with settle() as third:
        assert third.problem is None
    assert er.verify(folder).ok


def test_a_seal_checks_the_log_before_its_folder_appears(folder):
    with start(folder, TRIALS) as session:
        was = log(folder).read_bytes()
        session.comment(session.queue[0], "lost")
        log(folder).write_bytes(was)
        with pytest.raises(LogBrokenError, match="changed by something else while it was open; nothing was sealed"):
            session.seal("v1")
    assert not (folder / "versions").exists()


class Named(str):
    def __str__(self):
        return "other"

    __format__ = None


@pytest.mark.parametrize("name", [np.str_("final"), Named("final")])
def test_a_name_of_a_class_that_is_text_is_its_letters(folder, name):
    with start(folder, TRIALS) as session:
        assert session.seal(name).path == folder / "versions" / "final"
        session.comment(session.queue[0], name)
        assert session.state(session.queue[0]).comment == "final"
    assert er.verify(folder).ok
    assert len(er.read_version(folder, "final"))


@quiet
def test_a_version_whose_line_could_not_be_written_is_told(folder, monkeypatch):
    with start(folder, TRIALS) as session:
        monkeypatch.setattr(session._logs._logs["rec"]._files, "write", fails)
        session._files = None
        with pytest.raises(LogWriteError, match=r"Version 'v1' is written and whole, SHA-256 [0-9a-f]{64}"):
            session.seal("v1")
    assert "cannot be told" in er.verify(folder).notes[0]


def fails(fd, content):
    raise OSError(28, os.strerror(28))


def test_a_file_too_large_for_a_log_is_refused_by_its_size(tmp_path, monkeypatch):
    path = tmp_path / "rec_reviewer-r1.jsonl"
    with path.open("wb") as stream:
        stream.truncate(3 << 30)

    def read(*_):
        raise AssertionError("it was read")

    monkeypatch.setattr("emgreview.plain_files.open_plain", lambda path: Unread(path.open("rb")))
    with pytest.raises(ReadError, match="holds more than 1024 MB"):
        read_small(path, MOST_LOG)


class Unread:
    def __init__(self, stream):
        self._stream, self.fileno = stream, stream.fileno

    def read(self, most):
        raise AssertionError("it was read")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._stream.close()


def test_whole_numbers_beyond_64_bits_are_refused_in_the_words_of_others(folder):
    line = json.loads(log(folder).read_bytes().splitlines()[1])
    words = {misfit({**line, "counter": number}).partition("; ")[2] for number in (1 << 53, 1 << 63, 1e30, 1 << 70)}
    assert len(words) == 1
    assert "finite and not beyond" in misfit({**line, "counter": 1e30})
