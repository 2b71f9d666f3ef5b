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

import numpy as np

import emgreview as er
from emgreview.contractions import Selectivity
from emgreview.intervals import wilson
from emgreview.simulation import Contractions, Fault, simulate_contractions

RATE_HZ, FIRST_SEED = 1000.0, 5000
SHARES = (0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50)
RIGHT = {
    "swapped": {"exchanged"},
    "weak site": {"weak"},
    "wrong site": {"wrong site"},
    "no rest": {"no rest"},
    "neighbour": {"neighbour", "wrong site"},
}


def scenes(person: Contractions, rng: np.random.Generator) -> Iterator[tuple[str, tuple[Fault, ...]]]:
    a, b = rng.choice(person.muscles, 2, replace=False)
    yield "clean", ()
    yield "swapped leads", (Fault("swapped", a, b),)
    for level_db in (4.0, 6.0, 8.0):
        yield f"weak site, {level_db:g} dB over rest", (Fault("weak site", a, value=level_db),)
    yield "wrong site, own muscle at 30 %", (Fault("wrong site", a, b),)
    yield "wrong site, own muscle at 60 %", (Fault("wrong site", a, b, 0.6),)
    yield "no rest, 15 µV", (Fault("no rest", a, value=15.0),)
    for share in SHARES:
        yield f"neighbour at {100 * share:.0f} %", (Fault("neighbour", a, b, share),)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("people", nargs="?", type=int, default=200)
    people = parser.parse_args().people
    found: dict[str, list[bool]] = {}
    faulty: dict[str, list[bool]] = {}
    held: dict[str, list[bool]] = {}
    for number in range(people):
        person = simulate_contractions(RATE_HZ, seed=FIRST_SEED + number, quiet=0)
        rng = np.random.default_rng([FIRST_SEED, number])
        for name, faults in scenes(person, rng):
            made = person.planted(*faults)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", er.SignalWarning)
                seen = er.selectivity(made.recording, shared=False)
            concerned = {
                label
                for one in faults
                for label in ((one.channel, one.other) if one.kind == "swapped" else (one.channel,))
            }
            if faults:
                at = {one.channel for one in seen.findings if one.code in RIGHT[faults[0].kind]}
                found.setdefault(name, []).append(concerned <= at)
            faulty.setdefault(name, []).append(any(one.channel not in concerned for one in seen.findings))
            if name == "clean":
                for row, col in np.argwhere((made.share >= 0.05) & (made.share < 1)):
                    held.setdefault("5 to 15 %, clean", []).append(holds(seen, made, row, col))
            elif faults[0].kind == "neighbour":
                row, col = made.muscles.index(faults[0].other), made.muscles.index(faults[0].channel)
                held.setdefault(name, []).append(holds(seen, made, row, col))
        if sys.stderr.isatty() or number % 20 == 19:
            print(f"{number + 1} of {people}", file=sys.stderr, flush=True)
    print(f"{people} people, efforts vary by 20 %, three repeats; share of people, 95 % Wilson interval")
    print(f"{'':34}{'found':>22}{'another channel faulty':>26}")
    for name in faulty:
        print(f"{name:34}{words(found.get(name)):>22}{words(faulty[name]):>26}")
    print("\nshare of intervals (95 %) that hold the true share")
    for name, ones in held.items():
        print(f"{name:34}{words(ones):>22}")


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
