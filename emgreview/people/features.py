"""What people of a study are compared by: numbers of each person and channel, and of each person.

    Features        arrays over people and channels, with how each is said
    features_of     those of some people
    LABELLED        names of the features of a channel, in words
    OF_PERSON       those of a person

Amplitudes are compared as logarithms, shares as arc sines of their roots, so that a difference means the same at any
level (Bartlett 1947, Biometrics 3:39, for the shares; from memory). Levels are in dB over the person's own rest, so
that gain says nothing. Channels that a physical rule names are left out of all statistics.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emgreview.model import FloatArray
from emgreview.people import odd
from emgreview.people.person import Person
from emgreview.people.recorded import GRID_HZ

FEWEST_TRIALS = 6
"""A median over fewer trials says nothing of a person (our own choice, no source)."""

LABELLED = {
    "rest": "RMS at rest",
    "level": "level of bursts over rest",
    "lag": "onset",
    "duration": "duration of bursts",
    "frequency": "median frequency after the cue",
    "drift": "change of the rest over the session",
}
"""Of each channel, in words; those of RELATIVE are counted from the person's other channels."""

OF_PERSON = {
    "onset": "onset, over all channels",
    "spread": "spread of onsets from trial to trial, over all channels",
    "tension": "RMS at rest, over all channels",
    "strength": "level of bursts over rest, over all channels",
    "length": "duration of bursts, over all channels",
    "response": "response",
}
RELATIVE = {"rest": "tension", "level": "strength", "lag": "onset", "duration": "length"}
"""Features of a channel that a feature of the person is the median of, over channels."""

MANY = 4
"""With so many channels each is counted from the median of the person's others; with fewer, one odd channel would make
the others odd."""

LEAST = {
    **{"onset": 0.05, "spread": 0.2, "tension": 0.1, "strength": 1.0, "length": 0.1, "response": 0.04},
    **{"rest": 0.1, "level": 1.0, "lag": 0.005, "duration": 0.1, "frequency": 0.05, "drift": 0.1},
}
"""SDs between people are not taken for smaller than this, as the features are compared (0.05 is 5 %, levels in dB, lags
in seconds): where all are nearly alike a difference of no consequence is not odd (our own choice, no source)."""


@dataclass(frozen=True, eq=False)
class Features:
    """``labelled`` by name (people, channels), ``of_person`` by name (people,); as they are compared. ``plain`` holds
    the same as they are said, in seconds, microvolts, dB, Hz, and times over the session."""

    labels: tuple[str, ...]
    labelled: dict[str, FloatArray]
    of_person: dict[str, FloatArray]
    plain: dict[str, FloatArray]

    @property
    def counts(self) -> tuple[int, int]:
        """How many features of channels, and of people, can be compared at all."""
        of_channels = sum(int(enough(values).sum()) for values in self.labelled.values())
        return of_channels, sum(int(enough(values[:, None]).sum()) for values in self.of_person.values())


def enough(values: FloatArray) -> NDArray[np.bool_]:
    """Of which columns (people, columns) enough people have a value."""
    return np.isfinite(values).sum(axis=0) >= odd.FEWEST


def median(values: FloatArray, fewest: int = FEWEST_TRIALS) -> FloatArray:
    """Median over trials, the last axis; NaN of fewer than ``fewest``."""
    there = np.isfinite(values).sum(axis=-1) >= fewest
    out = np.full(there.shape, np.nan)
    if there.any():
        out[there] = np.nanmedian(values[there], axis=-1)
    return out


def spread(values: FloatArray) -> FloatArray:
    """Scaled MAD over trials, the last axis; NaN of fewer than FEWEST_TRIALS."""
    return odd.MAD_TO_SD * median(np.abs(values - median(values)[..., None]))


def log(values: FloatArray) -> FloatArray:
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(values > 0, np.log(values), np.nan)


def drift(rest: FloatArray) -> FloatArray:
    """Change of the logarithm of rest over all trials of a session, by its Theil-Sen slope: (channels, trials) to
    (channels,)."""
    return np.array([odd.slope(row) * row.size for row in log(rest)])


def median_frequency(spectra: FloatArray) -> FloatArray:
    """Median frequency from 20 to 450 Hz of spectra on GRID_HZ, (channels, frequencies) to (channels,)."""
    inside = (GRID_HZ >= 20) & (GRID_HZ <= 450)
    power = np.nan_to_num(spectra[:, inside]) * GRID_HZ[inside]  # of a band as wide as its frequency is high
    below = np.cumsum(power, axis=1)
    out = np.full(len(power), np.nan)
    for place, row in enumerate(below):
        if row[-1] > 0:
            out[place] = np.exp(np.interp(0.5 * row[-1], row, np.log(GRID_HZ[inside])))
    return out


def features_of(people: Sequence[Person], left_out: Collection[tuple[int, str]] = ()) -> Features:
    """The features of some people, but for the (person, channel) ``left_out``: "" for all of a person's."""
    labels = tuple(dict.fromkeys(label for one in people for label in one.labels))
    shape = (len(people), len(labels))
    labelled = {name: np.full(shape, np.nan) for name in LABELLED}
    plain = {name: np.full(shape, np.nan) for name in LABELLED}
    for at, one in enumerate(people):
        places = [labels.index(label) for label in one.labels]
        onset = median(one.onset_s)
        values = {
            "rest": median(one.rest),
            "level": median(one.level_db),
            "lag": onset,
            "duration": median(one.duration_s),
            "frequency": median_frequency(one.weighted("spectra")[1]),
            "drift": drift(one.rest),
        }
        for name, value in values.items():
            plain[name][at, places] = value
        for place, label in zip(places, one.labels, strict=True):
            if (at, label) in left_out or (at, "") in left_out or label in one.kept_out:
                for name in LABELLED:
                    plain[name][at, place] = np.nan
    for name in LABELLED:
        labelled[name] = log(plain[name]) if name in ("rest", "duration", "frequency") else plain[name].copy()
    spreads = np.stack([_over(spread(one.onset_s), one.labels, labels) for one in people])
    spreads = np.where(np.isfinite(plain["lag"]), spreads, np.nan)
    of_person = {"spread": log(_row_median(spreads)), "response": log(np.array([median(p.response_s) for p in people]))}
    plain |= {"spread": np.exp(of_person["spread"]), "response": np.exp(of_person["response"])}
    for name, whole in RELATIVE.items():
        typical = _column_median(labelled[name])
        middle = _row_median(labelled[name] - typical)  # so that a channel that is missing moves nobody
        usual = float(np.nanmedian(typical)) if np.isfinite(typical).any() else np.nan
        logged = name in ("rest", "duration")
        plain[whole] = np.exp(middle + usual) if logged else middle + usual
        several = name == "lag" or len(labels) > 1
        of_person[whole] = log(plain[whole]) if name == "lag" else np.where(several, middle, np.nan)
        if len(labels) >= MANY:
            labelled[name] = labelled[name] - _of_others(labelled[name] - typical)
    return Features(labels, labelled, {name: of_person[name] for name in OF_PERSON}, plain)


def _over(values: FloatArray, have: Sequence[str], want: Sequence[str]) -> FloatArray:
    out = np.full(len(want), np.nan)
    out[[want.index(label) for label in have]] = values
    return out


def _row_median(values: FloatArray) -> FloatArray:
    return median(values, 1)


def _of_others(values: FloatArray) -> FloatArray:
    """For each of (people, channels) the median of the person's other channels."""
    return np.stack([_row_median(np.delete(values, place, axis=1)) for place in range(values.shape[1])], axis=1)


def _column_median(values: FloatArray) -> FloatArray:
    return median(values.T, 1)
