"""Flags over simulated studies: what is found of planted faults, and how often a clean study has any flag.

    python tests/benchmarks/bench_people.py                  200 clean studies, 64 of each fault
    python tests/benchmarks/bench_people.py 20 8             a quick look

Studies are of 16 people of one of four invented tasks (``tests/planted_people.py``: 1 to 4 muscles, 12 to 24 trials).
People come from pools of 160 a task: ten studies of a task share nobody, the others are drawn anew from the same pool,
so that intervals over all studies are somewhat too narrow. Each person is measured once; a planted fault is measured
anew in the one who has it. Swapped leads are told by comparison alone, without test contractions, and so only between
muscles that differ; printed is how many of all pairs were found, and of those 8 dB apart or more.
"""

import argparse
import sys
import warnings
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from planted_people import FAULTS, RELATIVE, SIZE, TASKS, WINDOW, Task, person

import emgreview as er
from emgreview.intervals import wilson
from emgreview.people.flags import odd_people
from emgreview.people.person import gathered
from emgreview.people.recorded import Recorded, RecordedJob

JOB = RecordedJob("go", **WINDOW)
POOL = 160
FAR_DB = 8.0
Pool = dict[tuple[int, int], Recorded]
Case = tuple[str, float, int, Recorded, tuple[str, ...]]
SDS = (4.0, 5.0, 6.0, 8.0, 10.0)


def measured(rec: er.Recording) -> Recorded:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", er.SignalWarning)
        return JOB(rec)


def of_pool(asked: tuple[int, int]) -> Recorded:
    task, number = asked
    return measured(person(TASKS[task], number, seed=1))


def case(asked: tuple[str, float, int, int, list[int]]) -> Case:
    """A fault planted in the first of some people."""
    name, sds, place, task, who = asked
    codes_and_plant = FAULTS.get(name) or RELATIVE[name]
    rec, other = (person(TASKS[task], number, seed=1) for number in who[:2])
    rng = np.random.default_rng([place, 77])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        planted, channels = codes_and_plant[1](rec, other, rng, sds)
    return name, sds, place, measured(planted), channels


def fits(name: str, task: Task) -> bool:
    return len(task.muscles) > 1 or name not in (
        "swapped leads",
        "inverted copy of another channel",
        "copy of another channel",
    )


def percent(found: int, n: int) -> str:
    one = wilson(found, n)
    return f"{found} of {n}, {one.value:.1%} ({one.low:.1%} to {one.high:.1%})"


def planned(cases: int, pool: int) -> list[tuple[str, float, int, int, list[int]]]:
    """Every fault to plant: its name, size in SDs, number, task, and the people, of whom the first has it."""
    rng = np.random.default_rng(21)
    plan = []
    for name in (*FAULTS, *RELATIVE):
        tasks = [at for at, task in enumerate(TASKS) if fits(name, task)]
        for sds in SDS if name in RELATIVE else (0.0,):
            for place in range(cases):
                who = (rng.choice(pool, SIZE + 1, replace=False) + 1).tolist()
                plan.append((name, sds, place, tasks[place % len(tasks)], who))
    return plan


def tell_clean(pool: Pool, studies: int, people: int) -> None:
    rng = np.random.default_rng(20)
    flagged, codes = 0, Counter[str]()
    for number in range(studies):
        task, block = number % len(TASKS), number // len(TASKS)
        apart = (block + 1) * SIZE <= people
        who = range(block * SIZE + 1, (block + 1) * SIZE + 1) if apart else rng.choice(people, SIZE, replace=False) + 1
        found = odd_people(gathered([pool[task, int(one)] for one in who]))
        flagged += bool(found.flags)
        codes.update({f"{TASKS[task].name}: {one.code} {one.channel}" for one in found.flags})
    print(f"clean studies with any flag: {percent(flagged, studies)}; {dict(codes)}", flush=True)


def tell_found(pool: Pool, plan: list[Any], found: Iterable[Case]) -> None:
    right, false, tries = Counter(), Counter(), Counter()
    far, far_tries = 0, 0
    for (name, sds, _, task, who), (*_, planted, channels) in zip(plan, found, strict=True):
        study = odd_people(gathered([planted, *(pool[task, number] for number in who[1:SIZE])]))
        due, mine = (FAULTS.get(name) or RELATIVE[name])[0], planted.entities["sub"]
        at = {one.channel for one in study.flags if one.participant == mine and one.code in due}
        hit = bool(at) if channels == ("",) else bool(at & {*channels, ""})
        whose = {mine, f"{who[1]:03d}"} if name.startswith("duplicate") else {mine}
        tries[name, sds] += 1
        right[name, sds] += hit
        false[name, sds] += any(one.participant not in whose for one in study.flags)
        if name == "swapped leads":
            levels = {muscle.label: muscle.snr_db for muscle in TASKS[task].muscles}
            if abs(levels[channels[0]] - levels[channels[1]]) >= FAR_DB:
                far, far_tries = far + hit, far_tries + 1
    for name, sds in tries:
        size = f", {sds:g} SD" if sds else ""
        others = f"somebody else flagged in {false[name, sds]}"
        print(f"{name}{size}: found {percent(right[name, sds], tries[name, sds])}; {others}")
    print(f"swapped leads {FAR_DB:g} dB apart or more: found {percent(far, far_tries)}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("studies", nargs="?", type=int, default=200)
    parser.add_argument("cases", nargs="?", type=int, default=64)
    parser.add_argument("--pool", type=int, default=POOL)
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    with ProcessPoolExecutor(given.workers) as workers:
        asked = [(task, number) for task in range(len(TASKS)) for number in range(1, given.pool + 1)]
        pool = dict(zip(asked, workers.map(of_pool, asked, chunksize=8), strict=True))
        print(f"{len(pool)} people measured", flush=True)
        tell_clean(pool, given.studies, given.pool)
        plan = planned(given.cases, given.pool)
        tell_found(pool, plan, workers.map(case, plan, chunksize=4))


if __name__ == "__main__":
    main()
