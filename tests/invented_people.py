"""Summaries of invented people: arrays with bursts of known onset, made without any recording, for the tests and the
benchmark of the screen of people. Nothing of it is a finding.

    summary_of      a Summary of so many people, the first of them late on every channel
"""

import numpy as np

from emgreview.people.flags import Odd
from emgreview.people.person import Person, gathered
from emgreview.people.recorded import BINS, GRID_HZ, Recorded
from emgreview.people.rules import PHYSICAL, UNLIKE, Flag
from emgreview.people.summary import Summary, _flags
from emgreview.people.table import table_of

SPAN_S = (-1.0, 1.5)
RESPONSE_AFTER_S = 0.17


def recorded(number: int, labels: tuple[str, ...], trials: int, *, runs: int = 1, run: int = 0) -> Recorded:
    """One recording of an invented person: noise at rest, and a burst after each cue."""
    rng = np.random.default_rng([number, run])
    c = len(labels)
    late_s = 0.25 if number == 0 else 0.0
    onset = 0.2 + late_s + 0.02 * np.arange(c)[:, None] + rng.normal(0, 0.02, (c, trials)) + rng.normal(0, 0.015)
    rest = np.exp(rng.normal(np.log(2.0), 0.2) + rng.normal(0, 0.05, (c, trials)))
    level = rng.normal(20, 1) + rng.normal(0, 1.5, (c, trials))
    times = np.linspace(*SPAN_S, BINS)
    shape = np.clip((times - onset[..., None]) / 0.1, 0, 1) * np.exp(
        -np.clip(times - onset[..., None] - 0.2, 0, None) / 0.1
    )
    envelope = (rest * 10 ** (level / 20))[..., None] * shape + rest[..., None] * rng.uniform(
        0.7, 1.3, (c, trials, BINS)
    )
    none = rng.random((c, trials)) < 0.04
    onset = np.where(none, np.nan, onset)
    spectra = np.exp(rng.normal(0, 0.2, (2, c, 1))) / (1 + (GRID_HZ / 90) ** 2) * np.array([0.1, 3.0])[:, None, None]
    alike = np.clip(rng.normal(0, 0.08, (c, c)), -1, 1)
    alike = (alike + alike.T) / 2
    np.fill_diagonal(alike, 1.0)
    name = f"sub-{number + 1:03d}" + (f"_run-{run + 1}" if runs > 1 else "")
    return Recorded(
        name=name,
        entities={"sub": f"{number + 1:03d}"},
        digest=name,
        rate_hz=1000.0,
        unit="uV",
        labels=labels,
        ids=tuple(f"{name}/events/{1000 * k}" for k in range(1, trials + 1)),
        cue_sample=1000 * np.arange(1, trials + 1),
        response_s=0.2 + late_s + RESPONSE_AFTER_S + rng.normal(0, 0.03, trials),
        span_s=SPAN_S,
        onset_s=onset,
        low_s=onset - 0.01,
        high_s=onset + 0.01,
        offset_s=onset + 0.4,
        level_db=level,
        second_s=onset + 0.005,
        size=rest * 10 ** (level / 20),
        slope=10 * rest,
        rest=rest,
        railed=np.zeros((c, trials)),
        bursts=np.where(none, 0.0, 1.0),
        beats=np.zeros((c, trials), dtype=bool),
        skew=rng.normal(0, 0.1, c),
        alike=alike,
        spectra=spectra,
        envelope=envelope.astype(np.float32),
        above=np.tile([trials - 2.0, trials], (c, 1)),
        floor_db=np.full(c, np.nan),
        quality=(),
        contracted=(),
        hole="",
        notes=(),
    )


def summary_of(
    people: int = 12,
    labels: tuple[str, ...] = ("FCR", "ECR", "BB"),
    trials: int = 20,
    runs: int = 2,
    lacking: int | None = None,
) -> Summary:
    """So many people with so many trials in each of their recordings; one is ``lacking`` the last channel."""
    having = [labels[:-1] if k == lacking else labels for k in range(people)]
    made = gathered([recorded(k, having[k], trials, runs=runs, run=run) for k in range(people) for run in range(runs)])
    odd = _said(made)
    return Summary(
        table=table_of(made, odd.flags, expect=None, marks="automatic", agreement=None),
        flags=_flags(odd.flags),
        unlike=_flags(odd.unlike),
        notes=("One note: these people are invented.",),
        rules=odd.rules,
        failed={},
        people=tuple(made),
        odd=odd,
        cue="go",
    )


def _said(people: list[Person]) -> Odd:
    """Flags and distances that are invented, too: what is tested is how they are shown."""

    def flag(at: int, channel: str, code: str, value: float, kind: str = UNLIKE) -> Flag:
        one = people[at % len(people)]
        reason = f"{code.capitalize()} by invention: {value:.1f} SD above the others (limit 5.0)."
        said = {"participant": one.participant, "session": one.session, "channel": channel, "code": code}
        return Flag(**said, reason=reason, value=value, limit=5.0, kind=kind, trials=one.ids[2:4])

    label = people[0].labels[0]
    return Odd(
        flags=(flag(0, "", "late", 9.0), flag(0, label, "clipped", 2.0, PHYSICAL), flag(3, label, "noisy", 6.0)),
        unlike=(flag(4, label, "quiet", 4.5), flag(1, "", "fast", -3.0)),
        notes=(),
        rules=("Invented: more than 5.0 SD of the other people.",),
    )
