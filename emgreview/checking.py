"""Is each EMG channel of a recording fit for use: which stretches are looked at, one channel at a time, and in pairs.

check       findings of every EMG channel, with what was measured, what was looked at, and what could not be
Checked     what it returns: a list of Quality that a notebook shows as a short table
twins       which of several recordings are alike in all that was measured
mains       how much mains hum each of them holds
codes_in    which stretches hold codes for missing samples, by the same rule
pieces_of   which stretches are looked at; sampled gives a channel there
impossible  channels of a level that no surface EMG has, by the same limits
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import astuple, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from emgreview import checks
from emgreview.checks import ONE_RECORDING
from emgreview.model import ARBITRARY, SAME_SAMPLES, VOLTS, Recording, to_sample
from emgreview.muscles.wording import card_of
from emgreview.showing import Sheet, Shown
from emgreview.signal import filters
from emgreview.signal.alike import LONGEST_LAG_S, Pairs
from emgreview.signal.findings import LIMITS, of_constant, of_level, of_pairs, of_unlike, of_wrong_unit
from emgreview.signal.quality import COLUMNS, Quality, band_levels, cells, check_channel, step_size, strongest_mains
from emgreview.signal.stuck import AROUND, STILL_S, STILL_TIMES, constant_stretches, find_codes, longest_repeat

FloatArray = NDArray[np.floating]

CHECKED_S, CHECKED_PIECES = 60.0, 5
"""How much of a recording :func:`check` looks at, and in how many pieces, unless told."""

BLOCK_VALUES = 1 << 21
"""Samples of all channels together that are read at once."""

EACH = f"{ONE_RECORDING}; of a dataset, each by itself: for rec in data.recordings: er.check(rec)"

SEGMENT_S, SEGMENTS = 1.0, 40
"""Pairs of channels are compared in so many segments of that length."""


class Checked(Shown, list[Quality]):
    """One :class:`Quality` a channel, in the order of the recording; a list. ``cards``: by label
    what test contractions showed of channels, where the recording carries it."""

    cards: Mapping[str, str] = MappingProxyType({})

    def _parts(self) -> Iterator[Sheet | str]:
        yield Sheet("", COLUMNS, [cells(one) for one in self])
        yield from (f"{one.label}: {words}" for one in self for words in one.findings)
        yield from (f"{one.label}: {asked.words}" for one in self for asked in one.questions)
        if not any(one.found for one in self):
            yield "Nothing stands out."
        yield from (f"{label}: {words}." for label, words in self.cards.items())
        yield from (f"Looked at: {words}." for words in dict.fromkeys(one.looked for one in self))
        for why in dict.fromkeys(why for one in self for why in one.not_looked):
            labels = [one.label for one in self if why in one.not_looked]
            yield f"Not looked for in {'any channel' if len(labels) == len(self) else ', '.join(labels)}: {why}."


def check(rec: Recording, *, look_s: float | None = CHECKED_S) -> Checked:
    """Look for what may be wrong with each EMG channel of a recording.

    Parameters
    ----------
    rec : Recording
        The recording, unfiltered.
    look_s : float or None, default 60.0
        How much of it is looked at, in seconds; None for all of it.

    Returns
    -------
    Checked
        A list of :class:`Quality`, one for every EMG channel in order, which shows itself
        as a short table. Amplitudes are in the unit of the channel, shares from 0 to 1, and
        NaN is what could not be measured.

    Raises
    ------
    ParameterError
        ``rec`` is no recording, or ``look_s`` no time above 0.

    Notes
    -----
    A recording longer than ``look_s`` is sampled by five pieces, spread evenly from its
    start to its end. What lies between them is read for missing samples and for stretches
    of one value (20 ms or longer), and for nothing else; ``looked`` says so.

    The mains is looked for at the recording's own frequency, and at 50 and 60 Hz. Channels
    are also compared with one another. Where the unit is arbitrary no level is impossible:
    then only channels far smaller or larger than the others are found, and ``not_looked``
    says so.

    Examples
    --------
    >>> import emgreview as er
    >>> rec = er.simulate_study(1, 3, 1000, seed=1).recordings[0]
    >>> [(one.label, one.findings) for one in er.check(rec)]
    [('prime mover', ()), ('antagonist', ())]
    """
    checks.kind("rec", rec, Recording, EACH)
    pieces = pieces_of(rec, look_s)
    length_s = sum(stop - start for start, stop in pieces) / rec.rate_hz
    if len(pieces) == 1 and pieces[0][1] - pieces[0][0] >= rec.n_samples - _latest(rec):
        looked = f"all {length_s:.4g} s"
    else:
        looked = (
            f"{length_s:.4g} of {rec.duration_s:.5g} s, in {len(pieces)} pieces of {length_s / len(pieces):.3g} s "
            "spread from start to end; what lies between was looked at for missing samples and stretches of one value "
            "alone"
        )
    found = [_looked_at(rec, label, *sampled(rec, label, pieces), looked, pieces) for label in rec.emg_labels]
    done = Checked(_compared(rec, pieces, found if looked.startswith("all") else _between(rec, pieces, found)))
    done.cards = {one.label: card_of(one) for one in rec.channels if one.heard}
    return done


def codes_in(rec: Recording, label: str, stretches: Sequence[tuple[int, int]]) -> list[tuple[float, ...]]:
    """For each of some stretches (start and stop sample) in order the codes for missing samples in a channel there, ()
    where there are none. What is a code is judged over all of them, as :func:`check` judges it."""
    joined: list[list[int]] = []
    for start, stop in stretches:
        if joined and start <= joined[-1][1]:
            joined[-1][1] = max(stop, joined[-1][1])
        else:
            joined.append([start, stop])
    # Missing samples between stretches: nobody is the neighbour of what was recorded elsewhere.
    parts = [rec.values(start, stop, [label])[0] for start, stop in joined]
    every = _every(rec, label)
    x = np.concatenate([part for one in parts for part in (one[::every], np.full(AROUND, np.nan))])[np.newaxis]
    values = find_codes(x, step=step_size(x[~np.isnan(x)])).values
    if not values:
        return [()] * len(stretches)
    at = [
        np.concatenate([start + np.flatnonzero(part == value) for (start, _), part in zip(joined, parts, strict=True)])
        for value in values
    ]
    return [
        tuple(value for value, places in zip(values, at, strict=True) if ((start <= places) & (places < stop)).any())
        for start, stop in stretches
    ]


def impossible(rec: Recording) -> dict[str, str]:
    """EMG channels of a level that no surface EMG has, with the words of that finding of :func:`check`; none where the
    unit is arbitrary. A channel is looked at closely only where its level stands out at a first look."""
    pieces = pieces_of(rec, CHECKED_S)
    out: dict[str, str] = {}
    for label in rec.emg_labels:
        unit = rec.channel(label).unit_label
        if unit not in VOLTS:
            continue
        x, rate_hz = sampled(rec, label, pieces)
        runs = [row[start:stop] for row in x for start, stop in filters.finite_runs(row)]
        rest, loud = band_levels(runs, rate_hz)
        # A level of 0 is that of a signal that stands still, which is told as such.
        if rest > 0 and of_wrong_unit(of_level(label, rest, loud, unit, VOLTS[unit]), 0.0, VOLTS[unit]):
            seen = _looked_at(rec, label, x, rate_hz, "", pieces)
            out |= {one.channels[0]: one.words for one in of_wrong_unit(seen.found, seen.loud_rms, VOLTS[unit])}
    return out


def _every(rec: Recording, label: str) -> int:
    """How many samples of the recording each sample of a slower channel was held for; 1 of all others."""
    native_hz = rec.channel(label).native_rate_hz
    return 1 if native_hz is None or native_hz >= rec.rate_hz else round(rec.rate_hz / native_hz)


def sampled(rec: Recording, label: str, pieces: list[tuple[int, int]]) -> tuple[FloatArray, float]:
    """A channel (pieces, samples) at the rate at which it was sampled, and that rate in Hz."""
    every = _every(rec, label)
    x = np.stack([rec.values(start, stop, [label])[0] for start, stop in pieces])
    return x[:, ::every], rec.rate_hz / every


def _looked_at(
    rec: Recording, label: str, x: FloatArray, rate_hz: float, looked: str, pieces: list[tuple[int, int]]
) -> Quality:
    unit = rec.channel(label).unit_label
    starts_s = [start / rec.rate_hz for start, _ in pieces]
    return check_channel(
        x, rate_hz, label=label, unit_label=unit, mains_hz=rec.mains_hz, looked=looked, starts_s=starts_s
    )


def mains(rec: Recording) -> dict[str, tuple[float, float, float]]:
    """The mains in each EMG channel, unfiltered, as :func:`check` measures it: frequency in Hz, share of the power,
    dB over the frequencies beside it. NaN where the recording is too short."""
    candidates = (50.0, 60.0) if rec.mains_hz is None else (rec.mains_hz,)
    out = {}
    for label in rec.emg_labels:
        rows = [rec.values(start, stop, [label])[0] for start, stop in pieces_of(rec, CHECKED_S)]
        runs = [row[start:stop] for row in rows for start, stop in filters.finite_runs(row)]
        out[label] = strongest_mains(runs, rec.rate_hz, candidates)
    return out


def pieces_of(rec: Recording, look_s: float | None) -> list[tuple[int, int]]:
    """Start and stop of the stretches that are looked at, all of one length."""
    n = max(1, rec.n_samples - _latest(rec))
    length = n if look_s is None else to_sample(checks.number("look_s", look_s, above=0, unit="s"), rec.rate_hz)
    if n <= length:
        return [(0, n)]
    piece = max(1, length // CHECKED_PIECES)
    return [(round(at), round(at) + piece) for at in np.linspace(0, n - piece, CHECKED_PIECES)]


def _latest(rec: Recording) -> int:
    """Samples at the end that a delayed channel does not have."""
    return max((to_sample(rec.channel(label).delay_s, rec.rate_hz) for label in rec.emg_labels), default=0)


def twins(checked: Mapping[str, Sequence[Quality]]) -> list[str]:
    """Sentences on recordings that are alike in everything that :func:`check` measured: no two recordings of noise are.
    Those without a channel that varies say nothing of that."""
    alike: dict[str, list[str]] = {}
    for name, channels in checked.items():
        if any(math.isfinite(one.rms) and one.rms > 0 for one in channels):
            alike.setdefault(repr([astuple(one) for one in channels]), []).append(name)
    return [f"{', '.join(names)} {SAME_SAMPLES}" for names in alike.values() if len(names) > 1]


def _between(rec: Recording, pieces: list[tuple[int, int]], found: list[Quality]) -> list[Quality]:
    """With missing samples and stretches of one value added that lie anywhere in the recording."""
    labels = rec.emg_labels
    least = max(6, math.ceil(STILL_S * rec.rate_hz))
    shortest, passed_over = [], []
    for label in labels:
        x = np.stack([rec.values(start, stop, [label])[0] for start, stop in pieces])
        shortest.append(max(least, STILL_TIMES * longest_repeat(x)))
        ends = () if np.isnan(x).all() else (float(np.nanmin(x)), float(np.nanmax(x)))
        passed_over.append(ends)
    n = max(1, rec.n_samples - _latest(rec))
    step = max(1, BLOCK_VALUES // max(1, len(labels)))
    blocks = (rec.values(at, min(at + step, n), labels) for at in range(0, n, step))
    out = []
    for one, seen in zip(found, constant_stretches(blocks, shortest, passed_over), strict=True):
        more = of_constant(one.label, seen, n, rec.rate_hz, {item.code for item in one.found})
        all_found = (*one.found, *more)
        out.append(replace(one, found=all_found, findings=tuple(item.words for item in all_found)))
    return out


def _compared(rec: Recording, pieces: list[tuple[int, int]], found: list[Quality]) -> list[Quality]:
    """With what only shows between channels added."""
    labels = rec.emg_labels
    if len(labels) < 2:
        return found
    length = pieces[0][1] - pieces[0][0]
    n = min(length, to_sample(SEGMENT_S, rec.rate_hz))
    if n <= 2 * to_sample(LONGEST_LAG_S, rec.rate_hz):
        words = f"two channels that carry one signal: {n / rec.rate_hz:.3g} s, more than {2 * LONGEST_LAG_S:g} s needed"
        return [replace(one, not_looked=(*one.not_looked, words)) for one in found]
    pairs = Pairs(len(labels), rec.rate_hz, n)
    places = [start + at for start, stop in pieces for at in range(0, stop - start - n + 1, n)]
    for start in places[:: max(1, math.ceil(len(places) / SEGMENTS))]:
        pairs.add(rec.values(start, start + n, labels))
    same = of_pairs(labels, pairs.alike(LIMITS["same signal"].value), pairs.segments * n / rec.rate_hz)
    unlike = {}
    if all(rec.channel(label).unit == ARBITRARY for label in labels):
        unlike = of_unlike(labels, [one.rest_rms for one in found], rec.channel(labels[0]).unit_label)
    out = []
    for one in found:
        added = tuple(both[one.label] for both in (same, unlike) if one.label in both)
        dead = any(item.code in ("no samples", "constant") for item in one.found)
        more = () if dead else added
        all_found = (*one.found, *more)
        out.append(replace(one, found=all_found, findings=tuple(item.words for item in all_found)))
    return out
