"""Findings: what a person should look at in a channel, with the value, the limit it passed, and whose limit that is.

This is the one place where a measure becomes a finding. Nothing is decided here: a finding asks for a look. Values are
frozen, so that screens and tables can show them, add their own, and flag by ``code``.

    Finding         code, channels, words, value, unit, limit, source
    Limit, LIMITS   the limits, and where each comes from
    of_measures     findings of one channel from what was measured on it
    of_level        those about its level alone: dead, or in another unit
    of_wrong_unit   of these, levels that no surface EMG has
    of_constant     stretches of one value and missing samples, wherever they lie in a long recording
    of_pairs        channels that carry the same signal
    brief           those about level in a few words
    code_words      which codes a signal holds, in a few words
    of_unlike       channels far smaller or larger than the others, where the unit is arbitrary

Codes: "no samples", "constant", "nothing looked at", "missing", "code value", "held", "repeated", "clipped", "dead",
"too small", "too large", "coarse", "mains", "low frequencies", "heart", "same signal", "unlike others".

Over 400 lines, because limits and words are looked for in one place.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np

from emgreview.signal.alike import Alike
from emgreview.signal.heart import Heart
from emgreview.signal.stuck import STILL_S, STILL_TIMES, Constant

PRACTICE = "common practice, no source"
OWN = "our own choice, no source"
NOISE = "noise of skin and amplifier is 1 to 5 µV RMS, from memory"
MUSCLE = "muscle at full effort gives some 1 to 2 mV RMS, from memory"
FLAT_S = 0.005
"""Stretches of identical samples from this length on are called flat."""

HEARTS_SHARE = 0.8
"""So much of the power may strong heart beats put below 20 Hz; where they are found, it is not told as drift."""

WRONG_UNIT = ("too small", "too large", "too large with bursts")
"""Limits of a level at rest that no surface EMG has: not of an electrode that is lost for a while, nor of the loudest
parts alone, where a stimulus may stand."""

ACTIVE = 4.0
"""A channel whose loudest parts are so many times its quietest is not dead."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that stands out. ``words`` is a sentence for people, the limit and its source included.

    ``channels`` are labels, the channel it was found on first. ``value`` and ``limit`` are in ``unit`` (a unit of the
    signal, "%", "SD", "r", "samples" or ""); ``limit`` is NaN where any occurrence is a finding. ``source`` says where
    the limit comes from.
    """

    code: str
    channels: tuple[str, ...]
    words: str
    value: float
    unit: str
    limit: float
    source: str


@dataclass(frozen=True, slots=True)
class Limit:
    """A number, its unit, and where it comes from."""

    value: float
    unit: str
    source: str


LIMITS: Mapping[str, Limit] = MappingProxyType(
    {
        "dead": Limit(0.33, "µV", NOISE),
        "too small with bursts": Limit(0.15, "µV", NOISE),
        "too small": Limit(0.05, "µV", NOISE),
        "too large": Limit(600.0, "µV", MUSCLE),
        "too large with bursts": Limit(200.0, "µV", MUSCLE),
        "bursts": Limit(3000.0, "µV", MUSCLE),
        "largest": Limit(10_000.0, "µV", MUSCLE),
        "coarse": Limit(50.0, "%", PRACTICE),
        "mains": Limit(10.0, "%", PRACTICE),
        "mains prominence": Limit(10.0, "dB", PRACTICE),
        "low frequencies": Limit(50.0, "%", PRACTICE),
        "same signal": Limit(0.97, "r", PRACTICE),
        "unlike others": Limit(100.0, "times", OWN),
    }
)
"""Physical ones (µV) are RMS between 20 and 450 Hz, over 0.1 s."""


def of_measures(label: str, m: Mapping[str, Any], unit: str, unit_uv: float | None) -> list[Finding]:
    """Findings of channel ``label`` from its measures (those of ``Quality``). ``unit_uv`` is microvolts in one
    ``unit``; None where unknown: then its level is not judged."""

    def make(code: str, words: str, value: float, in_unit: str, limit: float, source: str) -> Finding:
        return Finding(code=code, channels=(label,), words=words, value=value, unit=in_unit, limit=limit, source=source)

    if m["missing_share"] == 1:
        return [make("no samples", f"No samples in the {m['seconds']:.3g} s looked at.", 100.0, "%", math.nan, OWN)]
    if m["rms"] == 0 and m["code_share"] == 0:
        words = f"Constant at {m['offset']:.4g} {unit}: disconnected, or switched off."
        return [make("constant", words, m["offset"], unit, math.nan, OWN)]
    found: list[Finding] = []
    if all(math.isnan(m[name]) for name in ("rest_rms", "mains_share", "low_share", "heart_z")):
        words = (
            f"Nothing could be looked at: the longest piece has {m['runs_longest_s']:.3g} s at {m['rate_hz']:g} Hz, "
            f"which shows no level, mains, drift or heart beats (limit: 0.2 s for the level, 2 s for the others, and a "
            f"rate above 50 Hz; {OWN}); give a longer recording."
        )
        found.append(make("nothing looked at", words, m["runs_longest_s"], "s", 0.2, OWN))

    def add(code: str, words: str, value: float, in_unit: str, limit: float, source: str) -> None:
        found.append(make(code, words, value, in_unit, limit, source))

    if m["missing_share"] > 0:
        add("missing", f"{m['missing_share']:.2%} of samples are missing.", 100 * m["missing_share"], "%", 0.0, OWN)
    if m["code_share"] > 0:
        add(
            "code value",
            f"{m['code_share']:.2%} of samples hold {code_words(m['code_values'], unit, 'value')}, far from their "
            "neighbours: a code for missing samples or an overflow, no voltage. They are left out of the other "
            f"measures (limit: a usual code, or the same value 3 times; {OWN}).",
            100 * m["code_share"],
            "%",
            0.0,
            OWN,
        )
    if m["held_every"] > 1:
        add(
            "held",
            f"Every value is repeated {m['held_every']} times: sampled at {m['rate_hz'] / m['held_every']:.4g} Hz and "
            f"held, and not at {m['rate_hz']:g} Hz (limit: 1 time; {OWN}).",
            m["held_every"],
            "samples",
            1.0,
            OWN,
        )
    elif m["repeated_share"] > 0:
        longest_s = m["repeated_longest"] / m["rate_hz"]
        flat = "flat stretches of repeated samples" if longest_s >= FLAT_S else "stretches of repeated samples"
        add(
            "repeated",
            f"{m['repeated_share']:.2%} of samples lie in {flat}, {m['repeated_count']} of them, the longest of "
            f"{m['repeated_longest']} samples ({1000 * longest_s:.3g} ms): lost packets, or a converter that stood "
            f"still (limit: {m['repeated_limit']} identical samples, which rounding here does not give; {OWN}).",
            m["repeated_longest"],
            "samples",
            m["repeated_limit"],
            OWN,
        )
    if m["clipped"]:
        share = m["clipped_share"]
        add(
            "clipped",
            f"{share:.3%} of samples are clipped at the extremes (limit: none may pile up there; {PRACTICE}).",
            100 * share,
            "%",
            0.0,
            PRACTICE,
        )
    level = [] if unit_uv is None else of_level(label, m["rest_rms"], m["loud_rms"], unit, unit_uv, m["mains_part"])
    found += level
    quiet = {"coarse", "low", "heart"} if any(one.code in ("dead", "too small") for one in level) else set()
    if m["held_every"] > 1 and m["rate_hz"] / m["held_every"] < 100:
        quiet |= {"coarse", "low", "heart", "mains"}
    above = m["rms"] * math.sqrt(1 - m["low_share"]) if m["low_share"] <= 1 else math.nan
    limit = LIMITS["coarse"]
    if "coarse" not in quiet and m["step"] > limit.value / 100 * above:
        add(
            "coarse",
            f"The converter's step of {m['step']:.3g} {unit} is coarse for {above:.3g} {unit} RMS above 20 Hz (limit "
            f"{limit.value:g} % of it; {limit.source}).",
            100 * m["step"] / above,
            "%",
            limit.value,
            limit.source,
        )
    least, prominence = LIMITS["mains"], LIMITS["mains prominence"]
    for stated, (hz, share, db) in (
        (True, (m["mains_hz"], m["mains_share"], m["mains_db"])),
        (False, m["other_mains"]),
    ):
        steady = m["mains_steady"].get(hz, False)
        if "mains" not in quiet and steady and 100 * share > least.value and db > prominence.value:
            other = "" if stated else f" (and not at the {m['mains_hz']:g} Hz that the recording states)"
            add(
                "mains",
                f"Mains at {hz:g} Hz{other} and its harmonics hold {share:.0%} of the power, {db:.0f} dB above their "
                f"neighbours (limits {least.value:g} % and {prominence.value:g} dB; {least.source}).",
                100 * share,
                "%",
                least.value,
                least.source,
            )
    heart: Heart = m["heart"]
    if heart.stands_out and m["low_share"] < HEARTS_SHARE:
        quiet.add("low")
    limit = LIMITS["low frequencies"]
    if "low" not in quiet and 100 * m["low_share"] > limit.value:
        add(
            "low frequencies",
            f"{m['low_share']:.0%} of the power lies below 20 Hz: movement of leads, or drift (limit "
            f"{limit.value:g} %; {limit.source}).",
            100 * m["low_share"],
            "%",
            limit.value,
            limit.source,
        )
    if "heart" not in quiet and heart.stands_out:
        add(
            "heart",
            f"At rest and between bursts, {heart.beats} waves of one shape (correlation {heart.alike:.2f}) come some "
            f"{heart.per_min:.0f} times a minute, {heart.z:.1f} SD of the rest high from 8 to 35 Hz: heart beats, or "
            f"another event that recurs (limit {heart.least_z:.2g} SD; {OWN}).",
            heart.z,
            "SD",
            heart.least_z,
            OWN,
        )
    return found


def of_level(label: str, rest: float, loud: float, unit: str, unit_uv: float, mains_part: float = 0.0) -> list[Finding]:
    """Is the level of a channel possible at all: too low for electrodes on skin, or too high for muscle.

    ``rest`` and ``loud`` are RMS over 0.1 s between 20 and 450 Hz, in ``unit``, of the quietest and the loudest parts;
    ``mains_part`` the mains' share of that power, which is not counted as muscle. NaN is not judged.
    """
    rest_uv, loud_uv = rest * unit_uv, loud * unit_uv

    def make(code: str, words: str, value_uv: float, name: str) -> Finding:
        limit = LIMITS[name]
        shown = f"limit {limit.value / unit_uv:g} {unit}; {limit.source}"
        return Finding(
            code=code,
            channels=(label,),
            words=f"{words} ({shown}).",
            value=value_uv / unit_uv,
            unit=unit,
            limit=limit.value / unit_uv,
            source=limit.source,
        )

    if rest_uv < LIMITS["dead"].value:
        level = f"Only {rest:.3g} {unit} RMS at rest, 20 to 450 Hz"
        if rest_uv < LIMITS["too small"].value:
            times = _times(3.0 / max(rest_uv, 1e-12))
            words = f"{level}: {times} times too small for electrodes on skin. Wrong unit (mV read as µV, say) or gain"
            return [make("too small", f"{words}, or a dead channel", rest_uv, "too small")]
        if loud_uv > ACTIVE * rest_uv:
            if rest_uv >= LIMITS["too small with bursts"].value:
                return []
            words = f"{level}, though up to {loud:.3g} {unit} elsewhere: too small for electrodes on skin"
            return [
                make(
                    "too small",
                    f"{words}. An electrode lost for a while, or a wrong unit or gain",
                    rest_uv,
                    "too small with bursts",
                )
            ]
        words = f"{level}: a dead channel. Disconnected, switched off or short-circuited, or its unit is wrong"
        return [make("dead", words, rest_uv, "dead")]
    muscle = math.sqrt(max(0.0, 1 - mains_part))
    rest_uv, loud_uv = rest_uv * muscle, loud_uv * muscle
    high = rest_uv > LIMITS["too large"].value
    both = rest_uv > LIMITS["too large with bursts"].value and loud_uv > LIMITS["bursts"].value
    name = "too large" if high else "too large with bursts" if both else "largest"
    if high or both or loud_uv > LIMITS["largest"].value:
        value_uv = loud_uv if name == "largest" else rest_uv
        where = "in its loudest" if name == "largest" else "even in its quietest"
        times = _times(value_uv / (3.0 if name != "largest" else 300.0))
        words = (
            f"{value_uv / unit_uv:.3g} {unit} RMS {where} parts, 20 to 450 Hz: larger than muscle gives, perhaps "
            f"{times} times. Wrong unit (mV read as V, say) or gain, or a stimulus"
        )
        return [make("too large", words, value_uv, name)]
    return []


def of_wrong_unit(found: Sequence[Finding], loud: float, unit_uv: float) -> list[Finding]:
    """Those of some findings that are about a level that no surface EMG has at rest (:data:`WRONG_UNIT`).

    A unit that is a thousand times too small makes bursts so, too: where the ``loud`` parts are more than a thousandth
    of the strongest bursts, the input was cut off for a while instead.
    """
    limits = {LIMITS[name].value / unit_uv for name in WRONG_UNIT}
    active = loud * unit_uv > LIMITS["bursts"].value / 1000
    kept = [one for one in found if one.code in ("too small", "too large") and one.limit in limits]
    return [one for one in kept if one.code == "too large" or not active]


def of_constant(label: str, seen: Constant, n: int, rate_hz: float, told: Collection[str]) -> list[Finding]:
    """Stretches of one value, and missing samples, among the ``n`` samples of a channel; not those ``told`` by their
    codes already."""

    def make(code: str, words: str, value: float, unit: str, limit: float) -> Finding:
        return Finding(code=code, channels=(label,), words=words, value=value, unit=unit, limit=limit, source=OWN)

    out = []
    if seen.missing and not {"missing", "no samples"} & set(told):
        share = 100 * seen.missing / n
        words = f"{share:.3g} % of samples are missing, all between the pieces looked at."
        out.append(make("missing", words, share, "%", 0.0))
    if seen.count and not {"repeated", "held", "constant", "no samples"} & set(told):
        several = f", and {seen.count - 1} more of the kind" if seen.count > 1 else ""
        words = (
            f"A stretch of one value for {1000 * seen.longest / rate_hz:.3g} ms, {seen.at / rate_hz:.5g} s after the "
            f"recording's start{several}: lost packets, or an input that was cut off (limit: {1000 * STILL_S:g} ms and "
            f"{STILL_TIMES} times what rounding gives elsewhere; {OWN})."
        )
        out.append(make("repeated", words, seen.longest, "samples", STILL_S * rate_hz))
    return out


def code_words(values: Sequence[float], unit: str, what: str = "code") -> str:
    """Which codes a signal holds: "the code -999 mV"; three of them at most are named."""
    shown = " and ".join(f"{value:.6g}" for value in values[:3])
    return f"the {what}{'s' if len(values) > 1 else ''} {shown} {unit}"


def brief(finding: Finding, unit_uv: float | None) -> str:
    """A finding about level in a few words, to stand beside a scale; "" for any other."""
    value_uv = finding.value * (unit_uv or 1.0)
    return {
        "no samples": "no samples",
        "constant": "no signal",
        "dead": "dead channel?",
        "too small": f"{_SIGNS[_times(3.0 / max(value_uv, 1e-12))]}too small?",
        "too large": f"{_SIGNS[_times(value_uv / 3.0)]}too large?",
        "unlike others": f"{finding.value:.0f} × unlike others?",
    }.get(finding.code, "")


def _times(factor: float) -> str:
    return "a million" if factor > 3e4 else "a thousand" if factor > 30 else "several"


_SIGNS = {"a million": "10⁶ × ", "a thousand": "1000 × ", "several": ""}


def of_pairs(labels: Sequence[str], pairs: Sequence[Alike], seconds: float) -> dict[str, Finding]:
    """By label, one finding that names all channels which carry the same signal."""
    limit = LIMITS["same signal"]
    partners: dict[str, list[tuple[float, float, str]]] = {}
    for pair in pairs:
        one, other = labels[pair.first], labels[pair.second]
        partners.setdefault(one, []).append((pair.r, pair.lag_s, other))
        partners.setdefault(other, []).append((pair.r, -pair.lag_s, one))
    out = {}
    for label, found in partners.items():
        said = [_alike_words(r, lag_s, other) for r, lag_s, other in found]
        shown = ", ".join(said[:4]) + (f" and {len(said) - 4} more" if len(said) > 4 else "")
        out[label] = Finding(
            code="same signal",
            channels=(label, *(other for _, _, other in found)),
            words=f"The same signal as other channels: {shown}. One input recorded twice, a split lead, or gel that "
            f"bridges electrodes (limit: correlation {limit.value:g} from 20 to 450 Hz without mains, {seconds:.3g} s "
            f"compared; {limit.source}).",
            value=max((r for r, _, _ in found), key=abs),
            unit=limit.unit,
            limit=limit.value,
            source=limit.source,
        )
    return out


def _alike_words(r: float, lag_s: float, other: str) -> str:
    kind = "identical to" if abs(r) > 1 - 1e-6 else "nearly equal to"
    if r < 0:
        kind = "the inverse of" if abs(r) > 1 - 1e-6 else "nearly the inverse of"
    later = "" if lag_s == 0 else f", {abs(1000 * lag_s):.3g} ms {'earlier' if lag_s > 0 else 'later'}"
    return f"{kind} {other} (correlation {r:+.4f}{later})"


def of_unlike(labels: Sequence[str], rest: Sequence[float], unit: str) -> dict[str, Finding]:
    """By label, channels whose rest is a hundredth of the others' median, or a hundred times it; for arbitrary units,
    where nothing physical can be said."""
    limit = LIMITS["unlike others"]
    levels = np.asarray(rest, dtype=float)
    out = {}
    for place, label in enumerate(labels):
        others = np.delete(levels, place)
        others = others[others > 0]
        if not others.size or not levels[place] > 0:
            continue
        times = levels[place] / float(np.median(others))
        if limit.value >= times >= 1 / limit.value:
            continue
        size = f"{1 / times:.0f} times smaller" if times < 1 else f"{times:.0f} times larger"
        out[label] = Finding(
            code="unlike others",
            channels=(label,),
            words=f"{levels[place]:.3g} {unit} RMS at rest: {size} than the other channels (median). Another unit or "
            f"gain, or a dead channel (limit {limit.value:g} times; {limit.source}).",
            value=max(times, 1 / times),
            unit=limit.unit,
            limit=limit.value,
            source=limit.source,
        )
    return out
