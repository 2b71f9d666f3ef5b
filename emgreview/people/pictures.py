"""What is drawn of somebody, and against what of the others: the numbers behind pictures of people.

Envelopes are (…, pieces of time), spectra (before and after the cue, …, frequencies on GRID_HZ) in dB. NaN is missing.

    mean_envelope   of each channel, over the trials that are not called unusable
    few_of          some trials, spread over the session
    heat_limit      the value from which on a picture of all trials has its last colour
    spectra_db      power densities of a person in dB
    Group           what all people share: units, tops of axes, quartiles, shares of trials without a burst
    Rates           these shares, with the limits that chance gives
"""

from collections import Counter
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from emgreview.model import FloatArray
from emgreview.people import odd
from emgreview.people.person import Person

TOP_OF_TRIALS = 90
"""Per cent of a person's trials that a top of the person's own would hold (our own choice)."""
TIMES_MEDIAN = 2.5
"""The common top is no more than so many times that of the median person, so that one person of another gain does not
press the others flat (our own choice)."""
BRIGHT = 98
"""Per cent of a person's values below the last colour (our own choice)."""
FEWEST_IN_BAND = 4
QUARTILES = (25, 50, 75)
CHANCES = (0.025, 0.001)
"""On either side of the limits of a rate: 95 % and 99.8 % of people lie within, were all alike."""
_PLACES = 14


def mean_envelope(one: Person) -> FloatArray:
    """(channels, pieces), over the trials that are not called unusable."""
    present = np.isfinite(one.envelope) & (one.signal < 2)[..., None]
    n = present.sum(axis=1)
    total = np.where(present, one.envelope, 0.0).sum(axis=1)
    return np.where(n > 0, total / np.maximum(n, 1), np.nan)


def few_of(n: int, most: int) -> list[int]:
    """Places of at most so many of n trials, from the first to the last."""
    return [int(at) for at in np.unique(np.linspace(0, n - 1, min(n, most)).round())] if n else []


def heat_limit(one: Person, place: int) -> float:
    """98 % of a channel's values, over all trials and times, lie below; NaN where there are none."""
    present = finite(one.envelope[place])
    return float(np.percentile(present, BRIGHT)) if present.size else np.nan


def spectra_db(one: Person) -> FloatArray:
    """(2, channels, frequencies), in dB re 1 unit²/Hz."""
    density = one.weighted("spectra")
    with np.errstate(invalid="ignore", divide="ignore"):
        return 10 * np.log10(np.where(density > 0, density, np.nan))


@dataclass(frozen=True, eq=False)
class Rates:
    """``none`` of ``n`` usable trials of each person are without a burst, in all a share of ``rate``. For each of
    ``places``, numbers of trials, ``limits`` (chances, 2, places) are the fewest and the most that chance gives."""

    none: NDArray[np.integer]
    n: NDArray[np.integer]
    rate: float
    places: NDArray[np.integer]
    limits: NDArray[np.integer]


@dataclass(frozen=True, eq=False)
class Group:
    """All people of a study. What is compared in a unit is compared among those who have the unit that most have."""

    people: tuple[Person, ...]

    @cached_property
    def labels(self) -> tuple[str, ...]:
        """Of all channels that anybody has."""
        return tuple(dict.fromkeys(label for one in self.people for label in one.labels))

    @cached_property
    def spectra(self) -> tuple[FloatArray, ...]:
        """Everybody's, in dB."""
        return tuple(spectra_db(one) for one in self.people)

    @cached_property
    def _peaks(self) -> tuple[FloatArray, ...]:
        """The largest value of every trial, (channels, trials) each; NaN of those called unusable."""
        return tuple(
            np.where(one.signal < 2, np.nan_to_num(one.envelope, nan=0.0).max(axis=-1, initial=0.0), np.nan)
            for one in self.people
        )

    def unit(self, label: str) -> str:
        """The unit that most people have on a channel."""
        return Counter(one.unit for one in self.people if label in one.labels).most_common(1)[0][0]

    def _having(self, label: str) -> list[tuple[int, int]]:
        """People with the channel, in the unit that most have, and its place among theirs."""
        unit = self.unit(label)
        return [
            (at, one.place(label)) for at, one in enumerate(self.people) if label in one.labels and one.unit == unit
        ]

    def full_scale(self, label: str) -> float:
        """The top of an axis that all share: the largest of people's own, which 90 % of their trials stay below, or 2.5
        times their median, if that is less; 1 where nobody has a value."""
        peaks = [finite(self._peaks[at][place]) for at, place in self._having(label)]
        tops = [np.percentile(one, TOP_OF_TRIALS) for one in peaks if one.size]
        tops = [top for top in tops if top > 0]
        return float(min(np.max(tops), TIMES_MEDIAN * np.median(tops))) if tops else 1.0

    def spectra_band(self, label: str) -> FloatArray:
        """Quartiles over people, (2, 3, frequencies); NaN where fewer than four have a value."""
        values = np.stack([self.spectra[at][:, place] for at, place in self._having(label)])
        out = np.full((len(QUARTILES), *values.shape[1:]), np.nan)
        enough = np.isfinite(values).sum(axis=0) >= FEWEST_IN_BAND
        out[:, enough] = np.nanpercentile(values[:, enough], QUARTILES, axis=0)
        return out.swapaxes(0, 1)

    def rest_band(self, label: str) -> FloatArray:
        """Quartiles over people of their median rest, (3,); NaN where fewer than four have one."""
        rests = [finite(self.people[at].rest[place]) for at, place in self._having(label)]
        middles = [float(np.median(one)) for one in rests if one.size]
        many = len(middles) >= FEWEST_IN_BAND
        return np.percentile(middles, QUARTILES) if many else np.full(len(QUARTILES), np.nan)

    def rates(self, label: str) -> Rates:
        """Trials without a burst, of everybody; 0 of 0 of a person who has not the channel, or of whom it is left
        out."""
        none, n = np.zeros(len(self.people), dtype=int), np.zeros(len(self.people), dtype=int)
        for at, one in enumerate(self.people):
            if label in one.labels and label not in one.kept_out:
                usable = one.signal[one.place(label)] < 2
                n[at] = usable.sum()
                none[at] = (np.isnan(one.onset_s[one.place(label)]) & usable).sum()
        if not n.any():
            return Rates(none, n, np.nan, np.zeros(0, dtype=int), np.zeros((len(CHANCES), 2, 0), dtype=int))
        rate = float(none.sum() / n.sum())
        spread = np.linspace(max(1, n[n > 0].min() - 5), n.max() + 5, _PLACES)
        places = np.unique(spread.round().astype(int))
        limits = [[odd.funnel(0, int(at), rate, chance) for at in places] for chance in CHANCES]
        return Rates(none, n, rate, places, np.array(limits).swapaxes(1, 2))


def finite(values: FloatArray) -> FloatArray:
    """Those that are there."""
    return values[np.isfinite(values)]
