"""The posterior over the onset of activity whose SD rises by one of several profiles: the heart of "ramp".

Its equations are in :mod:`~emgreview.signal.onset.ramp`. Energies y are (rows, bins), 1 on average in the rest; work is
done in steps of some bins.

    posterior                        cumulative, over onsets, with the mean rise
    profiles, levels_db, PROFILES    what is compared
    freedom                          degrees of freedom of a bin
    quantile, cumulative             of a posterior
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
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
    as trains of motor units begin, or with a ``power`` of time above 1, gently; with ``power`` 0 evenly in dB from its
    jump, as recruitment by size gives.

    Prior weights: in the ``interval`` of an onset, in the ``onset`` itself, in the interval of an offset (``ending``),
    and in the ``offset`` itself.
    """

    rise_s: float
    interval: float
    onset: float
    ending: float = 0.0
    offset: float = 0.0
    jump: float = 0.0
    power: float = 1.0


PROFILES = (
    *(Profile(0.004, 8.0, 1.5, 1.0, 1.0), Profile(0.012, 4.0, 1.2, 1.0, 1.0), Profile(0.025, 2.0, 1.0, 1.0, 1.0)),
    *(Profile(rise_s, 1.0, 1.0, 1.0, 1.0) for rise_s in (0.05, 0.09, 0.16, 0.3)),
    *(Profile(0.16, 1.0, 2.5, jump=0.12), Profile(0.3, 1.0, 2.5, jump=0.15)),
    *(Profile(0.05, 1.2, 0.01, power=2.0), Profile(0.09, 1.2, 0.01, 0.5, 0.01, power=2.0)),
    *(Profile(rise_s, 1.2, 0.1, 0.5, 0.1, power=2.0) for rise_s in (0.16, 0.3)),
    Profile(0.5, 1.2, 0.01, 0.5, 0.01, power=2.0),
    *(Profile(rise_s, 2.5, 1.0, 0.5, 0.02, jump, 0.0) for rise_s, jump in ((0.12, 0.08), (0.2, 0.12), (0.2, 0.05))),
    *(Profile(0.3, 2.5, 1.0, 0.5, 0.02, jump, 0.0) for jump in (0.06, 0.015)),
    *(Profile(rise_s, weight, 0.03, power=3.0) for rise_s, weight in ((0.07, 0.4), (0.11, 1.0))),
    *(Profile(rise_s, 2.0, 0.03, power=3.0) for rise_s in (0.17, 0.25, 0.38)),
)
"""Weights were chosen by measuring. Sharp rises weigh more in the interval because many slow ones resemble one another
where activity is weak. Those that begin as a cube hardly move the onset, but let the interval reach back to a start
that lies in the noise. Where one profile alone fits, it decides, however little it weighs."""

JUMP_S = 0.006

SEEN_DB = 0.0
"""Growth evenly in dB is compared only at levels of the plateau at which its start stands out so far over the rest: of
one that does not, the onset would be told from growth that nobody sees, and far too early."""

PLAIN, SHARP = 0, 1
"""The posterior, and its cube: which one's median is nearer the truth was measured, onsets and offsets apart."""

FREEDOM_HZ = 727.0
"""Degrees of freedom a second of white noise averaged over 2 ms at 2 kHz: 2000 / (1 + 2 (0.75² + 0.5² + 0.25²))."""

OUTSIDE = np.float32(1e9)
"""Cost of an onset outside the signal."""

LEAST = -28.0
"""Least logarithm of a likelihood over the greatest: its cube is still a normal float32."""

GROWTH = 12
"""How finely activity is looked at: after so many steps two are taken as one, and so on."""

FREEDOM_SHARE = 0.7
"""Degrees of freedom of a sample at low rates, where neighbours of a residual are not independent either."""


def posterior(
    y: Floats, start: Ints, stop: Ints, nu: Array, cap: Floats, band: int, step: int, candidates: int, wide: int,
    middle: int, bin_s: float, least: Ints, *, rise: bool = False,
) -> tuple[Array, Array, Array]:  # fmt: skip
    """Cumulative posterior over the onset, and the one whose median is taken: itself with ``middle`` PLAIN, its cube
    with SHARP; both (rows, candidates + 1). The geometric mean rise in seconds, (rows,), is NaN without ``rise``.

    Works in steps of ``step`` bins. The common stretch is ``wide`` steps from bin ``start``, cut at the last whole step
    before bin ``stop`` and at the end of the row; the candidates are its first ``candidates`` edges, but none before
    bin ``least``. ``nu`` is in degrees of freedom a bin.
    """
    n, bins = y.shape
    begins = np.clip(-((start - least) // step), 0, candidates - 1)
    ends = np.clip((stop - start) // step, 0, wide)
    used = max(1, int(ends.max(initial=0)))
    since = np.arange(used * step)
    at = start[:, None] + since
    window = np.take_along_axis(y, np.clip(at, 0, bins - 1), axis=1)
    window *= (at >= least[:, None]) & (since < step * ends[:, None])
    if step > 1:
        window = (window.reshape(-1, step) @ np.full(step, 1 / step, np.float32)).reshape(n, used)

    shapes = profiles(step * bin_s, candidates, wide, middle, band)
    place = np.arange(candidates)
    within = (place >= begins[:, None]) & (place <= np.maximum(ends, begins)[:, None])
    edges = [edge for edge in shapes.edges[:-1] if edge < used] + [used]
    energy = _sums(window, edges, candidates)
    before = np.zeros((n, candidates), np.float32)
    known = min(used, candidates - 1)
    np.cumsum(np.minimum(window[:, :known], cap[:, None]), axis=1, out=before[:, 1 : known + 1])
    before = np.where(within, before, OUTSIDE)

    cost = shapes.table[:, : len(edges) - 1] @ energy
    cost += shapes.ln_v[ends]
    cost += before[:, None]
    cost -= cost.min(axis=(1, 2), keepdims=True)
    cost *= (-0.5 * step * nu).astype(np.float32)[:, None, None]
    likelihood = np.exp(np.maximum(cost, np.full_like(cost, LEAST), out=cost), out=cost)

    plain, sharp = shapes.weights
    cdf = _summed((plain @ likelihood) * within)
    rise_s = np.full(n, np.nan)
    if rise:
        by_rise = likelihood @ np.ones(candidates, np.float32)  # a sum over the last axis, faster
        rise_s = np.exp(by_rise @ np.log(shapes.rises_s) / by_rise.sum(axis=1))
    if middle == SHARP:
        cube = np.square(likelihood)
        cube *= likelihood
        likelihood = cube
    return cdf, _summed((sharp @ likelihood) * within), rise_s


def _sums(window: Floats, edges: Sequence[int], candidates: int) -> Floats:
    """Sums of (rows, steps) over stretches between ``edges`` from each candidate on: (rows, stretches, candidates).
    Steps beyond the last count nothing."""
    n, steps = window.shape
    padded = np.zeros((n, steps + candidates + edges[-1] - edges[-2]), np.float32)
    padded[:, :steps] = window
    until = np.zeros((n, padded.shape[1] + 1))
    np.cumsum(padded, axis=1, out=until[:, 1:])
    out = np.empty((n, len(edges) - 1, candidates), np.float32)
    size, total = 1, padded
    for k, (first, last) in enumerate(pairwise(edges)):
        if last - first != size:
            size = last - first
            total = (until[:, size:] - until[:, :-size]).astype(np.float32)
        out[:, k] = total[:, first : first + candidates]
    return out


def _summed(mass: Floats) -> Array:
    cdf = np.zeros((len(mass), mass.shape[1] + 1))
    np.cumsum(mass, axis=1, out=cdf[:, 1:])
    cdf /= cdf[:, -1:]
    return cdf


def levels_db(band: int) -> Array:
    """Levels of the plateau over the rest that are compared where the strongest block lies in class ``band``."""
    return np.arange(max(0.0, CLASS_DB * band - BELOW_DB), CLASS_DB * band + ABOVE_DB + 1, LEVEL_STEP_DB)


@dataclass(frozen=True, eq=False, slots=True)
class Shapes:
    """What the likelihood is made of, for every profile at every level that is compared: the cases.

    ``table`` (cases, stretches) holds the mean 1/v of the stretches between ``edges``, in steps after an onset, which
    are single steps first and then longer, by a ``GROWTH``-th of the time since the onset. ``ln_v`` (wide + 1, cases,
    candidates) holds, by where the common stretch ends, the sum of ln v from each candidate to there. ``rises_s`` is
    of each case; ``weights`` (2, cases) are those of the plain posterior and of the one whose median is taken.
    """

    edges: tuple[int, ...]
    table: Floats
    ln_v: Floats
    rises_s: Array
    weights: Floats


@lru_cache(maxsize=64)
def profiles(step_s: float, candidates: int, wide: int, middle: int, band: int) -> Shapes:
    onset = middle == SHARP
    rows = [
        (q.rise_s, q.jump, q.power, level_db, *((q.interval, q.onset) if onset else (q.ending, q.offset)))
        for q in PROFILES
        if q.rise_s >= 0.4 * step_s and (q.interval if onset else q.ending) > 0
        for level_db in levels_db(band)
        if q.power > 0 or level_db + 20 * math.log10(q.jump) >= SEEN_DB
    ]
    rises_s, jumps, powers, levels = np.array([row[:4] for row in rows]).T[..., None]
    edges = [0]
    while edges[-1] < wide:
        edges.append(min(wide, edges[-1] + max(1, edges[-1] // GROWTH)))
    t = (np.arange(wide) + 0.5) * step_s
    u = np.minimum(t / rises_s, 1)
    rho = u**powers
    rho += jumps * (1 - rho) * np.minimum(t / JUMP_S, 1)
    rho = np.where(powers > 0, rho, np.maximum(jumps, 1e-3) ** (1 - u))
    v = 1 + np.square(rho) * 10 ** (levels / 10)
    table = np.add.reduceat(1 / v, edges[:-1], axis=1) / np.diff(edges)
    until = np.cumsum(np.log(v), axis=1)  # backward, nothing before the onset: candidate c of stretch e is e - c steps
    backward = np.pad(until[:, ::-1], ((0, 0), (0, candidates))).astype(np.float32)
    ln_v = sliding_window_view(backward, candidates, axis=1).transpose(1, 0, 2)[::-1]
    weights = np.array([row[4:] for row in rows], np.float32).T
    return Shapes(tuple(edges), table.astype(np.float32), ln_v, rises_s[:, 0], weights)


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
