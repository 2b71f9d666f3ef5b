"""Speed of the default onset method: 1,000 trials x 3 s at 2 kHz, as a ratio to one zero-phase band-pass over them.

Run ``OMP_NUM_THREADS=1 python tests/benchmarks/bench_onsets.py [--runs N]`` on a quiet machine. Allowed: 3, the median
of five alternating runs. How accurate the methods are is another command: ``emgreview bench onsets``.
"""

import argparse
import statistics
import time

import numpy as np
from scipy import signal

from emgreview.bench.recipes import CUE_S, RATE_HZ, modulated
from emgreview.signal.onset import estimate_onsets

ALLOWED = 3.0
TRIALS, LENGTH_S = 1000, 3.0


def ratios(runs: int) -> list[float]:
    made = modulated(np.random.default_rng(5), TRIALS // 10, 15.0, 0.05).x
    x = np.tile(made, (10, 2))[:, : round(LENGTH_S * RATE_HZ)]
    sos = signal.butter(4, [20, 450], "bandpass", fs=RATE_HZ, output="sos")
    found = []
    for _ in range(runs):
        start = time.perf_counter()
        signal.sosfiltfilt(sos, x, axis=-1)
        middle = time.perf_counter()
        estimate_onsets(x, RATE_HZ, cue_s=CUE_S)
        found.append((time.perf_counter() - middle) / (middle - start))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=5)
    found = ratios(parser.parse_args().runs)
    print(f"{statistics.median(found):.2f} x one band-pass (allowed {ALLOWED:g}); runs", *(f"{r:.2f}" for r in found))


if __name__ == "__main__":
    main()
