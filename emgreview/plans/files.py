"""A plan as a plain file, ``plan.toml``: read by people, edited by hand, kept beside the study.

    format = "recording plan"
    version = 1
    movement, movements, side, postures
    [session]       what was filled in of the session, by the names of the fields
    [[channel]]     label, muscle, side, part, and what was filled in of it

A file of a later version is refused, and so is what a plan does not know: nothing is passed over.

    as_toml     a plan as text
    from_toml   a file as a plan
"""

import json
from pathlib import Path
from types import MappingProxyType
from typing import Any

from emgreview.errors import EmgreviewError, FormatError, ReadError
from emgreview.muscles import all_muscles
from emgreview.plain_files import read_toml
from emgreview.plans import fields
from emgreview.plans.fields import SESSION, SITE, Value
from emgreview.plans.planning import LONGEST_LABEL, MOST_SITES, SIDES, Plan, Site
from emgreview.plans.proposing import ASSISTS, MAKES, OPPOSES, OTHER

FORMAT, VERSION = "recording plan", 1
_PARTS = ("", MAKES, ASSISTS, OPPOSES, OTHER)


def as_toml(plan: Plan) -> str:
    """The text of the file."""
    lines = [
        "# A recording plan. Fields that are not here are missing; numbers without quotes, all else in quotes.",
        f"format = {_word(FORMAT)}",
        f"version = {VERSION}",
        f"movement = {_word(plan.movement)}",
        f"movements = {_list(plan.movements)}",
        f"side = {_word(plan.side)}",
        f"postures = {_list(plan.postures)}",
        f"notes = {_list(plan.notes)}",
        "",
        "[session]",
        *(f"{name} = {_word(value)}" for name, value in plan.said.items()),
    ]
    for site in plan.sites:
        lines += ["", "[[channel]]", f"label = {_word(site.label)}", f"muscle = {_word(site.key)}"]
        lines += [f"side = {_word(site.side)}", f"part = {_word(site.part)}"]
        lines += [f"{name} = {_word(value)}" for name, value in site.said.items()]
    return "\n".join(lines) + "\n"


def _word(value: Value) -> str:
    if isinstance(value, float):
        return repr(value)
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _list(values: tuple[str, ...]) -> str:
    return f"[{', '.join(map(_word, values))}]"


def from_toml(path: Path) -> Plan:
    """The plan in a file. Raises ReadError, or FormatError for what is no plan."""
    table = read_toml(path)
    try:
        return _plan(table)
    except ReadError:
        raise
    except EmgreviewError as why:  # a value that a plan refuses
        raise FormatError(f"{path.name}: {why}") from why


def _plan(table: dict[str, Any]) -> Plan:
    version = table.get("version")
    _demand(table.get("format") == FORMAT, "format", table.get("format"), f"{FORMAT!r}, as Plan.save writes it")
    _demand(type(version) is int and version >= 1, "version", version, "a whole number")
    if version != VERSION:
        raise FormatError(
            f"the plan is of version {version}; this package reads version {VERSION}; install a later one."
        )
    known = {"format", "version", "movement", "movements", "side", "postures", "notes", "session", "channel"}
    _demand(set(table) <= known, "plan", sorted(set(table) - known), ", ".join(sorted(known)))
    side, session, channels = table.get("side"), table.get("session", {}), table.get("channel")
    _demand(side in SIDES, "side", side, ", ".join(SIDES))
    _demand(isinstance(session, dict), "session", session, "a table [session]")
    good = isinstance(channels, list) and channels and all(isinstance(one, dict) for one in channels)
    _demand(good and len(channels or ()) <= MOST_SITES, "channel", type(channels).__name__, "tables [[channel]]")
    sites = tuple(map(_site, channels or ()))
    labels = [one.label for one in sites]
    _demand(len(set(labels)) == len(labels), "label", labels, "no label twice")
    return Plan(
        _text("movement", table.get("movement", ""), empty=True),
        _texts("movements", table.get("movements", [])),
        str(side),
        sites,
        _texts("postures", table.get("postures", [])),
        _said(SESSION, session),
        _texts("notes", table.get("notes", []), most=5000),
    )


def _site(table: dict[str, Any]) -> Site:
    key, side, part = (table.get(name, "") for name in ("muscle", "side", "part"))
    label = _text("label", table.get("label"), most=LONGEST_LABEL)
    _demand(isinstance(key, str) and key in all_muscles(), "muscle", key, "a key, as er.muscles().keys lists them")
    _demand(side in SIDES[:2], "side", side, " or ".join(SIDES[:2]))
    _demand(part in _PARTS, "part", part, ", ".join(map(repr, _PARTS)))
    own = {"label", "muscle", "side", "part"}
    return Site(label, key, side, part, _said(SITE, {name: one for name, one in table.items() if name not in own}))


def _said(known: Any, values: dict[str, Any]) -> MappingProxyType[str, Value]:
    made = {name: fields.checked(known, name, value) for name, value in values.items()}
    return MappingProxyType({name: one for name in known if (one := made.get(name)) is not None})


def _texts(name: str, values: Any, *, most: int = fields.LONGEST) -> tuple[str, ...]:
    _demand(isinstance(values, list) and len(values) <= 100, name, type(values).__name__, "a list of texts")
    return tuple(_text(name, one, most=most) for one in values)


def _text(name: str, value: Any, *, most: int = fields.LONGEST, empty: bool = False) -> str:
    good = isinstance(value, str) and len(value) <= most and value.isprintable() and (empty or value.strip())
    _demand(good, name, value if isinstance(value, str) else type(value).__name__, f"a text of at most {most} letters")
    return str(value)


def _demand(good: object, name: str, came: object, allowed: str) -> None:
    if not good:
        raise FormatError(f"{name} came as {came!r}; allowed: {allowed}; correct it.")
