"""What a person would type first is understood, and a part of a phrase is not taken for the whole."""

import pytest

import emgreview as er
from emgreview.errors import UnknownNameError
from emgreview.muscles.movements import understand

TURNS = {"forearm pronation", "forearm supination"}


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("radial deviation", {"wrist radial deviation"}),
        ("I want to study opening a jar", TURNS | {"wrist radial deviation", "wrist ulnar deviation"}),
        ("forearm rotation", TURNS),
        ("opening a door", TURNS | {"elbow flexion", "shoulder extension"}),
        ("turning a door handle", TURNS),
    ],
)
def test_everyday_words_name_movements(said, meant):
    assert set(understand(said).movements) == meant
    assert len(er.muscles(said)) > 0


@pytest.mark.parametrize("said", ["open", "open the eyes", "the door"])
def test_a_part_of_a_phrase_is_no_movement(said):
    with pytest.raises(UnknownNameError, match="there are"):
        understand(said)
