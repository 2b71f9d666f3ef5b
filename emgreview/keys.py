"""The keys of a trial review: one table for every front end. A new key is a new line here.

Codes are the physical key positions of the W3C standard "UI Events KeyboardEvent code Values", so that a key stays
where the hand expects it on every layout. Left hand: decisions; right hand: the mark. A command that
:meth:`Session.apply` knows is a decision; the others are moves of the view (``nudge``, ``gain_up`` …), which front ends
carry out themselves.
"""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


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


def _nudge(code: str, milliseconds: int) -> Key:
    when = "later" if milliseconds > 0 else "earlier"
    words = f"mark {abs(milliseconds)} ms {when}"
    step = {"by_s": milliseconds / 1000}
    return Key(code, "nudge", words, "The mark", f"{milliseconds:+d} ms", repeat=True, arguments=step)


KEYS: tuple[Key, ...] = (
    Key("KeyF", "accept", "accept the mark where it stands, go on", "Decide", "accept", goes_on=True),
    Key("KeyG", "accept_rest", "the same for all its open channels", "Decide", "accept the rest", goes_on=True),
    Key("KeyD", "none_visible", "no activity visible, go on", "Decide", "none visible", goes_on=True),
    Key("KeyW", "not_locatable", "active, but the onset cannot be located", "Decide", "not locatable …", goes_on=True),
    Key("KeyS", "unusable", "signal unusable: say why, go on", "Decide", "unusable …", goes_on=True),
    Key("KeyA", "caution", "signal usable with caution: say why", "Decide", "caution …"),
    Key("KeyQ", "usable", "signal usable after all", "Decide", "usable"),
    Key("Digit1", "confidence", "sure of this mark", "Decide", "sure", arguments={"confidence": "sure"}),
    Key("Digit2", "confidence", "fairly sure", "Decide", "fairly", arguments={"confidence": "fairly"}),
    Key("Digit3", "confidence", "unsure", "Decide", "unsure", arguments={"confidence": "unsure"}),
    _nudge("KeyJ", -10),
    _nudge("KeyK", -1),
    _nudge("KeyL", 1),
    _nudge("Semicolon", 10),
    Key("KeyM", "to_cursor", "mark to the cursor (adds an onset where there is none)", "The mark", "to cursor"),
    Key("KeyO", "switch_side", "take the onset or the offset in hand", "The mark", "onset/offset"),
    Key("KeyI", "next_burst", "take the next burst in hand", "The mark", "next burst"),
    Key("KeyE", "add", "add a burst at the cursor", "The mark", "add"),
    Key("KeyR", "remove", "remove the burst in hand", "The mark", "remove"),
    Key("KeyH", "kind", "say what kind of burst it is", "The mark", "kind …"),
    Key("KeyB", "behaviour", "what the person did in this trial", "Trial", "behaviour …"),
    Key("KeyC", "comment", "comment on this channel", "Trial", "comment …"),
    Key("KeyT", "discuss", "to be discussed, or no longer", "Trial", "discuss"),
    Key("KeyP", "copy_to_all", "signal and verdict of this channel to all channels", "Trial", "to all channels"),
    Key("KeyU", "undo", "take back the last decision, wherever it was", "Trial", "undo"),
    Key("KeyU", "redo", "take it again", "Trial", "redo", shift=True),
    Key("KeyY", "seal", "seal the decisions so far as a named version", "Trial", "seal …"),
    Key("ArrowRight", "next_trial", "next trial", "Go", repeat=True),
    Key("ArrowLeft", "previous_trial", "previous trial", "Go", repeat=True),
    Key("ArrowDown", "next_channel", "next channel", "Go", repeat=True),
    Key("ArrowUp", "previous_channel", "previous channel", "Go", repeat=True),
    Key("KeyN", "next_unreviewed", "next trial that is not reviewed", "Go", "next open"),
    Key("Slash", "go_to", "go to a trial by its number", "Go", "trial number …"),
    Key("KeyX", "gain_up", "traces twice as high", "View", "higher"),
    Key("KeyZ", "gain_down", "traces half as high", "View", "lower"),
    Key("KeyV", "span", "whole trial, or close up around the cue", "View", "close up"),
    Key("Slash", "key_card", "this card", "View", shift=True),
)
"""Default keys: physical positions, left hand for decisions, right hand for the mark."""
