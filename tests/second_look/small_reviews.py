"""Invented noise with automatic onsets of a stand-in method, and scripted reviewers, for tests of looking twice."""

import numpy as np

from emgreview.annotations.files import FileSystem
from emgreview.model import Marker, Onsets, Processing, Recording, Trials
from emgreview.session import open_review

RATE = 1000.0
BEFORE, LENGTH = 500, 1500


def make_trials(name="rec", n=8, labels=("FDI", "APB"), seed=1, **entities):
    """Cues every 2 s; the condition alternates."""
    x = np.random.default_rng(seed).normal(size=(len(labels), (n + 1) * 2000))
    cues = tuple(Marker(2000 * k + 1000, "go", details={"condition": "near" if k % 2 else "far"}) for k in range(n))
    recording = Recording.from_array(x, RATE, labels=labels, markers=cues, name=name, entities=entities)
    data = np.stack([x[:, c.sample - BEFORE : c.sample - BEFORE + LENGTH] for c in cues])
    ids = tuple(f"{name}/given/{c.sample}" for c in cues)
    time_s = np.arange(LENGTH) / RATE - BEFORE / RATE
    return Trials(
        recording, Processing(), "go", ids, cues, RATE, time_s, data, np.abs(data), np.empty((n, 0, LENGTH)),
        tuple(labels), (), "uV", (),
    )  # fmt: skip


def detect(x, rate_hz, *, cue_s, rest_s, search_s, method, absent=()):
    """Onset 200 + k ms after the cue in trial k, interval 8 ms wide, wider by 40 ms in every fourth trial."""
    n = len(x)
    onset = cue_s + 0.2 + np.arange(n) / 1000
    onset[list(absent)] = np.nan
    half, nan = 0.004 + 0.02 * (np.arange(n) % 4 == 3), np.full(n, np.nan)
    return Onsets(
        onset, onset - half, onset + half, onset + 0.3, nan, nan, nan, np.full(n, 25.0),
        np.where(np.isfinite(onset), 0.99, 0.1), np.full(n, "", dtype=np.str_), method, {},
    )  # fmt: skip


class Unflushed(FileSystem):
    """Quick, for tests of many steps."""

    def fsync(self, fd):
        pass

    fsync_dir = fsync


def start(folder, trials, reviewer="r1", **options):
    return open_review(trials, folder, reviewer=reviewer, **{"detect": detect, "files": Unflushed(), **options})


def mark_all(session, by_ms=0.0, trials=None):
    """Confirm every onset ``by_ms`` (a number, or a function of trial and channel) later than the automatic one."""
    for trial in session.queue if trials is None else trials:
        for channel in session.state(trial).channels:
            by = by_ms(trial, channel) if callable(by_ms) else by_ms
            place_mark(session, trial, channel, by)


def place_mark(session, trial, channel, by_ms):
    """Mark one onset: a move where the automatic mark is shown, one's own where it is hidden."""
    source = session.source(trial)
    onset_s = 0.2 + list(session.trials[0].ids).index(source) / 1000 + by_ms / 1000
    if session.hides_automatic(trial, channel):
        session.add(trial, channel, onset_s=onset_s)
    elif by_ms:
        session.move(trial, channel, onset_s=onset_s)
    session.accept(trial, channel)
