"""How often the 90 % interval of a difference between two onsets holds the true difference, by rises and level.

Run with ``python tests/benchmarks/bench_order.py [persons] [trials]``. Each person has a motor pool of their own for
either channel, onsets drawn apart; the default method finds the onsets in trials filtered as ``cut_trials`` filters
them. Two truths: the first potential, and the moment when activity becomes visible. The further tables have noise that
rises along a line, half a cosine, or a smoothstep (3 u² - 2 u³), where truth is the rise's start: curves that leave the
noise late, so that a gentle rise is found late and a fast one is not.
"""

import functools
import sys

import numpy as np

import emgreview as er
from emgreview.signal.coactivation import onset_order
from emgreview.signal.filters import bandpass
from emgreview.simulation import rest_noise

RATE_HZ = 2000.0
RISES_S = (0.005, 0.02, 0.05, 0.1, 0.2)
LEVELS_DB = (15, 20, 25, 30, 35)


def found(x, cue_s):
    band = {"low_hz": 20.0, "high_hz": 450.0, "order": 2, "direction": "zero-phase"}
    return er.estimate_onsets(bandpass(x, RATE_HZ, **band), RATE_HZ, cue_s=cue_s)


def units(persons, trials, level_db, rise_s, seed):
    made = [
        er.simulate(trials, RATE_HZ, seed=seed + person, snr_db=level_db, rise_s=rise_s, duration_s=rise_s + 0.35)
        for person in range(persons)
    ]
    onsets = found(np.concatenate([one.x for one in made]), made[0].cue_s)
    return onsets, {name: np.concatenate([getattr(one, name) for one in made]) for name in ("onset_s", "visible_s")}


SHAPES = {
    "a line": lambda u: u,
    "half a cosine": lambda u: 0.5 - 0.5 * np.cos(np.pi * u),
    "a smoothstep": lambda u: u * u * (3 - 2 * u),
    "a cube": lambda u: u**3,
}


def noise(shape, rows, level_db, rise_s, seed):
    rng = np.random.default_rng(seed)
    start = 1.0 + rng.uniform(0.15, 0.35, rows)
    t = np.arange(int(2.5 * RATE_HZ)) / RATE_HZ
    size = SHAPES[shape](np.clip((t - start[:, np.newaxis]) / rise_s, 0.0, 1.0))
    size = size * (t < start[:, np.newaxis] + rise_s + 0.35)
    rest, burst = (rest_noise((rows, t.size), RATE_HZ, rng, level_uv=3.0) for _ in range(2))
    return found(rest + size * burst * 10 ** (level_db / 20), 1.0), {"start": start}


def table(make, truths):
    for level_db in LEVELS_DB:
        made = [
            [make(level_db, rise_s, 1000 * side + index) for index, rise_s in enumerate(RISES_S)] for side in (0, 7)
        ]
        for truth in truths:
            print(
                f"{level_db} dB, truth: {truth}; rows: rise of A, columns: rise of B (ms); per cent held / wrong order"
            )
            print("        " + "".join(f"{1000 * rise_s:>12g}" for rise_s in RISES_S))
            for rise_s, (a, true_a) in zip(RISES_S, made[0], strict=True):
                cells = []
                for b, true_b in made[1]:
                    order = onset_order(
                        a.onset_s, b.onset_s, a_interval_s=(a.low_s, a.high_s), b_interval_s=(b.low_s, b.high_s)
                    )
                    true = true_b[truth] - true_a[truth]
                    known = np.isfinite(order.low_s) & np.isfinite(true)
                    held = (order.low_s <= true) & (true <= order.high_s)
                    wrong = ((order.first == "A") & (true < 0)) | ((order.first == "B") & (true > 0))
                    cells.append(f"{100 * held[known].mean():>6.0f} /{100 * wrong[known].mean():>4.1f}")
                print(f"{1000 * rise_s:>7g} " + "".join(f"{cell:>12}" for cell in cells), flush=True)


if __name__ == "__main__":
    persons, trials = (int(given) for given in (*sys.argv[1:], 40, 10)[:2])
    table(lambda *asked: units(persons, trials, *asked), ("onset_s", "visible_s"))
    for shape in SHAPES:
        print(f"\nnoise that rises along {shape}")
        table(functools.partial(noise, shape, persons * trials), ("start",))
