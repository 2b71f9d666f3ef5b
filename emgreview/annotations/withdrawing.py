"""How a person's logs leave a review for good, as where somebody withdraws from a study and their data must be deleted.

What these logs say of the review as a whole (draws, hidden marks, audits, what is settled between whom) stands in one
log of each reviewer, often that of the first recording; it is carried over into another one first. Then the fact is
written, in every log that stays of the reviewer who says it; then the files go, one after the other. Whatever ends this
half-way, saying it again ends it: what was said is not said twice, and what is left is removed.

    withdraw        say it, and remove the files
    Withdrawn       what was done
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from emgreview.annotations.events import ZEROS, Event, check_name, check_reviewer, check_text, digest_of
from emgreview.annotations.files import demand_review_folder
from emgreview.annotations.known_heads import GO_ON, known_heads
from emgreview.annotations.ledger import CARRY_OVER, carried
from emgreview.annotations.left_behind import left_behind
from emgreview.annotations.lock import WriterLock, demand_free
from emgreview.annotations.log import Log
from emgreview.annotations.log_lines import read_log
from emgreview.annotations.places import logs_in, recording_in
from emgreview.annotations.removing import (
    demand_inside,
    demand_open,
    remove_empty,
    remove_log,
    remove_version,
    take,
    told_where_it_ends,
)
from emgreview.annotations.versions import clear_unfinished, sealed_names
from emgreview.annotations.withdrawals import WITHDRAW, Withdrawal, withdrawals
from emgreview.checks import kind, refusal, review_folder
from emgreview.errors import LogError, LogReadOnlyError, ParameterError, UnknownNameError
from emgreview.plain_files import found_at
from emgreview.running.cache import NAME, remove_beside
from emgreview.showing import Shown


@dataclass(frozen=True, eq=False, repr=False)
class Withdrawn(Shown):
    """What was withdrawn; :func:`emgreview.withdraw` returns it.

    Attributes
    ----------
    participant : str or None
        Whose logs were withdrawn; None where recordings were named.
    recordings : tuple of str
        The recordings of these logs.
    logs : tuple of str
        Their places in the folder.
    removed : tuple of str
        Every file and version that was removed, and the cache beside the review.
    left : tuple of str
        What still speaks of them, a sentence each.
    """

    participant: str | None
    recordings: tuple[str, ...]
    logs: tuple[str, ...]
    removed: tuple[str, ...]
    left: tuple[str, ...]

    def _parts(self) -> Iterator[str]:
        whom = "Recordings" if self.participant is None else f"Participant {self.participant}"
        logs = f"{len(self.logs)} log{'s' * (len(self.logs) != 1)}"
        yield f"{whom} withdrawn: {logs} of {', '.join(self.recordings)}; {len(self.removed)} files removed."
        yield from self.left


def withdraw(
    folder: str | Path,
    participant: str | None = None,
    *,
    reviewer: str,
    reason: str,
    recordings: Sequence[str] = (),
    versions: Sequence[str] = (),
) -> Withdrawn:
    """Withdraw a participant from a review: delete all logs of that person, of every reviewer, and
    keep in the others that this was done, and why.

    Close the review first. The rest of it goes on: it is opened, compared, merged, settled,
    sealed, replayed and verified without them, and says so wherever that changes a count. It
    cannot be undone.

    Parameters
    ----------
    folder : str or Path
        The review folder. No log of the participant or the reviewer may be open.
    participant : str or None
        The participant's code, with or without "sub-". None: ``recordings`` are named.
    reviewer : str
        Who says it: a reviewer with a log of somebody else, which keeps it.
    reason : str
        Why, in words that the logs keep; no names of people.
    recordings : sequence of str
        Names of recordings, where they have no participant, or where one alone goes.
    versions : sequence of str
        Sealed versions to delete too, as they hold rows of the participant; all others stay
        as they are, and say on reading whose logs are gone.

    Returns
    -------
    Withdrawn
        What was removed, and what still speaks of the participant.

    Raises
    ------
    UnknownNameError
        No log, version or other log knows such a participant or recording; there is no such
        version; the reviewer has no log.
    ParameterError
        Neither a participant nor a recording is named, or both; the reason is no text.
    DecisionError
        The reason holds control characters, or is too long.
    LogLockedError
        One of these logs, or of the reviewer's own, is open elsewhere; nothing was done.
    LogError
        The reviewer has no log but of that participant, or none that can be written; what is
        to be deleted lies behind a link that leads out of the folder, or is not yours to
        delete.
    ReadError
        A lock's place holds something else.

    Notes
    -----
    The statement is written and flushed before any file goes. What was interrupted is ended by
    saying it again, and so is what a backup or a synchronised folder brought back.

    Codes of trials stay in versions and where other logs say what was drawn, disputed or
    accepted in bulk.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> recs = er.simulate_study(2, 2, 1000, seed=1).recordings
    >>> trials = [er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5) for rec in recs]
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1") as session:
    ...         _ = [session.accept_rest(trial) for trial in session.queue]
    ...     done = er.withdraw(folder, "02", reviewer="r1", reason="withdrew consent")
    ...     found = er.verify(folder)
    >>> done.logs, found.ok, found.logs
    (('logs/sub-02/sub-02_reviewer-r1.jsonl',), True, 1)
    """
    folder = review_folder(folder)
    code = _code(participant, recordings)
    check_reviewer(reviewer)
    if not isinstance(reason, str) or not check_text(reason).strip():
        raise refusal("reason", reason, "why, in words that the logs keep", "say why")
    demand_review_folder(folder)
    kind("versions", versions, (list, tuple, set, frozenset), "a list of names of sealed versions")
    removed_before = {name for one in withdrawals(folder) for name in one.versions}
    for name in versions:
        if name not in (there := sealed_names(folder)) and name not in removed_before:
            raise UnknownNameError("sealed version", name, there)
    known = withdrawals(folder)
    going = _going(folder, code, tuple(recordings), known)
    for place in [*((folder / where).parent for where in going), *(folder / "versions" / name for name in versions)]:
        demand_inside(folder, place)
        demand_open(place)
    mine = [path for path in logs_in(folder, reviewer) if path.relative_to(folder).as_posix() not in going]
    with ExitStack() as held:
        for where in going:
            if found_at(folder / where) is not None:
                lock = WriterLock(folder / where)
                held.callback(lock.give_free)
                take(lock, where)
        demand_free(path for path in mine if not Log.here(path))  # or it would be said in one, and fail at the next
        names = tuple(sorted({str(recording_in(Path(where).name)) for where in going}))
        said = Withdrawal(reviewer, "", reason, code, names, going, tuple(sorted(map(str, versions))))
        if mine:
            _carry_over(folder, going, reviewer)
        _say(folder, mine, said, known, logs_in(folder, reviewer))
        with told_where_it_ends(said):
            removed = [file for where in going for file in remove_log(folder, where)]
            removed += [remove_version(folder, name) for name in versions if name in sealed_names(folder)]
    with told_where_it_ends(said):
        for where in going:  # the locks' own files, when nobody holds them any more
            removed += remove_log(folder, where, locks=True)
        remove_empty(folder, going)
        removed += clear_unfinished(folder)
        removed += [NAME] * remove_beside(folder)  # what is kept there does not tell of whom it is
    return Withdrawn(code, names, tuple(going), tuple(removed), tuple(left_behind(folder, going, code)))


def _code(participant: str | None, recordings: Sequence[str]) -> str | None:
    kind("participant", participant, (str, type(None)), "the participant's code as text, or None")
    kind("recordings", recordings, (list, tuple), "a list of names of recordings")
    if (participant is None) == (not recordings):
        came = "both came" if recordings else "neither came"
        raise ParameterError(
            f"a participant or recordings are withdrawn, and {came}; give the participant's code, or recordings=[…]."
        )
    for name in recordings:
        check_name("recording name", name)
    return None if participant is None else check_name("participant", participant.removeprefix("sub-"))


def _going(
    folder: Path, code: str | None, recordings: tuple[str, ...], known: Sequence[Withdrawal]
) -> dict[str, dict[str, Any]]:
    """Every log that is to go, by its place: its lines and head as it is, 0 lines where it is gone or cannot be read.
    Those that are known by a version or another log alone belong to them, and those that were withdrawn before."""
    there = {path.relative_to(folder).as_posix(): path for path in logs_in(folder)}
    missing = {head.where for head in known_heads(folder, lambda where: True, all_logs=True)} - set(there)
    before = {where for one in known for where in one.logs if code == one.participant}
    found: dict[str, dict[str, Any]] = {}
    codes: set[str] = set()
    for where in sorted({*there, *missing, *before}):
        path = Path(where)
        of = path.parent.name.removeprefix("sub-") if path.parent.name != "logs" else _participant(there.get(where))
        codes |= {of} if of else set()
        if recording_in(path.name) in recordings or (code is not None and of == code):
            found[where] = _head(there.get(where))
    if not found and code is not None:
        raise UnknownNameError("participant with a log", code, sorted(codes), folder.name)
    for name in recordings:
        if not any(recording_in(Path(where).name) == name for where in found):
            names = {recording_in(Path(where).name) for where in {*there, *missing}}
            raise UnknownNameError("recording with a log", name, sorted(filter(None, names)), folder.name)
    return found


def _participant(path: Path | None) -> str | None:
    """The participant that the first line of a log names."""
    found: list[Event] = []
    with suppress(LogError, OSError):
        if path is not None:
            read_log(path, found.append)
    return found[0].subject["participant"] if found else None


def _head(path: Path | None) -> dict[str, Any]:
    if path is not None:
        with suppress(LogError, OSError):
            content = read_log(path, lambda event: None)
            return {"lines": len(content.lines), "sha256": content.head}
    return {"lines": 0, "sha256": ZEROS}


def _say(
    folder: Path, mine: Sequence[Path], said: Withdrawal, known: Sequence[Withdrawal], counted: Sequence[Path]
) -> None:
    """Write it into every log of a reviewer that stays, and what was said before in logs that go now. What a log says
    already it does not say again."""
    covered = {where for one in known if set(said.versions) <= set(one.versions) for where in one.logs}
    if not set(said.logs) <= covered:
        known = [*known, said]
    if not mine:
        others = sorted({path.stem.rpartition("_reviewer-")[2] for path in logs_in(folder)} - {said.reviewer})
        if not counted:
            raise UnknownNameError(f"reviewer with a log in {folder.name}", said.reviewer, others)
        raise LogError(
            f"every log of reviewer {said.reviewer!r} is of {said.whom}, and none would keep that they were withdrawn; "
            "have it said by another reviewer, or, where nobody else was reviewed, delete the folder."
        )
    counter = max(_counter(path) for path in counted)
    problem, written = "", 0
    for path in mine:
        events: list[Event] = []
        log = Log(path, events.append)
        try:
            if log.problem or not events:
                problem = log.problem or f"{path.name} is empty"
                continue
            stands = {digest_of(one.new["withdrawn"]) for one in events if one.operation == WITHDRAW}
            for one in known:
                if digest_of(one.stated) not in stands:
                    counter += 1
                    log.append(_line(events[-1], events[0], counter, one))
            written += 1
        finally:
            log.close()
    if not written:
        raise LogReadOnlyError(f"{problem}; nothing was withdrawn.")


_OF_ITS_LOG = frozenset(
    ("open log", "continue log", "change convention", "correct scale", "change method", "seal", GO_ON, WITHDRAW)
)
"""What a log says of itself, or says in every log."""


def _carry_over(folder: Path, going: Mapping[str, Any], by: str) -> None:
    """Keep in a log that stays what those that go say of the review as a whole."""
    for reviewer in sorted({path.stem.rpartition("_reviewer-")[2] for path in logs_in(folder)}):
        staying, notes = [], dict[tuple[int, str], Event]()
        for path in logs_in(folder, reviewer):
            if path.relative_to(folder).as_posix() not in going:
                staying.append(path)
                continue
            events: list[Event] = []
            with suppress(LogError, OSError):
                read_log(path, events.append)
            for event in events:
                of_all = event.field == "log" and event.operation not in _OF_ITS_LOG and event.seq
                for note in (carried(event) or [event]) if of_all else ():
                    notes[note.counter, note.operation] = note
        if not (staying and notes):
            continue
        counter = max(_counter(path) for path in logs_in(folder, reviewer))
        for path in staying:
            there: list[Event] = []
            log = Log(path, there.append)
            try:
                if log.problem or not there:
                    continue
                held = {(note.counter, note.operation) for event in there for note in carried(event)}
                new = [note for key, note in sorted(notes.items()) if key not in held]
                words = f"said by reviewer {by!r}, as a log that held this is withdrawn"
                if new:
                    log.append(_carrying(there, counter + 1, new, words))
                break
            finally:
                log.close()
        else:
            raise LogReadOnlyError(
                f"no log of reviewer {reviewer!r} that stays can be written, and what is to go holds draws, plans or "
                "settlements of that review; nothing was withdrawn; see verify."
            )


def keep_notes(path: Path, notes: Sequence[Event]) -> None:
    """Write into a copy of a log, after its last line, what stood in a log that was withdrawn."""
    there: list[Event] = []
    log = Log(path, there.append)
    try:
        log.append(_carrying(there, log.counter + 1, notes, "kept for a version"))
    finally:
        log.close()


def _carrying(there: Sequence[Event], counter: int, notes: Sequence[Event], words: str) -> Mapping[str, Any]:
    line = _line(there[-1], there[0], counter, Withdrawal(there[0].reviewer, "", words, None, (), {}))
    kept = [{name: getattr(note, name) for name in ("operation", "counter", "time", "reason", "new")} for note in notes]
    return {**line, "operation": CARRY_OVER, "new": {"notes": kept}}


def _line(last: Event, first: Event, counter: int, one: Withdrawal) -> Mapping[str, Any]:
    empty = {"channel": None, "trial": None, "burst": None}
    return {
        "counter": counter,
        "reviewer": last.reviewer,
        "operation": WITHDRAW,
        "subject": {**first.subject, **empty},
        "showing": 1,
        "field": "log",
        "old": None,
        "new": {"withdrawn": one.stated},
        "reason": one.reason,
        "visible": {},
        "blind": last.blind,
    }


def _counter(path: Path) -> int:
    with suppress(LogError, OSError):
        return read_log(path, lambda event: None).counter
    return 0
