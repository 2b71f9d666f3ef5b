"""Recordings with nothing wrong, and the same with one planted fault: what ``bench_findings`` looks at.

Everything is drawn from a random generator: sampling rates from 200 Hz to 20 kHz, 5 s to a few minutes, 1 to 64
channels, noise of skin and amplifier alone or bursts of 3 to 60 dB, now and then or throughout, 12 to 24 bit converters
or none, offsets, crosstalk. Recordings are (channels, samples) in microvolts. Numbers are our own choice.

    clean       one recording with nothing wrong
    able        whether a fault can show in it
    FAULTS      by name: the function that plants it in a recording, and the code of the finding that is due
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from emgreview.errors import ReadError
from emgreview.simulation import ARTEFACTS, Muscle, Spread, rest_noise, simulate_study
from emgreview.simulation.artefacts import leaked

FloatArray = NDArray[np.float64]

RATES_HZ = (200.0, 500.0, 1000.0, 1000.0, 1259.0, 2000.0, 2000.0, 2048.0, 4000.0, 10_000.0, 20_000.0)
SECONDS = (5.0, 8.0, 12.0, 20.0, 30.0, 60.0, 90.0, 180.0)
CHANNELS = (1, 2, 3, 4, 6, 8, 16, 64)
MOST_VALUES = 100_000
"""Samples of all channels together, so that 500 recordings take minutes: longer ones have fewer channels."""

ACTIVITIES = ("rest", "now and then", "throughout", "fast", "study", "real rest")
STEPS_UV = (0.0, 0.0, 0.03, 0.1, 0.15, 0.25, 0.3, 0.5)
FINE = 0.3
"""Converter steps are at most this share of the rest's RMS: coarser ones are a fault."""

REAL_HZ = 1000.0
GAP_S, HEART_QUIET_S = 0.5, 5.0
"""Heart beats are planted where so many seconds lie between bursts, in gaps of at least so long."""


@dataclass(frozen=True, eq=False)
class Made:
    """``x`` (channels, samples) in µV; ``rest_uv`` (channels,) the RMS of its noise; ``step_uv`` 0 without a
    converter; ``quiet_s`` (channels,) the seconds that lie between bursts, in gaps of 0.5 s or more."""

    x: FloatArray
    rate_hz: float
    rest_uv: FloatArray
    activity: str
    step_uv: float
    quiet_s: FloatArray


def clean(rng: np.random.Generator, *, open_data: Path | None = None) -> Made:
    """A recording with nothing wrong. ``open_data`` is the folder of the open forearm recordings; simulated rest stands
    in for real rest without it. Real rest is spliced at random from stretches of relaxation (movement 5, 1000 Hz)."""
    activity = str(rng.choice(ACTIVITIES))
    rate_hz, seconds = float(rng.choice(RATES_HZ)), float(rng.choice(SECONDS))
    channels = int(rng.choice(CHANNELS))
    if activity == "study" and rate_hz < 1000:
        rate_hz = 1000.0
    if activity == "real rest" and open_data is not None:
        rate_hz = REAL_HZ
    while channels * seconds * rate_hz > MOST_VALUES and channels > 1:
        channels //= 2
    seconds = max(5.0, min(seconds, MOST_VALUES / channels / rate_hz))
    quiet_s = np.full(channels, seconds)
    if activity == "study":
        x, rest_uv = _study(rng, rate_hz, min(channels, 6))
    elif activity == "real rest" and open_data is not None:
        x = _real_rest(rng, open_data, channels, seconds)
        rest_uv = x.std(axis=1)
    else:
        rest_uv = rng.uniform(0.8, 5.0, channels)
        x = _noise(rng, (channels, round(seconds * rate_hz)), rate_hz) * rest_uv[:, None]
        if activity in ("now and then", "throughout", "fast"):
            bursts = np.stack([_bursts(rng, x.shape[1], rate_hz, activity) for _ in rest_uv])
            quiet_s = np.array([_quiet_s(row == 0, rate_hz) for row in bursts])
            level_db = rng.uniform(3.0, 60.0, channels)
            bursts *= (rest_uv * 10 ** (level_db / 20))[:, None]
            share = rng.uniform(0.0, 0.25)
            x += bursts
            if rate_hz >= 500 and channels > 1:
                x += share * np.roll(leaked(bursts, rate_hz), 1, axis=0)
    step_uv = min(float(rng.choice(STEPS_UV)), FINE * float(np.min(rest_uv)))
    x = x + rng.choice([0.0, 1.0]) * rng.normal(0.0, 3000.0, (len(x), 1))
    if activity == "real rest" and open_data is not None:
        step_uv = 0.0
    if step_uv:
        x = np.round(x / step_uv) * step_uv
    elif rng.uniform() < 0.3:
        x = x.astype(np.float32).astype(np.float64)
    return Made(x, rate_hz, rest_uv, activity, step_uv, quiet_s)


def _noise(rng: np.random.Generator, shape: tuple[int, int], rate_hz: float) -> FloatArray:
    """Of RMS 1: that of the simulator, flat to half the sampling rate, or flat within 20 to 450 Hz."""
    kind = rng.integers(3)
    if kind == 0:
        return rest_noise(shape, rate_hz, rng, level_uv=1.0)
    x = rng.standard_normal(shape)
    if kind == 1 and rate_hz <= 4000:
        return x
    band = signal.butter(2, [10.0, min(450.0, 0.45 * rate_hz)], "bandpass", fs=rate_hz, output="sos")
    x = signal.sosfilt(band, x, axis=1)
    return np.asarray(x / x.std(axis=1, keepdims=True))


def _bursts(rng: np.random.Generator, n: int, rate_hz: float, activity: str) -> FloatArray:
    """Bursts of RMS 1 while they last, heavy-tailed or not: every 2 to 6 s, throughout, or fast and rhythmic."""
    every_s, long_s = {
        "now and then": (rng.uniform(2.0, 6.0), rng.uniform(0.1, 1.0)),
        "throughout": (rng.uniform(0.8, 2.0), rng.uniform(0.3, 0.7)),
        "fast": (rng.uniform(0.4, 1.0), rng.uniform(0.08, 0.25)),
    }[activity]
    edges = [40.0, min(rng.uniform(150, 300), 0.45 * rate_hz)]
    x = signal.sosfilt(signal.butter(2, edges, "bandpass", fs=rate_hz, output="sos"), rng.standard_normal(n))
    x /= x.std()
    if rng.uniform() < 0.5:
        x *= np.sqrt(rng.gamma(2.0, 0.5, n // max(1, round(0.02 * rate_hz)) + 1)).repeat(max(1, round(0.02 * rate_hz)))[
            :n
        ]
    shape = np.zeros(n)
    at_s, wander = rng.uniform(0, every_s), rng.uniform(0.0, 0.3)
    while at_s * rate_hz < n:
        start, length = round(at_s * rate_hz), max(4, round(long_s * rng.uniform(0.7, 1.3) * rate_hz))
        shape[start : start + length] = signal.windows.tukey(length, rng.uniform(0.2, 1.0))[: n - start]
        at_s += max(0.5 * every_s, every_s * (1 + wander * rng.standard_normal()))
    return np.asarray(x * shape)


def _quiet_s(still: NDArray[np.bool_], rate_hz: float) -> float:
    gaps = np.diff(np.flatnonzero(np.diff(still, prepend=False, append=False)).reshape(-1, 2), axis=1)
    return float(gaps[gaps >= GAP_S * rate_hz].sum() / rate_hz)


def _study(rng: np.random.Generator, rate_hz: float, channels: int) -> tuple[FloatArray, FloatArray]:
    muscles = [
        Muscle(label=f"m{k}", snr_db=float(rng.uniform(3, 45)), duration_s=float(rng.uniform(0.25, 0.9)))
        for k in range(channels)
    ]
    low = float(rng.uniform(0.8, 3.0))
    person = simulate_study(
        1,
        int(rng.integers(1, 9)),
        rate_hz,
        seed=int(rng.integers(2**31)),
        muscles=muscles,
        spread=Spread(noise_uv=(low, low * 1.5)),
        crosstalk=float(rng.uniform(0, 0.25)),
    ).people[0]
    return np.asarray(person.recording.microvolts(), dtype=np.float64), np.full(channels, 1.25 * low)


def _real_rest(rng: np.random.Generator, open_data: Path, channels: int, seconds: float) -> FloatArray:
    """Channels of real rest in µV, whole recordings joined end to end, high-passed at 20 Hz as many recorders do.

    Some of the source's channels have faults of their own: those below 0.8 µV RMS (a few are dead) are left out.
    """
    files = sorted((open_data / "forearm_cc0").glob("*_5.txt"))
    if not files:
        raise ReadError(f"{open_data} holds no forearm_cc0/*_5.txt; give the folder of the open recordings.")
    band = signal.butter(2, 20.0, "highpass", fs=REAL_HZ, output="sos")
    order: list[tuple[Path, int]] = []
    out = np.empty((channels, round(seconds * REAL_HZ)))
    for row in out:
        at = 0
        while at < row.size:  # nothing twice, and in no two channels at once, before all are used up
            order = order or [(files[k // 2], int(k % 2)) for k in rng.permutation(2 * len(files))]
            path, column = order.pop()
            whole = 1e3 * np.loadtxt(path, delimiter=",", usecols=column)
            whole = signal.sosfiltfilt(band, whole - whole.mean())
            if whole.std() >= 0.8:
                part = whole[: row.size - at]
                row[at : at + part.size] = part
                at += part.size
    return out


# Faults: each takes a clean recording and returns the samples with it, and the places of the channels that have it.

Planted = tuple[FloatArray, tuple[int, ...]]


def _one(made: Made, rng: np.random.Generator) -> int:
    return int(rng.integers(len(made.x)))


def _replace(made: Made, place: int, row: FloatArray) -> Planted:
    x = made.x.copy()
    x[place] = row
    return x, (place,)


def dead(made: Made, rng: np.random.Generator) -> Planted:
    """0.15 to 0.3 µV RMS within 20 to 450 Hz, and nothing else."""
    place = _one(made, rng)
    row = _noise(rng, (1, made.x.shape[1]), made.rate_hz)[0]
    band = [20.0, min(450.0, 0.45 * made.rate_hz)]
    inside = signal.sosfiltfilt(signal.butter(2, band, "bandpass", fs=made.rate_hz, output="sos"), row)
    row *= rng.uniform(0.15, 0.3) / inside.std()
    return _replace(made, place, row + np.median(made.x[place]))


def _scaled(factor: float) -> Callable[[Made, np.random.Generator], Planted]:
    def plant(made: Made, rng: np.random.Generator) -> Planted:
        place = _one(made, rng)
        return _replace(made, place, factor * made.x[place])

    return plant


def heart(made: Made, rng: np.random.Generator) -> Planted:
    """Beats of 4 to 16 times the RMS of the rest, 50 to 110 a minute, in a channel that rests for 5 s or more between
    bursts (``bench_findings`` draws until there is one)."""
    able = np.flatnonzero(made.quiet_s[: len(made.x)] >= HEART_QUIET_S)
    place = int(rng.choice(able)) if able.size else _one(made, rng)
    size = rng.uniform(4.0, 16.0) * made.rest_uv[place]
    rate = float(rng.uniform(50, 110))
    row = ARTEFACTS["heart"](made.x[place : place + 1], made.rate_hz, rng, level_uv=size, beats_per_min=rate)[0]
    return _replace(made, place, row if rng.uniform() < 0.5 else 2 * made.x[place] - row)


def _copied(gain: float, noise: float) -> Callable[[Made, np.random.Generator], Planted]:
    def plant(made: Made, rng: np.random.Generator) -> Planted:
        x = made.x if len(made.x) > 1 else np.concatenate([made.x, made.x])
        x = x.copy()
        one, other = rng.permutation(len(x))[:2]
        rest = made.rest_uv[min(one, len(made.rest_uv) - 1)]
        x[other] = gain * x[one] + noise * rest * rng.standard_normal(x.shape[1])
        return x, (int(one), int(other))

    return plant


def _code(value_uv: float) -> Callable[[Made, np.random.Generator], Planted]:
    def plant(made: Made, rng: np.random.Generator) -> Planted:
        """Single samples here and there, or gaps of up to a tenth of a second."""
        place = _one(made, rng)
        row = made.x[place].copy()
        gap = 1 if rng.uniform() < 0.5 else max(1, int(rng.uniform(0.005, 0.1) * made.rate_hz))
        for at in rng.integers(0, max(1, row.size - gap), int(rng.integers(3, 30))):
            row[at : at + gap] = value_uv
        return _replace(made, place, row)

    return plant


def _stuck(times: int) -> Callable[[Made, np.random.Generator], Planted]:
    def plant(made: Made, rng: np.random.Generator) -> Planted:
        """Some samples repeated, spread over the recording."""
        place = _one(made, rng)
        row = made.x[place].copy()
        for at in rng.integers(0, row.size - times, int(rng.integers(3, 30))):
            row[at : at + times] = row[at]
        return _replace(made, place, row)

    return plant


def able(name: str, made: Made) -> bool:
    """Can the fault show in this recording at all: heart beats need 5 s between bursts, 5 or 89 repeated samples a
    rounding that never makes so many alike by itself (in no channel)."""
    if name.startswith("heart"):
        return bool((made.quiet_s >= HEART_QUIET_S).any())
    if name.startswith("repeated"):
        times = int(name.split()[1])
        alike = np.diff(made.x, axis=1) == 0
        run = np.lib.stride_tricks.sliding_window_view(alike, times - 1, axis=1)
        return not bool(run.all(axis=2).any())
    return True


def _held(times: int) -> Callable[[Made, np.random.Generator], Planted]:
    def plant(made: Made, rng: np.random.Generator) -> Planted:
        place = _one(made, rng)
        return _replace(made, place, np.repeat(made.x[place, ::times], times)[: made.x.shape[1]])

    return plant


def mains(made: Made, rng: np.random.Generator) -> Planted:
    place = _one(made, rng)
    level = rng.uniform(0.7, 3.0) * made.x[place].std()
    hum = ARTEFACTS["mains"](
        made.x[place : place + 1], made.rate_hz, rng, level_uv=level, hz=float(rng.choice([50.0, 60.0]))
    )
    return _replace(made, place, hum[0])


def clipped(made: Made, rng: np.random.Generator) -> Planted:
    """At 30 to 80 % of the peak."""
    place = _one(made, rng)
    row = made.x[place] - np.median(made.x[place])
    limit = rng.uniform(0.3, 0.8) * np.abs(row).max()
    return _replace(made, place, np.clip(row, -limit, limit))


def drift(made: Made, rng: np.random.Generator) -> Planted:
    """A lead that swings throughout, below 5 Hz, twice as strong as all else."""
    place = _one(made, rng)
    slow = signal.sosfilt(signal.butter(2, 5.0, fs=made.rate_hz, output="sos"), rng.standard_normal(made.x.shape[1]))
    slow *= rng.uniform(2.0, 5.0) * made.x[place].std() / slow.std()
    return _replace(made, place, made.x[place] + slow)


def flat(made: Made, rng: np.random.Generator) -> Planted:
    """A drop-out at 0 of 20 to 500 ms, once."""
    place = _one(made, rng)
    row = made.x[place].copy()
    length = max(6, int(rng.uniform(0.02, 0.5) * made.rate_hz))
    at = int(rng.integers(0, row.size - length))
    row[at : at + length] = np.median(row)
    return _replace(made, place, row)


def missing(made: Made, rng: np.random.Generator) -> Planted:
    place = _one(made, rng)
    row = made.x[place].copy()
    row[rng.integers(0, row.size, 5)] = math.nan
    return _replace(made, place, row)


def constant(made: Made, rng: np.random.Generator) -> Planted:
    place = _one(made, rng)
    return _replace(made, place, np.full(made.x.shape[1], float(np.median(made.x[place]))))


FAULTS: Mapping[str, tuple[Callable[[Made, np.random.Generator], Planted], tuple[str, ...]]] = MappingProxyType(
    {
        "dead, 0.15 to 0.3 µV": (dead, ("dead",)),
        "mV read as µV": (_scaled(1e-3), ("too small",)),
        "V read as mV": (_scaled(1e-3), ("too small",)),
        "V read as µV": (_scaled(1e-6), ("too small",)),
        "mV read as V": (_scaled(1e3), ("too large",)),
        "µV read as V": (_scaled(1e6), ("too large",)),
        "heart, 4 to 16 × rest": (heart, ("heart",)),
        "identical": (_copied(1.0, 0.0), ("same signal",)),
        "inverted": (_copied(-1.0, 0.0), ("same signal",)),
        "nearly equal": (_copied(0.97, 0.1), ("same signal",)),
        "code -999": (_code(-999.0), ("code value",)),
        "code -9999": (_code(-9999.0), ("code value",)),
        "code 32767": (_code(32767.0), ("code value",)),
        "code -999 mV": (_code(-999e3), ("code value",)),
        "repeated 5 times": (_stuck(5), ("repeated", "held")),
        "repeated 89 times": (_stuck(89), ("repeated", "held")),
        "held 5 times": (_held(5), ("held", "repeated")),
        "held 89 times": (_held(89), ("held", "repeated")),
        "mains": (mains, ("mains",)),
        "clipped": (clipped, ("clipped",)),
        "below 20 Hz": (drift, ("low frequencies",)),
        "flat": (flat, ("repeated", "code value")),
        "missing": (missing, ("missing",)),
        "constant": (constant, ("constant",)),
    }
)
"""Each with the codes that name it."""
