"""All logs of one reviewer in a review, as one: opened together, replayed in the order of the commands, appended to.

ReviewerLogs    open, append, close; what holds for the whole
"""

import dataclasses
import hashlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from emgreview.annotations import known_heads, scales, telling, unblinding, withdrawals
from emgreview.annotations.appending import Appending
from emgreview.annotations.environment import installed
from emgreview.annotations.events import SCHEMA, Event
from emgreview.annotations.files import FileSystem
from emgreview.annotations.known_heads import Head
from emgreview.annotations.ledger import Step
from emgreview.annotations.log import Log
from emgreview.annotations.log_lines import read_log
from emgreview.annotations.methods import Method
from emgreview.annotations.places import log_path, logs_in, recording_in, twins, twins_told
from emgreview.annotations.verifying import way_on
from emgreview.errors import DecisionError, LogError
from emgreview.model import Recording

CONTINUED: Mapping[str, tuple[str, ...]] = {
    "continue log": ("packages", "cuts", "scales"),
    "change convention": ("convention",),
}
"""What a log's first line says of its surroundings, by the operation that says it anew when it has changed."""


class ReviewerLogs(Appending):
    """The logs of one reviewer for some recordings, by recording name. Opening reads them; :meth:`begin` must come
    before the first event.

    ``ledger`` is what they add up to, ``seed`` the random order's.
    """

    def __init__(
        self,
        folder: Path,
        recordings: Mapping[str, Recording],
        *,
        reviewer: str,
        blind: bool,
        read_only: bool,
        files: FileSystem | None,
        scale_corrected: str | None = None,
        unblind: str | None = None,
        log_restored: str | None = None,
        coming: Collection[str] = (),
    ):
        """``coming``: recordings that join later; ``scale_corrected``: why a scale other than the logs' is right;
        ``unblind``: why a blind review is shown; ``log_restored``: why to go on from logs that lack lines which a
        version or another log names.
        Raises LogLockedError, LogTooNewError, LogError (a log of another recording, or of one in another scale; a
        recording of somebody who was withdrawn, or whose name another one has here), DecisionError (blind again, or
        blind so far and not to be shown)."""
        super().__init__(reviewer, blind)
        self._scale_corrected, self._unblind, self._log_restored = scale_corrected, unblind, log_restored
        self._folder, self._read_only, self._files, self._coming = folder, read_only, files, frozenset(coming)
        self._lost: dict[str, list[Head]] = {}
        self._recordings: dict[str, Recording] = {}
        self._unread: list[str] = []
        self._wrong_before: list[str] = []
        self._counter, self._told = 0, list[telling.Told]()
        try:
            self._open(recordings, blind)
        except BaseException:
            self.close()
            raise
        seeds = [log.header["seed"] for log in self._logs.values() if log.header]
        self.seed: str = [*seeds, hashlib.sha256(f"{folder.name}/{reviewer}".encode()).hexdigest()[:16]][0]
        if scale_corrected and not self._wrong_before:
            self._told.append(("", "Every recording comes in the scale that is known of it: none was corrected."))
        if log_restored and not self._lost:
            self._told.append(("", "log_restored came, and no line is known that the logs lack: nothing was written."))

    def join(self, recordings: Mapping[str, Recording]) -> None:
        """Open the logs of further recordings; :meth:`begin` must come before their first event. Raises as opening
        does; then none of them is open."""
        before = set(self._logs)
        try:
            self._open(recordings, self.blind)
        except BaseException:
            for name in set(self._logs) - before:
                self._logs.pop(name).close()
                self._recordings.pop(name, None)
            raise

    def _open(self, recordings: Mapping[str, Recording], blind: bool) -> None:
        folder, reviewer = self._folder, self.reviewer
        first = not self._logs
        gone = withdrawals.withdrawals(folder)
        taken = telling.taken_by(folder, [*logs_in(folder), *(log.path for log in self._logs.values())])
        for name, recording in recordings.items():
            participant = recording.entities.get("sub")
            path = log_path(folder, name, reviewer, participant)
            withdrawals.refuse(gone, name, path.relative_to(folder).as_posix(), participant)
            telling.refuse_namesake(folder, path, recording)
            telling.refuse_alike(folder, path, taken)
            log = self._logs[name] = Log(path, self.ledger.apply, files=self._files, read_only=self._read_only)
            self._recordings[name] = recording
            if log.broken and log.problem:
                log.problem = f"{log.problem} {way_on(folder, path, len(log), log.problem)}".rstrip()
            self._check(log, recording)
            self._told += telling.of_others(log.path, recording)
        self.ledger.settle()
        missed = {where for one in gone for where in one.logs}
        heads = known_heads.known_heads(folder, known_heads.by(reviewer), missed)
        self._look_for_lost_lines(folder, heads, recordings)
        self._agree_on_blind(blind)
        self._tell_of_lost_lines_elsewhere(folder, heads)
        own = {log.path for log in self._logs.values()}
        others = [path for path in logs_in(folder, reviewer) if path not in own]
        new = {self._logs[name].path for name in recordings}
        for alike in twins([*own, *others]):
            if new & set(alike):
                self._close_twin(folder, alike)
        known = {log.path.parent for log in self._logs.values()} - {folder / "logs"}  # of participants who came
        strangers = [
            path for path in others if path.parent not in known and recording_in(path.name) not in self._coming
        ]
        if first and not any(map(len, self._logs.values())):  # who goes on here knows what else lies here
            self._told += telling.of_strangers(folder, reviewer, strangers, self.blind)
        self._told += telling.of_dataset(folder, recordings.values())
        self._told += [("", words) for words in known_heads.told_of_folder(folder, gone, names=not self.blind)]
        self._read_of_participants(others)
        counters = [self._logs[name].counter for name in recordings] + [
            unblinding.last_counter(path) for path in others
        ]
        self._counter = max([self._counter, *counters])

    def begin(
        self,
        methods: Mapping[str, Method],
        *,
        order: str,
        convention: str | None,
        cuts: Mapping[str, Sequence[Mapping[str, Any]]],
    ) -> None:
        """Write the first line of new logs, to the others what has changed since they were last open, and why a blind
        review is shown; nothing where nothing can be appended. ``convention`` None: as it was."""
        convention = self.convention if convention is None else convention
        for name in methods if self.problem is None else ():
            scale = scales.stated(self._recordings[name])
            facts = {"packages": installed(), "convention": convention, "cuts": list(cuts[name]), "scales": scale}
            self._begin(name, methods[name], order, facts)
        known = {name: one for name, one in self._recordings.items() if self._logs[name].header}
        self._told += telling.of_twins(known)  # their samples were read for their logs
        if self._unblind is None:
            return
        if not self.blind:
            self._told.append(("", unblinding.NOT_BLIND))
        elif self.problem is None:
            self.unblind(self._unblind)
        else:
            self.blind = False
            self._told.append(("", unblinding.NOT_KEPT))

    @property
    def notices(self) -> tuple[str, ...]:
        return (
            *(log.notice for log in self._logs.values() if log.notice),
            *dict.fromkeys(self._unread),
            *self.scale_notes,
            *telling.sentences(self._told),
        )

    @property
    def scale_notes(self) -> tuple[str, ...]:
        """What is to be known of the scale of the recordings, in sentences: that a log did not always state it, that it
        was corrected."""
        late: dict[str, list[str]] = {}
        for name, log in self._logs.items():
            if log.header is not None and "scales" not in log.header:
                late.setdefault(self.ledger.said[name].scale_since, []).append(name)
        corrected = [_corrected(note) for note in self.ledger.notes if note.operation == scales.CORRECT]
        return (*(telling.scales_not_kept(names, since) for since, names in sorted(late.items())), *corrected)

    def scales(self, recording: str) -> scales.Scales | None:
        """The scales of a recording that its log states, None where it states none."""
        found: scales.Scales | None = self._facts(recording).get("scales")
        return found

    @property
    def convention(self) -> str | None:
        """How onsets are to be marked, in the study's own words, or None."""
        stated = [words for name in self._recordings if (words := self._facts(name).get("convention"))]
        return [*stated, None][0]

    def unblind(self, reason: str | None) -> None:
        """Say in every log that the reviewer sees everything from now on."""
        with self.as_one("Unblinding") as within:
            self.blind = False
            for name in self._logs:
                self.append(name, "unblind", "blind", True, False, reason=reason, within=within)

    def heads(self, folder: Path) -> dict[str, dict[str, Any]]:
        """Lines and head of every log that is open, by its place in the folder, as they must be on disk. Raises
        LogBrokenError where one was changed by something else, OSError where it is gone."""
        for log in self._logs.values():
            log.demand_unchanged("nothing was sealed")
        return {
            log.path.relative_to(folder).as_posix(): {"lines": len(log), "sha256": log.head}
            for log in self._logs.values()
        }

    def event(self, step: Step) -> Event:
        """The event of a command."""
        return self._logs[step.recording].event(step.seq)

    def method(self, recording: str) -> Method:
        """Processing and detection in force. Raises LogError where no line of the log says them."""
        facts = self._facts(recording)
        if "processing" not in facts:
            why = self._logs[recording].problem
            raise LogError(
                f"no line of the log of {recording!r} can be read, so how it was processed is not known"
                f"{f': {why}.' if why else '; open the review for writing, or restore the log from a copy.'}"
            )
        return {part: facts[part] for part in ("processing", "detection")}

    @property
    def last_method(self) -> Method | None:
        """Processing and detection that were written last, in any of the logs; None before the first line."""
        said = [(one.method.counter, name) for name, one in self.ledger.said.items() if one.method is not None]
        return self.method(max(said)[1]) if said else None

    def change_methods(self, methods: Mapping[str, Method], within: str = "") -> list[str]:
        """Write the methods that are not those in force, and return whose they are."""
        before = {name: self.method(name) for name in methods}
        changed = [
            name
            for name in methods
            if any(before[name][part]["hash"] != methods[name][part]["hash"] for part in before[name])
        ]
        for name in changed:
            self.append(name, "change method", "method", before[name], methods[name], within=within)
        return changed

    def method_since(self, recording: str) -> int:
        """The counter of the last change of method or of package versions, 0 if there was none."""
        said = self.ledger.said.get(recording)
        return 0 if said is None else said.since

    def close(self) -> None:
        for log in self._logs.values():
            log.close()

    def _look_for_lost_lines(self, folder: Path, heads: Sequence[Head], names: Iterable[str]) -> None:
        """Close the logs that lack lines which are known, unless a person goes on from them or did so before."""
        there = {path.relative_to(folder).as_posix() for path in logs_in(folder, self.reviewer)}
        for name in names:
            log = self._logs[name]
            where = log.path.relative_to(folder).as_posix()
            before = known_heads.accepted(
                (note for note in self.ledger.notes if note.subject["recording"] == name), where
            )
            missing = [head for head in heads if head[1:] not in before]
            own = [head for head in missing if head.where == where]
            if log.broken or not missing:
                continue
            digests = {where: log.digests}
            gone = known_heads.lost(own, digests)
            twins_gone = [
                head
                for head in missing
                if head.where not in there and head.where != where and Path(head.where).name == log.path.name
                if not known_heads.elsewhere(head, digests)
            ]
            if gone or (twins_gone and self._log_restored is not None):
                self._lost[name] = [*gone, *twins_gone]
            if not gone:
                continue
            words = known_heads.cut_back(where, gone, len(log), log.event(len(log) - 1).time if len(log) else "")
            if self._read_only:
                self._unread.append(f"{words}.")
            elif self._log_restored is None:
                log.close()
                log.problem = words

    def _tell_of_lost_lines_elsewhere(self, folder: Path, heads: Sequence[Head]) -> None:
        """A name of a recording that is not open is hidden from nobody else but a blind reviewer."""
        own = {log.path.relative_to(folder).as_posix() for log in self._logs.values()}
        going_on = {head for gone in self._lost.values() for head in gone}
        others = [
            head
            for head in heads
            if head.where not in own
            and head not in going_on
            and recording_in(Path(head.where).name) not in self._coming  # it is looked at when it is opened
        ]
        told = list(known_heads.told_of_logs(folder, others))
        if told and self.blind:
            told = [f"{len(told)} of your other logs lack lines that are known; have somebody else run verify"]
        self._unread += [f"Of logs that are not open here: {words}." for words in told]

    def _close_twin(self, folder: Path, alike: Sequence[Path]) -> None:
        """Open for reading only what stands twice: which of the two counts nobody can tell, and nothing rests on it."""
        words = twins_told(folder, sorted(alike))
        for log in self._logs.values():
            if log.path in alike and log.problem is not None:
                self._unread.append(words)
            elif log.path in alike:
                log.close()
                log.problem = words.rstrip(".")

    def _check(self, log: Log, recording: Recording) -> None:
        if log.header is None:
            return
        known = self._facts(recording.name)
        telling.refuse_another(log.path.name, log.header, recording)
        was = known.get("scales") or scales.from_cuts(known.get("cuts"), log.header["labels"])
        found = scales.compare(was, scales.stated(recording))
        if found.place or not self._scale_corrected:
            telling.refuse_scale(found, recording.name)
        if found.amplitude:
            self._wrong_before.append(recording.name)
        if found.beside:
            self._told.append((recording.name, telling.beside_the_emg(found)))

    def _agree_on_blind(self, asked: bool) -> None:
        """Refuse to hide what was shown before, and to show what is hidden without a reason."""
        if asked and self.ledger.unblinded:
            raise DecisionError(
                f"this review was unblinded on {self.ledger.unblinded}; it cannot be blind again; open it with "
                "blind=False."
            )
        still = [name for name, said in self.ledger.said.items() if said.blind]
        if not asked and self._unblind is None:
            unblinding.refuse(self.reviewer, still, len(self._recordings))
        self.blind = bool(asked or still)  # with a reason, until begin writes it down

    def _facts(self, recording: str) -> Mapping[str, Any]:
        """What the log of a recording says of it, nothing before its first line."""
        said = self.ledger.said.get(recording)
        return {} if said is None else said.facts

    def _read_of_participants(self, paths: Sequence[Path]) -> None:
        """What logs of recordings that are not opened now say of the participants of those that are."""
        folders = {log.path.parent for name, log in self._logs.items() if self._recordings[name].entities.get("sub")}
        for path in paths:
            if path.parent not in folders:
                continue
            try:
                problem = read_log(path, self.ledger.apply_of_participant).problem
            except OSError as why:
                problem = f"{path.name} cannot be read ({why.strerror or why})"
            if problem:
                self._unread.append(f"Whether the participant was excluded there is not known: {problem}")

    def _begin(self, name: str, method: Method, order: str, facts: Mapping[str, Any]) -> None:
        """Write a new log's first line, or what has changed since the last one."""
        log, recording = self._logs[name], self._recordings[name]
        if log.header is None:
            first = {
                "schema": SCHEMA,
                "fingerprint": dataclasses.asdict(recording.fingerprint),
                "labels": list(recording.labels),
                "rate_hz": recording.rate_hz,
                "n_samples": recording.n_samples,
                "order": order,
                "seed": self.seed,
                **facts,
                **method,
            }
            self.append(name, "open log", "log", None, first)
            self._go_on_after_loss(name)
            return
        self._go_on_after_loss(name)
        rate_hz, known = recording.rate_hz, self.method(name)
        self._told += telling.of_changes(name, rate_hz, self._facts(name).get("cuts"), facts["cuts"], known, method)
        before = self._facts(name).get("scales")
        if scales.compare(before, facts["scales"]).amplitude:
            old, new = {"scales": before}, {"scales": facts["scales"]}
            self.append(name, scales.CORRECT, "log", old, new, reason=self._scale_corrected)
        self.change_methods({name: method})
        for operation, parts in CONTINUED.items():
            old = {fact: self._facts(name).get(fact) for fact in parts}
            new = {fact: facts[fact] for fact in parts}
            if old != new:
                self.append(name, operation, "log", old, new)

    def _go_on_after_loss(self, name: str) -> None:
        """Keep that a person goes on from a log that lacks lines, and which."""
        if gone := self._lost.get(name):
            own = self._logs[name].path.relative_to(self._folder).as_posix()
            twin = [{} if head.where == own else {"log": head.where} for head in gone]  # where one stood twice
            lost = [{"by": head.by, "lines": head.lines, "sha256": head.sha256} for head in gone]
            new = {"lost": [one | more for one, more in zip(lost, twin, strict=True)]}
            self.append(name, known_heads.GO_ON, "log", None, new, reason=self._log_restored)


def _corrected(event: Event) -> str:
    """That a scale was corrected, in a sentence."""
    words = "; ".join(scales.compare(event.old["scales"], event.new["scales"]).amplitude)
    return f"The scale of {event.subject['recording']} was corrected on {event.time} ({event.reason}): {words}."
