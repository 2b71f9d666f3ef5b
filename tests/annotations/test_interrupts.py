"""An interrupt at every line of a command: what was told as saved is there, and memory is what the disk is, or says so.

Ctrl-C comes between any two steps of a program. Each command is run again and again, interrupted some lines later each
time, until it runs through: five in the gate, one where EMGREVIEW_EVERY_LINE is set, which takes minutes.
"""

import itertools
import os
import sys
from contextlib import suppress
from pathlib import Path

import pytest
from log_pieces import HEADER, Unflushed, comments, fields
from scripted_reviews import make_trials, start, whole

from emgreview import annotations
from emgreview import session as session_package
from emgreview.annotations.log import Log
from emgreview.annotations.places import log_path
from emgreview.annotations.verifying import verify
from emgreview.annotations.versions import TABLE, read_sealed, sealed_names
from emgreview.errors import LogReadOnlyError, LogWriteError

WATCHED = (
    "log.py",
    "appending.py",
    "ledger.py",
    "reviewer_logs.py",
    "files.py",
    "recording.py",
    "order.py",
    "review.py",
)
"""The modules between a command and the disk, and back to memory."""
PLACES = tuple(str(Path(one.__file__).parent / name) for one in (annotations, session_package) for name in WATCHED)

STEP = 1 if os.environ.get("EMGREVIEW_EVERY_LINE") else 5

TRIALS = [make_trials("rec", n=2, sub="01"), make_trials("second", n=2, seed=2, sub="01")]


def interrupted(call, number):
    """Run ``call``, raising KeyboardInterrupt before line ``number`` of the package; whether it came so far."""
    left = [number]

    def trace(frame, what, _):
        if frame.f_code.co_filename not in PLACES:
            return None
        if what == "line":
            left[0] -= 1
            if left[0] == 0:
                raise KeyboardInterrupt
        return trace

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        call()
    except KeyboardInterrupt:
        return True
    finally:
        sys.settrace(before)
    return False


def open_again(folder, **options):
    return start(folder, TRIALS, files=Unflushed(), **options)


COMMANDS = {
    "a mark": lambda session: session.none_visible(session.queue[0], "FDI"),
    "an undo": lambda session: session.undo(),
    "a participant": lambda session: session.exclude("ill", participant="01"),
    "a note that hides": lambda session: session.note("begin self-check", HIDING),
    "another method": lambda session: session.change_method("ramp", onset_s=0.3),
}
HIDING = {"hide": [["rec_given_1000", "FDI"]]}


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
@pytest.mark.parametrize("which", COMMANDS)
def test_an_interrupt_at_any_line_leaves_memory_as_the_disk_or_ends_the_review(tmp_path, which, counted):
    ended = went_on = 0
    with open_again(tmp_path / "whole") as session:
        session.comment(session.queue[1], "before")
        COMMANDS[which](session)
        last = whole(session)
    for number in itertools.count(1, STEP):
        folder = tmp_path / str(number)
        with open_again(folder) as session:
            session.comment(session.queue[1], "before")
            first = whole(session)
            lines = _operations(folder).count('"self"')
            came = interrupted(lambda s=session: COMMANDS[which](s), number)
            if not came:
                break
            held, dead = whole(session), session.problem is not None
            sealed = None
            if dead:
                ended += 1
                with pytest.raises(LogWriteError, match="open it again"):
                    session.comment(session.queue[2], "after")
                with pytest.raises(LogReadOnlyError, match="nothing was sealed"):
                    session.seal("v1")
            else:
                went_on += 1
                assert session.comment(session.queue[2], "after")
                held = whole(session)
                sealed = session.as_version()[0]
                assert session.seal("v1")
        found = verify(folder)
        assert found.ok, (number, found.problems)
        with open_again(folder) as again:
            assert again.problem is None
            if which != "another method":  # which an open session alone goes on with
                assert whole(again) in ((held,) if not dead else (first, last)), number
            if dead:
                assert sealed_names(folder) == ()
                if which != "another method" and _operations(folder).count('"self"') > lines:
                    assert "is there, and saved" in " ".join(again.notices), number
            else:
                assert whole(again) == held or which == "another method", number
                assert which == "another method" or again.as_version()[0] == sealed
                assert sealed == (folder / "versions" / "v1" / TABLE).read_bytes()
    assert min(ended, went_on) > 5
    counted(f"interrupts of {which}: {ended} ended the review, {went_on} left it whole")


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_an_interrupt_while_sealing_leaves_a_version_that_can_be_read_or_none(tmp_path, counted):
    there = 0
    for number in itertools.count(1, STEP):
        folder = tmp_path / str(number)
        with open_again(folder) as session:
            session.comment(session.queue[0], "before")
            if not interrupted(lambda s=session: s.seal("v1"), number):
                break
            with suppress(LogWriteError):
                session.comment(session.queue[1], "after")
        found = verify(folder)
        assert found.ok, (number, found.problems)
        for name in sealed_names(folder):
            there += 1
            assert read_sealed(folder, name).whole
    assert there > 5
    counted(f"interrupts of a seal: {number // STEP}, {there} with the version there")


@pytest.mark.filterwarnings("ignore::emgreview.errors.SignalWarning")
def test_an_interrupt_at_any_line_of_unblinding_never_lets_a_review_be_blind_again(tmp_path):
    for number in itertools.count(1, STEP):
        folder = tmp_path / str(number)
        with open_again(folder, blind=True) as session:
            if not interrupted(lambda s=session: s.unblind("done"), number):
                break
            dead = session.problem is not None
            assert dead or session.blind == ('"operation":"unblind"' not in _operations(folder))
        shown = '"operation":"unblind"' in _operations(folder)
        with open_again(folder, **({"unblind": "done"} if shown else {"blind": True})) as again:
            assert again.problem is None


def test_an_interrupt_at_any_line_of_the_log_alone_breaks_no_chain(tmp_path):
    for number in itertools.count(1):
        path = log_path(tmp_path / str(number), "rec", "r1")
        log = Log(path, lambda event: None, files=Unflushed())
        log.append(fields(1, "log", HEADER))
        saved = ["one"] if not (came := interrupted(lambda one=log: one.append(fields(2, new="one")), number)) else []
        if not log.dead:
            log.append(fields(3, new="two"))
            saved.append("two")
        log.close()
        found, again = comments(path)
        assert again.problem is None or again.problem.endswith("is closed")
        assert set(saved) <= set(found) <= {"one", "two"}, number
        if not came:
            break


def _operations(folder):
    return " ".join(path.read_text("utf-8") for path in (folder / "logs").rglob("*.jsonl"))
