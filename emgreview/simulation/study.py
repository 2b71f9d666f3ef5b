"""A study to plan with: people who differ, several muscles, conditions with a known effect, and everything's truth.

Each trial has a warning, then go; the person responds after a premotor time. Muscles start at their own lags; a share
of every burst reaches the neighbouring electrodes. Single trials go wrong at stated rates. Times in seconds; a person's
arrays are (trials,) and (trials, muscles), counted from that trial's go, NaN where nothing happens.

    simulate_study                          the study; same arguments, same bits
    Muscle, Condition, Spread               what it is made of
    Study, Person                           what it returns

A person's numbers depend on the seed and the person alone, so that adding people changes nobody. Amounts of variation
are our own choice (common practice, no source): replace them by those of your pilot.

Over 400 lines with what its public names say of themselves.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emgreview import checks
from emgreview.checks import demand, refusal
from emgreview.errors import UnknownNameError
from emgreview.model import Marker, Recording, to_sample
from emgreview.simulation.artefacts import (
    ARTEFACTS,
    BAND_HZ,
    STREAMS,
    checked_artefacts,
    early_burst,
    leaked,
    rest_noise,
)
from emgreview.simulation.burst import Bursts, bursts
from emgreview.simulation.pool import FloatArray, MotorPool

LEAD_S = 3.0
WINDOW_S = 2.5
FOREPERIOD_S = (0.8, 1.6)
PAUSE_S = (2.6, 3.0)
SHORTEST_RISE_S, LONGEST_RISE_S = 0.01, 0.5
FALL_S = (0.08, 0.15)
EARLY_BEFORE_S = (0.05, 0.15)
ANTICIPATION_S = (-0.2, 0.08)
PREMOTOR_S = (0.08, 0.6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Muscle:
    """What one pair of electrodes lies over, as in the median person.

    ``lag_s`` after the reaction begins; ``snr_db`` the burst alone over rest (-inf: it does not take part); rise and
    length of its drive. An antagonist that is co-active is a muscle with a lag and a level of its own.
    """

    label: str
    lag_s: float = 0.0
    snr_db: float = 20.0
    rise_s: float = 0.06
    duration_s: float = 0.35


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """What a condition changes in every muscle: a later start, and a stronger burst."""

    label: str
    later_s: float = 0.0
    stronger_db: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Standard deviations between people, and between the trials of one.

    Those without a unit are of the natural logarithm: 0.12 is about 12 %. ``later_people_s`` is how people differ in
    the effect of a condition that changes the start. ``noise_uv`` is the range of the rest's RMS within 20-450 Hz, over
    people and muscles.
    """

    premotor_people: float = 0.12
    premotor_trials: float = 0.12
    lag_people_s: float = 0.007
    lag_trials_s: float = 0.006
    level_people_db: float = 3.0
    level_trials_db: float = 1.5
    rise_people: float = 0.35
    rise_trials: float = 0.1
    motor_people: float = 0.12
    motor_trials: float = 0.06
    later_people_s: float = 0.0
    noise_uv: tuple[float, float] = (1.8, 4.5)


@dataclass(frozen=True, eq=False)
class Person:
    """One person's recording and its truth.

    Arrays are (trials,) or (trials, muscles). ``go_s`` and ``warning_s`` are in seconds of
    the recording; all other times count from go, NaN where nothing happens.

    Attributes
    ----------
    recording : Recording
        What was recorded; its muscles are its channels.
    condition : ndarray of str, shape (trials,)
        Label of the condition.
    behaviour : ndarray of str, shape (trials,)
        "as instructed", "anticipation" or "no response".
    warning_s, go_s, response_s : ndarray, shape (trials,)
        The three markers.
    onset_s, drive_s, visible_s, offset_s : ndarray, shape (trials, muscles)
        Those of :class:`emgreview.simulation.Bursts`.
    level_db : ndarray, shape (trials, muscles)
        The burst alone over rest.
    early_s : ndarray, shape (trials, muscles)
        The first potential of a small early burst.
    later_s : ndarray, shape (conditions,)
        This person's own effect of each condition.
    """

    recording: Recording
    condition: NDArray[np.str_]
    behaviour: NDArray[np.str_]
    warning_s: FloatArray
    go_s: FloatArray
    response_s: FloatArray
    onset_s: FloatArray
    drive_s: FloatArray
    visible_s: FloatArray
    offset_s: FloatArray
    level_db: FloatArray
    early_s: FloatArray
    later_s: FloatArray


@dataclass(frozen=True, eq=False)
class Study:
    """A simulated study; :func:`simulate_study` returns it.

    Attributes
    ----------
    people : tuple of Person
        The people in order, each with recording and truth.
    parameters : mapping
        What was asked.
    """

    people: tuple[Person, ...]
    parameters: Mapping[str, Any] = field(repr=False)

    @property
    def recordings(self) -> tuple[Recording, ...]:
        """The recordings, one a person."""
        return tuple(person.recording for person in self.people)

    def truth(self) -> list[dict[str, Any]]:
        """The truth as rows, for a table.

        Returns
        -------
        list of dict
            One row a trial and muscle, times in seconds from go; ``trial`` is the id that
            ``cut_trials(…, cue="go")`` gives it.
        """
        rows = []
        for person in self.people:
            rec = person.recording
            goes = [marker.sample for marker in rec.markers if marker.label == "go"]
            for index, sample in enumerate(goes):
                for column, label in enumerate(rec.labels):
                    times = ("onset_s", "drive_s", "visible_s", "offset_s", "level_db", "early_s")
                    rows.append(
                        {
                            "participant": rec.entities["sub"],
                            "recording": rec.name,
                            "trial": f"{rec.name}/given/{sample}",
                            "channel": label,
                            "condition": str(person.condition[index]),
                            "behaviour": str(person.behaviour[index]),
                            "response_s": float(person.response_s[index]),
                            **{name: float(getattr(person, name)[index, column]) for name in times},
                        }
                    )
        return rows


def simulate_study(
    n_people: int,
    n_trials: int,
    rate_hz: float,
    *,
    seed: int,
    muscles: Sequence[Muscle] = (
        Muscle(label="prime mover"),
        Muscle(label="antagonist", lag_s=0.04, snr_db=12.0, rise_s=0.1),
    ),
    conditions: Sequence[Condition] = (Condition(label="only"),),
    premotor_s: float = 0.19,
    motor_s: float = 0.17,
    spread: Spread | None = None,
    crosstalk: "ArrayLike" = 0.0,
    anticipations: float = 0.0,
    no_responses: float = 0.0,
    early_bursts: Mapping[str, float] | None = None,
    early_db: float = 10.0,
    artefacts: Mapping[str, Mapping[str, object]] | None = None,
) -> Study:
    """Recordings of people who differ, several muscles each, with their truth.

    Same arguments, same bits; a person's numbers depend on the seed and the person alone,
    so that adding people changes nobody.

    Parameters
    ----------
    n_people, n_trials : int
        How many people, and how many trials each.
    rate_hz : float
        Sampling rate, 1000 Hz or more.
    seed : int
        Seed of every draw, 0 or more.
    muscles : sequence of Muscle
        Label, lag, level, rise and length of each, as in the median person; a prime mover
        and an antagonist unless given.
    conditions : sequence of Condition
        What each changes in every muscle; they are mixed in equal shares. One called "only"
        unless given.
    premotor_s, motor_s : float, default 0.19 and 0.17
        From go to the reaction, and from there to the response, of the median person.
    spread : Spread or None
        How people and trials differ; None for the defaults of :class:`Spread`.
    crosstalk : float or array_like, shape (muscles, muscles), default 0.0
        The share of a burst that reaches the electrodes beside it in the order of
        ``muscles``, smoothed and 1 ms later; or a matrix (to, from).
    anticipations, no_responses : float, default 0.0
        Shares of trials, drawn by chance: a reaction from 200 ms before to 80 ms after go,
        or none.
    early_bursts : mapping of str to float, or None
        Labels of muscles to the share of trials with a small burst there, 50 to 150 ms
        before the reaction: the wrong hand, say, given as a muscle of snr_db -inf.
    early_db : float, default 10.0
        Level of these small bursts over rest.
    artefacts : mapping or None
        As in :func:`emgreview.simulate`, on the whole recording of every muscle.

    Returns
    -------
    Study
        Its ``recordings`` are in microvolts. Markers are "warning", "go" and "response" (the
        last one missing where nobody responds); each "go" carries its condition.

    Raises
    ------
    RateError
        The sampling rate is below 1000 Hz.
    ParameterError
        A value is out of range, or a label comes twice.
    UnknownNameError
        A muscle of ``early_bursts``, an artefact, or a level of one, does not exist.

    Notes
    -----
    Amounts of variation are our own choice (common practice, no source): replace them by
    those of your pilot.

    Examples
    --------
    >>> import emgreview as er
    >>> study = er.simulate_study(2, 4, 1000, seed=1)
    >>> [rec.name for rec in study.recordings], study.recordings[0].labels
    (['sub-01', 'sub-02'], ('prime mover', 'antagonist'))
    >>> len(study.truth())
    16
    """

    rate_hz = checks.rate(rate_hz, least=1000.0, what=f"levels are stated up to {BAND_HZ[1]:g} Hz, so needed is")
    n_people, n_trials = checks.whole("n_people", n_people, least=1), checks.whole("n_trials", n_trials, least=1)
    seed = checks.whole("seed", seed, least=0)
    labels = [muscle.label for muscle in muscles]
    demand(muscles and len(set(labels)) == len(labels), "muscles", labels, "at least one, no label twice")
    demand(conditions, "conditions", conditions, "at least one")
    for muscle in muscles:
        of = f"of {muscle.label!r}"
        checks.number(f"lag_s {of}", muscle.lag_s, least=-0.3, most=0.3, unit="s")
        if muscle.snr_db != -math.inf:
            checks.number(f"snr_db {of}", muscle.snr_db, below=60, unit="dB, or -inf for no part")
        checks.number(f"rise_s {of}", muscle.rise_s, least=SHORTEST_RISE_S, most=LONGEST_RISE_S, unit="s")
        checks.number(f"duration_s {of}", muscle.duration_s, least=0.05, most=1, unit="s")
    premotor_s = checks.number("premotor_s", premotor_s, least=PREMOTOR_S[0], most=PREMOTOR_S[1], unit="s")
    motor_s = checks.number("motor_s", motor_s, least=0.01, most=0.5, unit="s")
    for condition in conditions:
        checks.number(f"later_s of {condition.label!r}", condition.later_s, least=-0.3, most=0.3, unit="s")
    for name, share in (("anticipations", anticipations), ("no_responses", no_responses)):
        checks.number(name, share, least=0, most=1)
    demand(anticipations + no_responses <= 1, "anticipations + no_responses", anticipations + no_responses, "at most 1")
    early = dict(early_bursts or {})
    for label, share in early.items():
        if label not in labels:
            raise UnknownNameError("muscle", label, labels)
        checks.number(f"early_bursts[{label!r}]", share, least=0, most=1)
    spread = Spread() if spread is None else spread
    for part in fields(spread):
        demand(np.all(np.asarray(getattr(spread, part.name)) >= 0), part.name, getattr(spread, part.name), "0 or more")
    low, high = spread.noise_uv
    demand(0 < low <= high, "noise_uv", spread.noise_uv, "(lowest, highest), microvolts above 0")
    mixing = _mixing(crosstalk, len(muscles))
    known = checked_artefacts(artefacts)

    asked = {
        "n_people": int(n_people),
        "n_trials": int(n_trials),
        "rate_hz": float(rate_hz),
        "seed": seed,
        "muscles": tuple(muscles),
        "conditions": tuple(conditions),
        "premotor_s": premotor_s,
        "motor_s": motor_s,
        "spread": spread,
        "crosstalk": mixing,
        "anticipations": anticipations,
        "no_responses": no_responses,
        "early_bursts": early,
        "early_db": early_db,
        "artefacts": known,
    }
    return Study(tuple(_person(number, asked) for number in range(1, int(n_people) + 1)), asked)


def _mixing(crosstalk: ArrayLike, n: int) -> FloatArray:
    """Share of each muscle's burst (columns) in each channel (rows), the diagonal left out."""
    given = np.asarray(crosstalk, dtype=float)
    good = given.shape in ((), (n, n)) and np.isfinite(given).all() and (np.abs(given) < 1).all()
    if not good:
        raise refusal(
            "crosstalk",
            crosstalk,
            f"one share below 1, or a matrix ({n}, {n}) of such shares, to the channel of a row from the muscle of a "
            "column",
        )
    if given.shape == ():
        beside = np.abs(np.subtract.outer(np.arange(n), np.arange(n))) == 1
        return np.where(beside, given, 0.0)
    return np.where(np.eye(n, dtype=bool), 0.0, given)


def _person(number: int, asked: Mapping[str, Any]) -> Person:
    streams = np.random.SeedSequence([asked["seed"], number]).spawn(3 + len(STREAMS))
    of_person, of_plan, of_signal, *of_artefacts = (np.random.default_rng(stream) for stream in streams)
    muscles, conditions, spread = asked["muscles"], asked["conditions"], asked["spread"]
    rate_hz, trials, n = asked["rate_hz"], asked["n_trials"], len(asked["muscles"])

    premotor_s = asked["premotor_s"] * math.exp(spread.premotor_people * of_person.standard_normal())
    motor_s = asked["motor_s"] * math.exp(spread.motor_people * of_person.standard_normal())
    lag_s = np.array([m.lag_s for m in muscles]) + spread.lag_people_s * of_person.standard_normal(n)
    level_db = np.array([m.snr_db for m in muscles]) + spread.level_people_db * of_person.standard_normal(n)
    rise_s = np.array([m.rise_s for m in muscles]) * np.exp(spread.rise_people * of_person.standard_normal(n))
    noise_uv = of_person.uniform(spread.noise_uv[0], spread.noise_uv[1], n)
    changes = np.array([c.later_s for c in conditions])
    later_s = changes + spread.later_people_s * of_person.standard_normal(len(conditions)) * (changes != 0)

    which = of_plan.permutation(np.arange(trials) % len(conditions))
    foreperiod_s, pause_s = of_plan.uniform(*FOREPERIOD_S, trials), of_plan.uniform(*PAUSE_S, trials)
    warning = _samples(LEAD_S + np.concatenate([[0.0], np.cumsum(foreperiod_s + pause_s)[:-1]]), rate_hz)
    go = warning + _samples(foreperiod_s, rate_hz)
    reaction_s = premotor_s * np.exp(spread.premotor_trials * of_plan.standard_normal(trials)) + later_s[which]
    reaction_s = np.clip(reaction_s, *PREMOTOR_S)
    fate = of_plan.uniform(size=trials)
    early_s = of_plan.uniform(*ANTICIPATION_S, trials)
    behaviour = np.full(trials, "as instructed", dtype="<U16")
    behaviour[fate < asked["anticipations"]] = "anticipation"
    behaviour[fate > 1 - asked["no_responses"]] = "no response"
    reaction_s = np.where(behaviour == "anticipation", early_s, reaction_s)
    reaction_s[behaviour == "no response"] = np.nan
    pressed_s = reaction_s + motor_s * np.exp(spread.motor_trials * of_plan.standard_normal(trials))

    length = int(go[-1]) + to_sample(WINDOW_S + LEAD_S, rate_hz)
    made = [
        _muscle(
            asked, of_signal, index, which, reaction_s, lag_s[index], level_db[index], rise_s[index], noise_uv[index]
        )
        for index in range(n)
    ]
    clean = np.zeros((n, length))
    for row, (burst, _, _) in zip(clean, made, strict=True):
        for trial, start in enumerate(go - to_sample(WINDOW_S / 2, rate_hz)):
            row[start : start + burst.x_uv.shape[1]] += burst.x_uv[trial]
    small = np.stack([begins for _, _, begins in made], axis=1)
    x = clean + asked["crosstalk"] @ leaked(clean, rate_hz)
    for index in range(n):
        noise = rest_noise((1, length), rate_hz, of_signal, level_uv=noise_uv[index])
        x[index] += noise[0]
        level_uv = noise_uv[index] * 10 ** (asked["early_db"] / 20)
        for at_s in (go / rate_hz + small[:, index])[np.isfinite(small[:, index])]:
            first = to_sample(at_s - 0.2, rate_hz)
            part = slice(first, first + to_sample(1.0, rate_hz))
            x[index, part] = early_burst(
                x[index : index + 1, part], rate_hz, of_signal, level_uv=level_uv, at_s=at_s - first / rate_hz
            )[0]
    streams_of = dict(zip(STREAMS, of_artefacts, strict=True))
    for name, add in ARTEFACTS.items():
        if name in asked["artefacts"]:
            x = add(x, rate_hz, streams_of[name], **asked["artefacts"][name])

    pressed = [None if math.isnan(at) else _samples(at, rate_hz) for at in pressed_s]
    markers = [Marker(int(at), "warning") for at in warning]
    for trial, at in enumerate(go):
        details = {"condition": conditions[which[trial]].label, "trial": str(trial + 1)}
        markers.append(Marker(int(at), "go", details=details))
        press = pressed[trial]
        if press is not None:
            markers.append(Marker(int(at + press), "response"))
    markers.sort(key=lambda marker: marker.sample)
    recording = Recording.from_array(
        x,
        rate_hz,
        labels=[muscle.label for muscle in muscles],
        markers=markers,
        name=f"sub-{number:02d}",
        entities={"sub": f"{number:02d}"},
    )
    half_s = to_sample(WINDOW_S / 2, rate_hz) / rate_hz
    columns = {
        name: np.stack([getattr(burst, name) for burst, _, _ in made], axis=1) - half_s
        for name in ("onset_s", "drive_s", "visible_s", "offset_s")
    }
    return Person(
        recording=recording,
        condition=np.array([conditions[index].label for index in which]),
        behaviour=behaviour,
        warning_s=warning / rate_hz,
        go_s=go / rate_hz,
        response_s=np.array([math.nan if press is None else press / rate_hz for press in pressed]),
        level_db=np.stack([level for _, level, _ in made], axis=1),
        early_s=small,
        later_s=later_s,
        **columns,
    )


def _muscle(
    asked: Mapping[str, Any],
    rng: np.random.Generator,
    index: int,
    which: NDArray[np.intp],
    reaction_s: FloatArray,
    lag_s: float,
    level_db: float,
    rise_s: float,
    noise_uv: float,
) -> tuple[Bursts, FloatArray, FloatArray]:
    """One muscle's bursts in windows around go, their levels over rest, and when small early ones begin (from go)."""
    spread, muscle, trials, rate_hz = asked["spread"], asked["muscles"][index], asked["n_trials"], asked["rate_hz"]
    onset_s = reaction_s + lag_s + spread.lag_trials_s * rng.standard_normal(trials)
    stronger = np.array([condition.stronger_db for condition in asked["conditions"]])[which]
    level = level_db + stronger + spread.level_trials_db * rng.standard_normal(trials)
    level = np.where(np.isfinite(level) & np.isfinite(onset_s), level, np.nan)
    rise = np.clip(rise_s * np.exp(spread.rise_trials * rng.standard_normal(trials)), SHORTEST_RISE_S, LONGEST_RISE_S)
    fall = rng.uniform(*FALL_S, trials)
    small = rng.uniform(size=trials) < asked["early_bursts"].get(muscle.label, 0.0)
    small_s = np.where(small, reaction_s - rng.uniform(*EARLY_BEFORE_S, trials), np.nan)
    half_s = to_sample(WINDOW_S / 2, rate_hz) / rate_hz
    made = bursts(
        MotorPool.draw(rng),
        rng,
        (trials, to_sample(WINDOW_S, rate_hz) + to_sample(WINDOW_S / 2, rate_hz)),
        rate_hz,
        onset_s=np.nan_to_num(onset_s) + half_s,
        rise_s=rise,
        duration_s=np.maximum(muscle.duration_s, rise + fall + 0.02),
        fall_s=fall,
        level_uv=noise_uv * 10 ** (level / 20),
        rest_uv=noise_uv,
    )
    return made, level, small_s


def _samples(seconds: Any, rate_hz: float) -> Any:
    """Nearest sample numbers, halves up: what a device gives."""
    return np.floor(np.asarray(seconds) * rate_hz + 0.5).astype(int)
