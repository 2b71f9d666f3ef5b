"""The key table: one command a key, either hand, changes that cannot collide."""

import pytest

from emgreview.errors import ParameterError, UnknownNameError
from emgreview.keys import KEYS, LONG_KEYS, PEOPLE_KEYS, SETTLE_KEYS, by_former_name, key_table
from emgreview.session import COMMANDS

VIEW_COMMANDS = {
    "nudge", "cursor", "to_cursor", "switch_side", "next_burst", "same_reasons", "comment_trial", "discuss_trial",
    "seal", "next_trial", "previous_trial", "next_channel", "previous_channel", "next_unreviewed", "go_to", "list",
    "next_row", "previous_row", "gain_up", "gain_down", "span", "overview", "sort", "spectrum", "smear",
    "change_method", "listen", "read_out", "convention", "unblind", "words", "key_card",
}  # fmt: skip


@pytest.mark.parametrize("hand", ["right", "left"])
def test_every_key_has_one_command(hand):
    places = [(key.code, key.shift) for key in key_table(hand)]
    assert len(places) == len(set(places)) == len(KEYS)


def test_every_command_of_a_key_exists():
    assert {key.command for key in KEYS} <= set(COMMANDS) | VIEW_COMMANDS


def test_the_left_hand_set_is_the_mirror_and_twice_mirrored_is_the_same():
    left = {key.command: key.code for key in key_table("left") if not key.shift and not key.arguments}
    assert (left["accept"], left["none_visible"], left["unusable"]) == ("KeyJ", "KeyK", "KeyL")
    assert key_table("left", keys=key_table("left")) == KEYS


def test_a_decision_never_repeats_while_a_key_is_held():
    assert not [key for key in KEYS if key.repeat and key.command in COMMANDS]


def test_changes_are_taken_or_refused_with_the_reason():
    changed = key_table(changes={"accept": "Space", "seal": "Shift+KeyY"})
    assert [(key.code, key.shift) for key in changed if key.command == "accept"] == [("Space", False)]
    with pytest.raises(ParameterError, match="KeyD came for both 'accept' and 'none_visible'"):
        key_table(changes={"accept": "KeyD"})
    with pytest.raises(UnknownNameError, match="Did you mean 'accept'"):
        key_table(changes={"acept": "Space"})
    with pytest.raises(ParameterError, match="'right' or 'left'"):
        key_table("both")


def test_a_command_with_several_keys_is_changed_by_its_argument():
    changes = {
        "nudge +1 ms": "KeyK",
        "nudge -1 ms": "KeyL",
        "cursor +1 ms": "Shift+Period",
        "confidence sure": "Digit7",
    }
    places = {key.name: (key.code, key.shift) for key in key_table(changes=changes)}
    assert (places["nudge +1 ms"], places["nudge -1 ms"]) == (("KeyK", False), ("KeyL", False)), "not swapped"
    assert (places["cursor +1 ms"], places["confidence sure"]) == (("Period", True), ("Digit7", False))
    assert places["nudge +10 ms"] == ("Semicolon", False)
    with pytest.raises(ParameterError, match=r"several keys; name one of them: 'nudge -10 ms', 'nudge -1 ms'"):
        key_table(changes={"nudge": "KeyK"})
    with pytest.raises(UnknownNameError, match=r"Did you mean 'nudge \+1 ms'"):
        key_table(changes={"nudge +11 ms": "KeyK"})
    assert key_table(changes={"zoom 2": "BracketLeft", "edge 0": "Minus"}, keys=LONG_KEYS)


@pytest.mark.parametrize("table", [KEYS, LONG_KEYS, PEOPLE_KEYS, (*SETTLE_KEYS, *KEYS)])
def test_no_two_keys_have_one_name_or_one_place(table):
    assert len({key.name for key in table}) == len(table)
    assert len({(key.code, key.shift) for key in table}) == len(table)


@pytest.mark.parametrize("code", ["space", "k", "Shift+", "Ctrl+KeyK", "Tab", "Shift+Shift+KeyK"])
def test_a_code_that_no_key_has_is_refused(code):
    with pytest.raises(ParameterError, match="code of a physical key"):
        key_table(changes={"accept": code})


def test_the_keys_of_an_adjudication_are_not_taken_away():
    with pytest.raises(ParameterError, match="Space came for both 'settle' and 'accept'"):
        key_table(changes={"accept": "Space"}, keys=(*SETTLE_KEYS, *KEYS))


def test_the_hand_by_its_former_name_is_taken_and_told():
    with pytest.warns(DeprecationWarning, match="handedness"):
        assert by_former_name("right", "left") == "left"
    assert by_former_name("left", None) == "left"
