"""How often test contractions show what is wrong, where the truth is known: simulated people with planted faults.

    python tests/benchmarks/bench_contractions.py            200 people
    python tests/benchmarks/bench_contractions.py 20         a quick look

Each person contracts five muscles three times (efforts vary by 20 %), 1000 Hz; clean sites hear 5 to 15 % of the next
muscle and 1 to 5 % of others, and other muscles join in up to 4 %. Printed are shares of people with Wilson intervals:
a planted fault that is found at its channel, a person whose other channels, or whose clean or quiet sites, are called
faulty; and how often the 95 % interval of a share holds the true one.
"""

import argparse
import sys
import warnings
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor

import numpy as np

import emgreview as er
from emgreview.contractions import Selectivity
from emgreview.intervals import wilson
from emgreview.simulation import Contractions, Fault, simulate_contractions

RATE_HZ, FIRST_SEED = 1000.0, 5000
SHARES = (0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45)
RIGHT = {
    "swapped": {"exchanged"},
    "weak site": {"weak"},
    "wrong site": {"wrong site"},
    "no rest": {"no rest"},
    "neighbour": {"neighbour", "wrong site"},
}


def scenes(made: Contractions, rng: np.random.Generator) -> Iterator[tuple[str, tuple[Fault, ...]]]:
    a, b = rng.choice(made.muscles, 2, replace=False)
    yield "clean", ()
    yield "swapped leads", (Fault("swapped", a, b),)
    yield "weak site, 6 dB over rest", (Fault("weak site", a, value=6.0),)
    yield "wrong site, own muscle at 30 %", (Fault("wrong site", a, b),)
    yield "no rest, 15 µV", (Fault("no rest", a, value=15.0),)
    for share in SHARES:
        yield f"neighbour at {100 * share:.0f} %", (Fault("neighbour", a, b, share),)


def person(number: int) -> list[tuple[str, str, bool]]:
    """What came of one person: of which table, scene, and whether."""
    made = simulate_contractions(RATE_HZ, seed=FIRST_SEED + number, quiet=0)
    out = []
    for name, faults in scenes(made, np.random.default_rng([FIRST_SEED, number])):
        planted = made.planted(*faults)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", er.SignalWarning)
            seen = er.selectivity(planted.recording, shared=False)
        concerned = {one.channel for one in faults} | {one.other for one in faults if one.kind == "swapped"}
        if faults:
            at = {one.channel for one in seen.findings if one.code in RIGHT[faults[0].kind]}
            out.append(("found", name, concerned <= at))
        out.append(("faulty", name, any(one.channel not in concerned for one in seen.findings)))
        if not faults:
            pairs = np.argwhere((planted.share >= 0.05) & (planted.share < 1))
            out += [("held", "5 to 15 %, clean", holds(seen, planted, row, col)) for row, col in pairs]
        elif faults[0].kind == "neighbour":
            row, col = (planted.muscles.index(label) for label in (faults[0].other, faults[0].channel))
            out.append(("held", name, holds(seen, planted, row, col)))
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("people", nargs="?", type=int, default=200)
    parser.add_argument("--jobs", type=int, default=1, help="processes (1)")
    given = parser.parse_args()
    tables: dict[str, dict[str, list[bool]]] = {"found": {}, "faulty": {}, "held": {}}
    with ProcessPoolExecutor(given.jobs) as pool:
        for done, ones in enumerate(pool.map(person, range(given.people)), 1):
            for table, name, good in ones:
                tables[table].setdefault(name, []).append(good)
            if done % 20 == 0:
                print(f"{done} of {given.people}", file=sys.stderr, flush=True)
            if done % 50 == 0 or done == given.people:
                tell(tables, done)


def tell(tables: dict[str, dict[str, list[bool]]], people: int) -> None:
    print(f"\n{people} people, efforts vary by 20 %, three repeats; share of people, 95 % Wilson interval")
    print(f"{'':34}{'found':>24}{'another channel faulty':>26}")
    for name, ones in tables["faulty"].items():
        print(f"{name:34}{words(tables['found'].get(name)):>24}{words(ones):>26}")
    print("share of intervals (95 %) that hold the true share")
    for name, ones in tables["held"].items():
        print(f"{name:34}{words(ones):>24}", flush=True)


def holds(seen: Selectivity, made: Contractions, row: int, col: int) -> bool:
    at = seen.contractions.index(made.muscles[row])
    return bool(seen.share_low[at, col] <= made.share[row, col] <= seen.share_high[at, col])


def words(ones: list[bool] | None) -> str:
    if ones is None:
        return ""
    share = wilson(sum(ones), len(ones))
    return f"{100 * share.value:.1f} ({100 * share.low:.1f} to {100 * share.high:.1f}) %"


if __name__ == "__main__":
    main()
