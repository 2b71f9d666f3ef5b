"""What a decision field is: everything that is particular to it, in one value that stands in its module.

Field           a field
Merging         what becomes of it where two reviewers have decided
Change          one change from one point of the logs to another
Compared        what a field sees of both points when it is asked what changed
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from emgreview.errors import DecisionError

Where = str
"""Of what a field is: one of CHANNEL, TRIAL, RECORDING, PARTICIPANT."""

CHANNEL, TRIAL, RECORDING, PARTICIPANT = "channel of a trial", "trial", "recording", "participant"


class Change(NamedTuple):
    """One change. ``what`` is a word of :attr:`Field.words`; ``old`` and ``new`` are values as in the log (samples,
    words), None where there is none; ``moved_ms`` for marks and cues; ``counter`` the command that the newer value
    stems from."""

    recording: str
    trial: str | None
    channel: str | None
    burst: str | None
    what: str
    old: Any
    new: Any
    moved_ms: float | None
    counter: int | None


class ByName:
    """A value whose parts can be had by the names that they have in a log, too, as in value["state"]."""

    __slots__ = ()

    def __getitem__(self, name: str) -> Any:
        return getattr(self, name)


@dataclass(frozen=True, slots=True)
class Compared:
    """One field at two points of the logs. ``change(what, old, new)`` makes a Change of it; ``moved`` gives what is
    moved in milliseconds. ``signals`` are the channel's signal at both points, ``in_bulk`` whether the newer value was
    accepted by nobody's eyes; of use to activities alone."""

    old: Any
    new: Any
    change: Callable[..., Change]
    signals: tuple[Any, Any]
    in_bulk: bool


@dataclass(frozen=True, slots=True)
class Merging:
    """What becomes of a field where two reviewers have decided.

    ``clash`` says why two different values cannot both stand, "" where they can; ``join`` makes one of two that can,
    and what lies between two that are both acceptable, or raises DecisionError; ``how`` says so in words. ``midway``:
    whether what was joined lies between the two. ``disputable``: two different values can be in dispute, so that a
    third settles them; of other fields both are kept. ``row``: what a row of the table calls it where it says who
    decided what.
    """

    join: Callable[[Any, Any], Any]
    how: str
    clash: Callable[[Any, Any, float], str] = lambda a, b, within: ""
    midway: Callable[[Any, Any], bool] = lambda a, b: False
    disputable: bool = False
    row: str = ""


def _as_it_is(value: Any) -> Any:
    return value


def _no_cells(*_: Any) -> dict[str, Any]:
    return {}


def _changed(name: str) -> Callable[[Compared], Iterator[Change]]:
    def changes(seen: Compared) -> Iterator[Change]:
        yield seen.change(f"{name} changed")

    return changes


@dataclass(frozen=True)
class Field:
    """A decision field.

    ``name`` is that in the log, ``of`` what it belongs to (a trial's comment belongs to ``also`` a trial). ``default``
    is what holds where nobody has decided. ``read`` makes the frozen value of the plain one in a log, ``write`` the
    plain one; None is None in both. ``say`` checks what a person says and gives the value, for a field that is set as a
    whole; it then is a command of its own, called like the field, and screens show its value by :attr:`in_words`;
    ``shown`` says it otherwise than "name: value". ``words`` holds every kind of change, for one and for
    several; ``detailed`` those whose new values are told; ``changes`` finds them. ``columns`` are those of the table of
    decisions, type and meaning, and ``cells`` gives them for a row (trial, channel, burst or None). ``merging`` None:
    the field is kept out of merging by trial and channel.
    """

    name: str
    of: Where
    also: Where = ""
    default: Any = None
    read: Callable[[Any], Any] = _as_it_is
    write: Callable[[Any], Any] = _as_it_is
    say: Callable[[Any], Any] | None = None
    shown: Callable[[Any], str] | None = None
    words: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    detailed: tuple[str, ...] = ()
    changes: Callable[[Compared], Iterator[Change]] | None = None
    columns: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    cells: Callable[..., Mapping[str, Any]] = _no_cells
    merging: Merging | None = None

    @property
    def finds_changes(self) -> Callable[[Compared], Iterator[Change]]:
        return self.changes or _changed(self.name)

    @property
    def in_words(self) -> Callable[[Any], str] | None:
        """What a screen says of a value; None: it shows the field in a way of its own."""
        return self.shown or (None if self.say is None else lambda value: f"{self.name}: {value}")

    def is_of(self, where: Where) -> bool:
        return where in (self.of, self.also)


def one_word(row: str, about: str) -> Merging:
    """Of two words on one thing nothing lies between: where they differ, they are in dispute."""

    def nothing_between(a: str, b: str) -> Any:
        raise DecisionError(
            f"'both acceptable' came for two words about {about}, and nothing lies between them; choose one, say it "
            "yourself, or say 'cannot be settled'."
        )

    def clash(a: str, b: str, within: float) -> str:
        return " against ".join(sorted([a, b]))

    return Merging(join=nothing_between, how="", clash=clash, disputable=True, row=row)


def given_or_back(given: str, back: str) -> Callable[[Compared], Iterator[Change]]:
    """The changes of a field that is given or taken back."""

    def changes(seen: Compared) -> Iterator[Change]:
        yield seen.change(given if seen.new else back)

    return changes


def between(a: int | None, b: int | None) -> Any:
    """The sample between two, halves later; the one where only one is there."""
    return (a + b + 1) // 2 if a is not None and b is not None else b if a is None else a
