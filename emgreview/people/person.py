"""A person's session: the trials of its recordings put together, with the marks that stand.

    Person          one person's session, arrays over all its trials
    gathered        people of what was recorded, in order
    whose           participant and session of a recording
    Marks           marks of a table of decisions, by recording, trial and channel

Sessions of one person stay apart: electrodes are put on anew, and with them every microvolt. Arrays are (channels,
trials), times in seconds from the cue as it was cut; NaN is missing, and what was kept out.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from emgreview.model import FloatArray
from emgreview.people.recorded import ARRAYS, GRID_HZ, Recorded
from emgreview.signal.quality import Quality

AUTOMATIC, REVIEWED = "automatic", "reviewed"
MARKS = (AUTOMATIC, REVIEWED)
WORDS = ("usable", "caution", "unusable")


@dataclass(frozen=True, eq=False)
class Person:
    """One person's session.

    ``recordings`` are its recordings in order, ``run`` (trials,) which of them each trial is of. ``signal`` (channels,
    trials) is the place in WORDS of what was said of it; ``reviewed`` and ``none`` whether a reviewer decided, and
    found nothing; ``kept_out`` why all of a channel is left out, by label.
    """

    participant: str
    session: str
    recordings: tuple[Recorded, ...]
    labels: tuple[str, ...]
    unit: str
    run: NDArray[np.integer]
    ids: tuple[str, ...]
    response_s: FloatArray
    onset_s: FloatArray
    low_s: FloatArray
    high_s: FloatArray
    offset_s: FloatArray
    level_db: FloatArray
    second_s: FloatArray
    size: FloatArray
    slope: FloatArray
    rest: FloatArray
    railed: FloatArray
    bursts: FloatArray
    beats: NDArray[np.bool_]
    envelope: FloatArray
    reviewed: NDArray[np.bool_]
    none: NDArray[np.bool_]
    signal: NDArray[np.integer]
    moved: NDArray[np.bool_]
    kept_out: Mapping[str, str] = field(default_factory=dict)

    @property
    def key(self) -> str:
        """Participant and session in words."""
        return f"{self.participant}, session {self.session}" if self.session else self.participant

    @property
    def span_s(self) -> tuple[float, float]:
        """What the envelopes span, in seconds from the cue."""
        return self.recordings[0].span_s

    @property
    def duration_s(self) -> FloatArray:
        """Onset to offset."""
        return self.offset_s - self.onset_s

    def weighted(self, name: str) -> FloatArray:
        """An array of the recordings (``skew``, ``alike``, ``spectra``) as that of the session: by their trials, over
        the channels of the session."""
        out = [_placed(getattr(one, name), one.labels, self.labels) for one in self.recordings]
        weights = np.array([len(one.ids) for one in self.recordings], dtype=np.float64)
        stacked = np.stack(out)
        w = weights.reshape(-1, *[1] * (stacked.ndim - 1)) * np.isfinite(stacked)
        total = w.sum(axis=0)
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(total > 0, np.nansum(w * np.nan_to_num(stacked), axis=0) / total, np.nan)

    @property
    def there(self) -> NDArray[np.bool_]:
        """Whether the trial's recording has the channel, (channels, trials)."""
        has = np.array([[label in rec.labels for rec in self.recordings] for label in self.labels], dtype=bool)
        return has.reshape(len(self.labels), len(self.recordings))[:, self.run]

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Whether a trial of a channel says anything, (channels, trials): it is there, was not called unusable, and the
        channel is not kept out."""
        kept = np.array([label not in self.kept_out for label in self.labels], dtype=bool)
        return self.there & (self.signal < 2) & kept[:, None]

    def quality(self, label: str) -> list[Quality]:
        """What ``check`` measured on a channel, a value a recording that has it."""
        return [one for rec in self.recordings for one in rec.quality if one.label == label]

    def place(self, label: str) -> int:
        return self.labels.index(label)


def _placed(values: FloatArray, have: Sequence[str], want: Sequence[str]) -> FloatArray:
    """Values by channel put where the session has them; of two axes of channels both, of spectra the second."""
    places = [want.index(label) for label in have]
    if values.ndim == 1:
        out = np.full(len(want), np.nan)
        out[places] = values
    elif values.ndim == 2:
        out = np.full((len(want), len(want)), np.nan)
        out[np.ix_(places, places)] = values
    else:
        out = np.full((2, len(want), len(GRID_HZ)), np.nan)
        out[:, places] = values
    return out


class Marks:
    """Marks of a table of decisions, looked up by recording."""

    def __init__(self, decisions: pd.DataFrame | None, sizes: Mapping[str, Sequence[Sequence[Any]]]):
        self._sizes = sizes
        self._by: dict[str, pd.DataFrame] = {}
        if decisions is not None:
            active = decisions[(decisions["origin"].fillna("") != "removed").to_numpy(dtype=bool)]
            self._by = {str(name): part for name, part in active.groupby("recording", sort=False)}

    def over(self, rec: Recorded) -> dict[str, Any]:
        """Arrays of a recording with the marks that stand in place of the automatic ones, where a trial was reviewed;
        and what was said of signals."""
        shape = (len(rec.labels), len(rec.ids))
        out: dict[str, Any] = {name: np.array(getattr(rec, name), dtype=np.float64) for name in ARRAYS}
        said = {name: np.zeros(shape, dtype=bool) for name in ("reviewed", "none", "moved")}
        signal, kept = np.zeros(shape, dtype=int), {}
        rows = self._by.get(rec.name)
        if rows is not None:
            rank = {"response": 0}
            trials = {trial: at for at, trial in enumerate(rec.ids)}
            channels = {label: at for at, label in enumerate(rec.labels)}
            order = rows["kind"].map(lambda kind: rank.get(kind, 1), na_action="ignore").fillna(2)
            seen: set[tuple[int, int]] = set()
            for row in rows.assign(order=order).sort_values("order", kind="stable").to_dict("records"):
                at = channels.get(row["channel"]), trials.get(row["trial"])
                if None in at or at in seen:
                    continue
                seen.add(at)  # type: ignore[arg-type]
                signal[at] = WORDS.index(row["signal"]) if row["signal"] in WORDS else 0
                if not pd.isna(row["excluded"]) and row["excluded"]:
                    kept[row["channel"]] = str(row["excluded"])
                decided = not pd.isna(row["reviewed"]) and bool(row["reviewed"])
                if not decided and row["origin"] not in ("moved", "added"):
                    continue
                said["reviewed"][at] = decided
                said["none"][at] = row["activity"] in ("none visible", "not locatable")
                self._mark(out, said, at, row, rec)
            for trial, label, size, slope in self._sizes.get(rec.name, ()):
                if label in channels and trial in trials:
                    out["size"][channels[label], trials[trial]] = size
                    out["slope"][channels[label], trials[trial]] = slope
            out["onset_s"][signal == 2] = np.nan
            out["offset_s"][signal == 2] = np.nan
            for label in kept:
                out["onset_s"][channels[label]] = out["offset_s"][channels[label]] = np.nan
        return out | said | {"signal": signal, "kept": kept}

    @staticmethod
    def _mark(out: dict[str, Any], said: dict[str, Any], at: Any, row: Mapping[Any, Any], rec: Recorded) -> None:
        sample = {name: row[f"{name}_sample"] for name in ("onset", "offset")}
        cue = rec.cue_sample[at[1]]
        moved = row["origin"] in ("moved", "added")
        response = row["kind"] == "response" and row["activity"] == "bursts"
        for name in ("onset", "offset"):
            there = response and not pd.isna(sample[name])
            out[f"{name}_s"][at] = (int(sample[name]) - cue) / rec.rate_hz if there else np.nan
        said["moved"][at] = moved
        if moved or not response:
            for name in ("low_s", "high_s", "size", "slope"):
                out[name][at] = np.nan
        if row["origin"] == "added" or not response:  # of a moved one it is that of the burst that the method found
            out["level_db"][at] = np.nan


def whose(rec: Recorded) -> tuple[str, str]:
    """Participant and session of a recording; one that names no participant is a person of its own."""
    return str(rec.entities.get("sub") or rec.name), str(rec.entities.get("ses") or "")


def gathered(
    recorded: Iterable[Recorded],
    decisions: pd.DataFrame | None = None,
    sizes: Mapping[str, Sequence[Sequence[Any]]] | None = None,
) -> list[Person]:
    """People's sessions of what was recorded, in the order in which they first appear. A recording without a
    participant is a person of its own. ``sizes`` are those of marks that were moved, by recording: trial, channel, size
    and slope."""
    marks = Marks(decisions, sizes or {})
    by: dict[tuple[str, str], list[Recorded]] = {}
    for rec in recorded:
        by.setdefault(whose(rec), []).append(rec)
    return [_person(who, session, recs, marks) for (who, session), recs in by.items()]


def _person(participant: str, session: str, recs: Sequence[Recorded], marks: Marks) -> Person:
    labels = tuple(dict.fromkeys(label for one in recs for label in one.labels))
    parts = [marks.over(one) for one in recs]
    sizes = [len(one.ids) for one in recs]
    fills = {"reviewed": False, "none": False, "moved": False, "signal": 0}
    rows: dict[str, Any] = {}
    for name in (*ARRAYS, *fills):
        fill = fills.get(name, np.nan)
        rows[name] = np.concatenate(
            [_rows(part[name], one.labels, labels, n, fill) for part, one, n in zip(parts, recs, sizes, strict=True)],
            axis=1,
        )
    units = {one.unit for one in recs}
    return Person(
        participant=participant,
        session=session,
        recordings=tuple(recs),
        labels=labels,
        unit=units.pop() if len(units) == 1 else "arbitrary",
        run=np.repeat(np.arange(len(recs)), sizes),
        ids=tuple(trial for one in recs for trial in one.ids),
        response_s=np.concatenate([one.response_s for one in recs]),
        beats=np.concatenate(
            [_rows(one.beats, one.labels, labels, n, False) for one, n in zip(recs, sizes, strict=True)], axis=1
        ),
        envelope=np.concatenate(
            [_rows(one.envelope, one.labels, labels, n, np.nan) for one, n in zip(recs, sizes, strict=True)], axis=1
        ),
        kept_out={label: why for part in parts for label, why in part["kept"].items()},
        **rows,
    )


def _rows(values: NDArray[Any], have: Sequence[str], want: Sequence[str], n: int, fill: Any) -> NDArray[Any]:
    """(channels of a recording, trials, …) put where the session has the channels."""
    out = np.full((len(want), n, *values.shape[2:]), fill, dtype=values.dtype)
    out[[want.index(label) for label in have]] = values
    return out
