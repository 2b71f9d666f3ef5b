"""The keys of a trial review: one table for every front end. A new key is a new line here.

Codes are the physical key positions of the W3C standard "UI Events KeyboardEvent code Values", so that a key stays
where the hand expects it on every layout. Left hand: decisions; right hand: the mark. A command that
:meth:`Session.apply` knows is a decision; the others are moves of the view (``nudge``, ``gain_up`` …), which front ends
carry out themselves.

    KEYS            the default table of a trial review
    SETTLE_KEYS     the further keys of an adjudication
    LONG_KEYS       that of the long view; its groups DECIDING need a session
    PEOPLE_KEYS     that of the view of people
    key_table       a table for either hand, with changes
    by_former_name  handedness, also by the name it had before
"""

import dataclasses
import re
import warnings
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from emgreview.errors import ParameterError, UnknownNameError


@dataclass(frozen=True, slots=True)
class Key:
    """One key: its ``code``, with or without shift, the command with its arguments, its words on the key card.

    ``button`` holds the words of its button ("" for none); ``repeat`` says whether holding it repeats, ``goes_on``
    whether the screen then goes on to the next open channel.
    """

    code: str
    command: str
    words: str
    group: str
    button: str = ""
    shift: bool = False
    repeat: bool = False
    goes_on: bool = False
    arguments: Mapping[str, Any] = dataclasses.field(default_factory=dict)

    @property
    def name(self) -> str:
        """The command, then its argument where it has one: "accept", "confidence sure", "nudge +1 ms", "zoom 0.5"."""
        return " ".join([self.command, *(_spelt(what, value) for what, value in self.arguments.items())])


def _spelt(what: str, value: Any) -> str:
    if isinstance(value, str):
        return value
    return f"{value * 1000:+g} ms" if what.endswith("_s") else f"{value:g}"


def _step(command: str, what: str, code: str, milliseconds: int, *, shift: bool = False) -> Key:
    when = "later" if milliseconds > 0 else "earlier"
    words = f"{what} {abs(milliseconds)} ms {when}" + (", a sample at least" if abs(milliseconds) == 1 else "")
    button = "" if shift else f"{milliseconds:+d} ms".replace("-", "−")
    step = {"by_s": milliseconds / 1000}
    return Key(code, command, words, "The mark", button, shift=shift, repeat=True, arguments=step)


_STEPS = (("KeyJ", -10), ("KeyK", -1), ("KeyL", 1), ("Semicolon", 10))


KEYS: tuple[Key, ...] = (
    Key("KeyF", "accept", "accept the mark where it stands, go on", "Decide", "accept", goes_on=True),
    Key(
        "KeyG",
        "accept_rest",
        "the same for all its open channels that can be judged",
        "Decide",
        "accept the rest",
        goes_on=True,
    ),
    Key("KeyD", "none_visible", "no activity visible, go on", "Decide", "none visible", goes_on=True),
    Key("KeyW", "not_locatable", "active, but the onset cannot be located", "Decide", "not locatable …", goes_on=True),
    Key("KeyS", "unusable", "signal unusable: say why, go on", "Decide", "unusable …", goes_on=True),
    Key("KeyS", "same_reasons", "unusable for the same reasons as last, go on", "Decide", shift=True),
    Key("KeyA", "caution", "signal usable with caution: say why", "Decide", "caution …"),
    Key("KeyQ", "usable", "signal usable after all", "Decide", "usable"),
    Key("Digit1", "confidence", "sure of this mark", "Decide", "sure", arguments={"confidence": "sure"}),
    Key("Digit2", "confidence", "fairly sure", "Decide", "fairly", arguments={"confidence": "fairly"}),
    Key("Digit3", "confidence", "unsure", "Decide", "unsure", arguments={"confidence": "unsure"}),
    *(_step("nudge", "mark", code, by) for code, by in _STEPS),
    *(_step("cursor", "cursor", code, by, shift=True) for code, by in _STEPS),
    Key(
        "KeyM", "to_cursor", "selected mark to the cursor (adds an onset where there is none)", "The mark", "to cursor"
    ),
    Key("KeyO", "switch_side", "select the onset or the offset, or not before or not after", "The mark", "other side"),
    Key("KeyI", "next_burst", "select the next burst", "The mark", "next burst"),
    Key("KeyE", "add", "add a burst at the cursor; its offset is then selected", "The mark", "add"),
    Key("KeyR", "remove", "remove the selected burst", "The mark", "remove"),
    Key("KeyH", "kind", "say what kind of burst it is", "The mark", "kind …"),
    Key("KeyH", "half_width", "how far its onset may lie to either side, in ms", "The mark", "own ± ms …", shift=True),
    Key("KeyB", "behaviour", "what the person did in this trial", "Trial", "behaviour …"),
    Key("KeyC", "comment", "comment on this channel", "Trial", "comment …"),
    Key("KeyC", "comment_trial", "comment on the whole trial", "Trial", shift=True),
    Key("KeyT", "discuss", "to be discussed, or no longer", "Trial", "discuss"),
    Key("KeyT", "discuss_trial", "the whole trial to be discussed, or no longer", "Trial", "discuss trial", shift=True),
    Key("KeyP", "copy_to_all", "signal and verdict of this channel to all channels", "Trial", "to all channels"),
    Key("KeyU", "undo", "take back the last decision, wherever it was", "Trial", "undo"),
    Key("KeyU", "redo", "take it again", "Trial", "redo", shift=True),
    Key(
        "KeyX",
        "exclude",
        "exclude this channel, recording or participant, or readmit it",
        "Study",
        "exclude …",
        shift=True,
    ),
    Key("KeyY", "seal", "seal the decisions so far as a named version", "Study", "seal …"),
    Key("KeyM", "change_method", "find the onsets by another method from now on", "Study", "method …", shift=True),
    Key("ArrowRight", "next_trial", "next trial", "Go", repeat=True),
    Key("ArrowLeft", "previous_trial", "previous trial", "Go", repeat=True),
    Key("ArrowDown", "next_channel", "next channel", "Go", repeat=True),
    Key("ArrowUp", "previous_channel", "previous channel", "Go", repeat=True),
    Key("KeyN", "next_unreviewed", "next trial that is not reviewed, of those stepped through", "Go", "next open"),
    Key("Slash", "go_to", "go to a trial by its number", "Go", "trial number …"),
    Key("Backquote", "list", "choose which trials to step through, and in what order", "Go", "step through …"),
    Key("PageDown", "next_row", "next row of the overview", "Go", repeat=True),
    Key("PageUp", "previous_row", "previous row of the overview", "Go", repeat=True),
    Key("KeyX", "gain_up", "traces twice as high", "View", "higher"),
    Key("KeyZ", "gain_down", "traces half as high", "View", "lower"),
    Key("KeyV", "span", "whole trial, or close up around the cue", "View", "close up"),
    Key("Comma", "overview", "overview of this channel: show or hide", "View", "overview"),
    Key("Period", "sort", "sort the overview another way", "View", "sort"),
    Key("BracketLeft", "spectrum", "spectrum of burst and rest: show or hide", "View", "spectrum"),
    Key("BracketRight", "smear", "what the envelope makes of a step, at the cursor", "View", "filter smear"),
    Key("Quote", "listen", "hear the selected burst, or what is shown if there is none", "View", "hear"),
    Key("Backslash", "read_out", "every number in ms but those of the axis: show or hide", "View", "read-out"),
    Key("KeyQ", "convention", "the marking convention of this study", "View", "convention", shift=True),
    Key("KeyB", "unblind", "show condition and participant; this is logged", "View", shift=True),
    Key(
        "KeyW", "words", "every word of this trial in full, for what is cut on the screen", "View", "words", shift=True
    ),
    Key("Slash", "key_card", "this card", "View", shift=True),
)
"""Default keys: physical positions, left hand for decisions, right hand for the mark."""

_PAIRS = ("FJ", "DK", "SL", "GH", "RU", "EI", "WO", "QP", "TY", "VM", "BN")
_MIRRORED: Mapping[str, str] = {
    **{f"Key{pair[0]}": f"Key{pair[1]}" for pair in _PAIRS},
    **{f"Key{pair[1]}": f"Key{pair[0]}" for pair in _PAIRS},
    **{"KeyA": "Semicolon", "Semicolon": "KeyA", "KeyC": "Comma", "Comma": "KeyC", "KeyX": "Period", "Period": "KeyX"},
    **{"KeyZ": "Slash", "Slash": "KeyZ"},
}


SETTLE_KEYS: tuple[Key, ...] = (
    Key(
        "Space",
        "settle",
        "settle this dispute: A, B, both acceptable, or not at all",
        "Decide",
        "settle …",
        goes_on=True,
    ),
    Key(
        "Space", "settle_trial", "the same for what is disputed about the whole trial", "Decide", "trial …", shift=True
    ),
)
"""Further keys of an adjudication."""

_CODES = re.compile(
    "Key[A-Z]|Digit[0-9]|F[1-9]|F1[0-2]|Arrow(Left|Right|Up|Down)|Page(Up|Down)|Home|End|Insert|Delete|Backspace|Space|"
    "Enter|Escape|Backquote|Minus|Equal|BracketLeft|BracketRight|Backslash|Semicolon|Quote|Comma|Period|Slash|"
    "Intl(Backslash|Ro|Yen)"
)
"""Codes that a key can have; digits of a number pad count as digits, Tab belongs to the browser."""


def by_former_name(
    handedness: Literal["right", "left"], hand: Literal["right", "left"] | None
) -> Literal["right", "left"]:
    """The handedness, also where it came as ``hand``, as it was called before."""
    if hand is None:
        return handedness
    warnings.warn("hand is now called handedness; write that, hand will go.", DeprecationWarning, stacklevel=3)
    return hand


def key_table(
    handedness: Literal["right", "left"] = "right",
    changes: Mapping[str, str] | None = None,
    keys: tuple[Key, ...] = KEYS,
) -> tuple[Key, ...]:
    """The keys to use: for the mark under the right hand, or mirrored for the left, then with changes.

    ``changes`` maps a command to another code ("accept": "Space"), or to "Shift+" and a code. A command with several
    keys is named with its argument as in :attr:`Key.name`: "nudge +1 ms", "cursor -10 ms", "confidence sure". All
    changes count together, so two keys can be swapped. Raises ParameterError where two commands would share a key, for
    a command with several keys that came without its argument, and for a code that no key has; UnknownNameError for a
    command that has no key.
    """
    if handedness not in ("right", "left"):
        raise ParameterError(
            f"handedness came as {handedness!r}; allowed: 'right' or 'left', the hand that moves the mark."
        )
    table = list(keys)
    if handedness == "left":
        table = [dataclasses.replace(key, code=_MIRRORED.get(key.code, key.code)) for key in table]
    for name, place in (changes or {}).items():
        where = _find_key(table, name)
        code, shift = place.removeprefix("Shift+"), place.startswith("Shift+")
        if not _CODES.fullmatch(code):
            raise ParameterError(
                f"the key for {name!r} came as {place!r}; allowed: the code of a physical key, such as 'KeyK', "
                "'Digit4', 'Space' or 'Semicolon', with or without 'Shift+' before it."
            )
        table[where] = dataclasses.replace(table[where], code=code, shift=shift)
    taken: dict[tuple[str, bool], Key] = {}
    for key in table:
        other = taken.setdefault((key.code, key.shift), key)
        if other is not key:
            raise ParameterError(
                f"{'Shift+' if key.shift else ''}{key.code} came for both {other.name!r} and {key.name!r}; "
                "a key has one command; change one of them."
            )
    return tuple(table)


def _find_key(table: list[Key], name: str) -> int:
    """The place of the one key that has this name, or this command."""
    places: dict[str, list[int]] = defaultdict(list)
    for place, key in enumerate(table):
        for called in {key.name, key.command}:
            places[called].append(place)
    if name not in places:
        raise UnknownNameError("command with a key", name, [key.name for key in table])
    if len(places[name]) > 1:
        names = ", ".join(repr(table[place].name) for place in places[name])
        raise ParameterError(f"command {name!r} came, which has several keys; name one of them: {names}.")
    return places[name][0]


def _kind(code: str, kind: str, button: str) -> tuple[Key, Key]:
    one = {"kind": kind}
    return (
        Key(code, "show", f"show this channel {kind}", "This channel", button, arguments=one),
        Key(code, "show_all", f"show all channels {kind}", "All channels", shift=True, arguments=one),
    )


def _by(command: str, **arguments: float) -> Mapping[str, Any]:
    return {"command": command, "repeat": True, "arguments": arguments}


LONG_KEYS: tuple[Key, ...] = (
    Key("ArrowRight", words="a quarter of the view later", group="Go", **_by("pan", widths=0.25)),
    Key("ArrowLeft", words="a quarter of the view earlier", group="Go", **_by("pan", widths=-0.25)),
    Key("ArrowRight", words="a whole view later", group="Go", shift=True, **_by("pan", widths=1.0)),
    Key("ArrowLeft", words="a whole view earlier", group="Go", shift=True, **_by("pan", widths=-1.0)),
    Key("Home", "start", "to the start of the recording", "Go", "start"),
    Key("End", "end", "to the end of the recording", "Go", "end"),
    Key("KeyB", "previous_marker", "to the marker before the cursor", "Go", "marker before", repeat=True),
    Key("KeyN", "next_marker", "to the next marker", "Go", "next marker", repeat=True),
    Key("KeyT", "marker_list", "choose from all markers", "Go", "markers …"),
    Key("Slash", "go_to", "go to a time", "Go", "time …"),
    Key("ArrowDown", "next_channel", "next channel", "Go", repeat=True),
    Key("ArrowUp", "previous_channel", "previous channel", "Go", repeat=True),
    Key("Equal", words="zoom in", group="Time", button="in", **_by("zoom", factor=0.5)),
    Key("Minus", words="zoom out", group="Time", button="out", **_by("zoom", factor=2.0)),
    Key("KeyV", "usual_span", "the usual span of time", "Time", "usual span"),
    Key("KeyW", "whole", "the whole recording", "Time", "whole"),
    *_kind("Digit1", "raw", "raw"),
    *_kind("Digit2", "band-passed", "band-passed"),
    *_kind("Digit3", "rectified", "rectified"),
    *_kind("Digit4", "envelope", "envelope"),
    Key("KeyX", "gain", "this channel twice as high", "This channel", "higher", arguments={"factor": 2.0}),
    Key("KeyZ", "gain", "this channel half as high", "This channel", "lower", arguments={"factor": 0.5}),
    Key("KeyX", "gain_all", "all channels twice as high", "All channels", shift=True, arguments={"factor": 2.0}),
    Key("KeyZ", "gain_all", "all channels half as high", "All channels", shift=True, arguments={"factor": 0.5}),
    Key(
        "Digit0", "gain_all", "all channels at their usual gain", "All channels", "usual gain", arguments={"factor": 0}
    ),
    Key("KeyJ", words="cursor 10 ms earlier", group="Cursor", **_by("cursor", by_s=-0.01)),
    Key("KeyK", words="cursor 1 ms earlier", group="Cursor", **_by("cursor", by_s=-0.001)),
    Key("KeyL", words="cursor 1 ms later", group="Cursor", **_by("cursor", by_s=0.001)),
    Key("Semicolon", words="cursor 10 ms later", group="Cursor", **_by("cursor", by_s=0.01)),
    Key(
        "KeyK",
        words="cursor a fortieth of the view earlier",
        group="Cursor",
        shift=True,
        **_by("cursor", widths=-0.025),
    ),
    Key("KeyL", words="cursor a fortieth of the view later", group="Cursor", shift=True, **_by("cursor", widths=0.025)),
    Key("KeyW", "words", "every word of what is in view, for what is cut on the screen", "Time", "words", shift=True),
    Key("Slash", "key_card", "this card", "Cursor", shift=True),
    Key(
        "BracketLeft",
        "edge",
        "start of what is selected to the cursor; or a stretch begins there",
        "Mark",
        "start",
        arguments={"side": 0},
    ),
    Key("BracketRight", "edge", "end of the selected stretch to the cursor", "Mark", "end", arguments={"side": 1}),
    Key("KeyO", "switch_side", "move its start, its end, or the cursor", "Mark", "start/end"),
    Key("KeyI", "next_mark", "select the next burst of this channel", "Mark", "next burst"),
    Key("KeyE", "mark_burst", "the selected stretch is a burst", "Mark", "burst"),
    Key("KeyH", "burst_kind", "say what kind of burst it is", "Mark", "kind …"),
    Key("KeyR", "remove", "remove the selected burst", "Mark", "remove"),
    Key("KeyS", "set_aside", "set the selected stretch aside: say why", "Mark", "set aside …"),
    Key("Escape", "let_go", "select nothing", "Mark"),
    Key("KeyM", "correct_cue", "the nearest cue belongs at the cursor (late)", "Cues", "cue to cursor …"),
    Key("KeyQ", "no_cue", "the nearest cue is none (double), or stands again", "Cues", "no cue …"),
    Key("KeyY", "add_cue", "a cue is missing at the cursor", "Cues", "missing cue …"),
    Key("KeyU", "undo", "take back the last decision, wherever it was", "Cues", "undo"),
    Key("KeyU", "redo", "take it again", "Cues", shift=True),
)
"""Default keys of the long view."""

DECIDING = ("Mark", "Cues")
"""Groups of LONG_KEYS that need a session."""

PEOPLE_KEYS: tuple[Key, ...] = (
    Key("ArrowDown", "next_person", "next person of the table", "People", repeat=True),
    Key("ArrowUp", "previous_person", "person before", "People", repeat=True),
    Key("Home", "first_person", "first person of the table", "People"),
    Key("End", "last_person", "last person of the table", "People"),
    Key("KeyF", "next_flagged", "next person with a flag", "People", "next flag"),
    Key("KeyF", "previous_flagged", "flagged person before", "People", shift=True),
    Key("Slash", "go_to", "choose a person by name", "People", "name …"),
    Key("KeyU", "unlike", "choose among those most unlike the others", "People", "most unlike …"),
    Key("KeyR", "rules", "the rules behind the flags, with their limits", "People", "rules"),
    Key("KeyS", "sort", "sort the table by a column", "Table", "sort …"),
    Key("KeyS", "turn_round", "the same column the other way round", "Table", shift=True),
    Key("KeyO", "flagged_first", "flagged people first, as at the start", "Table", "flagged first"),
    Key("PageDown", "next_page", "next page of people", "Table", repeat=True),
    Key("PageUp", "previous_page", "page of people before", "Table", repeat=True),
    Key("KeyC", "next_channel", "next channel", "Channel", "next channel", repeat=True),
    Key("KeyC", "previous_channel", "channel before", "Channel", shift=True, repeat=True),
    *(Key(f"Digit{n}", "channel", f"channel {n}", "Channel", arguments={"number": n}) for n in range(1, 10)),
    Key("KeyX", "own_scale", "each person on a scale of their own, or all on one", "Channel", "own scales"),
    Key("ArrowRight", "next_trial", "next trial of this person", "Trial", repeat=True),
    Key("ArrowLeft", "previous_trial", "trial before", "Trial", repeat=True),
    Key("ArrowRight", "slower_trial", "trial with the next later response", "Trial", shift=True, repeat=True),
    Key("ArrowLeft", "faster_trial", "trial with the next earlier response", "Trial", shift=True, repeat=True),
    Key("KeyT", "next_named", "next trial that a flag names", "Trial", "flagged trial", repeat=True),
    Key("Enter", "open", "open this trial in the review", "Trial", "open in the review"),
    Key("Enter", "back", "from the review back to the people", "Trial", shift=True),
    Key("Escape", "let_go", "choose no trial", "Trial"),
    Key("KeyW", "words", "every word and number of this person in full", "Trial", "words", shift=True),
    Key("Slash", "key_card", "this card", "Trial", shift=True),
)
"""Default keys of the view of people."""
