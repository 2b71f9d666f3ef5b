"""What spoils a recording: each artefact at a stated level, added to (or cut out of) samples that stay untouched.

Every function takes x (rows, samples) in microvolts, the sampling rate, a random generator and its levels, and returns
a new array. Times in seconds from the first sample of a row: one for all rows, or (rows,); None draws one for each row
between a tenth and nine tenths of it. Recipes of our own; the shape of the heart beat is synthetic.

    tonic           steady background of the smallest motor units     level_uv: RMS in 20-450 Hz
    stray_unit      a few potentials of one unit                      level_uv: peak
    early_burst     a small burst of its own, before the response     level_uv: its RMS in 20-450 Hz
    crosstalk       a neighbour's burst, smoothed and delayed         level_uv: its RMS in 20-450 Hz
    heart           heart beats                                       level_uv: peak of the QRS complex
    swing           a lead or the limb moves, below 15 Hz             level_uv: RMS while it lasts
    knock           a tap on electrode, key or table, ringing         level_uv: peak
    stimulus        a stimulator's spike, and what it evokes          level_uv: height of the spike
    mains           hum with harmonics 2 to 7                         level_uv: RMS of all together
    pop             a step that decays                                level_uv: height of the step
    dropout         flat for a moment
    clip            cut at a share of each row's peak
"""

import inspect
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

import numpy as np
from scipy import fft, signal

from emgreview.checks import demand
from emgreview.errors import ParameterError, UnknownNameError
from emgreview.simulation.pool import (
    FULL_EXCITATION,
    SUPPORT,
    TENTH,
    UNITS,
    Discharges,
    Drive,
    FloatArray,
    MotorPool,
    place,
    potential,
)

BAND_HZ = (20.0, 450.0)
"""The band in which levels and signal-to-noise ratios are stated."""

QRS = ((-0.17, 0.020, 0.10), (-0.020, 0.006, -0.14), (0.0, 0.007, 1.0), (0.021, 0.008, -0.28), (0.28, 0.045, 0.22))
"""One heart beat as a sum of Gaussians: (centre s, width s, height)."""


def in_band(x: FloatArray, rate_hz: float) -> FloatArray:
    """x (rows, samples) with everything outside 20-450 Hz set to zero in its spectrum."""
    n = fft.next_fast_len(x.shape[-1], real=True)
    spectrum = fft.rfft(x, n)
    f = fft.rfftfreq(n, 1 / rate_hz)
    spectrum[:, (f < BAND_HZ[0]) | (f > BAND_HZ[1])] = 0.0
    return fft.irfft(spectrum, n)[:, : x.shape[-1]]


def rest_noise(shape: tuple[int, int], rate_hz: float, rng: np.random.Generator, *, level_uv: float) -> FloatArray:
    """Noise of skin and amplifier, (rows, samples), RMS ``level_uv`` within 20-450 Hz on average.

    White plus a 1/f part that equals it at 30 Hz, between a first-order high-pass at 5 Hz and a steep low-pass at
    0.4 of the sampling rate, or 700 Hz where that is lower (our own choice).
    """
    n = fft.next_fast_len(shape[1], real=True)
    f = fft.rfftfreq(n, 1 / rate_hz)
    f[0] = f[1] * 1e-3
    power = (1.0 + 30.0 / f) / (1.0 + (5.0 / f) ** 2) / (1.0 + (f / min(700.0, 0.4 * rate_hz)) ** 8)
    power[0] = 0.0
    shaped = np.sqrt(power / power[(f >= BAND_HZ[0]) & (f <= BAND_HZ[1])].sum()) * level_uv * n / 2.0
    spectrum = rng.standard_normal((shape[0], f.size)) + 1j * rng.standard_normal((shape[0], f.size))
    return fft.irfft(spectrum * shaped, n)[:, : shape[1]]


def _rms_in_band(x: FloatArray, rate_hz: float) -> FloatArray:
    return np.sqrt(np.mean(in_band(x, rate_hz) ** 2, axis=1, keepdims=True))


def _times(x: FloatArray, rate_hz: float, rng: np.random.Generator, at_s: float | FloatArray | None) -> FloatArray:
    if at_s is None:
        return rng.uniform(0.1, 0.9, x.shape[0]) * x.shape[1] / rate_hz
    return np.array(np.broadcast_to(at_s, x.shape[0]), dtype=float)


def tonic(
    x: FloatArray, rate_hz: float, rng: np.random.Generator, *, level_uv: float, drive: float = 0.04
) -> FloatArray:
    """A drive held at ``drive`` of the full one (0.03 to 0.3), begun long before the first sample."""
    rows = x.shape[0]
    lead_s = 2.0
    ones = np.ones(rows)
    held = Drive(-lead_s * ones, drive * FULL_EXCITATION * ones, 0.5 * ones, lead_s + ones * x.shape[1] / rate_hz, ones)
    pool = MotorPool.draw(rng)
    fired = pool.discharges(held, rng)
    phase_s = rng.uniform(0.0, 0.125, (rows, UNITS))
    fired = Discharges(fired.row, fired.unit, fired.time_s + phase_s[fired.row, fired.unit])
    background = pool.signal(fired, x.shape, rate_hz)
    return x + background * (level_uv / _rms_in_band(background, rate_hz))


def stray_unit(
    x: FloatArray,
    rate_hz: float,
    rng: np.random.Generator,
    *,
    level_uv: float,
    at_s: float | FloatArray | None = None,
    count: int = 4,
) -> FloatArray:
    """``count`` potentials of one unit at about 10 a second, the first at ``at_s``."""
    pool = MotorPool.draw(rng)
    unit = int(rng.integers(UNITS))
    intervals_s = 0.1 * np.maximum(1.0 + 0.2 * rng.standard_normal((x.shape[0], count)), 0.3)
    intervals_s[:, 0] = 0.0
    time_s = _times(x, rate_hz, rng, at_s)[:, np.newaxis] + np.cumsum(intervals_s, axis=1)
    row = np.repeat(np.arange(x.shape[0]), count)
    potentials = pool.signal(Discharges(row, np.full(row.size, unit), time_s.ravel()), x.shape, rate_hz)
    return x + potentials * (level_uv / abs(pool.peak[unit]))


def early_burst(
    x: FloatArray,
    rate_hz: float,
    rng: np.random.Generator,
    *,
    level_uv: float,
    at_s: float | FloatArray | None = None,
    duration_s: float = 0.08,
) -> FloatArray:
    """A short burst whose first potential begins exactly at ``at_s`` (no burst in rows where that is NaN).

    Such bursts come 50 to 150 ms before the response, in the wrong muscle, or before a second attempt in the same one.
    """
    start_s = _times(x, rate_hz, rng, at_s)
    rows = np.flatnonzero(np.isfinite(start_s))
    if not rows.size:
        return x.copy()
    ones = np.ones(rows.size)
    rise_s = 0.4 * duration_s
    drive = Drive(
        0.0 * ones, 0.2 * FULL_EXCITATION * ones, rise_s * ones, (duration_s - 2 * rise_s) * ones, rise_s * ones
    )
    pool = MotorPool.draw(rng)
    fired = pool.discharges(drive, rng)
    first, last = pool.truth(fired, rows.size)
    burst = pool.signal(fired.moved(start_s[rows] - first), (rows.size, x.shape[1]), rate_hz)
    energy = np.sum(in_band(burst, rate_hz) ** 2, axis=1) / ((last - first) * rate_hz)
    out = x.copy()
    out[rows] += burst * (level_uv / np.sqrt(np.maximum(energy, 1e-30)))[:, np.newaxis]
    return out


def leaked(x: FloatArray, rate_hz: float, *, delay_s: float = 0.001) -> FloatArray:
    """What of a signal reaches a neighbour's electrodes: smoothed over about 2 ms, and ``delay_s`` later."""
    kernel = signal.windows.hann(2 * round(0.002 * rate_hz) + 3)[1:-1]
    later = round(delay_s * rate_hz)
    smooth = signal.fftconvolve(x, kernel[np.newaxis] / kernel.sum(), mode="same", axes=1)
    return np.concatenate([np.zeros((x.shape[0], later)), smooth[:, : x.shape[1] - later]], axis=1)


def crosstalk(
    x: FloatArray,
    rate_hz: float,
    rng: np.random.Generator,
    *,
    level_uv: float,
    at_s: float | FloatArray | None = None,
    duration_s: float = 0.3,
) -> FloatArray:
    """A burst of another muscle, of its own motor pool, as it arrives here; its drive starts at ``at_s``."""
    ones = np.ones(x.shape[0])
    start_s = _times(x, rate_hz, rng, at_s)
    drive = Drive(start_s, 0.4 * FULL_EXCITATION * ones, 0.05 * ones, (duration_s - 0.15) * ones, 0.1 * ones)
    pool = MotorPool.draw(rng)
    arriving = leaked(pool.signal(pool.discharges(drive, rng), x.shape, rate_hz), rate_hz)
    energy = np.sum(in_band(arriving, rate_hz) ** 2, axis=1, keepdims=True)
    return x + arriving * (level_uv / np.sqrt(np.maximum(energy / (duration_s * rate_hz), 1e-30)))


def heart(
    x: FloatArray, rate_hz: float, rng: np.random.Generator, *, level_uv: float, beats_per_min: float = 68.0
) -> FloatArray:
    """Heart beats, their rate wandering by 4 % from beat to beat and with a slow breath."""
    beats = int(np.ceil(x.shape[1] / rate_hz * beats_per_min / 60.0 * 1.3)) + 3
    breath = 0.05 * np.sin(2 * np.pi * (np.arange(beats) / 4.5 + rng.uniform(0, 1, (x.shape[0], 1))))
    intervals_s = 60.0 / beats_per_min * (1.0 + breath + 0.04 * rng.standard_normal((x.shape[0], beats)))
    intervals_s[:, 0] *= -rng.uniform(0.0, 1.0, x.shape[0])
    row = np.repeat(np.arange(x.shape[0]), beats)
    before_s = 0.25

    def beat(since_s: FloatArray, part: slice) -> FloatArray:
        t = since_s - before_s
        shape = [height * np.exp(-0.5 * ((t - at) / width) ** 2) for at, width, height in QRS]
        return level_uv * np.sum(shape, axis=0)

    start_s = np.cumsum(intervals_s, axis=1).ravel() - before_s
    return x + place(x.shape, rate_hz, row, start_s, before_s + 0.5, beat)


def swing(
    x: FloatArray,
    rate_hz: float,
    rng: np.random.Generator,
    *,
    level_uv: float,
    at_s: float | FloatArray | None = None,
    length_s: float = 0.4,
) -> FloatArray:
    """Gaussian noise below 15 Hz under a Hann window that starts at ``at_s``."""
    slow = signal.butter(4, 15.0, fs=rate_hz, output="sos")
    u = (np.arange(x.shape[1]) / rate_hz - _times(x, rate_hz, rng, at_s)[:, np.newaxis]) / length_s
    window = np.where((u > 0) & (u < 1), np.sin(np.pi * u) ** 2, 0.0)
    moving = signal.sosfilt(slow, rng.standard_normal(x.shape), axis=1) * window
    energy = np.sum(moving**2, axis=1, keepdims=True)
    return x + moving * (level_uv / np.sqrt(np.maximum(energy / (length_s * rate_hz), 1e-30)))


def knock(
    x: FloatArray,
    rate_hz: float,
    rng: np.random.Generator,
    *,
    level_uv: float,
    at_s: float | FloatArray | None = None,
    hz: float = 60.0,
    decay_s: float = 0.015,
) -> FloatArray:
    """A ringing of random sign and of ``hz`` ± 20 % that starts at ``at_s`` and decays within ``decay_s``."""
    since_s = np.arange(x.shape[1]) / rate_hz - _times(x, rate_hz, rng, at_s)[:, np.newaxis]
    ringing_hz = hz * rng.uniform(0.8, 1.2, (x.shape[0], 1))
    after_s = np.maximum(since_s, 0.0)
    wave = np.where(since_s >= 0, np.sin(2 * np.pi * ringing_hz * after_s) * np.exp(-after_s / decay_s), 0.0)
    sign = rng.choice([-1.0, 1.0], (x.shape[0], 1))
    return x + sign * level_uv * wave / np.maximum(np.abs(wave).max(axis=1, keepdims=True), 1e-30)


def stimulus(
    x: FloatArray,
    rate_hz: float,
    rng: np.random.Generator,
    *,
    level_uv: float,
    at_s: float | FloatArray | None = None,
    spike_s: float = 0.002,
    decay_s: float = 0.01,
    evoked_uv: float = 0.0,
    latency_s: float = 0.022,
) -> FloatArray:
    """A magnetic or electrical stimulus: flat at ``level_uv`` (a saturated input) for ``spike_s``, then a decay.

    ``evoked_uv`` is the peak-to-peak size of the potential that follows, 0 for none: two phases, 10 % of its first peak
    reached ``latency_s`` after the stimulus. A silent period is not modelled.
    """
    start_s = _times(x, rate_hz, rng, at_s)
    since_s = np.arange(x.shape[1]) / rate_hz - start_s[:, np.newaxis]
    tail = np.exp(-np.maximum(since_s - spike_s, 0.0) / decay_s)
    width_s = 0.0025
    evoked_s = start_s + latency_s - TENTH[0] * width_s

    def evoked(since_s: FloatArray, part: slice) -> FloatArray:
        return 0.5 * evoked_uv * potential(since_s / width_s - SUPPORT, np.array(1))

    potentials = place(x.shape, rate_hz, np.arange(x.shape[0]), evoked_s, 2 * SUPPORT * width_s, evoked)
    return x + np.where(since_s >= 0, level_uv * tail, 0.0) + potentials


def mains(x: FloatArray, rate_hz: float, rng: np.random.Generator, *, level_uv: float, hz: float = 50.0) -> FloatArray:
    """Hum at ``hz`` ± 0.2 Hz with harmonics falling as 1/k, its strength wandering slowly by 15 %."""
    t = np.arange(x.shape[1]) / rate_hz
    hz = hz + rng.uniform(-0.2, 0.2)
    harmonics = [k for k in range(1, 8) if k * hz < 0.45 * rate_hz]
    phase = rng.uniform(0, 2 * np.pi, (x.shape[0], len(harmonics) + 1))
    hum = sum(np.sin(2 * np.pi * k * hz * t + phase[:, [index]]) / k for index, k in enumerate(harmonics)) / np.sqrt(
        0.5 * sum(k**-2 for k in harmonics)
    )
    return x + level_uv * hum * (1.0 + 0.15 * np.sin(2 * np.pi * 0.2 * t + phase[:, [-1]]))


def pop(
    x: FloatArray,
    rate_hz: float,
    rng: np.random.Generator,
    *,
    level_uv: float,
    at_s: float | FloatArray | None = None,
    decay_s: float = 0.1,
) -> FloatArray:
    """A step of random sign at ``at_s`` that decays with the time constant ``decay_s``."""
    since_s = np.arange(x.shape[1]) / rate_hz - _times(x, rate_hz, rng, at_s)[:, np.newaxis]
    sign = rng.choice([-1.0, 1.0], (x.shape[0], 1))
    return x + sign * level_uv * np.where(since_s >= 0, np.exp(-np.maximum(since_s, 0.0) / decay_s), 0.0)


def dropout(
    x: FloatArray,
    rate_hz: float,
    rng: np.random.Generator,
    *,
    at_s: float | FloatArray | None = None,
    length_s: float = 0.03,
) -> FloatArray:
    """Flat at 0 from ``at_s`` for ``length_s``."""
    since_s = np.arange(x.shape[1]) / rate_hz - _times(x, rate_hz, rng, at_s)[:, np.newaxis]
    return np.where((since_s >= 0) & (since_s < length_s), 0.0, x)


def clip(x: FloatArray, rate_hz: float, rng: np.random.Generator, *, share: float) -> FloatArray:
    """Cut at ``share`` (0 to 1) of each row's largest absolute value."""
    limit = share * np.abs(x).max(axis=1, keepdims=True)
    return np.clip(x, -limit, limit)


ARTEFACTS: Mapping[str, Callable[..., FloatArray]] = MappingProxyType(
    {
        made.__name__: made
        for made in (
            tonic,
            stray_unit,
            early_burst,
            crosstalk,
            heart,
            swing,
            knock,
            stimulus,
            mains,
            pop,
            dropout,
            clip,
        )
    }
)
"""In the order in which they are applied: what muscles and heart give, then leads and mains, then the amplifier."""

STREAMS = (
    *("tonic", "stray_unit", "crosstalk", "heart", "swing", "mains", "pop", "dropout", "clip"),
    *("early_burst", "knock", "stimulus"),
)
"""Each artefact's stream of random numbers, by place. New names go to the end, so that a seed keeps giving its bits."""


def checked_artefacts(asked: Mapping[str, Mapping[str, object]] | None) -> Mapping[str, Mapping[str, Any]]:
    """Artefacts and their levels as asked; UnknownNameError, or ParameterError where a level is not stated."""
    known: Mapping[str, Mapping[str, object]] = {} if asked is None else asked
    demand(isinstance(known, Mapping), "artefacts", asked, 'a mapping of names to levels: {"mains": {"level_uv": 6.0}}')
    for name, levels in known.items():
        if name not in ARTEFACTS:
            raise UnknownNameError("artefact", name, ARTEFACTS)
        parameters = inspect.signature(ARTEFACTS[name]).parameters
        allowed = {key: value.default for key, value in parameters.items() if value.kind is value.KEYWORD_ONLY}
        demand(isinstance(levels, Mapping), f"artefacts[{name!r}]", levels, "a mapping that states its levels")
        for level in levels:
            if level not in allowed:
                raise UnknownNameError(f"level of {name!r}", level, allowed)
        for level, default in allowed.items():
            if default is inspect.Parameter.empty and level not in levels:
                raise ParameterError(
                    f"artefacts[{name!r}] came as {dict(levels)!r}; allowed: a mapping that states {level}; correct it."
                )
    return known
