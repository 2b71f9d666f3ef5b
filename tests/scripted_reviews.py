"""Invented trials, a stand-in detection method, and reviews from a script, for tests of many kinds."""

import json
from pathlib import Path

import jsonschema
import numpy as np

import emgreview.annotations
from emgreview.annotations.files import FileSystem
from emgreview.model import Marker, Onsets, Processing, Recording, Trials
from emgreview.session import open_review

SCHEMA = json.loads((Path(emgreview.annotations.__file__).parent / "schema" / "event-1.json").read_text())
CHECK = jsonschema.Draft202012Validator(SCHEMA)

RATE = 1000.0
BEFORE, LENGTH = 500, 1500


def make_trials(name="rec", n=4, labels=("FDI", "APB"), seed=1, cue="go", **entities):
    """Invented noise with cues every 2 s."""
    x = np.random.default_rng(seed).normal(size=(len(labels), (n + 1) * 2000))
    cues = tuple(Marker(2000 * k + 1000, cue, details={"condition": "near" if k % 2 else "far"}) for k in range(n))
    recording = Recording.from_array(x, RATE, labels=labels, markers=cues, name=name, entities=entities)
    data = np.stack([x[:, c.sample - BEFORE : c.sample - BEFORE + LENGTH] for c in cues])
    return Trials(
        recording,
        Processing(),
        cue,
        tuple(f"{name}_given_{c.sample}" for c in cues),
        cues,
        RATE,
        np.arange(LENGTH) / RATE - BEFORE / RATE,
        data,
        np.abs(data),
        np.empty((n, 0, LENGTH)),
        tuple(labels),
        (),
        "uV",
        (),
    )


def detect(x, rate_hz, *, cue_s, rest_s, search_s, method, onset_s=0.2, absent=(3,), length_s=0.3):
    """A stand-in method: onset 0.2 s after the cue in every trial but some."""
    n = len(x)
    onset = np.full(n, cue_s + onset_s)
    onset[[k for k in absent if k < n]] = np.nan
    how = {"onset_s": onset_s, "absent": list(absent), "length_s": length_s}
    how = {name: value for name, value in how.items() if value not in ([3], 0.3)}
    nan, width = np.full(n, np.nan), 0.004 * (1 + np.arange(n))
    return Onsets(
        onset, onset - width, onset + width, onset + length_s, nan, nan, nan, np.full(n, 12.0),
        np.where(np.isfinite(onset), 0.99, 0.1), np.full(n, "", dtype=np.str_), method, how,
    )  # fmt: skip


class Unflushed(FileSystem):
    """Quick, for tests of many steps."""

    def fsync(self, fd):
        pass

    fsync_dir = fsync


def start(folder, trials=None, **options):
    options = {"reviewer": "r1", "detect": detect, **options}
    return open_review(make_trials() if trials is None else trials, folder, **options)


def two_who_differ(folder, trials=None):
    """A review by two who dispute one trial, both sealed."""
    for code, version in (("r1", "v1"), ("r2", "v2")):
        with start(folder, trials, reviewer=code) as session:
            for trial in session.queue:
                session.accept_rest(trial)
            if code == "r2":
                session.unusable(session.queue[0], "FDI", ["clipped"])
            session.seal(version)
    return folder


def log_lines(folder):
    paths = sorted((folder / "logs").rglob("*.jsonl"))
    assert paths
    return [json.loads(line) for path in paths for line in path.read_bytes().splitlines()]


def whole(session):
    """The whole state, to compare."""
    return [session.state(trial) for trial in session.queue], session.aside, session.progress
