"""A pool of motor units that turns a drive into a surface signal whose first and last potential are known.

Thresholds, discharge rates and sizes follow Fuglevand, Winter & Patla (1993), J Neurophysiol 70:2470-2488 (parameters
from memory: 120 units, recruitment range 30, rates from 8 to 35 down to 25 impulses a second, gain 1, coefficient of
variation of the intervals 0.2, range of sizes 100). Departures of our own, confessed:

- the drive rises and falls as half a cosine, so it starts gently;
- each interval looks at the drive half an interval ahead, because the drive of a fast movement changes within one;
- in fast rises a unit starts at 60 to 120 impulses a second (initial doublets and triplets, from memory) and comes back
  to its own rate by a factor of 0.65 an interval: full below 0.1 s of rise, none above 0.3 s;
- potentials are Hermite-Rodriguez functions of order 1 and 2, of width 1.6 ms at 3 mm to 3.2 ms at 12 mm depth, and of
  peak size^0.75 · depth^-1.5.

So fast bursts overshoot: the RMS in 30 ms, over many pools, peaks at 2.2, 2.1, 2.0 and 1.6 times the later plateau for
rises of 20, 50, 100 and 200 ms, is back within 1.2 times after 0.25 s, and does not overshoot for rises of 300 ms or
more. That units begin a ballistic contraction at such rates and slow down at once is published (Desmedt & Godaux 1977;
Van Cutsem, Duchateau & Hainaut 1998; both from memory); the size of the overshoot follows from it and is fitted to
nothing. Not modelled: the silence around a ballistic burst, the antagonist's burst (give it as a muscle of its own),
fatigue, and changes of a unit's potential.

Arrays are (rows, samples): a row is a trial, or one long recording. Time in seconds from the first sample of a row.
A potential is exactly 0 outside its support, so a signal is exactly 0 before its first one.

    Drive                                     excitation of each row over time
    MotorPool.draw, .discharges, .signal      units, their discharges, the sum of their potentials
    Discharges.onset_s, .offset_s             10 % of the rise of the first potential, the last 10 % of the last one
    place                                     add a waveform at many times
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

UNITS = 120
RECRUITMENT_RANGE = 30.0
SIZE_RANGE = 100.0
LOWEST_RATE_HZ = 8.0
PEAK_RATE_HZ = 35.0
PEAK_RATE_FALL_HZ = 10.0
INTERVAL_CV = 0.2
FULL_EXCITATION = RECRUITMENT_RANGE + PEAK_RATE_HZ - PEAK_RATE_FALL_HZ - LOWEST_RATE_HZ
SUPPORT = 3.5


def place(
    shape: tuple[int, int],
    rate_hz: float,
    row: IntArray,
    time_s: FloatArray,
    length_s: float,
    waveform: Callable[[FloatArray, slice], FloatArray],
) -> FloatArray:
    """The sum of one waveform per entry, (rows, samples), each starting at ``time_s`` of its ``row``.

    ``waveform`` receives seconds since each start, (entries, samples of ``length_s``), and which entries these are, and
    returns values of that shape. Starts may lie between samples; what falls outside the row is cut off.
    """
    out = np.zeros(shape[0] * shape[1])
    offsets = np.arange(int(np.ceil(length_s * rate_hz)) + 1)
    for block in range(0, row.size, 1 << 15):
        part = slice(block, block + (1 << 15))
        sample = np.ceil(time_s[part] * rate_hz).astype(np.intp)[:, np.newaxis] + offsets
        values = waveform(sample / rate_hz - time_s[part, np.newaxis], part)
        inside = (sample >= 0) & (sample < shape[1])
        np.add.at(out, (row[part, np.newaxis] * shape[1] + sample)[inside], values[inside])
    return out.reshape(shape)


def _half_cosine(u: FloatArray) -> FloatArray:
    """0 to 1 while u goes from 0 to 1."""
    return 0.5 - 0.5 * np.cos(np.pi * np.clip(u, 0.0, 1.0))


def potential(u: FloatArray, order: IntArray) -> FloatArray:
    """Hermite-Rodriguez function of order 1 or 2 of u, its largest absolute value 1, exactly 0 beyond the support."""
    shaped = np.where(order == 1, u * np.sqrt(2.0 * np.e), 2.0 * u * u - 1.0)
    return np.where(np.abs(u) <= SUPPORT, shaped * np.exp(-u * u), 0.0)


def _tenth_of_first_peak() -> FloatArray:
    """Where the potentials of order 1 and 2 reach 10 % of their first peak, in widths from the start of the support."""
    u = np.linspace(-SUPPORT, 0.0, 200_001)
    first_peak = (np.searchsorted(u, -np.sqrt(0.5)), np.searchsorted(u, -np.sqrt(1.5)))
    found = []
    for order, peak in zip((1, 2), first_peak, strict=True):
        rising = np.abs(potential(u[: peak + 1], np.array(order)))
        found.append(u[np.searchsorted(rising, 0.1 * rising[-1])] + SUPPORT)
    return np.array(found)


TENTH = _tenth_of_first_peak()


@dataclass(frozen=True, eq=False)
class Drive:
    """Excitation over time, every field (rows,): from 0 up to ``level``, held, and back to 0. Seconds."""

    start_s: FloatArray
    level: FloatArray
    rise_s: FloatArray
    hold_s: FloatArray
    fall_s: FloatArray

    @property
    def stop_s(self) -> FloatArray:
        return self.start_s + self.rise_s + self.hold_s + self.fall_s

    def at(self, row: IntArray, time_s: FloatArray) -> FloatArray:
        """Excitation of some rows at some times."""
        up = _half_cosine((time_s - self.start_s[row]) / self.rise_s[row])
        down = _half_cosine((self.stop_s[row] - time_s) / self.fall_s[row])
        return self.level[row] * up * down

    def above(self, row: IntArray, threshold: FloatArray) -> tuple[FloatArray, FloatArray]:
        """When the excitation of each row passes a threshold below its level: on the way up, and down."""
        share = np.arccos(1.0 - 2.0 * threshold / self.level[row]) / np.pi
        return self.start_s[row] + self.rise_s[row] * share, self.stop_s[row] - self.fall_s[row] * share


@dataclass(frozen=True, eq=False)
class Discharges:
    """Which unit of which row fires when: three arrays of one length, times in seconds."""

    row: IntArray
    unit: IntArray
    time_s: FloatArray

    def moved(self, by_s: FloatArray) -> "Discharges":
        """The same, each row later by ``by_s`` (rows,)."""
        return Discharges(self.row, self.unit, self.time_s + by_s[self.row])


@dataclass(frozen=True, eq=False)
class MotorPool:
    """The units of one muscle under one pair of electrodes, every field (units,); peaks in arbitrary units."""

    threshold: FloatArray
    peak_rate_hz: FloatArray
    peak: FloatArray
    width_s: FloatArray
    order: IntArray

    @classmethod
    def draw(cls, rng: np.random.Generator) -> "MotorPool":
        """Units at random depths, of random polarity and shape."""
        rank = np.arange(1, UNITS + 1) / UNITS
        threshold = RECRUITMENT_RANGE**rank
        depth_mm = rng.uniform(3.0, 12.0, UNITS)
        return cls(
            threshold=threshold,
            peak_rate_hz=PEAK_RATE_HZ - PEAK_RATE_FALL_HZ * threshold / RECRUITMENT_RANGE,
            peak=rng.choice([-1.0, 1.0], UNITS) * SIZE_RANGE ** (0.75 * rank) * depth_mm**-1.5,
            width_s=1.6e-3 * (1.0 + (depth_mm - 3.0) / 9.0),
            order=rng.integers(1, 3, UNITS),
        )

    def discharges(self, drive: Drive, rng: np.random.Generator) -> Discharges:
        """Every discharge under a drive: the first at recruitment, then interval by interval until derecruitment."""
        row, unit = np.nonzero(self.threshold < drive.level[:, np.newaxis])
        time_s, retired_s = drive.above(row, self.threshold[unit])
        haste = np.clip((0.3 - drive.rise_s) / 0.2, 0.0, 1.0)
        rows, units, times = [row], [unit], [time_s]
        while row.size:
            rate_hz = self._rate_hz(unit, drive.at(row, time_s))
            rate_hz = self._rate_hz(unit, drive.at(row, time_s + 0.5 / rate_hz))
            rate_hz += haste[row] * (rng.uniform(60.0, 120.0, row.size) - rate_hz).clip(0.0)
            haste = haste * 0.65
            time_s = time_s + np.maximum(1.0 + INTERVAL_CV * rng.standard_normal(row.size), 0.3) / rate_hz
            live = time_s < retired_s
            row, unit, time_s, retired_s = row[live], unit[live], time_s[live], retired_s[live]
            rows.append(row)
            units.append(unit)
            times.append(time_s)
        return Discharges(np.concatenate(rows), np.concatenate(units), np.concatenate(times))

    def _rate_hz(self, unit: IntArray, excitation: FloatArray) -> FloatArray:
        rate_hz = excitation - self.threshold[unit] + LOWEST_RATE_HZ
        return np.clip(rate_hz, LOWEST_RATE_HZ, self.peak_rate_hz[unit])

    def truth(self, fired: Discharges, n_rows: int) -> tuple[FloatArray, FloatArray]:
        """Onset and offset of each row, (rows,); NaN where no unit fires.

        The onset is where the first potential reaches 10 % of its first peak, the offset where the last one falls
        below 10 % of its last peak.
        """
        margin = TENTH[self.order - 1] * self.width_s
        onset, offset = np.full(n_rows, np.inf), np.full(n_rows, -np.inf)
        np.minimum.at(onset, fired.row, fired.time_s + margin[fired.unit])
        np.maximum.at(offset, fired.row, fired.time_s + (2 * SUPPORT * self.width_s - margin)[fired.unit])
        silent = ~np.isfinite(onset)
        onset[silent] = offset[silent] = np.nan
        return onset, offset

    def signal(self, fired: Discharges, shape: tuple[int, int], rate_hz: float) -> FloatArray:
        """The sum of all potentials, (rows, samples)."""
        width_s, peak = self.width_s[fired.unit, np.newaxis], self.peak[fired.unit, np.newaxis]
        order = self.order[fired.unit, np.newaxis]

        def potentials(since_s: FloatArray, part: slice) -> FloatArray:
            return peak[part] * potential(since_s / width_s[part] - SUPPORT, order[part])

        return place(shape, rate_hz, fired.row, fired.time_s, 2 * SUPPORT * self.width_s.max(), potentials)
