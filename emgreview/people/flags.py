"""Who is odd, and why: flags of all people, and below them who is most unlike the others.

    odd_people      flags, those most unlike, and what was said of all
    Odd             what it returns
    SHARES          how often a clean study raises a flag of each kind, at most

Physical rules (``rules.py``) come first. What they name is left out of the statistics: a channel with hum says nothing
of how tense a person is. The others are compared with one another (``features.py``, ``odd.py``): features of a person,
features of each channel, whether two channels fit better exchanged, and rates that differ by more than chance gives.

A flag never excludes. Below the limit nobody is flagged; the list of those most unlike the others is in order, and says
no more than that somebody has to be first.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from emgreview.model import FloatArray
from emgreview.people import odd
from emgreview.people.features import FEWEST_TRIALS, LABELLED, LEAST, MANY, OF_PERSON, RELATIVE, Features, features_of
from emgreview.people.person import Person
from emgreview.people.rules import UNLIKE, Flag, gravity, physical

SHARES = {"person": 0.015, "channel": 0.015, "exchanged": 0.01, "rate": 0.005}
"""Shares of clean studies with a flag of the kind; together 4.5 %, of the 5 % that are allowed."""

SPOILT = ("dead", "unit", "mains", "low frequencies", "missing", "converter", "identical", "inverted", "duplicate")
"""Physical flags of a channel (or person) whose numbers would say nothing of the person."""
SPOILT_BY_HEART = ("frequency", "rest", "level")

LEAST_RATE = 0.2
"""SD between people of the arc sine of the root of a rate, at least: 4 % against nothing (our own
choice)."""

MOST_UNLIKE = 8
CODES = {
    "onset": ("early", "late"),
    "spread": ("steady", "scattered"),
    "tension": ("quiet", "tense"),
    "strength": ("weak", "strong"),
    "length": ("short", "long"),
    "response": ("fast", "slow"),
    "rest": ("quiet", "noisy"),
    "level": ("weak", "strong"),
    "lag": ("early", "late"),
    "duration": ("short", "long"),
    "frequency": ("low spectrum", "high spectrum"),
    "drift": ("sinking rest", "rising rest"),
}
"""Code of a flag where a feature is far below, and far above, the others."""


@dataclass(frozen=True, eq=False)
class Odd:
    """``flags`` in the order of people, physical ones first; ``unlike`` those nearest below the limits, most unlike
    first; ``notes`` what is common to most, and what was not compared; ``rules`` each rule that was used, in words."""

    flags: tuple[Flag, ...]
    unlike: tuple[Flag, ...]
    notes: tuple[str, ...]
    rules: tuple[str, ...]


def odd_people(people: Sequence[Person], *, expect: int | None = None, more: Sequence[Flag] = ()) -> Odd:
    """Flags of all people; ``more`` are others' (of test contractions)."""
    flags, notes = physical(people, expect=expect)
    flags = [*flags, *more]
    who = {(one.participant, one.session): at for at, one in enumerate(people)}
    spoilt = {(who[one.participant, one.session], one.channel) for one in flags if one.code in SPOILT}
    features = features_of(people, spoilt)
    for flag in flags:
        if flag.code == "heart":
            at, channel = who[flag.participant, flag.session], features.labels.index(flag.channel)
            for name in SPOILT_BY_HEART:
                features.labelled[name][at, channel] = np.nan
    swaps = [] if len(people) < odd.FEWEST else list(_exchanged(people, features))
    swapped = {(one.participant, one.session, one.channel) for one in [*flags, *swaps] if one.code == "swapped"}
    limits = _limits(features)
    stands = [
        one for one in _unlike(people, features, limits) if (one.participant, one.session, one.channel) not in swapped
    ]
    told = _said_once([one for one in stands if abs(one.value) > one.limit], len(features.labels))
    silent = {(who[one.participant, one.session], one.channel) for one in flags if one.code == "silent"}
    rates = list(_rates(people, spoilt | silent))
    everything = [*flags, *swaps, *told, *rates]
    everything.sort(key=lambda one: (who[one.participant, one.session], gravity(one.code)))
    below = sorted((one for one in stands if abs(one.value) <= one.limit), key=lambda one: -abs(one.value) / one.limit)
    if len(people) < odd.FEWEST:
        notes.append(
            f"{len(people)} people: of fewer than {odd.FEWEST} nobody is told apart by statistics; physical rules "
            "alone were used."
        )
    return Odd(
        tuple(everything), tuple(below[:MOST_UNLIKE]), tuple(notes), _rules(people, limits, len(features.labels))
    )


def _said_once(flags: Sequence[Flag], channels: int) -> list[Flag]:
    """Without those of single channels that say the same as one of the person."""
    of_person = {(one.participant, one.session, one.feature, one.value > 0) for one in flags if not one.channel}
    out = []
    for one in flags:
        same = (one.participant, one.session, RELATIVE.get(one.feature), one.value > 0)
        if not (one.channel and channels < MANY and same in of_person):
            out.append(one)
    return out


def _limits(features: Features) -> dict[str, tuple[float, int]]:
    """Share and number of features of the two families."""
    of_channels, of_people = features.counts
    return {"channel": (SHARES["channel"], of_channels), "person": (SHARES["person"], of_people)}


def _unlike(people: Sequence[Person], features: Features, limits: dict[str, tuple[float, int]]) -> Iterator[Flag]:
    """Every feature of everybody with its distance from the others."""
    for name, values in features.of_person.items():
        yield from _of_feature(people, features, name, values[:, None], ("",), limits["person"])
    for name, table in features.labelled.items():
        yield from _of_feature(people, features, name, table, features.labels, limits["channel"])


def _of_feature(
    people: Sequence[Person],
    features: Features,
    name: str,
    values: FloatArray,
    channels: Sequence[str],
    family: tuple[float, int],
) -> Iterator[Flag]:
    """Distances of one feature, (people, channels), beyond the limit and the largest below it; the spreads of channels
    borrow from one another."""
    share, count = family
    far = odd.distance(values.T, least=LEAST[name], borrow=True)
    for channel, row, mine in zip(channels, far, values.T, strict=True):
        n = int(np.isfinite(mine).sum())
        limit = odd.limit_of(n, count, share, len(channels))
        if not math.isfinite(limit):
            continue
        plain = features.plain[name][:, features.labels.index(channel)] if channel else features.plain[name]
        nearest = np.argsort(-np.abs(np.nan_to_num(row)), kind="stable")[:MOST_UNLIKE]
        told = np.flatnonzero(np.abs(np.nan_to_num(row)) > limit)
        for at in sorted({*nearest.tolist(), *told.tolist()}):
            if math.isnan(row[at]):
                continue
            one = people[at]
            yield Flag(
                participant=one.participant,
                session=one.session,
                channel=channel,
                code=CODES[name][int(row[at] > 0)],
                feature=name,
                reason=_reason(name, channel, plain, at, float(row[at]), limit, n, one.unit, len(features.labels)),
                value=float(row[at]),
                limit=limit,
                kind=UNLIKE,
            )


def _reason(
    name: str, channel: str, plain: FloatArray, at: int, far: float, limit: float, n: int, unit: str, channels: int
) -> str:
    words = {**LABELLED, **OF_PERSON}[name]
    own, others = _said(name, plain[at], unit), _said(name, float(np.nanmedian(np.delete(plain, at))), unit)
    beside = ", counted from the person's other channels" if channel and name in RELATIVE and channels >= MANY else ""
    return (
        f"{words[0].upper()}{words[1:]} {own}, median of the others {others}{beside}: {abs(far):.1f} SD "
        f"{'above' if far > 0 else 'below'} the others (limit {limit:.1f} for {n} people)."
    )


def _said(name: str, value: float, unit: str) -> str:
    if name in ("rest", "tension"):
        return f"{value:.3g} {'µV' if unit == 'uV' else unit}"
    if name in ("level", "strength"):
        return f"{value:.1f} dB"
    if name == "frequency":
        return f"{value:.0f} Hz"
    if name == "drift":
        return f"{math.exp(value):.2f} times"
    return f"{1000 * value:.0f} ms"


def _exchanged(people: Sequence[Person], features: Features) -> Iterator[Flag]:
    """People of whom two channels fit far better exchanged."""
    names = ("level", "lag", "duration", "frequency")
    table = np.stack([features.labelled[name] for name in names], axis=-1)
    shown = np.stack([_present(one, features.labels) for one in people])
    table = np.concatenate([table, shown[..., None]], axis=-1)
    least = np.array([*(LEAST[name] for name in names), LEAST_RATE])
    for pair in odd.exchanged(table, SHARES["exchanged"], least=least):
        one = people[pair.person]
        first, second = features.labels[pair.first], features.labels[pair.second]
        for label, other in ((first, second), (second, first)):
            yield Flag(
                participant=one.participant,
                session=one.session,
                channel=label,
                code="swapped",
                reason=(
                    f"{first} and {second} look like each other's in the rest of the group (level, order and length of "
                    f"bursts, spectrum): exchanged, their misfit falls by {pair.gain:.0f} squared SD (limit "
                    f"{pair.limit:.0f}). Were the leads swapped? {other} is the other one."
                ),
                value=pair.gain,
                limit=pair.limit,
                kind=UNLIKE,
            )


def _present(one: Person, labels: Sequence[str]) -> FloatArray:
    """Arc sine of the root of the share of trials with a burst."""
    out = np.full(len(labels), np.nan)
    for place, (label, usable) in enumerate(zip(one.labels, one.usable, strict=True)):
        if usable.sum() >= FEWEST_TRIALS:
            out[labels.index(label)] = math.asin(math.sqrt(float(np.isfinite(one.onset_s[place][usable]).mean())))
    return out


def _rates(people: Sequence[Person], spoilt: set[tuple[int, str]]) -> Iterator[Flag]:
    """Shares of trials without a burst, and with one after the response, beyond what chance gives and beyond how people
    differ."""
    if len(people) < odd.FEWEST:
        return
    labels = dict.fromkeys(label for one in people for label in one.labels)
    tests = 2 * len(labels) * len(people)
    chance = SHARES["rate"] / tests / 2
    for label in labels:
        for code, count in (("none found", _none), ("after response", _after)):
            rows = [
                (at, one, *count(one, label))
                for at, one in enumerate(people)
                if label in one.labels and not {(at, label), (at, "")} & spoilt and label not in one.kept_out
            ]
            rows = [row for row in rows if row[3] >= FEWEST_TRIALS]
            if len(rows) < odd.FEWEST:
                continue
            found, n = (np.array([row[place] for row in rows], dtype=float) for place in (2, 3))
            roots = np.arcsin(np.sqrt(found / n))
            far = odd.distance(roots, least=LEAST_RATE)
            limit_sd = odd.limit_of(len(rows), 2 * len(labels), SHARES["rate"])
            for place, (_, one, mine, of) in enumerate(rows):
                others = np.delete(found, place).sum() / np.delete(n, place).sum()
                most = odd.funnel(int(mine), int(of), max(others, 0.5 / n.sum()), chance)[1]
                beyond = math.isnan(far[place]) or far[place] > limit_sd
                if mine > most and mine >= 3 and beyond and mine / of > 0.1:
                    what = "no burst was found" if code == "none found" else "the burst begins after the response"
                    yield Flag(
                        participant=one.participant,
                        session=one.session,
                        channel=label,
                        code=code,
                        reason=(
                            f"In {mine:.0f} of {of:.0f} trials {what}; of the others in {others:.1%}, which gives at "
                            f"most {most} by chance."
                        ),
                        value=float(mine),
                        limit=float(most),
                        kind=UNLIKE,
                    )


def _none(one: Person, label: str) -> tuple[float, float]:
    row, usable = one.onset_s[one.place(label)], one.usable[one.place(label)]
    return float((np.isnan(row) & usable).sum()), float(usable.sum())


def _after(one: Person, label: str) -> tuple[float, float]:
    row = one.onset_s[one.place(label)]
    both = np.isfinite(row) & np.isfinite(one.response_s)
    return float((row[both] >= one.response_s[both]).sum()), float(both.sum())


def _rules(people: Sequence[Person], limits: dict[str, tuple[float, int]], channels: int) -> tuple[str, ...]:
    """The statistical rules in words, with the limits of this study."""
    n = len(people)
    out = []
    for name, words in (("person", "of a person over all channels"), ("channel", "of a channel")):
        share, count = limits[name]
        limit = odd.limit_of(n, count, share, channels if name == "channel" else 1)
        if math.isfinite(limit):
            out.append(
                f"Features {words} ({count} of them): more than {limit:.1f} SD of the other people from their mean, "
                f"those that stand out themselves left out. So far somebody is in {share:.1%} of clean studies of {n} "
                "people."
            )
    if n >= odd.FEWEST:
        out.append(
            "Swapped: two channels fit better exchanged, by more squared SD than any pair of a clean study does in "
            f"{SHARES['exchanged']:.1%} of studies."
        )
        out.append(
            f"Rates: more trials than the rate of the others gives by chance, in {SHARES['rate']:.1%} of studies, and "
            "further from the others than these differ."
        )
    return tuple(out)
