"""Test contractions before the trials, with known truth: which muscle was contracted, who hears whom, what is wrong.

A person rests, then contracts one muscle after the other as told (test movement), does a movement in which it should be
quiet, and, where asked, maximal efforts. Every pair of electrodes hears its own muscle and a share of the others; a
muscle also joins in a little when another is contracted. Shares are of amplitude (RMS in 20-450 Hz), of the channel's
own test contraction; arrays are (contractions, channels) where told. Independent signals add in power.

    simulate_contractions   one person's recording, with its truth
    Contractions            what it returns; the same person with other faults by ``planted``
    Fault                   what is wrong at one channel
    FAULTS                  its kinds

Amounts are our own choice (common practice, no source): what clean sites hear is of the order that a volume conductor
gives beside a good forearm site (RMS of single neighbours 0.10 to 0.14 of the target's, over the finger flexors 0.25 to
0.40; a model, not a measurement). Where ``mixing`` is given, that holds instead.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from emgreview import checks
from emgreview.checks import demand, refusal
from emgreview.errors import UnknownNameError
from emgreview.model import Marker, Recording, to_sample
from emgreview.simulation.artefacts import BAND_HZ, in_band, leaked, rest_noise, tonic
from emgreview.simulation.pool import FULL_EXCITATION, Drive, FloatArray, MotorPool

FAULTS = ("swapped", "weak site", "wrong site", "neighbour", "no rest", "inverted", "missing")
"""Leads of two channels exchanged; hardly any signal; pads over another muscle; a neighbour heard at a share; a muscle
that does not relax; the two electrodes the wrong way round; a contraction that was not done."""

MUSCLES = ("FCR", "FDS", "ED", "ECR", "BR")
REACTION_S, RISE_S, LAST_S, EFFORT = (0.25, 0.5), 0.25, 0.1, 0.4
EFFORT_SD, MAXIMAL_SD, MAXIMAL_TIMES = 0.2, 0.08, 2.5
LEVEL_DB, NOISE_UV = (22.0, 36.0), (2.0, 4.5)
NEXT, FAR, JOINING, OPPOSITE = (0.05, 0.15), (0.01, 0.05), (0.0, 0.04), 0.6


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong at one channel.

    ``kind`` is one of FAULTS. ``other`` is the channel it is swapped with, or the muscle that its pads lie over ("wrong
    site") or hear ("neighbour"). ``value``: of "neighbour" the share of the own contraction; of "wrong site" what is
    still heard of the own muscle (0.3 unless given); of "weak site" the own contraction over rest, in dB (6); of "no
    rest" the RMS of what does not relax, in microvolts (20).
    """

    kind: Literal["swapped", "weak site", "wrong site", "neighbour", "no rest", "inverted", "missing"]
    channel: str
    other: str = ""
    value: float = math.nan


@dataclass(frozen=True, eq=False, repr=False)
class Contractions:
    """One person's test contractions and their truth; :func:`simulate_contractions` makes it.

    Attributes
    ----------
    recording : Recording
        Its markers name contraction and target, in label, duration and details.
    muscles : tuple of str
        Labels of muscles and channels.
    faults : tuple of Fault
        What is wrong.
    share : ndarray, shape (contractions, channels)
        RMS of what arrives while that muscle is contracted over that of the channel's own
        contraction, rest not counted.
    own_db : ndarray, shape (channels,)
        The own contraction over rest.
    noise_uv : ndarray, shape (channels,)
        RMS of rest within 20-450 Hz.
    """

    recording: Recording
    muscles: tuple[str, ...]
    faults: tuple[Fault, ...]
    share: FloatArray
    own_db: FloatArray
    noise_uv: FloatArray
    _made: "_Made" = field(repr=False)

    def planted(self, *faults: Fault) -> "Contractions":
        """The same person and contractions, with these faults and no others.

        Parameters
        ----------
        *faults : Fault
            What is wrong; none for clean sites.

        Returns
        -------
        Contractions

        Raises
        ------
        ParameterError
            A fault is of no known kind, or its value out of range.
        UnknownNameError
            No muscle is called so.
        """
        return _recorded(self._made, faults)


@dataclass(frozen=True, eq=False)
class _Made:
    """What a person does, before any electrode: each muscle's signal, of RMS 1 in its test contractions."""

    seed: int
    rate_hz: float
    muscles: tuple[str, ...]
    markers: tuple[Marker, ...]
    own: FloatArray
    arriving: FloatArray
    gain: FloatArray
    joining: FloatArray
    noise_uv: FloatArray
    noise: FloatArray
    name: str


def simulate_contractions(
    rate_hz: float,
    *,
    seed: int,
    muscles: Sequence[str] = MUSCLES,
    repeats: int = 3,
    quiet: int = 1,
    maximal: int = 0,
    contraction_s: float = 3.0,
    pause_s: float = 2.0,
    rest_s: float = 10.0,
    maximal_pause_s: float = 60.0,
    mixing: "ArrayLike | None" = None,
    faults: Sequence[Fault] = (),
    name: str = "sub-01_task-contractions",
) -> Contractions:
    """Test contractions of one person, with who hears whom and faults. Same seed, same bits.

    The person rests, then does each test movement, each movement in which a muscle should be
    quiet (the muscle half-way round the list works instead), and each maximal effort.

    Parameters
    ----------
    rate_hz : float
        Sampling rate, 1000 Hz or more.
    seed : int
        Seed of every draw, 0 or more.
    muscles : sequence of str
        Labels of the muscles, two or more; five of the forearm unless given.
    repeats : int, default 3
        How often each test movement is done.
    quiet, maximal : int, default 1 and 0
        How often each quiet movement, and each maximal effort.
    contraction_s, pause_s : float, default 3.0 and 2.0
        Lengths of a contraction, and of the pause after it.
    rest_s : float, default 10.0
        Length of the rest at the start.
    maximal_pause_s : float, default 60.0
        The pause after a maximal effort.
    mixing : array_like, shape (channels, muscles), or None
        Share of amplitude that the channel of a row hears of the muscle of a column, its own
        being 1; drawn unless given.
    faults : sequence of Fault
        What is wrong; see ``emgreview.simulation.Fault``.
    name : str, default "sub-01_task-contractions"
        Name of the recording.

    Returns
    -------
    Contractions

    Raises
    ------
    RateError
        The sampling rate is below 1000 Hz.
    ParameterError
        A value is out of range.
    UnknownNameError
        A fault is at no channel.

    Notes
    -----
    Nothing here supports a claim about physiology: it is made to test methods against a truth.

    Examples
    --------
    >>> import emgreview as er
    >>> from emgreview.simulation import Fault
    >>> sim = er.simulate_contractions(1000, seed=1, repeats=1)
    >>> heard = sim.planted(Fault("neighbour", "FCR", "FDS", 0.45))
    >>> float(heard.share[1, 0].round(6))
    0.45
    """
    rate_hz = checks.rate(rate_hz, least=1000.0, what=f"levels are stated up to {BAND_HZ[1]:g} Hz, so needed is")
    seed = checks.whole("seed", seed, least=0)
    muscles = tuple(muscles)
    demand(len(muscles) >= 2 and len(set(muscles)) == len(muscles), "muscles", muscles, "two or more, none twice")
    counts = {"repeats": checks.whole("repeats", repeats, least=1), "quiet": checks.whole("quiet", quiet, least=0)}
    counts["maximal"] = checks.whole("maximal", maximal, least=0)
    contraction_s = checks.number("contraction_s", contraction_s, least=1.5, most=10, unit="s")
    pause_s = checks.number("pause_s", pause_s, least=0.5, most=60, unit="s")
    rest_s = checks.number("rest_s", rest_s, least=0, most=60, unit="s")
    maximal_pause_s = checks.number("maximal_pause_s", maximal_pause_s, least=0.5, most=600, unit="s")
    of_person, of_plan, of_signal, of_noise = (
        np.random.default_rng(stream) for stream in np.random.SeedSequence(seed).spawn(4)
    )
    n = len(muscles)
    noise_uv = of_person.uniform(*NOISE_UV, n)
    level_uv = noise_uv * 10 ** (of_person.uniform(*LEVEL_DB, n) / 20)
    beside = np.abs(np.subtract.outer(np.arange(n), np.arange(n))) == 1
    drawn = np.where(beside, of_person.uniform(*NEXT, (n, n)), of_person.uniform(*FAR, (n, n)))
    shares = _shares(mixing, n, drawn)
    joining = of_person.uniform(*JOINING, (n, n))
    np.fill_diagonal(joining, 1.0)

    plan, length_s = _plan(muscles, counts, contraction_s, pause_s, rest_s, maximal_pause_s)
    length = to_sample(length_s, rate_hz)
    own = np.zeros((n, length))
    done = to_sample(contraction_s + LAST_S + 0.2, rate_hz)
    for place in range(n):
        waves = _contractions(of_signal, counts["repeats"] + 1, done, rate_hz, contraction_s)
        for number, (start_s, kind, target) in enumerate(plan):
            active = _activity(kind, target, place, n, joining)
            if active > 0:
                sd = MAXIMAL_SD if kind == "maximal" else EFFORT_SD
                times = active * math.exp(sd * of_plan.standard_normal())
                first = to_sample(start_s + of_plan.uniform(*REACTION_S), rate_hz)
                wave = waves[number % len(waves), : length - first]
                own[place, first : first + wave.size] += times * wave
    arriving = leaked(own, rate_hz)
    arriving *= (_level(own, rate_hz) / _level(arriving, rate_hz))[:, np.newaxis]
    markers = tuple(
        Marker(
            to_sample(start_s, rate_hz),
            kind if target is None else f"{kind} {muscles[target]}",
            "given",
            rest_s if kind == "rest" else contraction_s,
            {"contraction": kind, "target": "n/a" if target is None else muscles[target]},
        )
        for start_s, kind, target in plan
    )
    noise = rest_noise((n, length), rate_hz, of_noise, level_uv=1.0) * noise_uv[:, np.newaxis]
    gain = level_uv[:, np.newaxis] * shares
    made = _Made(seed, rate_hz, muscles, markers, own, arriving, gain, joining, noise_uv, noise, name)
    return _recorded(made, faults)


def _plan(
    muscles: Sequence[str],
    counts: dict[str, int],
    contraction_s: float,
    pause_s: float,
    rest_s: float,
    maximal_pause_s: float,
) -> tuple[list[tuple[float, str, int | None]], float]:
    """What is asked when: start in seconds, kind, place of the muscle; and the length of all."""
    plan: list[tuple[float, str, int | None]] = []
    at = 1.0
    if rest_s:
        plan.append((at, "rest", None))
        at += rest_s + pause_s
    for kind, count in (("test", counts["repeats"]), ("quiet", counts["quiet"]), ("maximal", counts["maximal"])):
        for place in range(len(muscles)):
            for _ in range(count):
                plan.append((at, kind, place))
                at += contraction_s + (maximal_pause_s if kind == "maximal" else pause_s)
    return plan, at + 1.0


def _activity(kind: str, target: int | None, muscle: int, n: int, joining: FloatArray) -> float:
    """How strongly a muscle works while something is asked, in its own test contractions."""
    if target is None:
        return 0.0
    if kind == "quiet":
        return OPPOSITE if muscle == (target + n // 2) % n else 0.0
    return float(joining[target, muscle]) * (MAXIMAL_TIMES if kind == "maximal" else 1.0)


def _shares(mixing: "ArrayLike | None", n: int, drawn: FloatArray) -> FloatArray:
    """The mixing as asked, or as drawn; 1 on the diagonal."""
    given = np.array(drawn if mixing is None else mixing, dtype=np.float64)
    if given.shape != (n, n) or not (np.isfinite(given) & (given >= 0) & (given <= 2)).all():
        raise refusal("mixing", mixing, f"shares from 0 to 2, ({n}, {n}): channels in rows, muscles in columns")
    if mixing is None:
        np.fill_diagonal(given, 1.0)
    return given


def _contractions(
    rng: np.random.Generator, count: int, n_samples: int, rate_hz: float, contraction_s: float
) -> FloatArray:
    """Contractions of one muscle (count, samples), RMS 1 in 20-450 Hz once they have risen."""
    pool, ones = MotorPool.draw(rng), np.ones(count)
    hold_s = contraction_s - RISE_S - LAST_S - REACTION_S[0]
    drive = Drive(0 * ones, EFFORT * FULL_EXCITATION * ones, RISE_S * ones, hold_s * ones, LAST_S * ones)
    x = pool.signal(pool.discharges(drive, rng), (count, n_samples), rate_hz)
    steady = in_band(x, rate_hz)[:, to_sample(2 * RISE_S, rate_hz) : to_sample(RISE_S + hold_s, rate_hz)]
    return np.asarray(x / np.sqrt(np.mean(steady**2, axis=1, keepdims=True)))


def _level(x: FloatArray, rate_hz: float) -> FloatArray:
    """RMS in 20-450 Hz of each row."""
    return np.asarray(np.sqrt(np.mean(in_band(x, rate_hz) ** 2, axis=1)))


def _recorded(made: _Made, faults: Sequence[Fault]) -> Contractions:
    """What the electrodes give, with faults."""
    n, muscles = len(made.muscles), made.muscles
    gain, row = made.gain.copy(), {label: place for place, label in enumerate(muscles)}
    for fault in faults:
        _demand_fault(fault, row)
    for fault in faults:
        at = row[fault.channel]
        if fault.kind == "wrong site":
            beside = row[fault.other]
            gain[at, beside], gain[at, at] = gain[at, at], gain[at, at] * _or(fault.value, 0.3)
        elif fault.kind == "neighbour":
            _plant_neighbour(gain, made.joining, at, row[fault.other], fault.value)
        elif fault.kind == "weak site":
            own = math.sqrt(_power(gain, made.joining)[at, at])
            gain[at] *= made.noise_uv[at] * 10 ** (_or(fault.value, 6.0) / 20) / own
    x = made.noise + (gain * np.eye(n)) @ made.own + (gain * (1 - np.eye(n))) @ made.arriving
    for fault in faults:
        at = row[fault.channel]
        if fault.kind == "no rest":
            rng = np.random.default_rng([made.seed, at, FAULTS.index("no rest")])
            x[at : at + 1] = tonic(x[at : at + 1], made.rate_hz, rng, level_uv=_or(fault.value, 20.0))
        elif fault.kind == "inverted":
            x[at] *= -1
    power, order = _power(gain, made.joining), list(range(n))
    for fault in faults:
        if fault.kind == "swapped":
            at, other = row[fault.channel], row[fault.other]
            order[at], order[other] = order[other], order[at]
    heard, noise_uv = np.asarray(power[:, order]), made.noise_uv[order]
    gone = {fault.channel for fault in faults if fault.kind == "missing"}
    markers = [one for one in made.markers if one.details["target"] not in gone]
    rec = Recording.from_array(
        x[order], made.rate_hz, labels=list(muscles), markers=markers, name=made.name, entities={"sub": "01"}
    )
    alone = np.diag(heard)
    own_db = 10 * np.log10(alone / noise_uv**2)
    return Contractions(rec, muscles, tuple(faults), np.sqrt(heard / alone), own_db, noise_uv, made)


def _or(value: float, usual: float) -> float:
    return usual if math.isnan(value) else value


def _power(gain: FloatArray, joining: FloatArray) -> FloatArray:
    """Power that arrives (contractions, channels), without rest."""
    return np.asarray(joining**2 @ (gain**2).T)


def _plant_neighbour(gain: FloatArray, joining: FloatArray, at: int, beside: int, share: float) -> None:
    """Let a channel hear a muscle so that, while that one is contracted, exactly ``share`` of its own arrives."""
    gain[at, beside] = 0.0
    power, joins = _power(gain, joining), joining[at, beside] ** 2
    wanted = (share**2 * power[at, at] - power[beside, at]) / (1 - share**2 * joins)
    demand(wanted >= 0, "value", share, "a share above what arrives there anyway, of muscles that join in")
    gain[at, beside] = math.sqrt(wanted)


def _demand_fault(fault: Fault, row: dict[str, int]) -> None:
    demand(fault.kind in FAULTS, "kind", fault.kind, ", ".join(FAULTS))
    two = fault.kind in ("swapped", "wrong site", "neighbour")
    other = fault.other if two else fault.channel
    for label in (fault.channel, other):
        if label not in row:
            raise UnknownNameError("muscle", label, row)
    demand(not two or other != fault.channel, "other", other, "another muscle")
    if fault.kind == "neighbour":
        checks.number("value", fault.value, above=0, most=1.5)
