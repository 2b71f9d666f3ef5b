"""Fit, look again, or redo: a verdict of a channel from what ``check`` found, each with its number and what to do.

The findings, their limits and sources are those of :mod:`emgreview.signal.findings`; here stands only how much each
weighs and what is usually done about it. That is common practice without a source. Whatever is done to a person (skin,
electrodes, cables on the body) is for trained staff by the rules of the laboratory, and the words say so.

    Verdict, Reason     of one channel, and why
    verdict_of          from what was measured
    SIGNS, WORDS        how each is shown: by a word and a shape, never by colour alone
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from emgreview.signal.findings import Finding
from emgreview.signal.quality import Quality

Word = Literal["fit", "look again", "redo"]
WORDS: tuple[Word, ...] = ("fit", "look again", "redo")
SIGNS: Mapping[str, str] = MappingProxyType({"fit": "●", "look again": "▲", "redo": "■"})

CAUTION = (
    "What to do is common practice, no source. Whatever is done to a person (skin, electrodes, cables on the body) is "
    "for trained staff, by the rules of your laboratory; nobody touches the inside of an amplifier that a person is "
    "connected to. A research tool, not a medical device: it decides nothing."
)

STAFF = "trained staff, by your laboratory's rules,"

REDO_FROM: Mapping[str, float] = MappingProxyType({"clipped": 1.0, "mains": 50.0, "missing": 5.0})
"""From this percentage on it is "redo" and not "look again" (our own choice, no source)."""

REDO = frozenset({"no samples", "constant", "dead", "coarse"})

DO: Mapping[str, str] = MappingProxyType(
    {
        "no samples": "Is the channel switched on, and is the right file read?",
        "constant": "See whether lead and input are connected and switched on, then record a few seconds again.",
        "dead": f"See whether lead and input are connected; usually {STAFF} see to the electrodes, and rest is "
        "recorded again.",
        "nothing looked at": "Give a longer recording.",
        "missing": "See whether the device tells of lost packets; bring sender and receiver nearer.",
        "code value": "Tell the reading what stands for missing samples, if this is one.",
        "held": "Give the rate at which the channel was sampled, where measures of frequency matter.",
        "repeated": "See whether the device tells of lost packets; look at these stretches before they are used.",
        "clipped": "Lower the gain or widen the input range, if it can be set, and record again.",
        "too small": "Which unit does the file mean: V, mV or µV? Say it on reading; nothing is corrected silently.",
        "too large": "Which unit does the file mean: V, mV or µV? Say it on reading; nothing is corrected silently.",
        "coarse": "Set a higher gain or a smaller input range, if there is one, and record again.",
        "mains": f"Keep leads together and away from mains cables and supplies; usually {STAFF} see to the reference "
        "electrode and the contact of the electrodes. Look at the spectrum before any notch.",
        "low frequencies": "Fix the leads so that they do not swing; see whether an electrode lifts off in movement.",
        "heart": "Look at the bursts near a beat; a high-pass of 30 Hz is a known compromise near the chest (Drake and "
        "Callaghan 2006).",
        "same signal": "See which lead is in which input; two leads, or gel between electrodes, may be joined: "
        f"usually {STAFF} see to it. Test contractions tell (er.selectivity).",
        "unlike others": "See whether gain and unit of this channel are those of the others.",
        "stated bad": "The recording itself calls this channel bad: ask who recorded it.",
    }
)
"""What is commonly done about a finding, by its code."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """Why a channel is not simply fit: the finding, in its words and as numbers, what to do, and how much it weighs."""

    code: str
    word: Word
    words: str
    value: float
    unit: str
    limit: float
    source: str
    do: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Whether a channel is fit for use: a word, the shape that stands for it, and the reasons, the heaviest first."""

    label: str
    word: Word
    reasons: tuple[Reason, ...] = ()

    @property
    def sign(self) -> str:
        """The shape: a disc, a triangle or a square."""
        return SIGNS[self.word]

    @property
    def brief(self) -> str:
        """Word and reasons in a few words."""
        codes = ", ".join(dict.fromkeys(one.code for one in self.reasons))
        return f"{self.sign} {self.word}" + (f": {codes}" if codes else "")


def verdict_of(quality: Quality, *, status: str = "good", described: str = "") -> Verdict:
    """The verdict of a channel from what was measured on it, and from what the recording says of it (``status``,
    ``described``)."""
    reasons = [_reason(one) for one in quality.found]
    if status == "bad":
        words = f"The recording calls this channel bad{f': {described}' if described else ''}."
        said = Finding(
            code="stated bad",
            channels=(quality.label,),
            words=words,
            value=math.nan,
            unit="",
            limit=math.nan,
            source="the recording",
        )
        reasons.append(_reason(said))
    reasons.sort(key=lambda one: -WORDS.index(one.word))
    return Verdict(label=quality.label, word=reasons[0].word if reasons else "fit", reasons=tuple(reasons))


def _reason(found: Finding) -> Reason:
    same = found.code == "same signal" and abs(found.value) > 1 - 1e-6
    redo = found.code in REDO or same or found.value >= REDO_FROM.get(found.code, math.inf)
    return Reason(
        code=found.code,
        word="redo" if redo else "look again",
        words=found.words,
        value=found.value,
        unit=found.unit,
        limit=found.limit,
        source=found.source,
        do=DO.get(found.code, "Look at the trace there."),
    )
