"""Whole studies by the runner: how long, how much faster by two, how much memory, and what kills leave.

    python tests/benchmarks/bench_running.py [RECORDINGS] [KILLS]

Prints, for a study of the demo's kind (8 channels at 2 kHz, 40 trials; 200 recordings unless told, those of the demo
under new names, each with one bit of one sample changed):

- seconds to open its review the first time with two workers, and again, with all recordings there;
- seconds until a review that opens with the first recording has its screen, packages being loaded, and until all have
  joined, the first time and again;
- seconds until the screen of 2,000 recordings (three trials each, in memory) is made, all of them being there;
- the speed-up of two workers over one, and that of a bare reference task on as many in the same run;
- peak memory of the process for 10 and for 100 recordings;
- results after so many kills (20 unless told) at random moments, of the process and of a worker in turn, while eight
  recordings of eight trials are detected and measured: how many are other bytes.

A quiet machine with two cores is asked for: ratios are of one run, seconds are not.
"""

import contextlib
import hashlib
import os
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path

import numpy as np

import emgreview as er
from emgreview.running.values import HEAD
from emgreview.tables import to_tsv

WINDOW = {"cue": "go", "before_s": 1.0, "after_s": 1.5}
CALL = "import sys, bench_running; bench_running.{}(*sys.argv[1:])"


def study(folder: Path, count: int, trials: int = 40) -> Path:
    """The demo's recordings under ``count`` names, each with one bit changed."""
    first = er.write_demo(folder / f"demo-{trials}", participants=min(16, count), trials=trials)
    people = sorted(first.glob("sub-*"))
    made = folder / f"study-{trials}"
    made.mkdir()
    (made / "dataset_description.json").write_text('{"Name": "many turns", "BIDSVersion": "1.10.0"}')
    for number in range(count):
        old = people[number % len(people)]
        for path in sorted(old.rglob("*")):
            if path.is_file():
                to = made / re.sub(r"sub-\d+", f"sub-{number + 1:03}", path.relative_to(first).as_posix())
                to.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(path, to)
                if to.suffix == ".edf":
                    with to.open("r+b") as stream:
                        stream.seek(60_000 + 2 * number)
                        bit = stream.read(1)[0] ^ 1
                        stream.seek(-1, os.SEEK_CUR)
                        stream.write(bytes([bit]))
    return made


def call(what: str, *arguments: object, **options: object) -> subprocess.CompletedProcess[str]:
    """One of the functions below, in a process of its own."""
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(Path(__file__).parent), *sys.path]), "OMP_NUM_THREADS": "1"}
    command = [sys.executable, "-W", "ignore", "-c", CALL.format(what), *map(str, arguments)]
    return subprocess.run(command, env=env, capture_output=True, text=True, check=True, **options)


def opening(folder: str, review: str, workers: str) -> None:
    """Seconds to open a review of all."""
    begun = time.perf_counter()
    data = er.read_dataset(folder)
    runner = er.Runner(int(workers), cache=Path(review) / "cache", progress=None)
    trials = er.cut_all(data, **WINDOW, runner=runner, method="ramp")
    with er.open_review(trials, review, reviewer="r1") as session:
        screen = er.review(session)
        print(time.perf_counter() - begun, len(session.queue), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
        del screen


def as_ready(folder: str, review: str, workers: str) -> None:
    """Seconds until the screen of a review with its first recording is made, and until all have joined it."""
    import emgreview.views.trial_review  # noqa: F401 - loaded before: packages are not what is measured

    begun = time.perf_counter()
    data = er.read_dataset(folder)
    runner = er.Runner(int(workers), cache=Path(review) / "cache", progress=None)
    with er.open_review(er.cut_as_ready(data, **WINDOW, runner=runner), review, reviewer="r1") as session:
        screen = er.review(session)
        first = time.perf_counter() - begun
        session.wait_for_all()
        print(first, time.perf_counter() - begun, len(session.queue))
        del screen


def many_small(review: str, count: str) -> None:
    """Seconds until the screen of a review of many small recordings is made."""
    import emgreview.views.trial_review  # noqa: F401

    rng, rate_hz = np.random.default_rng(1), 1000.0
    trials = []
    for number in range(int(count)):
        x = rng.normal(0, 3, (1, 8000))
        marks = [(at, "go") for at in (1600, 3600, 5600)]
        rec = er.Recording.from_array(x, rate_hz, labels=["FDI"], markers=marks, name=f"rec-{number:04}")
        trials.append(er.cut_trials(rec, cue="go", before_s=1.0, after_s=0.8))
    with er.open_review(trials, review, reviewer="r1", method="threshold") as session:
        begun = time.perf_counter()
        screen = er.review(session)
        print(time.perf_counter() - begun, len(session.queue))
        del screen


def detected(folder: str, count: str, workers: str, cache: str) -> None:
    """Seconds to detect some of them, and the peak memory of this process."""
    runner = er.Runner(int(workers), cache=cache or None, progress=None)
    recordings = er.read_dataset(folder).recordings[: int(count)]
    begun = time.perf_counter()
    table = er.detect_all(recordings, **WINDOW, runner=runner)
    print(time.perf_counter() - begun, len(table), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)


def reviewed(folder: Path, review: Path) -> None:
    """A version of a study in which every automatic onset is accepted."""
    with er.open_review(er.cut_all(er.read_dataset(folder), **WINDOW), review, reviewer="r1") as session:
        for trial in session.queue:
            session.accept_rest(trial)
        session.seal("v1")


def studied(folder: str, review: str, workers: str, cache: str) -> None:
    """Detect and measure a study; the SHA-256 of the measures."""
    runner = er.Runner(int(workers), cache=cache, progress=None)
    recordings = er.read_dataset(folder).recordings
    er.detect_all(recordings, **WINDOW, runner=runner)
    trials = er.cut_all(recordings, **WINDOW, runner=runner)
    table = er.measure(trials, er.read_version(review, "v1"), runner=runner)
    print(hashlib.sha256(to_tsv(table)).hexdigest())


def bare(workers: str, tasks: str) -> None:
    """Seconds of a task that needs nothing but a processor, on as many workers."""
    from joblib import Parallel, delayed

    pool = Parallel(n_jobs=int(workers))
    pool(delayed(spin)(1) for _ in range(2))
    begun = time.perf_counter()
    pool(delayed(spin)(60) for _ in range(int(tasks)))
    print(time.perf_counter() - begun)


def spin(times: int) -> float:
    x = np.random.default_rng(0).normal(size=20_000)
    return float(sum(np.abs(np.fft.fft(x)).sum() for _ in range(times * 10)))


def numbers(done: subprocess.CompletedProcess[str]) -> list[float]:
    return [float(part) for part in done.stdout.split()]


def killed(folder: Path, place: Path, kills: int) -> None:
    """Kill the process, or one of its workers, at random moments while it detects and measures; do it again to its end;
    compare the bytes of what is kept, and of the measures."""
    rng, wanted, other = random.Random(1), None, 0
    reviewed(folder, place / "killed-review")
    for number in range(kills):
        cache = place / f"cache-{number}"
        env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(Path(__file__).parent), *sys.path])}
        given = [str(folder), str(place / "killed-review"), "2", str(cache)]
        command = [sys.executable, "-W", "ignore", "-c", CALL.format("studied"), *given]
        process = subprocess.Popen(command, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(rng.uniform(0.5, 9.0))
        victim = process.pid
        if number % 2:
            found = subprocess.run(["pgrep", "-P", str(process.pid)], capture_output=True, text=True, check=False)
            victim = rng.choice([int(one) for one in found.stdout.split()] or [process.pid])
        with contextlib.suppress(ProcessLookupError):
            os.kill(victim, signal.SIGKILL)
        process.wait()
        table = call("studied", *given[:2], 1, cache).stdout
        # what is sealed, without the seal, which is each cache's own
        now = table, sorted(path.read_bytes()[len(HEAD) + 65 :] for path in cache.glob("*/*.result"))
        wanted = now if wanted is None else wanted
        if now != wanted or not table:
            other += 1
            print(f"kill {number}: {len(now[1])} results and measures {table.strip()}: other bytes")
        shutil.rmtree(cache)
    print(f"{kills} kills at random moments, a worker's every other time: {other} with other bytes")


def main(count: int, kills: int) -> None:
    warnings.simplefilter("ignore")
    place = Path(tempfile.mkdtemp(prefix="bench-running-"))
    try:
        folder = study(place, count)
        first = numbers(call("opening", folder, place / "review", 2))
        again = numbers(call("opening", folder, place / "review", 2))
        print(f"{count} recordings, {first[1]:.0f} trials: review open in {first[0]:.1f} s, again in {again[0]:.1f} s")
        for words in ("first", "again"):
            shown, joined, trials = numbers(call("as_ready", folder, place / "as-ready", 2))
            print(f"{words}: screen made after {shown:.1f} s, all {trials:.0f} trials there after {joined:.1f} s")
        made, trials = numbers(call("many_small", place / "small-review", 2000))
        print(f"2000 recordings, {trials:.0f} trials: screen made in {made:.2f} s (allowed 2)")
        some = min(count, 90)  # about a minute by one
        one, two = (numbers(call("detected", folder, some, workers, ""))[0] for workers in (1, 2))
        alone, both = (numbers(call("bare", workers, 60))[0] for workers in (1, 2))
        print(
            f"{some} recordings: {one:.1f} s by one, {two:.1f} s by two, {one / two:.2f} times as fast; the bare task "
            f"{alone / both:.2f} times; of that {one / two / (alone / both):.2f} (allowed 0.9 or more)"
        )
        few, many = (numbers(call("detected", folder, n, 2, place / f"c{n}"))[2] for n in (10, min(100, count)))
        print(f"peak memory of the process: {few / 1024:.0f} MB for 10, {many / 1024:.0f} MB for {min(100, count)}")
        killed(study(place, 8, trials=8), place, kills)
    finally:
        shutil.rmtree(place, ignore_errors=True)


if __name__ == "__main__":
    asked = [int(one) for one in sys.argv[1:]]
    main(*(asked + [200, 20][len(asked) :]))
