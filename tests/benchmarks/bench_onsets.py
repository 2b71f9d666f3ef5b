"""Accuracy and speed of the onset methods, as tables.

Run ``python tests/benchmarks/bench_onsets.py [--quick] [--seed N]``. Simulated trials have a ramp-modulated Gaussian
burst or motor-unit trains on rest noise; spliced trials have a gain-ramped real burst on real rest
(EMGREVIEW_OPEN_DATA, folder forearm_cc0: CC0 1.0, rate 1000 Hz inferred). Level is that of the burst alone over the
rest, 20 to 450 Hz. A missed onset counts as an infinite error. Seeds below 1000 were used while developing; report with
others.

    gaussian_trials, unit_trials, spliced_trials     (x, rate_hz, onset_s, offset_s) with exactly known truth
    quiet_trials                                     trials without activity, by kind of trouble
    accuracy, false_onsets, level_bias, speed        the tables
"""

import argparse
import os
import statistics
import time
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import numpy as np
from scipy import signal

from emgreview.signal.filters import bandpass
from emgreview.signal.onset import METHODS, estimate_onsets

CUE_S = 0.8
LENGTH_S = 2.6
RATE_HZ = 2000.0
RISES_S = (0.010, 0.030, 0.080, 0.150, 0.300)
LEVELS_DB = (5, 10, 15, 20, 30)
Made = tuple[np.ndarray, float, np.ndarray, np.ndarray]


def in_band(x: np.ndarray, rate_hz: float) -> np.ndarray:
    return bandpass(x, rate_hz, low_hz=20.0, high_hz=450.0, order=2, direction="zero-phase")


def rms(x: np.ndarray) -> np.ndarray:
    return np.sqrt(np.mean(x**2, axis=-1, keepdims=True))


def muscle_noise(rng: np.random.Generator, shape: tuple[int, int], rate_hz: float) -> np.ndarray:
    """Gaussian noise with the spectrum of surface EMG: most power from 50 to 150 Hz."""
    sos = signal.butter(2, [50, 160], "bandpass", fs=rate_hz, output="sos")
    x = signal.sosfilt(sos, rng.standard_normal((shape[0], shape[1] + 500)), axis=-1)[:, 500:]
    return x / x.std()


def rest_noise(rng: np.random.Generator, shape: tuple[int, int], rate_hz: float) -> np.ndarray:
    """Amplifier noise: white with a share that falls with frequency; one shape a trial."""
    white = rng.standard_normal(shape)
    slow = signal.lfilter([1.0], [1.0, -0.9], rng.standard_normal(shape), axis=-1)
    return white + rng.uniform(0.0, 0.6, (shape[0], 1)) * slow


def ramp_profile(time_s: np.ndarray, onset_s: np.ndarray, rise_s: float, offset_s: np.ndarray, fall_s: float):
    up = np.clip((time_s - onset_s[:, None]) / rise_s, 0, 1)
    return np.minimum(up, np.clip((offset_s[:, None] - time_s) / fall_s, 0, 1))


def moments(rng: np.random.Generator, n: int, rise_s: float) -> tuple[np.ndarray, np.ndarray, float]:
    onset_s = CUE_S + rng.uniform(0.15, 0.6, n)
    fall_s = float(rng.uniform(0.03, 0.15))
    return onset_s, onset_s + rise_s + rng.uniform(0.15, 0.5, n) + fall_s, fall_s


def mix(rng: np.random.Generator, burst: np.ndarray, plateau: np.ndarray, noise: np.ndarray, level_db: float, rate_hz):
    """Burst on noise, both band-passed, the burst's plateau (a mask) at ``level_db`` over the noise."""
    burst, noise = in_band(burst, rate_hz), in_band(noise, rate_hz)
    strength = np.sqrt((burst**2 * plateau).sum(-1, keepdims=True) / plateau.sum(-1, keepdims=True))
    return noise / rms(noise) + burst / strength * 10 ** (level_db / 20)


def gaussian_trials(rng: np.random.Generator, n: int, level_db: float, rise_s: float) -> Made:
    samples = int(LENGTH_S * RATE_HZ)
    time_s = np.arange(samples) / RATE_HZ
    onset_s, offset_s, fall_s = moments(rng, n, rise_s)
    gain = ramp_profile(time_s, onset_s, rise_s, offset_s, fall_s)
    burst = muscle_noise(rng, (n, samples), RATE_HZ) * gain
    x = mix(rng, burst, gain >= 1, rest_noise(rng, (n, samples), RATE_HZ), level_db, RATE_HZ)
    return x, RATE_HZ, onset_s, offset_s


def unit_trials(rng: np.random.Generator, n: int, level_db: float, rise_s: float) -> Made:
    """Motor-unit trains: recruitment and rate coding after Fuglevand 1993 (parameters from memory).

    The onset is 10 % of the rise of the first potential, the offset the last sample above 10 % of the last one.
    """
    samples, units = int(LENGTH_S * RATE_HZ), 120
    time_s = np.arange(samples) / RATE_HZ
    begin_s, end_s, fall_s = moments(rng, n, rise_s)
    drive = ramp_profile(time_s, begin_s, rise_s, end_s, fall_s) ** 1.5
    level = rng.uniform(0.3, 0.8)
    threshold = np.exp(np.log(30) * np.arange(1, units + 1) / units)
    peak = 35 - 10 * np.arange(1, units + 1) / units
    top = threshold[-1] + peak[-1] - 8
    excitation = drive * level * top
    burst = np.zeros((n, samples))
    first, last = np.full(n, np.inf), np.full(n, -np.inf)
    t = np.arange(-0.012, 0.012, 1 / RATE_HZ)
    for unit in range(units):
        depth = rng.uniform(3, 12)
        width = (1.6 + 1.6 * (depth - 3) / 9) * 1e-3
        u = t / width
        shape = (u if rng.random() < 0.5 else 2 * u**2 - 1) * np.exp(-(u**2)) * rng.choice([-1, 1])
        size = 100 ** ((unit + 1) / units)
        shape *= size**0.75 * depth**-1.5 / np.abs(shape).max()
        above = np.abs(shape) >= 0.1 * np.abs(shape).max()
        lead, trail = np.argmax(above), len(t) - 1 - np.argmax(above[::-1])
        rate = np.where(excitation >= threshold[unit], np.minimum(8 + excitation - threshold[unit], peak[unit]), 0)
        if rise_s <= 0.03:
            rate = np.where((rate > 0) & (time_s < begin_s[:, None] + 0.04), np.maximum(rate, 90.0), rate)
        phase = np.cumsum(rate, axis=-1) / RATE_HZ
        intervals = np.clip(1 + 0.2 * rng.standard_normal((n, 60)), 0.4, 1.6)
        intervals[:, 0] *= rng.random(n) * 0.3
        marks = np.cumsum(intervals, axis=-1)
        spikes = np.zeros((n, samples))
        for row in range(n):
            at = np.searchsorted(phase[row], marks[row][marks[row] < phase[row, -1]])
            at = at[(at > 50) & (at < samples - 50)]
            if len(at):
                spikes[row, at] = 1
                first[row] = min(first[row], at[0] - len(t) // 2 + lead)
                last[row] = max(last[row], at[-1] - len(t) // 2 + trail)
        burst += signal.oaconvolve(spikes, shape[None], mode="same", axes=-1)
    plateau = ramp_profile(time_s, begin_s, rise_s, end_s, fall_s) >= 1
    x = mix(rng, burst, plateau, rest_noise(rng, (n, samples), RATE_HZ), level_db, RATE_HZ)
    return x, RATE_HZ, first / RATE_HZ, last / RATE_HZ


@lru_cache
def forearm(movement: int) -> list[tuple[str, np.ndarray]]:
    """Forearm recordings (CC0), band-passed: name and (2, samples)."""
    folder = Path(os.environ["EMGREVIEW_OPEN_DATA"]) / "forearm_cc0"
    paths = sorted(folder.glob(f"*_{movement}.txt"))
    assert paths, f"no recording of movement {movement} in {folder}"
    return [(path.stem, in_band(np.loadtxt(path, delimiter=",").T, 1000.0)) for path in paths]


SEEN = {("11_1_5", 1), ("12_2_5", 1), ("1_3_5", 0), ("1_3_5", 1), ("4_1_5", 1), ("7_3_5", 1)}
"""Rest recordings (name, channel) with activity that is plain in a picture of the trace. Only channels in which a
method had found something were looked at."""


@lru_cache
def rest_material() -> list[np.ndarray]:
    """One channel each: stretches of real rest, without those SEEN to be active or with a plain contraction."""
    found = []
    for name, x in forearm(5):
        for number, channel in enumerate(x):
            if (name, number) in SEEN:
                continue
            level = np.sqrt(np.mean(channel[: len(channel) // 100 * 100].reshape(-1, 100) ** 2, axis=-1))
            if level.max() < 4 * np.median(level):
                found.append(channel)
    return found


def spliced_trials(rng: np.random.Generator, n: int, level_db: float | None, rise_s: float) -> Made:
    """A real burst times a ramp, added to real rest; as strong as it happens to be where level_db is None."""
    rate_hz = 1000.0
    samples = int(LENGTH_S * rate_hz)
    rests = rest_material()
    bursts = [channel for movement in (2, 3) for _, x in forearm(movement) for channel in x]
    time_s = np.arange(samples) / rate_hz
    onset_s, offset_s, fall_s = moments(rng, n, rise_s)
    gain = ramp_profile(time_s, onset_s, rise_s, offset_s, fall_s)
    x = np.empty((n, samples))
    for row in range(n):
        rest = rests[rng.integers(len(rests))]
        start = rng.integers(200, len(rest) - samples - 200)
        rest = rest[start : start + samples]
        strength = 0.0
        while strength < 3 * rest.std():
            burst = bursts[rng.integers(len(bursts))]
            start = rng.integers(200, len(burst) - samples - 200)
            strength = burst[start : start + samples].std()
        burst = burst[start : start + samples] * gain[row]
        scale = 1.0 if level_db is None else rest.std() / strength * 10 ** (level_db / 20)
        x[row] = rest + scale * burst
    return x, rate_hz, onset_s, offset_s


def heart(rng: np.random.Generator, n: int, samples: int, rate_hz: float) -> np.ndarray:
    """Heart beats of unit peak: the open record (ODC-By), its pace varied, where it is there; made ones if not."""
    x = np.zeros((n, samples))
    root = os.environ.get("EMGREVIEW_OPEN_DATA")
    if root:
        with np.load(Path(root) / "ecg_odc" / "ecg.dat") as file:
            record = (file["ecg"].astype(float) - 1024) / 200
        for row in range(n):
            pace = rng.uniform(0.7, 1.4)
            start = rng.integers(0, len(record) - 360 * 6)
            t = start + np.arange(samples) / rate_hz * 360 * pace
            x[row] = np.interp(t, np.arange(len(record)), record)
    else:
        width = np.arange(-0.05, 0.05, 1 / rate_hz)
        beat = np.exp(-((width / 0.012) ** 2)) - 0.4 * np.exp(-(((width - 0.025) / 0.012) ** 2))
        for row in range(n):
            at = (rng.uniform(0, 0.8) + np.arange(5) * rng.uniform(0.55, 1.2)) * rate_hz
            x[row, at[at < samples].astype(int)] = 1
        x = signal.oaconvolve(x, beat[None], mode="same", axes=-1)
    x = in_band(x, rate_hz)
    return x / np.abs(x).max(-1, keepdims=True)


QUIET = ("quiet", "mains", "tonic", "heart", "knocks", "real rest")


def quiet_trials(rng: np.random.Generator, n: int, kind: str) -> tuple[np.ndarray, float]:
    samples = int(LENGTH_S * RATE_HZ)
    time_s = np.arange(samples) / RATE_HZ
    if kind == "real rest":
        rests = rest_material()
        x = np.empty((n, int(LENGTH_S * 1000)))
        for row in range(n):
            rest = rests[rng.integers(len(rests))]
            start = rng.integers(100, len(rest) - x.shape[1] - 100)
            x[row] = rest[start : start + x.shape[1]]
        return x, 1000.0
    noise = in_band(rest_noise(rng, (n, samples), RATE_HZ), RATE_HZ)
    noise /= rms(noise)
    if kind == "mains":
        mains = sum(np.sin(2 * np.pi * 50.1 * k * time_s + rng.uniform(0, 6.3, (n, 1))) / k for k in (1, 2, 3, 5))
        noise = noise + rng.uniform(0.5, 4, (n, 1)) * mains
    elif kind == "tonic":
        slow = 1 + 0.15 * np.sin(2 * np.pi * rng.uniform(0.3, 3, (n, 1)) * time_s + rng.uniform(0, 6.3, (n, 1)))
        noise = noise + 3 * slow * muscle_noise(rng, (n, samples), RATE_HZ)
    elif kind == "heart":
        noise = noise + rng.uniform(5, 20, (n, 1)) * heart(rng, n, samples, RATE_HZ)
    elif kind == "knocks":
        for row in range(n):
            at, length = rng.integers(int(CUE_S * RATE_HZ), samples - 400), int(rng.uniform(0.01, 0.06) * RATE_HZ)
            knock = rng.standard_normal(length) * np.hanning(length) * 10 ** rng.uniform(0.7, 1.8)
            noise[row, at : at + length] += knock
        noise = in_band(noise, RATE_HZ)
    return noise, RATE_HZ


MAKERS: dict[str, Callable[..., Made]] = {
    "gaussian": gaussian_trials,
    "units": unit_trials,
    "splice": spliced_trials,
}


def find(x: np.ndarray, rate_hz: float, method: str):
    return estimate_onsets(x, rate_hz, cue_s=CUE_S, rest_s=(-0.6, 0.0), search_s=(0.0, 1.4), method=method)


def median_error(estimate_s: np.ndarray, truth_s: np.ndarray) -> float:
    return 1e3 * float(np.median(np.nan_to_num(np.abs(estimate_s - truth_s), nan=np.inf)))


def accuracy(kind: str, n: int, seed: int, methods: list[str], levels=LEVELS_DB, rises=RISES_S) -> dict:
    print(
        f"\n{kind}: median |error| in ms; for ramp also bias, SD, > 100 ms early, missed, within 90 % interval, offset"
    )
    print("level rise  " + "".join(f"{m:>18}" for m in methods) + "    bias    SD  early  miss cover | offset cover")
    biases = {}
    for level in levels:
        for rise in rises:
            x, rate_hz, onset_s, offset_s = MAKERS[kind](
                np.random.default_rng([seed, level, int(rise * 1e3)]), n, level, rise
            )
            results = {m: find(x, rate_hz, m) for m in methods}
            row = "".join(f"{median_error(r.onset_s, onset_s):18.1f}" for r in results.values())
            r = results[methods[-1]]
            error = 1e3 * (r.onset_s - onset_s)
            seen = np.isfinite(error)
            inside = np.mean((r.low_s <= onset_s)[seen] & (onset_s <= r.high_s)[seen]) if seen.any() else np.nan
            off = 1e3 * (r.offset_s - offset_s)
            known = np.isfinite(off)
            covered = np.mean((r.offset_low_s <= offset_s)[known] & (offset_s <= r.offset_high_s)[known])
            bias = float(np.median(error[seen])) if seen.any() else np.nan
            biases[level, rise] = bias
            spread = 1.4826 * np.median(np.abs(error[seen] - bias)) if seen.any() else np.nan
            print(
                f"{level:4d} {rise * 1e3:5.0f}  {row} {bias:7.1f} {spread:5.1f} {100 * np.mean(error < -100):5.1f}%"
                f" {100 * np.mean(~seen):4.1f}% {100 * inside:4.0f}% |"
                f" {median_error(r.offset_s, offset_s):5.1f} {100 * covered:4.0f}%"
            )
    return biases


def level_bias(biases: dict, rises=(0.030, 0.080)) -> None:
    for rise in rises:
        if (10, rise) in biases and (30, rise) in biases:
            moved = biases[10, rise] - biases[30, rise]
            print(f"rise {rise * 1e3:.0f} ms: bias at 10 dB minus bias at 30 dB = {moved:+.1f} ms")


def false_onsets(n: int, seed: int, methods: list[str]) -> None:
    print("\nactivity-free trials in which an onset was found, %")
    print(f"{'':12}" + "".join(f"{m:>18}" for m in methods))
    for kind in QUIET:
        if kind == "real rest" and "EMGREVIEW_OPEN_DATA" not in os.environ:
            continue
        x, rate_hz = quiet_trials(np.random.default_rng([seed, 77]), n, kind)
        shares = [100 * np.mean(np.isfinite(find(x, rate_hz, m).onset_s)) for m in methods]
        print(f"{kind:12}" + "".join(f"{share:18.1f}" for share in shares))


def speed(runs: int = 5) -> float:
    """Median over alternating runs of the default method's time over that of one zero-phase band-pass, 1,000 × 3 s."""
    rng = np.random.default_rng(5)
    rate_hz = 2000.0
    x = np.concatenate([gaussian_trials(rng, 100, 15, 0.05)[0] for _ in range(10)])
    x = np.concatenate([x, x[:, : 6000 - x.shape[1]]], axis=1)
    sos = signal.butter(4, [20, 450], "bandpass", fs=rate_hz, output="sos")
    ratios = []
    for _ in range(runs):
        start = time.perf_counter()
        signal.sosfiltfilt(sos, x, axis=-1)
        middle = time.perf_counter()
        estimate_onsets(x, rate_hz, cue_s=CUE_S, rest_s=(-0.6, 0.0))
        ratios.append((time.perf_counter() - middle) / (middle - start))
    print(f"\nspeed: {statistics.median(ratios):.2f} × one zero-phase band-pass; runs {[round(r, 2) for r in ratios]}")
    return statistics.median(ratios)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="30 trials a cell instead of 200")
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--kinds", default="gaussian,units,splice")
    options = parser.parse_args()
    n = 30 if options.quick else 200
    methods = [*(m for m in METHODS if m != "ramp"), "ramp"]
    for kind in options.kinds.split(","):
        if kind == "splice" and "EMGREVIEW_OPEN_DATA" not in os.environ:
            print("\nsplice: left out, EMGREVIEW_OPEN_DATA is not set")
            continue
        level_bias(accuracy(kind, n, options.seed, methods))
    false_onsets(5 * n, options.seed, methods)
    speed()


if __name__ == "__main__":
    main()
