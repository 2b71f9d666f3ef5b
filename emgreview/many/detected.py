"""Onsets of every trial and channel of many recordings, as one table.

detect_all      the table
onset_rows      the rows of the trials of one recording

"""

from collections.abc import Mapping
from typing import Any

import pandas as pd

from emgreview.detecting import METHOD, onsets_of
from emgreview.many.cut import cut_all
from emgreview.model import Processing, Trials
from emgreview.running import Runner
from emgreview.signal.onset import checked_method

TIMES = ("onset_s", "low_s", "high_s", "offset_s", "offset_low_s", "offset_high_s")


def detect_all(
    recordings: Any,
    *,
    cue: str,
    before_s: float,
    after_s: float,
    processing: Processing | None = None,
    expect: int | None = None,
    method: str = METHOD,
    parameters: Mapping[str, Any] | None = None,
    runner: Runner | None = None,
) -> pd.DataFrame:
    """Onsets of every trial and EMG channel, by one method.

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
    method : str, default "ramp"
        The onset method, as for :func:`emgreview.estimate_onsets`.
    parameters : mapping or None
        What the method takes beside its defaults.
    runner : Runner or None
        Where the work runs and its results are kept; None: in this process, kept nowhere.

    Returns
    -------
    DataFrame
        One row a channel of a trial, in order of time: recording, trial, channel and
        cue_sample; onset_s, low_s, high_s, offset_s, offset_low_s and offset_high_s, in
        seconds from the cue; rise_s in seconds, level_db in dB, present from 0 to 1,
        baseline_note and method. Missing is NaN, or None of a text.

    Raises
    ------
    UnknownNameError
        No method or parameter has that name.
    ParameterError, ReadError, RunStoppedError, ClusterError
        As for :func:`cut_all`.

    Warns
    -----
    SignalWarning
        As for :func:`cut_all`.

    Examples
    --------
    >>> import emgreview as er
    >>> study = er.simulate_study(2, 3, 1000, seed=1)
    >>> table = er.detect_all(study.recordings, cue="go", before_s=1, after_s=1.5)
    >>> table.groupby("recording").size().to_dict()
    {'sub-01': 6, 'sub-02': 6}
    """
    given = dict(parameters or {})
    checked_method(method, given)
    trials = cut_all(
        recordings,
        cue=cue,
        before_s=before_s,
        after_s=after_s,
        processing=processing,
        expect=expect,
        runner=Runner() if runner is None else runner,
        method=method,
        parameters=given,
    )
    return pd.DataFrame([row for part in trials for row in onset_rows(part, method, given)])


def onset_rows(trials: Trials, method: str, parameters: Mapping[str, Any]) -> list[dict[str, Any]]:
    """A row a channel of a trial, in order of time; seconds from the cue, to a microsecond."""
    rows = []
    cue_s = trials.before / trials.rate_hz
    for label in trials.labels:
        found = onsets_of(trials, label, method=method, parameters=parameters)
        for place, (trial, cue) in enumerate(zip(trials.ids, trials.cues, strict=True)):
            times = {name: float(getattr(found, name)[place]) - cue_s for name in TIMES}
            rows.append(
                {"recording": trials.recording.name, "trial": trial, "channel": label, "cue_sample": cue.sample}
                | {name: round(value, 6) for name, value in times.items()}
                | {name: round(float(getattr(found, name)[place]), 6) for name in ("rise_s", "level_db", "present")}
                | {"baseline_note": str(found.baseline_note[place]) or None, "method": found.method}
            )
    return sorted(rows, key=lambda row: row["cue_sample"])
