"""What a sealed version's decisions.json must be to be read: parts of the kinds that this package writes.

Its digests say that it is as somebody wrote it; a version from elsewhere may hold anything. Parts that are not named
here are passed over, as those of a later emgreview.

    misfit          why a description does not fit, or ""
    demand_whole    VersionError unless it fits and holds all that a version needs to be used
"""

from collections.abc import Mapping, Sequence
from typing import Any

from emgreview.annotations.conforming import Schema, misfit_of
from emgreview.errors import VersionError
from emgreview.legible import one_line

_TEXTS: Schema = {"type": "array", "items": {"type": "string"}}
_NAMED: Schema = {"type": "object", "additionalProperties": {"type": "string"}}

_LOGS: Schema = {
    "type": "object",
    "propertyNames": {"type": "string", "pattern": r"^logs/([^/\\]+/)*[^/\\]+\.jsonl$"},
    "additionalProperties": {
        "type": "object",
        "required": ["lines", "sha256"],
        "properties": {"lines": {"type": "integer", "minimum": 0}, "sha256": {"$ref": "#/$defs/digest"}},
    },
}
"""Heads by the places of logs; the first packages read copies in deeper folders as logs, too, and named them."""

_LONGEST = 255
"""Bytes of a part of a path at most, as on every system in use."""

SCHEMA: Schema = {
    "type": "object",
    "required": ["table", "logs"],
    "properties": {
        "table": {"type": "object", "required": ["sha256"], "properties": {"sha256": {"$ref": "#/$defs/digest"}}},
        "logs": _LOGS,
        "name": {"type": "string"},
        "reviewer": {"type": "string", "pattern": "^[A-Za-z0-9][A-Za-z0-9-]{0,31}$"},
        "blind": {"type": "boolean"},
        "columns": {
            "type": "object",
            "additionalProperties": {
                "type": "object",
                "required": ["type"],
                "properties": {
                    "type": {"type": "string", "enum": ["text", "number", "whole", "truth"]},
                    "description": {"type": "string"},
                },
            },
        },
        "trials": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["recording", "cue"],
                "properties": {"recording": {"type": "string"}, "cue": {"type": "string"}},
            },
        },
        "inclusion": {
            "anyOf": [
                {"type": "null"},
                {"type": "object", "required": ["rule"], "properties": {"rule": {"type": "object"}}},
            ]
        },
        "recordings": {"type": "object", "additionalProperties": {"$ref": "#/$defs/method"}},
        "outside_trials": {
            "type": "object",
            "additionalProperties": {
                "type": "object",
                "required": ["marked", "added_cues"],
                "properties": {
                    "marked": {
                        "type": "array",
                        "items": {
                            "type": "object",
                            "required": ["channel", "onset_sample", "offset_sample"],
                            "properties": {
                                "channel": {"type": "string"},
                                "onset_sample": {"type": "integer"},
                                "offset_sample": {"type": "integer"},
                                "kind": {"type": "string"},
                            },
                        },
                    },
                    "added_cues": {
                        "type": "array",
                        "items": {
                            "type": "object",
                            "required": ["sample", "label"],
                            "properties": {"sample": {"type": "integer"}, "label": {"type": "string"}},
                        },
                    },
                },
            },
        },
        "packages": _NAMED,
        "machine": _NAMED,
        "bulk": _TEXTS,
        "scale_notes": _TEXTS,
        "withdrawn": _TEXTS,
    },
}
"""In the words of the schema of a line, whose definitions it shares."""

EVERY = ("reviewer", "blind", "columns", "trials", "inclusion", "recordings", "packages", "machine")


def misfit(description: Any) -> str:
    """Why a description does not fit, in words that name the part, what came and what is allowed; or ""."""
    if why := misfit_of(SCHEMA, description, "the description"):
        return why
    odd = next((where for where in description["logs"] if not _possible(where)), None)
    return "" if odd is None else f"the description.logs names {odd[:80]!r}, which no log can be called"


def _possible(where: str) -> bool:
    """Whether a file can have this name, and lies below "logs"."""
    return where == one_line(where) and all(
        part not in (".", "..") and len(part.encode()) <= _LONGEST for part in where.split("/")
    )


def demand_whole(description: Mapping[str, Any], name: str, needed: Sequence[str] = EVERY) -> None:
    """VersionError unless a description fits and holds what every sealed version has, or what is ``needed`` of it."""
    why = misfit(description)
    if lacking := [part for part in needed if not why and part not in description]:
        why = f"{', '.join(lacking)} {'is' if len(lacking) == 1 else 'are'} missing"
    if not why and "recordings" in needed:
        reviewed, described = {part["recording"] for part in description["trials"]}, set(description["recordings"])
        if apart := sorted(reviewed ^ described):
            why = f"trials and recordings do not name the same: {apart[0]!r} is only in one of them"
    if why:
        raise VersionError(
            f"the decisions.json of version {name!r} is not one of a sealed version ({why}); restore it from a copy."
        )
