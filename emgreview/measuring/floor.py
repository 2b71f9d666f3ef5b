"""What a method could not have seen: the detection floor of a channel, from that person's own bursts and rest.

detection_floor     the smallest burst that would have been found; definitions in ``signal.floor``
"""

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from emgreview.annotations import scales
from emgreview.checks import demand
from emgreview.detecting import onsets_of
from emgreview.errors import ParameterError
from emgreview.measuring.aside import Aside
from emgreview.measuring.ground import Ground
from emgreview.measuring.marked import MarkedBursts
from emgreview.measuring.rows import (
    FloatArray,
    carried,
    channel_of,
    excluded,
    numbers,
    places,
    rows_to_measure,
    said_of,
    tell_all,
    trials_of,
    unit_of,
)
from emgreview.measuring.stretches import NEAR_S
from emgreview.model import Trials, to_sample
from emgreview.signal import measures
from emgreview.signal.clip import cut_words
from emgreview.signal.floor import Floor, find_floor


def detection_floor(
    trials: Trials | Sequence[Trials],
    channel: str,
    *,
    decisions: pd.DataFrame | None = None,
    method: str = "ramp",
    share: float = 0.95,
    injections: int = 200,
    seed: int = 0,
    **parameters: Any,
) -> Floor:
    """The smallest burst that a method finds in a share of the trials of a person and channel.

    "No onset found" is not "no activity". So a person's own bursts are scaled down, put into
    that person's own rest at known places, and sought again.

    Parameters
    ----------
    trials : Trials or sequence of Trials
        Trials of one recording, or of several of one person (blocks of a session,
        electrodes left on): their rests and bursts are then pooled.
    channel : str
        Label of the channel.
    decisions : DataFrame or None
        A table of decisions, for bursts and for what takes no part.
    method : str, default "ramp"
        Onset method, as for :func:`emgreview.estimate_onsets`.
    share : float, default 0.95
        The share of trials.
    injections : int, default 200
        Bursts put in at each level.
    seed : int, default 0
        Seed of the places and of what is drawn.
    **parameters
        Parameters of the method.

    Returns
    -------
    Floor
        Levels in dB over rest and in the unit of the trials; NaN, with the reason in
        ``note``, where there are too few trials or no burst.

    Raises
    ------
    SignalError
        The rest window is below 0.1 s, or samples are too large to be a voltage.
    UnitError, ParameterError
        Recordings do not go together, decisions of two reviewers are on one trial, a table
        came as ``channel``, or a value is out of range.
    UnknownNameError
        No channel, method or parameter has that name.
    RateError, VersionError
        As for :func:`emgreview.measure`, by its decisions.

    Warns
    -----
    SignalWarning
        Why the floor is NaN, and what took no part.

    Notes
    -----
    Rest is the rest window of each trial, but for trials where the default method calls it
    active, flat or missing, and those whose signal ``decisions`` call unusable or exclude,
    whose rest holds a marked burst, or within 0.1 s of whose rest a stretch was set aside.
    Bursts are the stronger half of each recording's accepted responses in ``decisions``
    (unusable signals, bursts that a stretch set aside touches, what was excluded, and what a
    rule for inclusion leaves out take no part), or, without such a table, of those the
    default method finds. Rests stay whatever the rule: it speaks of bursts.

    ``left_out`` tells what took no part, how many bursts are clipped, and how many rests or
    bursts come from signals that are dead, flat, missing or clipped down to their rest
    (``signal.unfit``), trial by trial.

    A burst counts as found where the method's onset lies between 0.1 s before its true onset
    and its true offset. The floor is where the share found passes ``share``.

    Examples
    --------
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 6, 1000, seed=3).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> floor = er.detection_floor(trials, "prime mover", injections=20)
    >>> bool(floor.low_db < floor.level_db < floor.high_db < 10)
    True
    """
    parts = trials_of(trials)
    if isinstance(channel, pd.DataFrame):
        raise ParameterError(
            "channel came as a table; allowed: the label of one channel; give the table of decisions by its name: "
            f"detection_floor(trials, {parts[0].labels[0]!r}, decisions=table)."
        )
    unit_of(parts)
    for name, values in (
        ("the sampling rates", {part.rate_hz for part in parts}),
        ("the rest windows", {part.processing.rest_s for part in parts}),
        ("the participants", {part.recording.entities.get("sub") for part in parts}),
    ):
        demand(len(values) == 1, name, sorted(values, key=str), "the same in all recordings that are pooled")
    found = [_rests_and_bursts(part, channel, decisions) for part in parts]
    floor = find_floor(
        np.concatenate([rests for rests, _, _ in found]),
        [burst for _, bursts, _ in found for burst in bursts],
        parts[0].rate_hz,
        method=method,
        share=share,
        injections=injections,
        seed=seed,
        **parameters,
    )
    told = [f"{part.recording.name}: {note}" for part, (*_, notes) in zip(parts, found, strict=True) for note in notes]
    kept = [scales.compare(_scale(parts[0], channel), _scale(part, channel)).amplitude for part in parts[1:]]
    others = [
        f"{part.recording.name}: {'; '.join(words)}" for part, words in zip(parts[1:], kept, strict=True) if words
    ]
    if others:
        told.append(
            f"Pooled are recordings of other scales than {parts[0].recording.name} has ({' / '.join(others)}): right "
            "where the amplifier was set otherwise, wrong where a file was read in another unit; look at their rests."
        )
    out = dataclasses.replace(floor, left_out=tuple(told))
    tell_all(f"floor of {channel}: {note}" for note in (*out.left_out, out.note) if note)
    return dataclasses.replace(out, left_out=(*out.left_out, *carried(decisions)))


def _scale(part: Trials, channel: str) -> list[dict[str, Any]]:
    """The scale of one channel of a recording."""
    return [entry for entry in scales.stated(part.recording) if entry["label"] == channel]


def _rests_and_bursts(
    trials: Trials, channel: str, decisions: pd.DataFrame | None
) -> tuple[FloatArray, list[FloatArray], list[str]]:
    """Rest windows (trials, samples) that are quiet, the stronger half of the bursts of one recording, and sentences on
    what took no part."""
    column = channel_of(trials, channel)
    x = np.asarray(trials.data[:, column], float)
    rate_hz, rest_s = trials.rate_hz, trials.processing.rest_s
    seen = onsets_of(trials, channel)
    quiet = ~np.isin(seen.baseline_note, ["missing", "flat", "active before the cue"])
    early, late = (trials.before + to_sample(edge, rate_hz) for edge in rest_s)
    notes: list[str] = []
    if not quiet.all():
        notes.append(f"{(~quiet).sum()} rests that the default method calls active, flat or missing take no part.")
    if decisions is None:
        if lasting := int((np.isfinite(seen.onset_s) & ~np.isfinite(seen.offset_s)).sum()):
            notes.append(f"{lasting} bursts that last to the end of their trial take no part; cut longer trials.")
        trial = np.flatnonzero(np.isfinite(seen.offset_s))
        onset, offset = (np.round(part[trial] * rate_hz) for part in (seen.onset_s, seen.offset_s))
    else:
        rows_to_measure([trials], decisions, one_reviewer=True)  # names, rates and reviewers of all channels
        rows, said = rows_to_measure([trials], decisions[decisions["channel"] == channel])
        notes += said
        rows = rows[rows["kind"] == "response"]
        unusable, endless = rows["signal"] == "unusable", rows["offset_sample"].isna()
        if unusable.any() or endless.any():
            notes.append(
                f"{unusable.sum()} responses of unusable signals, and {(endless & ~unusable).sum()} whose offset is "
                "not known, take no part."
            )
        rows = rows[~unusable & ~endless].sort_values("onset_sample", kind="stable")  # bursts are drawn by their place
        signal, _ = said_of(decisions, trials, channel)
        bad = ((signal == "unusable").fillna(False) | excluded(decisions, trials, channel)).to_numpy(dtype=bool)
        if bad.any():
            notes.append(f"{bad.sum()} rests of unusable or excluded signals take no part.")
        quiet &= ~bad
        aside = Aside(decisions)
        notes += aside.notes
        begin = np.array([cue.sample - trials.before for cue in trials.cues], dtype=np.intp)
        touched = quiet & aside.touch(
            trials.recording.name, channel, begin + early, begin + late, near=to_sample(NEAR_S, rate_hz)
        )
        if touched.any():
            notes.append(f"{touched.sum()} rests that a stretch set aside touches take no part.")
        quiet &= ~touched
        held = quiet & MarkedBursts([trials], decisions).touch(
            trials.recording.name, channel, begin + early, begin + late
        )
        if held.any():
            notes.append(f"{held.sum()} rests that hold a marked burst take no part.")
        quiet &= ~held
        edges = numbers(rows["onset_sample"]), numbers(rows["offset_sample"])
        spoilt = aside.touch(trials.recording.name, channel, *edges)
        if "set_aside" in rows:
            spoilt |= rows["set_aside"].fillna(False).to_numpy(dtype=bool)
        if spoilt.any():
            notes.append(f"{spoilt.sum()} bursts that a stretch set aside touches take no part.")
        rows = rows[~spoilt]
        trial, start = places(trials, rows)
        onset, offset = (edge[~spoilt] - start for edge in edges)
    bursts, whole = measures.stretches(x[trial], onset, offset)
    if not whole.all():
        notes.append(f"{(~whole).sum()} bursts that reach beyond their trial or lack samples take no part.")
    level = measures.rms(bursts[whole])
    strong = whole & (measures.rms(bursts) >= (np.median(level) if whole.any() else np.nan))
    ground, used = Ground([channel]), quiet.copy()
    used[trial[strong]] = True
    ground.use(trials, column, np.flatnonzero(used))
    cut = int((ground.share(trials, column, trial[strong], onset[strong], offset[strong]) > 0).sum())
    notes += [
        *cut_words(cut, int(strong.sum()), "bursts that stand for this person's"),
        *ground.notes("rests or bursts"),
    ]
    return x[quiet, early:late], [row[~np.isnan(row)] for row in bursts[strong]], notes
