"""The invented recordings under files/review-1 and review-1b, without which these cannot be replayed."""

import numpy as np
from scripted_reviews import RATE

import emgreview as er


def first_recordings():
    """The recordings under files/review-1, made by a rule, so that their fingerprints never change."""
    k = np.arange(6 * 2000, dtype=np.float64)
    made = []
    for sub, name in (("1", "left"), ("2", "right")):
        markers = [
            er.Marker(2000 * n + 1000, "go", details={"condition": "near" if n % 2 else "=far"}) for n in range(5)
        ]
        x = np.stack([k * k % 101, k * (6 + int(sub)) % 89])
        made.append(
            er.Recording.from_array(
                x, RATE, labels=("FDI", "APB"), markers=markers, name=name, entities={"sub": sub, "dataset": "invented"}
            )
        )
    return made


def recordings():
    """The recordings under files/review-1b, made by a rule, so that their fingerprints never change."""
    k = np.arange(34_000, dtype=np.float64)
    made = []
    for sub, name in (("1", "early"), ("1", "later"), ("2", "other")):
        markers = [
            er.Marker(2000 * n + 1000, "go", details={"condition": "near" if n % 2 else "far"}) for n in range(16)
        ]
        x = np.stack([k * k % 103, k * (7 + len(made)) % 97])
        entities = {"sub": sub, "dataset": "invented"}
        made.append(
            er.Recording.from_array(x, RATE, labels=("FDI", "APB"), markers=markers, name=name, entities=entities)
        )
    return made


def cut(after_s=1.0):
    return [er.cut_trials(one, cue="go", before_s=0.5, after_s=after_s) for one in recordings()]
