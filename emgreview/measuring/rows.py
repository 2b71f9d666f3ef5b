"""From a table of decisions to samples of trials: what all measuring tables share.

rows_to_measure bursts that count, of the trials at hand, with notes on those left out
as_reviewed     are these the recordings of the review, in its scale
ruled_out       rows that a rule for inclusion leaves out
of_one_reviewer are a channel and trial decided by one reviewer alone
taken_away      rows that a rule left out and somebody took away
said_of         what the decisions say of the signal of one channel in each trial
excluded        in which trials a channel was excluded
kept_out        why a channel of a trial is left out altogether
first_of        of the bursts of each trial the one that begins first
standing        bursts that have not been removed
by_recording    rows of each recording
following       where the next burst of the same trial begins, whether or not it counts
places          where they lie; whoever measures there goes through ``ground``, which tells what cannot be judged
unit_of, channel_of, trials_of, one_of, numbers, column     small steps
"""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from emgreview.annotations.telling import beside_the_emg, sentences
from emgreview.checks import demand, demand_size, kind
from emgreview.errors import ParameterError, RateError, UnitError, UnknownNameError, VersionError, tell
from emgreview.measuring.strangers import why_another
from emgreview.model import ARBITRARY, Trials
from emgreview.tables.typed import demand_names, demand_typed
from emgreview.trials import is_later

DECISIONS = "a table of decisions, as read_version or Session.decisions() gives"

MOST_APART = 0.75
"""Samples that the seconds of a table may lie from its samples: what is rounded to the nearest one is off by half."""

FloatArray = NDArray[np.floating]
IntArray = NDArray[np.intp]
Described = dict[str, dict[str, str]]

NEEDED = (
    *("recording", "trial", "channel", "rate_hz", "cue_sample", "onset_sample", "offset_sample", "onset_s"),
    *("offset_s", "automatic_low_s", "automatic_high_s", "burst", "kind", "origin", "accepted", "signal"),
)


def column(kind: str, unit: str, words: str) -> dict[str, str]:
    """One entry of ``attrs["columns"]``."""
    return {"type": kind, "unit": unit, "description": words}


def trials_of(trials: Trials | Sequence[Trials], *, later: bool = False) -> tuple[Trials, ...]:
    """One or several trials as a tuple, each recording once. With ``later``, those that are cut where they are looked
    at are not looked at here."""
    good = isinstance(trials, Trials | Sequence) and not isinstance(trials, str)
    parts = (trials,) if isinstance(trials, Trials) else tuple(trials) if good else ()
    good = good and all(isinstance(part, Trials) for part in parts)
    demand(good, "trials", type(trials).__name__, "what cut_trials returns, or a list of such")
    names = [part.recording.name for part in parts]
    demand(parts and len(set(names)) == len(names), "trials", names, "the trials of one recording or more, each once")
    for part in parts:
        if not (later and is_later(part)):
            demand_size(part.data, part.recording.name)
    return parts


def one_of(trials: Any) -> Trials:
    """The trials of one recording, and nothing else."""
    demand(isinstance(trials, Trials), "trials", type(trials).__name__, "the trials of one recording, from cut_trials")
    demand_size(trials.data, trials.recording.name)
    return trials


def unit_of(parts: Sequence[Trials]) -> str:
    """The one unit of all trials, as people write it."""
    units = sorted({part.unit for part in parts})
    if len(units) > 1:
        raise UnitError(f"the trials came in the units {', '.join(units)}; they must share one; measure them apart.")
    return {"uV": "µV", ARBITRARY: "arbitrary units"}[units[0]]


def channel_of(trials: Trials, label: str) -> int:
    """The place of a channel."""
    kind("channel", label, str, f"the label of one channel: {', '.join(trials.labels)}")
    if label not in trials.labels:
        raise UnknownNameError("channel", label, trials.labels)
    return trials.labels.index(label)


def numbers(values: pd.Series) -> FloatArray:
    """A column as floats, missing as NaN."""
    return values.to_numpy(dtype=np.float64, na_value=np.nan)


def rows_to_measure(
    parts: Sequence[Trials],
    decisions: pd.DataFrame,
    *,
    accepted_only: bool = True,
    included_only: bool = True,
    one_reviewer: bool = False,
    strangers: dict[str, str] | None = None,
) -> tuple[pd.DataFrame, list[str]]:
    """Rows of ``decisions`` that are bursts of these trials, have not been removed, are of no participant, recording or
    channel that was excluded, and are not left out by a rule (``included`` False); sentences on those left out.

    Raises ParameterError (not such a table; with ``one_reviewer``, two reviewers of one channel and trial),
    UnknownNameError (a trial or channel that its recording's trials lack), RateError (another sampling rate),
    VersionError (the table is of a recording with other samples, or in another scale); with ``strangers``, which then
    gains by name why, the rows of such a recording stay, and nothing more is asked of it.
    """
    _checked(decisions)
    if one_reviewer:
        of_one_reviewer(parts, decisions)
    known = {part.recording.name: part for part in parts}
    notes = as_reviewed(parts, decisions, strangers)
    rows = decisions[decisions["burst"].notna() & (decisions["origin"] != "removed")]
    keys = [key for key in ("reviewer", "version", "recording", "trial", "channel", "burst") if key in rows]
    if twice := int(rows.duplicated(keys).sum()):
        notes.append(
            f"{twice} bursts stand more than once in the table, as where it was joined to itself, and are taken once."
        )
        rows = rows[~rows.duplicated(keys)]
    there = rows["recording"].isin(known)
    if not there.all():
        names = sorted(set(rows["recording"][~there]))
        notes.append(
            f"{(~there).sum()} bursts of recordings whose trials were not given are left out: {', '.join(names)}."
        )
    rows = rows[there]
    if (out := _excluded(rows)).any():
        told = _told(rows["excluded"][out])
        notes.append(f"{out.sum()} bursts of what was excluded are left out, by reason: {told}.")
        rows = rows[~out]
    if included_only and (out := ruled_out(rows)).any():
        notes.append(f"{out.sum()} bursts are left out by the rule for inclusion: {_told(_why(rows[out]))}.")
        rows = rows[~out]
    if accepted_only:
        accepted = rows["accepted"].fillna(False).astype(bool)
        if not accepted.all():
            notes.append(f"{(~accepted).sum()} bursts that nobody has accepted are left out.")
        rows = rows[accepted]
    for name, mine in by_recording(rows).items():
        if name in (strangers or ()):
            continue
        part = known[name]
        for what, values, allowed in (("trial", mine["trial"], part.ids), ("channel", mine["channel"], part.labels)):
            if strange := sorted(set(values) - set(allowed)):
                where = (
                    f"trials cut around {part.cue!r}, which lack {len(strange)} of the {len(set(values))} {what}s of "
                    "the table; cut them as they were reviewed, around the same cue"
                )
                if any("/added/" in str(one) for one in strange):
                    where += ", from session.with_added_cues(recording), as some of its cues came by add_cue"
                raise UnknownNameError(f"{what} of {name!r}", strange[0], allowed, where)
        rates = sorted(set(mine["rate_hz"]) - {part.rate_hz})
        if rates:
            raise RateError(
                f"decisions on {name!r} were made at {rates[0]:g} Hz, and its trials have {part.rate_hz:g} Hz; they "
                "must be alike; give the trials that were reviewed."
            )
    return rows.reset_index(drop=True), notes


def tell_all(notes: Iterable[str], decisions: pd.DataFrame | None = None) -> list[str]:
    """Notes for a table's ``attrs["notes"]``, each once, and told as a SignalWarning: nobody looks into a field. Those
    that reading ``decisions`` told go with them, and are not told again."""
    notes = list(dict.fromkeys(notes))
    for note in notes:
        tell(note)
    return list(dict.fromkeys([*notes, *carried(decisions)]))


def carried(decisions: pd.DataFrame | None) -> list[str]:
    """What reading the version said of it, for numbers that come of it: that nothing vouches for it, what acceptance in
    bulk is worth, whose logs were withdrawn."""
    said = [] if decisions is None else decisions.attrs.get("notes", ())
    return [str(note) for note in said] if isinstance(said, list | tuple) else []


def as_reviewed(parts: Sequence[Trials], decisions: pd.DataFrame, strangers: dict[str, str] | None = None) -> list[str]:
    """Sentences on what the trials have otherwise than the review that the table is of, or what it does not say of it.
    Where the samples are others, or the scale, ``strangers`` gains by name why; VersionError without it."""
    about = decisions.attrs.get("version", decisions.attrs)
    reviewed, outside = about.get("recordings", {}), about.get("outside_trials", {})
    unknown, processed = [], []
    beside: list[tuple[str, str]] = []
    for part in parts:
        name = part.recording.name
        said = reviewed.get(name)
        if said is None:
            unknown += [name] if name in set(decisions["recording"]) else []
            continue
        why, found = why_another(part.recording, said)
        if why:
            if strangers is None:
                raise VersionError(why)
            strangers[name] = why
            continue
        beside += [(name, beside_the_emg(found))] if found.beside else []
        unknown += [] if said.get("scales") else [name]
        processed += [name] if said["processing"]["hash"] != part.processing.hash else []
    notes = sentences(beside)
    if unknown:
        notes.append(
            "In which unit and gain these recordings were reviewed is not known, as the table does not say it; that of "
            f"the trials is taken: {', '.join(unknown)}."
            + " Nor does it say which bursts were marked, and which cues added, outside the trials."
            * any(name not in outside for name in unknown)
        )
    names = [part.recording.name for part in parts]
    if unsaid := [name for name in names if name in reviewed and name not in (*outside, *unknown)]:
        notes.append(
            "Which bursts were marked, and which cues added, outside the trials is not known of these recordings, as "
            "the table does not say it; seal the review again, or take its decisions anew, to know it: "
            f"{', '.join(unsaid)}."
        )
    if processed:
        notes.append(
            "These recordings were reviewed under another processing than that of the trials, which is what is "
            f"measured: {', '.join(processed)}."
        )
    return notes + _altered(decisions[decisions["recording"].isin(names)])


def _altered(rows: pd.DataFrame) -> list[str]:
    """Sentences on what somebody did to the table since it was made: a column taken away without which nothing is kept
    out any more; seconds that are not those of the sample, which alone is measured."""
    notes = []
    if "excluded" not in rows and len(rows):
        notes.append(
            "The table has no column 'excluded': what a decision excluded is not known, and counts; give the table as "
            "read_version or Session.decisions() returns it."
        )
    for moment in ("onset", "offset"):
        since = (numbers(rows[f"{moment}_sample"]) - numbers(rows["cue_sample"])) / numbers(rows["rate_hz"])
        apart = np.abs(numbers(rows[f"{moment}_s"]) - since) * numbers(rows["rate_hz"]) > MOST_APART
        apart |= np.isnan(since) != np.isnan(numbers(rows[f"{moment}_s"]))
        if apart.any():
            which = ", ".join(sorted(set(rows["trial"][apart]))[:3])
            notes.append(
                f"In {apart.sum()} rows {moment}_s is not the time of {moment}_sample (trials {which} …): what is "
                f"measured lies at the samples, as they were decided; move a mark in a review, not in the table."
            )
    return notes


def ruled_out(rows: pd.DataFrame) -> "pd.Series[bool]":
    """Where the rule for inclusion leaves a row out: ``included`` is False. Nowhere in a table without that column.

    Raises ParameterError where the column says neither true nor false.
    """
    if "included" not in rows:
        return pd.Series(False, index=rows.index)
    said = rows["included"]
    strange = said[~said.isin([True, False]).fillna(False)]
    if len(strange):
        raise ParameterError(
            f"the column 'included' came with {strange.iloc[0]!r} in {len(strange)} of {len(rows)} rows; allowed: true "
            "or false in every row; make it with er.include(table, rule), or leave the column out to have all rows."
        )
    return ~said.astype(bool)


def taken_away(decisions: pd.DataFrame) -> list[str]:
    """A sentence on rows that a rule left out and that are no longer in the table; none without."""
    count = decisions.attrs.get("bursts_left_out", 0)
    if not count or "included" not in decisions or ruled_out(decisions).any():
        return []
    return [
        f"The rule left {count} bursts out, and none of them is in the table that came: where they are of these "
        "trials, one without an offset runs on into them, and rests hold them; give the whole table, and let the "
        "column included leave them out."
    ]


def _excluded(rows: pd.DataFrame) -> "pd.Series[bool]":
    """Where a participant, recording or channel was excluded by a decision."""
    if "excluded" not in rows:
        return pd.Series(False, index=rows.index)
    return (rows["excluded"].astype(object).fillna("") != "").astype(bool)


def _why(rows: pd.DataFrame) -> "pd.Series[str]":
    """Why a rule leaves rows out, in its own words."""
    words = rows["why_not"] if "why_not" in rows else pd.Series(index=rows.index, dtype="object")
    return words.fillna("no reason given").astype(str)


def _told(reasons: "pd.Series[str]") -> str:
    """Each reason and how often, in the order of the alphabet."""
    return ", ".join(f"{why!r} {count}" for why, count in reasons.value_counts().sort_index().items())


def said_of(decisions: pd.DataFrame, trials: Trials, label: str) -> tuple[pd.Series, pd.Series]:
    """What the channel's signal is in each trial (usable, caution, unusable); whether a stretch set aside touches it:
    (trials,) each, missing where the table says nothing."""
    _checked(decisions)
    rows = decisions[(decisions["recording"] == trials.recording.name) & (decisions["channel"] == label)]
    signal = rows.groupby("trial")["signal"].first()
    touched = rows["set_aside"] if "set_aside" in rows else pd.Series(False, index=rows.index)
    aside = touched.fillna(False).astype(bool).groupby(rows["trial"]).any().astype("boolean")
    return signal.reindex(list(trials.ids)), aside.reindex(list(trials.ids))


def kept_out(decisions: pd.DataFrame, trials: Trials, label: str) -> "pd.Series[Any]":
    """Why a channel is left out of each trial, (trials,): it was excluded, or the rule takes none of its rows. Missing
    where it is not left out, and where the table says nothing."""
    _checked(decisions)
    rows = decisions[(decisions["recording"] == trials.recording.name) & (decisions["channel"] == label)]
    words = pd.Series(None, index=rows.index, dtype=object)
    if (out := ruled_out(rows)).any():
        words[out] = _why(rows[out])
    if (out := _excluded(rows)).any():
        words[out] = "excluded (" + rows["excluded"][out].astype(str) + ")"
    whole = words.notna().groupby(rows["trial"]).all()
    first = words.groupby(rows["trial"]).first()
    return first.where(whole, None).reindex(list(trials.ids)).astype(object)


def excluded(decisions: pd.DataFrame, trials: Trials, label: str) -> "pd.Series[bool]":
    """Whether the channel was excluded by a decision, in each trial: (trials,)."""
    rows = decisions[(decisions["recording"] == trials.recording.name) & (decisions["channel"] == label)]
    whole = _excluded(rows).groupby(rows["trial"]).any().astype("boolean")
    return whole.reindex(list(trials.ids)).fillna(False).astype(bool)


def _checked(decisions: Any) -> None:
    demand(isinstance(decisions, pd.DataFrame), "decisions", type(decisions).__name__, DECISIONS)
    missing = [name for name in NEEDED if name not in decisions.columns]
    if missing:
        raise ParameterError(
            f"the table of decisions lacks the columns {', '.join(missing)}; "
            "give what Session.decisions() or read_version returns."
        )
    demand_typed(decisions)
    demand_names(decisions)
    for name in ("cue_sample", "onset_sample", "offset_sample"):
        endless = int(np.isinf(numbers(decisions[name])).sum())
        demand(not endless, f"the column {name}", f"infinite in {endless} rows", "samples of the recording, or none")


def of_one_reviewer(parts: Sequence[Trials], decisions: pd.DataFrame) -> None:
    """ParameterError where a channel of one of these trials has the decisions of two reviewers: whose counts?"""
    _checked(decisions)
    if "reviewer" not in decisions.columns:
        return
    decisions = decisions[decisions["recording"].isin([part.recording.name for part in parts])]
    counts = decisions.groupby(["recording", "trial", "channel"])["reviewer"].nunique()
    if (counts > 1).any():
        names = sorted(set(decisions["reviewer"].dropna()))
        trial = str(counts[counts > 1].index[0][1])
        raise ParameterError(
            f"the table holds decisions of {' and '.join(names)} on one channel of trial {trial!r}; allowed: one "
            "reviewer a channel and trial; take one's rows, table[table['reviewer'] == …], or the adjudicated version."
        )


def places(part: Trials, rows: pd.DataFrame) -> tuple[IntArray, IntArray]:
    """The trial of each row, and that trial's first sample in the recording."""
    at = {trial: index for index, trial in enumerate(part.ids)}
    trial = np.array([at[name] for name in rows["trial"]], dtype=np.intp)
    return trial, np.array([part.cues[index].sample - part.before for index in trial], dtype=np.intp)


def first_of(rows: pd.DataFrame) -> pd.DataFrame:
    """Of some bursts of one channel the one of each trial that begins first, whatever the order of the rows."""
    return rows.sort_values("onset_sample", kind="stable").drop_duplicates("trial").sort_index()


def standing(decisions: pd.DataFrame) -> pd.DataFrame:
    """Rows of a table of decisions that are bursts which have not been removed, whether or not they count."""
    return decisions[decisions["burst"].notna() & (decisions["origin"] != "removed")]


def by_recording(table: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """The rows of each recording, in their order."""
    return {str(name): rows for name, rows in table.groupby("recording", sort=False, observed=True)}


def following(decisions: pd.DataFrame, rows: pd.DataFrame) -> FloatArray:
    """Sample at which the next burst of the same reviewer, trial and channel begins, (rows,), NaN without one: among
    all bursts of ``decisions`` that stand, whether or not they count, since a burst ends there all the same."""
    names = [name for name in ("reviewer", "recording", "trial", "channel") if name in decisions]
    stands = standing(decisions)
    of = list(stands[names].fillna("").itertuples(index=False, name=None))
    begun: dict[tuple[str, ...], list[float]] = {}
    for whose, onset in zip(of, numbers(stands["onset_sample"]), strict=True):
        begun.setdefault(whose, []).append(onset)
    own = zip(rows[names].fillna("").itertuples(index=False, name=None), numbers(rows["onset_sample"]), strict=True)
    later = ([at for at in begun.get(whose, ()) if at > onset] for whose, onset in own)
    return np.array([min(onsets, default=np.nan) for onsets in later], dtype=np.float64)
