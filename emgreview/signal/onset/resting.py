"""How strong a rest is that nobody stated, once the bursts beside it are known.

A zero-phase filter carries a strong burst into the gap before and behind it. Where bursts are dense, hardly a stretch
is free of it, and levels over such a rest are too low. What it carries falls steeply (by 10 dB in some 25 ms, default
filter, 2 kHz): so the rest is taken as far from bursts as there is enough of it, and where it still falls there, nobody
can tell how strong it is.

Powers are (rows, blocks), relative to the rest that was found.

    without_bursts      the rest that was found, without edges of bursts and heart beats
    rest_power          the same or, where that is lower, what lies farthest from bursts; and up to which level of these
                        it holds
    hollow              bursts with a hole in them
    uneven              signals of levels so far apart that a list without any burst is wrong
"""

import math

import numpy as np
from numpy.typing import NDArray

from emgreview.signal.onset.common import Array, Places
from emgreview.signal.onset.quiet import DB_PER_LN, NO_SIGNAL_DB, NOTHING, Floats

EDGE_SPREADS = 3.0
"""In noise of one level, which has its upper quarter within twice that spread, hardly a block lies beyond."""

FARTHEST_S = 0.16
"""Nothing is carried farther: 60 dB fall to the rest within 0.1 s (default filter, 2 kHz)."""

ENOUGH_S, FEWEST = 0.5, 8
"""So much rest must lie as far from bursts as is looked, or a quarter of what there is, and so many blocks (our own
choice: at 2 kHz the level of 0.5 s is known within 0.3 dB)."""

LOWER_DB, FALLS_DB = 1.5, 2.0
"""By how much what lies farthest must be below the rest that was found to stand for it, and below what lies one block
nearer to still fall: more than chance makes of them at 200 Hz."""

NOTHING_DB = 100.0
"""A block so far below the loudest holds no signal, not even noise."""

WEAK_DB = 15.0
"""What a burst of no more than that carries ahead is far below the rest (our own choice)."""


FALL_DB_PER_S, SLOW_HZ = (800.0, 400.0), 400.0
"""How fast what is carried ahead falls, at least, by the default filter; the second below a rate of ``SLOW_HZ`` (20 to
90 Hz). Measured on bursts of white noise at 200 Hz, 500 Hz and 2 kHz."""

HOLLOW_DB, CORE_DB = 25.0, 10.0
"""A burst whose level falls so far below its mean, and comes back to within the second, is listed as one and may be two
(our own choice: what a zero-phase filter rings into a gap, or a weak activity between two strong ones)."""

UNEVEN_DB, UNEVEN_BETWEEN = 15.0, (0.05, 0.85)
"""Between these shares of the blocks of a stationary noise lie 12 dB at most, at 200 Hz (chi-squared, 3 degrees of
freedom); heart beats take less than the rest of the blocks."""


def without_bursts(power: Floats) -> Array:
    """Power of a rest that was found, (rows, blocks), without what of bursts is in it, (rows, 1).

    A stretch at the edge of a burst, or where a zero-phase filter smears a strong one, is far above the rest and may
    still be among its stretches, above all where bursts are dense. Left out are blocks that stand further above the
    lower quartile than ``EDGE_SPREADS`` times what lies between it and the lowest twentieth.
    """
    ln = np.log(np.maximum(power, NOTHING))
    least, lower = np.quantile(ln, [0.05, 0.25], axis=1)[:, :, np.newaxis]
    kept = ln <= lower + EDGE_SPREADS * (lower - least)
    level: Array = np.sum(np.where(kept, power, 0.0), axis=1, dtype=np.float64, keepdims=True)
    return level / np.count_nonzero(kept, axis=1, keepdims=True)


def rest_power(
    found: Floats, power: Floats, row: Places, first: Places, last: Places, rate_hz: float, block_s: float
) -> tuple[Array, Array]:
    """Power of the rest of each row, (rows, 1), and up to which level of bursts in dB it is the rest, (rows,): infinite
    where gaps between bursts are long.

    ``found`` are the blocks of the rest that was found, ``power`` those of the signal; bursts lie in the blocks
    ``first`` to ``last`` of their ``row``.
    """
    level = without_bursts(found)
    holds_to_db = np.full(len(power), np.inf)
    most = max(2, round(FARTHEST_S / block_s))
    for one in np.unique(row):
        mine = row == one
        away = _distance(power.shape[1], first[mine], last[mine])
        blocks = power[one].astype(np.float64)
        away[blocks < level[one, 0] * 10 ** (NO_SIGNAL_DB / 10)] = 0
        enough = max(FEWEST, min(round(ENOUGH_S / block_s), int(np.count_nonzero(away)) // 4))
        counts = [int(np.count_nonzero(away >= least)) for least in range(1, most + 1)]
        reach = sum(count >= enough for count in counts)
        far = float(without_bursts(blocks[np.newaxis, away >= reach])[0, 0]) if reach else np.inf
        if far < level[one, 0] * 10 ** (-LOWER_DB / 10):
            level[one, 0] = far
        if reach == most:
            continue
        falls = reach > 1 and np.median(blocks[away == reach - 1]) > 10 ** (FALLS_DB / 10) * np.median(
            blocks[away >= reach]
        )
        carried = FALL_DB_PER_S[rate_hz < SLOW_HZ] * (reach - 0.5) * block_s
        holds_to_db[one] = WEAK_DB if falls or not reach else max(WEAK_DB, carried)
    return level, holds_to_db


def hollow(power: Array, row: Places, first: Places, last: Places, gap: float) -> NDArray[np.bool_]:
    """Which bursts, in the blocks ``first`` to ``last`` of their ``row``, hold a hole of ``gap`` blocks or more: they
    would be two if their edges had been found."""
    shortest = max(1, math.ceil(gap))
    found = np.zeros(len(row), dtype=bool)
    for k in range(len(row)):
        blocks = power[row[k], first[k] : last[k] + 1]
        core = np.flatnonzero(blocks >= blocks.mean() * 10 ** (-CORE_DB / 10))
        low = blocks[core[0] : core[-1]] < blocks.mean() * 10 ** (-HOLLOW_DB / 10) if len(core) else np.zeros(0, bool)
        found[k] = len(low) >= shortest and (np.convolve(low, np.ones(shortest), "valid") == shortest).any()
    return found


def uneven(power: Array, ln_z: Array) -> NDArray[np.bool_]:
    """Which rows of blocks, in which no burst was found, hold levels that are ``UNEVEN_DB`` apart, (rows,), as they are
    or, under hum, whitened (``ln_z``); blocks without any signal aside."""
    found = np.zeros(len(power), dtype=bool)
    for k, blocks in enumerate(power):
        known = blocks > blocks.max(initial=0.0) * 10 ** (-NOTHING_DB / 10)
        if known.any():
            spans = (np.quantile(ln[known], UNEVEN_BETWEEN) for ln in (np.log(np.maximum(blocks, NOTHING)), ln_z[k]))
            found[k] = any((high - low) * DB_PER_LN > UNEVEN_DB for low, high in spans)
    return found


def _distance(n: int, first: Places, last: Places) -> Places:
    """How many blocks each of ``n`` lies from the nearest burst, 0 within one."""
    at = np.arange(n)
    order = np.argsort(first)
    first, last = first[order], np.maximum.accumulate(last[order])
    place = np.searchsorted(first, at, side="right")
    since = np.where(place > 0, at - last[np.maximum(place - 1, 0)], n)
    until = np.where(place < len(first), first[np.minimum(place, len(first) - 1)] - at, n)
    return np.maximum(np.minimum(since, until), 0)
