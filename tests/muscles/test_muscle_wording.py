"""The wording guard: a place and its neighbours, never a muscle alone; co-activation, never an error."""

import pytest

from emgreview.errors import ParameterError, UnknownNameError
from emgreview.muscles import all_groups, all_muscles
from emgreview.muscles.reference import opposites
from emgreview.muscles.wording import (
    also_hears,
    card,
    demand_modest,
    neighbours,
    over,
    overclaims,
    part_in,
    recorded_over,
    said_of_part,
    unnamed,
)

EVERY = [*all_muscles(), *all_groups()]

TOO_MUCH = [
    ("FDI activity exceeded its rest.", "FDI activity", "activity recorded over first dorsal interosseous (also hears"),
    (
        "The onset of the left biceps brachii was at 82 ms.",
        "onset of the left biceps brachii",
        "onset recorded over left b",
    ),
    ("EMG of FDI", "EMG of FDI", "EMG recorded over first dorsal interosseous"),
    (
        "First Dorsal Interosseous activation rose.",
        "First Dorsal Interosseous activation",
        "activity recorded over first",
    ),
    ("wrist flexor activity", "wrist flexor activity", "activity recorded over the wrist flexors (also hears"),
    ("BB was active before BR.", "BB was active", "activity recorded over biceps brachii rose above its rest"),
    ("the pronator teres fired first", "the pronator teres fired", "activity recorded over pronator teres rose"),
    ("biceps was not active", "biceps was not active", "no activity was seen over biceps brachii"),
    ("APB was silent in all trials", "APB was silent", "no activity was seen over the thenar group (abductor"),
    ("the triceps' response", "the triceps' response", "response recorded over the triceps brachii"),
    ("Selective recording of BB", "Selective", "also hears"),
    ("an isolated signal", "isolated", "also hears"),
    ("The channel is crosstalk-free.", "crosstalk-free", "also hears"),
    ("No crosstalk was seen.", "No crosstalk", "also hears"),
    ("It hears FDI exclusively.", "exclusively", "also hears"),
    ("antagonist activity is an artefact", "antagonist activity is an artefact", "co-activation of an antagonist"),
    ("erroneous co-contraction", "erroneous co-contraction", "co-activation of an antagonist"),
]

MODEST = [
    "Activity recorded over FDI exceeded its own rest in 14 of 40 trials.",
    "activity over FDI and APB",
    "onset recorded over the right triceps",
    "This is not an isolated recording.",
    "An isolated, certified amplifier was used.",
    "The selectivity matrix has a weak diagonal.",
    "Co-activation of the antagonist is no error.",
    "recorded over brachioradialis; also hears biceps brachii (35 % of its own contraction).",
    "We placed pads on the forearm.",
    "The candi­date fdiactivity is no word.",
]


@pytest.mark.parametrize(("sentence", "found", "instead"), TOO_MUCH)
def test_a_sentence_that_claims_too_much_is_found_with_what_to_write(sentence, found, instead):
    first = overclaims(sentence)[0]
    assert first.text == found
    assert sentence[first.start :].startswith(found)
    assert first.instead.startswith(instead)
    assert first.why
    assert overclaims(first.instead.replace("…", "")) == ()
    with pytest.raises(ParameterError, match="write"):
        demand_modest(sentence)


@pytest.mark.parametrize("sentence", MODEST)
def test_a_modest_sentence_passes(sentence):
    assert overclaims(sentence) == ()
    assert demand_modest(sentence) == sentence


def test_intramuscular_recordings_are_the_exception_that_is_stated():
    assert overclaims("FDI activity rose", intramuscular=True) == ()
    assert overclaims("no crosstalk", intramuscular=True)
    words = recorded_over("first_dorsal_interosseous", side="left", intramuscular=True)
    assert words == "activity of left first dorsal interosseous (intramuscular recording, as stated)"
    assert overclaims(words, intramuscular=True) == ()


@pytest.mark.parametrize("key", EVERY)
def test_whatever_is_said_here_passes_the_guard_and_names_neighbours(key):
    for sentence in (recorded_over(key), card(key), over(key), over(key, short=True), also_hears(key)):
        assert overclaims(sentence) == ()
    assert recorded_over(key).startswith("activity recorded over ")
    assert ("also hears" in card(key)) == bool(neighbours(key))
    for movement in opposites():
        assert overclaims(said_of_part(key, movement)) == ()


def test_phrases():
    assert over("first_dorsal_interosseous", side="left", short=True) == "over left FDI"
    assert (
        recorded_over("first_dorsal_interosseous")
        == "activity recorded over first dorsal interosseous (also hears adductor pollicis, first lumbrical and "
        "thenar group)"
    )
    assert recorded_over("flexor_digitorum_profundus").startswith(
        "activity recorded over the ulnar-side finger flexors"
    )
    assert "thenar group" in recorded_over("opponens_pollicis")
    assert unnamed("X\n1") == "recorded over 'X\\n1' (muscle not stated, so its neighbours are not known)."


def test_a_card_gives_the_shares_that_were_measured_the_largest_first():
    words = card("brachioradialis", shares={"brachialis": 0.004, "biceps_brachii": 0.35})
    assert words == (
        "recorded over brachioradialis; also hears biceps brachii (35 % of its own contraction), brachialis (below 1 % "
        "of its own contraction), extensor carpi radialis longus and pronator teres."
    )
    assert "hard: mostly not separable" in card("supinator")
    with pytest.raises(ParameterError):
        card("brachioradialis", shares={"biceps_brachii": -1})


def test_a_group_does_not_hear_itself():
    for key, group in all_groups().items():
        assert not set(neighbours(key)) & set(group.members)


@pytest.mark.parametrize(
    ("key", "movement", "part"),
    [
        ("biceps_brachii", "elbow flexion", "makes"),
        ("pronator_teres", "elbow flexion", "assists"),
        ("triceps_lateral", "elbow flexion", "opposes"),
        ("triceps_brachii", "elbow flexion", "opposes"),
        ("extensor_digitorum", "finger PIP flexion", "opposes"),
        ("deltoid_posterior", "shoulder flexion", "opposes"),
        ("pronator_teres", "forearm supination", "opposes"),
        ("first_dorsal_interosseous", "elbow flexion", ""),
    ],
)
def test_the_part_of_a_muscle_in_a_movement(key, movement, part):
    assert part_in(key, movement) == part
    words = said_of_part(key, movement)
    assert ("co-activation" in words) == (part == "opposes")
    assert "error" not in words


def test_strange_arguments_are_told():
    with pytest.raises(UnknownNameError, match="no muscle is called"):
        over("bicep")
    with pytest.raises(UnknownNameError, match="no movement is called"):
        part_in("biceps_brachii", "flying")
    with pytest.raises(ParameterError, match="'left', 'right'"):
        recorded_over("biceps_brachii", side="L")
    with pytest.raises(ParameterError, match="a sentence"):
        overclaims(None)
