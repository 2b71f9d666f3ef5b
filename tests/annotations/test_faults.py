"""The log under what really happens: kills, power cuts, full disks, clocks. Acknowledged ⊆ recovered ⊆ attempted."""

import errno
import itertools
import json
import os
import subprocess
import sys
import tempfile
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from log_pieces import HEADER, Failing, Unflushed, comments, fields, write
from power_cuts import Watched, after_a_power_cut, folder_as_disk, materialise
from scripted_reviews import detect, make_trials

from emgreview.annotations import log as log_module
from emgreview.annotations.files import FileSystem
from emgreview.annotations.log import Log
from emgreview.annotations.places import log_path
from emgreview.annotations.verifying import verify
from emgreview.annotations.versions import seal_version
from emgreview.errors import LogError, LogReadOnlyError, LogWriteError, VersionError
from emgreview.session import open_review

KILLS = 240
"""So many at least, and more on a slow machine, until so many decisions were acknowledged."""

MOST_KILLS = 20 * KILLS
"""A machine on which no decision is ever acknowledged fails the test, late."""

KILLER = """
import json, os, random, signal, sys, time
from pathlib import Path
from emgreview.annotations.log import Log
from emgreview.annotations.log_lines import read_log

folder, (kills, enough, most, first, later) = Path(sys.argv[1]), map(json.loads, sys.argv[2:])
chance = random.Random(7)
totals = {"attempted": 0, "acknowledged": 0, "recovered": 0}
torn = silent = 0

def write(out):
    log = Log(path, lambda event: None)
    counter = log.counter
    while True:
        counter += 1
        text = f"{os.getpid()} {counter}"
        os.write(out, f"try {counter} {text}\\n".encode())
        log.append((later if len(log) else first) | {"counter": counter, "reason": text})
        os.write(out, f"saved {counter} {text}\\n".encode())

kill = 0
while kill % 20 or kill < kills or (totals["acknowledged"] <= enough and kill < most):
    if kill % 20 == 0:  # a new log, so that reading it takes little of the time before the kill
        path = folder / str(kill) / "rec_reviewer-r1.jsonl"
        acknowledged, attempted, stored = {}, {}, 0
    if kill % 3 == 1 and path.exists():
        with path.open("ab") as stream:  # an unfinished line, so that the next kill may meet its recovery
            stream.write(b'{"blind":fal')
    back, out = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(back)
        write(out)
    os.close(out)
    time.sleep(chance.uniform(0, 0.08))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    said = b""
    while part := os.read(back, 1 << 16):
        said += part
    os.close(back)
    silent += not said
    for line in said.decode().splitlines():
        word, counter, text = line.split(" ", 2)
        (acknowledged if word == "saved" else attempted)[text] = int(counter)
    found = []
    if path.exists():
        content = read_log(path, lambda event: found.append(event.reason))
        assert content.problem is None, content.problem
        torn += bool(content.torn)
    assert set(acknowledged) <= set(found) <= set(attempted), kill
    assert len(set(found)) == len(found) >= stored
    stored = len(found)
    if kill % 20 == 19:
        for name, count in zip(totals, map(len, (attempted, acknowledged, found)), strict=True):
            totals[name] += count
    kill += 1
print(json.dumps([kill, *totals.values(), silent, torn]))
"""


@pytest.fixture
def on_disk():
    """Where flushing takes its time, for kills at any moment of it; other folders of tests may lie in memory."""
    with tempfile.TemporaryDirectory() as folder:
        yield Path(folder)


def test_kills_at_random_moments_lose_nothing_that_was_acknowledged(on_disk, counted):
    folder = on_disk / "logs"
    lines = [json.dumps(fields(1, "log", HEADER)), json.dumps(fields(1))]
    done = subprocess.run(
        [sys.executable, "-c", KILLER, folder, *map(str, (KILLS, KILLS, MOST_KILLS)), *lines],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    kills, attempted, acknowledged, recovered, silent, torn = json.loads(done.stdout)
    for number, path in enumerate(sorted(folder.rglob("*.jsonl"))):
        Log(path, lambda event: None).close()
        (review := on_disk / f"review-{number}" / "logs").mkdir(parents=True)
        path.rename(review / path.name)
        assert verify(review.parent).ok
    assert kills >= KILLS >= 200
    assert acknowledged > KILLS
    counted(
        f"kill -9: {kills} kills at random moments, {attempted} decisions attempted, {acknowledged} acknowledged, "
        f"{recovered} recovered, 0 lost; {silent} kills before the first decision, {torn} left an unfinished line"
    )


# Power cuts: any subset of what was not yet flushed may be lost ------------------------------------------------------


def test_any_subset_of_what_was_not_flushed_may_be_lost(tmp_path, counted):
    cases = 0
    for torn in (b"", b'{"blind":fal'):
        folder = tmp_path / f"real-{len(torn)}"
        folder.mkdir()
        path = log_path(folder, "rec", "r1")
        known = []
        if torn:
            write(folder, ("old",))
            path.write_bytes(path.read_bytes() + torn)
            known = ["old"]
        start = folder_as_disk(folder)
        files = Watched()
        log = Log(path, lambda event: None, files=files)
        attempted, acknowledged = list(known), [(0, text) for text in known]
        for counter in range(5, 9):
            new = f"comment {counter}"
            first = not len(log)
            attempted.append(new)
            log.append(fields(counter, "log", HEADER) if first else fields(counter, new=new))
            acknowledged.append((len(files.calls), new))
            if first:  # the first line says what is reviewed; it is no comment
                attempted.pop()
                acknowledged.pop()
        log.close()
        for size in range(len(files.calls) + 1):
            must = [text for at, text in acknowledged if at <= size]
            for disk in after_a_power_cut(files.calls[:size], start):
                place = tmp_path / "cut" / str(cases)
                place.mkdir(parents=True)
                materialise(disk, folder, place)
                found, again = comments(log_path(place, "rec", "r1"), Unflushed())
                assert found[: len(must)] == must
                assert found == attempted[: len(found)]
                if torn:
                    assert torn in [one.read_bytes() for one in place.rglob("*.torn-*")]
                assert again.problem.endswith("is closed"), "what was not acknowledged keeps nobody from going on"
                cases += 1
    assert cases > 100
    counted(f"power cuts: {cases} contents of the disk, every subset of unflushed calls lost, halved or blank; 0 lost")


@pytest.mark.filterwarnings("ignore:The last line of:emgreview.errors.SignalWarning")
def test_a_review_goes_on_after_a_power_cut_at_any_moment_of_deciding_and_taking_back(tmp_path, counted):
    """Open, decide, take back, do again, and set aside what a cut before had left; then the same cut again."""
    trials = make_trials(n=2, labels=("FDI",))
    cases = repaired = 0
    for torn in (b"", b'{"blind":fal', bytes(300) + b'"}\n'):
        folder = tmp_path / f"real-{len(torn)}"
        folder.mkdir()
        path = log_path(folder, "rec", "r1")
        if torn:
            start_review(folder, trials).close()
            path.write_bytes(path.read_bytes() + torn)
        start = folder_as_disk(folder)
        files = Watched()
        said = []  # after each command, how many calls there were and what was decided
        with start_review(folder, trials, files=files) as session:
            one, two = session.queue
            commands = [
                (session.accept, one, "FDI"),
                (session.undo,),
                (session.none_visible, two, "FDI"),
            ]
            said.append((len(files.calls), decided(session)))
            for command, *subject in commands:
                command(*subject)
                said.append((len(files.calls), decided(session)))
        for size in range(len(files.calls) + 1):
            must = max((n for n, (at, _) in enumerate(said) if at <= size), default=None)
            for disk in after_a_power_cut(files.calls[:size], start):
                place = tmp_path / "cut" / str(cases)
                place.mkdir(parents=True)
                materialise(disk, folder, place)
                with start_review(place, trials) as session:
                    assert not session.read_only, session.problem
                    found = decided(session)
                    assert found in [state for _, state in said[must or 0 : (must or 0) + 2]]
                    session.accept_rest(two)
                    after = decided(session)
                    repaired += bool(list(place.rglob("*.torn-*")))
                with start_review(place, trials) as session:
                    assert decided(session) == after
                assert verify(place).ok
                cases += 1
    assert cases > 100
    assert repaired > 20
    counted(f"power cuts of a review: {cases} contents of the disk, all gone on with, {repaired} after a set-aside")


def start_review(folder, trials, files=None):
    return open_review(trials, folder, reviewer="r1", detect=detect, files=files or Unflushed())


def decided(session):
    return {trial: repr(session.state(trial)) for trial in sorted(session.queue)}


def test_a_power_cut_while_sealing_leaves_a_whole_version_or_none(tmp_path, counted):
    folder = tmp_path / "real"
    folder.mkdir()
    write(folder)
    start = folder_as_disk(folder)
    files = Watched()
    seal_version(folder, "v1", b"a\n", {"k": 1}, files)
    cases = there = 0
    for size in range(len(files.calls) + 1):
        for disk in after_a_power_cut(files.calls[:size], start):
            place = tmp_path / "cut" / str(cases)
            place.mkdir(parents=True)
            materialise(disk, folder, place)
            found = verify(place)
            assert found.ok, found.problems
            if size == len(files.calls):
                assert found.versions == 1
            there += found.versions
            cases += 1
    assert 0 < there < cases
    counted(
        f"power cuts while sealing: {cases} contents of the disk, {there} with the whole version, the rest with none"
    )


# Failing calls -------------------------------------------------------------------------------------------------------


def test_every_call_fails_once_or_for_ever_while_writing_recovering_and_sealing(tmp_path, counted):
    cases = 0
    for for_ever, torn, nth in itertools.product((False, True), (False, True), range(1, 40)):
        folder = tmp_path / f"{for_ever}-{torn}-{nth}"
        acknowledged, attempted = (["old"], ["old"]) if torn else ([], [])
        path = log_path(folder, "rec", "r1")
        if torn:
            write(folder, ("old",), Unflushed())
            path.write_bytes(path.read_bytes() + b"{")
        files = Failing(nth, for_ever)
        log = Log(path, lambda event: None, files=files)
        for counter in range(5, 10):
            new = HEADER if not len(log) else f"comment {counter}"
            attempted.append(new)
            try:
                log.append(fields(counter, "comment" if isinstance(new, str) else "log", new))
            except (LogWriteError, LogReadOnlyError):
                break
            acknowledged.append(new)
        log.close()
        sealed = None
        with suppress(VersionError, LogError):
            sealed = seal_version(folder, "v1", b"a\n", {}, files)
        events = []
        Log(path, events.append, files=Unflushed()).close()
        recovered = [event.new for event in events if not (torn and event.new == HEADER)]
        assert recovered[: len(acknowledged)] == acknowledged
        assert recovered == attempted[: len(recovered)]
        found = verify(folder)
        assert found.ok or (not events and found.events == 0), found.problems
        assert sealed is None or found.versions == 1
        cases += 1
    counted(f"failing calls: {cases} runs, the nth write, fsync, rename or truncate failing once or for ever; 0 lost")


# Disks ---------------------------------------------------------------------------------------------------------------


@contextmanager
def small_disk(place, size="64k"):
    """A file system of its own, or a skip with the reason."""
    place.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", place], capture_output=True, text=True, check=False
    )
    if made.returncode:
        pytest.skip(f"no file system of its own can be mounted here: {made.stderr.strip() or made.returncode}")
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", place], check=True)


def fill(log, counter):
    """Append until the disk refuses: the counters acknowledged."""
    done = []
    while True:
        counter += 1
        try:
            log.append(fields(counter, new=f"comment {counter}"))
        except (LogWriteError, LogReadOnlyError) as why:
            return done, why
        done.append(f"comment {counter}")


def test_a_full_disk_keeps_every_acknowledged_decision_and_goes_on_when_space_returns(tmp_path, counted):
    with small_disk(tmp_path / "disk") as disk:
        path = write(disk, ())
        (disk / "other").write_bytes(bytes(24 << 10))
        log = Log(path, lambda event: None)
        acknowledged, why = fill(log, 1)
        assert "No space left" in str(why)
        log.close()
        assert comments(path)[0] == acknowledged, "still full"
        (disk / "other").unlink()
        log = Log(path, lambda event: None)
        assert not log.read_only, log.problem
        more = [log.append(fields(counter, new=f"comment {counter}")).new for counter in range(5000, 5020)]
        log.close()
        assert comments(path)[0] == acknowledged + more
        assert verify(disk).ok
    counted(f"full disk: {len(acknowledged)} acknowledged, all there, and {len(more)} more when space had returned")


def test_a_disk_that_is_full_by_injection_behaves_the_same(tmp_path, counted):
    class Small(FileSystem):
        room = 9000

        def write(self, fd, content):
            if self.room < len(content):
                part, self.room = self.room, 0
                super().write(fd, content[:part])
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            self.room -= len(content)
            super().write(fd, content)

    files = Small()
    path = write(tmp_path, (), files)
    acknowledged, _ = fill(Log(path, lambda event: None, files=files), 1)
    found, log = comments(path, files)
    assert found == acknowledged
    assert "No space left" in log.problem, "the unfinished line cannot be set aside yet"
    files.room = 100_000
    log = Log(path, lambda event: None, files=files)
    assert "unfinished" in log.notice
    log.append(fields(5000, new="more"))
    log.close()
    assert comments(path)[0] == [*acknowledged, "more"]
    assert verify(tmp_path).ok
    counted(f"full disk, injected (works without the right to mount): {len(acknowledged)} acknowledged, all there")


def test_a_folder_that_is_read_only_opens_for_reading(tmp_path, counted):
    with small_disk(tmp_path / "disk") as disk:
        path = write(disk)
        path.write_bytes(path.read_bytes() + b'{"blind":fal')
        subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
        found, log = comments(path)
        assert found == ["one", "two", "three"]
        assert "reading only" in log.problem
        with pytest.raises(LogReadOnlyError):
            log.append(fields(9))
    counted(f"read-only folder: {len(found)} of 3 decisions read, the torn rest left alone, 1 of 1 new one refused")


# Clocks and locks ----------------------------------------------------------------------------------------------------


def test_a_clock_that_goes_backwards_changes_no_order(tmp_path, monkeypatch, counted):
    times = iter(f"2026-01-{day:02}T00:00:00.000Z" for day in range(31, 0, -1))
    monkeypatch.setattr(log_module, "now", lambda: next(times))
    path = write(tmp_path)
    assert comments(path)[0] == ["one", "two", "three"]
    assert [json.loads(line)["time"][8:10] for line in path.read_bytes().splitlines()] == ["31", "30", "29", "28"]
    assert verify(tmp_path).ok
    counted("clock going backwards: 4 lines, a day earlier each, in their order")


def test_the_lock_of_a_dead_process_stands_in_nobodys_way(tmp_path, counted):
    path = write(tmp_path)
    code = (
        "import os, sys\nfrom pathlib import Path\nfrom emgreview.annotations.log import Log\n"
        "log = Log(Path(sys.argv[1]), lambda event: None)\nos.kill(os.getpid(), 9)"
    )
    deaths = 3
    for number in range(deaths):
        assert subprocess.run([sys.executable, "-c", code, path], check=False).returncode == -9
        assert list(path.parent.glob(".*.lock"))
        assert list(path.parent.glob(".*.writer"))
        log = Log(path, lambda event: None)
        log.append(fields(9 + number, new=f"after {number}"))
        log.close()
        assert comments(path)[0][-1] == f"after {number}"
    counted(f"stale locks: {deaths} of dead processes, none in anybody's way")


def test_a_cut_at_the_end_of_a_line_is_found_against_a_sealed_head(tmp_path, counted):
    path = write(tmp_path, tuple(map(str, range(30))))
    seal_version(tmp_path, "v1", b"a\n", {})
    lines = path.read_bytes().splitlines(keepends=True)
    for size in range(len(lines)):
        path.write_bytes(b"".join(lines[:size]))
        assert not verify(tmp_path).ok
    counted(f"cuts at the end of a line: {len(lines)}, each found against the sealed head")
