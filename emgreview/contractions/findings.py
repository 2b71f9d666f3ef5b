"""What test contractions say of each channel, in words, with a number and what to do about it.

    Finding         one of them
    Column          what is known of one channel
    LIMITS          the limits, each with where it comes from
    find            findings of every channel
    CODES           what may be found

A finding is a reason to look, never a verdict on a muscle: what arrives while another muscle is contracted may be that
muscle, or the own one joining in; amplitudes cannot tell. How often each finding is right and wrong where the truth is
known stands in ``tests/benchmarks/bench_contractions.py``.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

from emgreview.intervals import Estimate
from emgreview.muscles.wording import share_words
from emgreview.reading.channel_cards import LOUD

CODES = ("no signal", "missing", "exchanged", "wrong site", "weak", "neighbour", "no rest")


class Limit(NamedTuple):
    """A limit and its source."""

    value: float
    source: str


LIMITS: Mapping[str, Limit] = MappingProxyType(
    {
        "neighbour": Limit(LOUD, "practitioners' judgement, no publication"),
        "weak_db": Limit(10.0, "practitioners' judgement, no publication"),
        "rest_uv": Limit(10.0, "RMS at instructed rest; practitioners' judgement, no publication"),
        "rest_times": Limit(2.0, "times the quietest contraction of another muscle; our own choice, no source"),
        "wrong site": Limit(1.0, "another contraction is louder here than the own one: a definition"),
        "repeats": Limit(3, "so that an interval can be told; our own choice, no source"),
    }
)


@dataclass(frozen=True, slots=True)
class Finding:
    """What stands out at one channel: ``code`` of CODES, ``words`` with the number, ``todo`` what to do; ``other`` is
    the contraction or channel it is about, "" without."""

    channel: str
    code: str
    words: str
    todo: str
    other: str = ""

    def __str__(self) -> str:
        return f"{self.words} {self.todo}"


@dataclass(frozen=True, slots=True)
class Column:
    """One channel: ``ratio`` and ``share`` by contraction (RMS there over that of the own contraction; the same with
    the power of rest taken out), ``own_db`` the own contraction over rest, ``rest`` its RMS at rest, ``quietest`` the
    lowest RMS of another contraction, ``named_rest`` whether somebody said when the person rested, ``unfit`` why
    nothing can be said of its own contraction."""

    label: str
    has_own: bool
    ratio: Mapping[str, Estimate]
    share: Mapping[str, Estimate]
    own_db: float
    rest: float
    quietest: float
    named_rest: bool
    unfit: str
    unit: str


def find(columns: Sequence[Column]) -> tuple[Finding, ...]:
    """Findings of every channel, in the order of the channels and of CODES."""
    lead = {one.label: _loudest(one) for one in columns}
    out: list[Finding] = []
    for one in columns:
        out += _of(one, lead)
    return tuple(out)


def _loudest(one: Column) -> str:
    """The contraction that is loudest in a channel: its own unless another one is louder; "" where it is not known."""
    if not one.has_own or one.unfit:
        return ""
    known = {t: e.value for t, e in one.ratio.items() if not math.isnan(e.value) and t != one.label}
    best = max(known, key=lambda t: known[t], default="")
    return best if best and known[best] > LIMITS["wrong site"].value else one.label


def _ring(label: str, lead: Mapping[str, str]) -> list[str]:
    """Channels that lead to each other's contractions in a ring, beginning with this one; [] where it is in none."""
    ring, at = [label], lead[label]
    while at and at != label and at in lead and at not in ring:
        ring.append(at)
        at = lead[at]
    return ring if at == label and len(ring) > 1 else []


def _of(one: Column, lead: Mapping[str, str]) -> list[Finding]:
    label = one.label
    if one.unfit:
        return [
            Finding(
                label,
                "no signal",
                f"{label} cannot be judged in its own contraction: {one.unfit}.",
                "Look at lead, electrodes and input, then contract again.",
            )
        ]
    if not one.has_own:
        return [
            Finding(
                label,
                "missing",
                f"No test contraction of {label} was recorded: what it hears of its own muscle is not known.",
                "Record its test movement three times.",
            )
        ]
    out: list[Finding] = []
    loudest = lead[label]
    if ring := _ring(label, lead):
        times = one.ratio[loudest]
        out.append(
            Finding(
                label,
                "exchanged",
                f"The leads of {' and '.join(sorted(ring))} are exchanged, or the movements were: {label} is "
                f"{times.value:.1f} times as loud while {loudest} is contracted as in its own contraction.",
                "Follow each lead from skin to input, plug or rename, and contract both again.",
                loudest,
            )
        )
    elif loudest != label:
        out.append(
            Finding(
                label,
                "wrong site",
                f"{label} is loudest while {loudest} is contracted: {one.ratio[loudest].value:.2f} times its own "
                f"contraction{_interval(one.ratio[loudest])}.",
                f"Its pads may lie over {loudest}, or the test movement did not reach {label}: feel for the muscle, "
                "move the pads, and contract both again.",
                loudest,
            )
        )
    if not ring and one.own_db < LIMITS["weak_db"].value:
        out.append(
            Finding(
                label,
                "weak",
                f"The own contraction of {label} stands {one.own_db:.1f} dB over its rest; "
                f"{LIMITS['weak_db'].value:g} dB is little.",
                "Look at skin, gel and site, or ask for a clearer contraction, and try again.",
            )
        )
    if not ring:
        out += _neighbours(one, loudest)
    out += _no_rest(one)
    return out


def _neighbours(one: Column, named: str) -> list[Finding]:
    loud = {
        t: share
        for t, share in one.share.items()
        if t not in (one.label, named) and share.value >= LIMITS["neighbour"].value
    }
    return [
        Finding(
            one.label,
            "neighbour",
            f"While {other} is contracted, {one.label} shows {share_words(share, ' of its own contraction')}.",
            f"Its pads may hear {other}, or its muscle joins in: watch the person, try pads closer together or further "
            f"from {other}, and name {other} with every result of {one.label}.",
            other,
        )
        for other, share in sorted(loud.items(), key=lambda pair: -pair[1].value)
    ]


def _no_rest(one: Column) -> list[Finding]:
    over_uv = one.unit == "uV" and one.rest > LIMITS["rest_uv"].value
    over_quietest = one.rest > LIMITS["rest_times"].value * one.quietest
    if not one.named_rest or not (over_uv or over_quietest):
        return []
    unit = {"uV": " µV"}.get(one.unit, "")
    why = (
        f"above {LIMITS['rest_uv'].value:g} µV"
        if over_uv
        else f"{one.rest / one.quietest:.1f} times that of its quietest other contraction"
    )
    return [
        Finding(
            one.label,
            "no rest",
            f"At rest {one.label} has {one.rest:.3g}{unit} RMS, {why}.",
            "Support the limb and let the person see the trace; if it stays, look for mains or a loose lead with "
            "er.check.",
        )
    ]


def _interval(ratio: Estimate) -> str:
    return "" if math.isnan(ratio.low) else f" (95 % CI {ratio.low:.2f} to {ratio.high:.2f})"
