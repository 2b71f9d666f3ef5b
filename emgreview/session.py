"""One review: open it, decide, undo, seal. The only mutable object of the package; any front end drives this alone.

Every command validates, appends one event to the log and flushes it, and only then changes the state: the state never
runs ahead of the file. Times that go in or out are seconds from the trial's recorded cue; the log holds sample numbers
of the recording. A decision that changes nothing writes nothing, except on a mark of the re-look list or one accepted
in bulk, where it confirms. The commands stand in one file, over 400 lines, because together they are the one contract
with front ends.

    open_review     start or continue a review
    Session         its commands, state, queue and undo
    COMMANDS        the names that apply knows
"""

import dataclasses
import functools
import inspect
import math
import os
import sys
import threading
import warnings
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import Any, Literal, NamedTuple, Self, TypeVar

from emgreview import tables
from emgreview.annotations import fields
from emgreview.annotations import state as states
from emgreview.annotations.book import Book, installed, machine
from emgreview.annotations.convention import Convention, convention_words
from emgreview.annotations.events import (
    BEHAVIOURS,
    CAUTIONS,
    CONFIDENCES,
    KINDS,
    REASONS,
    Event,
    check_choice,
    check_reasons,
    check_reviewer,
    check_text,
    digest_of,
)
from emgreview.annotations.fields.added_cue import AddedCue
from emgreview.annotations.fields.marked_burst import MarkedBurst
from emgreview.annotations.fields.set_aside import Stretch
from emgreview.annotations.files import FileSystem
from emgreview.annotations.hidden import Hiding, unveil, veil
from emgreview.annotations.log import log_path
from emgreview.annotations.proposals import Automatic as Automatic
from emgreview.annotations.proposals import Proposals, check_order
from emgreview.annotations.state import Activity, TrialState
from emgreview.annotations.telling import NAMES, sentences
from emgreview.annotations.versions import Sealed, seal_version
from emgreview.checks import kind, likely_unit
from emgreview.detecting import METHOD, Detect, described, find_onsets, method_words, rebuilt
from emgreview.errors import (
    DecisionError,
    DecisionWarning,
    LogReadOnlyError,
    ParameterError,
    UnknownNameError,
    tell,
)
from emgreview.evidence import Fitness
from emgreview.model import Marker, Recording, Trials, to_sample
from emgreview.reading.dataset import NAMELESS
from emgreview.remarks import on_bursts
from emgreview.unnamed import unnamed

Ids = tuple[str, ...]
_Kind = TypeVar("_Kind")


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


def one_at_a_time(cls: type[_Kind]) -> type[_Kind]:
    """A class of which one public method or property runs at a time, whatever the thread; ``lock`` is held meanwhile.

    A notebook's host may deliver what a screen sends on a thread of its own while a cell runs.
    """

    def alone(run: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(run)
        def held(self: Any, *given: Any, **named: Any) -> Any:
            with self.lock:
                return run(self, *given, **named)

        return held

    for name, member in tuple(vars(cls).items()):
        if not name.startswith("_") and isinstance(member, property) and member.fget:
            setattr(cls, name, property(alone(member.fget), doc=member.__doc__))
        elif not name.startswith("_") and inspect.isfunction(member):
            setattr(cls, name, alone(member))
    return cls


@one_at_a_time
class Session:
    """A review in progress; see :func:`open_review`. Use it in a ``with`` block, or close it, to free its logs.

    A command that does less than it was asked, or by which another burst becomes the response, says so: a script hears
    it as a DecisionWarning, a screen by :meth:`on_screen`. It may be used from several threads; hold ``lock`` where
    several calls must see the same.
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
    ):
        self.lock = threading.RLock()
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

    # What stands -------------------------------------------------------------------------------------------------

    @property
    def problem(self) -> str | None:
        """Why no decision can be taken, in a sentence, or None."""
        return self._book.problem

    @property
    def read_only(self) -> bool:
        return self.problem is not None

    @property
    def notices(self) -> tuple[str, ...]:
        """Sentences the reviewer should see: what opening had to set aside, what is not as it was, decisions whose
        trials are not here, what a change of method asks for, and whom a blind review cannot hide."""
        nameless = all(not one.entities.get("sub") for one in self._proposals.recordings.values())
        told = (*self._book.notices, *self._of_method, *self._of_trials)
        return (*told, NAMELESS) if self.blind and nameless else told

    @property
    def noted(self) -> tuple[str, ...]:
        """What reading the recordings and cutting the trials had to say, each sentence once, with whose it is; but for
        what is of one trial alone, which its card says. In a blind review without names: see :meth:`neutral`."""
        told = [
            (part.recording.name, f"{NAMES}: {note}")
            for part in self.trials
            for note in dict.fromkeys((*part.recording.notes, *part.notes))
            if not note.startswith("The trial at sample ")
        ]
        if not self.blind:
            return tuple(sentences(told))
        counts = Counter(self.neutral(words) for _, words in told)
        return tuple(
            words.replace(NAMES, "a recording" if n == 1 else f"{n} recordings") for words, n in counts.items()
        )

    def neutral(self, words: str) -> str:
        """Words as they may be shown: while the review is blind without the names of recordings and participants, and
        without what a recording says of a channel that it marks bad."""
        return unnamed(words, self._proposals.recordings.values()) if self.blind else words

    def tell_notices(self) -> None:
        """A SignalWarning for each of :attr:`notices`: a script and a notebook see no field of an object."""
        if self.problem and not self._asked_read_only:
            tell(f"Nothing can be decided in this review: {self.neutral(self.problem)}")
        for words in self.notices:
            tell(words if words == NAMELESS else self.neutral(words))
        cut_by_name = {
            part.recording.name for part in self.trials if not part.blind and (part.notes or part.recording.notes)
        }
        if self.blind and cut_by_name and not self._asked_read_only:
            tell(
                f"Notes on {len(cut_by_name)} of {len(self._proposals.recordings)} recordings may have been told by "
                "name when these were read and cut, which says whose trials are shown; clear what that cell printed "
                "before you review, and cut them with cut_all(…, blind=True), which tells notes without names."
            )

    def _not_given(self) -> tuple[str, ...]:
        """That decisions of the logs are about trials, or channels of trials, that are not among those given."""
        recordings, places = self._proposals.recordings, self._proposals.places
        lost = {
            trial: recording
            for (recording, trial, label, field, _), value in self._ledger.values.items()
            if trial
            and recording in recordings
            and field not in ("no cue", "cue")
            and value is not None
            and (trial not in places or (label is not None and label not in places[trial].labels))
        }
        if not lost:
            return ()
        return (
            f"{len(lost)} trials that were decided on are not here as they were, {next(iter(lost))} the first: another "
            "cue label, level, or choice of channels than before. Their decisions stay in the logs, and are in no "
            "table; to see them, cut the trials as they were.",
        )

    @property
    def blind(self) -> bool:
        """Whether condition and participant are hidden."""
        return self._book.blind

    @property
    def convention(self) -> str | None:
        """How the study marks an onset, in its own words, one paragraph a line, or None."""
        return self._book.convention

    def state(self, trial: str) -> TrialState:
        """The state of one trial, frozen, as it is to be shown: without automatic marks that are hidden."""
        return self._state(trial, self._shown)

    def _state(self, trial: str, activity_of: Callable[[str, str], Activity]) -> TrialState:
        place = self._proposals.place(trial)
        name = place.recording.name
        channels = {
            label: states.channel_state(
                label,
                self._value(trial, label, "signal"),
                activity_of(trial, label),
                self._value(trial, label, "comment"),
                self._value(trial, label, "discuss"),
                place.cue,
                place.rate_hz,
                self._in_bulk(trial, label),
            )
            for label in place.labels
        }
        return TrialState(
            trial,
            name,
            self._value(trial, None, "behaviour"),
            self._value(trial, None, "comment"),
            self._value(trial, None, "discuss"),
            place.cue,
            self._value(trial, None, "cue"),
            place.rate_hz,
            MappingProxyType(channels),
        )

    def automatic(self, trial: str, channel: str) -> Automatic:
        """What the method says of one channel of one trial; nothing where that is hidden."""
        found = self._proposals.automatic(trial, channel)
        return NOTHING_SHOWN if self.hides_automatic(trial, channel) else found

    @property
    def progress(self) -> tuple[int, int, int, int]:
        """Channel-trials reviewed, channel-trials, trials reviewed, trials. Reviewed are those decided by a person and
        those accepted in bulk: :attr:`unlooked` says how many of them nobody looked at."""
        total = sum(map(len, map(self._labels_due, self.queue)))
        left = sum(map(len, self._open.values()))
        return total - left, total, sum(not labels for labels in self._open.values()), len(self._open)

    @property
    def unlooked(self) -> int:
        """How many of the channel-trials reviewed were accepted in bulk, and nobody has looked at since."""
        return sum(
            self._in_bulk(trial, label)
            for trial in self.queue
            for label in self._labels_due(trial)
            if label not in self._open[trial]
        )

    @property
    def counted(self) -> str:
        """What :attr:`progress` counts, in words, with those that nobody looked at."""
        unlooked = self.unlooked if self._ledger.bulk else 0
        return f"channel-trials reviewed{f', {unlooked} of them in bulk and looked at by nobody' if unlooked else ''}"

    @property
    def progress_words(self) -> str:
        """How far the review is, in a sentence's part: "40 of 40 reviewed, 12 of them …"."""
        done, total = self.progress[:2]
        return f"{done} of {total} {self.counted.removeprefix('channel-trials ')}"

    def next_unreviewed(self, after: str | None = None) -> str | None:
        """The next trial in the queue with a channel not yet reviewed, starting after one and going round; or None."""
        if after is not None:
            self._proposals.place(after)
        start = 0 if after is None else self._rank.get(after, -1) + 1
        return next((trial for trial in self.queue[start:] + self.queue[:start] if self._open[trial]), None)

    def go_to(self, trial: str) -> str:
        """Make a trial the present one. Not an event: a review resumes where decisions were taken."""
        self._proposals.place(trial)
        self.where = trial
        return trial

    @property
    def relook(self) -> Ids:
        """Trials with a mark that was reviewed under another method or processing, which saw another value than the
        present one says; how far away counts is told to :func:`open_review`."""
        return tuple(dict.fromkeys(trial for trial, _ in self._stale_marks()))

    def _stale_marks(self) -> Iterator[tuple[str, str]]:
        for trial in self.queue:
            yield from ((trial, label) for label in self._places[trial].labels if self._stale(trial, label))

    def showing(self, **visible: Any) -> None:
        """Say what is on screen; it is recorded with the decisions that follow, until it is said anew: a front end uses
        :meth:`on_screen`. Values must be plain JSON."""
        digest_of(visible)
        self._book.visible = visible

    @contextmanager
    def on_screen(self, **visible: Any) -> Iterator[list[tuple[str, str]]]:
        """One decision of a screen: ``visible`` is recorded with what is decided inside the block, and with nothing
        after it. Gives a list that fills with what the commands have to say, (trial, words) each, instead of warnings.
        """
        with self.lock:
            before, heard = self._book.visible, self._heard
            self.showing(**visible)
            said: list[tuple[str, str]] = []
            self._heard = said
            try:
                yield said
            finally:
                self._book.visible, self._heard = before, heard

    # What is not shown -------------------------------------------------------------------------------------------

    def hides_automatic(self, trial: str, channel: str | None = None) -> bool:
        """Whether the automatic mark of a channel, or of any channel of the trial, is hidden from the reviewer."""
        labels = self._proposals.place(trial, channel).labels if channel is None else (channel,)
        source = self._proposals.source(trial)[0]
        return any((source, label) in self._hiding.automatic for label in labels)

    def say(self, trial: str, words: str) -> None:
        """Tell who called a command, once it is done, what it does not say by itself: a script by a DecisionWarning, a
        screen by its list; see :meth:`on_screen`."""
        if self._heard is not None:
            self._heard.append((trial, words))
            return
        level, frame = 1, sys._getframe()
        while frame.f_back and frame.f_code.co_filename == __file__:
            level, frame = level + 1, frame.f_back
        warnings.warn(f"trial {trial!r}: {words}", DecisionWarning, stacklevel=level)

    def unfit(self, trial: str, channel: str) -> str:
        """Why a channel of a trial cannot be judged without a look at it, in a few words; "" where it can.

        It is marked bad in its recording; it is dead, flat, missing, or clipped so near to its rest that not even an
        onset can be judged (:mod:`emgreview.signal.unfit` says what that means); it is clipped where nobody marked a
        burst, nor did the method; a stretch of it in this trial was set aside; the method could not tell, or found
        activity without an onset. What decides on several channels at once passes over these and says so. Of an
        automatic mark that is hidden nothing is told.
        """
        place = self._proposals.place(trial, channel)
        source = place.recording.channel(channel)
        if source.status == "bad":
            why = f" ({source.status_description})" if source.status_description and not self.blind else ""
            return f"marked bad in the recording{why}"
        if words := self._fitness.words(place.trials, place.row, channel):
            return words
        if any(
            (name, label) == (place.recording.name, channel) and start < place.stop and place.first < stop
            for name, label, start, stop, _ in self.aside
        ):
            return "a stretch of it was set aside"
        if self.hides_automatic(trial, channel):
            return ""
        bursts = self._activity(trial, channel).bursts
        whole = self._fitness.clipped(place.trials, place.row, channel, 0, place.stop - place.first)
        if not bursts and whole > 0:
            return f"clipped in {_share(whole)} of its samples, and no burst was found"
        found = self._proposals.automatic(trial, channel)
        if found.undecided:
            return f"the method could not tell: {found.note}"
        if math.isnan(found.onset_s) and found.present >= _PRESENT:
            return "the method found activity, but no onset: it may have begun before the cue"
        return ""

    def clipped(self, trial: str, channel: str) -> str:
        """What is to be known of a channel whose bursts can be judged, but are clipped; "" where none that stands is.

        Of a clipped burst the onset can be used and the size cannot: amplitudes come out too small. What decides on
        several channels at once says these words. Of an automatic mark that is hidden nothing is told."""
        bursts = self.state(trial).channels[channel].standing
        share = max((self._clipped(trial, channel, one.onset, one.offset) for one in bursts), default=0.0)
        return f"clipped in {_share(share)} of its burst: onset usable, size not" if share > 0 else ""

    def automatic_clipped(self, trial: str, channel: str) -> float:
        """Share of the samples of the automatic mark that are clipped, whatever anybody decided; 0 without a mark, and
        where it is hidden."""
        found, place = self.automatic(trial, channel), self._proposals.place(trial, channel)
        if math.isnan(found.onset_s):
            return 0.0
        onset, offset = (
            None if math.isnan(s) else place.cue + to_sample(s, place.rate_hz) for s in (found.onset_s, found.offset_s)
        )
        return self._clipped(trial, channel, onset, offset)

    def _clipped(self, trial: str, channel: str, onset: int | None, offset: int | None) -> float:
        """Share of a burst's samples that are clipped, of its first 100 ms without an offset; 0 where not known."""
        place = self._proposals.place(trial, channel)
        if onset is None:
            return 0.0
        stop = onset + max(1, to_sample(_WITHOUT_OFFSET_S, place.rate_hz)) if offset is None else offset
        share = self._fitness.clipped(place.trials, place.row, channel, onset - place.first, stop - place.first)
        return 0.0 if math.isnan(share) else share

    def source(self, trial: str) -> str:
        """The trial itself, as its Trials name it, for any id in the queue; a silent repeat has an id of its own."""
        self._proposals.place(trial)
        return self._proposals.source(trial)[0]

    def asked(self, trial: str) -> tuple[str, ...]:
        """The channels of a trial that this review is about: all, unless it was narrowed."""
        return tuple(label for label in self._proposals.place(trial).labels if label in self._labels_due(trial))

    def stretch(self, trial: str) -> tuple[int, int]:
        """First and past-last sample of a trial in its recording; they may lie beyond its ends."""
        place = self._proposals.place(trial)
        return place.first, place.stop

    def open_channels(self, trial: str) -> tuple[str, ...]:
        """Those of :meth:`asked` that wait for a decision."""
        return tuple(label for label in self.asked(trial) if label in self._open[trial])

    @property
    def notes(self) -> tuple[Event, ...]:
        """The events of the logs that are about the review itself, in order."""
        return tuple(self._ledger.notes)

    @property
    def bulk_sentences(self) -> Ids:
        """What every acceptance in bulk is worth, in the words that the log keeps; a sealed version holds them too."""
        return tuple(note.new["sentence"] for note in self.notes if note.operation == states.ACCEPTANCE)

    def keep_to(self, due: Mapping[str, Collection[str]]) -> None:
        """Narrow the review to some channels of some trials: the queue, the progress and what comes next. Not an event:
        whoever narrows it notes why."""
        for trial, labels in due.items():
            for label in labels:
                self._proposals.place(trial, label)
        if not due:
            raise ParameterError("a review of no trial was asked for; name at least one.")
        self._due = dict(due)
        self._line_up()
        self.where = self._resume()

    def note(self, operation: str, value: Mapping[str, Any], reason: str | None = None) -> Event:
        """Write an event about the review itself, with what it hides or shows again; see ``annotations.hidden``."""
        event = self._book.append(next(iter(self._proposals.recordings)), operation, "log", None, value, reason=reason)
        if {"hide", "reveal", "show_again", "only"} & set(value):
            self._line_up()
            self._tell(self.queue)
        return event

    # Commands ----------------------------------------------------------------------------------------------------

    def apply(self, command: str, trial: str | None = None, channel: str | None = None, **arguments: Any) -> Ids:
        """Any command by its name, for front ends: the ids of the trials it changed."""
        if command not in COMMANDS:
            raise UnknownNameError("command", command, COMMANDS)
        if trial is not None and command not in ("undo", "redo"):
            arguments["recording" if command in _ON_RECORDING else "trial"] = trial
        if channel is not None and command not in _WITHOUT_CHANNEL:
            arguments["channel"] = channel
        ids: Ids = getattr(self, command)(**arguments)
        return ids

    def accept(self, trial: str, channel: str, burst: str | None = None) -> Ids:
        """Accept a burst where it stands, None: all that stand. Where nothing was detected or all was removed, this
        records "none visible", with what the method said as the old value. Where the automatic mark is hidden, there
        must be a mark of the reviewer's own."""
        self._demand_own_mark(trial, [channel])
        before = self._activity(trial, channel).found
        ids = self._act("accept", trial, channel, lambda now: states.accept(now, burst), burst)
        nothing = ids and before != "none visible" and self._activity(trial, channel).found == "none visible"
        if nothing and (why := self.unfit(trial, channel)):
            self.say(trial, f"{channel}: recorded as none visible, but: {why}. Unusable may say it better.")
        return ids

    def accept_in_bulk(self, trial: str, channel: str, audit: int) -> Ids:
        """Accept an automatic mark that nobody looked at, because an audit vouches for it; see ``second_look.bulk``.

        Raises DecisionError unless the log says that this audit (the number of its plan) accepts this mark."""
        vouched = [note.new for note in self.notes if note.operation == states.ACCEPTANCE]
        if not any(note["audit"] == audit and [trial, channel] in note["accepted"] for note in vouched):
            raise DecisionError(
                f"no audit {audit!r} that passed accepts {channel} of trial {trial!r} in bulk; accept it by eye, or "
                "plan an audit with plan_bulk."
            )
        activity = self._activity(trial, channel)
        new = states.accept(activity, states.RESPONSE)
        looked = {"looked": False}
        return self._record(
            states.IN_BULK, trial, channel, "activity", activity, new, reason=f"audit {audit}", visible=looked
        )

    def accept_rest(self, trial: str) -> Ids:
        """Accept every channel of a trial that is not yet reviewed, in one step that one undo takes back.

        A channel that cannot be judged without a look at it (:meth:`unfit`: dead, flat, set aside …) stays open, and a
        DecisionWarning says which and why; so it does which bursts were accepted though :meth:`clipped`."""
        labels = [label for label in self._proposals.place(trial).labels if label in self._open[trial]]
        left = self._unfit(trial, labels)
        labels = [label for label in labels if label not in left]
        self._demand_own_mark(trial, labels)
        new = {label: {"activity": states.accept(self._activity(trial, label))} for label in labels}
        cut = self._cut(trial, labels)
        ids = self._many("accept rest", trial, new)
        if left:
            self.say(trial, f"left open: {_listed(left)}. Decide by eye: unusable and why, or none visible.")
        self._say_clipped(trial, cut, "accepted")
        return ids

    def move(
        self,
        trial: str,
        channel: str,
        *,
        onset_s: float | None = None,
        offset_s: float | None = None,
        burst: str | None = None,
    ) -> Ids:
        """Move a burst's onset, offset or both. It is then confirmed by accept, like an untouched one."""
        if onset_s is None and offset_s is None:
            raise DecisionError("move came without onset_s and offset_s; give one of them, in seconds from the cue.")
        onset, offset = self._sample(trial, "onset_s", onset_s), self._sample(trial, "offset_s", offset_s)
        return self._act("move", trial, channel, lambda now: states.move(now, burst, onset, offset), burst)

    def add(
        self, trial: str, channel: str, *, onset_s: float, offset_s: float | None = None, kind: str = "response"
    ) -> Ids:
        """Mark a burst that the method missed. Its id is "added-" and the number of the command."""
        onset, offset = self._sample(trial, "onset_s", onset_s), self._sample(trial, "offset_s", offset_s)
        if onset is None:
            raise DecisionError("add came without onset_s; give it in seconds from the cue.")
        check_choice("kind", kind, KINDS)
        name = f"added-{self._book.next_counter}"
        return self._act("add", trial, channel, lambda now: states.add(now, name, onset, offset, kind), name)

    def remove(self, trial: str, channel: str, burst: str | None = None) -> Ids:
        """Take a burst away; the automatic value stays on record."""
        return self._act("remove", trial, channel, lambda now: states.remove(now, burst), burst)

    def none_visible(self, trial: str, channel: str) -> Ids:
        """No activity can be seen."""
        return self._act("none visible", trial, channel, states.none_visible)

    def not_locatable(self, trial: str, channel: str, *, earliest_s: float, latest_s: float) -> Ids:
        """There is activity, but its onset can only be said to lie between two moments."""
        earliest, latest = self._sample(trial, "earliest_s", earliest_s), self._sample(trial, "latest_s", latest_s)
        if earliest is None or latest is None:
            raise DecisionError("not_locatable needs earliest_s and latest_s, in seconds from the cue; give both.")
        return self._act("not locatable", trial, channel, lambda now: states.not_locatable(now, earliest, latest))

    def kind(self, trial: str, channel: str, kind: str, burst: str | None = None) -> Ids:
        """Say what a burst is: a word of KINDS."""
        check_choice("kind", kind, KINDS)
        return self._act("kind", trial, channel, lambda now: states.set_of_burst(now, burst, "kind", kind), burst)

    def confidence(self, trial: str, channel: str, confidence: str | None, burst: str | None = None) -> Ids:
        """How sure the reviewer is of a burst, or of a verdict without bursts: a word of CONFIDENCES, None to clear."""
        if confidence is not None:
            check_choice("confidence", confidence, CONFIDENCES)
        return self._act(
            "confidence", trial, channel, lambda now: states.set_of_burst(now, burst, "confidence", confidence), burst
        )

    def half_width(self, trial: str, channel: str, half_width_ms: float | None, burst: str | None = None) -> Ids:
        """How far a burst's onset may lie to either side of its mark, in milliseconds, by the reviewer's own word; None
        takes it back. Kept in whole samples, rounded up: never narrower than what was said."""
        samples = None
        if half_width_ms is not None:
            place = self._proposals.place(trial, channel)
            longest_ms = 1000 * len(place.trials.time_s) / place.rate_hz
            number = isinstance(half_width_ms, (int, float)) and not isinstance(half_width_ms, bool)
            if not (number and 0 < half_width_ms <= longest_ms):
                raise DecisionError(
                    f"half_width_ms came as {half_width_ms!r}; allowed: milliseconds above 0, up to the trial's length "
                    f"({longest_ms:g} ms), or None to take it back."
                )
            samples = math.ceil(half_width_ms / 1000 * place.rate_hz * (1 - 1e-9))
        return self._act("half-width", trial, channel, lambda now: states.half_width(now, burst, samples), burst)

    def unusable(self, trial: str, channel: str, reasons: Sequence[str]) -> Ids:
        """The signal cannot be used, for reasons of REASONS, the main one first. Marks stay."""
        return self._signal("unusable", trial, channel, check_reasons(reasons, REASONS))

    def caution(self, trial: str, channel: str, reasons: Sequence[str]) -> Ids:
        """The signal can be used with caution, for reasons of CAUTIONS, the main one first."""
        return self._signal("caution", trial, channel, check_reasons(reasons, CAUTIONS, "caution"))

    def usable(self, trial: str, channel: str) -> Ids:
        """The signal can be used after all."""
        return self._signal("usable", trial, channel, [])

    def copy_to_all(self, trial: str, channel: str) -> Ids:
        """Give every channel of the trial this one's signal state, and its verdict if that is "none visible" or "not
        locatable", in one step. Marks are never copied nor erased: each muscle keeps its own.

        To another channel that cannot be judged without a look at it (:meth:`unfit`) only "unusable" is copied; a
        DecisionWarning says which got nothing and why."""
        signal, activity = self._value(trial, channel, "signal"), self._activity(trial, channel)
        others = [label for label in self._proposals.place(trial, channel).labels if label != channel]
        left = self._unfit(trial, others)
        new: dict[str, dict[str, Any]] = {}
        for label in others:
            if label not in left or signal.state == "unusable":
                new[label] = {"signal": signal}
            if label not in left and activity.found in states.VERDICTS:
                new[label]["activity"] = dataclasses.replace(activity, bursts=self._activity(trial, label).bursts)
        cut = self._cut(trial, new)
        ids = self._many("copy to all", trial, new)
        if left and (signal.state != "unusable" or activity.found in states.VERDICTS):
            what = "the verdict was not copied to" if signal.state == "unusable" else "nothing was copied to"
            self.say(trial, f"{what}: {_listed(left)}. Decide these by eye.")
        if signal.state != "unusable":
            self._say_clipped(trial, cut, "copied to")
        return ids

    def comment(self, trial: str, text: str | None, channel: str | None = None) -> Ids:
        """A comment on a trial or one channel of it, one line of any text; empty or None removes it."""
        new = check_text(text) if text else None
        return self._record("comment", trial, channel, "comment", self._value(trial, channel, "comment"), new)

    def discuss(self, trial: str, channel: str | None = None, on: bool | None = None) -> Ids:
        """Put a trial, or one channel of it, on the list to discuss, or take it off; None turns it over."""
        old = self._value(trial, channel, "discuss")
        return self._record("discuss", trial, channel, "discuss", old, (not old) if on is None else bool(on))

    def behaviour(self, trial: str, behaviour: str | None) -> Ids:
        """What the participant did: a word of BEHAVIOURS, None to clear."""
        if behaviour is not None:
            check_choice("behaviour", behaviour, BEHAVIOURS)
        return self._record("behaviour", trial, None, "behaviour", self._value(trial, None, "behaviour"), behaviour)

    def correct_cue(self, trial: str, time_s: float | None, reason: str | None = None) -> Ids:
        """Say where the cue really lies, in seconds from the recorded one; None goes back to that. The recorded marker
        stays, and so do all other times of the session; the table of decisions counts from the corrected cue."""
        new, old = self._sample(trial, "time_s", time_s), self._value(trial, None, "cue")
        return self._record("correct cue", trial, None, "cue", old, new, reason=reason and check_text(reason))

    def set_aside(
        self, recording: str, channel: str, start_s: float, stop_s: float, reasons: Sequence[str] = ()
    ) -> Ids:
        """Set a stretch of one channel aside, in seconds from the first sample of the recording."""
        start, stop = self._stretch(recording, channel, start_s, stop_s)
        new = Stretch(start, stop, tuple(check_reasons(reasons, REASONS)))
        return self._keep_in(recording, "set aside", "set aside", "aside", new, channel)

    def mark_burst(self, recording: str, channel: str, onset_s: float, offset_s: float, kind: str = "response") -> Ids:
        """Mark a burst by hand, in seconds from the first sample of the recording.

        Every trial that holds its onset gets it as an added burst, without its offset where that lies beyond the trial;
        each of these is a command of its own. Where no trial does, it is kept with the recording (:attr:`marked`).
        """
        start, stop = self._stretch(recording, channel, onset_s, offset_s)
        if channel not in (known := self._recording(recording).emg_labels):
            raise UnknownNameError("EMG channel", channel, known)
        check_choice("kind", kind, KINDS)
        touched = self._touched(recording, start, start + 1)
        own = [
            trial
            for trial in touched
            if self._proposals.source(trial)[1] == 1 and channel in self._places[trial].labels
        ]
        if not own:
            new = MarkedBurst(start, stop, kind)
            return self._keep_in(recording, "mark burst", "marked burst", "marked", new, channel)
        ids: Ids = ()
        for trial in own:
            place = self._places[trial]
            onset, offset = ((sample - place.cue) / place.rate_hz for sample in (start, stop))
            ids += self.add(trial, channel, onset_s=onset, offset_s=offset if stop < place.stop else None, kind=kind)
        return ids

    @property
    def marked(self) -> tuple["Marked", ...]:
        """Bursts marked outside all trials: recording, channel, onset and offset samples, kind."""
        return tuple(
            Marked(recording, str(channel), *value) for recording, channel, value in self._kept_in("marked burst")
        )

    def no_cue(self, trial: str, reason: str | None) -> Ids:
        """Say that the trial's recorded cue is none, and why ("double"); None: it stands after all. The recorded marker
        stays. The trial can still be looked at, but every rule for inclusion leaves it out."""
        if reason is not None and not reason.strip():
            raise DecisionError(
                "no_cue came without a reason; say in a word why the cue is none, for example 'double'."
            )
        new = reason and check_text(reason.strip())
        return self._record("no cue", trial, None, "no cue", self._value(trial, None, "no cue"), new, reason=new)

    @property
    def no_cues(self) -> Mapping[str, str]:
        """Trials whose cue is none, and why."""
        values = self._rare.items()
        return {str(key[1]): reason for key, reason in values if key[3] == "no cue" and reason}

    def add_cue(self, recording: str, time_s: float, label: str, reason: str | None = None) -> Ids:
        """Add a cue that the recording lacks, in seconds from its first sample. The recorded markers stay; trials cut
        from :meth:`with_added_cues` have it, and the ids of all others stay the same."""
        source = self._recording(recording)
        sample = to_sample(time_s, source.rate_hz) if math.isfinite(time_s) else -1
        taken = {(marker.sample, marker.label) for marker in self.with_added_cues(recording).markers}
        if not 0 <= sample < source.n_samples or not label.strip() or (sample, label) in taken:
            raise DecisionError(
                f"a cue {label!r} came at {time_s} s; allowed: a time within 0 to {source.duration_s:g} s of recording "
                f"{recording!r}, a label, and no second cue with that label at one sample; correct it."
            )
        new = AddedCue(sample, check_text(label))
        return self._keep_in(recording, "add cue", "added cue", "cue", new, None, reason and check_text(reason))

    @property
    def added_cues(self) -> tuple[tuple[str, int, str], ...]:
        """Cues added by hand: recording, sample, label."""
        return tuple((name, value.sample, value.label) for name, _, value in self._kept_in("added cue"))

    def with_added_cues(self, recording: str) -> Recording:
        """A recording of this review with the cues that were added by hand among its markers."""
        source = self._recording(recording)
        added = [Marker(sample, label, "added") for name, sample, label in self.added_cues if name == recording]
        return source.with_markers([*source.markers, *added])

    @property
    def aside(self) -> tuple["Aside", ...]:
        """Stretches set aside: recording, channel, start and stop samples, reasons."""
        return tuple(Aside(recording, str(channel), *value) for recording, channel, value in self._kept_in("set aside"))

    def exclude(
        self,
        reason: str,
        *,
        participant: str | None = None,
        recording: str | None = None,
        channel: str | None = None,
    ) -> Ids:
        """Keep a participant, a recording, or one channel of a recording out of every analysis, for a reason that is
        logged. Decisions about its trials stay, and may go on."""
        if not reason or not reason.strip():
            raise DecisionError("exclude came without a reason; say in a few words why it is kept out.")
        return self._exclude("exclude", check_text(reason.strip()), participant, recording, channel)

    def readmit(
        self,
        reason: str | None = None,
        *,
        participant: str | None = None,
        recording: str | None = None,
        channel: str | None = None,
    ) -> Ids:
        """Take an exclusion of a participant, a recording or a channel back."""
        return self._exclude("readmit", None, participant, recording, channel, reason and check_text(reason))

    @property
    def excluded(self) -> tuple[tuple[str, str, str | None, str], ...]:
        """What is excluded: ("recording", name, channel or None, reason), sorted, then ("participant", name, None,
        reason)."""
        found = [(key, value) for key, value in self._rare.items() if key[3] in states.EXCLUDED and value]
        rows = [
            ("recording", str(recording), channel, reason)
            if field == "excluded"
            else ("participant", str(participant), None, reason)
            for (recording, _, channel, field, participant), reason in found
        ]
        return tuple(sorted(rows, key=lambda row: (row[0] == "participant", row[1], row[2] or "")))

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

    def undo(self) -> Ids:
        """Take the last command back, whichever recording it was on, without limit; () if there is none."""
        return self._again("undo", self._ledger.to_undo)

    def redo(self) -> Ids:
        """Do the last undone command again; () if there is none. A new decision empties this list."""
        return self._again("redo", self._ledger.to_redo)

    # Results -----------------------------------------------------------------------------------------------------

    def decisions(self) -> tables.Table:
        """Every decision as a tidy table, one row a burst or channel-trial; see :mod:`emgreview.tables`.

        ``table.attrs["recordings"]`` says what each recording is and in which scale it was read, as a version does."""
        table = self._table(self._shown)
        table.attrs["recordings"] = self._described()
        return table

    def _described(self) -> dict[str, dict[str, Any]]:
        """What each recording of the review is, and how it was read, conditioned and searched."""
        return {
            name: {
                "rate_hz": one.rate_hz,
                "fingerprint": dataclasses.asdict(one.fingerprint),
                "scales": self._book.scales(name),
                **self._book.method(name),
            }
            for name, one in self._proposals.recordings.items()
        }

    def _table(self, activity_of: Callable[[str, str], Activity]) -> tables.Table:
        places = self._proposals.places
        return tables.decisions_table(
            [self._state(trial, activity_of) for trial in places],
            reviewer=self.reviewer,
            cues={trial: place.trials.cues[place.row] for trial, place in places.items()},
            participants={name: one.entities.get("sub") for name, one in self._proposals.recordings.items()},
            stops={trial: place.stop for trial, place in places.items()},
            aside=self.aside,
            excluded=(
                *self.excluded,
                *(("trial", trial, None, f"no cue, {why}") for trial, why in self.no_cues.items()),
            ),
            decided=self._decided_by,
            blind=self.blind,
        )

    def _decided_by(self, trial: str, channel: str) -> Mapping[str, tables.Decided] | None:
        """Who decided what of a channel-trial; None: this reviewer alone."""
        return None

    @property
    def next_version(self) -> str:
        """A name for the next sealed version: the first of "v1", "v2" … that is free."""
        number = 1
        while (self.folder / "versions" / f"v{number}").exists():
            number += 1
        return f"v{number}"

    def seal(self, name: str, rule: tables.Rule | None = None) -> Sealed:
        """Write the decisions as they stand as a named version that never changes; with ``rule``, also which rows it
        includes, and the rule itself."""
        if self.problem:
            raise LogReadOnlyError(f"{self.problem}; nothing was sealed.")
        table, description = self.as_version(rule)
        sealed = seal_version(self.folder, name, table, description, self._files)
        for recording in self._proposals.recordings:
            self._book.append(recording, "seal", "log", None, {"version": name, "sha256": sealed.sha256})
        return sealed

    def as_version(self, rule: tables.Rule | None = None) -> tuple[bytes, dict[str, Any]]:
        """What :meth:`seal` would write now: the table as text, and its description without the heads of the logs."""
        table = self._table(self._sealed)
        inclusion = None
        if rule is not None:
            table = tables.include(table, rule)
            inclusion = {"rule": rule.as_dict(), "sha256": rule.sha256, "included": int(table["included"].sum())}
        description = {
            "reviewer": self.reviewer,
            "blind": self.blind,
            "convention": self.convention,
            "columns": tables.describe(table),
            "text": tables.HOW,
            "inclusion": inclusion,
            "bulk": list(self.bulk_sentences),
            "trials": [
                {"recording": part.recording.name, "cue": part.cue, "before": part.before, "length": len(part.time_s)}
                for part in self.trials
            ],
            "recordings": self._described(),
            "scale_notes": list(self._book.scale_notes),
            "packages": installed(),
            "machine": machine(),
        }
        return tables.to_tsv(table), description

    # Inside ------------------------------------------------------------------------------------------------------

    def _sample(self, trial: str, what: str, seconds: float | None) -> int | None:
        return None if seconds is None else self._proposals.sample(trial, what, seconds)

    def _value(self, trial: str, channel: str | None, field: str) -> Any:
        found = self._decided(trial, channel, field)
        return states.DEFAULTS[field] if found is None else found

    def _current(self, key: states.Key) -> Any:
        """The value that stands of a first showing, None where nothing was said."""
        return self._ledger.value(key)

    @property
    def _rare(self) -> Mapping[states.Key, Any]:
        """Those that stand in recordings or keep something out."""
        return self._ledger.rare

    def _decided(self, trial: str, channel: str | None, field: str) -> Any:
        recording = self._proposals.place(trial, channel).recording.name
        source, showing = self._proposals.source(trial)
        key = states.Key(recording, source, channel, field)
        return self._current(key) if showing == 1 else self._ledger.value(key, showing)

    def _activity(self, trial: str, channel: str) -> Activity:
        """The activity as decided or, where nobody has decided, as the present method proposes it."""
        value = self._decided(trial, channel, "activity")
        return self._proposals.proposal(trial, channel) if value is None or states.untouched(value) else value

    def _shown(self, trial: str, channel: str) -> Activity:
        """The activity without an automatic mark that is hidden."""
        activity = self._activity(trial, channel)
        return veil(activity) if self.hides_automatic(trial, channel) else activity

    def _sealed(self, trial: str, channel: str) -> Activity:
        """The activity for a sealed version: a hidden mark is told as soon as the reviewer's own stands beside it."""
        activity = self._activity(trial, channel)
        return activity if states.reviewed(activity, states.USABLE) else self._shown(trial, channel)

    def _unseen(self, trial: str | None, channel: str | None) -> Mapping[str, Any] | None:
        """What an event says of an automatic mark that was hidden."""
        hidden = trial in self._places and self.hides_automatic(str(trial), channel)
        return {"automatic": False} if hidden else None

    def _demand_own_mark(self, trial: str, channels: Sequence[str]) -> None:
        for label in channels:
            shown = self._shown(trial, label)
            if self.hides_automatic(trial, label) and not states.reviewed(shown, states.USABLE):
                if any(map(states.stands, shown.bursts.values())):
                    continue
                raise DecisionError(
                    f"the automatic mark of {label} is hidden in this trial, so there is nothing to accept; mark the "
                    "onset yourself, or say that none is visible."
                )

    def _unfit(self, trial: str, labels: Sequence[str]) -> dict[str, str]:
        """Those of some channels that cannot be judged without a look at them, and why."""
        return {label: why for label in labels if (why := self.unfit(trial, label))}

    def _cut(self, trial: str, labels: Iterable[str]) -> dict[str, str]:
        """Those of some channels of which a burst is clipped, and how much."""
        return {label: words for label in labels if (words := self.clipped(trial, label))}

    def _say_clipped(self, trial: str, cut: Mapping[str, str], what: str) -> None:
        if cut:
            self.say(trial, f"{what}: {_listed(cut)}. Measures tell it; where no size may be taken, say unusable.")

    def _say_of_bursts(self, trial: str, channel: str, old: Activity, new: Activity) -> None:
        """Say where a burst lies inside another by now, and where another one is the response."""
        if old == new:
            return
        if self.hides_automatic(trial, channel):
            old, new = veil(old), veil(new)
        place = self._proposals.place(trial)
        timed = self._heard is None and not self.blind  # a screen numbers its marks, and may not show times
        for words in on_bursts(old, new, place.cue, place.rate_hz if timed else None):
            self.say(trial, f"{channel}: {words}")

    def _act(
        self, operation: str, trial: str, channel: str, step: Callable[[Activity], Activity], burst: str | None = None
    ) -> Ids:
        old = self._activity(trial, channel)
        new = unveil(step(veil(old)), old) if self.hides_automatic(trial, channel) else step(old)
        if burst is None and new.found == "bursts":
            burst = states.find_burst(old if operation == "remove" else new, None)
        ids = self._record(operation, trial, channel, "activity", old, new, burst=burst)
        self._say_of_bursts(trial, channel, old, new)
        return ids

    def _signal(self, operation: str, trial: str, channel: str, reasons: list[str]) -> Ids:
        new = states.Signal(operation, tuple(reasons))
        old = self._value(trial, channel, "signal")
        return self._record(operation, trial, channel, "signal", old, new, reason="; ".join(reasons) or None)

    def _many(self, operation: str, trial: str, new: Mapping[str, Mapping[str, Any]], reason: str | None = None) -> Ids:
        """Several fields of several channels in one event; what would not change is left out."""
        old: dict[str, dict[str, Any]] = {}
        changed: dict[str, dict[str, Any]] = {}
        for label, parts in new.items():
            for name, part in parts.items():
                before = self._activity(trial, label) if name == "activity" else self._value(trial, label, name)
                if part != before:
                    old.setdefault(label, {})[name] = before
                    changed.setdefault(label, {})[name] = part
        return self._record(operation, trial, None, "channels", old, changed, reason=reason)

    def _record(
        self,
        operation: str,
        trial: str,
        channel: str | None,
        field: str,
        old: Any,
        new: Any,
        *,
        burst: str | None = None,
        reason: str | None = None,
        visible: Mapping[str, Any] | None = None,
    ) -> Ids:
        place = self._proposals.place(trial, channel)
        if old == new and not (field == "activity" and (self._stale(trial, channel) or self._in_bulk(trial, channel))):
            return ()
        source, showing = self._proposals.source(trial)
        event = self._book.append(
            place.recording.name,
            operation,
            field,
            _written(field, old),
            _written(field, new),
            trial=source,
            channel=channel,
            burst=burst,
            reason=reason,
            showing=showing,
            visible=visible or self._unseen(trial, channel),
        )
        return self._after(event)

    def _again(self, operation: str, step: states.Step | None) -> Ids:
        if step is None:
            return ()
        event = self._book.event(step)
        old, new = (event.new, event.old) if operation == "undo" else (event.old, event.new)
        subject = event.subject
        done = self._book.append(
            str(subject["recording"]),
            operation,
            event.field,
            old,
            new,
            trial=subject["trial"],
            channel=subject["channel"],
            burst=subject["burst"],
            target=event.counter,
            showing=event.showing,
            visible=self._unseen(self._entry(subject["trial"], event.showing), subject["channel"]),
        )
        if event.field in states.IN_RECORDING:
            value = fields.read(event.field, event.new)
            return self._tell(self._touched(str(subject["recording"]), value.start, value.stop))
        if event.field in states.EXCLUDED:
            return self._tell(self._belonging(event))
        ids = self._after(done)
        before = {key[2:4]: value for key, value in states.keyed(event, old)}
        for (_, _, label, field, _), value in states.keyed(event, new):
            if ids and field == "activity":
                seen = (fields.read(field, one) for one in (before[label, field], value))
                self._say_of_bursts(ids[0], str(label), *seen)
        return ids

    def _after(self, event: Event) -> Ids:
        """A command on a trial is on disk: keep the counts, move there, tell the observers."""
        trial = self._entry(event.subject["trial"], event.showing)
        for (_, _, label, _, _), _ in states.keyed(event, event.new):
            self._count(trial, label)
        if trial not in self._places:  # undone, but the cue was not cut this time
            return ()
        self.where = str(trial)
        return self._tell((self.where,))

    def _labels_due(self, trial: str) -> Collection[str]:
        """The channels of a trial that this review is about: all, unless it was narrowed."""
        return self._places[trial].labels if self._due is None else self._due[self._proposals.source(trial)[0]]

    def _entry(self, trial: str | None, showing: int) -> str | None:
        """The id in the queue of a trial's showing; None where it is not to be shown again."""
        return trial if trial is None or showing == 1 else self._entries.get((trial, showing))

    def _line_up(self) -> None:
        """The queue, and what is open in it, with what is hidden and shown again by now."""
        self._hiding = Hiding.of(self._ledger.notes)
        self._entries = {
            (trial, showing): self._proposals.show_again(trial, showing) if showing > 1 else trial
            for trial, showing in self._hiding.queue(self._order)
            if self._due is None or trial in self._due
        }
        self.queue = tuple(self._entries.values())
        self._rank = {trial: number for number, trial in enumerate(self.queue)}
        self._places = {trial: self._proposals.place(trial) for trial in self.queue}
        self._open = {trial: set(self._labels_due(trial)) for trial in self.queue}
        for showing in self._ledger.showings:
            for _, trial, label, _, _ in self._ledger.decided(showing):
                self._count(self._entry(trial, showing), label)

    def _tell(self, ids: Ids) -> Ids:
        for observer in tuple(self.changed):
            observer(ids)
        return ids

    def _recording(self, name: str) -> Recording:
        recordings = self._proposals.recordings
        if name not in recordings:
            raise UnknownNameError("recording", name, recordings)
        return recordings[name]

    def _stretch(self, recording: str, channel: str, start_s: float, stop_s: float) -> tuple[int, int]:
        """Samples of a stretch of one channel, checked."""
        source = self._recording(recording)
        source.channel(channel)
        if not 0 <= start_s < stop_s <= source.duration_s:
            raise DecisionError(
                f"the stretch {start_s} to {stop_s} s does not lie in recording {recording!r} (0 to "
                f"{source.duration_s:g} s, start before stop); correct it."
            )
        return to_sample(start_s, source.rate_hz), to_sample(stop_s, source.rate_hz)

    def _keep_in(
        self,
        recording: str,
        operation: str,
        field: str,
        prefix: str,
        new: Stretch | MarkedBurst | AddedCue,
        channel: str | None,
        reason: str | None = None,
    ) -> Ids:
        """Log what stands in a recording, not in a trial; the trials it touches."""
        name = f"{prefix}-{self._book.next_counter}"
        stored = fields.write(field, new)
        self._book.append(recording, operation, field, None, stored, channel=channel, burst=name, reason=reason)
        return self._tell(self._touched(recording, new.start, new.stop))

    def _kept_in(self, field: str) -> Iterator[tuple[str, str | None, Any]]:
        """What stands of one of these fields: recording, channel, value; in the order of the recording."""
        found = [
            (str(recording), channel, value)
            for (recording, _, channel, name, _), value in self._rare.items()
            if name == field and value is not None
        ]
        yield from sorted(found, key=lambda one: (one[0], one[1] or "", one[2].start))

    def _touched(self, recording: str, start: int, stop: int) -> Ids:
        """Trials that overlap with some samples of a recording."""
        return tuple(
            trial
            for trial in self.queue
            if (place := self._places[trial]).recording.name == recording and place.first < stop and start < place.stop
        )

    def _exclude(
        self,
        operation: str,
        new: str | None,
        participant: str | None,
        recording: str | None,
        channel: str | None,
        reason: str | None = None,
    ) -> Ids:
        recordings = self._proposals.recordings
        if (participant is None) == (recording is None) or (channel is not None and recording is None):
            raise DecisionError(
                f"{operation} came with participant {participant!r}, recording {recording!r} and channel {channel!r}; "
                "give a participant, or a recording, or a recording and one of its channels."
            )
        if recording is not None:
            if recording not in recordings:
                raise UnknownNameError("recording", recording, recordings)
            key = states.Key(recording, None, channel, "excluded")
            if channel is not None:
                recordings[recording].channel(channel)
        else:
            own = [name for name, one in recordings.items() if one.entities.get("sub") == participant]
            if not own:
                known = {str(one.entities["sub"]) for one in recordings.values() if one.entities.get("sub")}
                raise UnknownNameError("participant", participant, sorted(known))
            recording, key = own[0], states.Key(None, None, None, states.OF_PARTICIPANT, participant)
        old = self._current(key)
        if old == new:
            return ()
        event = self._book.append(recording, operation, key[3], old, new, channel=channel, reason=new or reason)
        return self._tell(self._belonging(event))

    def _belonging(self, event: Event) -> Ids:
        """Trials of the recording, or of all recordings of the participant, that an exclusion is about."""
        recordings = self._proposals.recordings
        name, participant = event.subject["recording"], event.subject["participant"]
        return tuple(
            trial
            for trial in self.queue
            if (own := self._places[trial].recording.name) == name
            or (event.field == states.OF_PARTICIPANT and recordings[own].entities.get("sub") == participant)
        )

    def _count(self, trial: str | None, label: str | None) -> None:
        if trial in self._places and label is not None and label in self._labels_due(trial):
            done = states.reviewed(self._activity(trial, label), self._value(trial, label, "signal"))
            (self._open[trial].discard if done else self._open[trial].add)(label)

    def _stale(self, trial: str, channel: str | None) -> bool:
        """Whether the activity was decided before the last change of method, and the method now says otherwise."""
        recording = self._proposals.place(trial, channel).recording.name
        decided = self._ledger.entry(states.Key(recording, trial, channel, "activity"))  # none of one shown again
        since = self._book.method_since(recording)
        if decided is None or decided.counter >= since or states.untouched(value := decided.value):
            return False
        return self._proposals.differs(trial, str(channel), value, self._relook_s)

    def _relook_words(self) -> tuple[str, ...]:
        marks = list(self._stale_marks())
        if not marks:
            return ()
        far = [
            f"{name} by more than {limit * 1000:g} ms" for name, limit in self._relook_s.items() if limit is not None
        ]
        return (
            f"Reviewed marks to look at again: {len(marks)}, trials: {len({trial for trial, _ in marks})}. They were "
            "decided under another method or processing, and the automatic mark that was seen is not the present one "
            f"({' or '.join(far)}, or only one of the two is there). They keep the value that was decided.",
        )

    def _method_in_log(self) -> tuple[str, dict[str, Any], tuple[str, ...]]:
        last = self._book.last_method
        return (METHOD, {}, ()) if last is None else rebuilt(last["detection"])

    def _in_bulk(self, trial: str, channel: str | None) -> bool:
        """Whether the mark was accepted in bulk, and nobody has looked at it since."""
        source, showing = self._proposals.source(trial)
        key = states.Key(self._proposals.place(trial, channel).recording.name, source, channel, "activity")
        return showing == 1 and self._ledger.in_bulk(key)

    def _resume(self) -> str:
        step = self._ledger.last
        last = self._entry(step.trial, step.showing) if step else None
        if last not in self._places:
            return self.next_unreviewed() or self.queue[0]
        return last if self._open[last] else self.next_unreviewed(last) or last


class Aside(NamedTuple):
    """A stretch set aside: samples of the recording, ``stop`` past the last."""

    recording: str
    channel: str
    start: int
    stop: int
    reasons: tuple[str, ...]


class Marked(NamedTuple):
    """A burst marked outside all trials: onset and offset samples."""

    recording: str
    channel: str
    start: int
    stop: int
    kind: str


def _written(field: str, value: Any) -> Any:
    """A value as a log keeps it; of several channels each part."""
    if field != "channels":
        return fields.write(field, value)
    return {label: {name: fields.write(name, one) for name, one in parts.items()} for label, parts in value.items()}


NOTHING_SHOWN = Automatic(math.nan, math.nan, math.nan, math.nan, math.nan, math.nan, note="")
"""What :meth:`Session.automatic` gives where the automatic mark is hidden."""

_PRESENT = 0.5
"""From this ``present`` on a method says that there is activity; see :class:`emgreview.model.Onsets`."""

_WITHOUT_OFFSET_S = 0.1
"""Of a burst without an offset so much, from its onset, is looked at for clipped samples."""

_ON_RECORDING = ("set_aside", "mark_burst", "add_cue", "exclude", "readmit")
_WITHOUT_CHANNEL = ("accept_rest", "behaviour", "correct_cue", "no_cue", "add_cue", "undo", "redo")
COMMANDS: tuple[str, ...] = (
    "accept",
    "accept_rest",
    "move",
    "add",
    "remove",
    "none_visible",
    "not_locatable",
    "kind",
    "confidence",
    "half_width",
    "unusable",
    "caution",
    "usable",
    "copy_to_all",
    "comment",
    "discuss",
    "behaviour",
    "correct_cue",
    "no_cue",
    "add_cue",
    "mark_burst",
    "set_aside",
    "exclude",
    "readmit",
    "undo",
    "redo",
)
"""The commands that :meth:`Session.apply` knows."""


def _share(share: float) -> str:
    """A share above 0 in per cent, never 0 %."""
    return f"{share:.0%}" if share >= 0.005 else "less than 1%"


def _listed(channels: Mapping[str, str]) -> str:
    """Channels, each with why: "FCR (dead: …), BB (…)"."""
    return ", ".join(f"{label} ({why})" for label, why in channels.items())


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
