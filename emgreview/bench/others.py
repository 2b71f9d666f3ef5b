"""Trials that do not share what the default method assumes: other motor units, restless rests.

The trials of :mod:`~emgreview.bench.recipes` were simulated with one law of sizes, rests that hardly wander, and rises
near those the method compares. Here, at 2000 Hz unless something else is said:

    trains      motor units of other number and size (:data:`POOLS`) with other potentials and another drive than
                :mod:`emgreview.simulation`: the drive is a straight line, thresholds are spread evenly, each unit fires
                at a steady rate of its own with gamma intervals, potentials are differences of two pulses
    restless    rest whose level over 100 ms wanders by 1.5 dB (SD), as real rest does; the simulator's 0.67 is chance
                alone. By a slow gain, or by single motor units that fire
    on_restless    simulated bursts (:func:`emgreview.simulation.simulate`) on such rest, or on real rest of the open
                recordings from which nothing was left out because a method had fired (1000 Hz)

Truth, level and shapes as in :mod:`~emgreview.bench.recipes`. Recipes of our own; nothing here supports a claim about
physiology.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from emgreview.bench.recipes import (
    CUE_S,
    LENGTH_S,
    NOISE_UV,
    POOL_TRIALS,
    RATE_HZ,
    SPLICE_RATE_HZ,
    Forearm,
    Made,
    cut,
    joined,
    moments,
    scaled,
)
from emgreview.simulation import rest_noise, simulate
from emgreview.simulation.pool import place

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Pool:
    """``units`` (fewest, most) whose sizes spread by ``spread`` in ln; ``order`` of recruitment by size: 1 smallest
    first, -1 largest first, 0 by chance."""

    units: tuple[int, int]
    spread: float
    order: int


POOLS: Mapping[str, Pool] = MappingProxyType(
    {
        "few large units": Pool((6, 12), 0.3, 0),
        "few units, one far larger": Pool((15, 25), 1.2, 0),
        "many equal units": Pool((250, 350), 0.0, 0),
        "largest units last": Pool((60, 120), 1.5, 1),
        "largest units first": Pool((60, 120), 1.0, -1),
    }
)

RESTLESS_DB = 1.5
GAIN_DB, GAIN_HZ = 1.65, 3.0
"""SD and bandwidth of a slow gain that makes the level over 100 ms wander by ``RESTLESS_DB``, chance included."""
STRAY_UV, STRAY_HZ = 11.0, (4.0, 7.0)
"""Peak and rate of the single unit that does the same to noise of 3 µV RMS."""

RESTLESS = ("gain", "single units", "real rest")


@dataclass(frozen=True, eq=False)
class Potentials:
    """Pulses of some units: widths, distance and share of the second pulse, (units,), seconds; ``first_s`` and
    ``last_s`` are 10 % of the first and of the last peak, from the start."""

    width_s: Array
    apart_s: Array
    share: Array
    first_s: Array
    last_s: Array

    def at(self, since_s: Array, unit: NDArray[np.intp]) -> Array:
        """Values (entries, samples) at seconds from the start, largest size 1 or a little less."""
        w, d, c = (v[unit, None] for v in (self.width_s, self.apart_s, self.share))

        def pulse(u: Array) -> Array:
            return np.where(np.abs(u) < REACH, u * np.exp(0.5 - 0.5 * u * u), 0.0)

        return pulse(since_s / w - REACH) - c * pulse((since_s - d) / w - REACH)


REACH = 4.5
LONGEST_S = 2 * REACH * 0.0022 + 0.005


def potentials(rng: np.random.Generator, units: int) -> Potentials:
    width_s, apart_s = rng.uniform(0.0008, 0.0022, units), rng.uniform(0.001, 0.005, units)
    made = Potentials(width_s, apart_s, rng.uniform(0.6, 1.0, units), *np.zeros((2, units)))
    time_s = np.arange(0, LONGEST_S, 1e-5)
    shapes = np.abs(made.at(np.broadcast_to(time_s, (units, len(time_s))), np.arange(units)))
    for which, times in ((shapes, made.first_s), (shapes[:, ::-1], made.last_s)):
        inner = which[:, 1:-1]
        peak = (inner >= which[:, :-2]) & (inner > which[:, 2:]) & (inner > 0.05)
        limit = 0.1 * np.take_along_axis(inner, peak.argmax(axis=1)[:, None], axis=1)
        times[:] = time_s[(which > limit).argmax(axis=1)]
    made.last_s[:] = time_s[-1] - made.last_s
    return made


def trains(rng: np.random.Generator, n: int, snr_db: float, rise_s: float, *, kind: str) -> Made:
    """Bursts of other motor units; every 25 trials have another pool."""
    parts = []
    for start in range(0, n, POOL_TRIALS):
        count = min(POOL_TRIALS, n - start)
        onset_s, fall_s, stop_s = moments(rng, count, rise_s)
        burst, onset_s, offset_s = _pooled(rng, POOLS[kind], onset_s, rise_s, stop_s, fall_s)
        rest = rest_noise(burst.shape, RATE_HZ, rng, level_uv=NOISE_UV)
        parts.append(scaled(burst, rest, RATE_HZ, onset_s, offset_s, snr_db))
    return joined(parts)


def _pooled(
    rng: np.random.Generator, pool: Pool, start_s: Array, rise_s: float, stop_s: Array, fall_s: Array
) -> tuple[Array, Array, Array]:
    """Bursts (rows, samples), onsets and offsets (rows,) of one pool; the drive rises from ``start_s`` on."""
    units, rows = int(rng.integers(pool.units[0], pool.units[1] + 1)), len(start_s)
    size = np.exp(pool.spread * rng.standard_normal(units))
    size = np.sort(size)[:: pool.order] if pool.order else size
    size *= rng.choice([-1.0, 1.0], units)
    shape = potentials(rng, units)
    threshold = (np.arange(units) + rng.uniform(0, 1, units)) / units
    begin_s = start_s[:, None] + rise_s * threshold + rng.uniform(0, 0.005, (rows, units))
    end_s = np.maximum(stop_s[:, None] - fall_s[:, None] * threshold, begin_s + 0.02)
    rate_hz = rng.uniform(10, 30, units)
    most = int(np.ceil(np.max(end_s - begin_s) * 30 * 1.5)) + 3
    gaps_s = rng.gamma(12.0, 1 / 12.0, (rows, units, most)) / rate_hz[:, None]
    gaps_s[..., 0] = 0.0
    time_s = begin_s[..., None] + np.cumsum(gaps_s, axis=-1)
    row, unit, _ = at = np.nonzero(time_s <= end_s[..., None])
    fired_s = time_s[at]
    onset_s, offset_s = np.full(rows, np.inf), np.full(rows, -np.inf)
    np.minimum.at(onset_s, row, fired_s + shape.first_s[unit])
    np.maximum.at(offset_s, row, fired_s + shape.last_s[unit])
    out = place(
        (rows, round(LENGTH_S * RATE_HZ)),
        RATE_HZ,
        row,
        fired_s,
        LONGEST_S,
        lambda since_s, part: size[unit[part], None] * shape.at(since_s, unit[part]),
    )
    return out, onset_s, offset_s


def restless(rng: np.random.Generator, n: int, kind: str, rate_hz: float = RATE_HZ) -> Array:
    """Rest (n, samples) before any filter, of one of the first two kinds of :data:`RESTLESS`."""
    samples = round(LENGTH_S * rate_hz)
    x = rest_noise((n, samples), rate_hz, rng, level_uv=NOISE_UV)
    if kind == "gain":
        slow = signal.butter(2, GAIN_HZ, fs=rate_hz, output="sos")
        ahead = round(rate_hz)
        db = signal.sosfilt(slow, rng.standard_normal((n, samples + ahead)), axis=-1)[:, ahead:]
        return x * 10 ** (GAIN_DB / 20 * db / db.std())
    unit_of_row = np.arange(n)
    shape = potentials(rng, n)
    gaps_s = rng.gamma(12.0, 1 / 12.0, (n, round(LENGTH_S * STRAY_HZ[1] * 2)))
    gaps_s /= rng.uniform(*STRAY_HZ, (n, 1))
    time_s = np.cumsum(gaps_s, axis=1) - rng.uniform(0, 0.3, (n, 1))
    row = np.repeat(unit_of_row, gaps_s.shape[1])
    size = STRAY_UV * rng.choice([-1.0, 1.0], n)
    return x + place(
        (n, samples),
        rate_hz,
        row,
        time_s.ravel(),
        LONGEST_S,
        lambda since_s, part: size[row[part], None] * shape.at(since_s, row[part]),
    )


def on_restless(
    rng: np.random.Generator, n: int, snr_db: float, rise_s: float, *, kind: str, material: Forearm | None = None
) -> Made:
    """Simulated bursts on rests of one of :data:`RESTLESS`."""
    rate_hz = SPLICE_RATE_HZ if kind == "real rest" else RATE_HZ
    parts = []
    for start in range(0, n, POOL_TRIALS):
        count = min(POOL_TRIALS, n - start)
        fall_s = rng.uniform(0.05, 0.15, count)
        made = simulate(
            count,
            rate_hz,
            seed=int(rng.integers(2**31)),
            snr_db=20.0,
            rise_s=rise_s,
            fall_s=fall_s,
            duration_s=rise_s + fall_s + rng.uniform(0.1, 0.4, count),
            before_s=CUE_S,
            after_s=LENGTH_S - CUE_S,
            effort=float(rng.uniform(0.25, 0.7)),
        )
        if kind == "real rest":
            assert material is not None
            rest = cut(rng, material.rests + material.left_out, count)
        else:
            rest = restless(rng, count, kind)
        parts.append(scaled(made.burst_uv, rest, rate_hz, made.onset_s, made.offset_s, snr_db))
    return joined(parts)
