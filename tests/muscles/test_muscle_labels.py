"""Labels of channels as labs write them: certain, a question, or unknown, and never silent."""

import pytest

import emgreview as er
from emgreview.errors import ParameterError, UnknownNameError
from emgreview.muscles import all_groups, all_muscles, others

CERTAIN = [
    ("BB", "biceps_brachii", ""), ("L BB", "biceps_brachii", "left"), ("BB_L", "biceps_brachii", "left"),
    ("LBB", "biceps_brachii", "left"), ("BBR", "biceps_brachii", "right"), ("EMG1 BB", "biceps_brachii", ""),
    ("R.Biceps-Raw", "biceps_brachii", "right"), ("M. biceps brachii", "biceps_brachii", ""),
    ("biceps", "biceps_brachii", ""), ("BB.2", "biceps_brachii", ""), ("CH3-FDI", "first_dorsal_interosseous", ""),
    ("FDI right", "first_dorsal_interosseous", "right"), ("fdi", "first_dorsal_interosseous", ""),
    ("Rt. First Dorsal Interosseus", "first_dorsal_interosseous", "right"), ("1DI", "first_dorsal_interosseous", ""),
    ("DI2", "second_dorsal_interosseous", ""), ("2nd dorsal interosseous", "second_dorsal_interosseous", ""),
    ("1PI", "first_palmar_interosseous", ""), ("TB", "triceps_brachii", ""), ("triceps", "triceps_brachii", ""),
    ("LTRI", "triceps_brachii", "left"), ("TB_long", "triceps_long", ""), ("triceps lat", "triceps_lateral", ""),
    ("R_TRI_LAT", "triceps_lateral", "right"), ("tri med", "triceps_medial", ""),
    ("Triceps brachii (lateral head)", "triceps_lateral", ""), ("ant delt", "deltoid_anterior", ""),
    ("Delt_post", "deltoid_posterior", ""), ("Anterior Deltoid", "deltoid_anterior", ""),
    ("DA", "deltoid_anterior", ""), ("mid delt", "deltoid_middle", ""), ("deltoid", "deltoid", ""),
    ("BR", "brachioradialis", ""), ("BRD", "brachioradialis", ""), ("BRA", "brachialis", ""),
    ("PT", "pronator_teres", ""), ("FCR", "flexor_carpi_radialis", ""), ("LFCR", "flexor_carpi_radialis", "left"),
    ("FCRR", "flexor_carpi_radialis", "right"), ("EMG FCR uV", "flexor_carpi_radialis", ""),
    ("FCU", "flexor_carpi_ulnaris", ""), ("ECR", "extensor_carpi_radialis", ""),
    ("ECRL", "extensor_carpi_radialis_longus", ""), ("ext carp uln", "extensor_carpi_ulnaris", ""),
    ("EDC", "extensor_digitorum", ""), ("extensor digitorum communis", "extensor_digitorum", ""),
    ("FDS", "flexor_digitorum_superficialis", ""), ("FDS2", "flexor_digitorum_superficialis", ""),
    ("FDP", "flexor_digitorum_profundus", ""), ("FPL", "flexor_pollicis_longus", ""),
    ("APB", "abductor_pollicis_brevis", ""), ("thenar", "thenar_group", ""),
    ("ADM_R", "abductor_digiti_minimi", "right"),
    ("add pollicis", "adductor_pollicis", ""), ("pec major", "pectoralis_major", ""), ("UT", "trapezius_upper", ""),
    ("SCM L", "sternocleidomastoid", "left"), ("lat dorsi", "latissimus_dorsi", ""),
    ("wrist flexors", "wrist_flexors", ""), ("wrist ext", "wrist_extensors", ""),
    ("Forearm Extensors", "forearm_extensors", ""), ("finger flexors", "finger_flexors", ""),
]  # fmt: skip

ASKED = [
    ("ED", "extensor_digitorum extensor_digiti_minimi"),
    ("DI", "first_dorsal_interosseous second_dorsal_interosseous third_dorsal_interosseous fourth_dorsal_interosseous"),
    ("PM", "pectoralis_major pectoralis_major_clavicular pectoralis_major_sternal pectoralis_minor"),
    ("PI", "first_palmar_interosseous second_palmar_interosseous third_palmar_interosseous"),
    ("TRAP", "trapezius_upper trapezius trapezius_lower"),
    ("FD", "flexor_digitorum_superficialis flexor_digitorum_profundus"),
    ("L ED", "extensor_digitorum extensor_digiti_minimi"),
    ("TB L", "triceps_brachii triceps_lateral triceps_long"),
    ("ECR_L", "extensor_carpi_radialis_longus extensor_carpi_radialis"),
    ("extensors", "forearm_extensors wrist_extensors finger_extensors"),
    ("hypothenar", "abductor_digiti_minimi flexor_digiti_minimi opponens_digiti_minimi"),
    ("bicpes", "biceps_brachii"),
    ("BB/TB", "biceps_brachii triceps_brachii"),
    ("biceps task1", "biceps_brachii"),
    ("indicis", "extensor_indicis"),
]

UNKNOWN = ["TRIGGER", "force", "ACC X", "tib ant", "", "12", "EPL", "palmaris longus", "ECG", "time", "Knopf", "EMG 3"]


@pytest.mark.parametrize(("label", "key", "side"), CERTAIN)
def test_whole_names_are_certain_with_their_side(label, key, side):
    (one,) = er.match_muscles([label])
    assert (one.outcome, one.key, one.side) == ("certain", key, side)
    assert one.words


@pytest.mark.parametrize(("label", "candidates"), ASKED)
def test_what_may_be_several_is_a_question(label, candidates):
    (one,) = er.match_muscles([label])
    assert (one.outcome, one.key) == ("question", "")
    assert one.muscle is one.group is None
    assert one.members == ()
    assert one.candidates == tuple(candidates.split())
    assert one.words.count("?") == 1


@pytest.mark.parametrize("label", UNKNOWN)
def test_what_names_no_muscle_is_unknown_and_says_so(label):
    (one,) = er.match_muscles([label])
    assert (one.outcome, one.key) == ("unknown", "")
    assert one.words


def test_many_labels_were_looked_at():
    assert len(CERTAIN) + len(ASKED) + len(UNKNOWN) >= 60


def test_every_name_of_the_reference_is_certain_or_asked_about_and_never_taken_for_another():
    for key, one in (dict(all_muscles()) | dict(all_groups())).items():
        for label in (key, one.name, *one.abbreviations, *one.synonyms):
            (match,) = er.match_muscles([label])
            assert match.key == key or (match.outcome == "question" and key in match.candidates), (label, match)
    for key, name in others().items():
        (match,) = er.match_muscles([name])
        assert not match.key, (key, match)


def test_groups_are_yielded_as_groups():
    triceps, thenar, extensors = er.match_muscles(["triceps", "thenar", "forearm extensors"])
    assert triceps.muscle is None
    assert triceps.group.members == ("triceps_long", "triceps_lateral", "triceps_medial")
    assert (
        thenar.muscle.members
        == thenar.members
        == (
            "abductor_pollicis_brevis",
            "flexor_pollicis_brevis",
            "opponens_pollicis",
        )
    )
    assert len(extensors.members) == 5
    assert "a group" in triceps.words


def test_a_channel_of_the_other_side_says_that_an_l_is_a_side():
    left, right = er.match_muscles(["ECR_L", "ECR_R"])
    assert (left.key, left.side, right.key, right.side) == (
        "extensor_carpi_radialis",
        "left",
        "extensor_carpi_radialis",
        "right",
    )
    longus, brevis = er.match_muscles(["ECRL", "ECRB"])
    assert (longus.key, longus.side) == ("extensor_carpi_radialis_longus", "")
    assert brevis.key == "extensor_carpi_radialis_brevis"


def test_answers_settle_questions_and_are_told():
    found = er.match_muscles(
        ["ED", "L PM", "X7", "force"],
        said={"ED": "EDC", "L PM": "pectoralis_major_sternal", "X7": "wrist flexors", "force": None},
    )
    assert found.certain == {"ED": "extensor_digitorum", "L PM": "pectoralis_major_sternal", "X7": "wrist_flexors"}
    assert found[1].side == "left"
    assert found.unknown == ("force",)
    assert found.questions == ()
    assert all("as was said" in one.words for one in found)


def test_warnings_go_with_names_and_doubles_are_told():
    found = er.match_muscles(["FPL", "OP", "BB", "biceps", "L FDI"])
    assert "hard: mostly not separable with surface pads" in found[0].words
    assert "thenar group" in found[1].words
    assert "BB, biceps: 2 channels over biceps brachii." in found.notes
    assert any("these name none: FPL, OP, BB, biceps." in note for note in found.notes)


def test_a_table_for_people_and_one_for_machines():
    found = er.match_muscles(["BB", "ED", "\x1b[2J"])
    text = repr(found)
    assert "Is it extensor digitorum or extensor digiti minimi?" in text
    assert "said={'ED': 'extensor_digitorum'}" in text
    assert "\x1b" not in text
    assert [row["outcome"] for row in found.to_dict()["labels"]] == ["certain", "question", "unknown"]
    assert len(found) == 3


@pytest.mark.parametrize(
    ("labels", "said", "error", "words"),
    [
        ("BB", None, ParameterError, "a list of labels"),
        ([3], None, ParameterError, "labels came as 3"),
        (["BB"], {"TB": "TB"}, UnknownNameError, "no label is called 'TB'"),
        (["ED"], {"ED": "nonsense"}, UnknownNameError, "no muscle for 'ED' is called 'nonsense'"),
        (["ED"], {"ED": "DI"}, ParameterError, "first_dorsal_interosseous"),
        (["ED"], "EDC", ParameterError, "a mapping of labels"),
    ],
)
def test_slips_are_answered_in_words(labels, said, error, words):
    with pytest.raises(error, match=words):
        er.match_muscles(labels, said=said)
