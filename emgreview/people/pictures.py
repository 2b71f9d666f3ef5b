"""What is drawn of somebody, and against what of the others: the numbers behind pictures of people.

Envelopes are (…, pieces of time), spectra (before and after the cue, …, frequencies on GRID_HZ) in dB. NaN is missing.

    mean_envelope   of each channel, over the trials that are not called unusable
    few_of          some trials, spread over the session
    full_scale      the top of an axis that all people share
    heat_limit      the value from which on a picture of all trials has its last colour
    spectra_db      power densities of a person in dB
    spectra_band    quartiles of those of the group
    rest_band       quartiles of people's rests
    Rates, rates    shares of trials without a burst, with the limits that chance gives
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emgreview.model import FloatArray
from emgreview.people import odd
from emgreview.people.features import median
from emgreview.people.person import Person

TOP_OF_TRIALS = TOP_OF_PEOPLE = 90
"""Per cent of a person's trials, and of the people, that lie below the top of the common axis (our own choice)."""
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


def unit_of(people: Sequence[Person], label: str) -> str:
    """The unit that most people have on a channel."""
    return Counter(one.unit for one in people if label in one.labels).most_common(1)[0][0]


def _having(people: Sequence[Person], label: str) -> list[Person]:
    """People with the channel, in the unit that most have."""
    unit = unit_of(people, label)
    return [one for one in people if label in one.labels and one.unit == unit]


def full_scale(people: Sequence[Person], label: str) -> float:
    """Below this stay 90 % of the trials of 90 % of the people, by their largest value; 1 where nobody has a value."""
    tops = []
    for one in _having(people, label):
        peaks = np.where(np.isfinite(one.envelope[one.place(label)]), one.envelope[one.place(label)], 0.0).max(axis=-1)
        peaks = peaks[one.signal[one.place(label)] < 2]
        tops.append(np.percentile(peaks, TOP_OF_TRIALS) if peaks.size else np.nan)
    found = np.array(tops)[np.array(tops) > 0] if tops else np.array([])
    return float(np.percentile(found, TOP_OF_PEOPLE)) if found.size else 1.0


def heat_limit(one: Person, place: int) -> float:
    """98 % of a channel's values, over all trials and times, lie below; NaN where there are none."""
    present = one.envelope[place][np.isfinite(one.envelope[place])]
    return float(np.percentile(present, BRIGHT)) if present.size else np.nan


def spectra_db(one: Person) -> FloatArray:
    """(2, channels, frequencies), in dB re 1 unit²/Hz."""
    density = one.weighted("spectra")
    with np.errstate(invalid="ignore", divide="ignore"):
        return 10 * np.log10(np.where(density > 0, density, np.nan))


def spectra_band(people: Sequence[Person], label: str) -> FloatArray:
    """Quartiles over people, (2, 3, frequencies); NaN where fewer than four have a value."""
    having = _having(people, label)
    values = np.stack([spectra_db(one)[:, one.place(label)] for one in having])
    out = np.full((len(QUARTILES), *values.shape[1:]), np.nan)
    enough = np.isfinite(values).sum(axis=0) >= FEWEST_IN_BAND
    out[:, enough] = np.nanpercentile(values[:, enough], QUARTILES, axis=0)
    return out.swapaxes(0, 1)


def rest_band(people: Sequence[Person], label: str) -> FloatArray:
    """Quartiles over people of their median rest, (3,); NaN where fewer than four have one."""
    rests = np.array([float(median(one.rest[one.place(label)], 1)) for one in _having(people, label)])
    rests = rests[np.isfinite(rests)]
    return np.percentile(rests, QUARTILES) if rests.size >= FEWEST_IN_BAND else np.full(len(QUARTILES), np.nan)


@dataclass(frozen=True, eq=False)
class Rates:
    """``none`` of ``n`` usable trials of each person are without a burst, in all a share of ``rate``. For each of
    ``places``, numbers of trials, ``limits`` (chances, 2, places) are the fewest and the most that chance gives."""

    none: NDArray[np.integer]
    n: NDArray[np.integer]
    rate: float
    places: NDArray[np.integer]
    limits: NDArray[np.integer]


def rates(people: Sequence[Person], label: str) -> Rates:
    """Trials without a burst, of everybody; 0 of 0 where a person has not the channel."""
    none, n = np.zeros(len(people), dtype=int), np.zeros(len(people), dtype=int)
    for at, one in enumerate(people):
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
