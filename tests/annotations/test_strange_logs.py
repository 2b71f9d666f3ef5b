"""Logs that a stranger, an editor or a failing disk made: read, or refused in words, and nothing of ours harmed."""

import errno
import hashlib
import json
import os
import socket
import time

import pytest
from log_pieces import HEADER, Failing, comments, fields, write

from emgreview.annotations.events import LONGEST_LINE, ZEROS, encode
from emgreview.annotations.files import FileSystem
from emgreview.annotations.log import Log
from emgreview.annotations.log_lines import read_log
from emgreview.annotations.places import log_path
from emgreview.annotations.verifying import verify
from emgreview.annotations.versions import seal_version
from emgreview.errors import EmgreviewError, LogError, LogLockedError, LogReadOnlyError, LogWriteError, ParameterError


def ignore(event):
    pass


# What stands in place of a file --------------------------------------------------------------------------------------


def put_folder(path):
    path.mkdir()


PLACES = {
    "a folder": put_folder,
    "a pipe": os.mkfifo,
    "a link to an endless device": lambda path: path.symlink_to("/dev/zero"),
    "a link to itself": lambda path: path.symlink_to(path.name),
    "a link to nothing": lambda path: path.symlink_to("gone"),
}


@pytest.mark.parametrize("what", PLACES)
def test_what_is_no_plain_file_is_told_at_once_and_verify_does_not_raise(tmp_path, what):
    path = write(tmp_path)
    path.unlink()
    PLACES[what](path)
    begun = time.monotonic()
    with pytest.raises(LogError, match="cannot be read"):
        Log(path, ignore)
    found = verify(tmp_path)
    assert not found.ok
    assert path.name in found.problems[0]
    assert time.monotonic() - begun < 3
    assert not list(path.parent.glob(".*.writer")), "the lock was given free"


@pytest.mark.parametrize("what", PLACES)
def test_nothing_in_place_of_the_lock_is_written_to(tmp_path, what):
    path = write(tmp_path)
    lock = path.parent / f".{path.name}.lock"
    lock.unlink(missing_ok=True)
    PLACES[what](lock)
    found, log = comments(path)
    assert found == ["one", "two", "three"]
    assert "is no plain file of this folder" in log.problem
    assert not (path.parent / "gone").exists()


@pytest.mark.parametrize("name", ["lock", "writer"])
def test_a_link_in_place_of_lock_or_writer_leaves_what_it_leads_to(tmp_path, name):
    own = tmp_path / "mine"
    own.write_text("precious")
    path = write(tmp_path / "review")
    beside = path.parent / f".{path.name}.{name}"
    beside.unlink(missing_ok=True)
    beside.symlink_to(own)
    log = Log(path, ignore)
    log.close()
    assert own.read_text() == "precious"
    assert log.read_only == (name == "lock") or log.problem.endswith("is closed")


def test_the_file_of_the_writer_does_not_name_the_computer_and_goes_with_it(tmp_path):
    path = write(tmp_path)
    writer = path.parent / f".{path.name}.writer"
    writer.write_text(json.dumps({"process": 1, "computer": "host-of-a-killed-process", "since": "x"}))
    log = Log(path, ignore)
    said = writer.read_text()
    assert "killed" not in said
    assert socket.gethostname() not in said
    log.close()
    assert not writer.exists()


LOCKER = """
import sys, time
from pathlib import Path
from emgreview.annotations.log import Log
log = Log(Path(sys.argv[1]), lambda event: None)
print("open", flush=True)
sys.stdin.read()
"""


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (None, r"process \d+ on this computer since 20"),
        ('{"process": 7, "computer": "x", "since": "2026-01-01T00:00:00.000Z"}', "process 7 on another computer"),
        ('{"process": 7, "computer": "x", "since": "\\u001b[31m"}', "by another process;"),
        ('{"process": "\\u001b", "computer": "x", "since": 1}', "by another process;"),
        ("[" * 3000, "by another process;"),
        ("x" * 9999, "by another process;"),
    ],
)
def test_who_writes_is_said_in_words_of_our_own(tmp_path, said, words):
    import subprocess
    import sys

    path = write(tmp_path)
    other = subprocess.Popen([sys.executable, "-c", LOCKER, path], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    other.stdout.readline()
    if said is not None:
        (path.parent / f".{path.name}.writer").write_text(said)
    with pytest.raises(LogLockedError, match=words):
        Log(path, ignore)
    other.communicate(b"")


@pytest.mark.parametrize("linked", ["the log", "its folder", "logs"])
def test_a_link_out_of_the_review_folder_is_read_and_not_written(tmp_path, linked):
    elsewhere = log_path(tmp_path / "elsewhere", "rec", "r1", "1")
    there = write(tmp_path / "elsewhere")
    elsewhere.parent.mkdir()
    there.rename(elsewhere)
    before = elsewhere.read_bytes()
    path = log_path(tmp_path / "review", "rec", "r1", "1")
    place, target = {
        "the log": (path, elsewhere),
        "its folder": (path.parent, elsewhere.parent),
        "logs": (path.parent.parent, elsewhere.parent.parent),
    }[linked]
    place.parent.mkdir(parents=True)
    place.symlink_to(target)
    events = []
    log = Log(path, events.append)
    with pytest.raises(LogReadOnlyError, match="leads from its place out of the review folder"):
        log.append(fields(9))
    log.close()
    assert len(events) == 4
    assert elsewhere.read_bytes() == before
    assert [one.name for one in elsewhere.parent.iterdir() if "writer" in one.name] == []


def test_a_link_within_the_review_folder_is_written_through(tmp_path):
    path = write(tmp_path)
    moved = tmp_path / "logs" / "kept.jsonl"
    path.rename(moved)
    path.symlink_to(moved.name)
    log = Log(path, ignore)
    log.append(fields(9, new="four"))
    log.close()
    assert comments(moved)[0] == ["one", "two", "three", "four"]


def test_a_review_folder_behind_a_link_is_written(tmp_path):
    write(tmp_path / "real")
    (tmp_path / "link").symlink_to("real")
    log = Log(log_path(tmp_path / "link", "rec", "r1"), ignore)
    log.append(fields(9, new="four"))
    log.close()
    assert comments(log_path(tmp_path / "real", "rec", "r1"))[0][-1] == "four"


# What stands in a line -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "line",
    [
        b"[" * 100_000,
        b'{"a":' * 50_000,
        b'{"self":"' + "é".encode() * 40 + b'"}',
        b'{"a":' + b"9" * 5000 + b"}",
        b"\n" * 100_000,
        b"null",
        bytes(1000),
        b"x" * (LONGEST_LINE + 1),
    ],
    ids=lambda line: repr(line[:8]),
)
def test_a_line_of_any_bytes_is_a_problem_and_never_an_error_of_python(tmp_path, line):
    path = write(tmp_path)
    path.write_bytes(path.read_bytes() + line + b"\n{}\n")
    found = read_log(path, ignore)
    assert len(found.lines) == 4
    assert f"line 5 (byte {found.size})" in found.problem
    assert not verify(tmp_path).ok


@pytest.mark.parametrize("name", ["rate_hz", "n_samples"])
@pytest.mark.parametrize("number", [float("inf"), float("nan"), 10**400, -1])
def test_a_number_without_end_does_not_fit_the_schema(tmp_path, name, number):
    from mutations import signed

    path = write(tmp_path, ())
    line = json.loads(path.read_bytes()) | {"new": HEADER | {name: number}}
    path.write_bytes(signed(line, False) + b"\n")
    found = read_log(path, ignore)
    assert f"new.{name} came as" in found.problem
    assert not found.lines


def test_a_line_about_another_recording_does_not_belong_into_a_log(tmp_path):
    from mutations import signed

    path = write(tmp_path, ())
    head = path.read_bytes()
    line = fields(2) | {"seq": 1, "prev": hashlib.sha256(head[:-1]).hexdigest(), "time": "2026-01-01T00:00:00.000Z"}
    line["subject"]["recording"] = "other"
    for name, told in (
        (path.name, "of reviewer 'r1' on 'other', and the file's name says 'r1' on 'rec'"),
        ("any.jsonl", "it is about recording 'other', the log about 'rec'"),
    ):
        path.with_name(name).write_bytes(head + signed(line, True) + b"\n")
        assert told in read_log(path.with_name(name), ignore).problem


def test_large_fractions_are_read_as_canonical_json_writes_them():
    fraction = 123456789012345680000.0  # without a point or an exponent
    line, _ = encode(fields(1, "log", HEADER | {"rate_hz": fraction}) | {"seq": 0, "prev": ZEROS, "time": "x"})
    assert b"123456789012345680000" in line


def deep(levels):
    value = []
    for _ in range(levels):
        value = [value]
    return value


@pytest.mark.parametrize("value", [deep(80), deep(5000), "x" * (LONGEST_LINE + 1)], ids=["80", "5000", "long"])
def test_what_could_not_be_read_again_is_not_written(tmp_path, value):
    path = write(tmp_path)
    log = Log(path, ignore)
    with pytest.raises(ParameterError):
        log.append(fields(9, visible={"a": value}))
    log.append(fields(9, new="four"))
    log.close()
    assert comments(path)[0] == ["one", "two", "three", "four"]


def test_lines_that_version_control_ended_in_cr_lf_are_named_as_that_and_can_be_turned_back(tmp_path):
    path = write(tmp_path)
    whole = path.read_bytes()
    path.write_bytes(whole.replace(b"\n", b"\r\n"))
    found, log = comments(path)
    assert found == []
    assert "its lines end in CR LF; version control or an editor changed them" in log.problem
    assert any("CR LF" in problem for problem in verify(tmp_path).problems)
    path.write_bytes(path.read_bytes().replace(b"\r\n", b"\n"))
    assert verify(tmp_path).ok
    path.write_bytes(whole + whole.splitlines()[-1] + b"\r\n")
    assert "line 5" in read_log(path, ignore).problem, "one line alone, too"


# The end of a file ---------------------------------------------------------------------------------------------------


def test_a_last_line_whose_block_never_reached_the_disk_is_set_aside(tmp_path):
    path = write(tmp_path)
    whole = path.read_bytes()
    head, line = whole[: whole.rindex(b"\n", 0, -1) + 1], whole.splitlines(keepends=True)[-1]
    for torn in (bytes(len(line)), bytes(100) + line[100:], line[:50] + bytes(len(line) - 90) + line[-40:]):
        path.write_bytes(head + torn)
        found, log = comments(path)
        assert found == ["one", "two"]
        assert "zero bytes" in log.notice
        assert path.read_bytes() == head
        log = Log(path, ignore)
        log.append(fields(9, new="again"))
        log.close()
        assert comments(path)[0] == ["one", "two", "again"]
    assert len(list(path.parent.glob("*.torn-*"))) == 3


def test_zero_bytes_before_the_end_and_damage_of_another_kind_are_not_set_aside(tmp_path):
    path = write(tmp_path)
    whole = path.read_bytes()
    lines = whole.splitlines(keepends=True)
    one_byte = whole[:-50] + b"\0" + whole[-49:]
    for broken in (lines[0] + bytes(40) + lines[1][40:] + lines[2] + lines[3], one_byte):
        path.write_bytes(broken)
        found, log = comments(path)
        assert "line" in log.problem
        assert path.read_bytes() == broken
        assert not list(path.parent.glob("*.torn-*"))
        assert found == ["one", "two", "three"][: len(found)]


def test_the_unfinished_line_of_a_colleague_does_not_keep_me_from_sealing(tmp_path):
    write(tmp_path)
    other = log_path(tmp_path, "rec", "r2")
    log = Log(other, ignore)
    log.append(fields(1, "log", HEADER, reviewer="r2"))
    log.close()
    other.write_bytes(other.read_bytes() + b'{"blind":fal')
    seal_version(tmp_path, "v1", b"a\n", {})
    found = verify(tmp_path)
    assert [problem for problem in found.problems if "v1" in problem] == []
    Log(other, ignore).close()
    assert verify(tmp_path).ok, "the line that never counted is gone, and the version still rests on what is there"


# What is known after a failure ---------------------------------------------------------------------------------------


class FailingFlush(FileSystem):
    armed = False

    def fsync(self, fd):
        if self.armed:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        super().fsync(fd)


def test_after_a_failed_flush_it_is_said_that_nothing_is_known_and_opening_again_tells(tmp_path):
    path = write(tmp_path)
    files = FailingFlush()
    log = Log(path, ignore, files=files)
    files.armed = True
    with pytest.raises(LogWriteError, match="may or may not be on disk; opening the review again tells") as failed:
        log.append(fields(9, new="four"))
    assert "was not saved" not in str(failed.value)
    with pytest.raises(LogWriteError, match="was not saved"):
        log.append(fields(10, new="five"))
    log.close()
    files.armed = False
    found, log = comments(path, files)
    assert found[-1] == "four"
    assert "is there, and saved" in log.notice
    assert comments(path, files)[1].notice == "", "it is told once"


def test_where_the_line_in_doubt_was_lost_opening_again_tells_that(tmp_path):
    path = write(tmp_path)
    whole = path.read_bytes()
    files = FailingFlush()
    log = Log(path, ignore, files=files)
    files.armed = True
    with pytest.raises(LogWriteError):
        log.append(fields(9, new="four"))
    log.close()
    path.write_bytes(whole)
    found, log = comments(path)
    assert found[-1] == "three"
    assert "is not there: take it again" in log.notice


@pytest.mark.parametrize("nth", [1, 2, 3, 4, 5, 6])
def test_not_saved_is_said_only_of_what_is_not_there(tmp_path, nth):
    path = log_path(tmp_path, "rec", "r1")
    log = Log(path, ignore, files=Failing(nth, for_ever=True))
    new, why = None, None
    for counter in range(1, 5):
        new = HEADER if counter == 1 else f"comment {counter}"
        try:
            log.append(fields(counter, "log" if counter == 1 else "comment", new))
        except EmgreviewError as failed:
            why = str(failed)
            break
    log.close()
    events = []
    Log(path, events.append).close()
    assert why is not None
    if "was not saved" in why:
        assert new not in [event.new for event in events]
    else:
        assert "may or may not be on disk" in why


def test_a_flush_that_fails_on_opening_opens_for_reading_only(tmp_path):
    path = write(tmp_path)
    files = FailingFlush()
    files.armed = True
    found, log = comments(path, files)
    assert found == ["one", "two", "three"]
    assert "Input/output error" in log.problem
