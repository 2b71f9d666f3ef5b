"""Measures of every reviewed burst, one row each; definitions in ``signal.measures``.

measure             the table
"""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from emgreview import checks
from emgreview.checks import demand
from emgreview.errors import ParameterError, UnknownNameError
from emgreview.measuring.answers import halted_words, late_words
from emgreview.measuring.aside import Aside
from emgreview.measuring.burst_columns import CLIPPED, WORDS, columns_of, stretches
from emgreview.measuring.missing import missing_words
from emgreview.measuring.neighbours import foreign
from emgreview.measuring.normalising import IN_TASK, NORMALISATIONS, normalised
from emgreview.measuring.pieces import REACTION, Asked, pieces_of, together, without
from emgreview.measuring.rests import MOST_ASIDE, rest_words
from emgreview.measuring.rows import (
    column,
    rows_to_measure,
    taken_away,
    tell_all,
    trials_of,
    unit_of,
)
from emgreview.measuring.unmeasured import reasons
from emgreview.model import Trials, to_sample
from emgreview.running import Runner
from emgreview.signal.clip import cut_words
from emgreview.tables import COLUMNS, describe

AMPLITUDES = ("rms", "arv", "peak")
PERCENT = "_percent"
CARRIED = (
    *("reviewer", "participant", "recording", "trial", "channel", "burst", "kind", "origin", "accepted"),
    *("decided_by", "decided_how", "confidence", "signal", "set_aside", "behaviour", "onset_s", "offset_s"),
)


def measure(
    trials: Trials | Sequence[Trials],
    decisions: pd.DataFrame,
    *,
    windows_s: Sequence[float] = (0.03, 0.1),
    normalise: str = "none",
    reference: Mapping[Any, float] | None = None,
    response: str = "response",
    response_from_s: float = 0.0,
    not_cues: Sequence[str] = (),
    creep_s: float = 0.5,
    auxiliary: Mapping[str, str] | None = None,
    accepted_only: bool = True,
    included_only: bool = True,
    runner: Runner | None = None,
) -> pd.DataFrame:
    """Measures of every burst that stands in a table of decisions, one row a burst.

    Parameters
    ----------
    trials : Trials or sequence of Trials
        The trials that were reviewed.
    decisions : DataFrame
        Decisions, from :func:`emgreview.read_version` or :meth:`Session.decisions`; with
        ``included``, after :func:`emgreview.include`. Give all rows, and let the columns leave
        out: a burst whose row was taken away ends no other one, and is rest to the others.
    windows_s : sequence of float, default (0.03, 0.1)
        Windows from the onset, in seconds, whatever the offset.
    normalise : str, default "none"
        A name in :data:`NORMALISATIONS`; columns ``…_percent`` then stand beside those in
        the unit.
    reference : mapping or None
        What "… in task" does not need and the other normalisations do: a value for each
        channel, or for each (recording, channel), in the trials' unit; others are refused.
    response : str, default "response"
        Label of the marker of the response.
    response_from_s : float, default 0.0
        How long after the cue a response may come at the earliest.
    not_cues : sequence of str, default ()
        Labels of markers that are no cues, and end no search for a response.
    creep_s : float, default 0.5
        How long before the cue the signal is looked at for creeping up.
    auxiliary : mapping of str to str, or None
        Auxiliary channels and the method for each, such as ``{"force": "level"}``: a column
        ``force_onset_s`` then holds its onset by that method (``signal.onset.auxiliary``), an
        independent check of the muscle's.
    accepted_only : bool, default True
        Leave out bursts that nobody accepted.
    included_only : bool, default True
        Leave out what a rule for inclusion leaves out.
    runner : Runner or None
        Where trials that were cut with a runner are measured, each recording by itself, and
        what is measured of it is kept; the same table whether or not. A recording that cannot
        be measured, or is not the one that was reviewed, is then left out and told, and the
        others go on. None: all is measured in this process, kept nowhere.

    Returns
    -------
    DataFrame
        One row a burst, in the trials' unit; NaN where a burst has no offset, reaches beyond
        its trial or lacks samples: nothing is measured over a part of a stretch. A row depends
        on its burst and rest alone, not on other rows, but for bursts that lie in its rest,
        and percentages "… in task".
        ``table.attrs["notes"]`` are sentences on what was left out, on what rests on
        spoilt samples, and on why numbers are missing; ``table.attrs["failed"]``, by name, why
        a recording could not be measured.

    Raises
    ------
    ParameterError
        A value is out of range, ``decisions`` is no such table, or a reference came and
        ``normalise`` is "none".
    UnitError
        Trials are in different units.
    RateError
        ``decisions`` are of another sampling rate.
    VersionError
        Without a runner: they are of a recording with other samples, or in another scale.
    SignalError
        Samples of the trials are too large to be a voltage.
    UnknownNameError
        A normalisation, channel, method, marker or column does not exist.
    ReadError, RunStoppedError, ClusterError
        As :meth:`emgreview.Runner.run`.

    Warns
    -----
    SignalWarning
        Every note.

    Notes
    -----
    With N samples in a stretch, r the rate, x the band-passed signal, e its envelope, and p
    the place of its largest value (``signal.measures``)::

        duration_s       N / r
        rms, arv         sqrt(mean x²), mean |x|
        peak             e[p]
        integral         sum |x| / r, the integrated EMG, in the unit times seconds
        time_to_peak_s   p / r
        rise_per_s       (e[p] - e[0]) / (p / r); NaN where p is 0
        mean_hz          centre of the power spectrum of x, mean removed, zero-padded
        median_hz        the frequency that halves its power; NaN below 0.1 s
        reaction_s       premotor_s + motor_s

    Columns ``burst_…`` are over the burst; ``first_30_ms_…`` and so on over ``windows_s``
    from its onset. ``rest_rms`` and ``level_db`` use the trials' rest window, counted from
    the (corrected) cue; ``creep_per_s`` is the slope of the rectified signal over
    ``creep_s`` before it. Where a zero-phase filter has carried activity into these, they
    are filtered causally, and a note says in how many rows (``measuring.rests``).

    Bursts that a stretch set aside touches are measured, and ``set_aside`` names them; a burst
    without an offset lasts, for this, to the next burst or the trial's end. Of other bursts
    ``first_…`` is missing where such a stretch lies in that window. ``rest_rms`` and
    ``level_db`` rest on what of the rest window lies 0.1 s or more from what was set aside, as
    the filter carries it on, and are missing where that is less than half; ``creep_per_s`` is
    missing where such a stretch comes so near. Notes count all.

    A rest that holds a marked burst is no rest: whatever burst of that channel stands in the
    table, accepted or not, be it the row's own, another one's of the trial, that of the trial
    before or one marked outside all trials, is left out of ``rest_rms`` and ``level_db`` in
    the same way, from onset to offset or, without an offset, to its trial's end, and
    ``creep_per_s`` is missing where one begins before go and comes so near.

    For bursts of kind "response", the first marker labelled ``response`` that is
    ``response_from_s`` or later after the cue, and before the next cue, gives the reaction
    time. The next cue is any that these trials were cut around, that was added by hand, or
    that differs from theirs by its number alone, as codes of one channel do ("go 5", "go 7"),
    but for those that were said to be none. Any marker of another label may be the cue of
    another condition ("left", "right") and ends the search, too, unless ``not_cues`` names
    it; notes count what ended a search and responses beyond the end of their trial.
    Response markers are those of the recording as it is given: logs hold none, so that nothing
    tells where they were edited after the review.

    The normalisations "… in task" count no bursts that are unusable, set aside, or left out
    by the rule. A burst that is not whole, which is often the strongest, counts by what was
    recorded of it, up to where the filters carry the next burst of the trial ahead (be that
    left out or not), or to the trial's end, so that no burst exceeds the largest peak; a note
    says how many do. One that a person added without an offset may have ended long before,
    and does not count in the mean; a note says so, too.

    Notes count each number that is missing and say why (``measuring.unmeasured``), but for
    what the row itself says, as of the reaction time of a burst of another kind.

    ``…_clipped_share`` is the share of a stretch's samples that lie at a rail of the
    unfiltered recording (``signal.clip``). Where it is above 0 the onset can be used, and
    amplitudes, integral, rise, time of the peak and frequencies rest on cut samples: they
    stay in the table, and a note says in how many rows. Leave these out where size matters:
    ``table[table["burst_clipped_share"] == 0]``.

    Bursts of a participant, recording or channel that was excluded are left out, as of every
    analysis; notes count these and those of ``accepted_only`` and ``included_only``, with
    the reasons. A note also names measured signals that are dead, flat, missing or clipped
    down to their rest (``signal.unfit``), hold codes for missing samples, or stand still for
    a while (``signal.still``), where nobody called them unusable; another, channels of a
    level that no surface EMG has. Unusable signals that no rule leaves out are measured and
    say so in their column.

    References
    ----------
    Windows of 30 and 100 ms after Gottlieb, Corcos & Agarwal 1989. Normalisations: Besomi et
    al. 2020 (J Electromyogr Kinesiol), peak and mean in task apart. ARV, integral and
    frequencies are textbook definitions (vocabulary of McManus et al. 2021, J Electromyogr
    Kinesiol); the rate of rise has no agreed one. Premotor and motor time: Botwinick &
    Thompson 1966.

    Examples
    --------
    >>> import tempfile
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 2, 1000, seed=1).recordings[0]
    >>> trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with er.open_review(trials, folder, reviewer="r1") as session:
    ...         _ = [session.accept_rest(trial) for trial in session.queue]
    ...         table = er.measure(trials, session.decisions())
    >>> len(table), bool((table["reaction_s"] > table["premotor_s"]).all())
    (4, True)
    """
    checks.kind("runner", runner, (Runner, type(None)), "a Runner, or None")
    parts = trials_of(trials, later=runner is not None)
    unit = unit_of(parts)
    if not isinstance(normalise, str) or normalise not in NORMALISATIONS:
        raise UnknownNameError("normalisation", normalise, NORMALISATIONS)
    if reference is not None and normalise == "none":
        takers = ", ".join(repr(name) for name in NORMALISATIONS if name != "none" and not name.endswith("in task"))
        raise ParameterError(
            f"reference came as {reference!r} and normalise as 'none', which divides by nothing; allowed with a "
            f"reference: {takers}; give one of them as normalise, or leave the reference out."
        )
    lengths = isinstance(windows_s, Sequence) and not isinstance(windows_s, str)
    demand(lengths, "windows_s", windows_s, "a list of lengths above 0 s, such as (0.03, 0.1)")
    windows_s = tuple(checks.number("windows_s", length_s, above=0, unit="s") for length_s in windows_s)
    longest_s = max(len(part.time_s) / part.rate_hz for part in parts)
    checks.likely_unit("windows_s", windows_s, most_s=longest_s)
    names = [name for name, _ in stretches(windows_s)]
    demand(len(set(names)) == len(names), "windows_s", windows_s, "lengths that differ")
    response_from_s = checks.number("response_from_s", response_from_s, unit="of seconds")
    checks.likely_unit("response_from_s", response_from_s)
    creep_s = checks.number("creep_s", creep_s, above=0, unit="s")
    checks.likely_unit("creep_s", creep_s, most_s=max(checks.LONGEST_STRETCH_S, longest_s))
    for name, length_s, least in (*(("windows_s", length_s, 1) for length_s in windows_s), ("creep_s", creep_s, 2)):
        n = min(to_sample(length_s, part.rate_hz) for part in parts)
        demand(n >= least, name, length_s, f"seconds that hold {least} sample{'s' * (least > 1)} or more")
    checks.truth("accepted_only", accepted_only)
    checks.truth("included_only", included_only)
    _demand_auxiliary(parts, auxiliary)
    not_cues = foreign("not_cues", not_cues, [*(part.cue for part in parts), response], [p.recording for p in parts])
    strangers: dict[str, str] | None = None if runner is None else {}
    rows, notes = rows_to_measure(
        parts, decisions, accepted_only=accepted_only, included_only=included_only, strangers=strangers
    )
    notes += taken_away(decisions)
    short = [part.recording.name for part in parts if to_sample(creep_s, part.rate_hz) > part.before]
    notes += [
        f"creep_per_s is missing for {part.recording.name}: its trials hold {part.before / part.rate_hz:g} s before go "
        f"and creep_s is {creep_s:g} s; cut longer trials, or give a shorter creep_s."
        for part in parts
        if part.recording.name in short
    ]
    unmarked = [part.recording.name for part in parts if all(mark.label != response for mark in part.recording.markers)]

    notes += Aside(decisions).notes
    asked = Asked(
        *(windows_s, normalise, response, response_from_s, tuple(not_cues), creep_s, dict(auxiliary or {})),
        tuple(dict.fromkeys(part.cue for part in parts)),
    )
    columns = columns_of(windows_s, unit, creep_s) | {
        f"{label}_onset_s": column("number", "s", f"Onset of channel {label}, from the cue, by method {how}")
        for label, how in (auxiliary or {}).items()
    }
    own = [
        name for name in map(str, decisions.columns) if name not in COLUMNS and name.removesuffix(PERCENT) in columns
    ]
    demand(not own, "columns of decisions", ", ".join(own), "columns that are called like no measure; rename these")
    made, failed = pieces_of(parts, rows, decisions, asked, runner, strangers or {})
    rows, said = without(rows, failed)
    one = together(rows, made)
    found, part_of, unrest = one.found, one.parted, one.unrest
    notes += said + one.notes
    if "set_aside" in rows or one.spoilt.any():
        rows["set_aside"] = pd.Series(one.spoilt, index=rows.index, dtype="boolean")
    notes += [note for part in parts for note in halted_words(part, response, one.halted.get(part.recording.name, ()))]
    notes += late_words(response, one.late, int((rows["kind"] == "response").sum()))
    if found.empty:
        found = pd.DataFrame(columns=list(columns), dtype=np.float64)
    found["motor_time_impossible"] = found["motor_time_impossible"].astype("boolean")
    if normalise != "none":
        amplitudes = [f"{prefix}_{name}" for prefix, _ in stretches(windows_s) for name in AMPLITUDES]
        percent, described, more = normalised(parts, rows, found, part_of, amplitudes, normalise, reference)
        found, columns = pd.concat([found, percent], axis=1), columns | described
        notes += more

    carried = rows[[name for name in rows.columns if name in CARRIED or name not in COLUMNS]]
    out = pd.concat([carried, found], axis=1)
    lost, crept = unrest["lost"].to_numpy() > MOST_ASIDE, unrest["crept_aside"].to_numpy(dtype=bool)
    if reached := int(unrest["reached"].sum()):
        notes.append(
            f"In {reached} rows activity soon after the rest reached back into it through the zero-phase filter: there "
            "rest_rms, level_db and creep_per_s come from the same band filtered causally."
        )
    cut = (found[[name for name in found.columns if name.endswith(CLIPPED)]] > 0).any(axis=1)
    notes += cut_words(int(cut.sum()), len(rows), "bursts")
    if normalise in IN_TASK and (cut := cut | (part_of[CLIPPED] > 0)).any():
        pairs = rows.loc[cut, ["recording", "channel"]].drop_duplicates().itertuples(index=False)
        told = ", ".join(f"{channel} of {name}" for name, channel in pairs)
        notes.append(
            f"{normalise} rests on clipped bursts too, and is too small, so that percentages are too large: {told}."
        )
    if normalise in IN_TASK and (told := one.told.coded()):
        notes.append(f"{normalise} rests on codes for missing samples too, and percentages of it mean nothing: {told}.")
    if count := int(one.spoilt.sum()):
        notes.append(f"{count} bursts in stretches that were set aside are measured; the column set_aside names them.")
    notes += rest_words(*(unrest[name].to_numpy() for name in ("aside", "marked", "lost")))
    notes += one.told.notes("bursts")
    described = describe(carried) | columns
    why = reasons(
        rows,
        found,
        windows=dict(stretches(windows_s)[1:]),
        normalise=normalise,
        response=response,
        unmarked=unmarked,
        short=short,
        auxiliary=auxiliary or {},
        aside={
            **one.beyond,
            "rest_rms": lost & (unrest["marked"] == 0).to_numpy(),
            "creep_per_s": crept,
        },
        marked={"rest_rms": lost, "creep_per_s": unrest["crept_marked"].to_numpy(dtype=bool)},
    )
    notes += missing_words(out, {name: described[name] for name in ("offset_s", *columns)}, why)
    out.attrs |= {"columns": described, "notes": tell_all(notes, decisions), "failed": failed}
    return out


def _demand_auxiliary(parts: Sequence[Trials], auxiliary: Mapping[str, str] | None) -> None:
    """Every auxiliary channel is one of each recording, with a method for it, and a name that no measure has."""
    demand(isinstance(auxiliary, Mapping | None), "auxiliary", auxiliary, "a mapping of channels to methods")
    for label, how in (auxiliary or {}).items():
        demand(how in ("level", "change"), f"the method of {label!r}", how, "'level' or 'change'")
        demand(label not in (*WORDS, *REACTION), "auxiliary", label, "a channel that is called like no measure")
        for part in parts:
            if label not in part.auxiliary_labels:
                raise UnknownNameError("auxiliary channel", label, part.auxiliary_labels)
