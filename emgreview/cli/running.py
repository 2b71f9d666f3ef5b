"""Where a command's work on many recordings runs: options, and the runner that they ask for.

add_running     the options
runner_of       the runner; beside a review its results are kept in the review's folder
undo_beginning  what a review leaves that was refused before it was begun
cut_later       the trials of recordings, known by a runner, cut where they are looked at
"""

import argparse
import contextlib
import sys
import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import emgreview as er
from emgreview.cli.options import whole
from emgreview.cli.source import processing_of
from emgreview.running.cache import AT_MOST_MB, NAME, remove_beside

FEW = 6
"""Fewer recordings than this are worked on in one process unless told: workers take as long to start."""


def add_running(parser: argparse.ArgumentParser, *, beside_review: bool = False) -> None:
    kept = f"FOLDER/{NAME}, beside the review, unless that is a link" if beside_review else "nowhere"
    parser.add_argument(
        "--workers",
        type=whole,
        metavar="N",
        help=f"processes on this machine (one a core from {FEW} recordings on, else 1)",
    )
    parser.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="the scheduler of a Dask cluster, tcp://host:8786 for example, in place of processes here",
    )
    parser.add_argument(
        "--cache",
        metavar="FOLDER",
        help=f"where results are kept and found again ({kept}); none: nowhere. It is safe to delete, and holds at most "
        f"{AT_MOST_MB:g} MB",
    )


def runner_of(given: argparse.Namespace, count: int, beside: Path | None = None) -> er.Runner:
    """The runner for ``count`` recordings; ``beside``: the folder of a review, where nothing is kept behind a link."""
    workers = given.workers
    if workers is None:
        workers = 1 if count < FEW or given.cluster is not None else _cores()
    cache: er.Cache | Path | None = None
    if given.cache is not None:
        cache = None if given.cache.casefold() == "none" else Path(given.cache)
    elif beside is not None:
        cache = _beside(beside, begun=given.command != "review")
    shown = "json" if given.json else "here" if sys.stderr.isatty() else "lines"
    return er.Runner(workers, cache=cache, cluster=given.cluster, progress=shown)


def _cores() -> int:
    from joblib import cpu_count  # those that this process may use; asked only where there is much to do

    return max(1, int(cpu_count()))


def _beside(review: Path, *, begun: bool) -> er.Cache | None:
    """The cache in the folder of a review, which must have been ``begun``; None where nothing can be kept there, or it
    would lead elsewhere."""
    if (review / NAME).is_symlink() or (begun and not (review / "logs").is_dir()):
        return None
    with contextlib.suppress(er.EmgreviewError):
        cache = er.Cache(review / NAME)
        cache.begin()
        return cache
    return None


def undo_beginning(folder: Path) -> None:
    """A review that was refused before it was begun leaves no folder: results that were kept in it go."""
    remove_beside(folder)
    with contextlib.suppress(OSError):  # holds something by now
        folder.rmdir()


def cut_later(
    given: argparse.Namespace,
    recordings: Sequence[er.Recording],
    runner: er.Runner,
    *,
    method: str | None = None,
    parameters: Mapping[str, Any] | None = None,
    blind: bool = False,
) -> list[er.Trials]:
    """The trials of recordings; those that cannot be cut are among ``given.problems``."""
    from emgreview.many.cut import CutJob, known_by  # heavy: filters, onset methods; not every command cuts

    for rec in recordings:
        for note in rec.notes:  # those that reading has told already are not said again
            warnings.warn(f"{rec.name}: {note}", er.SignalWarning, stacklevel=2)
    how = {} if method is None else dict(given.set if parameters is None else parameters)
    job = CutJob(given.cue, given.before, given.after, processing_of(given), given.expect, method, how)
    trials, failed = known_by(runner, job, recordings, blind=blind)
    given.problems |= failed
    given.as_expected &= all(given.expect in (None, len(one)) for one in trials)
    return trials
