"""Simulated studies with and without a planted fault, for the tests and the benchmark of flags.

Four invented tasks: another number of muscles, of trials and sampling rate each. A study is SIZE people drawn from a
pool of one task; a fault is planted in one of them. Sizes of faults are our own choice, and stand beside their names.

    Task, TASKS     what people do
    pool            recordings of many people of a task
    FAULTS          by name: the code that is due, and the function that plants it
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

import emgreview as er
from emgreview.model import Marker, Recording
from emgreview.simulation import ARTEFACTS, Muscle, Spread, rest_noise, simulate_study

SIZE = 16
WINDOW = {"before_s": 1.0, "after_s": 1.2}


@dataclass(frozen=True)
class Task:
    """Muscles in order of their onset, with their levels; trials, and the sampling rate."""

    name: str
    muscles: tuple[Muscle, ...]
    trials: int
    rate_hz: float
    crosstalk: float


def _muscles(*rows: tuple[str, float, float]) -> tuple[Muscle, ...]:
    return tuple(Muscle(label=label, lag_s=lag_s, snr_db=snr_db) for label, lag_s, snr_db in rows)


TASKS = (
    Task("turn", _muscles(("BB", 0.0, 24.0), ("ECR", 0.02, 16.0), ("PM", 0.05, 9.0)), 16, 1000.0, 0.0),
    Task("pinch", _muscles(("FDI", 0.0, 26.0), ("APB", 0.015, 17.0)), 20, 1000.0, 0.1),
    Task(
        "reach",
        _muscles(("DA", 0.0, 25.0), ("TB", 0.03, 15.0), ("BB", 0.06, 9.0), ("ECR", 0.1, 20.0)),
        12,
        1000.0,
        0.05,
    ),
    Task(
        "tap",
        _muscles(
            ("FDI", 0.0, 20.0),
        ),
        24,
        2000.0,
        0.0,
    ),
)


def person(task: Task, number: int, *, seed: int) -> Recording:
    """One person of a task: the same number and seed, the same recording."""
    study = simulate_study(
        1,
        task.trials,
        task.rate_hz,
        seed=seed * 100_000 + number,
        muscles=task.muscles,
        crosstalk=task.crosstalk,
        spread=Spread(),
        no_responses=0.01,
        anticipations=0.01,
    )
    rec = study.recordings[0]
    return named(rec, number)


def named(rec: Recording, number: int, **changed: Any) -> Recording:
    """The recording under the name of a person, with other samples, markers or labels where given."""
    return er.Recording.from_array(
        changed.get("x", rec.microvolts()),
        rec.rate_hz,
        labels=list(rec.labels),
        markers=changed.get("markers", list(rec.markers)),
        name=f"sub-{number:03d}",
        entities={"sub": f"{number:03d}"},
    )


Plant = Callable[[Recording, Recording, np.random.Generator, int], tuple[Recording, tuple[str, ...]]]


def _number(rec: Recording) -> int:
    return int(rec.name.removeprefix("sub-"))


def _rest_uv(x: np.ndarray) -> np.ndarray:
    return np.quantile(np.abs(x), 0.5, axis=1) / 0.6745


def _swapped(rec, other, rng, _):
    """Any two channels: what can be told of them depends on how much their muscles differ."""
    a, b = rng.choice(len(rec.labels), 2, replace=False)
    x = rec.microvolts().copy()
    x[[a, b]] = x[[b, a]]
    return named(rec, _number(rec), x=x), (rec.labels[a], rec.labels[b])


def _one(rec, rng):
    return int(rng.integers(len(rec.labels)))


def _replaced(rec, place, row):
    x = rec.microvolts().astype(np.float64)
    x[place] = row
    return named(rec, _number(rec), x=x), (rec.labels[place],)


def _inverted(rec, other, rng, _):
    a, b = rng.choice(len(rec.labels), 2, replace=False)
    x = rec.microvolts().astype(np.float64)
    return named(rec, _number(rec), x=np.vstack([*x[:b], -x[a][None], *x[b + 1 :]])), (rec.labels[a], rec.labels[b])


def _identical(rec, other, rng, _):
    a, b = rng.choice(len(rec.labels), 2, replace=False)
    x = rec.microvolts().astype(np.float64)
    x[b] = x[a] * rng.uniform(0.5, 2.0)
    return named(rec, _number(rec), x=x), (rec.labels[a], rec.labels[b])


def _dead(rec, other, rng, _):
    place, n = _one(rec, rng), rec.n_samples
    row = rest_noise((1, n), rec.rate_hz, rng, level_uv=rng.uniform(0.1, 0.25))[0]
    return _replaced(rec, place, row)


def _lost(rec, other, rng, _):
    place, n = _one(rec, rng), rec.n_samples
    row = rec.microvolts()[place].astype(np.float64)
    at = int(rng.uniform(0.4, 0.7) * n)
    row[at:] = rest_noise((1, n - at), rec.rate_hz, rng, level_uv=rng.uniform(0.1, 0.25))[0]
    return _replaced(rec, place, row)


def _clipped(rec, other, rng, _):
    place = _one(rec, rng)
    row = rec.microvolts()[place].astype(np.float64)
    return _replaced(rec, place, np.clip(row, *(rng.uniform(0.4, 0.7) * np.abs(row).max() * np.array([-1, 1]))))


def _mains(rec, other, rng, _):
    place = _one(rec, rng)
    row = rec.microvolts()[place : place + 1].astype(np.float64)
    level_uv = rng.uniform(3, 8) * _rest_uv(row)[0]
    return _replaced(rec, place, ARTEFACTS["mains"](row, rec.rate_hz, rng, level_uv=level_uv)[0])


def _heart(rec, other, rng, _):
    place = _one(rec, rng)
    row = rec.microvolts()[place : place + 1].astype(np.float64)
    made = ARTEFACTS["heart"](
        row, rec.rate_hz, rng, level_uv=rng.uniform(50, 120), beats_per_min=rng.uniform(55.0, 90.0)
    )
    return _replaced(rec, place, made[0])


def _missing_cues(rec, other, rng, _):
    goes = [at for at, marker in enumerate(rec.markers) if marker.label == "go"]
    gone = set(rng.choice(goes, int(rng.integers(1, 4)), replace=False).tolist())
    markers = [marker for at, marker in enumerate(rec.markers) if at not in gone]
    return named(rec, _number(rec), markers=markers), ("",)


def _thousandfold(rec, other, rng, _):
    factor = 1000.0 ** rng.choice([-1, 1])
    return named(rec, _number(rec), x=rec.microvolts() * factor), rec.labels


def _duplicate(rec, other, rng, _):
    return named(other, _number(rec)), ("",)


def _resampled_duplicate(rec, other, rng, _):
    """With another gain, rounded to 0.1 µV, and the first trials cut off."""
    x = np.round(other.microvolts().astype(np.float64) * rng.uniform(0.7, 1.4) * 10) / 10
    start = int(4 * other.rate_hz)
    markers = [
        Marker(m.sample - start, m.label, m.source, details=dict(m.details)) for m in other.markers if m.sample >= start
    ]
    return named(other, _number(rec), x=x[:, start:], markers=markers), ("",)


def _late(rec, other, rng, sds):
    """The cue earlier by so many SDs of people's premotor times, of 190 ms and 12 %: late for the whole trial."""
    by = round(0.19 * (np.exp(0.12 * sds) - 1) * rec.rate_hz)
    markers = [
        Marker(m.sample - by, m.label, m.source, details=dict(m.details)) if m.label == "go" else m for m in rec.markers
    ]
    return named(rec, _number(rec), markers=sorted(markers, key=lambda m: m.sample)), ("",)


def _tense(rec, other, rng, sds):
    """Tonic activity in all channels: rest so many SDs of people's log rest (0.26 for 1.8 to 4.5 µV) up."""
    x = rec.microvolts().astype(np.float64)
    for row in x:
        level_uv = _rest_uv(row[None])[0]
        more = level_uv * np.sqrt(np.exp(2 * 0.26 * sds) - 1)
        row += rest_noise((1, row.size), rec.rate_hz, rng, level_uv=more)[0]
    return named(rec, _number(rec), x=x), ("",)


def _weak(rec, other, rng, sds):
    """Bursts of one channel so many SDs of people's levels (3 dB) down, its rest as it was."""
    place = _one(rec, rng)
    row = rec.microvolts()[place].astype(np.float64)
    share = 10 ** (-3.0 * sds / 20)
    level_uv = _rest_uv(row[None])[0]
    noise = rest_noise((1, row.size), rec.rate_hz, rng, level_uv=level_uv * np.sqrt(1 - share**2))[0]
    return _replaced(rec, place, share * row + noise)


FAULTS: dict[str, tuple[tuple[str, ...], Plant]] = {
    "swapped leads": (("swapped",), _swapped),
    "inverted copy of another channel": (("inverted",), _inverted),
    "copy of another channel": (("identical",), _identical),
    "dead, 0.1 to 0.25 µV": (("dead",), _dead),
    "lost after 40 to 70 %": (("dead",), _lost),
    "clipped at 40 to 70 % of the largest value": (("clipped",), _clipped),
    "mains, 3 to 8 times the rest": (("mains",), _mains),
    "heart beats of 50 to 120 µV": (("heart",), _heart),
    "1 to 3 missing cues": (("cues",), _missing_cues),
    "a thousand times too large or small": (("unit",), _thousandfold),
    "duplicate": (("duplicate",), _duplicate),
    "duplicate of another gain, rounded, cut": (("duplicate",), _resampled_duplicate),
}
RELATIVE: dict[str, tuple[tuple[str, ...], Plant]] = {
    "late": (("late",), _late),
    "tense": (("tense", "noisy"), _tense),
    "weak electrode": (("weak", "none found", "silent"), _weak),
}
