"""The one place where sentences about channels get their words, so that none claims more than pads can tell.

Electrodes record from a place, not from a muscle. So a sentence says "activity recorded over first dorsal
interosseous", names what pads there hear besides, never calls a recording isolated, and calls an antagonist that is
active in the opposite movement co-activation, never an error (early antagonist activity besides the braking burst:
Gabriel & Boucher 1998). Intramuscular recordings are the exception, which the person states.

    over                "over first dorsal interosseous", short
    recorded_over       "activity recorded over … (also hears …)"
    also_hears          the neighbours in words, with shares where they were measured
    card                the sentence that goes with a channel wherever it is shown
    part_in             what a muscle does in a movement: makes, assists, opposes, or none that is known
    said_of_part        the same as a sentence about activity over it
    place_of            what the pads of a channel lie over, as it says or as its label means for certain
    heard_in_tests      what else arrived there in test contractions, with its share of the own contraction
    card_of             both in one, of a channel that carries its card, for screens, tables and checks
    hears_others        whether such words name a neighbour
    share_words         such a share with its interval
    overclaims          what a sentence claims too much, and what to write
    Overclaim           one of those
    demand_modest       ParameterError where it claims too much
"""

import functools
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from emgreview.checks import demand, number
from emgreview.errors import ParameterError, UnknownNameError
from emgreview.legible import one_line
from emgreview.model import Channel
from emgreview.muscles.facts import Muscle
from emgreview.muscles.matching import match_muscles
from emgreview.muscles.reference import all_groups, all_muscles, everything, members_of, name_of, opposites, others

if TYPE_CHECKING:
    from emgreview.intervals import Estimate

SIDES = ("", "left", "right")


@dataclass(frozen=True, slots=True)
class Overclaim:
    """``text``, which stands at ``start`` of a sentence and claims too much: ``why``, and what to write ``instead``."""

    text: str
    start: int
    why: str
    instead: str


# Phrases -----------------------------------------------------------------------------------------------------------


def over(key: str, *, side: str = "", short: bool = False) -> str:
    """ "over first dorsal interosseous", or "over FDI" with ``short``; ``side`` "left", "right" or ""."""
    demand(side in SIDES, "side", side, "'left', 'right' or ''")
    return " ".join(filter(None, ("over", side, _place(key, short))))


def recorded_over(key: str, *, side: str = "", intramuscular: bool = False, what: str = "activity") -> str:
    """What was recorded and what is heard besides, as the subject of a sentence: "activity recorded over … (also hears
    …)". With ``intramuscular``, which the person states, "activity of … (intramuscular recording, as stated)"."""
    demand(side in SIDES, "side", side, "'left', 'right' or ''")
    if intramuscular:
        return " ".join(
            filter(None, (f"{what} of", side, name_of(_known(key)), "(intramuscular recording, as stated)"))
        )
    heard = also_hears(key)
    return f"{what} recorded {over(key, side=side)}" + (f" ({heard})" if heard else "")


def also_hears(key: str, shares: Mapping[str, float] | None = None) -> str:
    """ "also hears A, B and C", or "" where no neighbour is known. ``shares``: by key what test contractions measured,
    as a share of the channel's own contraction, 0 up; neighbours that were measured come first, the largest first."""
    measured = {_known(other): number(f"share of {other}", share, least=0) for other, share in (shares or {}).items()}
    first = sorted(measured, key=lambda other: -measured[other])
    names = [f"{name_of(other)} ({_percent(measured[other])} of its own contraction)" for other in first]
    names += [name_of(other) for other in neighbours(key) if other not in measured]
    return f"also hears {_listed(names)}" if names else ""


def card(key: str, *, side: str = "", shares: Mapping[str, float] | None = None, intramuscular: bool = False) -> str:
    """The sentence that goes with a channel: where it is recorded, what it hears besides, and its warning."""
    if intramuscular:
        return f"{recorded_over(key, side=side, intramuscular=True, what='recording')}."
    warnings = [one.warning for one in _muscles(key)]
    warnings = list(dict.fromkeys(warnings)) if all(warnings) else []  # of a group, where it holds for all of it
    heard = also_hears(key, shares)
    return "; ".join(filter(None, (f"recorded {over(key, side=side)}", heard, *warnings))) + "."


def unnamed(label: str) -> str:
    """The same for a channel whose muscle nobody has said."""
    return f"recorded over '{one_line(label)}' (muscle not stated, so its neighbours are not known)."


def place_of(label: str, said: str = "") -> str:
    """What the pads of a channel lie over: what is ``said`` of it, the muscle where its label is one for certain, or
    the label."""
    (found,) = match_muscles([label])
    named = over(found.key, side=found.side).removeprefix("over ") if found.key else ""
    return one_line(said) or named or one_line(label)


def heard_in_tests(
    shares: Sequence[tuple[str, "Estimate"]], least: float, *, untold: Sequence[str] = (), others: bool = True
) -> str:
    """What else arrived in test contractions, by label of what was contracted, in the order given: "also hears BB
    (biceps brachii; 45 % of its own contraction, 95 % CI 40 to 50)". Where nothing reached ``least`` (a share), that
    this does not show that nothing does; ``untold`` are contractions of which it cannot be told. Without ``others``
    nothing else was contracted. A share of 1 or more puts the place itself in doubt."""
    cannot = f"whether {_listed([one_line(one) for one in untold])} arrives there cannot be told" if untold else ""
    if not shares:
        if cannot or not others:
            return cannot or "no other muscle was contracted, so that what else arrives there is not known"
        return (
            f"in the test contractions nothing else arrived at {100 * least:.0f} % of its own contraction or more, "
            "which does not show that nothing does"
        )
    told = []
    for at, (label, share) in enumerate(shares):
        (found,) = match_muscles([label])
        named = f"{name_of(found.key)}; " if found.key and name_of(found.key).casefold() != label.casefold() else ""
        told.append(f"{one_line(label)} ({named}{share_words(share, ' of its own contraction' * (at == 0))})")
    louder = [one_line(label) for label, share in shares if share.value >= 1]
    doubt = f"{PLACE_IN_DOUBT}, being louder while {_listed(louder)} was contracted" if louder else ""
    return "; ".join(filter(None, (f"also hears {_listed(told)}", doubt, cannot)))


PLACE_IN_DOUBT = "where it lies is in doubt (leads exchanged, another site or another movement)"
"""What is said of a channel that is louder in another contraction than in its own."""


def card_of(channel: Channel) -> str:
    """ "recorded over brachioradialis; also hears …": what a channel lies over, and what its test contractions showed;
    "" where it carries no card."""
    return f"recorded over {place_of(channel.label, channel.over)}; {channel.heard}" if channel.heard else ""


def hears_others(heard: str) -> bool:
    """Whether such words name what else is heard."""
    return heard.startswith("also hears")


def share_words(share: "Estimate", of: str = "") -> str:
    """ "23 % of its own contraction, 95 % CI 18 to 29"."""
    value = f"{100 * share.value:.0f} %{of}"
    if math.isnan(share.low):
        return f"{value}, no interval"
    return f"{value}, 95 % CI {100 * share.low:.0f} to {100 * share.high:.0f}"


def neighbours(key: str) -> tuple[str, ...]:
    """Keys of what pads over a muscle or group hear besides, without its own members."""
    own = {key, *members_of(_known(key))} if key not in others() else {key}
    heard = (other for one in _muscles(key) for other in one.neighbours)
    return tuple(dict.fromkeys(other for other in heard if other not in own))


def part_in(key: str, movement: str) -> str:
    """What a muscle, or the muscles of a group, do in a movement: "makes", "assists", "opposes" or "" where the
    reference knows of none. An antagonist of one that makes it opposes, and so does what makes its opposite."""
    if movement not in opposites():
        raise UnknownNameError("movement", movement, opposites(), most=len(opposites()))
    own = [action for one in _muscles(key) for action in one.actions if action.movement == movement]
    if own:
        return "assists" if all(action.assists for action in own) else "makes"
    opposite = opposites()[movement]
    against = any(action.movement == opposite and opposite for one in _muscles(key) for action in one.actions)
    makers = [
        one
        for one in all_muscles().values()
        if any(action.movement == movement and not action.assists for action in one.actions)
    ]
    against = against or any(one.key in maker.opposed_by for one in _muscles(key) for maker in makers)
    return "opposes" if against else ""


def said_of_part(key: str, movement: str, *, side: str = "") -> str:
    """What activity over a muscle in a movement is called; that of an antagonist is co-activation, and no error."""
    subject = recorded_over(key, side=side)
    said = {
        "makes": f"{subject} in {movement}, which it makes",
        "assists": f"{subject} in {movement}, in which it assists",
        "opposes": f"{subject} in {movement}: co-activation of an antagonist, as is often seen",
        "": f"{subject} in {movement}, in which the reference gives it no part",
    }[part_in(key, movement)]
    return f"{said[0].upper()}{said[1:]}."


def _known(key: str) -> str:
    if key not in everything() and key not in others():
        raise UnknownNameError("muscle", key, [*all_muscles(), *all_groups()])
    return key


def _muscles(key: str) -> list[Muscle]:
    if _known(key) in all_muscles():
        return [all_muscles()[key]]
    return [all_muscles()[one] for one in members_of(key)] if key in all_groups() else []


def _place(key: str, short: bool) -> str:
    known = all_muscles().get(_known(key))
    if known is not None and not (short and known.over == known.name and known.abbreviations):
        return known.over
    return (
        known.abbreviations[0] if known is not None else f"the {name_of(key)}" if key in all_groups() else name_of(key)
    )


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 0.01 or share == 0 else "below 1 %"


# The guard ---------------------------------------------------------------------------------------------------------

_THINGS = r"activity|activation|activations|emg|onset|onsets|burst|bursts|response|responses|recruitment|drive|firing"
_DOES = (
    r"(?:was|is|were|are|became|becomes|remained|stayed) (?:not |never |co-?)?(?:active|activated|inactive|silent|quiet"
    r"|recruited|relaxed|at rest)|fired|fires|contracted|contracts|relaxed|relaxes|did not (?:contract|fire)"
)
_NO = r"(?:not|no|never|cannot|nor|without|hardly|rarely)\b(?:\W+\w+){0,3}\W+$"
_ALONE = re.compile(
    r"\b(?:isolated|in isolation|isolates?|isolating|selective|selectively|cross-?talk[- ]free|free (?:of|from) "
    r"cross-?talk|(?:no|without(?: any)?|zero) cross-?talk|uncontaminated|exclusively|purely|muscle-specific"
    r"|specific to)\b",
    re.IGNORECASE,
)
_OF_ELECTRICITY = re.compile(r"^\W+(?:\w+\W+){0,2}(?:amplifier|supply|power|input|ground|adapter|usb)", re.IGNORECASE)
_OPPOSED = r"antagonists?|co-?activation|co-?contraction|antagonistic \w+"
_FAULT = r"errors?|erroneous|mistakes?|mistaken|wrong|false|faulty|artefacts?|artifacts?|abnormal"
_BLAMED = re.compile(
    rf"\b(?:{_FAULT})\b(?:\W+\w+){{0,3}}?\W+(?:{_OPPOSED})\b|\b(?:{_OPPOSED})\b(?:\W+\w+){{0,4}}?\W+(?:{_FAULT})\b",
    re.IGNORECASE,
)


@functools.cache
def _named() -> tuple[dict[str, str], re.Pattern[str]]:
    """Every name and the key that it means, and a pattern that finds one: abbreviations as they are written, names in
    any letters."""
    keys: dict[str, str] = {}
    short: list[str] = []
    long: list[str] = []
    for key, one in everything().items():
        for name in one.abbreviations:
            keys.setdefault(name, key)
            short.append(name)
        for name in (one.name, *one.synonyms):
            keys.setdefault(name.casefold(), key)
            long.append(name)
    by_length = sorted(map(re.escape, long), key=len, reverse=True)
    return keys, re.compile(
        rf"(?<![\w-])(?:(?i:(?:the )?(?:(?P<side>left|right) )?)(?:(?P<long>(?i:{'|'.join(by_length)}))|"
        rf"(?P<short>{'|'.join(sorted(map(re.escape, short), key=len, reverse=True))})))(?![\w-])"
    )


def overclaims(text: str, *, intramuscular: bool = False) -> tuple[Overclaim, ...]:
    """What a sentence claims too much, in the order of the text; none where it is modest.

    Found are activity, onset or silence of a muscle, where pads only tell of a place; isolation, selectivity and
    absence of crosstalk, but where they are denied; and co-activation of an antagonist that is called an error. With
    ``intramuscular``, which the person states, a muscle may be named as what was active. It knows phrases, not
    meaning: a sentence without a finding is not proven modest.
    """
    demand(isinstance(text, str), "text", text, "a sentence")
    found = [*_alone(text), *_blamed(text), *([] if intramuscular else _of_muscles(text))]
    return tuple(sorted(found, key=lambda one: one.start))


def demand_modest(text: str, *, intramuscular: bool = False) -> str:
    """The text, where it claims no more than pads can tell; else ParameterError with what to write."""
    if found := overclaims(text, intramuscular=intramuscular):
        raise ParameterError(
            f"the text says {found[0].text!r}: {found[0].why}; write {found[0].instead!r} (or state that the recording "
            "was intramuscular)."
        )
    return text


def _of_muscles(text: str) -> Iterator[Overclaim]:
    keys, pattern = _named()
    for name in pattern.finditer(text):
        before, after = text[: name.start()], text[name.end() :]
        if re.search(r"\b(?:over|near)\W+(?:and\W+)?$", before, re.IGNORECASE):
            continue
        key = keys.get(name["short"] or "") or keys.get((name["long"] or "").casefold(), "")
        thing_after = re.match(rf"(?:'s?)? ({_THINGS})\b", after, re.IGNORECASE)
        side = (name["side"] or "").lower()
        does = re.match(rf" (?:muscle )?({_DOES})\b", after, re.IGNORECASE)
        thing_before = re.search(rf"\b({_THINGS}) (?:of|in|from) $", before, re.IGNORECASE)
        if does:
            silent = re.search(r"\b(not|never|inactive|silent|quiet|relaxed|relaxes|rest)\b", does[1], re.IGNORECASE)
            place = over(key, side=side)
            instead = f"no activity was seen {place}" if silent else f"activity recorded {place} rose above its rest"
            why = "pads tell of a place and not of a muscle"
            why += ", and no onset that was seen is not no activity" if silent else ""
            yield Overclaim(name[0] + does[0], name.start(), why, instead)
        elif thing_after:
            what = thing_after[1] if thing_after[1].isupper() else thing_after[1].lower()
            yield _of_place(name[0] + thing_after[0], name.start(), key, what, side)
        elif thing_before:
            what = thing_before[1].lower()
            yield _of_place(thing_before[0] + name[0], thing_before.start(), key, what, side)


_MODEST = {"activation": "activity", "activations": "activity", "recruitment": "activity", "drive": "activity"}
_MODEST |= {"firing": "activity", "emg": "EMG"}
"""What is written in the place of a word that claims more than a signal tells."""


def _of_place(text: str, start: int, key: str, what: str, side: str) -> Overclaim:
    instead = recorded_over(key, side=side, what=_MODEST.get(what.casefold(), what))
    return Overclaim(text, start, "pads tell of a place and not of a muscle", instead)


def _alone(text: str) -> Iterator[Overclaim]:
    for found in _ALONE.finditer(text):
        denied = re.search(_NO, text[: found.start()], re.IGNORECASE)
        if denied or _OF_ELECTRICITY.match(text[found.end() :]):
            continue
        yield Overclaim(
            found[0],
            found.start(),
            "no recording by surface pads is isolated, and a low correlation is no acquittal from crosstalk",
            "also hears …, with the shares that test contractions gave",
        )


def _blamed(text: str) -> Iterator[Overclaim]:
    for found in _BLAMED.finditer(text):
        if re.search(r"\b(?:not|no|never|nor)\b", found[0], re.IGNORECASE):
            continue
        yield Overclaim(
            found[0],
            found.start(),
            "an antagonist is often active in the opposite movement",
            "co-activation of an antagonist",
        )
