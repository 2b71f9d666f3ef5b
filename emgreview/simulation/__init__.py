"""Surface EMG trials whose truth is known exactly: when the first motor-unit potential begins, and the last one ends.

A pool of motor units (``pool``) answers a drive; the sum of its potentials is scaled to a stated signal-to-noise ratio
and laid over rest noise; artefacts (``artefacts``) come on top, each at a stated level. Arrays are (trials, samples) in
microvolts and (trials,) in seconds from the first sample; NaN where there is no activity. Nothing here supports a claim
about physiology: it is made to test methods and people against a truth.

    simulate            trials, with their truth
    bursts              noise-free bursts of one pool, with their truth: what simulate and the demo study are made of
    Simulated, Bursts   what they return
    ARTEFACTS           the artefacts by name, and their functions

The two truths differ: the first potential may be far smaller than the noise. ``visible_s`` is the moment when activity
rises above it; in slow or weak rises it comes tens of milliseconds later.
"""

import inspect
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview.errors import ParameterError, RateError, UnknownNameError
from emgreview.simulation.artefacts import ARTEFACTS, BAND_HZ, in_band, rest_noise
from emgreview.simulation.pool import FULL_EXCITATION, Drive, FloatArray, MotorPool

__all__ = ["ARTEFACTS", "BAND_HZ", "Bursts", "MotorPool", "Simulated", "bursts", "rest_noise", "simulate"]

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


@dataclass(frozen=True, eq=False)
class Simulated:
    """Trials ``x`` (trials, samples), microvolts, and their exact truth, (trials,), seconds from the first sample.

    ``onset_s``, ``drive_s``, ``visible_s`` and ``offset_s`` are those of :class:`Bursts`. ``level_db`` is
    20 log10 of the RMS of the burst alone, from onset to offset, over the RMS of the rest noise (``noise_uv``), both
    within 20-450 Hz, artefacts not counted. ``present`` says whether there is a burst. ``burst_uv`` is the burst
    without noise; ``cue_s`` the cue, the same in all trials; ``parameters`` what was asked.
    """

    x: FloatArray
    rate_hz: float
    cue_s: float
    onset_s: FloatArray
    drive_s: FloatArray
    visible_s: FloatArray
    offset_s: FloatArray
    level_db: FloatArray
    present: NDArray[np.bool_]
    noise_uv: float
    burst_uv: FloatArray
    parameters: Mapping[str, object]


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


def simulate(
    n_trials: int,
    rate_hz: float,
    *,
    seed: int,
    snr_db: ArrayLike = 20.0,
    rise_s: ArrayLike = 0.05,
    duration_s: ArrayLike = 0.4,
    fall_s: ArrayLike = 0.1,
    onset_s: ArrayLike | None = None,
    before_s: float = 1.0,
    after_s: float = 1.5,
    effort: float = 0.4,
    noise_uv: float = 3.0,
    artefacts: Mapping[str, Mapping[str, object]] | None = None,
) -> Simulated:
    """Trials of one muscle around a cue, (trials, samples) in microvolts, with their truth. Same seed, same bits.

    A trial lasts from ``before_s`` before the cue to ``after_s`` after it. One number for all trials, or (trials,):

    ``snr_db``      burst alone from onset to offset over rest, both RMS within 20-450 Hz; -inf: no activity
    ``rise_s``      from the start of the drive to its plateau; ``fall_s`` back; half a cosine each
    ``duration_s``  the whole drive, rise and fall included
    ``onset_s``     the first potential, seconds from the first sample; drawn 0.15 to 0.35 s after the cue unless given

    ``effort`` is the plateau's share of full excitation, ``noise_uv`` the RMS of the rest noise within 20-450 Hz.
    ``artefacts`` maps names of :data:`ARTEFACTS` to their levels, for example ``{"mains": {"level_uv": 6.0}}``; each
    draws from its own stream, so that adding one changes nothing else.

    Motor units after Fuglevand, Winter & Patla 1993, departures confessed in ``pool``. Raises RateError below 1000 Hz,
    ParameterError for values out of range, UnknownNameError for an artefact or level that does not exist.
    """

    def demand(good: object, name: str, came: object, allowed: str) -> None:
        if not good:
            raise ParameterError(f"{name} came as {came!r}; allowed: {allowed}; correct it.")

    def each(name: str, value: ArrayLike) -> FloatArray:
        given = np.asarray(value, dtype=float)
        demand(given.shape in ((), (n_trials,)), name, value, f"one number, or one for each of {n_trials} trials")
        demand(not np.isnan(given).any(), name, value, "numbers, none of them NaN")
        return np.array(np.broadcast_to(given, n_trials))

    if not (math.isfinite(rate_hz) and rate_hz >= 1000.0):
        raise RateError(
            f"rate_hz came as {rate_hz!r}; allowed: 1000 Hz or more, because levels are stated up to {BAND_HZ[1]:g} "
            "Hz; simulate at a higher rate."
        )
    demand(isinstance(n_trials, int | np.integer) and n_trials >= 1, "n_trials", n_trials, "a whole number from 1")
    demand(0.05 <= effort <= 1.0, "effort", effort, "0.05 to 1")
    demand(math.isfinite(noise_uv) and noise_uv > 0, "noise_uv", noise_uv, "a number of microvolts above 0")
    demand(before_s > 0, "before_s", before_s, "seconds above 0")
    demand(after_s > 0, "after_s", after_s, "seconds above 0")
    snr, rise = each("snr_db", snr_db), each("rise_s", rise_s)
    duration, fall = each("duration_s", duration_s), each("fall_s", fall_s)
    demand((snr < 100.0).all(), "snr_db", snr_db, "below 100 dB; -inf for no activity")
    demand((rise > 0).all(), "rise_s", rise_s, "seconds above 0")
    demand((fall > 0).all(), "fall_s", fall_s, "seconds above 0")
    demand((duration >= rise + fall).all(), "duration_s", duration_s, "at least rise_s + fall_s")
    known: Mapping[str, Mapping[str, object]] = artefacts or {}
    for name, levels in known.items():
        if name not in ARTEFACTS:
            raise UnknownNameError("artefact", name, ARTEFACTS)
        parameters = inspect.signature(ARTEFACTS[name]).parameters
        allowed = {key: value.default for key, value in parameters.items() if value.kind is value.KEYWORD_ONLY}
        for level in levels:
            if level not in allowed:
                raise UnknownNameError(f"level of {name!r}", level, allowed)
        for level, default in allowed.items():
            demand(
                default is not inspect.Parameter.empty or level in levels,
                f"artefacts[{name!r}]",
                levels,
                f"a mapping that states {level}",
            )

    sources = np.random.SeedSequence(seed).spawn(4 + len(ARTEFACTS))
    of_pool, of_onsets, of_drive, of_noise, *of_artefacts = (np.random.default_rng(source) for source in sources)
    length_s = before_s + after_s
    shape = (int(n_trials), math.floor(length_s * rate_hz + 0.5))
    onset = before_s + of_onsets.uniform(0.15, 0.35, n_trials) if onset_s is None else each("onset_s", onset_s)
    demand(
        ((onset >= 0) & (onset + duration + 0.02 <= length_s)).all(),
        "onset_s",
        onset_s,
        f"0 or later, and such that the burst ends 20 ms before the trial does (at {length_s:g} s); "
        "or lengthen after_s",
    )
    made = bursts(
        MotorPool.draw(of_pool),
        of_drive,
        shape,
        rate_hz,
        onset_s=onset,
        rise_s=rise,
        duration_s=duration,
        fall_s=fall,
        level_uv=np.where(np.isfinite(snr), noise_uv * 10 ** (snr / 20), np.nan),
        rest_uv=noise_uv,
        effort=effort,
    )
    x = made.x_uv + rest_noise(shape, rate_hz, of_noise, level_uv=noise_uv)
    for (name, add), stream in zip(ARTEFACTS.items(), of_artefacts, strict=True):
        if name in known:
            x = add(x, rate_hz, stream, **known[name])
    present = np.isfinite(snr)
    return Simulated(
        x=x,
        rate_hz=float(rate_hz),
        cue_s=float(before_s),
        onset_s=made.onset_s,
        drive_s=made.drive_s,
        visible_s=made.visible_s,
        offset_s=made.offset_s,
        level_db=np.where(present, snr, np.nan),
        present=present,
        noise_uv=float(noise_uv),
        burst_uv=made.x_uv,
        parameters={
            "seed": seed,
            "snr_db": snr_db,
            "rise_s": rise_s,
            "duration_s": duration_s,
            "fall_s": fall_s,
            "effort": effort,
            "artefacts": dict(known),
        },
    )
