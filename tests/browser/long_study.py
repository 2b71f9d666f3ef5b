"""Invented recordings for the browser tests of the long view: five minutes from a file, and a study with a session."""

from pathlib import Path

import numpy as np
import small_study

import emgreview as er

RATE_HZ, SECONDS = 500, 300
SPIKE_S = 123.456


def write_file(path: Path) -> Path:
    """Three channels of noise as text, one sample of 900 µV in the second, which no picture may lose."""
    rng = np.random.default_rng(2)
    x = rng.normal(0, 5, (RATE_HZ * SECONDS, 3))
    x[int(SPIKE_S * RATE_HZ), 1] = 900
    np.savetxt(path, x, fmt="%.2f", delimiter="\t")
    return path


def recording(path: Path = Path("long.tsv")) -> er.Recording:
    if not path.exists():
        write_file(path)
    rec = er.read(path, rate_hz=RATE_HZ, unit="uV", columns=["one", "two", "three"])
    return rec.with_markers([er.Marker(RATE_HZ * s, f"cue {s}") for s in range(20, SECONDS, 40)])


def processing() -> er.Processing:
    return er.Processing(high_hz=200)


def session(folder: str = "review"):
    """A session on the first recording of the small study, and that recording."""
    rec = small_study.recording("sub-a_task-turn", 0)
    trials = er.cut_trials(rec, cue="go", before_s=1.0, after_s=1.5)
    return er.open_review(trials, folder, reviewer="r1", method="threshold"), rec
