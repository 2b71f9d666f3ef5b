"""Trials of many recordings: cut at once, or each where it is looked at, with what is known of them kept.

cut_all         the trials of every recording
known_by        the same by a runner, and why a recording has none
left_out        sentences on those that have none
CutJob          what is known of the trials of one: notes, codes, levels, and onsets
"""

import os
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any, ClassVar

from emgreview.checks import kind, truth
from emgreview.detecting import onsets_of
from emgreview.errors import EmgreviewError, ParameterError, tell
from emgreview.evidence import GLANCE, Glance, counted
from emgreview.model import Note, Onsets, Processing, Recording, Trials
from emgreview.running import Runner
from emgreview.running.runner import unpacked
from emgreview.running.work import openings_of
from emgreview.signal.onset import checked_method
from emgreview.trials import LaterTrials, cut_trials
from emgreview.trials.cutting import Plan
from emgreview.unnamed import LEFT_OUT, NobodyNamed, alike


@dataclass(frozen=True)
class CutJob:
    """What is known of the trials of one recording, without their samples: ``method`` None finds no onsets."""

    cue: str
    before_s: float
    after_s: float
    processing: Processing
    expect: int | None = None
    method: str | None = None
    parameters: Mapping[str, Any] = field(default_factory=dict)
    classes: ClassVar[tuple[type, ...]] = (Glance, Note, Onsets)

    def __post_init__(self) -> None:
        """All parameters are named, so that a result is found again whether the usual ones were given or not."""
        if self.method is not None:
            every = asdict(checked_method(self.method, dict(self.parameters))[1])
            object.__setattr__(self, "parameters", every)

    def now(self, rec: Recording) -> Trials:
        """The trials themselves."""
        return cut_trials(
            rec,
            cue=self.cue,
            before_s=self.before_s,
            after_s=self.after_s,
            processing=self.processing,
            expect=self.expect,
        )

    def __call__(self, rec: Recording) -> dict[str, Any]:
        trials = self.now(rec)
        found = {}
        if self.method is not None:
            found = {
                label: onsets_of(trials, label, method=self.method, parameters=self.parameters)
                for label in trials.labels
            }
        said = {"notes": trials.notes, "codes": dict(trials.codes), "impossible": dict(trials.impossible)}
        known = {GLANCE: counted(trials)} if self.method is not None else {}
        return {"samples": rec.digest, "said": said, "onsets": found, "known": known}

    def later(self, rec: Recording, known: Mapping[str, Any], blind: bool) -> LaterTrials:
        """The trials of a recording of which this is known. Raises ParameterError where it is another by now."""
        if not rec.is_of(known["samples"]):
            raise ParameterError(
                f"the file of {rec.name!r} changed while it was worked on; it must stay as it is; run this again."
            )
        plan = Plan.of(rec, self.cue, self.before_s, self.after_s, self.processing)
        by = None if self.method is None else (self.method, self.parameters)
        return LaterTrials.of(
            plan, known["said"], blind=blind, detected=known["onsets"], detected_by=by, known=known["known"]
        )


def cut_all(
    recordings: Any,
    *,
    cue: str,
    before_s: float,
    after_s: float,
    processing: Processing | None = None,
    expect: int | None = None,
    blind: bool = False,
    runner: Runner | None = None,
    method: str | None = None,
    parameters: Mapping[str, Any] | None = None,
) -> list[Trials]:
    """Cut the trials of every recording, as :func:`cut_trials` cuts them.

    A recording that cannot be read or cut is named in a warning, with the reason, and left
    out; the others go on.

    Parameters
    ----------
    recordings : Dataset or iterable of Recording
        A dataset, its recordings, or a list.
    cue : str
        Label of the markers to cut around.
    before_s, after_s : float
        How far a trial reaches before and after its cue, in seconds.
    processing : Processing or None
        Filter, envelope and rest window; None for the defaults.
    expect : int or None
        How many cues each recording should have.
    blind : bool, default False
        For trials of a blind review: what reading and cutting have to say of the others is
        told without names, each sentence once with the number of recordings that it is
        about.
    runner : Runner or None
        For many recordings: where the work runs and what is known of the trials is kept. Their
        samples are then cut where they are looked at, so that the memory of a few holds all.
        None: everything is cut here and now.
    method : str or None
        With a runner: the onset method by which onsets are found at once, for a review or
        table by that method.
    parameters : mapping or None
        What the method takes beside its defaults.

    Returns
    -------
    list of Trials
        One for each recording that could be cut, in order.

    Raises
    ------
    ParameterError
        Not one recording could be cut (the message gives the reasons), or something else
        than recordings came.
    UnknownNameError
        No method or parameter has that name.
    ReadError, RunStoppedError, ClusterError
        As :meth:`emgreview.Runner.run`.

    Warns
    -----
    SignalWarning
        A recording was left out (where several were for one reason, they share a sentence);
        and every note of :func:`cut_trials`.

    Examples
    --------
    >>> import emgreview as er
    >>> study = er.simulate_study(2, 3, 1000, seed=1)
    >>> [len(one) for one in er.cut_all(study.recordings, cue="go", before_s=1, after_s=1.5)]
    [3, 3]
    >>> runner = er.Runner()
    >>> later = er.cut_all(study.recordings, cue="go", before_s=1, after_s=1.5, runner=runner)
    >>> [one.data.shape for one in later]
    [(3, 2, 2500), (3, 2, 2500)]
    """
    truth("blind", blind)
    kind("runner", runner, (Runner, type(None)), "a Runner, or None")
    if runner is None and (method is not None or parameters):
        raise ParameterError("method and parameters came without a runner; they belong to one: runner=Runner().")
    job = CutJob(cue, before_s, after_s, Processing() if processing is None else processing, expect)
    if method is not None:
        checked_method(method, dict(parameters or {}))
        job = replace(job, method=method, parameters=dict(parameters or {}))
    read: list[Recording] = []
    with NobodyNamed(read, blind):
        found, failed = (
            _now(recordings, job, read, blind)
            if runner is None
            else known_by(runner, job, recordings, blind=blind, read=read)
        )
    told = left_out(failed)
    if not found:
        raise ParameterError(
            f"not one of {len(failed)} recordings could be cut; at least one must have the cue and fit the window; "
            f"{' '.join(told[:3]) or 'give recordings'}"
        )
    for sentence in told:
        tell(sentence)
    return found


def left_out(failed: Mapping[str, str]) -> list[str]:
    """Sentences on the recordings that cannot be cut, from the reasons by name."""
    return [
        f"{whose} cannot be cut{LEFT_OUT if whose in failed else LEFT_OUT.replace('is', 'are')}{words}"
        for whose, words in alike(failed).items()
    ]


def _now(recordings: Any, job: CutJob, read: list[Recording], blind: bool) -> tuple[list[Trials], dict[str, str]]:
    """Every recording cut here; and by name why one was not. ``read`` gains those that were opened."""
    allowed = "a dataset, its recordings, or a list of recordings"
    if isinstance(recordings, str | os.PathLike) or not (
        isinstance(recordings, Iterable) or hasattr(recordings, "recordings")
    ):
        kind("recordings", recordings, Recording, allowed)
    found: list[Trials] = []
    failed: dict[str, str] = {}
    for rec in [recordings] if isinstance(recordings, Recording) else getattr(recordings, "recordings", recordings):
        kind("recordings", rec, Recording, allowed)
        read.append(rec)
        try:
            found.append(replace(job.now(rec), blind=blind))
        except EmgreviewError as error:
            failed[rec.name] = str(error)
    return found, failed


def known_by(
    runner: Runner, job: CutJob, recordings: Any, *, blind: bool = False, read: list[Recording] | None = None
) -> tuple[list[Trials], dict[str, str]]:
    """Trials of every recording that are cut where they are looked at, what is known of them made by a runner; and by
    name why one has none. Each is opened anew here; ``read`` gains them."""
    openings = openings_of(recordings)
    outcomes = {packed.at: unpacked(packed, job) for packed in runner.each(job, openings)}
    found: list[Trials] = []
    failed: dict[str, str] = {}
    for opening in openings:
        outcome = outcomes[opening.at]
        if outcome.problem:
            failed[opening.name] = outcome.problem
            continue
        try:
            rec = opening.as_seen(outcome.seen)
            if read is not None:
                read.append(rec)
            found.append(job.later(rec, outcome.value, blind))
        except EmgreviewError as error:
            failed[opening.name] = str(error)
        else:
            for sentence in outcome.notes:
                tell(sentence)
    return found, failed
