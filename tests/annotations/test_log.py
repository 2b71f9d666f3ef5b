"""The log under cuts, flipped bytes, failing disks, killed writers: what was acknowledged is there, or it says so."""

import errno
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from log_pieces import HEADER, Failing, Unflushed, comments, fields, write

import emgreview.annotations
from emgreview.annotations.files import FileSystem
from emgreview.annotations.log import Log
from emgreview.annotations.log_lines import read_log
from emgreview.annotations.places import log_path
from emgreview.annotations.verifying import verify
from emgreview.annotations.versions import seal_version
from emgreview.errors import (
    EmgreviewError,
    LogBrokenError,
    LogLockedError,
    LogReadOnlyError,
    LogTooNewError,
    LogWriteError,
    VersionError,
)

SCHEMA = json.loads((Path(emgreview.annotations.__file__).parent / "schema" / "event-1.json").read_text())


def test_every_line_fits_the_schema(tmp_path):
    check = jsonschema.Draft202012Validator(SCHEMA)
    check.check_schema(SCHEMA)
    for line in write(tmp_path).read_bytes().splitlines():
        check.validate(json.loads(line))
    with pytest.raises(jsonschema.ValidationError):
        check.validate(json.loads(line) | {"field": "activity"})


def test_a_cut_at_any_byte_leaves_the_complete_lines(tmp_path, counted):
    path = write(tmp_path, ("one", "two"))
    whole = path.read_bytes()
    for size in range(len(whole)):
        path.write_bytes(whole[:size])
        found, log = comments(path, Unflushed())
        kept = whole[:size].count(b"\n")
        assert found == ["one", "two"][: max(kept - 1, 0)]
        torn = whole[:size].rpartition(b"\n")[2]
        assert bool(log.notice) == bool(torn)
        assert path.read_bytes() + torn == whole[:size]
        for beside in path.parent.glob("*.torn-*"):
            assert beside.read_bytes() == torn
            beside.unlink()
    counted(f"cuts: at each of {len(whole)} bytes, the complete lines before it recovered, the rest kept beside")


def test_after_a_cut_writing_goes_on(tmp_path):
    path = write(tmp_path, ("one", "two"))
    path.write_bytes(path.read_bytes()[:-5])
    log = Log(path, lambda event: None)
    log.append(fields(9, new="three"))
    log.close()
    assert comments(path)[0] == ["one", "three"]
    assert verify(tmp_path).ok


def test_a_flip_of_any_byte_is_found_or_torn_never_a_changed_decision(tmp_path, counted):
    path = write(tmp_path, ("one", "two"))
    whole = path.read_bytes()
    for place in range(len(whole)):
        flipped = bytearray(whole)
        flipped[place] ^= 1
        path.write_bytes(flipped)
        assert not verify(tmp_path).ok
        try:
            found, log = comments(path, Unflushed())
        except LogTooNewError:
            continue
        assert found == ["one", "two"][: len(found)]
        assert log.notice or "line" in log.problem
        if not log.notice:
            assert path.read_bytes() == flipped, "a broken log must not be touched"
        for beside in path.parent.glob("*.torn-*"):
            beside.unlink()
    counted(f"flips: of each of {len(whole)} bytes, every one found or set aside, no decision changed")


def test_a_log_edited_by_hand_opens_for_reading_up_to_the_edit(tmp_path, counted):
    path = write(tmp_path)
    whole = path.read_bytes()
    a, b, c, d = whole.splitlines(keepends=True)
    edits = [
        whole.replace(b'"two"', b'"TWO"'),
        whole.replace(b'"two"', b'"twos"'),
        b"".join([a, b, c.replace(b'"counter":3', b'"counter":4'), d]),
        b"".join([a, b, d]),
        b"".join([a, b, d, c]),
        b"".join([a, b, b, c, d]),
        b"".join([a, b, b"\n", c, d]),
        b"".join([a, b, b"a note by hand\n", c, d]),
    ]
    for edited in edits:
        path.write_bytes(edited)
        events = []
        log = Log(path, events.append)
        assert [event.new for event in events[1:]] == ["one"]
        assert "line 3" in log.problem
        with pytest.raises(LogReadOnlyError, match="line 3"):
            log.append(fields(9))
        assert any("line 3" in problem for problem in verify(tmp_path).problems)
        assert path.read_bytes() == edited
    counted(f"edits by hand: {len(edits)}, each opened for reading up to it, with the place named")


def test_a_line_taken_out_is_found(tmp_path):
    path = write(tmp_path)
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:2] + lines[3:]))
    assert "does not follow" in comments(path)[1].problem


@pytest.mark.parametrize("schema", [2, 3, 99])
def test_a_newer_format_is_refused_and_left_alone(tmp_path, counted, schema):
    path = log_path(tmp_path, "rec", "r1")
    log = Log(path, lambda event: None)
    log.append(fields(1, "log", HEADER | {"schema": schema}))
    log.close()
    before = path.read_bytes() + b"unfinished"
    path.write_bytes(before)
    with pytest.raises(LogTooNewError, match="newer emgreview"):
        comments(path)
    assert path.read_bytes() == before
    assert f"schema {schema}" in verify(tmp_path).problems[0]
    counted(f"newer major version: schema {schema} refused, no byte changed")


HOLDER = """
import sys
from pathlib import Path
from emgreview.annotations.log import Log
log = Log(Path(sys.argv[1]), lambda event: None)
print("open", flush=True)
sys.stdin.read()
"""


def test_two_writers_are_one_too_many(tmp_path, counted):
    path = write(tmp_path)
    pipe = subprocess.PIPE
    with subprocess.Popen([sys.executable, "-c", HOLDER, path], stdin=pipe, stdout=pipe, text=True) as holder:
        assert holder.stdout.readline() == "open\n"
        tries = 5
        for _ in range(tries):
            with pytest.raises(LogLockedError, match=rf"process {holder.pid} on .* since 20.*read_only=True"):
                Log(path, lambda event: None)
        reader = Log(path, lambda event: None, read_only=True)
        assert len(reader) == 4
        with pytest.raises(LogReadOnlyError):
            reader.append(fields(9))
        holder.kill()
    log = Log(path, lambda event: None)
    log.append(fields(9, new="four"))
    log.close()
    assert comments(path)[0][-1] == "four"
    counted(f"two writers: {tries} of {tries} tries refused while one wrote, 1 reader let in, 1 writer after it died")


def test_opening_again_in_one_program_closes_the_earlier_writer(tmp_path):
    path = write(tmp_path)
    first, second = Log(path, lambda event: None), Log(path, lambda event: None)
    with pytest.raises(LogReadOnlyError, match="opened again, by a later review"):
        first.append(fields(9))
    first.close()
    second.append(fields(9, new="four"))
    second.close()
    assert comments(path)[0][-1] == "four"


def test_a_log_changed_by_something_else_takes_no_more(tmp_path):
    path = write(tmp_path)
    log = Log(path, lambda event: None)
    path.write_bytes(path.read_bytes() + b"x\n")
    with pytest.raises(LogBrokenError, match="changed by something else"):
        log.append(fields(9))
    with pytest.raises(LogWriteError, match="takes no more"):
        log.append(fields(10))
    log.close()


def test_a_log_replaced_by_another_file_takes_no_more(tmp_path):
    path = write(tmp_path)
    log = Log(path, lambda event: None)
    other = path.with_name("copy")
    other.write_bytes(path.read_bytes())
    other.replace(path)
    with pytest.raises(LogBrokenError, match="changed by something else"):
        log.append(fields(9))
    log.close()


def test_what_cannot_be_written_as_json_harms_nothing(tmp_path):
    path = write(tmp_path)
    log = Log(path, lambda event: None)
    with pytest.raises(EmgreviewError, match="cannot be written"):
        log.append(fields(9, new=float("nan")))
    log.append(fields(9, new="four"))
    log.close()
    assert comments(path)[0] == ["one", "two", "three", "four"]


@pytest.mark.parametrize("for_ever", [False, True])
@pytest.mark.parametrize("nth", range(1, 14))
def test_a_failing_disk_loses_nothing_that_was_acknowledged(tmp_path, nth, for_ever):
    path = log_path(tmp_path, "rec", "r1")
    attempted, acknowledged = [], []
    log = Log(path, lambda event: None, files=Failing(nth, for_ever))
    failed = log.read_only
    for counter in range(1, 6):
        new = HEADER if counter == 1 else f"comment {counter}"
        attempted.append(new)
        try:
            log.append(fields(counter, "log" if counter == 1 else "comment", new))
        except (LogWriteError, LogReadOnlyError):
            failed = True
        else:
            assert not failed, "after a failure nothing may be called saved"
            acknowledged.append(new)
    log.close()
    assert failed == (nth <= 1 + 3 + 4 * 2)  # a new folder, the first line and its folder, four more lines
    events = []
    Log(path, events.append).close()
    recovered = [event.new for event in events]
    assert recovered[: len(acknowledged)] == acknowledged
    assert recovered == attempted[: len(recovered)]


@pytest.mark.parametrize("nth", range(1, 6))
def test_a_disk_that_fails_during_recovery_loses_nothing_either(tmp_path, nth):
    path = write(tmp_path)
    whole = path.read_bytes() + b'{"blind":fal'
    path.write_bytes(whole)
    found, log = comments(path, Failing(nth, for_ever=True))
    assert found == ["one", "two", "three"]
    assert log.problem
    found, log = comments(path)
    assert found == ["one", "two", "three"]
    assert path.read_bytes() == whole[:-12]
    assert any(beside.read_bytes() == b'{"blind":fal' for beside in path.parent.glob("*.torn-*"))


def test_a_folder_that_cannot_be_written_opens_for_reading(tmp_path):
    class ReadOnlyDisk(FileSystem):
        def open_append(self, path, *, create):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    path = write(tmp_path)
    found, log = comments(path, ReadOnlyDisk())
    assert found == ["one", "two", "three"]
    assert "open for reading only" in log.problem


def test_an_interrupt_during_a_write_ends_the_writer(tmp_path):
    class Interrupted(FileSystem):
        armed = False

        def fsync(self, fd):
            if self.armed:
                raise KeyboardInterrupt

    path = write(tmp_path)
    files = Interrupted()
    log = Log(path, lambda event: None, files=files)
    files.armed = True
    with pytest.raises(KeyboardInterrupt):
        log.append(fields(9))
    with pytest.raises(LogWriteError, match="KeyboardInterrupt"):
        log.append(fields(10))
    log.close()


def test_a_line_counts_only_once_it_and_its_folder_are_flushed(tmp_path):
    class Recording(FileSystem):
        calls = ()

        def write(self, fd, content):
            self.calls += ("write",)
            super().write(fd, content)

        def fsync(self, fd):
            self.calls += ("fsync",)
            super().fsync(fd)

        def fsync_dir(self, path):
            self.calls += (f"fsync {path.name}",)
            super().fsync_dir(path)

    files = Recording()
    log = Log(log_path(tmp_path, "rec", "r1"), lambda event: None, files=files)
    assert files.calls == (f"fsync {tmp_path.name}",)
    for counter, expected in ((1, ("write", "fsync", "fsync logs")), (2, ("write", "fsync"))):
        files.calls = ()
        log.append(fields(counter, "log", HEADER))
        assert files.calls == expected
    log.close()


WRITER = """
import json, sys
from pathlib import Path
from emgreview.annotations.log import Log
first, later = map(json.loads, sys.argv[2:])
log = Log(Path(sys.argv[1]), lambda event: None)
counter = log.counter
while True:
    counter += 1
    print("try", counter, flush=True)
    log.append((later if len(log) else first) | {"counter": counter})
    print("saved", counter, flush=True)
"""


def test_a_killed_writer_loses_nothing_that_was_acknowledged(tmp_path):
    path = log_path(tmp_path, "rec", "r1")
    lines = [json.dumps(fields(1, "log", HEADER)), json.dumps(fields(1))]
    saved = tried = 0
    for round_ in range(10):
        process = subprocess.Popen([sys.executable, "-c", WRITER, path, *lines], stdout=subprocess.PIPE, text=True)
        for line in process.stdout:
            word, number = line.split()
            saved, tried = (int(number), tried) if word == "saved" else (saved, int(number))
            if saved >= 20 * (round_ + 1) + round_ % 3:
                process.send_signal(signal.SIGKILL)
                break
        for line in process.stdout:  # what was said before the kill arrived
            if line.endswith("\n"):
                word, number = line.split()
                saved, tried = (int(number), tried) if word == "saved" else (saved, int(number))
        process.stdout.close()
        process.wait()
        content = read_log(path, lambda event: None)
        assert content.problem is None
        assert saved <= content.counter <= tried, (round_, saved, content.counter, tried)
    Log(path, lambda event: None).close()
    assert verify(tmp_path).ok
    assert saved >= 200


def test_verify_counts_and_explains(tmp_path):
    assert "no annotation log" in verify(tmp_path).problems[0]
    path = write(tmp_path)
    seal_version(tmp_path, "v1", b"a\n", {})
    found = verify(tmp_path)
    assert (found.ok, found.events, found.logs, found.versions) == (True, 4, 1, 1)
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:3]))
    assert "cut short" in verify(tmp_path).problems[0]
    path.rename(path.with_name("rec_reviewer-r2.jsonl"))
    assert any("'r1'" in problem for problem in verify(tmp_path).problems)


def test_a_log_written_anew_does_not_fit_the_version_sealed_before(tmp_path):
    path = write(tmp_path)
    seal_version(tmp_path, "v1", b"a\n", {})
    path.unlink()
    write(tmp_path, ("one", "two", "THREE"))
    assert "written anew" in verify(tmp_path).problems[0]


@pytest.mark.parametrize("nth", range(1, 9))
def test_a_version_is_there_whole_or_not_at_all(tmp_path, nth):
    write(tmp_path)
    try:
        seal_version(tmp_path, "v1", b"a\n", {}, Failing(nth, for_ever=False))
    except VersionError:
        pass
    else:
        assert nth > 7
    assert verify(tmp_path).ok
    if not (tmp_path / "versions" / "v1").exists():
        seal_version(tmp_path, "v1", b"b\n", {})
    with pytest.raises(VersionError, match="exists already"):
        seal_version(tmp_path, "v1", b"c\n", {})
    assert verify(tmp_path).ok
