"""Noise-free bursts of one motor pool, each with its exact truth.

Arrays are (rows, samples) in microvolts and (rows,) in seconds from the first sample; NaN where there is no burst.

    bursts     one burst a row, scaled to a stated level
    Bursts     what it returns
"""

from dataclasses import dataclass

import numpy as np

from emgreview.simulation.artefacts import in_band
from emgreview.simulation.pool import FULL_EXCITATION, Drive, FloatArray, MotorPool

VISIBLE_WINDOW_S = 0.01


@dataclass(frozen=True, eq=False)
class Bursts:
    """Noise-free bursts ``x_uv`` (rows, samples), exactly 0 before each first potential, and their truth, (rows,).

    ``onset_s``    10 % of the rise of the first potential: the truth to compare with
    ``drive_s``    where the drive begins to rise, somewhat earlier
    ``visible_s``  where the RMS over 10 ms, centred, first exceeds the rest's RMS, not before onset_s; NaN if never
    ``offset_s``   where the last potential falls below 10 % of its last peak
    """

    x_uv: FloatArray
    onset_s: FloatArray
    drive_s: FloatArray
    visible_s: FloatArray
    offset_s: FloatArray


def bursts(
    pool: MotorPool,
    rng: np.random.Generator,
    shape: tuple[int, int],
    rate_hz: float,
    *,
    onset_s: FloatArray,
    rise_s: FloatArray,
    duration_s: FloatArray,
    fall_s: FloatArray,
    level_uv: FloatArray,
    rest_uv: float,
    effort: float = 0.4,
) -> Bursts:
    """One burst in each row whose ``level_uv`` (RMS within 20-450 Hz from onset to offset) is not NaN; others stay 0.

    Times are (rows,). The first potential begins exactly at ``onset_s``. ``duration_s`` is the length of the drive,
    its rise and fall included; ``effort`` the plateau's share of full excitation; ``rest_uv`` serves ``visible_s``.
    Inputs are taken as checked.
    """
    out = Bursts(np.zeros(shape), *(np.full(shape[0], np.nan) for _ in range(4)))
    there = np.flatnonzero(np.isfinite(level_uv))
    if not there.size:
        return out
    rise, fall, asked = rise_s[there], fall_s[there], onset_s[there]
    zero = np.zeros(there.size)
    drive = Drive(zero, zero + effort * FULL_EXCITATION, rise, duration_s[there] - rise - fall, fall)
    fired = pool.discharges(drive, rng)
    moved = asked - pool.truth(fired, there.size)[0]
    fired = fired.moved(moved)
    onset, offset = pool.truth(fired, there.size)
    x = pool.signal(fired, (there.size, shape[1]), rate_hz)
    t = np.arange(shape[1]) / rate_hz
    active = (t >= onset[:, np.newaxis]) & (t <= offset[:, np.newaxis])
    power = np.sum(in_band(x, rate_hz) ** 2 * active, axis=1) / active.sum(axis=1)
    x *= (level_uv[there] / np.sqrt(power))[:, np.newaxis]

    half = max(1, round(0.5 * VISIBLE_WINDOW_S * rate_hz))
    energy = np.cumsum(np.pad(x**2, ((0, 0), (half + 1, half))), axis=1)
    above = energy[:, 2 * half + 1 :] - energy[:, : -2 * half - 1] > rest_uv**2 * (2 * half + 1)
    visible = np.where(above.any(axis=1), np.maximum(above.argmax(axis=1) / rate_hz, asked), np.nan)

    out.x_uv[there] = x
    for field, value in zip(
        (out.onset_s, out.drive_s, out.visible_s, out.offset_s), (asked, moved, visible, offset), strict=True
    ):
        field[there] = value
    return out
