"""The reference as it stands in ``muscles.toml`` and ``words.toml``, read once and checked.

The data files are the package's own; the check is for whoever adds a fact: an unknown key, movement or kind of source,
or a fact without source stops the first use with a sentence.

    all_muscles    every muscle by key
    all_groups     names that stand for several muscles, by key
    everything     both
    others         what pads hear and has no entry of its own: name by key
    other_abbreviations    short names of those
    opposites      every movement and its opposite, or ""
    words          the tables of words.toml
    name_of        the name of a muscle, a group or another
    members_of     keys of the muscles for which a name stands
"""

import functools
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

from emgreview.errors import FormatError
from emgreview.muscles.facts import Action, Fact, Group, Muscle, Relation, Source
from emgreview.plain_files import read_toml

_KINDS = ("read", "tables", "second", "memory", "judgement", "practice")
_DEPTHS = ("superficial", "intermediate", "deep")
EASES = ("easy", "medium", "medium-hard", "hard", "poor", "not by surface")
"""How easily pads on the skin record a muscle, the easiest first."""


@functools.cache
def words() -> Mapping[str, Any]:
    """The tables of ``words.toml``."""
    return MappingProxyType(read_toml(Path(__file__).with_name("words.toml")))


@functools.cache
def _read() -> tuple[Mapping[str, Muscle], Mapping[str, Group], Mapping[str, str]]:
    data = read_toml(Path(__file__).with_name("muscles.toml"))
    others: dict[str, str] = data["other"]
    names = others | {key: one["name"] for key, one in data["muscle"].items()}
    muscles = {key: _muscle(key, one, names) for key, one in data["muscle"].items()}
    groups = {key: _group(key, one) for key, one in data["group"].items()}
    for group in groups.values():
        _demand(all(key in muscles for key in group.members), group.key, "holds a member that is no muscle here")
    for muscle in muscles.values():
        _demand(not muscle.group or muscle.group in groups, muscle.key, f"is part of {muscle.group}, which is no group")
        _demand(all(key in muscles for key in muscle.members), muscle.key, "holds a member that is no muscle here")
    return MappingProxyType(muscles), MappingProxyType(groups), MappingProxyType(others)


def _demand(good: bool, key: str, why: str) -> None:
    if not good:
        raise FormatError(f"muscles.toml: {key} {why}; correct it there.")


def _source(key: str, text: str) -> Source:
    kind, _, title = text.partition(": ")
    _demand(kind in _KINDS, key, f"has a source of the kind {kind!r}; allowed: {', '.join(_KINDS)}")
    return Source(kind, title)


def _sources(key: str, one: Mapping[str, Any]) -> tuple[Source, ...]:
    _demand(bool(one.get("by")), key, f"states {one.get('say') or one!r} without a source (by = …)")
    return tuple(_source(key, text) for text in one["by"])


def _fact(key: str, one: Mapping[str, Any]) -> Fact:
    return Fact(one["say"], _sources(key, one))


def _action(key: str, one: Mapping[str, Any]) -> Action:
    _demand(one["move"] in words()["movements"], key, f"names the movement {one['move']!r}, which words.toml has not")
    return Action(one.get("say", ""), _sources(key, one), one["move"], one.get("assists", False))


def _relation(key: str, one: Mapping[str, Any], names: Mapping[str, str]) -> Relation:
    unknown = [other for other in one["muscles"] if other not in names]
    _demand(not unknown, key, f"names {', '.join(unknown)}, which is neither a muscle here nor in [other]")
    return Relation(
        one.get("say", ""), _sources(key, one), tuple(one["muscles"]), tuple(names[other] for other in one["muscles"])
    )


def _muscle(key: str, one: Mapping[str, Any], names: Mapping[str, str]) -> Muscle:
    depth, ease, spacing = one["depth"]["say"].split(":")[0].split(",")[0], one["ease"]["say"], one["spacing"]
    _demand(depth in _DEPTHS, key, f"has the depth {depth!r}; allowed: {', '.join(_DEPTHS)}")
    _demand(ease in EASES, key, f"has the ease {ease!r}; allowed: {', '.join(EASES)}")
    _demand(ease in EASES[:3] or bool(one.get("warning")), key, f"is {ease} with surface pads and has no warning")
    return Muscle(
        key=key,
        name=one["name"],
        abbreviations=tuple(one["abbreviations"]),
        synonyms=tuple(one["synonyms"]),
        group=one.get("group", ""),
        members=tuple(one.get("members", ())),
        region=one["region"],
        side=one["side"],
        depth=depth,
        depth_fact=_fact(key, one["depth"]),
        ease=ease,
        ease_fact=_fact(key, one["ease"]),
        warning=one.get("warning", ""),
        over=one.get("write", one["name"]),
        nerve=tuple(_fact(key, part) for part in one["nerve"]),
        test=tuple(_fact(key, part) for part in one["test"]),
        quiet=tuple(_fact(key, part) for part in one["quiet"]),
        site=tuple(_fact(key, part) for part in one["site"]),
        cautions=tuple(_fact(key, part) for part in one["cautions"]),
        actions=tuple(_action(key, part) for part in one["actions"]),
        antagonists=tuple(_relation(key, part, names) for part in one["antagonists"]),
        hears=tuple(_relation(key, part, names) for part in one["hears"]),
        spacing=_fact(key, spacing),
        spacing_mm=tuple(map(float, spacing["mm"])) if "mm" in spacing else None,  # type: ignore[arg-type]
    )


def _group(key: str, one: Mapping[str, Any]) -> Group:
    return Group(key, one["name"], tuple(one["abbreviations"]), tuple(one["synonyms"]), tuple(one["members"]))


@functools.cache
def other_abbreviations() -> Mapping[str, tuple[str, ...]]:
    """Short names of what has no entry of its own, by key."""
    data: dict[str, list[str]] = read_toml(Path(__file__).with_name("muscles.toml"))["other_abbreviations"]
    for key in data:
        _demand(key in others(), key, "has abbreviations and stands not in [other]")
    return MappingProxyType({key: tuple(names) for key, names in data.items()})


def all_muscles() -> Mapping[str, Muscle]:
    """Every muscle by key, from shoulder to hand."""
    return _read()[0]


def all_groups() -> Mapping[str, Group]:
    """Names that stand for several muscles, by key."""
    return _read()[1]


def everything() -> dict[str, Muscle | Group]:
    """Every muscle and group by key."""
    return {**all_muscles(), **all_groups()}


def others() -> Mapping[str, str]:
    """What pads hear, or what works against a muscle, and has no entry of its own: its name by key."""
    return _read()[2]


def opposites() -> Mapping[str, str]:
    """Every movement and its opposite, or ""."""
    return MappingProxyType(words()["movements"])


def name_of(key: str) -> str:
    """The name of a muscle, a group, or another that is heard."""
    known = all_muscles().get(key) or all_groups().get(key)
    return known.name if known else others()[key]


def members_of(key: str) -> tuple[str, ...]:
    """Keys of the muscles for which a name stands: itself, or the members of a group."""
    if key in all_groups():
        return all_groups()[key].members
    return all_muscles()[key].members or (key,)
