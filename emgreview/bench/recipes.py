"""Trials with exactly known truth, band-passed as the comparators of the benchmark demand.

Three kinds of activity, each at a stated level and rise:

    units        motor-unit trains of :func:`emgreview.simulation.simulate`; the truth is 10 % of the rise of the first
                 potential; every 25 trials have another pool and another effort
    splices      a real burst (open forearm recordings, movements 2 and 3) times a straight ramp, added to real rest of
                 another recording (movement 5); the truth is the start of the ramp
    modulated    heavy-tailed noise whose SD follows one of :data:`SHAPES`, or each in turn; the truth is its start

Activity and rests that do not share the assumptions of the default method are in :mod:`~emgreview.bench.others`, trials
without activity in :mod:`~emgreview.bench.still`.

The level is 20 log10 of the RMS of the burst alone, onset to offset, over the RMS of the rest, both within 20-450 Hz
(or 0.45 of the rate where that is lower), mains and heart not counted. Units below 1000 Hz are simulated at 1000 Hz,
pass an amplifier's causal low-pass and are then thinned out: its delay is part of the error. Real material at other
rates is resampled before it is spliced, so the start of the ramp stays exact; above 1000 Hz it holds nothing new.
Arrays are (trials, samples) and (trials,); seconds from the first sample; NaN where there
is no activity. The forearm recordings are CC0 1.0 ("Surface Electromyography Dataset from Different Movements of the
Hand"); their rate, 1000 Hz, is inferred.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from emgreview.errors import ParameterError, ReadError
from emgreview.model import Processing
from emgreview.signal.filters import bandpass
from emgreview.simulation import rest_noise, simulate

Array = NDArray[np.float64]

RATE_HZ, SPLICE_RATE_HZ = 2000.0, 1000.0
CUE_S, LENGTH_S = 1.0, 2.6
REST_S = (-0.5, 0.0)
NOISE_UV = 3.0
POOL_TRIALS = 25
LOWEST_SIMULATED_HZ = 1000.0

TROUBLES: Mapping[str, Mapping[str, Any]] = MappingProxyType(
    {
        "nothing": {},
        "tonic": {"artefacts": {"tonic": {"level_uv": 3.0}}},
        "mains 50 Hz": {"artefacts": {"mains": {"level_uv": 6.0, "hz": 50.0}}},
        "mains 60 Hz": {"artefacts": {"mains": {"level_uv": 6.0, "hz": 60.0}}},
        "heart": {"artefacts": {"heart": {"level_uv": 40.0}}},
        "knock before": {"artefacts": {"knock": {"level_uv": 60.0, "at_s": CUE_S + 0.06}}},
        "swing": {"artefacts": {"swing": {"level_uv": 60.0, "at_s": CUE_S + 0.1}}},
        "electrode step": {"artefacts": {"pop": {"level_uv": 100.0, "at_s": CUE_S + 0.06}}},
        "clipped": {"artefacts": {"clip": {"share": 0.4}}},
        "early burst": {"artefacts": {"early_burst": {"level_uv": 6.0, "at_s": CUE_S + 0.03, "duration_s": 0.05}}},
        "neighbour": {"artefacts": {"crosstalk": {"level_uv": 2.0, "at_s": CUE_S + 0.25}}},
        "1000 Hz": {"rate_hz": 1000.0},
        "4000 Hz": {"rate_hz": 4000.0},
        "filtered amplifier": {"amplifier": True},
        "two bursts": {"second": True},
    }
)
"""Options of :func:`units` for a burst of 15 dB (17 µV RMS) and 50 ms rise, in noise of 3 µV RMS."""


TROUBLE_DB, TROUBLE_RISE_S = 15.0, 0.05

UNTRUSTED: Mapping[str, tuple[str, Mapping[str, Any]]] = MappingProxyType(
    {
        "quiet": ("", {}),
        "short": ("too short", {"rest_s": (-0.2, 0.0)}),
        "active in part": ("active before the cue", {"gain": ((-0.4, 10.0), (-0.2, 10.0))}),
        "active to 50 ms after go": ("active before the cue", {"gain": ((-9.0, 10.0), (0.05, 10.0))}),
        "grows by 12 dB": ("drifting", {"gain": ((-0.5, 0.25), (0.0, 1.0))}),
        "falls by 12 dB": ("active before the cue", {"gain": ((-0.5, 4.0), (0.0, 1.0))}),
    }
)
"""Rests: the word that is due, and options of :func:`units`. ``gain`` on the noise is a line between two (seconds from
the cue, gain), steps to 1 outside it where it is level, and holds its first value before it otherwise."""

UNTRUSTED_DB = (-np.inf, 15.0, 30.0)
"""Levels of the burst over the noise after go; -inf: none."""


@dataclass(frozen=True, eq=False)
class Made:
    """Trials ``x`` (trials, samples) and their truth, (trials,) seconds; ``visible_s`` is where the RMS of the burst
    alone over 10 ms first exceeds that of the rest. ``rest_s`` is the rest window to use."""

    x: Array
    rate_hz: float
    onset_s: Array
    visible_s: Array
    offset_s: Array
    rest_s: tuple[float, float] = REST_S


WAYS = ("zero-phase", "causal", "the package's own")


def band(x: Array, rate_hz: float, *, way: str = WAYS[0]) -> Array:
    """Band-pass ``butter(4, [20, 450])``, up to 0.45 of the rate where that is lower: the comparators' own. Zero-phase,
    or forward alone; or what :class:`~emgreview.model.Processing` does unless told otherwise: second order, corners
    of both passes together, zero-phase."""
    low_hz, high_hz = 20.0, min(450.0, 0.45 * rate_hz)
    if way == WAYS[2]:
        own = Processing()
        high_hz = min(own.high_hz or high_hz, high_hz)
        y = bandpass(x, rate_hz, low_hz=own.low_hz, high_hz=high_hz, order=own.order, direction=own.direction)
        return y.astype(float)
    sos = signal.butter(4, [low_hz, high_hz], "bandpass", fs=rate_hz, output="sos")
    return signal.sosfilt(sos, x, axis=-1) if way == WAYS[1] else signal.sosfiltfilt(sos, x, axis=-1)


def thinned(x: Array, rate_hz: float, to_hz: float) -> Array:
    """An amplifier's low-pass (causal, ``butter(4, 0.4 to_hz)``), then every k-th sample; k must be whole."""
    step = round(rate_hz / to_hz)
    if step * to_hz != rate_hz:
        raise ParameterError(f"rate_hz came with {to_hz:g}; allowed: {rate_hz:g} Hz over a whole number; change it.")
    sos = signal.butter(4, 0.4 * to_hz, fs=rate_hz, output="sos")
    return signal.sosfilt(sos, x, axis=-1)[..., ::step]


def units(
    rng: np.random.Generator,
    n: int,
    snr_db: float,
    rise_s: float,
    *,
    artefacts: Mapping[str, Mapping[str, object]] | None = None,
    rate_hz: float = RATE_HZ,
    amplifier: bool = False,
    second: bool = False,
    gain: tuple[tuple[float, float], tuple[float, float]] | None = None,
    rest_s: tuple[float, float] = REST_S,
) -> Made:
    """Motor-unit trains; ``amplifier`` band-passes them 10-500 Hz, forward, before anything else.

    ``second`` adds another burst of the same level and rise 0.2 s after the offset of the first, which is the truth.
    ``gain`` is that of the noise, see :data:`UNTRUSTED`.
    """
    parts = []
    simulated_hz = max(rate_hz, LOWEST_SIMULATED_HZ)
    for start in range(0, n, POOL_TRIALS):
        count = min(POOL_TRIALS, n - start)
        fall_s = rng.uniform(0.05, 0.15, count)
        made = simulate(
            count,
            simulated_hz,
            seed=int(rng.integers(2**31)),
            snr_db=snr_db,
            rise_s=rise_s,
            fall_s=fall_s,
            duration_s=rise_s + fall_s + rng.uniform(0.1, 0.4, count),
            before_s=CUE_S,
            after_s=LENGTH_S - CUE_S,
            effort=float(rng.uniform(0.25, 0.7)),
            noise_uv=NOISE_UV,
            artefacts=artefacts,
        )
        x = made.x
        if second:
            again = simulate(
                count,
                rate_hz,
                seed=int(rng.integers(2**31)),
                snr_db=snr_db,
                rise_s=rise_s,
                fall_s=0.08,
                duration_s=rise_s + 0.18,
                onset_s=made.offset_s + 0.2,
                before_s=CUE_S,
                after_s=LENGTH_S - CUE_S,
                noise_uv=NOISE_UV,
            )
            x = x + again.burst_uv
        if gain is not None:
            x = made.burst_uv + (x - made.burst_uv) * line(gain, np.arange(x.shape[1]) / rate_hz - CUE_S)
        if amplifier:
            x = signal.sosfilt(signal.butter(2, [10, 500], "bandpass", fs=rate_hz, output="sos"), x, axis=-1)
        if rate_hz < simulated_hz:
            burst, rest = (thinned(v, simulated_hz, rate_hz) for v in (made.burst_uv, made.x - made.burst_uv))
            parts.append(scaled(burst, rest, rate_hz, made.onset_s, made.offset_s, snr_db))
            continue
        parts.append(Made(band(x, rate_hz), rate_hz, made.onset_s, made.visible_s, made.offset_s, rest_s))
    return joined(parts)


def line(ends: tuple[tuple[float, float], tuple[float, float]], time_s: Array) -> Array:
    """A gain over time, see :data:`UNTRUSTED`."""
    (start, first), (stop, last) = ends
    if first == last:
        return np.where((time_s >= start) & (time_s < stop), first, 1.0)
    return np.interp(time_s, (start, stop), (first, last))


def joined(parts: list[Made]) -> Made:
    columns = {name: np.concatenate([getattr(p, name) for p in parts]) for name in ("x", *TRUTHS)}
    return Made(rate_hz=parts[0].rate_hz, rest_s=parts[0].rest_s, **columns)


TRUTHS = ("onset_s", "visible_s", "offset_s")


def moments(rng: np.random.Generator, n: int, rise_s: float) -> tuple[Array, Array, Array]:
    """Onset, length of the fall, and offset of each trial."""
    onset_s = CUE_S + rng.uniform(0.15, 0.35, n)
    fall_s = rng.uniform(0.05, 0.15, n)
    return onset_s, fall_s, onset_s + rise_s + rng.uniform(0.1, 0.4, n) + fall_s


def scaled(
    burst: Array,
    rest: Array,
    rate_hz: float,
    onset_s: Array,
    offset_s: Array,
    snr_db: float,
    *,
    way: str = WAYS[0],
) -> Made:
    """Burst at its level on rest, both (trials, samples), band-passed."""
    time_s = np.arange(burst.shape[1]) / rate_hz
    inside = (time_s >= onset_s[:, None]) & (time_s <= offset_s[:, None])
    burst, rest = (band(part, rate_hz, way=way) for part in (burst, rest))
    rest_rms = np.sqrt(np.mean(rest**2, axis=1, keepdims=True))
    rms = np.sqrt(np.sum(burst**2 * inside, axis=1, keepdims=True) / inside.sum(axis=1, keepdims=True))
    burst = burst * (rest_rms / rms * 10 ** (snr_db / 20))
    width = max(1, round(0.01 * rate_hz))
    local = signal.oaconvolve(burst**2, np.full((1, width), 1 / width), mode="same", axes=-1)
    seen = (local > rest_rms**2) & (time_s >= onset_s[:, None])
    visible_s = np.where(seen.any(axis=1), seen.argmax(axis=1) / rate_hz, np.nan)
    return Made(rest + burst, rate_hz, onset_s, visible_s, offset_s)


SHAPES: Mapping[str, Callable[[Array], Array]] = MappingProxyType(
    {
        "line": lambda u: np.clip(u, 0, 1),
        "half a cosine": lambda u: 0.5 - 0.5 * np.cos(np.pi * np.clip(u, 0, 1)),
        "saturating": lambda u: 1 - np.exp(-3 * np.maximum(u, 0)),
        "smoothstep": lambda u: np.clip(u, 0, 1) ** 2 * (3 - 2 * np.clip(u, 0, 1)),
    }
)
"""The SD of modulated noise over time in rises: a line, half a cosine, an exponential with a third of the rise as its
time constant, and 3 u² - 2 u³."""

EVENLY, EVENLY_FROM_DB = "evenly in dB", 6.0
"""A fifth shape, as recruitment by size gives: it starts at once, 6 dB over the rest (or 3 dB below its plateau, where
that is less), and grows evenly in dB."""


def modulated(
    rng: np.random.Generator,
    n: int,
    snr_db: float,
    rise_s: float,
    *,
    rate_hz: float = RATE_HZ,
    shape: str | None = None,
) -> Made:
    """Noise with Student's t distribution (5 degrees), band 40 to 200 Hz (or 0.45 of the rate), under one shape of
    rise, EVENLY or one of SHAPES, which it falls by in mirror image; or each of SHAPES in turn, falling as a line."""
    samples = round(LENGTH_S * rate_hz)
    time_s = np.arange(samples) / rate_hz
    onset_s, fall_s, offset_s = moments(rng, n, rise_s)
    u, back = (time_s - onset_s[:, None]) / rise_s, (offset_s[:, None] - time_s) / fall_s[:, None]
    if shape is None:
        gain = np.empty_like(u)
        for number, one in enumerate(SHAPES.values()):
            gain[number :: len(SHAPES)] = one(u[number :: len(SHAPES)])
        gain *= np.clip(back, 0, 1)
    else:
        growth = max(snr_db - EVENLY_FROM_DB, 3.0) / 20
        one = SHAPES[shape] if shape != EVENLY else lambda u: (u >= 0) * 10 ** (growth * (np.clip(u, 0, 1) - 1))
        gain = one(u) * one(back)
    colour = signal.butter(2, [40, min(200.0, 0.45 * rate_hz)], "bandpass", fs=rate_hz, output="sos")
    burst = signal.sosfilt(colour, rng.standard_t(5, (n, samples)), axis=-1) * gain
    rest = rest_noise((n, samples), rate_hz, rng, level_uv=NOISE_UV)
    return scaled(burst, rest, rate_hz, onset_s, offset_s, snr_db)


@dataclass(frozen=True, eq=False)
class Forearm:
    """Channels of the open forearm recordings: ``bursts`` of movements, ``rests``.

    ``rests`` are those used unless something else is said: without the ``left_out`` ones, in which a method had fired
    and a picture showed activity. ``contracted`` is how many more were left out for a plain contraction.
    """

    bursts: tuple[Array, ...]
    rests: tuple[Array, ...]
    left_out: tuple[Array, ...]
    contracted: int
    rate_hz: float = SPLICE_RATE_HZ

    def at(self, rate_hz: float) -> "Forearm":
        """The same, resampled."""
        return self if rate_hz == self.rate_hz else _resampled(self, rate_hz)


ACTIVE_AT_REST = frozenset(
    {
        *(("10_3", 1), ("11_1", 1), ("11_1", 0), ("12_2", 1), ("13_3", 1), ("15_1", 0), ("15_1", 1), ("16_3", 0)),
        *(("16_3", 1), ("17_1", 1), ("17_2", 1), ("1_3", 0), ("1_3", 1), ("4_1", 1), ("6_1", 1), ("6_3", 1)),
        *(("7_1", 0), ("7_1", 1), ("7_2", 1), ("7_3", 1), ("8_2", 1)),
    }
)
"""Rest recordings (subject_repetition, channel) whose trace shows activity in a picture. Only those in which a method
had found some were looked at, so the rest left over is too calm for false onsets: both figures are reported."""


@lru_cache(maxsize=4)
def forearm(folder: Path, subjects: tuple[int, ...]) -> Forearm:
    """The recordings of some subjects; ReadError where they are not there.

    A rest channel with a plain contraction (a stretch of 0.1 s with more than four times the median RMS) is left out.
    """
    bursts: list[Array] = []
    rests: list[Array] = []
    left_out: list[Array] = []
    contracted = 0
    for subject in subjects:
        for path in sorted((folder / "forearm_cc0").glob(f"{subject}_*_[235].txt")):
            repetition, movement = path.stem.rsplit("_", 1)
            for number, channel in enumerate(np.loadtxt(path, delimiter=",").T):
                if movement != "5":
                    bursts.append(channel)
                    continue
                whole = band(channel, SPLICE_RATE_HZ)[: len(channel) // 100 * 100]
                level = np.sqrt(np.mean(whole.reshape(-1, 100) ** 2, axis=-1))
                if level.max() >= 4 * np.median(level):
                    contracted += 1
                else:
                    (left_out if (repetition, number) in ACTIVE_AT_REST else rests).append(channel)
    if not bursts or not rests:
        raise ReadError(
            f"{folder} holds no forearm recordings of subjects {subjects}; the folder must hold 'forearm_cc0' with "
            "files subject_repetition_movement.txt; give the folder of the open data, or leave it out."
        )
    return Forearm(tuple(bursts), tuple(rests), tuple(left_out), contracted)


@lru_cache(maxsize=8)
def _resampled(material: Forearm, rate_hz: float) -> Forearm:
    def changed(channels: tuple[Array, ...]) -> tuple[Array, ...]:
        if rate_hz < material.rate_hz:
            return tuple(thinned(channel - channel[0], material.rate_hz, rate_hz) for channel in channels)
        up = Fraction(rate_hz / material.rate_hz).limit_denominator(1000)
        return tuple(
            signal.resample_poly(channel - channel.mean(), up.numerator, up.denominator) for channel in channels
        )

    bursts, rests, left_out = (changed(part) for part in (material.bursts, material.rests, material.left_out))
    return Forearm(bursts, rests, left_out, material.contracted, rate_hz)


def cut(rng: np.random.Generator, channels: tuple[Array, ...], n: int, rate_hz: float = SPLICE_RATE_HZ) -> Array:
    """Stretches of channels drawn by chance, (n, samples of a trial), each without its mean."""
    samples = round(LENGTH_S * rate_hz)
    out = np.empty((n, samples))
    for row in out:
        channel = channels[rng.integers(len(channels))]
        start = rng.integers(len(channel) - samples)
        row[:] = channel[start : start + samples]
    return out - out.mean(axis=1, keepdims=True)


def splices(
    rng: np.random.Generator,
    n: int,
    snr_db: float,
    rise_s: float,
    *,
    material: Forearm,
    rate_hz: float = SPLICE_RATE_HZ,
    way: str = WAYS[0],
) -> Made:
    """Real bursts on real rest; burst material at least three times as strong as the rest it is laid on."""
    material = material.at(rate_hz)
    rest, burst = (cut(rng, channels, n, rate_hz) for channels in (material.rests, material.bursts))
    for _ in range(100):
        weak = band(burst, rate_hz).std(axis=1) < 3 * band(rest, rate_hz).std(axis=1)
        if not weak.any():
            break
        burst[weak] = cut(rng, material.bursts, int(weak.sum()), rate_hz)
    onset_s, fall_s, offset_s = moments(rng, n, rise_s)
    time_s = np.arange(rest.shape[1]) / rate_hz
    gain = np.clip((time_s - onset_s[:, None]) / rise_s, 0, 1)
    gain = np.minimum(gain, np.clip((offset_s[:, None] - time_s) / fall_s[:, None], 0, 1))
    return scaled(burst * gain, rest, rate_hz, onset_s, offset_s, snr_db, way=way)
