"""Is a line of a log what the schema says? Made from the schema file itself: the format is stated once.

A digest only says that a line is as somebody wrote it; a line written anew with its digests may hold anything. Every
line is checked where it is read, unknown parts are passed over, and what does not fit is refused in words.

Two readings of the same file: the quick one is compiled, once for each field and operation that the schema tells apart,
to a function that says yes or no in a few microseconds; only where it says no the slow one walks the schema and finds
where, what came, and what is allowed. They know the keywords that the schema uses (KEYWORDS) and no others. A whole
number is one that is written as such: 1.0, which JSON Schema takes for one, is refused, and canonical JSON never
writes it; nor does it write whole numbers beyond 2**53, infinities and NaN, so these are none either.

    misfit          why a decoded line does not fit, or ""
    misfit_of, fits the same for a value that is no line, or a part of one
    KEYWORDS        what of JSON Schema is understood
"""

import functools
import json
import re
import sys
from collections.abc import Callable, Iterator, Mapping
from operator import itemgetter
from pathlib import Path
from typing import Any, NamedTuple

from emgreview.plain_files import LARGEST

Schema = Mapping[str, Any]

KEYWORDS = frozenset(
    ("type", "enum", "const", "required", "properties", "additionalProperties", "items", "minItems", "uniqueItems")
) | frozenset(
    ("minimum", "exclusiveMinimum", "pattern", "minLength", "minProperties", "anyOf", "allOf", "if", "then", "else")
)
KEYWORDS |= {"not", "$ref", "propertyNames"}
"""Others (description, title, examples) say nothing of what is allowed."""

TYPES: Mapping[str, tuple[type, ...]] = {
    "object": (dict,),
    "array": (list,),
    "string": (str,),
    "integer": (int,),
    "number": (int, float),
    "boolean": (bool,),
    "null": (type(None),),
}
_WORDS = {
    "object": "an object",
    "array": "a list",
    "string": "text",
    "integer": "a whole number",
    "number": "a number",
    "boolean": "true or false",
    "null": "null",
}
_MOST_OF: Mapping[str, int | float] = {"integer": LARGEST, "number": sys.float_info.max}
"""A fraction of canonical JSON may be written as a whole number of up to 21 digits."""
_VOUCHED = ("prev", "self")
"""Their digits are compared with digests before a line comes here."""


@functools.cache
def schema() -> Schema:
    """The present schema of a line."""
    text = (Path(__file__).parent / "schema" / "event-1.json").read_text(encoding="utf-8")
    found: Schema = json.loads(text)
    return found


def misfit(line: Mapping[str, Any], before: bool = True) -> str:
    """Why a decoded line does not fit the schema, in a few words that name the part, what came, and what is allowed;
    "" where it fits. Without ``before`` the ``old`` value of a decision is not looked at."""
    try:
        if (_quick.get((line["field"], line["operation"], before)) or _made(line, before))(line):
            return ""
    except (AttributeError, KeyError, TypeError):
        pass
    return misfit_of(schema(), line, "")


def misfit_of(part: Schema, value: Any, where: str) -> str:
    """The same for any value and a part of a schema, whose references are to definitions of the schema of a line."""
    found = next(_walk(part, value, where), None)
    if found is None:
        return ""
    where, came, allowed = found
    shown = json.dumps(came, ensure_ascii=False)
    shown = shown if len(shown) <= 60 else f"{shown[:57]}..."
    return f"{where} came as {shown}; allowed: {allowed}" if allowed else f"{where} is missing"


def fits(name: str, value: Any) -> bool:
    """Whether a value fits the definition of that name in the schema; for parts of lines that nobody checked."""
    return not misfit_of(_target(f"#/$defs/{name}"), value, name)


# Where, what came, what is allowed -------------------------------------------------------------------------------


class _Misfit(NamedTuple):
    where: str
    came: Any
    allowed: str


def _is(value: Any, names: str | list[str]) -> bool:
    for name in [names] if isinstance(names, str) else names:
        if type(value) in TYPES[name]:
            most = _MOST_OF.get(name)
            return most is None or -most <= value <= most
    return False


def _allowed(part: Schema) -> str:
    """What a part of the schema allows, in words."""
    if "$ref" in part:
        return _allowed(_target(part["$ref"]))
    if "const" in part:
        return json.dumps(part["const"])
    if "enum" in part:
        return ", ".join("null" if one is None else str(one) for one in part["enum"])
    if "anyOf" in part:
        return " or ".join(filter(None, map(_allowed, part["anyOf"])))
    if part.get("pattern", "").endswith("{64}$"):
        return "64 hexadecimal digits"
    names = part.get("type", [])
    words = " or ".join(_WORDS[name] for name in ([names] if isinstance(names, str) else names))
    more = [f"{part['minimum']} or more"] if "minimum" in part else []
    more += [f"above {part['exclusiveMinimum']}"] if "exclusiveMinimum" in part else []
    more += [f"of the form {part['pattern']}"] if "pattern" in part else []
    more += ["not empty"] if {"minLength", "minProperties", "minItems"} & set(part) else []
    return ", ".join([words, *more])


def _target(reference: str) -> Schema:
    found: Any = schema()
    for name in reference.removeprefix("#/").split("/"):
        found = found[name]
    return dict(found)


def _walk(part: Schema, value: Any, where: str) -> Iterator[_Misfit]:
    """Every place where a value does not fit, in the order of the schema."""
    here = _Misfit(where or "the line", value, _allowed(part))
    if "$ref" in part:
        yield from _walk(_target(part["$ref"]), value, where)
    if "type" in part and not _is(value, part["type"]):
        large = type(value) in (int, float)
        yield here._replace(allowed=f"{here.allowed}, finite and not beyond {LARGEST}") if large else here
        return
    if ("const" in part and value != part["const"]) or ("enum" in part and value not in part["enum"]):
        yield here
    if "anyOf" in part and all(any(_walk(one, value, where)) for one in part["anyOf"]):
        inner = [found for one in part["anyOf"] for found in _walk(one, value, where)]
        yield next((found for found in inner if found.where != here.where), here)
    for one in part.get("allOf", ()):
        yield from _walk(one, value, where)
    if "not" in part and not any(_walk(part["not"], value, where)):
        yield _Misfit(f"{where or 'the line'} with {', '.join(part['not'].get('required', ()))}", value, "without it")
    if "if" in part:
        branch = part.get("else" if any(_walk(part["if"], value, where)) else "then", {})
        yield from _walk(branch, value, where)
    if type(value) in (int, float):
        low = "minimum" in part and part["minimum"] > value
        low = low or ("exclusiveMinimum" in part and part["exclusiveMinimum"] >= value)
        yield from [here] if low else []
    if isinstance(value, str):
        short = len(value) < part.get("minLength", 0)
        yield from [here] if short or ("pattern" in part and not re.search(part["pattern"], value)) else []
    if isinstance(value, list):
        many = len({json.dumps(one, sort_keys=True) for one in value}) < len(value) and part.get("uniqueItems", False)
        yield from [here] if many or len(value) < part.get("minItems", 0) else []
        for number, one in enumerate(value):
            yield from _walk(part.get("items", {}), one, f"{where}[{number}]")
    if isinstance(value, dict):
        prefix = f"{where}." if where else ""
        yield from [here] if len(value) < part.get("minProperties", 0) else []
        yield from (_Misfit(f"{prefix}{name}", None, "") for name in part.get("required", ()) if name not in value)
        known = part.get("properties", {})
        for name in value if "propertyNames" in part else ():
            yield from _walk(part["propertyNames"], name, f"{prefix}the name {name!r}")
        for name, one in value.items():
            yield from _walk(known.get(name, part.get("additionalProperties", {})), one, f"{prefix}{name}")


# Yes or no, quickly ----------------------------------------------------------------------------------------------


@functools.cache
def _told_apart() -> dict[str, frozenset[str]]:
    """The fields and operations that the schema's conditions name."""
    found: dict[str, set[str]] = {"field": set(), "operation": set()}
    for rule in schema()["allOf"]:
        for name, test in rule["if"]["properties"].items():
            found.setdefault(name, set()).update(test.get("enum", [test.get("const")]))
    return {name: frozenset(words) for name, words in found.items()}


_quick: dict[tuple[str, str, bool], Callable[[Mapping[str, Any]], bool]] = {}
"""Checks by field, operation, and whether the old value is looked at, as they were met."""


def _made(line: Mapping[str, Any], before: bool) -> Callable[[Mapping[str, Any]], bool]:
    """The check for a line; kept where the schema tells its field and operation from others."""
    names = {name: line[name] for name in ("field", "operation")}
    known = {name: word if word in _told_apart()[name] else None for name, word in names.items()}
    check = _compiled(known["field"], known["operation"], before or line["field"] == "log")
    if len(_quick) < _MOST:
        _quick[line["field"], line["operation"], before] = check
    return check


_MOST = 1000
"""So many pairs of field and operation are looked up; others, of a log that was made up, take longer."""


@functools.cache
def _compiled(field: str | None, operation: str | None, before: bool) -> Callable[[Mapping[str, Any]], bool]:
    """The check of a line with this field and operation; None: with one that no condition names. It raises
    AttributeError, KeyError or TypeError for some lines that do not fit."""
    writer = _Writer({"field": field, "operation": operation}, () if before else ("old",))
    writer.check(schema(), "line", 1)
    names = {**writer.names}
    exec("\n".join(["def check(line):", *writer.lines, "    return True"]), names)
    check: Callable[[Mapping[str, Any]], bool] = names["check"]
    return check


class _Writer:
    """Writes the check of a schema as lines of Python: straight on, a type, a look-up or a comparison a line."""

    def __init__(self, known: Mapping[str, str | None], unseen: tuple[str, ...] = ()):
        """``unseen``: parts of a line of which only that they are there is looked at."""
        self.known, self.unseen = known, unseen
        self.lines: list[str] = []
        self.names: dict[str, Any] = {}

    def say(self, depth: int, words: str) -> None:
        self.lines.append("    " * depth + words)

    def refuse(self, depth: int, unless: str) -> None:
        self.say(depth, f"if not ({unless}): return False")

    def name(self, value: Any = None) -> str:
        name = f"v{len(self.names)}"
        self.names[name] = value
        return name

    def check(self, part: Schema, value: str, depth: int) -> None:
        assert (unknown := set(part) - KEYWORDS - _NOTES) == set(), f"the schema uses {unknown}, unknown here"
        if "type" in part:
            self._type(part, value, depth)
        if "$ref" in part:
            self.check(_target(part["$ref"]), value, depth)
        for one in part.get("allOf", ()):
            self.check(one, value, depth)
        if "if" in part:
            self._condition(part, value, depth)
        if "not" in part:
            self.refuse(depth, " or ".join(f"{name!r} not in {value}" for name in part["not"]["required"]))
        if "anyOf" in part:
            self._any_of(part["anyOf"], value, depth)
        if "const" in part:
            self.refuse(depth, f"{value} == {part['const']!r}")
        if "enum" in part:
            self.refuse(depth, f"{value} in {self.name(frozenset(part['enum']))}")
        if "pattern" in part:
            known, fits = self.name(set()), self.name(re.compile(part["pattern"]).search)
            keep = f"(len({known}) > 63 or {known}.add({value}) is None)"  # a reviewer's code is the same in every line
            self.refuse(depth, f"{value} in {known} or {fits}({value}) and {keep}")
        if least := part.get("minLength") or part.get("minProperties") or part.get("minItems"):
            self.refuse(depth, f"len({value}) >= {least}")
        if part.get("uniqueItems"):
            self.refuse(depth, f"len(set({value})) == len({value})")
        if "propertyNames" in part:
            one = self.name()
            self.say(depth, f"for {one} in {value}:")
            self.check(part["propertyNames"], one, depth + 1)
            self.say(depth + 1, "pass")
        if "items" in part:
            one = self.name()
            self.say(depth, f"for {one} in {value}:")
            self.check(part["items"], one, depth + 1)
            self.say(depth + 1, "pass")
        self._parts(part, value, depth)

    def _type(self, part: Schema, value: str, depth: int) -> None:
        names = part["type"]
        least = f" and {value} >= {part['minimum']}" if "minimum" in part else ""
        least += f" and {value} > {part['exclusiveMinimum']}" if "exclusiveMinimum" in part else ""
        pairs = [(name, kind) for name in ([names] if isinstance(names, str) else names) for kind in TYPES[name]]
        tests = [
            f"{value} is None" if kind is type(None) else f"{value}.__class__ is {kind.__name__}" for _, kind in pairs
        ]
        ends = [
            f" and -{_MOST_OF[name]} <= {value} <= {_MOST_OF[name]}" + least if name in _MOST_OF else ""
            for name, _ in pairs
        ]
        numbers = [test + end for test, end in zip(tests, ends, strict=True)]
        self.refuse(depth, " or ".join(sorted(numbers, key=lambda test: "None" not in test)))

    def _parts(self, part: Schema, value: str, depth: int) -> None:
        vouched = (*_VOUCHED, *self.unseen) if value == "line" else ()
        known = {name: inner for name, inner in part.get("properties", {}).items() if name not in vouched}
        required = part.get("required", ())
        for name in required:
            if name not in known:
                self.refuse(depth, f"{name!r} in {value}")
        always = {name: self.name() for name in known if name in required}
        if len(always) > 1:
            self.say(depth, f"{', '.join(always.values())} = {self.name(itemgetter(*always))}({value})")
        else:
            for name, one in always.items():
                self.say(depth, f"{one} = {value}[{name!r}]")
        for name, one in always.items():
            self.check(known[name], one, depth)
        for name in known.keys() - always.keys():
            one = self.name()
            if value == "line" and name in schema()["required"]:
                self.say(depth, f"{one} = {value}[{name!r}]")
                self.check(known[name], one, depth)
                continue
            self.say(depth, f"if {name!r} in {value}:")
            self.say(depth + 1, f"{one} = {value}[{name!r}]")
            self.check(known[name], one, depth + 1)
        if "additionalProperties" in part:
            key, one = self.name(), self.name()
            self.say(depth, f"for {key}, {one} in {value}.items():")
            others = depth + 1
            if known:
                self.say(others, f"if {key} in {self.name(frozenset(known))}: continue")
            self.check(part["additionalProperties"], one, others)
            self.say(others, "pass")

    def _any_of(self, parts: list[Schema], value: str, depth: int) -> None:
        if parts[0] == {"type": "null"} and len(parts) == 2:
            self.say(depth, f"if {value} is not None:")
            self.check(parts[1], value, depth + 1)
            self.say(depth + 1, "pass")
            return
        tests = []
        for one in parts:
            inner = _Writer(self.known)
            inner.check(one, "value", 1)
            names = {**inner.names}
            exec("\n".join(["def fits(value):", *inner.lines, "    return True"]), names)
            tests.append(f"{self.name(names['fits'])}({value})")
        self.refuse(depth, " or ".join(tests))

    def _condition(self, part: Schema, value: str, depth: int) -> None:
        """A condition on parts of a value; on field and operation of a line the answer is known while writing."""
        tests, known = [], True
        for name, test in part["if"]["properties"].items():
            words = test.get("enum", [test.get("const")])
            if value == "line" and name in self.known:
                known = known and self.known[name] in words
            else:
                look = f"{value}.get({name!r})"
                tests.append(f"{look} == {words[0]!r}" if len(words) == 1 else f"{look} in {tuple(words)!r}")
        if not tests:
            self.check(part.get("then" if known else "else", {}), value, depth)
        elif known:
            self.say(depth, f"if {' and '.join(tests)}:")
            wanted = part.get("then", {}).get("properties", {}).get("field", {}).get("const", self.known["field"])
            if value == "line" and wanted != self.known["field"]:
                self.say(depth + 1, "return False")
                return
            self.check(part.get("then", {}), value, depth + 1)
            self.say(depth + 1, "pass")


_NOTES = frozenset(("$schema", "$id", "$defs", "title", "description", "examples"))
