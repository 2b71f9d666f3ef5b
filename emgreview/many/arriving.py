"""Trials of many recordings that come one after the other, while the first of them are looked at.

cut_as_ready        begin it
ArrivingTrials      what is to come, before anybody has begun it
Arrivals            what has come, what is still to come
"""

import math
import threading
from collections.abc import Iterator, Mapping, Sequence
from copy import copy
from dataclasses import replace
from itertools import chain
from typing import Any

from emgreview.checks import kind
from emgreview.detecting import METHOD
from emgreview.errors import EmgreviewError, ParameterError, tell
from emgreview.many.cut import CutJob, left_out
from emgreview.model import Processing, Trials
from emgreview.running import Progress, Runner
from emgreview.running.runner import show_of, unpacked
from emgreview.running.work import Opening, Packed, openings_of
from emgreview.signal.onset import checked_method

LOOK_EVERY_S = 0.05
"""Whoever waits hears an interrupt so soon."""
HOLD_S = 5.0
"""So long the others wait for the first to be shown."""
STOP_S = 5.0
"""So long a stop waits for what is at work; that ends by itself, and nobody takes it."""


def cut_as_ready(
    recordings: Any,
    *,
    cue: str,
    before_s: float,
    after_s: float,
    runner: Runner,
    processing: Processing | None = None,
    expect: int | None = None,
    method: str | None = None,
    parameters: Mapping[str, Any] | None = None,
) -> "ArrivingTrials":
    """Cut the trials of many recordings as :func:`emgreview.cut_all` does, without waiting for
    all of them.

    Parameters
    ----------
    recordings : Dataset or iterable of Recording
        A dataset, its recordings, or a list.
    cue : str
        Label of the markers to cut around.
    before_s, after_s : float
        How far a trial reaches before and after its cue, in seconds.
    runner : Runner
        Where the work runs and what is known of the trials is kept.
    processing : Processing or None
        Filter, envelope and rest window; None for the defaults.
    expect : int or None
        How many cues each recording should have.
    method : str or None
        The onset method; None: that of the review that they are for, or "ramp".
    parameters : mapping or None
        What the method takes beside its defaults.

    Returns
    -------
    ArrivingTrials
        For :func:`emgreview.open_review`, which opens with the first of them.

    Raises
    ------
    ParameterError
        Something else than recordings came, or none; or parameters without a method.
    UnknownNameError
        No method or parameter has that name.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> study = er.simulate_study(3, 2, 1000, seed=1)
    >>> runner = er.Runner(progress=None)
    >>> window = {"cue": "go", "before_s": 1, "after_s": 1.5}
    >>> coming = er.cut_as_ready(study.recordings, **window, runner=runner)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(coming, folder, reviewer="r1") as session:
    ...         _ = session.accept_rest(session.queue[0])  # while the others arrive
    ...         session.wait_for_all()
    ...         len(session.queue)
    6
    """
    kind("runner", runner, Runner, "a Runner")
    if method is None and parameters:
        raise ParameterError(
            f"parameters came without the method that they belong to ({', '.join(parameters)}); name it: method=..."
        )
    openings = openings_of(recordings)
    if not openings:
        raise ParameterError("no recording came; at least one is needed; give a dataset or its recordings.")
    how = dict(parameters or {})
    if method is not None:
        checked_method(method, how)
    processing = Processing() if processing is None else processing
    return ArrivingTrials(runner, CutJob(cue, before_s, after_s, processing, expect, method, how), openings)


class ArrivingTrials:
    """The trials of many recordings, to be worked on by a runner while the first are looked at.

    :func:`cut_as_ready` returns it, and :func:`emgreview.open_review` takes it, as often as
    one likes: the review opens with the first recording, and the others join it, in their
    order. What was made is kept where the runner has a cache; the work ends with the review,
    or with the program.

    Attributes
    ----------
    names : tuple of str
        The recordings.
    method : str or None
        The onset method by which onsets are found; None: that of the review, or "ramp".
    """

    def __init__(self, runner: Runner, job: CutJob, openings: Sequence[Opening]):
        self.names = tuple(opening.name for opening in openings)
        self._runner, self._job, self._openings = runner, job, tuple(openings)

    @property
    def method(self) -> str | None:
        """The onset method by which onsets are found; None where the review decides."""
        return self._job.method

    def __len__(self) -> int:
        return len(self.names)

    def begin(
        self, *, first: str | None = None, method: str | None = None, parameters: Mapping[str, Any] | None = None
    ) -> "Arrivals":
        """Begin the work.

        Parameters
        ----------
        first : str or None
            The recording that is worked on first, and comes before all others.
        method : str or None
            The onset method, where none was given before; None for "ramp".
        parameters : mapping or None
            What it takes beside its defaults.

        Returns
        -------
        Arrivals
            What comes of it.

        Raises
        ------
        ParameterError
            Another method was given before.
        UnknownNameError
            No method or parameter has that name.
        """
        job = self._job
        if job.method is None or method is not None:
            job = replace(job, method=method or METHOD, parameters=dict(parameters or {}))
        if self.method is not None and job != self._job:
            raise ParameterError(
                f"these trials come with onsets by {self.method!r}, and {method!r} with other parameters or another "
                "method was asked for; cut them so: cut_as_ready(…, method=…, parameters=…)."
            )
        return Arrivals(self._runner, job, self._openings, first)

    def all(self) -> list[Trials]:
        """All trials, waited for with the progress of the runner.

        Returns
        -------
        list of Trials
            In the order of the recordings, without those that failed, of which it tells.

        Raises
        ------
        EmgreviewError
            The work ended before its end.

        Warns
        -----
        SignalWarning
            A recording is left out.
        """
        arrivals = self.begin()
        found = arrivals.all()
        for sentence in left_out(arrivals.failed):
            tell(sentence)
        return found


class Arrivals:
    """What comes of one run over many recordings, in a thread of its own.

    Attributes
    ----------
    names : tuple of str
        The recordings.
    failed : dict of str to str
        By name, why one of them has no trials.
    problem : str
        Why the work ended before its end; "" where it did not.
    progress : Progress or None
        How far it is; None before the first result.
    """

    def __init__(self, runner: Runner, job: CutJob, openings: Sequence[Opening], first: str | None):
        self.names = tuple(opening.name for opening in openings)
        self.failed: dict[str, str] = {}
        self.problem = ""
        self.progress: Progress | None = None
        self._runner, self._job, self._openings = runner, job, openings
        self._news = threading.Condition()
        self._came: list[tuple[Trials, tuple[str, ...]]] = []  # with what is to be told of them
        self._taken = 0
        self._over = False
        self._stop, self._wanted = threading.Event(), threading.Event()
        due = sorted(openings, key=lambda one: one.name != first)
        self._thread = threading.Thread(target=self._work, args=(due,), daemon=True)
        self._thread.start()

    def take(self) -> list[Trials]:
        """The trials that have come since the last call.

        Returns
        -------
        list of Trials
            In the order of the recordings, without those that failed.

        Warns
        -----
        SignalWarning
            What opening and cutting them had to say.
        """
        if self._taken:
            self._wanted.set()
        with self._news:
            came, self._came = self._came, []
        self._taken += len(came)
        for _, told in came:
            for sentence in told:
                tell(sentence)
        return [trials for trials, _ in came]

    def wait(self) -> bool:
        """Wait for trials that nobody has taken yet.

        Returns
        -------
        bool
            Whether there are any; False where nothing more will come.
        """
        with self._news:
            if self._taken:
                self._wanted.set()
            while not self._came and not self._over:
                self._news.wait(LOOK_EVERY_S)
            return bool(self._came)

    def until_over(self) -> None:
        """Wait until nothing more will come, with the progress of the runner."""
        self._wanted.set()
        show, last = show_of(self._runner.progress), None
        while not self._over:
            with self._news:
                self._news.wait(LOOK_EVERY_S)
            if self.progress is not None and self.progress is not last:
                last = self.progress
                show(last)

    def all(self) -> list[Trials]:
        """Wait for all that nobody has taken yet, with the progress of the runner; an interrupt
        stops the work.

        Returns
        -------
        list of Trials
            As :meth:`take` returns them.

        Raises
        ------
        EmgreviewError
            The work ended before its end.
        """
        try:
            self.until_over()
        except KeyboardInterrupt:
            self.stop()
            raise
        if self.problem:
            raise EmgreviewError(self.problem)
        return self.take()

    def stop(self) -> None:
        """Begin nothing more; what is done is kept where there is a cache."""
        self._stop.set()
        self._wanted.set()
        self._thread.join(STOP_S)

    @property
    def left(self) -> int:
        """How many recordings are still to come; 0 where the work has ended."""
        with self._news:
            return 0 if self._over and not self._came else len(self.names) - self._taken - len(self.failed)

    @property
    def words(self) -> str:
        """What is still to come, or what has failed, in a sentence; "" where all are there."""
        left = self.left
        if left:
            far = "" if self.progress is None else f" ({self.progress.words})"
            return f"{left} of {len(self.names)} recordings are still to come{far}."
        if self.problem:
            missing = len(self.names) - self._taken
            return f"{missing} of {len(self.names)} recordings have not come: {self.problem}"
        return " ".join(left_out(self.failed))

    def _work(self, openings: Sequence[Opening]) -> None:
        try:
            self._deliver(openings)
        except EmgreviewError as why:
            self.problem = str(why)
        except Exception as why:
            self.problem = f"it ended with {type(why).__name__}: {why}; that is a fault of this package."
        finally:
            with self._news:
                self._over = True
                self._news.notify_all()

    def _deliver(self, openings: Sequence[Opening]) -> None:
        """Hand over each as soon as all before it have come or failed; the very first is made here, as processes take
        a while to start."""
        ready: dict[int, tuple[Trials, tuple[str, ...]] | None] = {}
        due = [opening.at for opening in openings]
        for packed in chain(self._each(openings[:1], 0), self._rest(openings[1:])):
            opening = self._openings[packed.at]
            outcome = unpacked(packed, self._job)
            ready[packed.at] = None
            try:
                if outcome.problem:
                    raise EmgreviewError(outcome.problem)
                ready[packed.at] = self._job.later(opening.as_seen(outcome.seen), outcome.value, False), outcome.notes
            except EmgreviewError as why:
                self.failed[opening.name] = str(why)
            with self._news:
                while due and due[0] in ready:
                    came = ready.pop(due.pop(0))
                    self._came += [] if came is None else [came]
                self._news.notify_all()

    def _rest(self, openings: Sequence[Opening]) -> Iterator[Packed]:
        """What comes of the others, begun once somebody asks again: until then the first is being brought to a screen,
        which needs the processor."""
        if self._came or self._taken:
            self._wanted.wait(HOLD_S)
        yield from self._each(openings, 1)

    def _each(self, openings: Sequence[Opening], before: int) -> Iterator[Packed]:
        """What comes of some of them, ``before`` others being done."""
        if not openings:
            return
        runner = copy(self._runner)
        runner.cancel, runner.behind = self._stop, True
        if not before:  # here and now, wherever the others are worked on
            runner.workers, runner.cluster = 1, None

        def heard(now: Progress) -> None:
            if self._runner.cancel.is_set():
                self._stop.set()
            left_s = now.left_s if before else math.nan  # of the first alone nothing is known of the others
            self.progress = replace(now, done=now.done + before, total=len(self.names), left_s=left_s)

        runner.progress = heard
        yield from runner.each(self._job, openings)
