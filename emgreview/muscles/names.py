"""Which muscle does a name mean? Names, abbreviations and synonyms, however labs write them in a label.

A label is read in several ways: as it stands; without what says nothing of a muscle (EMG, CH3); without a side (L,
right); word by word, short forms written out (ant delt); then by what is spelt alike. Only a whole name, in any order
of its words, is certain. What may be several muscles (``ask`` in ``words.toml``), what is only part of a name, and what
is only alike is a question with its candidates.

    Reading         what a label may mean
    read_label      a label to a Reading
    find            keys of the muscles and groups that a name means
"""

import difflib
import functools
import re
import unicodedata
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from emgreview.muscles.reference import everything, other_abbreviations, others, words

CERTAIN, QUESTION, UNKNOWN = "certain", "question", "unknown"
_MOST_ALIKE = 0.8
"""Labels at least so alike (difflib's ratio) are asked about; our own choice, no source."""
_SHORTEST_ALIKE = 5
"""Shorter labels are not compared by likeness: four letters are like many others (our own choice)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What a label may mean: ``keys`` of muscles, groups and others; the side "left", "right" or ""; ``why`` in words;
    ``passed`` over: parts of the label that say nothing here."""

    outcome: str
    keys: tuple[str, ...]
    side: str = ""
    why: str = ""
    passed: tuple[str, ...] = ()


def squash(text: str) -> str:
    """Letters and digits of a text alone, small."""
    return "".join(re.findall(r"[^\W_]+", unicodedata.normalize("NFKC", text).casefold()))


def _words(text: str) -> list[str]:
    return re.findall(r"[^\W_]+", unicodedata.normalize("NFKC", text).casefold())


@functools.cache
def _aliases() -> Mapping[str, tuple[str, ...]]:
    """Every name, squashed, and the keys that bear it."""
    found: dict[str, list[str]] = {}
    for key, one in everything().items():
        for name in (key, one.name, *one.abbreviations, *one.synonyms):
            found.setdefault(squash(name), []).append(key)
    for key, name in others().items():
        for called in (key, name, *other_abbreviations().get(key, ())):
            found.setdefault(squash(called), []).append(key)
    return MappingProxyType({name: tuple(dict.fromkeys(keys)) for name, keys in found.items()})


@functools.cache
def _asked() -> Mapping[str, tuple[str, ...]]:
    return MappingProxyType({squash(label): tuple(keys) for label, keys in words()["ask"].items()})


@functools.cache
def _word_sets() -> tuple[tuple[str, frozenset[str]], ...]:
    """Of every name of more than an abbreviation: its key and its words, without those that say nothing."""
    beside = set(words()["beside"]["words"])
    names = [
        (key, name) for key, one in everything().items() for name in (one.name, key.replace("_", " "), *one.synonyms)
    ]
    names += [(key, name) for key, name in others().items()]
    return tuple(dict.fromkeys((key, frozenset(_words(name)) - beside) for key, name in names))


def find(text: str) -> tuple[str, ...]:
    """Keys that a name means, for a look-up: all that bear it, or else of whose name it is a part; may be none."""
    plain = squash(text)
    if plain in _aliases():
        return _aliases()[plain]
    if plain in _asked():
        return _asked()[plain]
    reading = read_label(text)
    return reading.keys if reading.why != "alike" else ()


def read_label(label: str, others_here: Collection[str] = ()) -> Reading:
    """What a label may mean; ``others_here`` are the labels beside it, whose sides may say that an L is a side."""
    parts = [part for part in _split(label) if part not in words()["beside"]["words"]]
    numbers = [part for part in parts if part.isdigit()]
    plain = [part for part in parts if not part.isdigit()]
    for tried, passed in ((parts, []), (plain, numbers)) if numbers else ((parts, []),):
        reading = _named(tried, others_here)
        if reading is not None:
            return Reading(reading.outcome, reading.keys, reading.side, reading.why, tuple(passed))
    without, side = _without_side(plain)
    return _in_part(without, side, numbers)


def _split(label: str) -> list[str]:
    """Words of a label, small; letters and a number that follows them apart, but where that is a name (DI2)."""
    found: list[str] = []
    for part in _words(label):
        numbered = re.fullmatch(r"([^\W\d_]+)(\d+)", part)
        known = part in _aliases() or part in _asked()
        found += [part] if known or not numbered else [numbered[1], numbered[2]]
    return found


def _whole(parts: Iterable[str]) -> tuple[str, tuple[str, ...]] | None:
    """What the parts mean as one name: how sure, and the keys."""
    listed = list(parts)
    plain = "".join(listed)
    if plain in _asked():
        return QUESTION, _asked()[plain]
    if plain in _aliases():
        keys = _aliases()[plain]
    else:
        keys = tuple(dict.fromkeys(key for key, name in _word_sets() if _covers(listed, name)))
    return (CERTAIN if len(keys) == 1 else QUESTION, keys) if keys else None


def _meant_by(part: str) -> set[str]:
    return {part, *words()["short"].get(part, ())}


def _covers(parts: list[str], name: frozenset[str]) -> bool:
    """Whether the parts are the words of a name, in any order, short forms written out."""
    meant = [_meant_by(part) & name for part in parts]
    return len(parts) == len(name) and all(meant) and set().union(*meant) == name


def _without_side(parts: list[str]) -> tuple[list[str], str]:
    """The parts without the first or last word that is a side, and which side."""
    beside = words()["beside"]
    for place in dict.fromkeys((0, len(parts) - 1)):
        for side in ("left", "right"):
            if len(parts) > 1 and parts[place] in beside[side]:
                return parts[:place] + parts[place + 1 :], side
    return parts, ""


def _named(parts: list[str], others_here: Collection[str]) -> Reading | None:
    """The reading of parts that are a whole name, with or without a side; None where they are none."""
    if not parts:
        return None
    rest, side = _without_side(parts)
    whole, sided = _whole(parts), _whole(rest) if side else None
    if not side and len(parts) == 1:
        for letter, meant in (("l", "left"), ("r", "right")):
            for cut in (parts[0].removeprefix(letter), parts[0].removesuffix(letter)):
                if cut != parts[0] and (of_cut := _whole([cut])) and (sided is None or of_cut[0] == CERTAIN):
                    sided, side, rest = of_cut, meant, [cut]
    if sided and whole and sided[1] != whole[1]:
        if _has_other_side(parts, rest, side, others_here):
            return Reading(sided[0], sided[1], side, f"the other side is called alike, so {side} is meant")
        attached = len(parts) == 1
        if not (attached and whole[0] == CERTAIN):
            keys = tuple(dict.fromkeys((*whole[1], *sided[1])))
            return Reading(QUESTION, keys, "", f"{' '.join(parts)!r} may be one name, or another of the {side} side")
        return Reading(CERTAIN, whole[1])
    if sided:
        return Reading(sided[0], sided[1], side, "" if sided[0] == CERTAIN else "may be several")
    return Reading(whole[0], whole[1], "", "" if whole[0] == CERTAIN else "may be several") if whole else None


def _has_other_side(parts: list[str], rest: list[str], side: str, others_here: Collection[str]) -> bool:
    """Whether a label beside this one is the same with the other side in its place."""
    letters = {"left": words()["beside"]["right"], "right": words()["beside"]["left"]}[side]
    core = "".join(rest)
    first = "".join(parts).endswith(core)
    wanted = {letter + core if first else core + letter for letter in letters}
    return any(
        "".join(p for p in _split(other) if p not in words()["beside"]["words"]) in wanted for other in others_here
    )


def _in_part(parts: list[str], side: str, numbers: list[str]) -> Reading:
    """A question about what is only part of a name, holds a name among other words, or is spelt alike."""
    passed = tuple(numbers)
    if not parts:
        return Reading(UNKNOWN, (), side, "no name", passed)
    part_of = [key for key, name in _word_sets() if _part_of(parts, name)]
    if part_of:
        return Reading(QUESTION, tuple(dict.fromkeys(part_of)), side, "part of a name", passed)
    inside = [key for part in parts if (found := _whole([part])) for key in found[1]]
    if inside and len(parts) > 1:
        return Reading(QUESTION, tuple(dict.fromkeys(inside)), side, "holds a name among other words", passed)
    plain = "".join(parts)
    if len(plain) >= _SHORTEST_ALIKE:
        alike = difflib.get_close_matches(plain, _aliases(), n=3, cutoff=_MOST_ALIKE)
        if alike:
            keys = tuple(dict.fromkeys(key for name in alike for key in _aliases()[name]))
            return Reading(QUESTION, keys, side, "alike", passed)
    return Reading(UNKNOWN, (), side, "no name", passed)


def _part_of(parts: list[str], name: frozenset[str]) -> bool:
    """Whether every part is a word of the name, or its beginning of four letters or more."""
    return len(parts) < len(name) and all(
        any(word in _meant_by(part) or (len(part) > 3 and word.startswith(part)) for word in name) for part in parts
    )
