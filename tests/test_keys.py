"""The key table: one command a key, either hand, changes that cannot collide."""

import pytest

from emgreview.errors import ParameterError, UnknownNameError
from emgreview.keys import KEYS, key_table
from emgreview.session import COMMANDS

VIEW_COMMANDS = {
    "nudge", "to_cursor", "switch_side", "next_burst", "same_reasons", "comment_trial", "seal", "next_trial",
    "previous_trial", "next_channel", "previous_channel", "next_unreviewed", "go_to", "walk", "next_row",
    "previous_row", "gain_up", "gain_down", "span", "overview", "sort", "spectrum", "smear", "listen", "read_out",
    "convention", "unblind", "key_card",
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
