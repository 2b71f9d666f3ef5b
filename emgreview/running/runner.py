"""The runner: recordings in, one result a recording out, wherever it runs.

Runner          where, with which cache, seen and stopped by whom
Outcome         what came of one recording
Outcomes        of all of them, in order
show_of         what shows progress
unpacked        an outcome as values
"""

import math
import threading
import time
from collections.abc import Generator, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from emgreview.checks import kind, whole
from emgreview.errors import ParameterError, RunStoppedError, tell
from emgreview.running.cache import Cache
from emgreview.running.cluster import on_cluster
from emgreview.running.here import in_processes, one_by_one
from emgreview.running.progress import Progress, Show, shown
from emgreview.running.values import decode
from emgreview.running.work import Job, Opening, Packed, look_up, openings_of

WHERE = ("here", "lines", "json")
TRIM_EVERY = 100
"""After so many new results a cache is trimmed."""


@dataclass(frozen=True)
class Outcome:
    """What came of one recording.

    Attributes
    ----------
    name : str
        The recording.
    value : object
        The result; None where it failed.
    problem : str
        Why it failed; "" where it did not.
    opening_notes, notes : tuple of str
        What opening it, and the work on it, had to tell.
    ready : bool
        Whether the result was there from before.
    seen : str
        What the file of the recording was then; "" where that cannot be told.
    """

    name: str
    value: Any = None
    problem: str = ""
    opening_notes: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    ready: bool = False
    seen: str = ""


class Outcomes(Sequence[Outcome]):
    """The outcomes of some recordings, in their order.

    Attributes
    ----------
    failed : dict of str to str
        By name, why.
    ready : int
        Results that were there from before.
    """

    def __init__(self, outcomes: Sequence[Outcome]):
        self._all = tuple(outcomes)
        self.failed = {one.name: one.problem for one in outcomes if one.problem}
        self.ready = sum(one.ready for one in outcomes)

    def __len__(self) -> int:
        return len(self._all)

    def __getitem__(self, at: Any) -> Any:
        return self._all[at]

    def tell(self) -> None:
        """Tell what opening and work had to say, each of it as a SignalWarning."""
        for one in self._all:
            for sentence in (*one.opening_notes, *one.notes):
                tell(sentence)


class Runner:
    """Where work on many recordings runs, where its results are kept, and who sees and stops it.

    Whichever way it runs, and whatever was ready from before, the results are the same bytes.

    Parameters
    ----------
    workers : int, default 1
        Processes on this machine; 1 works in this one.
    cache : str, Path, Cache or None
        Where results are kept; None keeps none, and what was stopped begins anew.
    cluster : str or None
        Address of the scheduler of a Dask cluster, in place of processes here. Its workers
        need the same package, and must see the recordings under the same paths.
    progress : {"here", "lines", "json"}, callable or None
        "here" shows it in the notebook or terminal that is there, "lines" as text and "json" as
        lines of JSON on standard error; a callable gets a :class:`Progress`; None shows
        nothing.
    cancel : threading.Event or None
        Once it is set, nothing more is begun, and RunStoppedError is raised. In a notebook or
        terminal an interrupt does the same.

    Attributes
    ----------
    workers : int
        Processes on this machine.
    cache : Cache or None
        Where results are kept.
    cluster : str or None
        Address of a scheduler.
    progress : str, callable or None
        Where progress is shown.
    cancel : threading.Event
        Set it to stop.

    Raises
    ------
    ParameterError
        An argument is not what it must be.

    Examples
    --------
    >>> import emgreview as er
    >>> study = er.simulate_study(3, 3, 1000, seed=1)
    >>> checked = er.check_all(study.recordings, runner=er.Runner(workers=1))
    >>> len(checked), checked.failed
    (3, {})
    """

    def __init__(
        self,
        workers: int = 1,
        *,
        cache: str | Path | Cache | None = None,
        cluster: str | None = None,
        progress: str | Show | None = "here",
        cancel: threading.Event | None = None,
    ):
        self.workers = whole("workers", workers, least=1)
        kind("cluster", cluster, (str, type(None)), "the address of a scheduler, as tcp://host:8786, or None")
        kind("cancel", cancel, (threading.Event, type(None)), "a threading.Event, or None")
        if cluster is not None and workers != 1:
            raise ParameterError(
                f"workers came as {workers} and cluster as {cluster!r}; a cluster has workers of its own; give one of "
                "the two."
            )
        if not callable(progress) and progress is not None and progress not in WHERE:
            raise ParameterError(
                f"progress came as {progress!r}; allowed: {', '.join(map(repr, WHERE))}, a function of a Progress, or "
                "None; correct it."
            )
        self.cluster, self.cancel = cluster, threading.Event() if cancel is None else cancel
        self.cache = Cache(cache) if isinstance(cache, str | Path) else cache
        kind("cache", self.cache, (Cache, type(None)), "a folder, a Cache, or None")
        self.progress = progress
        self.behind = False  # whether somebody looks at what is ready meanwhile

    def run(self, job: Job, recordings: Any) -> Outcomes:
        """What a job makes of each recording.

        Parameters
        ----------
        job : Job
            What is done with each.
        recordings : Dataset or sequence of Recording
            A dataset, its recordings, or a list.

        Returns
        -------
        Outcomes
            One a recording, in order; one that fails stops no other.

        Raises
        ------
        RunStoppedError
            It was stopped; what is done is kept where there is a cache.
        ClusterError
            The cluster cannot be worked on as it is.
        ParameterError
            ``recordings`` are none.
        ReadError
            Something of the folder that holds them cannot be read; of a single recording that is
            its problem.
        """
        found: dict[int, Packed] = {}
        openings = openings_of(recordings)
        for packed in self.each(job, openings):
            found[packed.at] = packed
        return Outcomes([unpacked(found[opening.at], job) for opening in openings])

    def each(self, job: Job, openings: Sequence[Opening]) -> Iterator[Packed]:
        """What comes of each, as it comes to an end; shown, kept, and stopped where that is asked
        for.

        Parameters
        ----------
        job : Job
            What is done with each.
        openings : sequence of Opening
            The recordings, each opened where it is worked on.

        Yields
        ------
        Packed
        """
        show = show_of(self.progress)
        if self.cache is not None:
            self.cache.begin()
        begun, made, ready, spoilt, unkept, done = time.monotonic(), 0, 0, 0, 0, 0
        failed: list[str] = []
        started = False
        with closing(self._way(job, openings)) as way:
            while done < len(openings):
                if self.cancel.is_set():
                    raise self._stopped(done, len(openings))
                packed = next(way)
                if packed is None:
                    if not started:
                        show(Progress(done, len(openings), ready, tuple(failed), "", 0.0, math.nan))
                    started = True
                    continue
                done += 1
                failed += [packed.name] if packed.problem else []
                spoilt += len(packed.spoilt)
                ready += packed.ready
                if self.cache is not None and packed.content and not packed.written:
                    unkept += not self.cache.put(packed.key, packed.content)
                if self.cache is not None and not packed.ready:
                    made += 1
                    if made % TRIM_EVERY == 0:
                        self.cache.trim()
                seconds = time.monotonic() - begun
                left_s = seconds / (done - ready) * (len(openings) - done) if done > ready else math.nan
                show(Progress(done, len(openings), ready, tuple(failed), packed.name, seconds, left_s))
                yield packed
        if self.cache is not None:
            spoilt += len(self.cache.spoilt)
            self.cache.spoilt.clear()
            if made:
                self.cache.trim()
        if unkept and self.cache is not None:
            tell(
                f"{unkept} of {made} results could not be kept in {self.cache.folder}: is the disk full, or may "
                "nothing be written there? They are complete here, and will be made anew the next time."
            )
        if spoilt:
            tell(f"{spoilt} kept results were not what was written, and were made anew: {self.cache}.")

    def _way(self, job: Job, openings: Sequence[Opening]) -> Generator[Packed | None]:
        """What comes of each, and None where workers are started, or waited for: what is ready needs none."""
        if self.cluster is not None:
            left = []
            for opening in openings:
                kept = None if self.cache is None else look_up(opening, job, self.cache)
                if kept is None:
                    left.append(opening)
                else:
                    yield kept
            if left:
                yield None
                yield from on_cluster(left, job, self.cache, self.cluster)
        elif self.workers == 1 or len(openings) < 2:
            yield from one_by_one(openings, job, self.cache)
        else:
            yield from in_processes(openings, job, self.cache, min(self.workers, len(openings)), behind=self.behind)

    def _stopped(self, done: int, total: int) -> RunStoppedError:
        kept = (
            "run it again, and they are not done anew"
            if self.cache is not None
            else "there is no cache, so that it begins anew when it is run again; give one to go on"
        )
        return RunStoppedError(f"stopped after {done} of {total} recordings; {kept}.")


def show_of(progress: str | Show | None) -> Show:
    """What shows progress, from the ``progress`` of a runner."""
    return progress if callable(progress) else _unseen if progress is None else shown(progress)


def unpacked(packed: Packed, job: Job) -> Outcome:
    """An outcome as values."""
    if packed.problem:
        return Outcome(packed.name, problem=packed.problem, opening_notes=packed.opening_notes)
    value, notes = decode(packed.content, job.classes)
    return Outcome(packed.name, value, "", packed.opening_notes, tuple(notes), packed.ready, packed.seen)


def _unseen(now: Progress) -> None:
    """Nobody looks."""
