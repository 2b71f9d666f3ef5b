"""The bursts of one recording measured: a piece of the table of ``measure``, made wherever that is.

A piece depends on its recording, on what is asked, and on the rows of decisions on it, and on nothing else: so it is
made by itself, here, in another process or on another machine, and kept.

    Asked           what is measured, the same for all recordings
    Rows            rows of a table of decisions as plain values
    Piece           what one recording gives
    piece_of        measure it
    MeasureJob      the same as work for a runner
    pieces_of       the pieces of all recordings, by a runner or here
    together        all of them, in the order of the rows
    without         rows without those of recordings that could not be measured
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from emgreview.checks import demand_size
from emgreview.detecting import onsets_of
from emgreview.errors import ParameterError, tell
from emgreview.measuring.answers import kin_words, responses
from emgreview.measuring.aside import Aside
from emgreview.measuring.burst_columns import CLIPPED, names_of, stretches
from emgreview.measuring.ground import Ground, Told
from emgreview.measuring.marked import MarkedBursts, outside
from emgreview.measuring.normalising import IN_TASK, PARTED, reach_back
from emgreview.measuring.rests import before_go
from emgreview.measuring.rows import FloatArray, by_recording, following, numbers, places
from emgreview.measuring.unmeasured import ends_of, partial
from emgreview.model import Marker, Processing, Recording, Trials, to_sample
from emgreview.running import Runner
from emgreview.signal import measures
from emgreview.trials import LaterTrials, is_later
from emgreview.trials.cutting import Plan

UNREST = ("aside", "marked", "lost", "crept_aside", "crept_marked", "reached")
REACTION = ("reaction_s", "premotor_s", "motor_s")
LOOKED_AT = (
    *("reviewer", "recording", "trial", "channel", "burst", "kind", "origin", "signal", "set_aside", "aside_samples"),
    *("excluded", "cue_sample", "onset_sample", "offset_sample"),
)
"""Columns of decisions on which a measure may depend."""


@dataclass(frozen=True)
class Asked:
    """What is measured: arguments of :func:`emgreview.measure`, as checked, and the ``cues`` of all trials at hand."""

    windows_s: tuple[float, ...]
    normalise: str
    response: str
    response_from_s: float
    not_cues: tuple[str, ...]
    creep_s: float
    auxiliary: Mapping[str, str]
    cues: tuple[str, ...]


@dataclass(frozen=True)
class Rows:
    """Rows of a table of decisions, in the columns that a measure may depend on: by name, type and values, None where
    one is missing."""

    columns: Mapping[str, tuple[str, list[Any]]]

    @classmethod
    def of(cls, table: pd.DataFrame) -> "Rows":
        plain = {}
        for name in LOOKED_AT:
            if name in table:
                values = table[name].astype(object)
                plain[name] = str(table[name].dtype), values.where(values.notna(), None).tolist()
        return cls(plain)

    def table(self) -> pd.DataFrame:
        """The rows, counted from 0."""
        n = max((len(values) for _, values in self.columns.values()), default=0)
        made = {
            name: pd.Series(values, dtype="object" if kind == "category" else kind)
            for name, (kind, values) in self.columns.items()
        }
        return pd.DataFrame(made, index=pd.RangeIndex(n))


@dataclass(frozen=True)
class Piece:
    """What one recording gives.

    ``columns`` are measures, (rows,) each, of the rows in their order; ``parted``, of bursts as far as they were
    recorded, and ``unrest``, of their rests, likewise; ``spoilt``, which of them a stretch set aside touches;
    ``beyond``, of which a stretch set aside takes a fixed window, by its prefix. ``notes`` are sentences; ``halted``
    labels that ended searches for a response, ``late`` the responses beyond their trial; ``told``, what the numbers
    rest on.
    """

    columns: dict[str, NDArray[Any]]
    parted: dict[str, FloatArray]
    unrest: dict[str, NDArray[Any]]
    spoilt: NDArray[np.bool_]
    beyond: dict[str, NDArray[np.bool_]]
    notes: list[str]
    halted: list[str]
    late: int
    told: Told


def piece_of(part: Trials, rows: Rows, decided: Rows, outside_trials: Mapping[str, Any] | None, asked: Asked) -> Piece:
    """Measure the bursts ``rows`` of one recording, of whose trials ``decided`` are all decisions, and
    ``outside_trials`` marks and cues outside them. Raises SignalError (no voltage), ReadError, and what detecting in an
    auxiliary channel raises."""
    demand_size(part.data, part.recording.name)
    mine, decisions = rows.table(), decided.table()
    if outside_trials is not None:
        decisions.attrs["outside_trials"] = {part.recording.name: outside_trials}
    aside, marked = Aside(decisions), MarkedBursts([part], decisions)
    after = following(decisions, mine)
    spoilt = _set_aside(part, mine, aside, after)
    others = {label: onsets_of(part, label, method=how).onset_s for label, how in asked.auxiliary.items() if len(mine)}
    ground = Ground(set(mine["channel"]))
    found = _Filled(len(mine))
    notes: list[str] = []
    halted: list[str] = []
    parted, unrest, beyond = _Filled(len(mine)), _Filled(len(mine)), _Filled(len(mine))
    late, unmarked = 0, all(marker.label != asked.response for marker in part.recording.markers)
    for _, place, some, trial, start in ground.by_channel([part], mine):
        at = some.index.to_numpy()
        x, outline = (np.asarray(kind[trial, place], dtype=np.float64) for kind in (part.data, part.envelope))
        cue, onset, offset = (numbers(some[f"{name}_sample"]) - start for name in ("cue", "onset", "offset"))
        table: dict[str, NDArray[Any]] = {}
        for prefix, length_s in stretches(asked.windows_s):
            stop = offset if prefix == "burst" else onset + to_sample(length_s, part.rate_hz)
            got = measures.measure(x, outline, part.rate_hz, onset, stop)
            table |= {f"{prefix}_{name}": getattr(got, name) for name in names_of(length_s)}
            table[f"{prefix}_{CLIPPED}"] = ground.share(part, place, trial, onset, stop)
            if prefix != "burst":
                lost = aside.touch(part.recording.name, part.labels[place], onset + start, stop + start, some)
                lost &= ~spoilt[at]
                beyond.put(at, {prefix: lost})
                table |= {name: np.where(lost, np.nan, table[name]) for name in table if name.startswith(f"{prefix}_")}
        if asked.normalise in IN_TASK:
            peak, arv, stop = partial(x, outline, onset, offset, after[at] - start, reach_back(part))
            railed = ground.share(part, place, trial, onset, stop)
            parted.put(at, dict(zip(PARTED, (peak, arv, railed), strict=True)))
        before = before_go(part, place, trial, start, cue, some, aside, marked, asked.creep_s)
        unrest.put(at, {name: getattr(before, name) for name in UNREST})
        with np.errstate(divide="ignore"):
            ratio = table["burst_rms"] / np.where(before.rest_rms > 0, before.rest_rms, np.nan)
            level_db = 20 * np.log10(ratio)
        table |= {"rest_rms": before.rest_rms, "level_db": level_db, "creep_per_s": before.creep_per_s}
        answers = (some["kind"] == "response").to_numpy(dtype=bool, na_value=False)
        found_at = responses(
            part,
            trial,
            cue + start,
            asked.response,
            asked.response_from_s,
            decisions=decisions,
            reviewers=some.get("reviewer"),
            cues=asked.cues,
            not_cues=asked.not_cues,
        )
        pressed, late = found_at.sample - start, late + int((answers & found_at.late).sum())
        times = measures.reaction(
            *(np.where(answers, moment, np.nan) / part.rate_hz for moment in (cue, onset, pressed))
        )
        table |= {name: getattr(times, name) for name in REACTION}
        table["motor_time_impossible"] = times.impossible
        for label, onsets in others.items():
            since = (onsets[trial] * part.rate_hz - cue) / part.rate_hz
            table[f"{label}_onset_s"] = np.where(answers, since, np.nan)
        found.put(at, table)
        if not unmarked:
            missing = int((answers & np.isnan(pressed)).sum())
            notes += kin_words(part, asked.response, missing, asked.not_cues)
            halted += list(found_at.halted[answers])
    if unmarked and len(mine):
        there = ", ".join(sorted({marker.label for marker in part.recording.markers}))
        notes.append(
            f"{part.recording.name} has no marker {asked.response!r} (there are: {there}): reaction and motor times "
            "are missing."
        )
    filled = found.columns, parted.columns, unrest.columns, spoilt, beyond.columns
    return Piece(*filled, notes, halted, late, ground.told)


class _Filled:
    """Columns of so many rows, filled some rows at a time."""

    def __init__(self, n: int) -> None:
        self.n, self.columns = n, dict[str, NDArray[Any]]()

    def put(self, at: NDArray[np.intp], values: Mapping[str, NDArray[Any]]) -> None:
        for name, some in values.items():
            whole = self.columns.get(name)
            if whole is None:
                blank = np.zeros if some.dtype == bool else np.empty
                whole = self.columns[name] = blank(self.n, dtype=some.dtype)
            whole[at] = some

    def frame(self, rows: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
        """What was filled, beside some rows; columns ``names`` without values where nothing was."""
        if self.columns:
            return pd.DataFrame(self.columns, index=rows.index)
        return pd.DataFrame(columns=list(names), index=rows.index, dtype=np.float64)


def _set_aside(part: Trials, rows: pd.DataFrame, aside: Aside, after: FloatArray) -> NDArray[np.bool_]:
    """Whether a stretch set aside touches each burst: as the table says of its mark, and, without an offset, up to the
    next burst, or to the end of its trial as it was cut here."""
    said = rows["set_aside"].fillna(False) if "set_aside" in rows else pd.Series(False, index=rows.index)
    out = said.astype(bool).to_numpy(copy=True)
    for label in part.labels:
        at = np.flatnonzero(rows["channel"] == label)
        mine = rows.iloc[at]
        _, start = places(part, mine)
        ends = ends_of(numbers(mine["offset_sample"]) - start, after[at] - start, len(part.time_s))
        out[at] |= aside.touch(part.recording.name, label, numbers(mine["onset_sample"]), ends + start, mine)
    return out


@dataclass(frozen=True)
class Work:
    """All that the piece of one recording depends on beside its samples and what is asked."""

    cue: str
    cues: tuple[Marker, ...]
    before: int
    after: int
    processing: Processing
    codes: Mapping[tuple[int, str], tuple[float, ...]]
    impossible: Mapping[str, str]
    rows: Rows
    decided: Rows
    outside_trials: Mapping[str, Any] | None

    @classmethod
    def of(
        cls, part: Trials, rows: pd.DataFrame, decided: pd.DataFrame, outside_trials: Mapping[str, Any] | None
    ) -> "Work":
        return cls(
            *(part.cue, part.cues, part.before, len(part.time_s) - part.before, part.processing),
            *(part.codes, part.impossible, Rows.of(rows), Rows.of(decided), outside_trials),
        )

    def trials(self, rec: Recording) -> LaterTrials:
        """The trials as they were cut, of a recording that was opened elsewhere."""
        plan = Plan(rec, self.processing, self.cue, self.cues, self.before, self.after)
        return LaterTrials.of(plan, {"notes": (), "codes": self.codes, "impossible": self.impossible})


@dataclass(frozen=True)
class MeasureJob:
    """The pieces of some recordings, by name."""

    asked: Asked
    works: Mapping[str, Work]
    classes: ClassVar[tuple[type, ...]] = (Piece, Told)

    def of(self, name: str) -> "MeasureJob":
        """What of it is about one recording: its result depends on nothing else."""
        return replace(self, works={name: self.works[name]})

    def __call__(self, rec: Recording) -> Piece:
        work = self.works[rec.name]
        return piece_of(work.trials(rec), work.rows, work.decided, work.outside_trials, self.asked)


def pieces_of(
    parts: Sequence[Trials],
    rows: pd.DataFrame,
    decisions: pd.DataFrame,
    asked: Asked,
    runner: Runner | None,
    strangers: Mapping[str, str],
) -> tuple[dict[str, Piece], dict[str, str]]:
    """The piece of each recording that has rows, by name; and by name why one has none: ``strangers`` are not looked
    at. With a runner it makes those
    whose trials are cut where they are looked at: their arrays are made anew there. All others are made here, and
    raise."""
    rows_of, decided = by_recording(rows), by_recording(decisions)
    mine = [part for part in parts if part.recording.name in rows_of and part.recording.name not in strangers]
    works: dict[str, Work] = {}
    for part in mine:
        name = part.recording.name
        works[name] = Work.of(part, rows_of[name], decided[name], outside(decisions, name))
    there = [part.recording for part in mine if runner is not None and is_later(part)]
    made: dict[str, Piece] = {}
    failed = {name: why for name, why in strangers.items() if name in rows_of}
    if runner is not None and there:
        outcomes = runner.run(MeasureJob(asked, {rec.name: works[rec.name] for rec in there}), there)
        for note in dict.fromkeys(note for one in outcomes for note in one.notes):
            tell(note)
        failed |= outcomes.failed
        made = {one.name: one.value for one in outcomes if not one.problem}
    for part in mine:
        work = works[part.recording.name]
        if part.recording.name not in made and part.recording.name not in failed:
            made[part.recording.name] = piece_of(part, work.rows, work.decided, work.outside_trials, asked)
    return {part.recording.name: made[part.recording.name] for part in mine if part.recording.name in made}, failed


class Together(NamedTuple):
    """Pieces of several recordings, by the rows (rows,) of all of them."""

    found: pd.DataFrame
    parted: pd.DataFrame
    unrest: pd.DataFrame
    spoilt: NDArray[np.bool_]
    beyond: dict[str, NDArray[np.bool_]]
    notes: list[str]
    halted: dict[str, list[str]]
    late: int
    told: Told


def together(rows: pd.DataFrame, pieces: Mapping[str, Piece]) -> Together:
    """All pieces as one."""
    found, parted, unrest, beyond, spoilt = (_Filled(len(rows)) for _ in range(5))
    told = Told()
    for name, piece in pieces.items():
        at = np.flatnonzero(rows["recording"] == name)
        for whole, some in ((found, piece.columns), (parted, piece.parted), (unrest, piece.unrest)):
            whole.put(at, some)
        beyond.put(at, piece.beyond)
        spoilt.put(at, {"": piece.spoilt})
        told.take(piece.told)
    return Together(
        found.frame(rows, ()),
        parted.frame(rows, PARTED),
        unrest.frame(rows, UNREST),
        spoilt.columns.get("", np.zeros(len(rows), dtype=bool)),
        beyond.columns,
        [note for piece in pieces.values() for note in piece.notes],
        {name: piece.halted for name, piece in pieces.items()},
        sum(piece.late for piece in pieces.values()),
        told,
    )


def without(rows: pd.DataFrame, failed: Mapping[str, str]) -> tuple[pd.DataFrame, list[str]]:
    """Rows without those of recordings that could not be measured, and a sentence on each of these. Raises
    ParameterError where none is left."""
    if not failed:
        return rows, []
    gone = rows["recording"].isin(list(failed))
    said = [
        f"{int((rows['recording'] == name).sum())} bursts of {name} are left out, as it could not be measured: {why}"
        for name, why in failed.items()
    ]
    if gone.all():
        raise ParameterError(
            f"not one of {len(failed)} recordings could be measured; the files must be those that were cut, and "
            f"readable; {' '.join(said[:3])}"
        )
    return rows[~gone].reset_index(drop=True), said
