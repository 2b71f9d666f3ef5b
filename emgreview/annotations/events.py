"""One decision, one event, one line: the words, the fields, the bytes.

An event is a frozen value. Its line is RFC 8785 canonical JSON in UTF-8, ended by one newline, and holds

    seq         place in its file, from 0
    prev        SHA-256 of the stored bytes of the line before, without its newline; 64 zeros in the first line
    self        SHA-256 of this line's stored bytes, without its newline, the 64 digits of ``self`` itself set to zero
    time        UTC, ISO 8601, milliseconds
    counter     one number a command, over all logs of a reviewer: the order of undo across recordings
    reviewer    a code, never a name
    operation   plain words: "accept", "move", "undo" …
    subject     dataset, participant, recording, channel, trial, burst; null where it does not apply
    showing     1, or 2 … for a trial shown again
    field       which part of the state changes; ``old`` and ``new`` are that part's whole value, in integer samples
    reason      text or null
    visible     what was on screen
    blind       whether condition, participant and trial number were hidden
    target      in "undo" and "redo" alone: the counter of the command that is taken back or done again

One command is always one line, so that a crash can never leave half a command. On reading, digests are taken over the
stored bytes; nothing is serialised again.

    canonical, digest_of        values to bytes, and their digest
    encode, decode              event to line and back
    check_name, check_text      what may stand in a file name, a comment
    Choice and the lists        reasons, cautions, behaviours, kinds, confidences
"""

import hashlib
import json
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from operator import itemgetter
from typing import Any, NamedTuple

import orjson
import rfc8785

from emgreview.errors import DecisionError, LogBrokenError, ParameterError, UnknownNameError
from emgreview.plain_files import DEEPEST, too_deep

SCHEMA = 1
"""Major version of the log format that this module writes."""

LONGEST_LINE = 16 << 20
"""Bytes of a line at most: the longest that is written names every trial of a bulk audit (our own choice)."""

_TOO_MUCH = (
    f"{{}} came for a log; allowed are {LONGEST_LINE} bytes, and lists and objects {DEEPEST} deep; nothing was "
    "written; say less at once."
)
ZEROS = "0" * 64
_SELF = b'"self":"'
_BLANK = ZEROS.encode()
_read = json.JSONDecoder().scan_once  # type: ignore[attr-defined]


class Event(NamedTuple):
    """One line of a log. ``digest`` is the line's ``self``."""

    seq: int
    prev: str
    digest: str
    time: str
    counter: int
    reviewer: str
    operation: str
    subject: Mapping[str, str | None]
    showing: int
    field: str
    old: Any
    new: Any
    reason: str | None
    visible: Mapping[str, Any]
    blind: bool
    target: int | None = None


_names = tuple("self" if name == "digest" else name for name in Event._fields[:-1])
_pick = itemgetter(*_names)
_event = partial(tuple.__new__, Event)  # quicker than the class itself


def now() -> str:
    """The present moment as it is written in a log."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def canonical(value: Any) -> bytes:
    """RFC 8785 canonical JSON. Raises ParameterError where a value has none."""
    return _canonical(value, _same_in_both(value))


def _canonical(value: Any, same: bool) -> bytes:
    try:
        return _quick(value) if same else rfc8785.dumps(value)
    except (rfc8785.CanonicalizationError, orjson.JSONEncodeError, UnicodeEncodeError) as problem:
        raise ParameterError(
            f"this cannot be written to a log: {problem}; allowed are text, true and false, null, finite numbers below "
            "2**53, lists and objects of these; convert it first."
        ) from None


_quick = partial(orjson.dumps, option=orjson.OPT_SORT_KEYS)


_SAME = frozenset((str, bool, type(None)))


def _same_in_both(value: Any) -> bool:
    """Whether orjson, far faster, writes the same bytes: no floats, no large numbers, ASCII keys, nothing but plain
    types."""
    kind = type(value)
    if kind is dict:
        for key, part in value.items():
            if type(key) is not str or not key.isascii() or not (type(part) in _SAME or _same_in_both(part)):
                return False
        return True
    if kind is list:
        return all(map(_same_in_both, value))
    return kind in _SAME or (kind is int and -(1 << 53) < value < 1 << 53)


def digest_of(value: Any) -> str:
    """SHA-256 of a value's canonical JSON; ParameterError where it has none."""
    return hashlib.sha256(canonical(value)).hexdigest()


def encode(fields: Mapping[str, Any]) -> tuple[bytes, Event]:
    """The line of an event, without its newline, and the event. ``fields`` are all but ``self``.

    Raises ParameterError where a value cannot be written as canonical JSON (NaN, whole numbers beyond 2**53, keys that
    are no text), or where a key called "self" holds text, which would hide the place of the digest.
    """
    whole = {**fields, "self": ZEROS}
    try:
        if _same_in_both(whole):
            blank = _canonical(whole, True)
        else:  # what was on screen holds fractions; the rest is quick
            parts = sorted(whole.items())
            blank = b"{" + b",".join(b'"%b":%b' % (name.encode(), canonical(value)) for name, value in parts) + b"}"
    except RecursionError:
        raise ParameterError(_TOO_MUCH.format("a line without end in its lists and objects")) from None
    if blank.count(_SELF) != 1:
        raise ParameterError(
            'a value came with a key called "self" that holds text; in a log it is the digest of a line; rename yours.'
        )
    if len(blank) > LONGEST_LINE or too_deep(blank):
        raise ParameterError(_TOO_MUCH.format(f"a line of {len(blank)} bytes"))
    digest = hashlib.sha256(blank).hexdigest()
    start = blank.index(_SELF) + len(_SELF)
    line = blank[:start] + digest.encode() + blank[start + 64 :]
    return line, to_event({**fields, "self": digest})


def decode(line: bytes) -> tuple[dict[str, Any], bool, str]:
    """The object in a line, whether the line's own digest fits its bytes, and the SHA-256 of these, which the line
    after it names. Raises LogBrokenError if it is none."""
    if len(line) > LONGEST_LINE:
        raise LogBrokenError(f"the line is {len(line)} bytes long; allowed are {LONGEST_LINE}")
    if too_deep(line):
        raise LogBrokenError(f"the line nests lists or objects more than {DEEPEST} deep")
    start = line.rfind(_SELF) + len(_SELF)
    blank = hashlib.sha256(line[:start])
    whole = blank.copy()
    blank.update(_BLANK + line[start + 64 :])
    whole.update(line[start:])
    found = _object(line)
    own = line[start : start + 64].decode(errors="replace")
    if found.get("self") != own or start < len(_SELF):  # a part of a value that is called so is not the line's
        raise LogBrokenError("the line has no digest of itself, or more than one")
    return found, blank.hexdigest() == own, whole.hexdigest()


def _object(line: bytes) -> dict[str, Any]:
    """The object that a line is. What orjson refuses the standard library reads, or says what is wrong with it: it
    takes halves of surrogate pairs, and numbers that are none."""
    try:
        found, end = orjson.loads(line), len(line) if line[:1] + line[-1:] == b"{}" else -1
    except orjson.JSONDecodeError:
        try:
            text = line.decode()
            found, end = _read(text, 0)
            end = len(line) if end == len(text) else -1
        except (ValueError, StopIteration, RecursionError) as problem:
            raise LogBrokenError(f"the line is not JSON: {problem}") from None
    if not isinstance(found, dict) or end != len(line):
        raise LogBrokenError("the line is not one JSON object")
    return found


def to_event(found: Mapping[str, Any]) -> Event:
    """The event in a decoded line. Raises LogBrokenError if a field is missing."""
    try:
        event: Event = _event((*_pick(found), found.get("target")))
        return event
    except KeyError as missing:
        raise LogBrokenError(f"the line has no field {missing}") from None


# What may be said ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Choice:
    """One entry of a list: the number that selects it, the word that is stored, and a hint for people."""

    number: int
    word: str
    hint: str = ""

    @property
    def words(self) -> str:
        return f"{self.word} ({self.hint})" if self.hint else self.word


def _choices(*entries: str | tuple[str, str]) -> tuple[Choice, ...]:
    pairs = [(entry, "") if isinstance(entry, str) else entry for entry in entries]
    return tuple(Choice(number, word, hint) for number, (word, hint) in enumerate(pairs, 1))


REASONS = _choices(
    "mains hum",
    ("lead or movement swing", "<20 Hz"),
    "electrode step, pop or loss of contact",
    "clipped",
    "flat or missing samples/radio drop-out",
    "heart beats",
    ("stimulator artefact", "TMS, nerve, loudspeaker click"),
    "key or tap knock",
    ("other body movement", "talk, cough, posture"),
    "marker or timing fault",
    "experimenter's note",
    ("other", "text required"),
)
"""Why a signal is unusable, or a stretch set aside. "other" is given with its text: "other: strap slipped"."""

CAUTIONS = _choices(
    "not relaxed before go",
    "tremor/rhythmic",
    "neighbour suspected",
    ("weak", "SNR < 10 dB"),
    "ramp without clear start",
)
"""Why a usable signal asks for caution."""

BEHAVIOURS = _choices(
    "as instructed",
    ("anticipation", "before go, or earlier than declared minimum"),
    "no response",
    "late",
    "wrong effector",
    "small wrong-side burst then correct",
    "double response",
    "response to warning",
    "catch trial answered",
    "other movement",
)
"""What the participant did in a trial."""

KINDS = _choices("response", "early small", "other hand", "braking", "tonic", "MEP", "after-discharge")
"""What a burst is."""

CONFIDENCES = _choices("sure", "fairly", "unsure")
"""How sure the reviewer is."""


def check_choice(what: str, came: object, allowed: Sequence[Choice]) -> str:
    """A word of a list, or UnknownNameError."""
    if came in (words := [choice.word for choice in allowed]):
        return words[words.index(str.__str__(came))]  # the list's own, whatever its class says
    raise UnknownNameError(what, came, words)


def check_reasons(came: Sequence[str], allowed: Sequence[Choice], what: str = "reason") -> list[str]:
    """Reasons from a list, the main one first, each once; at least one. "other" needs its text: "other: …"."""
    if isinstance(came, str):
        came = [came]
    came = list(came) if isinstance(came, Iterable) else [came]
    if wrong := [one for one in came if not isinstance(one, str)]:
        raise DecisionError(f"a {what} came as {wrong[0]!r}; allowed: text; give reasons=[...], the main one first.")
    if not came:
        raise DecisionError(
            f"no {what} came; at least one is needed: {', '.join(choice.word for choice in allowed)}; "
            "give reasons=[...], the main one first."
        )
    other = any(choice.word == "other" for choice in allowed)
    checked = []
    for reason in came:
        head, _, text = plain_text(reason).partition(":")
        if other and head.strip() == "other":
            if not text.strip():
                raise DecisionError(
                    "reason 'other' came without text; say what it was, for example 'other: strap slipped'."
                )
            checked.append(f"other: {check_text(text.strip())}")
        else:
            checked.append(check_choice(what, reason, allowed))
    return list(dict.fromkeys(checked))


LONGEST_TEXT = 10_000
"""Letters of a comment, a reason or another text that a person gives; logs that hold longer ones can be read."""


def check_text(came: str, most: int | None = LONGEST_TEXT) -> str:
    """A comment as it came. Control characters, line breaks among them, and lone surrogates are refused, and so are
    more than ``most`` letters.

    Every other text is kept as data, unchanged, a leading "=" included.
    """
    if not isinstance(came, str):
        raise DecisionError(f"{came!r} came as a text; allowed: text in quotes; correct it.")
    if most is not None and len(came) > most:
        raise DecisionError(
            f"a text of {len(came)} letters came, which begins with {came[:40]!r}; at most {most} are allowed; shorten "
            "it."
        )
    for letter in came:
        if unicodedata.category(letter) in ("Cc", "Cs", "Zl", "Zp"):
            raise DecisionError(
                f"the text holds a control character or line break (U+{ord(letter):04X}); one line of ordinary text is "
                "allowed; replace it, for example by a space."
            )
    return plain_text(came)


def plain_text(text: str) -> str:
    """The letters of a text alone: a class that is text, as numpy has one, may call itself otherwise."""
    return str.__str__(text)


def check_reviewer(came: str) -> str:
    """A reviewer code: 1 to 32 ASCII letters, digits and hyphens, a letter or digit first."""
    if isinstance(came, str) and re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9-]{0,31}", came):
        return plain_text(came)
    raise ParameterError(
        f"reviewer code {came!r} cannot be used; allowed are 1 to 32 letters a-z, digits and hyphens, because it "
        "becomes part of a file name; use a code such as 'r1', not a name."
    )


def check_name(what: str, came: str) -> str:
    """A name that becomes part of a file name on every system, or ParameterError."""
    good = (
        isinstance(came, str)
        and 0 < len(came.encode(errors="replace")) <= 150
        and came == came.strip(" .")
        and not any(
            letter in '/\\<>:"|?*' or unicodedata.category(letter) in ("Cc", "Cs", "Zl", "Zp") for letter in came
        )
    )
    if good:
        return plain_text(came)
    raise ParameterError(
        f'{what} {came!r} cannot be part of a file name; allowed are 1 to 150 bytes without / \\ < > : " | ? *, '
        "control characters, or a space or dot at either end; rename it."
    )
