"""Strong activity: what a zero-phase band-pass rings ahead of an onset is taken away.

A filter that runs backward answers a burst before it begins: ahead of an onset lies a sum of the filter's modes, each
growing as exp(s t) up to the onset, s being minus a pole of the filter. At 40 dB over the rest such ringing stands out
of it for tens of milliseconds, at 60 dB for a tenth of a second and more, at low sampling rates longer still. Each
mode obeys a recursion of its own past,

    x(t) = exp(s q) x(t - q),   so that   prod_s [1 - exp(s q) B^q] x = 0   up to the onset, B^q being a delay of q

whatever the amplitudes. That product is a short filter that looks at the past alone: it ends the ringing, and answers
the burst itself from its first sample on. Where modes are not those assumed it still weakens them, as a change over q
weakens what is slow; it cannot make an onset earlier than it was. The rest's autoregression, fitted after it, flattens
the spectrum again, so that energy is not delayed.

Nobody says how x was filtered. At 1500 Hz and more one assumed band served all corners tried: 5 to 40 Hz below, 300 to
1000 Hz above, orders 1, 2 and 4. Below that rate the upper corner lies close to half of it and its modes last long, so
several bands are tried, and each trial takes the one whose energy rises out of the rest clearly last: as all of them
look at the past alone, none can rise after the onset. No paper is followed; the recursion is that of Prony's method.

    excess_without_ringing     the rest model of :mod:`~emgreview.signal.onset.quiet`, ringing taken out
    assumed_bands, unringing     the bands, by sampling rate; the filter for one of them
"""

from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from emgreview.signal.onset.quiet import (
    Excess,
    QuietParameters,
    grid,
    over_rest,
    sums,
    whitening_taps,
)
from emgreview.signal.onset.whitening import filtered

Array = NDArray[np.floating]
Floats = NDArray[np.float32]

LAG_S = 0.0005
ORDER, LOW_HZ, HIGH_HZ = 4, 20.0, 450.0
FEW_HZ, FEWER_HZ = 1500.0, 700.0
"""Rates below which several upper corners are tried, and several lower ones: ``HIGH_SHARES`` of the rate, and
``LOWS_HZ``, the usual one first."""

LOWS_HZ = (20.0, 10.0, 30.0)
HIGH_SHARES = (0.45, 0.4, 0.475)

AHEAD_S, BIN_S, SMOOTH_S, CHANGE_S = 0.0015, 0.001, 0.0005, 0.001
"""Of strong activity: how far the filter looks ahead, its bins, and the average and change of its residual.
Shorter than those of weak activity, which needs them against noise."""

FEWEST_LAGS = 4
"""Of the autoregression, at low rates."""

RISEN, RISEN_SAMPLES, MARGIN_SAMPLES = 12.0, 3, 4
"""Energy over the rest that a mean over so many samples must pass for activity to have risen out of it; and by how much
later it must rise with another band than with the usual one."""


def assumed_bands(rate_hz: float) -> tuple[tuple[float, float], ...]:
    """Bands (low, high) in Hz that x may have been passed through, the usual one first."""
    if rate_hz >= FEW_HZ:
        return ((LOW_HZ, min(HIGH_HZ, 0.45 * rate_hz)),)
    lows_hz = LOWS_HZ if rate_hz < FEWER_HZ else LOWS_HZ[:1]
    return tuple((low_hz, share * rate_hz) for low_hz in lows_hz for share in HIGH_SHARES)


@lru_cache(maxsize=64)
def unringing(rate_hz: float, low_hz: float, high_hz: float) -> Floats:
    """Taps (1, k) of the filter that ends the ringing of a band-pass; their sizes sum to 1."""
    poles = signal.butter(ORDER, [low_hz, high_hz], "bandpass", fs=rate_hz, output="zpk")[1]
    lag = max(1, round(LAG_S * rate_hz))
    factor = np.poly(poles**-lag).real
    taps = np.zeros((1, (len(factor) - 1) * lag + 1), np.float32)
    taps[0, ::lag] = factor / np.abs(factor).sum()
    taps.setflags(write=False)
    return taps


def excess_without_ringing(x: Array, rate_hz: float, rest: slice, search: slice, p: QuietParameters) -> Excess:
    """The model of trials (trials, samples) whose rest has mean 0 and SD 1; bins of ``BIN_S``."""
    p = replace(
        p,
        bin_s=min(p.bin_s, BIN_S),
        smooth_s=min(p.smooth_s, SMOOTH_S),
        lag_s=min(p.lag_s, CHANGE_S),
        memory_s=max(p.memory_s, FEWEST_LAGS / rate_hz),
    )
    bin_, block = grid(rate_hz, p)
    per_block = bin_ * block
    quiet = slice(-(-rest.start // per_block), rest.stop // per_block)
    search = slice(-(-search.start // per_block), search.stop // per_block)
    used = x.shape[1] // per_block * per_block
    x = np.ascontiguousarray(x, np.float32)
    power = sums(np.square(x[:, :used]), per_block) * np.float32(1 / per_block)
    before, quiet_samples = x[:, : rest.stop], rest.stop - rest.start
    tried = []
    for band in assumed_bands(rate_hz):
        ending = unringing(rate_hz, *band)
        taps = whitening_taps(filtered(before, ending, 0)[:, -quiet_samples:], rate_hz, p)[0]
        e = filtered(x, one_after_the_other(ending, taps), max(1, round(AHEAD_S * rate_hz)))[:, :used]
        tried.append(over_rest(sums(np.square(e), bin_), power, quiet, search, (bin_, block), p))
    if len(tried) == 1:
        return replace(tried[0], clear=True)
    rises = np.array([risen(s, RISEN_SAMPLES / bin_) for s in tried])
    rises[1:] -= max(1, round(MARGIN_SAMPLES / bin_))
    best = rises.argmax(axis=0)
    rows = np.arange(len(x))
    names = ("y", "ln_z", "marks", "spread", "gate")
    return replace(tried[0], clear=True, **{n: np.stack([getattr(s, n) for s in tried])[best, rows] for n in names})


def one_after_the_other(first: Floats, second: Floats) -> Floats:
    """Taps of two filters in a row, ``first`` (1, k) and ``second`` (trials, l): (trials, k + l - 1)."""
    out = np.zeros((len(second), first.shape[1] + second.shape[1] - 1), np.float32)
    for lag in np.flatnonzero(first[0]):
        out[:, lag : lag + second.shape[1]] += first[0, lag] * second
    return out


def risen(s: Excess, bins: float) -> NDArray[np.intp]:
    """The bin from which on the mean of ``bins`` stays above the rest up to the strongest block, (trials,)."""
    blocks = np.arange(s.blocks)
    inside = (blocks >= s.search.start) & (blocks < s.search.stop)
    peak = np.where(inside, s.ln_z, -np.inf).argmax(axis=1) * s.block
    length = max(1, round(bins))
    total = np.cumsum(np.pad(s.y, ((0, 0), (1, length - 1)), mode="edge"), axis=1, dtype=np.float64)
    total = np.pad(total, ((0, 0), (0, 1)), mode="edge")
    mean = (total[:, length : length + s.y.shape[1]] - total[:, : s.y.shape[1]]) / length
    low = (mean <= RISEN) & (np.arange(s.y.shape[1]) < peak[:, None])
    return s.y.shape[1] - 1 - low[:, ::-1].argmax(axis=1)
