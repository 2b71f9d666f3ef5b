"""Work on this machine: in this process, or in several.

one_by_one      in this process
in_processes    in worker processes; one that ends loses nothing but what it was at
begin, begin_behind     what a worker does first: it ends with the process that began it, and gives way where asked
"""

import contextlib
import os
import threading
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from emgreview.running.cache import Cache
from emgreview.running.work import Job, Opening, Packed, about, look_up, work

AHEAD = 2
"""So many recordings wait at each worker: none is idle, and few are begun that a stop would lose."""
GIVES_WAY = 5
"""By so much nicer are workers behind what somebody looks at."""
MISSED = 3
"""After so many in a row that are not ready, workers look themselves: with them started, they are the quicker ones."""
LOOK_EVERY_S = 1.0
"""A worker looks so often whether the process that began it is there."""
TICK_S = 0.2
"""Whoever waits for workers can stop so soon."""
ENDED = (
    "the process that worked on it was ended: by the system where memory ran out, for instance; give it more memory, "
    "or leave the recording out."
)


def one_by_one(openings: Sequence[Opening], job: Job, cache: Cache | None) -> Iterator[Packed]:
    for opening in openings:
        yield work(opening, job, cache)


def begin() -> None:
    """End with the process that began this one: where that is killed, nobody reads what is written, and a worker that
    waits for it would stay for good."""
    threading.Thread(target=_end_with, args=(os.getppid(),), daemon=True).start()


def begin_behind() -> None:
    """The same, and let whatever is looked at meanwhile go first."""
    begin()
    with contextlib.suppress(OSError, AttributeError):  # not every system knows of it
        os.nice(GIVES_WAY)


def _end_with(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(LOOK_EVERY_S)
    os._exit(1)


def in_processes(
    openings: Sequence[Opening], job: Job, cache: Cache | None, workers: int, *, behind: bool = False
) -> Iterator[Packed | None]:
    """As they come to an end, and None where workers are started and while they are waited for: what is ready from
    before is told here, while they are at work. A worker that is killed ends all of them: what they were at is then
    worked on one after the other, so that only the recording that ends its worker is lost. ``behind``: workers let
    everything else go first."""
    suspects: list[Opening] = []
    waiting = list(openings)[::-1]
    started, missed = False, 0
    while waiting or suspects:
        alone = bool(suspects)
        turn = [suspects.pop()] if alone else waiting
        at_work: dict[Future[Packed], Opening] = {}
        pool: Any = None
        try:
            while turn or at_work:
                while turn and len(at_work) < AHEAD * workers:
                    opening = turn.pop()
                    if cache is not None and not alone and missed < MISSED:
                        kept = look_up(opening, job, cache)
                        missed = missed + 1 if kept is None else 0
                        if kept is not None:
                            yield kept
                            continue
                    if not started:
                        started = True
                        yield None
                    pool = _pool(workers, behind) if pool is None else pool
                    at_work[_submit(pool, opening, job, cache)] = opening
                done = wait(at_work, TICK_S, return_when=FIRST_COMPLETED).done
                if at_work and not done:
                    yield None
                for future in done:
                    packed = future.result()  # of a pool that broke, an error; what it was at is still in at_work
                    del at_work[future]
                    yield packed
        except BrokenProcessPool:
            lost = list(at_work.values())
            if alone:
                yield Packed(lost[0].at, lost[0].name, problem=ENDED)
            else:
                suspects += lost
        except BaseException:  # stopped: nothing more is begun, and what is at work is not waited for
            if pool is not None:
                pool.shutdown(wait=False, kill_workers=True)
            raise


def _pool(workers: int, behind: bool) -> Any:
    from joblib.externals.loky import get_reusable_executor  # loaded only where several are asked for

    return get_reusable_executor(max_workers=workers, timeout=60, initializer=begin_behind if behind else begin)


def _submit(pool: Any, opening: Opening, job: Job, cache: Cache | None) -> "Future[Packed]":
    future: Future[Packed] = pool.submit(work, opening, about(job, opening.name), cache)
    return future
