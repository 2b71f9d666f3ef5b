"""What a browser may send, checked as it comes: known kinds, with all their parts, of the right type, numbers finite.

Nothing that a browser sends is trusted, for a page can be changed by whoever sits before it. What gets through is plain
JSON; whether a trial, a channel or a burst of that name exists is asked where it is used.

    MESSAGES        the parts of every kind of message, by name; wire.py itself takes ``decide`` and ``beat``
    checked         a message as it came, if it is one of a widget's; ParameterError if not
    client_of       who sent it; None where that cannot be told
    check_decision  the parts of a decision that say what is decided
    bound           arguments that a function takes; DecisionError where they are others
"""

import inspect
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from emgreview.errors import DecisionError, ParameterError

_LARGEST = 2**53
_LETTERS = 100_000
_DEPTH = 8

Check = tuple[Callable[[Any], bool], str]
"""Whether a part is what it must be, and what is allowed, in words."""


def _number(value: Any) -> bool:
    if isinstance(value, int) and not isinstance(value, bool):
        return -_LARGEST < value < _LARGEST
    return isinstance(value, float) and math.isfinite(value)


def _whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < _LARGEST


def _text(value: Any) -> bool:
    return isinstance(value, str) and len(value) <= _LETTERS


def _list_of(one: Check) -> Check:
    return lambda value: isinstance(value, list | tuple) and len(value) <= _LETTERS and all(map(one[0], value)), (
        f"a list, each {one[1]}"
    )


def _or_none(one: Check) -> Check:
    return lambda value: value is None or one[0](value), f"{one[1]}, or null"


def _pair_of(one: Check) -> Check:
    return lambda value: isinstance(value, list | tuple) and len(value) == 2 and all(map(one[0], value)), (
        f"two, each {one[1]}"
    )


NUMBER: Check = _number, "a finite number"
WHOLE: Check = _whole, "a whole number from 0"
SAMPLE: Check = lambda value: _whole(abs(value)) if type(value) is int else False, "a whole number"
TEXT: Check = _text, f"text of at most {_LETTERS} letters"
TRUTH: Check = lambda value: isinstance(value, bool), "true or false"
WORDS: Check = _list_of(TEXT)
ABSENT = object()

MESSAGES: Mapping[str, Mapping[str, Check]] = {
    "hello": {},
    "everything": {"held": _list_of(WHOLE)},
    "want": {"trials": _list_of(WHOLE)},
    "page": {"trials": _list_of(WHOLE)},
    "list": {"which": TEXT},
    "compare": {"methods": _pair_of(TEXT), "by_s": NUMBER, "begin": TRUTH},
    "spectrum": {"index": WHOLE, "channel": TEXT, "onset_s": NUMBER, "offset_s": NUMBER, "for": TEXT},
    "listen": {"index": WHOLE, "channel": TEXT, "start_s": NUMBER, "stop_s": NUMBER, "n": WHOLE},
    "look": {"view": _pair_of(SAMPLE), "want": _pair_of(SAMPLE), "width": WHOLE, "kinds": WORDS, "n": WHOLE},
    "read": {"near": SAMPLE},
    "person": {"people": _list_of(WHOLE)},
    "panels": {"people": _list_of(WHOLE), "channel": TEXT},
    "open": {"person": WHOLE, "trial": WHOLE, "channel": TEXT},
    "decide": {"n": WHOLE},
    "beat": {"n": WHOLE, "sent": WHOLE},
}
"""Parts that a message must have, beside its kind and client."""

_MORE: Mapping[str, Check] = {
    "asks": WHOLE,
    "settled": WHOLE,
    "held": _list_of(WHOLE),
    "reviewer": TEXT,
    "by_s": NUMBER,
    "behaviour": TEXT,
}
"""Parts that any message may have."""

_ARGUMENTS: Mapping[str, Check] = {
    **dict.fromkeys(("onset_s", "offset_s", "half_width_ms"), _or_none(NUMBER)),
    **dict.fromkeys(("earliest_s", "latest_s", "start_s", "stop_s", "at_s"), NUMBER),
    **dict.fromkeys(("burst", "confidence", "behaviour", "text", "reason"), _or_none(TEXT)),
    **dict.fromkeys(("kind", "name", "method", "what", "trial", "label", "choice", "slow"), TEXT),
    "reasons": WORDS,
    "on": _or_none(TRUTH),
    "row": WHOLE,
}
"""What is checked of the arguments of commands; others are plain values, and their command checks them."""


def client_of(data: Any) -> str | None:
    """The name of the screen that a message comes from."""
    client = data.get("client") if isinstance(data, Mapping) else None
    return client if isinstance(client, str) and 0 < len(client) <= 64 and client.isprintable() else None


def checked(data: Any, kinds: Sequence[str]) -> tuple[str, Mapping[str, Any]]:
    """A message of one of these kinds, and its kind. Raises ParameterError."""
    if client_of(data) is None:
        raise ParameterError("a message came that names no screen; allowed are those of this page; reload it.")
    kind = data.get("kind")
    if not isinstance(kind, str) or kind not in kinds:
        raise ParameterError(
            f"a message of kind {_shown(kind)} came; allowed: {', '.join(kinds)}; reload the page, for what is shown "
            "may be of another version."
        )
    for name, check in MESSAGES[kind].items():
        _demand(f"{name} of a message {kind!r}", data.get(name, ABSENT), check)
    for name, check in _MORE.items():
        if name in data:
            _demand(f"{name} of a message {kind!r}", data[name], check)
    return kind, data


def check_decision(data: Mapping[str, Any]) -> None:
    """Whether a decision says what is decided, where, and what was seen. Raises DecisionError."""
    parts: dict[str, Check] = {
        "command": TEXT,
        "index": WHOLE,
        "channel": _or_none(TEXT),
        "seen": (lambda value: value is None or isinstance(value, Mapping), "marks by channel, or null"),
        "args": (lambda value: isinstance(value, Mapping), "values by their names"),
        "visible": (lambda value: isinstance(value, Mapping) and "self" not in value, "values by their names"),
    }
    try:
        for name in ("command", "args", "visible"):
            _demand(f"{name} of a decision", data.get(name, ABSENT), parts[name])
        for name, check in parts.items():
            if name in data:
                _demand(f"{name} of a decision", data[name], check)
                _demand_plain(f"{name} of a decision", data[name])
        for name, value in data["args"].items():
            if name in _ARGUMENTS:
                _demand(f"{name} of {data['command']!r}", value, _ARGUMENTS[name])
    except ParameterError as wrong:
        raise DecisionError(str(wrong)) from None


def bound(run: Callable[..., Any], command: str, arguments: Mapping[str, Any], channel: str | None) -> None:
    """DecisionError unless a method of a session takes these arguments, beside the trial, and the channel if any."""
    takes = inspect.signature(run).parameters
    elsewhere = {"self", "trial", "channel"}
    given = elsewhere if channel is not None else elsewhere - {"channel"}
    needed = [name for name, one in takes.items() if one.default is one.empty and name not in given]
    if any(name not in arguments for name in needed) or any(
        name in elsewhere or name not in takes for name in arguments
    ):
        raise DecisionError(
            f"{command!r} came with {', '.join(arguments) or 'nothing'}; needed: {', '.join(needed) or 'nothing'}; "
            "reload the page, for what is shown may be of another version."
        )


def needs(command: str, arguments: Mapping[str, Any], *names: str) -> None:
    """DecisionError unless a command came with arguments of these names."""
    if missing := [name for name in names if name not in arguments]:
        raise DecisionError(
            f"{command!r} came without {', '.join(missing)}; it needs {', '.join(names)}; reload the page, for what is "
            "shown may be of another version."
        )


def _demand(what: str, value: Any, check: Check) -> None:
    if not check[0](value):
        raise ParameterError(f"{what} came as {_shown(value)}; allowed: {check[1]}; nothing was done.")


def _demand_plain(what: str, value: Any, depth: int = 0) -> None:
    """Plain JSON all through: no number that is not finite, nothing too deep or too long."""
    if isinstance(value, Mapping) and depth < _DEPTH:
        for name, part in value.items():
            _demand(f"a name in {what}", name, TEXT)
            _demand_plain(f"{name[:40]} in {what}", part, depth + 1)
    elif isinstance(value, list | tuple) and depth < _DEPTH:
        for part in value:
            _demand_plain(what, part, depth + 1)
    elif not (value is None or isinstance(value, bool) or _number(value) or _text(value)):
        _demand(what, value, (lambda _: False, "finite numbers, text, true, false, null, and lists and names of these"))


def _shown(value: Any) -> str:
    """What came, short: it may be of any length and kind."""
    if value is ABSENT:
        return "nothing"
    if value is None or isinstance(value, str | int | float):
        words = repr(value) if not isinstance(value, int) or abs(value) < _LARGEST else "a number beyond 2**53"
        return words if len(words) <= 80 else f"{words[:60]}… ({len(words)} letters)"
    return f"a {type(value).__name__}"
