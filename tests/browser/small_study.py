"""A small invented study for the browser tests: plain noise and bursts of known onset, no simulator involved."""

from pathlib import Path

import numpy as np

import emgreview as er

RATE_HZ = 2000.0
N_TRIALS = 6
LABELS = ("biceps", "wrist flexors", "wrist extensors")
ONSETS_S = (0.20, 0.24, 0.28)


def recording(name: str, seed: int) -> er.Recording:
    """Three channels of rest noise (5 µV) with one burst (60 µV) a trial, an angle, and go and response markers."""
    rng = np.random.default_rng(seed)
    n = int(RATE_HZ * 3 * (N_TRIALS + 1))
    x = rng.normal(0, 5, (len(LABELS), n))
    angle = np.zeros(n)
    markers = []
    for trial in range(N_TRIALS):
        go = int(RATE_HZ * (2 + 3 * trial))
        response = go + int(0.45 * RATE_HZ)
        for channel, onset_s in enumerate(ONSETS_S):
            start = go + int(onset_s * RATE_HZ)
            x[channel, start : start + 700] += rng.normal(0, 60, 700)
        angle[response : response + 1200] = 25.0
        markers += [er.Marker(go - 1600, "warning"), er.Marker(go, "go"), er.Marker(response, "response")]
    channels = [er.Channel(label, over=label) for label in LABELS] + [er.Channel("handle angle", "MISC", "deg")]
    labels = [channel.label for channel in channels]
    return er.Recording.from_array(
        np.vstack([x, angle]), RATE_HZ, labels=labels, channels=channels, markers=markers, name=name
    )


def both_people() -> list[er.Trials]:
    return [
        er.cut_trials(recording(name, seed), cue="go", before_s=1.0, after_s=1.5)
        for seed, name in enumerate(("sub-a_task-turn", "sub-b_task-turn"))
    ]


def open_session(folder: str | Path, reviewer: str = "r1", **options):
    return er.open_review(both_people(), folder, reviewer=reviewer, **options)


def settle(folder: str | Path, **options):
    return er.adjudicate(both_people(), folder, "r1", "r2", reviewer="r3", **options)
