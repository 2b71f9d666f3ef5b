"""Where the bursts of a signal start, each located within its own stretch of it. Ends are starts in mirror image.

The ramp posterior (:mod:`~emgreview.signal.onset.ramp`) over the energies of the rest model; for strong bursts over
energies without the ringing of a zero-phase filter (:mod:`~emgreview.signal.onset.ringing`), for which the samples
themselves are needed.

    edges       quantiles of where each burst starts
    Samples     the samples of rows, wherever they come from
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from emgreview.signal.onset.posterior import SHARP, Ints
from emgreview.signal.onset.quiet import DB_PER_LN, Floats, excess
from emgreview.signal.onset.ramp import RampParameters, begins_from, delay_s, locate, strong_from_db, without_clicks
from emgreview.signal.onset.ringing import excess_without_ringing

Array = NDArray[np.floating]

AROUND_S = 0.8
"""Signal before and after an edge that may decide where it is."""

BEYOND_S = 0.6
"""Signal that is filtered beyond that, so that a strong edge may lie later than its ringing by as much."""

REST_S = 4.0
"""How much of the rest is filtered with each strong burst."""

EDGES = 64
"""Bursts located at once."""

BRIEF_S, BRIEF_STRONG_S, HELD_S = 0.1, 0.16, 0.2
"""Bursts up to the first (strong ones, whose ringing lengthens them: the second) are continued, for the third, as if
they lasted: the posterior takes activity of less than a tenth of a second for none, and puts the start behind it."""

KNOCK_S, KNOCK_SHARE = 0.03, 0.1
"""Unless their energy is above that share of their loudest block's for less than that: then they are knocks."""


@dataclass(frozen=True, eq=False)
class Samples:
    """Rest (rows, samples), mean 0 and SD 1, and ``read(row, start, stop)`` of the ``n`` samples in its units."""

    rest: Array
    read: Callable[[int, int, int], Array]
    n: int

    @classmethod
    def of(cls, joined: Array, rest: int) -> "Samples":
        """Of rows that begin with ``rest`` samples of rest."""
        return cls(
            joined[:, :rest], lambda row, start, stop: joined[row, rest + start : rest + stop], joined.shape[1] - rest
        )

    def mirrored(self, used: int) -> "Samples":
        """The first ``used`` samples, backward."""
        read = lambda row, start, stop: self.read(row, used - stop, used - start)[::-1]  # noqa: E731
        return Samples(self.rest[:, ::-1], read, used)

    def around(self, row: int, start: int, stop: int) -> Array:
        """Samples start to stop; 0 beyond the ends."""
        out = np.zeros(stop - start)
        first, last = max(start, 0), min(stop, self.n)
        if last > first:
            out[first - start : last - start] = self.read(row, first, last)
        return out


def edges(
    y: Floats, ln_z: Floats, samples: Samples, row: Ints, first: Ints, last: Ints, p: RampParameters, block: int,
    bin_: int, rate_hz: float, *, backward: bool = False,
) -> Array:  # fmt: skip
    """Quantiles (3, bursts) of where each burst starts, in seconds from the start of the rows.

    ``backward`` says that all are in mirror image. The energies, which look at the past, are then smeared to the wrong
    side, and made anew from the samples.
    ``first`` and ``last`` are the blocks of each burst in its ``row``; ``bin_`` in samples, ``block`` in bins.
    """
    before = np.full(len(row), -1)
    order = np.lexsort((first, row))
    same = row[order][1:] == row[order][:-1]
    before[order[1:][same]] = last[order[:-1][same]]
    lengths = block, bin_
    block_s = block * bin_ / rate_hz
    strongest = np.array([ln_z[r, a : b + 1].max() for r, a, b in zip(row, first, last, strict=True)])
    strong = strongest * DB_PER_LN >= strong_from_db(rate_hz, p)
    held = np.full(len(row), -1)
    for one in np.flatnonzero(last - first + 1 <= np.where(strong, BRIEF_STRONG_S, BRIEF_S) / block_s):
        own = y[row[one], first[one] * block : (last[one] + 1) * block]
        means = own.reshape(-1, block).mean(axis=1)
        if np.count_nonzero(own > KNOCK_SHARE * means.max()) * bin_ / rate_hz >= KNOCK_S:
            held[one] = first[one] + int(means.argmax())
    found = np.empty((3, len(row)))
    for which, function in (
        (np.flatnonzero(~strong), partial(_anew, samples, False) if backward else partial(_weak, y, ln_z)),
        (np.flatnonzero(strong), partial(_anew, samples, True)),
    ):
        for start in range(0, len(which), EDGES):
            k = which[start : start + EDGES]
            found[:, k] = function(row[k], first[k], last[k], before[k], held[k], p, lengths, rate_hz)
    return np.clip(found, (before + 1) * block_s, (last + 1) * block_s)


def _weak(
    y: Floats, ln_z: Floats, row: Ints, first: Ints, last: Ints, before: Ints, held: Ints, p: RampParameters,
    lengths: tuple[int, int], rate_hz: float,
) -> Array:  # fmt: skip
    """From the energies; ``before`` is the last block of the burst before each, or -1; ``held`` the block that is held
    on in one that is brief, or -1."""
    block, bin_ = lengths
    bin_s = bin_ / rate_hz
    around = round(AROUND_S / (block * bin_s))
    blocks = first[:, None] + np.arange(-around, around + 1)
    bins = (first * block)[:, None] + np.arange(-around * block, (around + 1) * block)
    hold = max(1, round(HELD_S / (block * bin_s)))
    on = (held[:, None] >= 0) & (blocks > held[:, None]) & (blocks <= held[:, None] + hold)
    known = (blocks > before[:, None]) & (blocks < ln_z.shape[1]) | on
    blocks = np.where(on, held[:, None], blocks)
    near_ln_z = np.where(known, ln_z[row[:, None], np.clip(blocks, 0, ln_z.shape[1] - 1)], 0)
    known = np.repeat(known, block, axis=1)
    bins = np.where(np.repeat(on, block, axis=1), held[:, None] * block + bins % block, bins)
    near_y = np.where(known, y[row[:, None], np.clip(bins, 0, y.shape[1] - 1)], 1)
    centre = np.full(len(row), around)
    nu = np.full(len(row), p.temper)
    found, _ = locate(near_y, near_ln_z, centre, nu, SHARP, block, bin_s, rate_hz, p)
    return (found + (first - around) * block) * bin_s


def _anew(
    samples: Samples, clear: bool, row: Ints, first: Ints, last: Ints, before: Ints, held: Ints, p: RampParameters,
    lengths: tuple[int, int], rate_hz: float,
) -> Array:  # fmt: skip
    """From the samples, ringing taken out where ``clear``: a burst may then begin later than its first block."""
    per_block = lengths[0] * lengths[1]
    around, beyond = round(AROUND_S * rate_hz / per_block), round(BEYOND_S * rate_hz / per_block)
    rest = samples.rest[row, : round(REST_S * rate_hz)]
    length = (2 * around + beyond) * per_block
    start = (first - around) * per_block
    parts = [samples.around(r, a, a + length) for r, a in zip(row.tolist(), start.tolist(), strict=True)]
    for part, loud, a in zip(parts, held.tolist(), start.tolist(), strict=True):
        if loud >= 0:
            _hold(part, loud * per_block - a, per_block, round(HELD_S * rate_hz))
    x = np.concatenate([rest, np.stack(parts)], axis=1)
    model = excess_without_ringing if clear else excess
    s = model(x, rate_hz, slice(0, rest.shape[1]), slice(rest.shape[1], x.shape[1]), p)
    # blocks of the model may be of another length, and its first ones hold the rest
    bin_s = s.bin / rate_hz
    at_s = start / rate_hz - rest.shape[1] / rate_hz
    blocks = at_s[:, None] + np.arange(s.blocks) * s.block * bin_s
    floor_s = (before + 1) * per_block / rate_hz
    known = (blocks >= np.maximum(floor_s, np.maximum(start, 0) / rate_hz)[:, None] - 1e-9) & (
        blocks < samples.n / rate_hz
    )
    ln_z = np.where(known, s.ln_z, 0).astype(np.float32)
    y = np.where(np.repeat(known, s.block, axis=1), s.y, 1).astype(np.float32)
    begins, until = ((blocks < (part * per_block / rate_hz)[:, None]).sum(axis=1) for part in (first, last + 1))
    if clear:
        at = np.maximum(begins - 1, 0)
        begins = begins_from(replace(s, marks=np.where(known, s.marks, -1)), at, p, at)
        hot = (s.marks > 0) & known & (np.arange(s.blocks) >= at[:, None])
        begins = np.where(begins < until, begins, np.where(hot.any(axis=1), hot.argmax(axis=1), at))
    s = replace(s, y=y, ln_z=ln_z)
    if clear:
        y = without_clicks(s, begins, s.block * bin_s)
    nu = np.full(len(row), p.temper)
    found, _ = locate(y, ln_z, begins, nu, SHARP, s.block, bin_s, rate_hz, p)
    found = found * bin_s + at_s
    if clear:
        found[:2] -= delay_s(s, begins, rate_hz)
    return found


def _hold(x: Array, start: int, length: int, more: int) -> None:
    """Continue the ``length`` samples from ``start`` on for ``more`` samples, by themselves backward and forward."""
    own = x[start : start + length].copy()
    both = np.concatenate([own[::-1], own])
    stop = min(start + length + more, len(x))
    x[start + length : stop] = np.resize(both, stop - start - length)
