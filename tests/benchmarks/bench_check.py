"""How long the check of a recording takes: 10 min, 8 channels, 2 kHz, beside a bare pass over the same samples.

    python tests/benchmarks/bench_check.py

Prints seconds of check and of verdicts with their picture, and each as a ratio to one read of all samples with its
lowest and highest value, within one run: the ratio holds on other machines, seconds do not.
"""

import time

import numpy as np

import emgreview as er
from emgreview.simulation import rest_noise

RATE_HZ, SECONDS, CHANNELS = 2000.0, 600, 8
BLOCK = 1 << 18


def bare_pass(rec: er.Recording) -> float:
    total = 0.0
    for start in range(0, rec.n_samples, BLOCK):
        x = rec.values(start, min(start + BLOCK, rec.n_samples))
        total += float(x.min() + x.max())
    return total


def timed(what: object, *given: object) -> tuple[float, float]:
    """Seconds of the wall and of the processor."""
    wall, own = time.perf_counter(), time.process_time()
    what(*given)
    return time.perf_counter() - wall, time.process_time() - own


def main() -> None:
    x = rest_noise((CHANNELS, round(SECONDS * RATE_HZ)), RATE_HZ, np.random.default_rng(0), level_uv=3.0)
    x[:, (np.arange(x.shape[1]) / RATE_HZ) % 5 > 4] *= 20
    rec = er.Recording.from_array(x, RATE_HZ, labels=[f"m{n}" for n in range(CHANNELS)])
    er.check(er.Recording.from_array(x[:1, :20_000], RATE_HZ, labels=["warm"]))
    bare = timed(bare_pass, rec)
    for name, what in (("check", er.check), ("verdicts, picture", lambda rec: er.verdicts(rec).picture())):
        wall, own = timed(what, rec)
        print(f"{name}: {wall:.2f} s, {own:.2f} s of the processor; {own / bare[1]:.0f} times a bare pass")


if __name__ == "__main__":
    main()
