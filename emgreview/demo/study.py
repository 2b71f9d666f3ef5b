"""The demo study in memory: sixteen invented people turn a handle when a light changes. Everything is simulated.

A person holds one of two handles, small or large. An amber light warns; after 0.8 to 1.6 s it turns green: turn the
handle outward at once. The response is the moment when the handle passes 10 degrees; after a while a motor turns it
back. Six channels of surface EMG of the left arm, the handle's angle and a light sensor are sampled together. Four
people are odd (ODD); twelve are not, but for single trials (FAULTS). Four more, all odd (MORE), may be asked for.

Times in seconds from the start of a recording, signals (channels, samples) each in the unit of its channel.

    perform(number, seed=, trials=)   one person's whole recording, with its events and its truth
    Performance, Event, Truth         what it returns

The recipe, all our own: motor time, from the first activity over the biceps to the response, 120 to 250 ms by person;
rises of 30 to 150 ms and levels of 8 to 30 dB by person and channel; both wrist channels active in every turn; the
pectoral channel does little with the small handle.

A few lines over 400 lines: one recipe, read from top to bottom.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from emgreview.model import to_sample
from emgreview.simulation import ARTEFACTS, MotorPool, bursts, rest_noise

FloatArray = NDArray[np.float64]

RATE_HZ = 2000.0
MAINS_HZ = 50.0
RAIL_UV = 1000.0
PARTICIPANTS = 16
MOST = 20
TRIALS = 40
THRESHOLD_DEG = 10.0
TURN_DEG = 45.0
LIGHT_V = MappingProxyType({"off": 0.1, "warning": 1.2, "go": 3.0})
WINDOW_S = 2.0
LEAD_S = 3.0
"""Quiet before the first warning and after the last trial."""


@dataclass(frozen=True)
class Site:
    """Where two electrodes lie, and what is usual there: lag behind the biceps, level, change with the large handle."""

    label: str
    muscle: str
    place: str
    lag_s: float
    level_db: float
    large_db: float


SITES = (
    Site("BB", "biceps brachii", "middle of the belly", 0.0, 24.0, 0.5),
    Site("BR", "brachioradialis", "upper third of the forearm, thumb side", 0.012, 20.0, 1.5),
    Site("FCR", "flexor carpi radialis", "upper third of the forearm, palm side", 0.025, 15.0, 4.0),
    Site("ECR", "extensor carpi radialis", "upper third of the forearm, back", 0.018, 19.0, 3.0),
    Site("DP", "deltoid posterior", "two finger widths behind the acromion", -0.012, 14.0, 1.0),
    Site("PM", "pectoralis major", "below the collar bone, left, near the heart", 0.035, 8.0, 9.0),
)
LABELS = tuple(site.label for site in SITES)

ODD: Mapping[int, str] = MappingProxyType(
    {4: "swapped leads", 7: "lost electrode", 11: "mains hum", 14: "tense and late"}
)
MORE: Mapping[int, str] = MappingProxyType(
    {17: "duplicate", 18: "wrong unit", 19: "inverted copy", 20: "weak electrode"}
)
"""Further odd people, beyond the sixteen of the study, for whoever asks for them; nobody else's numbers change."""

DUPLICATE_OF, UNIT_TIMES, COPIED, WEAK, WEAK_DB = 3, 0.001, ("BR", "FCR"), "ECR", -20.0
"""Whose recording the duplicate is; the factor of values in another unit; the channel that is copied with the other
sign and the one it stands in place of; the channel over the weak electrode, and what its bursts lose."""

SWAPPED = ("BB", "PM")
LOST, LOST_FROM = "ECR", 0.55
"""The lost electrode's channel, and the share of trials after which it comes off."""


@dataclass(frozen=True)
class Fault:
    """Something wrong in one trial (numbered from 1), or in every trial (0), on one channel or in behaviour ("")."""

    kind: str
    trial: int = 0
    channel: str = ""


FAULTS: Mapping[int, tuple[Fault, ...]] = MappingProxyType(
    {
        1: (Fault("clipped", 12, "BB"), Fault("anticipation", 31)),
        2: (Fault("heart beats", channel="PM"), Fault("clipped", 7, "BR")),
        3: (Fault("no response", 18), Fault("lead swing", 5, "FCR")),
        5: (Fault("missing cue", 23), Fault("heart beats", channel="PM")),
        6: (Fault("anticipation", 9), Fault("lead swing", 27, "BR")),
        8: (Fault("heart beats", channel="PM"), Fault("response to warning", 15)),
        9: (Fault("clipped", 33, "ECR"), Fault("clipped", 34, "ECR")),
        12: (Fault("heart beats", channel="PM"), Fault("anticipation", 20)),
        13: (Fault("electrode pop", 11, "DP"), Fault("no response", 36)),
        15: (Fault("heart beats", channel="PM"), Fault("clipped", 25, "BB")),
        16: (Fault("anticipation", 14), Fault("electrode pop", 30, "FCR")),
    }
)


@dataclass(frozen=True)
class Event:
    """One row of events.tsv: ``kind`` is warning, go or response."""

    onset_s: float
    kind: str
    grip: str
    trial: int


@dataclass(frozen=True)
class Truth:
    """What truly happened in one trial under one channel as it is labelled in the file; NaN where nothing did.

    ``site`` is where the signal truly comes from: another label than ``channel`` where leads were swapped. The times
    are those of :class:`emgreview.simulation.Bursts`, in seconds of the recording; ``level_db`` is over the rest of
    that channel, tonic background counted, mains and heart not. ``behaviour`` and ``signal`` say what is unusual, or
    are empty.
    """

    trial: int
    grip: str
    channel: str
    site: str
    go_s: float
    present: bool
    onset_s: float
    drive_s: float
    visible_s: float
    offset_s: float
    level_db: float
    behaviour: str
    signal: str


@dataclass(frozen=True, eq=False)
class Performance:
    """One person's recording: ``emg_uv`` (sites, samples), ``angle_deg`` and ``light_v`` (samples,)."""

    number: int
    odd: str
    emg_uv: FloatArray
    angle_deg: FloatArray
    light_v: FloatArray
    events: tuple[Event, ...]
    truth: tuple[Truth, ...]


@dataclass(frozen=True, eq=False)
class _Style:
    """How one person moves: medians, and (sites,) arrays."""

    premotor_s: float
    premotor_spread: float
    motor_s: float
    delay_s: float
    lag_s: FloatArray
    rise_s: FloatArray
    level_db: FloatArray
    large_db: FloatArray
    level_spread_db: float
    noise_uv: FloatArray
    tonic_uv: FloatArray

    @classmethod
    def draw(cls, number: int, rng: np.random.Generator) -> "_Style":
        tense = ODD.get(number) == "tense and late"
        n = len(SITES)
        return cls(
            premotor_s=rng.uniform(0.17, 0.25) + (0.17 if tense else 0.0),
            premotor_spread=rng.uniform(0.09, 0.15),
            motor_s=rng.uniform(0.13, 0.24),
            delay_s=rng.uniform(0.035, 0.06),
            lag_s=np.array([site.lag_s for site in SITES]) + rng.normal(0.0, 0.007, n) * (np.arange(n) > 0),
            rise_s=rng.uniform(0.03, 0.15, n),
            level_db=np.clip([site.level_db + rng.normal(5.0 * tense, 2.5) for site in SITES], 7.0, 29.0),
            large_db=np.array([site.large_db for site in SITES]) + rng.normal(0.0, 0.5, n),
            level_spread_db=rng.uniform(1.0, 2.0),
            noise_uv=rng.uniform(1.8, 4.5, n),
            tonic_uv=np.where([tense] * n, rng.uniform(10.0, 14.0, n), 0.0),
        )


@dataclass(frozen=True, eq=False)
class _Plan:
    """When everything happens, (trials,): NaN where it does not."""

    large: NDArray[np.bool_]
    warning_s: FloatArray
    go_s: FloatArray
    start_s: FloatArray
    response_s: FloatArray
    turn_s: FloatArray
    behaviour: tuple[str, ...]

    @classmethod
    def draw(cls, number: int, style: _Style, trials: int, rng: np.random.Generator) -> "_Plan":
        """Times on whole samples where a device gives them (lights, threshold); activity starts between samples."""
        large = rng.permutation(np.arange(trials) % 2 == 1)
        foreperiod_s = rng.uniform(0.8, 1.6, trials)
        pause_s = rng.uniform(2.0, 2.4, trials)
        warning_s = LEAD_S + np.concatenate([[0.0], np.cumsum(foreperiod_s + pause_s)[:-1]])
        go_s = warning_s + foreperiod_s
        premotor_s = style.premotor_s * np.exp(style.premotor_spread * rng.standard_normal(trials))
        start_s = go_s + premotor_s
        motor_s = np.clip(style.motor_s * np.exp(0.06 * rng.standard_normal(trials)), 0.12, 0.25)
        early_s = rng.uniform(0.04, 0.11, trials)
        behaviour = [""] * trials
        for fault in FAULTS.get(number, ()):
            index = fault.trial - 1
            if fault.channel or index >= trials or fault.kind == "missing cue":
                continue
            behaviour[index] = fault.kind
            if fault.kind == "anticipation":
                start_s[index] = go_s[index] - early_s[index]
            elif fault.kind == "response to warning":
                start_s[index] = warning_s[index] + premotor_s[index]
            else:
                start_s[index] = np.nan
        if ODD.get(number) == "tense and late":
            behaviour = ["late"] * trials
        return cls(
            large,
            _on_samples(warning_s),
            _on_samples(go_s),
            start_s,
            _on_samples(start_s + motor_s),
            (motor_s - style.delay_s) / _turned(),
            tuple(behaviour),
        )


def _on_samples(time_s: FloatArray) -> FloatArray:
    return np.floor(time_s * RATE_HZ + 0.5) / RATE_HZ


def _turn(u: FloatArray) -> FloatArray:
    """Share of a turn done at the share u of its time, 0 before and 1 after: smooth in speed and acceleration."""
    u = np.clip(u, 0.0, 1.0)
    return u**3 * (10.0 - 15.0 * u + 6.0 * u * u)


def _turned() -> float:
    """The share of a turn's time after which the handle passes the threshold."""
    u = np.linspace(0.0, 1.0, 100_001)
    return float(u[np.searchsorted(_turn(u), THRESHOLD_DEG / TURN_DEG)])


def perform(number: int, *, seed: int, trials: int = TRIALS) -> Performance:
    """Person ``number`` (from 1) doing ``trials`` trials. Same number, seed and trials: same bits."""
    styles, plans, signals = (np.random.default_rng(s) for s in np.random.SeedSequence([seed, number]).spawn(3))
    if MORE.get(number) == "duplicate":
        return replace(perform(DUPLICATE_OF, seed=seed, trials=trials), number=number, odd=MORE[number])
    style = _Style.draw(number, styles)
    plan = _Plan.draw(number, style, trials, plans)
    n_samples = int(np.ceil(plan.go_s[-1] + WINDOW_S + LEAD_S)) * int(RATE_HZ)
    emg = np.empty((len(SITES), n_samples))
    truth = []
    for index in range(len(SITES)):
        emg[index], rows = _record(number, index, style, plan, n_samples, signals)
        truth.append(rows)
    if ODD.get(number) == "swapped leads":
        a, b = (LABELS.index(label) for label in SWAPPED)
        emg[[a, b]] = emg[[b, a]]
        truth[a], truth[b] = truth[b], truth[a]
    if MORE.get(number) == "inverted copy":
        source, place = (LABELS.index(label) for label in COPIED)
        emg[place] = -emg[source]
        truth[place] = [{**row, "signal": MORE[number]} for row in truth[source]]
    np.clip(emg, -RAIL_UV, RAIL_UV, out=emg)
    if MORE.get(number) == "wrong unit":
        emg *= UNIT_TIMES
        truth = [[{**row, "signal": MORE[number]} for row in rows] for rows in truth]
    return Performance(
        number,
        ODD.get(number, MORE.get(number, "")),
        emg,
        _angle(plan, n_samples, signals),
        _light(plan, n_samples, signals),
        _events(number, plan),
        tuple(Truth(channel=label, **row) for label, rows in zip(LABELS, truth, strict=True) for row in rows),
    )


def _record(
    number: int, index: int, style: _Style, plan: _Plan, n_samples: int, rng: np.random.Generator
) -> tuple[FloatArray, list[dict]]:
    """What one pair of electrodes records, (samples,), and the truth of each trial without the channel's label."""
    site, trials = SITES[index], plan.go_s.size
    mine = {fault.trial: fault.kind for fault in FAULTS.get(number, ()) if fault.channel == site.label}
    unusual = [mine.get(trial, mine.get(0, "")) for trial in range(1, trials + 1)]
    rest_uv = float(np.hypot(style.noise_uv[index], style.tonic_uv[index]))

    level_db = style.level_db[index] + style.level_spread_db * rng.standard_normal(trials)
    level_db = np.clip(level_db + np.where(plan.large, style.large_db[index], 0.0), 5.0, 32.0)
    if MORE.get(number) == "weak electrode" and site.label == WEAK:
        level_db = level_db + WEAK_DB
        unusual = [MORE[number]] * trials
    level_uv = style.noise_uv[index] * 10 ** (level_db / 20)
    seldom = rng.uniform(size=trials) < 0.65
    if site.label == "PM":
        level_uv[~plan.large & seldom] = np.nan
    level_uv[np.isnan(plan.start_s)] = np.nan
    level_uv[[kind == "clipped" for kind in unusual]] = 0.55 * RAIL_UV

    onset_s = plan.start_s + style.lag_s[index] + 0.006 * rng.standard_normal(trials) * (index > 0)
    first = np.floor(np.nan_to_num(onset_s - 0.1) * RATE_HZ).astype(int)
    fall_s = rng.uniform(0.08, 0.15, trials)
    rise_s = np.clip(style.rise_s[index] * np.exp(0.1 * rng.standard_normal(trials)), 0.03, 0.15)
    window = (trials, to_sample(WINDOW_S, RATE_HZ))
    made = bursts(
        MotorPool.draw(rng),
        rng,
        window,
        RATE_HZ,
        onset_s=onset_s - first / RATE_HZ,
        rise_s=rise_s,
        duration_s=np.maximum(0.2 + 0.8 * plan.turn_s, rise_s + fall_s + 0.05),
        fall_s=fall_s,
        level_uv=level_uv,
        rest_uv=rest_uv,
    )
    x = rest_noise((1, n_samples), RATE_HZ, rng, level_uv=style.noise_uv[index])
    for start, burst in zip(first, made.x_uv, strict=True):
        x[0, start : start + window[1]] += burst[: n_samples - start]

    def spoil(name: str, **levels: float) -> None:
        nonlocal x
        x = ARTEFACTS[name](x, RATE_HZ, rng, **levels)

    if style.tonic_uv[index]:
        spoil("tonic", level_uv=style.tonic_uv[index])
    if ODD.get(number) == "mains hum":
        spoil("mains", level_uv=rng.uniform(5.0, 9.0) * style.noise_uv[index], hz=MAINS_HZ)
    if mine.get(0) == "heart beats":
        spoil("heart", level_uv=rng.uniform(60.0, 120.0), beats_per_min=rng.uniform(58.0, 84.0))
    for trial, kind in mine.items():
        if kind == "lead swing" and trial <= trials:
            spoil("swing", level_uv=120.0, at_s=plan.go_s[trial - 1] + 0.1, length_s=0.7)
        elif kind == "electrode pop" and trial <= trials:
            spoil("pop", level_uv=400.0, at_s=plan.go_s[trial - 1] - 0.15)
    recorded = np.isfinite(level_uv)
    if ODD.get(number) == "lost electrode" and site.label == LOST:
        lost = int(LOST_FROM * trials)
        at_s = plan.warning_s[lost] - 0.5
        spoil("pop", level_uv=600.0, at_s=at_s, decay_s=0.05)
        flat = to_sample(at_s + 0.2, RATE_HZ)
        x[0, flat:] = rest_noise((1, n_samples - flat), RATE_HZ, rng, level_uv=0.15)
        recorded[lost:] = False
        unusual[lost:] = ["electrode lost"] * (trials - lost)

    def seen(time_s: FloatArray) -> FloatArray:
        return np.where(recorded, time_s + first / RATE_HZ, np.nan)

    columns = {
        "trial": np.arange(1, trials + 1),
        "grip": np.where(plan.large, "large", "small"),
        "site": np.full(trials, site.label),
        "go_s": plan.go_s,
        "present": recorded,
        "onset_s": seen(made.onset_s),
        "drive_s": seen(made.drive_s),
        "visible_s": seen(made.visible_s),
        "offset_s": seen(made.offset_s),
        "level_db": np.where(recorded, 20 * np.log10(level_uv / rest_uv), np.nan),
        "behaviour": np.array(plan.behaviour),
        "signal": np.array(unusual),
    }
    rows = zip(*(column.tolist() for column in columns.values()), strict=True)
    return x[0], [dict(zip(columns, row, strict=True)) for row in rows]


def _angle(plan: _Plan, n_samples: int, rng: np.random.Generator) -> FloatArray:
    """The handle: turned so that it passes the threshold at the response, turned back by a motor later."""
    t = np.arange(n_samples) / RATE_HZ
    angle = 0.03 * rng.standard_normal(n_samples)
    for go, response, turn in zip(plan.go_s, plan.response_s, plan.turn_s, strict=True):
        if np.isfinite(response):
            out, back = response - _turned() * turn, max(go, response) + 1.0
            part = slice(to_sample(out, RATE_HZ), to_sample(back + 0.5, RATE_HZ))
            angle[part] += TURN_DEG * (_turn((t[part] - out) / turn) - _turn((t[part] - back) / 0.5))
    return angle


def _light(plan: _Plan, n_samples: int, rng: np.random.Generator) -> FloatArray:
    """The sensor before the light: amber from the warning, green from go, off 0.8 s later; it follows within 0.5 ms."""
    volts = np.full(n_samples, LIGHT_V["off"])
    for warning, go in zip(plan.warning_s, plan.go_s, strict=True):
        on, green, off = (to_sample(at, RATE_HZ) for at in (warning, go, go + 0.8))
        volts[on:green] = LIGHT_V["warning"]
        volts[green:off] = LIGHT_V["go"]
    return volts + 0.01 * rng.standard_normal(n_samples)


def _events(number: int, plan: _Plan) -> tuple[Event, ...]:
    """What the experiment's computer wrote down, in order of time; one person's computer missed one go."""
    missed = {fault.trial for fault in FAULTS.get(number, ()) if fault.kind == "missing cue"}
    events = []
    for index, large in enumerate(plan.large):
        trial, grip = index + 1, "large" if large else "small"
        events.append(Event(float(plan.warning_s[index]), "warning", grip, trial))
        if trial not in missed:
            events.append(Event(float(plan.go_s[index]), "go", grip, trial))
        if np.isfinite(plan.response_s[index]):
            events.append(Event(float(plan.response_s[index]), "response", grip, trial))
    return tuple(sorted(events, key=lambda event: event.onset_s))
