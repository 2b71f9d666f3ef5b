"""Open a review, and close it; any command by its name; another method.

open_review     start or continue a review
Session         the review: commands, state, order, publishing
"""

import os
import threading
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, Self

from emgreview.annotations.book import Book
from emgreview.annotations.convention import Convention, convention_words
from emgreview.annotations.events import check_reviewer, check_text
from emgreview.annotations.files import FileSystem
from emgreview.annotations.log import log_path
from emgreview.annotations.proposals import Proposals, check_order
from emgreview.checks import kind, likely_unit
from emgreview.detecting import METHOD, Detect, described, find_onsets, method_words, rebuilt
from emgreview.errors import LogReadOnlyError, ParameterError, UnknownNameError, tell
from emgreview.evidence import Fitness
from emgreview.model import Trials
from emgreview.reading.dataset import NAMELESS
from emgreview.session.commands import COMMANDS, SUBJECTS, Commands
from emgreview.session.lock import one_at_a_time
from emgreview.session.notices import Notices
from emgreview.session.policy import Policy
from emgreview.session.publishing import Publishing
from emgreview.session.standing import Ids


def open_review(
    trials: Trials | Sequence[Trials],
    folder: str | Path,
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
    read_only: bool = False,
    detect: Detect | None = None,
    files: FileSystem | None = None,
) -> "Session":
    """Start a review in ``folder``, or continue the one that is there.

    ``trials`` is one Trials or a list; each recording has its own log. ``order`` is "recorded", "random" (fixed by
    folder and reviewer) or "least certain" (first where the method could not tell, then by the width of its interval);
    ``blind`` hides condition and participant and shuffles trials across recordings. What was told before, when trials
    were read and cut, it cannot hide: cut them with :func:`emgreview.cut_all` and its own ``blind``; where notes
    may have been told by name, a SignalWarning says so.

    ``method`` names the onset detector and ``parameters`` holds what it takes beside its defaults, such as the shortest
    burst and the gap that is merged: ``method="double-threshold", parameters={"shortest_s": 0.05, "merge_s": 0.02}``.
    Without a method the review goes on with the one in its log, parameters included, or begins with "ramp".
    ``detect`` replaces the detector, called like :func:`emgreview.estimate_onsets`. A mark that was reviewed under
    another method, parameters or processing keeps the value that was seen; it joins :attr:`Session.relook` where the
    automatic onset now lies more than ``relook_ms`` from that, or the offset more than ``relook_offset_ms`` (None: the
    offset does not count), or only one of the two is there.

    ``convention`` is how the study marks an onset: a :class:`emgreview.Convention`, or text, one paragraph a line; it
    is kept in the logs, and holds until another is given. With ``read_only`` nothing is locked or written.

    The logs also keep in which unit and gain each channel was read; a recording that comes in another scale is refused.
    ``scale_corrected`` says, in words that the logs keep, why the former reading was the wrong one: marks stay then,
    and amplitudes are those of the scale that comes.

    What the reviewer should know (:attr:`Session.notices`) comes as a SignalWarning each.
    Raises ParameterError, LogLockedError (another process writes), LogTooNewError, LogError (a log belongs to another
    recording, or to one in another scale). A broken log opens the whole review for reading only;
    ``session.problem`` says why.
    """
    given = (trials,) if isinstance(trials, Trials) or not isinstance(trials, Iterable) else tuple(trials)
    for part in given:
        kind("trials", part, Trials, "what cut_trials returns, or a list of such, one a recording")
    kind("folder", folder, (str, os.PathLike), "the path of the folder in which decisions are kept")
    session = Session(
        given,
        Path(folder),
        reviewer=check_reviewer(reviewer),
        order=order,
        blind=blind,
        method=method,
        parameters=parameters,
        relook_ms=relook_ms,
        relook_offset_ms=relook_offset_ms,
        convention=convention,
        scale_corrected=scale_corrected,
        read_only=read_only,
        detect=detect,
        files=files,
    )
    session.tell_notices()
    return session


@one_at_a_time
class Session(Commands, Publishing, Notices):
    """A review in progress; see :func:`open_review`. Use it in a ``with`` block, or close it, to free its logs.

    A command that does less than it was asked, or by which another burst becomes the response, says so: a script hears
    it as a DecisionWarning, a screen by :meth:`on_screen`. It may be used from several threads; hold ``lock`` where
    several calls must see the same. ``policy`` is what a review is about, see :class:`emgreview.session.policy.Policy`.
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
        read_only: bool = False,
        detect: Detect | None = None,
        files: FileSystem | None = None,
        policy: Policy | None = None,
    ):
        self.lock = threading.RLock()
        self._policy = Policy() if policy is None else policy
        self._policy.session = self
        self.trials, self.folder, self.reviewer = trials, folder, reviewer
        self.changed: list[Callable[[Ids], object]] = []
        self._files, self._detect, self._asked_read_only = files, detect, read_only
        self._fitness = Fitness()
        self._heard: list[tuple[str, str]] | None = None
        self._relook_s = {
            "onset": _relook_s("relook_ms", relook_ms),
            "offset": None if relook_offset_ms is None else _relook_s("relook_offset_ms", relook_offset_ms),
        }
        if parameters and method is None and detect is None:
            raise ParameterError(
                f"parameters came without the method that they belong to ({', '.join(parameters)}); name it: method=..."
            )
        words = None if convention is None else convention_words(convention)
        if scale_corrected is not None and not check_text(scale_corrected).strip():
            raise ParameterError("scale_corrected came without words; say why the former reading was the wrong one.")
        check_order(order)
        self._proposals = Proposals(trials)
        recordings = self._proposals.recordings
        logs = (log_path(folder, name, reviewer, one.entities.get("sub")) for name, one in recordings.items())
        as_logged = method is None and detect is None and any(path.exists() for path in logs)
        if not as_logged:  # what is amiss with the method is told before any file is made
            found = find_onsets(trials, method or METHOD, parameters or {}, detect)
        self._book = Book(
            folder,
            recordings,
            reviewer=reviewer,
            blind=blind,
            read_only=read_only,
            files=files,
            scale_corrected=scale_corrected,
        )
        lost: tuple[str, ...] = ()
        try:
            if as_logged:
                name, known, lost = self._method_in_log()
                found = find_onsets(trials, name, known)
            self._proposals.found, self.methods = found, described(trials, found)
            self._book.begin(
                self.methods,
                order=order,
                convention=words,
                cuts={name: [_cut(part) for part in trials if part.recording.name == name] for name in recordings},
            )
        except BaseException:
            self._book.close()
            raise
        self._ledger = self._book.ledger
        self._of_trials = self._not_given()
        self._due: Mapping[str, Collection[str]] | None = None
        self._order = self._proposals.queue(order, seed=self._book.seed, blind=blind)
        self._line_up()
        self._of_method = (*lost, *self._relook_words())
        self.where = self._resume()

    def close(self) -> None:
        """Free the logs. Decisions are on disk already; none can be taken afterwards."""
        self._book.close()

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
        """Any command by its name, for front ends: the ids of the trials it changed."""
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
        """Show condition and participant from now on. An event in every log, which nothing takes back."""
        if self.blind:
            self._book.unblind(reason and check_text(reason))
            self._tell(self.queue)

    @property
    def method_words(self) -> str:
        """The onset method in use, with the parameters that are not its usual ones."""
        return method_words(self.methods[self.trials[0].recording.name]["detection"])

    def change_method(self, method: str, **parameters: Any) -> Ids:
        """Detect anew by another method, or with other parameters; an event in every log, which undo passes over.

        Marks that nobody has reviewed are refreshed. Reviewed ones keep the value that was seen, and join
        :attr:`relook` where the new one differs; :attr:`notices` says how many. The order of the queue stays as it is
        until the review is opened again. Raises what :func:`emgreview.estimate_onsets` does, and LogReadOnlyError;
        then nothing has changed.
        """
        if self.problem:
            raise LogReadOnlyError(f"{self.problem}; the method was not changed.")
        found = find_onsets(self.trials, method, parameters, self._detect)
        methods = described(self.trials, found)
        if not self._book.change_methods(methods):
            return ()
        self._proposals.found, self.methods = found, methods
        again = self._relook_words() or ("No reviewed mark is far from what it says.",)
        self._of_method = (f"Onsets are now found by {self.method_words}.", *again)
        if self._heard is None:
            for words in self._relook_words():
                tell(words)
        return self._tell(self.queue)

    def _method_in_log(self) -> tuple[str, dict[str, Any], tuple[str, ...]]:
        last = self._book.last_method
        return (METHOD, {}, ()) if last is None else rebuilt(last["detection"])


def _relook_s(name: str, came: float) -> float:
    if isinstance(came, (int, float)) and not isinstance(came, bool) and came >= 0:
        likely_unit(name, came, most_s=None)
        return came / 1000
    raise ParameterError(f"{name} came as {came!r}; allowed: milliseconds from 0 on; correct it.")


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
