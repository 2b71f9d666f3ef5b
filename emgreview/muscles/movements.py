"""What movement is meant? Plain words to movements of the reference, by the small tables of ``words.toml``.

"bend the elbow", "flex elbow" and "elbow flexion" are one movement; "turn a handle" or "tapping" are tasks that stand
for several. What was not used of the words is told, and words that name no movement are an error that lists those there
are.

    Understood        movements, and what is to be said of them
    understand        words to movements
"""

import re
from dataclasses import dataclass
from typing import Any

from emgreview.checks import demand
from emgreview.errors import UnknownNameError
from emgreview.muscles.reference import opposites, words

_VAGUE = frozenset(("turn", "rotate", "rotation"))
"""Say no direction: a phrase that they belong to says more."""
_ALONE = {"pronation": "forearm", "supination": "forearm", "opposition": "thumb"}
"""Directions that one joint alone has."""
_WIDE = frozenset(("arm", "hand"))
"""Joints that people name where they mean another one that they name too."""
_OF_A_FINGER = frozenset(("index", "middle", "ring", "little", "pinky"))
_ARTICLES = frozenset(("a", "an", "the", "my", "your", "of", "to"))


@dataclass(frozen=True, slots=True)
class Understood:
    """``movements`` that words stand for, and ``notes``: what else is to be known, what was taken or left out."""

    movements: tuple[str, ...]
    notes: tuple[str, ...]


def tokens(text: str) -> list[str]:
    """Words of a text in small letters, each in the form that the tables use."""
    forms = words()["forms"]
    found = re.findall(r"[^\W_]+", text.casefold())
    return [form for word in found if (form := forms.get(word, word))]


def understand(text: Any) -> Understood:
    """The movements that words stand for. Raises ParameterError for what is no text, UnknownNameError for words that
    name none."""
    demand(isinstance(text, str) and text.strip(), "movement", text, "words, such as 'bend the elbow'")
    came = tokens(text)
    named = [name for name in opposites() if set(tokens(name)) <= set(came)]
    named = [one for one in named if not any(set(tokens(one)) < set(tokens(other)) for other in named)]
    said = {word for name in named for word in tokens(name)}
    paired, used = _paired([word for word in came if word not in said or word in words()["joints"]], vague=not named)
    phrase, of_phrase = _phrase(came)
    vague_only = not named and phrase and used <= _VAGUE | set(words()["joints"])
    if phrase and (not (named or paired) or vague_only):
        found, used = list(phrase["moves"]), of_phrase | set(words()["joints"])
        notes = [f"{text.strip()!r} was taken for {', '.join(found)} (our own choice, no source)."]
        notes += [phrase["note"]] if "note" in phrase else []
    elif named or paired:
        found = list(dict.fromkeys([*named, *paired]))
        used |= said
        notes = []
    else:
        joints = [word for word in came if word in words()["joints"]]
        alone = set(came) <= {*joints, *words()["idle"]["words"]}  # another word may be a direction misspelt
        found, used = _of_joints(joints) if alone else [], set(joints)
        notes = [f"No direction was given: every movement of {' and '.join(joints)} is meant."]
    if not found:
        allowed = [*opposites(), *words()["phrases"]]
        raise UnknownNameError("movement", text, allowed, most=len(opposites()))
    left = [word for word in came if word not in used and word not in words()["idle"]["words"]]
    notes += [f"Not understood, and left out: {', '.join(dict.fromkeys(left))}."] if left else []
    return Understood(tuple(found), tuple(notes))


def _paired(came: list[str], *, vague: bool) -> tuple[list[str], set[str]]:
    """Movements of each direction with the joint that stands next to it, and the words that were used."""
    joints, directions = words()["joints"], words()["directions"]
    places = [
        place
        for place, word in enumerate(came)
        if word in joints and not (word == "finger" and came[place - 1 : place] and came[place - 1] in _OF_A_FINGER)
    ]
    places = [place for place in places if came[place] not in _WIDE] or places
    found: list[str] = []
    used: set[str] = set()
    for place, word in enumerate(came):
        if word not in directions or (word in _VAGUE and not vague):
            continue
        heads = [_ALONE[way] for way in directions[word] if way in _ALONE]
        if places:
            heads += joints[came[min(places, key=lambda other: (abs(other - place), other < place))]]
        meant = [f"{head} {way}" for head in heads for way in directions[word]]
        if moves := [name for name in meant if name in opposites()]:
            found += moves
            used |= {word, *(came[other] for other in places)} | (_OF_A_FINGER & set(came) and {"finger"})
    return found, used


def _phrase(came: list[str]) -> tuple[dict[str, Any], set[str]]:
    """The longest phrase whose words are all among those that came, and its words."""
    best: tuple[dict[str, Any], set[str]] = ({}, set())
    for text, meaning in words()["phrases"].items():
        parts = set(tokens(text)) - _ARTICLES
        if parts <= set(came) and len(parts) > len(best[1]):
            best = (meaning, parts)
    return best


def _of_joints(joints: list[str]) -> list[str]:
    heads = [head for word in joints for head in words()["joints"][word]]
    ways = {way for ways in words()["directions"].values() for way in ways}
    return [
        name
        for name in opposites()
        if any(name.startswith(f"{head} ") and name[len(head) + 1 :] in ways for head in heads)
    ]
