"""Open a review: start it, or go on.

open_review     the session of some trials in a folder
"""

import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from emgreview.annotations.convention import Convention
from emgreview.annotations.events import check_reviewer
from emgreview.annotations.files import FileSystem
from emgreview.annotations.proposals import check_order
from emgreview.checks import kind, review_folder, truth
from emgreview.detecting import Detect
from emgreview.errors import ParameterError
from emgreview.many.arriving import Arrivals, ArrivingTrials
from emgreview.model import Trials
from emgreview.session.arriving import first_of
from emgreview.session.review import Session


def open_review(
    trials: Trials | Sequence[Trials] | ArrivingTrials,
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
    unblind: str | None = None,
    log_restored: str | None = None,
    read_only: bool = False,
    detect: Detect | None = None,
    files: FileSystem | None = None,
) -> "Session":
    """Start a review in a folder, or continue the one that is there.

    Parameters
    ----------
    trials : Trials, sequence of Trials, or ArrivingTrials
        What is reviewed, one Trials a recording; each recording has its own log. With what
        :func:`emgreview.cut_as_ready` returns, the review opens with the first recording, or
        that of the last decision, and the others join it (:meth:`Session.take_arrived`, which
        screens call by themselves). Until all are there, trials stand as they were recorded,
        and what needs all is refused, such as sealing. A review that is blind, hides marks,
        shows trials again or was narrowed waits for all of them.
    folder : str or Path
        The folder in which decisions are kept.
    reviewer : str
        Code of the reviewer.
    order : {"recorded", "random", "least certain"}
        Order of the trials. "random" is fixed by folder and reviewer; "least certain" puts
        first those where the method could not tell, then goes by the width of its interval.
    blind : bool, default False
        Hide condition and participant, and shuffle trials across recordings. What was told
        before, when trials were read and cut, it cannot hide: cut them with
        :func:`emgreview.cut_all` and its own ``blind``. Nor does it hide ids of trials, which
        name their recording: a notebook shows what a cell's last line returns, so write ``_ =``
        before a command, :attr:`Session.queue` or :meth:`Session.decisions`. A review that was
        begun blind goes on blind: without ``blind`` it is refused, until ``unblind`` says why
        it ends.
    method : str or None
        The onset method, as for :func:`emgreview.estimate_onsets`. None: the review goes on
        with the one in its log, parameters included, or begins with "ramp".
    parameters : mapping or None
        What the method takes beside its defaults, such as the shortest burst and the gap that
        is merged: ``method="double-threshold", parameters={"shortest_s": 0.05, "merge_s":
        0.02}``.
    relook_ms : float, default 10.0
        How far, in milliseconds, the automatic onset may lie from the one that was seen when
        a mark was reviewed under another method, parameters or processing; beyond it, the
        mark joins :attr:`Session.relook`.
    relook_offset_ms : float or None, default 50.0
        The same of the offset; None: the offset does not count.
    convention : Convention, str or None
        How the study marks an onset; a text has one paragraph a line. It is kept in the logs,
        and holds until another is given.
    scale_corrected : str or None
        The logs keep in which unit and gain each channel was read, and a recording that comes
        in another scale is refused. This says, in words that the logs keep, why the former
        reading was the wrong one: marks stay then, and amplitudes are those of the scale that
        comes.
    unblind : str or None
        Why a blind review is shown from now on, in words that the logs keep (as
        :meth:`Session.unblind` does).
    log_restored : str or None
        Why to go on from a log that lacks lines which a sealed version, or the log of a third
        reviewer, names: such a log was cut back, emptied, removed or exchanged, and opens for
        reading only until this says, in words that the logs keep, that a backup was restored,
        for instance.
    read_only : bool, default False
        Lock and write nothing.
    detect : callable or None
        Replaces the detector; called like :func:`emgreview.estimate_onsets`.
    files : FileSystem or None
        How files are written; for tests.

    Returns
    -------
    Session
        The review. Use it in a ``with`` block, or close it. A broken log opens the whole
        review for reading only; ``session.problem`` says why.

    Raises
    ------
    ReadError
        The folder, or one in it, cannot be looked at.
    ParameterError
        An argument is not what it must be.
    UnknownNameError
        No method, parameter or order has that name.
    LogLockedError
        Another process writes this review.
    LogTooNewError
        A log was written by a newer major version of the format.
    LogError
        A log belongs to another recording, or to one in another scale.
    DecisionError
        A blind review would be shown, or a review that is not blind any more hidden again.

    Warns
    -----
    SignalWarning
        What the reviewer should know (:attr:`Session.notices`), such as recordings that hold
        the same samples, and, when a recording is begun, logs of others that did not come; in
        a blind review also, that notes may have been told by name.

    Notes
    -----
    A mark that was reviewed under another method, parameters or processing keeps the value
    that was seen. It also joins :attr:`Session.relook` where only one of the two onsets (or
    offsets) is there.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 3, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1") as session:
    ...         first = session.queue[0]
    ...         _ = session.accept(first, "prime mover")
    ...         _ = session.move(first, "antagonist", onset_s=0.21)
    ...         _ = session.accept(first, "antagonist")
    ...         session.progress_words
    '2 of 6 reviewed'
    """
    kind("folder", folder, (str, os.PathLike), "the path of the folder in which decisions are kept")
    folder = review_folder(folder)
    kind("parameters", parameters, (Mapping, type(None)), "a mapping of names to values, such as {'shortest_s': 0.05}")
    truth("blind", blind)
    check_reviewer(reviewer)
    coming: Arrivals | None = None
    if isinstance(trials, ArrivingTrials):
        if detect is not None:
            raise ParameterError("detect came with trials that are still to arrive; cut them all: cut_all(…).")
        check_order(order)
        whys = (unblind, scale_corrected, log_restored)
        coming, trials = first_of(
            trials,
            folder,
            reviewer,
            all_at_once=blind or any(why is not None for why in whys),
            method=method,
            parameters=parameters,
        )
    several = isinstance(trials, Iterable) and not isinstance(trials, str)
    given: tuple[Any, ...] = tuple(trials) if several and not isinstance(trials, Trials) else (trials,)
    for part in given:
        kind("trials", part, Trials, "what cut_trials returns, or a list of such, one a recording")
    try:
        session = Session(
            given,
            folder,
            reviewer=reviewer,
            order=order,
            blind=blind,
            method=method,
            parameters=parameters,
            relook_ms=relook_ms,
            relook_offset_ms=relook_offset_ms,
            convention=convention,
            scale_corrected=scale_corrected,
            unblind=unblind,
            log_restored=log_restored,
            read_only=read_only,
            detect=detect,
            files=files,
            coming=coming,
        )
    except BaseException:
        if coming is not None:
            coming.stop()
        raise
    session.tell_notices()
    return session
