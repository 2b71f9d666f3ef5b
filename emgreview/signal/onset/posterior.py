"""The posterior over the onset of activity whose SD rises by one of several profiles: the heart of "ramp".

Its equations are in :mod:`~emgreview.signal.onset.ramp`. Energies y are (rows, bins), 1 on average in the rest; work is
done in steps of some bins.

    posterior                        cumulative, over onsets, with the mean rise
    profiles, levels_db, PROFILES    what is compared
    freedom                          degrees of freedom of a bin
    quantile, cumulative             of a posterior
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating]
Floats = NDArray[np.float32]
Ints = NDArray[np.intp]

LEVEL_STEP_DB, CLASS_DB, BELOW_DB, ABOVE_DB = 4.0, 8.0, 16.0, 8.0
"""Levels of the plateau that are compared: their distance, and how far they reach below and above the strongest block,
whose level is taken in classes."""


@dataclass(frozen=True, slots=True)
class Profile:
    """How the SD of activity rises: in ``rise_s``, with a first ``jump`` to that share of the plateau within ``JUMP_S``
    as trains of motor units begin, or with a ``power`` of time above 1, gently.

    Prior weights: in the ``interval`` of an onset, in the ``onset`` itself, and in an ``offset`` and its interval.
    """

    rise_s: float
    interval: float
    onset: float
    offset: float = 0.0
    jump: float = 0.0
    power: float = 1.0


PROFILES = (
    *(Profile(0.004, 8.0, 1.5, 1.0), Profile(0.012, 4.0, 1.2, 1.0), Profile(0.025, 2.0, 1.0, 1.0)),
    *(Profile(rise_s, 1.0, 1.0, 1.0) for rise_s in (0.05, 0.09, 0.16, 0.3)),
    Profile(0.5, 1.0, 0.01),
    *(Profile(0.09, 1.0, 2.5, jump=0.12), Profile(0.16, 1.0, 2.5, jump=0.12), Profile(0.3, 1.0, 2.5, jump=0.15)),
    *(Profile(rise_s, 0.8, 0.01, power=2.0) for rise_s in (0.05, 0.09)),
    *(Profile(rise_s, 0.8, 0.1, power=2.0) for rise_s in (0.16, 0.3)),
    Profile(0.5, 0.8, 0.01, power=2.0),
)
"""Weights were chosen by measuring. Sharp rises weigh more in the interval because many slow ones resemble one another
where activity is weak. No weight is 0: where one profile alone fits, it decides."""

JUMP_S = 0.006

PLAIN, SHARP = 0, 1
"""The posterior, and its cube: which one's median is nearer the truth was measured, onsets and offsets apart."""

FREEDOM_HZ = 727.0
"""Degrees of freedom a second of white noise averaged over 2 ms at 2 kHz: 2000 / (1 + 2 (0.75² + 0.5² + 0.25²))."""

OUTSIDE = np.float32(1e9)
"""Cost of an onset outside the signal."""

FREEDOM_SHARE = 0.7
"""Degrees of freedom of a sample at low rates, where neighbours of a residual are not independent either."""


def posterior(
    y: Floats, start: Ints, stop: Ints, nu: Array, cap: Floats, band: int, step: int, candidates: int, wide: int,
    middle: int, bin_s: float,
) -> tuple[Array, Array]:  # fmt: skip
    """Cumulative posterior, and its cube, over the onset (2, rows, candidates + 1); geometric mean rise in seconds.

    Works in steps of ``step`` bins. The common stretch is ``wide`` steps from bin ``start``, cut at bin ``stop`` and at
    the ends of the row; the candidates are its first ``candidates`` edges. ``nu`` is in degrees of freedom a bin.
    """
    n, bins = y.shape
    at = start[:, None] + np.arange(wide * step)
    window = np.take_along_axis(y, np.clip(at, 0, bins - 1), axis=1)
    window *= (at >= 0) & (at < stop[:, None])
    if step > 1:
        window = (window.reshape(-1, step) @ np.full(step, 1 / step, np.float32)).reshape(n, wide)
    begins = np.clip(-(start // step), 0, candidates - 1)
    ends = np.clip((stop - start) // step, 0, wide)

    table, ln_v, rises_s, weights = profiles(step * bin_s, candidates, wide, middle, band)
    cost = window @ table
    cost += ln_v[ends]
    cost = cost.reshape(n, candidates, -1)
    before = np.cumsum(np.pad(np.minimum(window, cap[:, None]), ((0, 0), (1, 0))), axis=1)[:, :candidates]
    place = np.arange(candidates)
    within = (place >= begins[:, None]) & (place <= np.maximum(ends, begins)[:, None])
    cost += np.where(within, before, OUTSIDE)[..., None]
    cost -= cost.min(axis=(1, 2), keepdims=True)
    cost *= (-0.5 * step * nu).astype(np.float32)[:, None, None]
    likelihood = np.exp(np.maximum(cost, -60, out=cost), out=cost)

    plain, sharp = weights
    mass = np.stack([likelihood @ plain, (likelihood * likelihood * likelihood) @ sharp]) * within
    cdf = np.pad(np.cumsum(mass, axis=2, dtype=np.float64), ((0, 0), (0, 0), (1, 0)))
    by_rise = likelihood.sum(axis=1).reshape(n, len(rises_s), -1).sum(axis=2)
    rise_s = np.exp(by_rise @ np.log(rises_s) / by_rise.sum(axis=1))
    return cdf / cdf[..., -1:], rise_s


def levels_db(band: int) -> Array:
    """Levels of the plateau over the rest that are compared where the strongest block lies in class ``band``."""
    return np.arange(max(0.0, CLASS_DB * band - BELOW_DB), CLASS_DB * band + ABOVE_DB + 1, LEVEL_STEP_DB)


@lru_cache(maxsize=64)
def profiles(step_s: float, candidates: int, wide: int, middle: int, band: int) -> tuple[Floats, Floats, Array, Floats]:
    """What the likelihood is made of, for all onsets, profiles and levels.

    1/v from the onset on, 0 before it, as (steps, candidates × profiles × levels); sums of ln v over the first 0, 1,
    2 … steps; the rise of each profile; prior weights (2, profiles × levels) of the plain posterior and of its cube.
    With PLAIN those of offsets.
    """
    onset = middle == SHARP
    kept = [q for q in PROFILES if q.rise_s >= 0.4 * step_s and (q.interval + q.onset if onset else q.offset) > 0]
    rises_s, jumps, powers = np.array([(q.rise_s, q.jump, q.power) for q in kept]).T
    levels = levels_db(band)
    since = np.arange(wide)[:, None] - np.arange(candidates)
    t = np.maximum((since[..., None] + 0.5) * step_s, 0)
    rho = np.minimum(t / rises_s, 1)
    rho = rho**powers
    rho += jumps * (1 - rho) * np.minimum(t / JUMP_S, 1)
    v = 1 + rho[..., None] ** 2 * 10 ** (levels / 10)
    table = np.where((since >= 0)[..., None, None], 1 / v, 0.0).reshape(wide, -1).astype(np.float32)
    ln_v = np.pad(np.cumsum(np.log(v).reshape(wide, -1), axis=0), ((1, 0), (0, 0))).astype(np.float32)
    weights = np.array([(q.interval, q.onset) if onset else (q.offset, q.offset) for q in kept], np.float32).T
    weights = np.repeat(weights, len(levels), axis=1)
    for array in (table, ln_v, rises_s, weights):
        array.setflags(write=False)
    return table, ln_v, rises_s, weights


def quantile(cdf: Array, q: Array | float) -> Array:
    """Where (rows, candidates + 1) reaches q, in steps; the mass of an edge lies half a step to each side of it."""
    q = np.broadcast_to(np.asarray(q, dtype=float), cdf.shape[:1])
    i = np.clip((cdf <= q[:, None]).sum(axis=1) - 1, 0, cdf.shape[1] - 2)
    rows = np.arange(len(cdf))
    below, above = cdf[rows, i], cdf[rows, i + 1]
    return i + np.clip((q - below) / np.maximum(above - below, 1e-9), 0, 1) - 0.5


def cumulative(cdf: Array, at: Array) -> Array:
    """The posterior mass up to ``at`` steps: the inverse of :func:`quantile`."""
    position = np.clip(at + 0.5, 0, cdf.shape[1] - 1 - 1e-9)
    i = position.astype(int)
    rows = np.arange(len(cdf))
    return cdf[rows, i] + (position - i) * (cdf[rows, i + 1] - cdf[rows, i])


def freedom(bin_s: float, rate_hz: float) -> float:
    """Degrees of freedom of a bin: no more than ``FREEDOM_SHARE`` of its samples."""
    return min(FREEDOM_HZ * bin_s, FREEDOM_SHARE * bin_s * rate_hz)
