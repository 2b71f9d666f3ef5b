"""Physical rules: what no person's muscles do, whatever the others of the study show. No statistics are needed for it.

    Flag            one thing that is odd about somebody
    physical        flags of all people by these rules
    RULES           each code with its rule in words

A finding that half of the people or more have on a channel is a matter of the set-up, not of a person: it is told once,
and flags nobody. Codes of ``check`` keep their names.

A few lines over 400 lines: the rules and their words are read in one place.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from emgreview.model import VOLTS, FloatArray
from emgreview.people import odd
from emgreview.people.copies import COPY, copies, rest_pattern
from emgreview.people.cues import expected
from emgreview.people.features import FEWEST_TRIALS, median
from emgreview.people.person import Person
from emgreview.signal.findings import LIMITS

PHYSICAL, UNLIKE = "physical", "unlike the others"

NOISE_UV = LIMITS["dead"].value
LOST_TRIALS = 3
ACTIVE = 0.3
"""A channel with bursts in more trials than this share is not dead (our own choice)."""
THOUSANDFOLD = 100.0
"""Times the median of the others. People differ by less than ten times, a wrong unit by a thousand (our own choice)."""
SILENT, ELSEWHERE = 0.85, 0.5
"""A channel is silent where no burst is found in so large a share of trials, and the share is below the second number
in everybody else (our own choice)."""
AGAINST = 0.75
"""Two channels whose correlation is so far below 0 in one person, and within ELSEWHERE in everybody else, hear one
lead: crosstalk, which may be strong where a muscle is weak, goes along (our own choice)."""
TURNED = 4.0
"""So many SDs between people must a channel's correlations with the others amount to, in the median person, before
their turning round in one can be told (our own choice)."""
RULES = {
    "duplicate": f"rests of two recordings go up and down together (correlation above {COPY:g}), which no two do",
    "cues": "another number of cues than expected, or than most people have; or a hole in their rhythm",
    "unit": f"rest and bursts {THOUSANDFOLD:g} times as large or small as in the median person, or a level that "
    "no muscle has",
    "swapped": "leads exchanged: channels are louder in each other's test contractions than in their own",
    "wrong site": "a channel is louder in another test contraction than in its own",
    "inverted": "two channels carry one signal with opposite signs (correlation below "
    f"-{LIMITS['same signal'].value:g}, or below -{AGAINST:g} where it is within {ELSEWHERE:g} in everybody else), "
    "or a channel goes with the others the other way round than in the rest of the group, where that amounts to "
    f"{TURNED:g} SD",
    "identical": f"two channels carry one signal (correlation above {LIMITS['same signal'].value:g})",
    "dead": f"RMS at rest below {NOISE_UV:g} µV, the noise of skin and amplifier, in all trials looked at, or in "
    f"{LOST_TRIALS} or more in a row; or a constant signal",
    "silent": f"no burst in {SILENT:.0%} of trials or more, where everybody else has one in more than {ELSEWHERE:.0%}",
    "missing": "samples are missing, or hold codes",
    "converter": "values are held, repeated, or rounded coarsely",
    "no contraction": "no or a weak peak in the channel's own test contraction",
    "mains": f"mains and harmonics above {LIMITS['mains'].value:g} % of the power",
    "low frequencies": f"more than {LIMITS['low frequencies'].value:g} % of the power below 20 Hz",
    "heart": "waves of one shape that recur like heart beats",
    "clipped": "samples pile up at the lowest or highest value",
}
_OF_CHECK = {
    "dead": "dead",
    "constant": "dead",
    "no samples": "dead",
    "clipped": "clipped",
    "mains": "mains",
    "heart": "heart",
    "low frequencies": "low frequencies",
    "too small": "unit",
    "too large": "unit",
    "unlike others": "unit",
    "missing": "missing",
    "code value": "missing",
    "held": "converter",
    "repeated": "converter",
    "coarse": "converter",
}
EXPLAINS = {
    "silent": ("dead", "missing"),
    "against": ("dead", "mains", "heart", "low frequencies", "missing", "converter"),
}
"""What is not told of a channel beside others' codes, which are why."""

SETTING_UP = ("heart", "mains", "clipped", "low frequencies", "missing", "converter")
"""Codes that, where half of the people have them on a channel, are no one's own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """One thing that is odd about somebody, and why.

    Attributes
    ----------
    participant, session : str
        Whose; a session is "" where there is but one without a name.
    channel : str
        Label of the channel, "" where it is about the person.
    code : str
        A short name of the rule.
    reason : str
        A sentence with the numbers.
    value, limit : float
        What was measured, and what it passed; NaN where any occurrence counts.
    kind : {"physical", "unlike the others"}
        Whether it needs no statistics, or rests on the other people.
    feature : str
        Name of the feature that is compared, "" for a physical rule.
    trials : tuple of str
        Ids of the trials that show it, where it is about some.
    """

    participant: str
    session: str = ""
    channel: str = ""
    code: str
    reason: str
    value: float
    limit: float
    kind: str = PHYSICAL
    feature: str = ""
    trials: tuple[str, ...] = ()


LAST = ("mains", "low frequencies", "heart", "clipped")
"""Codes of what a filter, another window or leaving out single trials may mend: after all others."""


def gravity(code: str) -> int:
    """The place of a code in the order in which one looks: first whose data these are and whether they are whole, then
    channels, then what stands out among people, last what may be mended."""
    first = [one for one in RULES if one not in LAST]
    return first.index(code) if code in first else len(first) + (1 + LAST.index(code) if code in LAST else 0)


def physical(people: Sequence[Person], *, expect: int | None = None) -> tuple[list[Flag], list[str]]:
    """Flags by physical rules, in the order of people, and sentences on what half of the people share."""
    flags = [flag for one in people for flag in _of_person(one)]
    flags += _units(people) + _cues(people, expect) + _duplicates(people) + _turned(people) + _silent(people)
    flags = _unexplained(flags + _together(people))
    flags, told = _set_up(_merged(flags), people)
    order = {(one.participant, one.session): at for at, one in enumerate(people)}
    return sorted(flags, key=lambda flag: (order[flag.participant, flag.session], gravity(flag.code))), told


def _merged(flags: Sequence[Flag]) -> list[Flag]:
    """One flag a person, channel and code: the first."""
    return list({(one.participant, one.session, one.channel, one.code): one for one in reversed(flags)}.values())[::-1]


def _set_up(flags: list[Flag], people: Sequence[Person]) -> tuple[list[Flag], list[str]]:
    having = Counter((one.channel, one.code) for one in flags if one.code in SETTING_UP)
    among = Counter(label for one in people for label in one.labels)
    common = {key for key, n in having.items() if among[key[0]] >= 4 and n >= among[key[0]] / 2}
    told = [
        f"{channel}: {code} in {having[channel, code]} of {among[channel]} people, so it flags nobody: look at the "
        "set-up."
        for channel, code in sorted(common)
    ]
    return [one for one in flags if (one.channel, one.code) not in common], told


def _of_person(one: Person) -> Iterator[Flag]:
    def flag(channel: str, code: str, reason: str, value: float, limit: float, trials: Sequence[int] = ()) -> Flag:
        return Flag(
            participant=one.participant,
            session=one.session,
            channel=channel,
            code=code,
            reason=reason,
            value=value,
            limit=limit,
            trials=tuple(one.ids[at] for at in trials),
        )

    there, usable = one.there, one.usable
    for place, label in enumerate(one.labels):
        n = int(there[place].sum())
        active = bool(usable[place].any()) and float(np.mean(np.isfinite(one.onset_s[place][usable[place]]))) > ACTIVE
        lost = _lost(one.rest[place] * VOLTS[one.unit]) if one.unit in VOLTS else np.array([], dtype=int)
        if lost.size == n and active:  # all of it, with bursts: another unit
            lost = lost[:0]
        if lost.size:
            until = "all" if lost.size == n else f"{lost.size} of {n}"
            words = (
                f"Below {NOISE_UV:g} µV RMS at rest in {until} trials, from trial {lost[0] + 1} on: nothing is heard."
            )
            yield flag(label, "dead", words, float(np.nanmedian(one.rest[place][lost])), NOISE_UV, lost.tolist())
        railed = np.flatnonzero(one.railed[place] > 0)
        if railed.size:
            words = f"Samples at a rail in {railed.size} of {n} trials: amplitudes there are too small."
            yield flag(label, "clipped", words, float(railed.size), 0.0, railed.tolist())
        for quality in one.quality(label):
            for found in quality.found:
                if found.code == "same signal":
                    code = "inverted" if found.value < 0 else "identical"
                    yield flag(label, code, found.words, found.value, found.limit)
                elif found.code in _OF_CHECK:
                    code = _OF_CHECK[found.code]
                    if found.code == "too small" and (lost.size or not active):
                        code = "dead"
                    yield flag(label, code, found.words, found.value, found.limit)


def _lost(rest_uv: FloatArray) -> np.ndarray:
    """Places of trials in runs of LOST_TRIALS and more below the noise."""
    with np.errstate(invalid="ignore"):
        low = rest_uv < NOISE_UV
    edges = np.flatnonzero(np.diff(np.concatenate([[0], low.astype(int), [0]])))
    runs = [np.arange(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= LOST_TRIALS]
    return np.concatenate(runs) if runs else np.array([], dtype=int)


def _units(people: Sequence[Person]) -> list[Flag]:
    """People whose amplitudes are far from everybody's."""
    if len(people) < 3:
        return []
    flags = []
    labels = dict.fromkeys(label for one in people for label in one.labels)
    for label in labels:
        mine = [one for one in people if label in one.labels]
        rest = np.array([median(one.rest)[one.place(label)] for one in mine])
        size = np.array([median(one.size, 3)[one.place(label)] for one in mine])
        for at, one in enumerate(mine):
            ratios = []
            for values in (rest, size):
                others = np.delete(values, at)
                if np.isfinite(values[at]) and np.isfinite(others).any():
                    ratios.append(float(values[at] / max(np.nanmedian(others), 1e-300)))
            far = [ratio for ratio in ratios if ratio > THOUSANDFOLD or ratio < 1 / THOUSANDFOLD]
            if far and (len(ratios) == 1 or len(far) == 2):
                times = far[0] if far[0] > 1 else 1 / far[0]
                words = (
                    f"{times:.0f} times as {'large' if far[0] > 1 else 'small'} as in the median of the others, at "
                    "rest and in bursts: another unit or gain."
                )
                flags.append(
                    flag_of(one, label, "unit", words, far[0], THOUSANDFOLD if far[0] > 1 else 1 / THOUSANDFOLD)
                )
    return flags


def flag_of(one: Person, channel: str, code: str, reason: str, value: float, limit: float) -> Flag:
    return Flag(
        participant=one.participant,
        session=one.session,
        channel=channel,
        code=code,
        reason=reason,
        value=value,
        limit=limit,
    )


def _cues(people: Sequence[Person], expect: int | None) -> list[Flag]:
    recs = [rec for one in people for rec in one.recordings]
    usual = expected(recs, expect)
    source = "most have" if expect is None else "were expected"
    holes = sum(bool(rec.hole) for rec in recs)
    flags = []
    for one in people:
        for rec in one.recordings:
            n, number = len(rec.ids), usual[rec.name]
            if number is not None and n != number:
                hole = f" {rec.hole}" if rec.hole else ""
                words = f"{rec.name}: {n} cues, {number} {source}.{hole}"
                flags.append(flag_of(one, "", "cues", words, float(n), float(number)))
            elif number is None and rec.hole and holes <= max(1, len(recs) / 4):
                flags.append(flag_of(one, "", "cues", f"{rec.name}: {rec.hole}", float(n), math.nan))
    return flags


def _duplicates(people: Sequence[Person]) -> list[Flag]:
    """Recordings that are there twice, under whatever names."""
    recs = [(one, rec) for one in people for rec in one.recordings]
    pairs = {(one.first, one.second): one.r for one in copies([rest_pattern(rec.rest) for _, rec in recs])}
    by_digest: dict[str, list[int]] = {}
    for at, (_, rec) in enumerate(recs):
        by_digest.setdefault(rec.digest, []).append(at)
    pairs |= {pair: 1.0 for same in by_digest.values() for pair in combinations(same, 2)}
    flags = []
    for (first, second), r in sorted(pairs.items()):
        for at, like in ((first, second), (second, first)):
            words = f"{recs[at][1].name} and {recs[like][1].name} hold the same samples: their rests go together, "
            flags.append(flag_of(recs[at][0], "", "duplicate", f"{words}correlation {r:.3f}.", r, COPY))
    return flags


def _silent(people: Sequence[Person]) -> list[Flag]:
    """Channels without bursts where everybody else has them."""
    flags = []
    for label in dict.fromkeys(label for one in people for label in one.labels):
        having = [(one, one.usable[one.place(label)]) for one in people if label in one.labels]
        mine = [(one, usable) for one, usable in having if usable.sum() >= FEWEST_TRIALS]
        shares = np.array([np.mean(np.isnan(one.onset_s[one.place(label)][usable])) for one, usable in mine])
        for at, ((one, usable), share) in enumerate(zip(mine, shares.tolist(), strict=True)):
            if len(mine) > LOST_TRIALS and share >= SILENT and (np.delete(shares, at) < ELSEWHERE).all():
                most = float(np.delete(shares, at).max())
                words = (
                    f"No burst in {share:.0%} of {usable.sum()} trials; everybody else is without one in {most:.0%} at "
                    "most."
                )
                flags.append(flag_of(one, label, "silent", words, share, SILENT))
    return flags


def _together(people: Sequence[Person]) -> list[Flag]:
    """Pairs of channels that go against one another in one person alone."""
    flags = []
    labels = dict.fromkeys(label for one in people for label in one.labels)
    for pair in combinations(labels, 2):
        mine = [one for one in people if set(pair) <= set(one.labels)]
        r = np.array([float(one.weighted("alike")[one.place(pair[0]), one.place(pair[1])]) for one in mine])
        for at in np.flatnonzero(np.nan_to_num(r) < -AGAINST).tolist():
            others = np.abs(np.delete(r, at))
            others = others[np.isfinite(others)]
            if others.size < LOST_TRIALS or others.max() >= ELSEWHERE:
                continue
            words = (
                f"{pair[0]} and {pair[1]} go against one another after the cue, correlation {r[at]:.2f}; in everybody "
                f"else it is {others.max():.2f} at most, of either sign: one lead in both, turned round in one of them."
            )
            flags += [flag_of(mine[at], label, "inverted", words, float(r[at]), -AGAINST) for label in pair]
    return flags


def _unexplained(flags: Sequence[Flag]) -> list[Flag]:
    """Without what another flag of the same channel explains: a dead channel has no bursts, hum or heart beats in two
    channels tie them together, and where other channels of the person are in another unit this one is, too."""
    having = {(one.participant, one.session, one.channel, one.code) for one in flags}
    units = {one[:3] for one in having if one[3] == "unit"}
    several = Counter(one[:2] for one in units)
    having -= {(*one, "dead") for one in units if several[one[:2]] > 1}
    return [
        one
        for one in flags
        if (one.participant, one.session, one.channel, one.code) in having
        and not any((one.participant, one.session, one.channel, why) in having for why in EXPLAINS.get(_what(one), ()))
    ]


def _what(flag: Flag) -> str:
    return "against" if flag.code == "inverted" and flag.limit == -AGAINST else flag.code


def _turned(people: Sequence[Person]) -> list[Flag]:
    """Channels whose correlations with the others point the other way than in the group.

    With z the correlations as Fisher's z (Fisher 1915), m their median over people and s their scaled MAD,
    sum(m z / s²) / sqrt(sum(m² / s²)) is below minus half of its value for m itself.
    """
    if len(people) < odd.FEWEST:
        return []
    labels = dict.fromkeys(label for one in people for label in one.labels)
    flags = []
    for label in labels:
        mine = [one for one in people if label in one.labels and len(one.labels) > 1]
        others = dict.fromkeys(name for one in mine for name in one.labels if name != label)
        if len(mine) < odd.FEWEST or not others:
            continue
        z = np.array([[_fisher(one, label, name) for name in others] for one in mine])
        with np.errstate(invalid="ignore", divide="ignore"):
            usual = median(z.T, odd.FEWEST)
            spread = odd.MAD_TO_SD * median(np.abs(z - usual).T, odd.FEWEST)
            weight = np.where(spread > 0, usual / spread**2, 0.0)
        length = math.sqrt(float(np.nansum(weight * usual)))
        if length < TURNED:
            continue
        for one, row in zip(mine, z, strict=True):
            along = float(np.nansum(weight * row)) / length
            if along < -length / 2:
                words = (
                    f"{label} goes with the other channels the other way round than in the rest of the group "
                    f"({along:.1f} SD, the median person {length:.1f}): its two leads, or another's, are exchanged."
                )
                flags.append(flag_of(one, label, "inverted", words, along, -length / 2))
    return flags


def _fisher(one: Person, label: str, name: str) -> float:
    if name not in one.labels:
        return math.nan
    r = float(one.weighted("alike")[one.place(label), one.place(name)])
    return math.atanh(min(max(r, -0.999), 0.999)) if math.isfinite(r) else math.nan
