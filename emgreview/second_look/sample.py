"""Trials for a second reviewer: a share of every stratum, drawn by numbers that follow from the recordings.

The first reviewer's marks stay unseen: each reviewer has logs of their own, and nothing here reads the others'. Nobody
can choose the draw: it is the same under every code and in every copy of the folder (``cohort.drawing``), and a larger
share holds the smaller one. A file saved anew in a new folder draws anew; no log can show that. The first reviewer
could find out beforehand which trials will be compared, and should not.

    draw_sample     narrow the second reviewer's session to the trials drawn
"""

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from emgreview.checks import kind
from emgreview.cohort.drawing import Numbers, refuse_seed, stratified
from emgreview.errors import DecisionError, UnknownNameError, tell
from emgreview.second_look.adjudication import Adjudication
from emgreview.session import Session, nobody_named

BY = ("participant", "condition", "certainty")
PURPOSE = "second reviewer"


@nobody_named
def draw_sample(session: Session, *, share: float = 0.2, by: Sequence[str] = BY, **options: Any) -> tuple[str, ...]:
    """Draw the trials that a second reviewer is to look at, and narrow the session to them.

    The strata, the trials and what they were drawn by are written to the log; the session
    opened again is about the same trials.

    Parameters
    ----------
    session : Session
        The second reviewer's review, before the first decision.
    share : float, default 0.2
        Share of every stratum, at least one trial of each; 1 for everything.
    by : sequence of str, default ("participant", "condition", "certainty")
        What makes the strata: "participant", "recording", "certainty" (of the automatic
        onsets of a trial: all found with intervals below the median of all trials, wider
        ones, or at least one not found) and any detail of the cues, such as "condition".
    **options
        None is allowed; a seed is refused by name.

    Returns
    -------
    tuple of str
        Ids of the trials drawn, in recorded order.

    Raises
    ------
    DecisionError
        A sample was drawn before, decisions were taken already, or it is to be drawn by
        participant from several recordings that do not all name theirs.
    UnknownNameError
        ``by`` names what does not exist.
    ParameterError
        The share is out of range, or a seed came: none is taken.

    Warns
    -----
    SignalWarning
        ``by`` is not given and no cue says its condition: the other two make the strata.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 10, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r2") as session:
    ...         drawn = er.draw_sample(session, share=0.3)
    ...         len(drawn) == len(session.queue) < 10
    True
    """
    refuse_seed(options, "which trials are drawn follows from the recordings")
    kind("session", session, (Session, Adjudication), "the session that open_review returns")
    session.demand_all("A sample")
    if any(note.operation == "draw sample" for note in session.notes):
        raise DecisionError(
            f"a sample was drawn for reviewer {session.reviewer!r} already, and a second draw would be a choice; go on "
            "with the first; under another code it would hold the same trials of every stratum first."
        )
    if session.progress[0]:
        raise DecisionError(
            f"{session.progress[0]} channel-trials are decided already; a sample is drawn before the first decision; "
            "start a review under another code."
        )
    strata = _strata(session, by)
    recordings = {trial: trials.recording for trials in session.trials for trial in trials.ids}
    numbers = Numbers.of(PURPOSE, recordings.values())
    drawn = stratified(strata, share, lambda trial: numbers.order(recordings[trial].name, trial))
    sizes, counts = Counter(strata.values()), Counter(strata[trial] for trial in drawn)
    table = [
        {"stratum": list(stratum), "trials": sizes[stratum], "drawn": counts[stratum]}
        for stratum in sorted(sizes, key=str)
    ]
    plan = {"only": drawn, "drawn_by": dict(numbers.drawn_by), "share": float(share), "by": list(by), "strata": table}
    session.note("draw sample", plan)
    return tuple(drawn)


def _strata(session: Session, by: Sequence[str]) -> dict[str, tuple[str, ...]]:
    cues = {
        trial: (trials, marker)
        for trials in session.trials
        for trial, marker in zip(trials.ids, trials.cues, strict=True)
    }
    details = {name for _, marker in cues.values() for name in marker.details}
    certainty = _certainty(session, tuple(cues)) if "certainty" in by else {}
    known: dict[str, Callable[[str], str]] = {
        "participant": lambda trial: cues[trial][0].recording.entities.get("sub", ""),
        "recording": lambda trial: cues[trial][0].recording.name,
        "certainty": lambda trial: certainty[trial],
    }

    def detail(name: str) -> Callable[[str], str]:
        return lambda trial: str(cues[trial][1].details.get(name, ""))

    names = [name for name in by if name in known or name in details or by is not BY]
    for name in names:
        if name not in known and name not in details:
            raise UnknownNameError("stratum", name, sorted({*known, *details}))
    if "participant" in by:
        _demand_participants(session)
    if lacking := [name for name in by if name not in names]:
        tell(f"No cue says its {lacking[0]}: the sample is not drawn by it, only by {' and '.join(names)}.")
    readers = [known.get(name) or detail(name) for name in names]
    return {trial: tuple(read(trial) for read in readers) for trial in cues}


def _demand_participants(session: Session) -> None:
    """Strata by participant need everybody's name; of one recording there is only one person."""
    recordings = {trials.recording.name: trials.recording.entities.get("sub") for trials in session.trials}
    nameless = [name for name, sub in recordings.items() if not sub]
    if nameless and len(recordings) > 1:
        few = ", ".join(nameless[:6]) + (f" … ({len(nameless)} in all)" if len(nameless) > 6 else "")
        raise DecisionError(
            f"the sample is to be drawn by participant, but these recordings do not name theirs, as those of a plain "
            f"folder do not: {few}; every recording must, or the sample would not be spread over people; lay the study "
            "out as a BIDS dataset, or draw by recording: by=('recording', 'certainty')."
        )


def _certainty(session: Session, trials: Sequence[str]) -> Mapping[str, str]:
    """In words, how certain the method is of its least certain onset of a trial."""
    widths: dict[str, float] = {}
    for trial in trials:
        found = [session.automatic(trial, channel) for channel in session.state(trial).channels]
        missing = any(math.isnan(one.onset_s) for one in found)
        widths[trial] = math.nan if missing else max(one.high_s - one.low_s for one in found)
    finite = [width for width in widths.values() if math.isfinite(width)]
    middle = float(np.median(finite)) if finite else math.nan
    return {
        trial: "not all found" if math.isnan(width) else "narrow" if width <= middle else "wide"
        for trial, width in widths.items()
    }
