"""Look-ups of muscles: movements in plain words, neighbours both ways, names, cards."""

import pytest

import emgreview as er
from emgreview.errors import ParameterError, UnknownNameError
from emgreview.muscles import CAUTION, all_muscles
from emgreview.muscles.movements import understand
from emgreview.muscles.reference import opposites, others, words

MOVEMENTS = [
    ("bend the elbow", "elbow flexion"),
    ("flex elbow", "elbow flexion"),
    ("Elbow-Flexion", "elbow flexion"),
    ("flexion and extension of the elbow", "elbow flexion, elbow extension"),
    ("straighten my arm at the elbow", "elbow extension"),
    ("flex the elbow with the thumb up", "elbow flexion"),
    ("turn a handle", "forearm pronation, forearm supination"),
    ("turning a door handle", "forearm pronation, forearm supination"),
    ("supinate", "forearm supination"),
    ("turn the palm up", "forearm supination"),
    ("rotate the wrist", "forearm pronation, forearm supination"),
    ("external rotation of the shoulder", "shoulder lateral rotation"),
    ("shoulder medial rotation", "shoulder medial rotation"),
    ("raise the arm", "shoulder flexion, shoulder abduction"),
    ("lift the arm sideways", "shoulder abduction"),
    ("reach", "shoulder flexion, elbow extension"),
    ("wrist deviation", "wrist radial deviation, wrist ulnar deviation"),
    ("wrist", "wrist flexion, wrist extension, wrist radial deviation, wrist ulnar deviation"),
    ("curl the fingers", "finger MCP flexion, finger PIP flexion, finger DIP flexion"),
    ("fingertip bending", "finger DIP flexion"),
    ("index finger extension", "index MCP extension, finger MCP extension, index IP extension"),
    ("lift the index finger", "index MCP extension, finger MCP extension"),
    ("abduct the thumb", "thumb palmar abduction, thumb radial abduction"),
    ("thumb to little finger", "thumb opposition"),
    ("shrug the shoulders", "shoulder girdle elevation"),
    ("turn the head", "neck rotation to the other side"),
]

EXPECTED = [
    ({"movement": "bend the elbow", "superficial": True}, "biceps_brachii brachioradialis pronator_teres"),
    ({"movement": "elbow flexion"}, "biceps_brachii brachioradialis brachialis pronator_teres"),
    ({"movement": "elbow extension"}, "triceps_long triceps_lateral triceps_medial"),
    ({"movement": "turn a handle"}, "biceps_brachii pronator_teres supinator brachioradialis"),
    ({"movement": "pronation"}, "pronator_teres brachioradialis"),
    ({"movement": "wrist radial deviation"}, "flexor_carpi_radialis extensor_carpi_radialis_longus"
     " abductor_pollicis_longus extensor_carpi_radialis_brevis"),
    ({"movement": "wrist ulnar deviation"}, "flexor_carpi_ulnaris extensor_carpi_ulnaris"),
    ({"movement": "thumb IP flexion"}, "flexor_pollicis_longus"),
    ({"movement": "finger DIP flexion"}, "flexor_digitorum_profundus"),
    ({"movement": "finger PIP flexion"}, "flexor_digitorum_superficialis flexor_digitorum_profundus"),
    ({"movement": "index abduction"}, "first_dorsal_interosseous"),
    ({"movement": "index adduction"}, "first_palmar_interosseous extensor_indicis"),
    ({"movement": "little finger abduction"}, "abductor_digiti_minimi"),
    ({"movement": "thumb adduction"}, "adductor_pollicis"),
    ({"movement": "shoulder lateral rotation"}, "deltoid_posterior infraspinatus"),
    ({"movement": "shrug"}, "trapezius_upper"),
    ({"movement": "startle"}, "sternocleidomastoid"),
    ({"heard_by": "BR"}, "extensor_carpi_radialis_longus biceps_brachii brachialis pronator_teres"),
    ({"heard_by": "first dorsal interosseous"}, "adductor_pollicis thenar_group"),
    ({"hears": "brachioradialis", "superficial": True}, "biceps_brachii pronator_teres"
     " extensor_carpi_radialis_longus extensor_carpi_radialis_brevis"),
    ({"hears": "APB"}, "flexor_pollicis_brevis opponens_pollicis first_dorsal_interosseous"),
    ({"name": "triceps"}, "triceps_long triceps_lateral triceps_medial"),
    ({"name": "ECR", "movement": "wrist extension"}, "extensor_carpi_radialis_longus extensor_carpi_radialis_brevis"),
    ({"words": "BB"}, "biceps_brachii"),
    ({"words": "carpi ulnaris"}, "flexor_carpi_ulnaris extensor_carpi_ulnaris"),
    ({"words": "thumb IP flexion"}, "flexor_pollicis_longus"),
    ({"words": "which superficial muscles bend the elbow, and what else will I hear?"},
     "biceps_brachii brachioradialis pronator_teres"),
]  # fmt: skip


@pytest.mark.parametrize(("said", "meant"), MOVEMENTS)
def test_plain_words_are_movements(said, meant):
    assert ", ".join(understand(said).movements) == meant


@pytest.mark.parametrize(("question", "keys"), EXPECTED, ids=lambda part: str(part)[:60])
def test_expected_look_ups(question, keys):
    assert er.muscles(**question).keys == tuple(keys.split())


@pytest.mark.parametrize("movement", opposites())
def test_every_movement_is_found_by_its_own_name_and_its_makers_by_it(movement):
    assert understand(movement).movements == (movement,)
    for one in er.muscles(movement=movement):
        assert movement in one.movements


@pytest.mark.parametrize("phrase", words()["phrases"])
def test_every_phrase_means_what_its_table_says(phrase):
    meant = understand(phrase).movements
    assert set(words()["phrases"][phrase]["moves"]) <= set(opposites())
    assert set(meant) == set(words()["phrases"][phrase]["moves"]) or phrase in (
        "turn the forearm",
        "rotate the forearm",
    )
    assert len(er.muscles(movement=phrase))


def test_makers_stand_before_helpers_and_easy_pads_before_hard_ones():
    table = er.muscles(movement="elbow flexion").table()
    assert table["assists"].tolist() == sorted(table["assists"])
    assert table["surface"].tolist()[:3] == ["easy", "medium", "hard"]


def test_what_was_assumed_left_out_or_not_understood_is_told():
    told = " ".join(er.muscles("turn a handle").notes)
    assert "was taken for forearm pronation, forearm supination (our own choice, no source)" in told
    assert "also gripped" in told
    assert "left out: bottle" in " ".join(er.muscles(movement="grip a bottle").notes)
    assert "Left out as covered by others: brachialis" in " ".join(
        er.muscles(movement="elbow flexion", superficial=True).notes
    )
    assert "Heard there too, without an entry of their own: first lumbrical" in er.muscles(heard_by="FDI").notes[0]


@pytest.mark.parametrize("said", ["elbow flexon", "whistle", "bend", "fly"])
def test_an_unknown_movement_lists_those_there_are(said):
    with pytest.raises(UnknownNameError, match=r"elbow flexion.*thumb opposition"):
        er.muscles(movement=said)


def test_a_misspelt_movement_is_guessed_and_not_taken():
    with pytest.raises(UnknownNameError, match="Did you mean 'elbow flexion'"):
        er.muscles(movement="elbow flexon")


@pytest.mark.parametrize(
    ("ask", "error", "words"),
    [
        (lambda: er.muscle("triceps"), ParameterError, "triceps_long, triceps_lateral, triceps_medial"),
        (lambda: er.muscle("PM"), ParameterError, "pectoralis_major_clavicular, pectoralis_major_sternal"),
        (lambda: er.muscle("nonsense"), UnknownNameError, "no name is called 'nonsense'"),
        (lambda: er.muscle("bicepz"), UnknownNameError, "Did you mean 'biceps'"),
        (lambda: er.muscle(""), ParameterError, "abbreviation or key"),
        (lambda: er.muscles(3), ParameterError, "words came as 3"),
        (lambda: er.muscles("BB", movement="reach"), ParameterError, "not both"),
        (lambda: er.muscles(superficial="yes"), ParameterError, "True, False or None"),
        (lambda: er.muscles(heard_by="DI"), ParameterError, "first_dorsal_interosseous"),
        (lambda: er.muscles(hears="elephant"), UnknownNameError, "no hears is called"),
    ],
)
def test_slips_are_answered_in_words(ask, error, words):
    with pytest.raises(error, match=words):
        ask()


@pytest.mark.parametrize("key", all_muscles())
def test_a_card_is_found_by_key_name_and_every_abbreviation_and_synonym_that_is_its_own(key):
    one = er.muscle(key)
    assert one.key == key
    assert er.muscle(one.name).key == key
    for name in (*one.abbreviations, *one.synonyms):
        assert key in er.muscles(name=name).keys


def test_a_result_is_a_table_in_a_terminal_a_notebook_and_a_frame():
    found = er.muscles(movement="bend the elbow", superficial=True)
    text, page, table = repr(found), found._repr_html_(), found.table()
    assert "also heard: brachialis, anterior deltoid, brachioradialis" in text
    assert "warning: hard: rarely separable" in text
    assert CAUTION in text
    assert page.count("<tr>") == 1 + len(found)
    assert table["muscle"].tolist() == list(found.keys)
    assert table["warning"].tolist()[2].startswith("hard")
    assert "check with a text of anatomy" in table.loc[0, "site"]
    assert er.muscles(movement="bend the elbow", name="FDI").table().empty
    assert len(er.muscles()) == len(all_muscles())


def test_the_function_stays_what_it_is_when_parts_are_imported():
    from emgreview.muscles import wording

    assert wording.over("brachialis").startswith("over ")
    assert er.muscles("BB").keys == ("biceps_brachii",)


def test_who_makes_a_movement_without_an_entry_is_named_as_from_memory():
    for asked, name in (("turn a handle", "pronator quadratus"), ("thumb IP extension", "extensor pollicis longus")):
        (note,) = [one for one in er.muscles(movement=asked).notes if "without an entry" in one]
        assert name in note
        assert "from memory: check with a text of anatomy" in note
    table = words()["made_by_others"]
    assert set(table) <= set(opposites())
    assert {key for keys in table.values() for key in keys} <= set(others())
    assert not any("without an entry" in one for one in er.muscles(movement="wrist extension").notes)


def test_each_palmar_interosseous_is_opposed_at_its_own_finger():
    opposed = {name: er.muscle(name).opposed_by for name in ("PI1", "PI2", "PI3")}
    assert opposed == {
        "PI1": ("first_dorsal_interosseous",),
        "PI2": ("fourth_dorsal_interosseous",),
        "PI3": ("abductor_digiti_minimi",),
    }
