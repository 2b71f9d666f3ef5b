"""What reading a long text file costs: time as a ratio to the parser's own bare reading, memory to its samples.

    python tests/benchmarks/bench_text.py [--minutes 10] [--channels 8] [--runs 3] [--folder DIR]

``er.read`` of a file with a header, a column of times and decimal points, against ``pandas.read_csv`` of the same file
in the same run, alternating; allowed: 2. Peak memory above what stood before, of a process of its own, against the
samples as float64; allowed: 3. Exit status 0 when both hold. Two hours of eight channels at 2 kHz are --minutes 120,
and a file of 1.2 GB.
"""

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

import emgreview as er

RATE = 2000
ALLOWED_TIME, ALLOWED_MEMORY = 2.0, 3.0


def write(path: Path, minutes: float, channels: int) -> tuple[int, list[str]]:
    n, labels = int(minutes * 60 * RATE), [f"M{k + 1}" for k in range(channels)]
    rng = np.random.default_rng(1)
    with path.open("w", encoding="utf-8") as stream:
        stream.write("made up\n" + ",".join(["time", *labels]) + "\n")
        for first in range(0, n, 100_000):
            last = min(first + 100_000, n)
            block = np.column_stack([np.arange(first, last) / RATE, rng.normal(0, 50, (last - first, channels))])
            np.savetxt(stream, block, fmt=["%.4f", *["%.3f"] * channels], delimiter=",")
    return n, labels


def how(labels: list[str]) -> dict:
    columns = {"time": "time", **{label: label for label in labels}}
    return {"rate_hz": RATE, "unit": "uV", "columns": columns, "header": 2, "names": 2, "separator": ","}


def peak(path: Path, labels: list[str]) -> float:
    """Bytes above what the process held before reading."""
    code = (
        "import emgreview as er, pandas, emgreview.reading\n"
        "def held():\n"  # of this program alone; what getrusage says is also that of the program that started it
        "    return next(int(line.split()[1]) for line in open('/proc/self/status') if line.startswith('VmHWM'))\n"
        "before = held()\n"
        f"rec = er.read({str(path)!r}, **{how(labels)!r})\n"
        "print(held() - before)"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    return float(said) * 1024


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--channels", type=int, default=8)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--folder", type=Path)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=given.folder) as place:
        path = Path(place) / "long.csv"
        n, labels = write(path, given.minutes, given.channels)
        ratios = []
        for _ in range(given.runs):
            start = time.perf_counter()
            pd.read_csv(path, skiprows=1, dtype=np.float64)
            middle = time.perf_counter()
            er.read(path, **how(labels))
            ratios.append((time.perf_counter() - middle) / (middle - start))
        held = peak(path, labels) / (8 * n * given.channels)
        size = path.stat().st_size >> 20
    took = statistics.median(ratios)
    print(
        f"{size} MB: {took:.2f} x the bare reading, allowed {ALLOWED_TIME:g}; runs", *(f"{one:.2f}" for one in ratios)
    )
    print(f"peak memory {held:.2f} x the samples, allowed {ALLOWED_MEMORY:g}")
    return int(took > ALLOWED_TIME or held > ALLOWED_MEMORY)


if __name__ == "__main__":
    sys.exit(main())
