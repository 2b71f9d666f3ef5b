"""Speed of the default onset method: 1,000 trials x 3 s at 2 kHz, as a ratio to one zero-phase band-pass over them.

Run ``OMP_NUM_THREADS=1 python tests/benchmarks/bench_onsets.py [--runs N]`` on a quiet machine: with other work beside
it the ratio moves by half. Weak activity (15 dB) and strong (45 dB) take different ways through the method, so both are
measured; so is a half of each, as a recording holds both. Allowed: 3, aim: 2, the median of five alternating runs.
The trials are modulated noise of 50 ms rise, 100 of them ten times over. How accurate the methods are is another
command: ``emgreview bench onsets``.
"""

import argparse
import os
import statistics
import time

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from emgreview.bench.recipes import CUE_S, RATE_HZ, modulated
from emgreview.signal.onset import estimate_onsets

ALLOWED, AIM = 3.0, 2.0
LEVELS_DB = (15.0, 45.0)
TRIALS, LENGTH_S = 1000, 3.0


def trials(level_db: float) -> NDArray[np.float64]:
    made = modulated(np.random.default_rng(5), TRIALS // 10, level_db, 0.05).x
    return np.tile(made, (10, 2))[:, : round(LENGTH_S * RATE_HZ)]


def ratios(x: NDArray[np.float64], runs: int) -> list[float]:
    """One a run; a first run of both, which fills caches, does not count."""
    sos = signal.butter(4, [20, 450], "bandpass", fs=RATE_HZ, output="sos")
    found = []
    for _ in range(runs + 1):
        start = time.perf_counter()
        signal.sosfiltfilt(sos, x, axis=-1)
        middle = time.perf_counter()
        estimate_onsets(x, RATE_HZ, cue_s=CUE_S)
        found.append((time.perf_counter() - middle) / (middle - start))
    return found[1:]


def load() -> float:
    """Processes that wanted a processor over the last minute, this one included; NaN where the system does not say."""
    return os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=5)
    runs = parser.parse_args().runs
    before = load()
    if before > 1:
        print(f"The machine is not quiet (load {before:.1f}): these ratios say little.")
    made = {f"{level_db:g} dB": trials(level_db) for level_db in LEVELS_DB}
    weak, strong = made.values()
    mixed = np.concatenate([weak[: TRIALS // 2], strong[: TRIALS // 2]])
    for name, x in {**made, "half and half": mixed}.items():
        found = ratios(x, runs)
        middle = statistics.median(found)
        state = "aim met" if middle <= AIM else "allowed, aim not met" if middle <= ALLOWED else "NOT allowed"
        print(
            f"{name}: {middle:.2f} x one band-pass (allowed {ALLOWED:g}, aim {AIM:g}: {state}); runs",
            *(f"{ratio:.2f}" for ratio in found),
        )


if __name__ == "__main__":
    main()
