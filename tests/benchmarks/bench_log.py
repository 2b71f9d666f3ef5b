"""What a durable decision and reopening a log cost, as ratios to the bare work of the same run.

    python tests/benchmarks/bench_log.py [--decisions 400] [--lines 100000] [--runs 5] [--folder DIR]

Each decision of a session against the bare append + fsync of the same line right after it; reopening a review of many
decisions (read, check every digest, decode, replay) against ``json.loads`` + SHA-256 of the same lines. Medians of
alternating runs; allowed: 2 and 2. Exit status 0 when both hold. ``--folder`` is where files are written: the figure
for a decision depends on the disk.
"""

import argparse
import hashlib
import json
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

import emgreview as er
import emgreview.session
from emgreview.annotations.files import FileSystem
from emgreview.annotations.ledger import Ledger
from emgreview.annotations.log import Log

ALLOWED = 2.0
N_TRIALS = 60


def seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def a_review() -> er.Trials:
    rng = np.random.default_rng(1)
    go = [2000 * (k + 1) for k in range(N_TRIALS)]
    x = rng.normal(0, 4, (4, 2000 * (N_TRIALS + 2)))
    for cue in go:
        x[:, cue + 200 : cue + 700] += rng.normal(0, 50, (4, 500))
    rec = er.Recording.from_array(x, 1000.0, labels=list("abcd"), markers=[(cue, "go") for cue in go])
    return er.cut_trials(rec, cue="go", before_s=0.6, after_s=1.0)


def decide(session: er.session.Session, k: int) -> None:
    """Marks moved and accepted in turn, as a review does."""
    trial, channel = session.queue[k // 2 % N_TRIALS], "abcd"[k // 2 // N_TRIALS % 4]
    if k % 2:
        session.accept(trial, channel)
    else:
        session.move(trial, channel, onset_s=0.2 + k % 97 / 1000)


def last_line(path: Path) -> bytes:
    """From the end of the file alone: to read all of it would empty the processor's caches before every decision."""
    with path.open("rb") as stream:
        stream.seek(max(path.stat().st_size - (1 << 14), 0))
        return stream.read().splitlines(keepends=True)[-1]


def cost_of_a_decision(folder: Path, n: int, runs: int) -> tuple[list[float], float]:
    """Ratios, and the median milliseconds of a decision. Each decision is followed by the bare append of its line, so
    that both meet the same disk."""
    found, took = [], []
    with er.open_review(a_review(), folder / "review", reviewer="r1", method="threshold") as session:
        (path,) = (folder / "review" / "logs").glob("*.jsonl")
        fd = os.open(folder / "bare", os.O_WRONLY | os.O_APPEND | os.O_CREAT)
        for run in range(runs):
            ours, bare = [], []
            for k in range(run * n, run * n + n):
                ours.append(seconds(lambda k=k: decide(session, k)))
                line = last_line(path)
                bare.append(seconds(lambda line=line: (os.write(fd, line), os.fsync(fd))))
            found.append(statistics.median(ours) / statistics.median(bare))
            took.append(statistics.median(ours) * 1000)
        os.close(fd)
    return found, statistics.median(took)


def cost_of_reopening(folder: Path, n: int, runs: int) -> tuple[list[float], float]:
    """Ratios, and the median seconds of reopening. The log is written without flushing, to make it sooner."""
    with er.open_review(a_review(), folder / "long", reviewer="r1", method="threshold", files=Unflushed()) as session:
        for k in range(n):
            decide(session, k)
    (path,) = (folder / "long" / "logs").glob("*.jsonl")

    def floor() -> None:
        for line in path.read_bytes().splitlines():
            json.loads(line)
            hashlib.sha256(line).digest()

    def reopen() -> None:
        ledger = Ledger()
        log = Log(path, ledger.apply)
        ledger.settle()
        assert len(log) == n + 1
        assert ledger.to_undo is not None
        log.close()

    reopen()
    found, took = [], []
    for _ in range(runs):
        bare_s, ours = seconds(floor), seconds(reopen)
        found.append(ours / bare_s)
        took.append(ours)
    return found, statistics.median(took)


class Unflushed(FileSystem):
    def fsync(self, fd: int) -> None:
        pass


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--decisions", type=int, default=400)
    parser.add_argument("--lines", type=int, default=100_000)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--folder", type=Path)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=given.folder) as place:
        decision, took_ms = cost_of_a_decision(Path(place), given.decisions, given.runs)
        reopening, took_s = cost_of_reopening(Path(place), given.lines, given.runs)
    for found, words in (
        (decision, f"append + fsync: a durable decision ({took_ms:.3f} ms)"),
        (reopening, f"json.loads + hashing: reopening {given.lines} decisions ({took_s:.2f} s)"),
    ):
        median = statistics.median(found)
        print(f"{median:.2f} x {words}; allowed {ALLOWED:g}; runs", *(f"{ratio:.2f}" for ratio in found))
    return int(max(statistics.median(decision), statistics.median(reopening)) > ALLOWED)


if __name__ == "__main__":
    sys.exit(main())
