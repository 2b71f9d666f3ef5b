"""One review whole: closed as it was opened; any command by its name; another method.

Session         the review: commands, state, order, publishing
"""

import threading
from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, Self

from emgreview.annotations.convention import Convention, convention_words
from emgreview.annotations.events import check_text
from emgreview.annotations.files import FileSystem
from emgreview.annotations.places import log_path
from emgreview.annotations.proposals import Proposals, check_order
from emgreview.annotations.reviewer_logs import ReviewerLogs
from emgreview.annotations.unblinding import checked
from emgreview.checks import tolerance_ms
from emgreview.detecting import METHOD, Detect, described, find_onsets, method_words, rebuilt
from emgreview.errors import LogReadOnlyError, ParameterError, UnknownNameError, tell
from emgreview.evidence import Fitness
from emgreview.many.arriving import Arrivals
from emgreview.model import Trials
from emgreview.plain_files import found_at
from emgreview.reading.dataset import NAMELESS
from emgreview.session.commands import COMMANDS, Commands
from emgreview.session.current import Ids
from emgreview.session.lock import one_at_a_time
from emgreview.session.notices import Notices
from emgreview.session.policy import Policy
from emgreview.session.publishing import Publishing
from emgreview.session.subjects import SUBJECTS


@one_at_a_time
class Session(Commands, Publishing, Notices):
    """A review in progress; :func:`open_review` returns it.

    Use it in a ``with`` block, or close it, to free its logs. Times are seconds from the
    trial's recorded cue. Every command validates, appends one event to the log, and only then
    changes the state; it returns the ids of the trials that it changed, () where nothing
    changes.

    A command that does less than it was asked, or by which another burst becomes the
    response, says so: a script hears it as a DecisionWarning, a screen by :meth:`on_screen`.
    Every command raises UnknownNameError for a trial or channel that is not here, and
    LogReadOnlyError or LogWriteError where its event cannot be written: then nothing has
    changed. It may be used from several threads; hold ``lock`` where several calls must see
    the same.

    Attributes
    ----------
    trials : tuple of Trials
        What is reviewed; where some are still to arrive, those that are there.
    folder : Path
        Where decisions are kept.
    reviewer : str
        Code of the reviewer.
    queue : tuple of str
        Ids of the trials in the order of the review; a silent repeat has an id of its own.
    where : str
        The present trial.
    methods : mapping
        How onsets are detected in each recording, as the logs say it.
    changed : list of callable
        Observers; each is called with the ids that a command changed.
    lock : RLock
        Held while a method runs.
    """

    def __init__(
        self,
        trials: tuple[Trials, ...],
        folder: Path,
        *,
        reviewer: str,
        order: str = "recorded",
        blind: bool = False,
        method: str | None = None,
        parameters: Mapping[str, Any] | None = None,
        relook_ms: float = 10.0,
        relook_offset_ms: float | None = 50.0,
        convention: Convention | str | None = None,
        scale_corrected: str | None = None,
        unblind: str | None = None,
        log_restored: str | None = None,
        read_only: bool = False,
        detect: Detect | None = None,
        files: FileSystem | None = None,
        policy: Policy | None = None,
        coming: Arrivals | None = None,
    ):
        self.lock = threading.RLock()
        self._policy = Policy() if policy is None else policy
        self._policy.session = self
        self.trials, self.folder, self.reviewer = trials, folder, reviewer
        self._coming, self._asked_order = coming, order
        self.changed: list[Callable[[Ids], object]] = []
        self._files, self._detect, self._asked_read_only = files, detect, read_only
        self._fitness = Fitness()
        self._heard: list[tuple[str, str]] | None = None
        self._relook_s = {
            "onset": tolerance_ms("relook_ms", relook_ms) / 1000,
            "offset": None if relook_offset_ms is None else tolerance_ms("relook_offset_ms", relook_offset_ms) / 1000,
        }
        if parameters and method is None and detect is None:
            raise ParameterError(
                f"parameters came without the method that they belong to ({', '.join(parameters)}); name it: method=..."
            )
        words = None if convention is None else convention_words(convention)
        if scale_corrected is not None and not check_text(scale_corrected).strip():
            raise ParameterError("scale_corrected came without words; say why the former reading was the wrong one.")
        if log_restored is not None and not check_text(log_restored).strip():
            raise ParameterError("log_restored came without words; say why lines are missing, as 'backup of Monday'.")
        unblind = checked(unblind, blind)
        check_order(order)
        self._proposals = Proposals(trials)
        recordings = self._proposals.recordings
        logs = (log_path(folder, name, reviewer, one.entities.get("sub")) for name, one in recordings.items())
        as_logged = method is None and detect is None and any(found_at(path) is not None for path in logs)
        if not as_logged:  # what is amiss with the method is told before any file is made
            found = find_onsets(trials, method or METHOD, parameters or {}, detect)
        self._logs = ReviewerLogs(
            folder,
            recordings,
            reviewer=reviewer,
            blind=blind,
            read_only=read_only,
            files=files,
            scale_corrected=scale_corrected,
            unblind=unblind,
            log_restored=log_restored,
            coming=() if coming is None else coming.names,
        )
        lost: tuple[str, ...] = ()
        try:
            if as_logged:
                name, known, lost = self._method_in_log()
                found = find_onsets(trials, name, known)
            self._proposals.found, self.methods = found, described(trials, found)
            self._convention_asked = words
            self._logs.begin(self.methods, order=order, convention=words, cuts=_cuts(trials))
        except BaseException:
            self._logs.close()
            raise
        self._ledger = self._logs.ledger
        self._of_trials = self._not_given()
        self._due: Mapping[str, Collection[str]] | None = None
        self._settle_order(order if self.complete else "recorded")
        self._put_in_order = self.complete
        self._line_up()
        self._logs.heed = self._heed
        self._lost_words = len(lost)
        self._of_method = (*lost, *self._relook_words())
        self.where = self._resume()

    def _settle_order(self, order: str) -> None:
        self._order = self._proposals.queue(order, seed=self._logs.seed, blind=self.blind)

    def _join(self, parts: Sequence[Trials], names: Sequence[str]) -> None:
        """Trials that arrived become part of the review, in the order of ``names``, or nothing of it does."""
        trials = tuple(parts)
        kept = self._logs.last_method
        detection = kept["detection"] if kept is not None and self._detect is None else None
        name, known = (METHOD, {}) if detection is None else rebuilt(detection)[:2]
        found = find_onsets(trials, name, known, self._detect)
        new = Proposals(trials)
        self._proposals.demand_others(new)
        self._logs.join(new.recordings)
        methods = described(trials, found)
        self._logs.begin(methods, order=self._asked_order, convention=self._convention_asked, cuts=_cuts(trials))
        rank = {one: number for number, one in enumerate(names)}
        self.trials = tuple(sorted((*self.trials, *trials), key=lambda part: rank[part.recording.name]))
        self._proposals.add(new, self.trials)
        self._proposals.found, self.methods = {**self._proposals.found, **found}, {**self.methods, **methods}
        self._order = tuple(self._proposals.places)
        self._of_trials = self._not_given()
        self._of_method = (*self._of_method[: self._lost_words], *self._relook_words())

    def close(self) -> None:
        """Free the logs. Decisions are on disk already; none can be taken afterwards."""
        if self._coming is not None:
            self._coming.stop()
        self._logs.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> Literal[False]:
        self.close()
        return False

    def __repr__(self) -> str:
        """What a notebook shows of it: how far it is, and what the reviewer should know."""
        with self.lock:
            trials = self.progress[3]
            how = f"{', blind' if self.blind else ''}{', read only' if self.read_only else ''}"
            notes = [*([self.problem] if self.problem else []), *self.notices]
            lines = [f"Review by {self.reviewer}{how}: {self.progress_words}, {trials} trials, in {self.folder}"]
            shown = (f"  note: {note if note == NAMELESS else self.neutral(note)}" for note in notes)
            return "\n".join([*lines, *shown, *(f"  note: {note}" for note in self.noted)])

    def apply(self, command: str, trial: str | None = None, channel: str | None = None, **arguments: Any) -> Ids:
        """Any command by its name, for front ends.

        Parameters
        ----------
        command : str
            A name in :data:`COMMANDS`.
        trial, channel : str or None
            What it is about; for a command on a recording, ``trial`` is the recording.
        **arguments
            The command's other arguments, by name.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed.

        Raises
        ------
        UnknownNameError
            There is no such command.
        """
        if command not in COMMANDS:
            raise UnknownNameError("command", command, COMMANDS)
        subject = SUBJECTS[command]
        if trial is not None and subject.first is not None:
            arguments[subject.first] = trial
        if channel is not None and subject.channel:
            arguments["channel"] = channel
        ids: Ids = getattr(self, command)(**arguments)
        return ids

    def unblind(self, reason: str | None = None) -> None:
        """Show condition and participant from now on. An event in every log, which nothing takes
        back.

        Parameters
        ----------
        reason : str or None
            Why, in words that the log keeps.

        Raises
        ------
        DecisionError
            The reason holds a control character or line break.
        """
        self.demand_all("Unblinding")
        if self.blind:
            self._logs.unblind(reason and check_text(reason))
            self._tell(self.queue)

    @property
    def method_words(self) -> str:
        """The onset method in use, with the parameters that are not its usual ones."""
        return method_words(self.methods[self.trials[0].recording.name]["detection"])

    def change_method(self, method: str, **parameters: Any) -> Ids:
        """Detect anew by another method, or with other parameters; an event in every log, which undo
        passes over.

        Marks that nobody has reviewed are refreshed. Reviewed ones keep the value that was seen,
        and join :attr:`relook` where the new one differs; :attr:`notices` says how many. The order
        of the queue stays as it is until the review is opened again.

        Parameters
        ----------
        method : str
            The onset method, as for :func:`emgreview.estimate_onsets`.
        **parameters
            Its parameters.

        Returns
        -------
        tuple of str
            Ids of the trials that it changed: all, or () where the method is the same.

        Raises
        ------
        LogReadOnlyError
            No decision can be taken.
        EmgreviewError
            What :func:`emgreview.estimate_onsets` raises; in both cases nothing has changed.

        Warns
        -----
        SignalWarning
            Reviewed marks are to be looked at again.
        """
        if self.problem:
            raise LogReadOnlyError(f"{self.problem}; the method was not changed.")
        self.demand_all("Another method")
        found = find_onsets(self.trials, method, parameters, self._detect)
        methods = described(self.trials, found)
        with self._logs.as_one("Changing the method") as within:
            if not self._logs.change_methods(methods, within):
                return ()
            self._proposals.found, self.methods = found, methods
        again = self._relook_words() or ("No reviewed mark is far from what it says.",)
        self._of_method = (f"Onsets are now found by {self.method_words}.", *again)
        if self._heard is None:
            for words in self._relook_words():
                tell(words)
        return self._tell(self.queue)

    def _method_in_log(self) -> tuple[str, dict[str, Any], tuple[str, ...]]:
        last = self._logs.last_method
        return (METHOD, {}, ()) if last is None else rebuilt(last["detection"])


def _cuts(trials: Sequence[Trials]) -> dict[str, list[dict[str, Any]]]:
    """How the trials of each recording were cut, as its log says it."""
    cuts: dict[str, list[dict[str, Any]]] = {}
    for part in trials:
        cuts.setdefault(part.recording.name, []).append(_cut(part))
    return cuts


def _cut(part: Trials) -> dict[str, Any]:
    """How trials were cut, as a log says it: enough to cut the same ones again."""
    cues: dict[str, list[int]] = {}
    for marker in part.cues:
        cues.setdefault(marker.source, []).append(int(marker.sample))
    channels = [part.recording.channel(label) for label in part.labels]
    cut = {
        "cue": part.cue,
        "cues": cues,
        "before": part.before,
        "length": len(part.time_s),
        "channels": list(part.labels),
        "delays_s": [channel.delay_s for channel in channels],
    }
    searches: list[dict[str, Any]] = []
    for marker in part.cues:
        if marker.search is not None and dict(marker.search) not in searches:
            searches.append(dict(marker.search))
    return {**cut, "searches": searches} if searches else cut
