"""The muscle reference: every fact has its source, every key exists, and it agrees with a second source."""

import json
import re
from pathlib import Path

import pytest

import emgreview as er
from emgreview.errors import FormatError
from emgreview.muscles import CAUTION, all_groups, all_muscles, members_of, name_of, others, reference
from emgreview.muscles.facts import CHECK, Fact, Source
from emgreview.muscles.reference import opposites
from emgreview.muscles.wording import overclaims

MUSCLES = all_muscles()
SECOND = json.loads((Path(__file__).parents[1] / "reference" / "muscles.json").read_text())
ROOTS = [f"C{level}" for level in range(1, 9)] + ["T1"]
NAMED = [
    "pectoralis_major_clavicular",
    "pectoralis_major_sternal",
    "deltoid_anterior",
    "deltoid_middle",
    "deltoid_posterior",
    "biceps_brachii",
    "brachialis",
    "triceps_long",
    "triceps_lateral",
    "triceps_medial",
    "brachioradialis",
    "pronator_teres",
    "flexor_carpi_radialis",
    "flexor_carpi_ulnaris",
    "extensor_carpi_radialis_longus",
    "extensor_carpi_radialis_brevis",
    "extensor_carpi_ulnaris",
    "flexor_digitorum_superficialis",
    "extensor_digitorum",
    "abductor_pollicis_brevis",
    "flexor_pollicis_brevis",
    "opponens_pollicis",
    "thenar_group",
    "abductor_digiti_minimi",
    "first_dorsal_interosseous",
    "second_dorsal_interosseous",
    "third_dorsal_interosseous",
    "fourth_dorsal_interosseous",
    "first_palmar_interosseous",
    "second_palmar_interosseous",
    "third_palmar_interosseous",
    "flexor_digitorum_profundus",
    "extensor_indicis",
    "flexor_pollicis_longus",
    "abductor_pollicis_longus",
    "adductor_pollicis",
    "supinator",
    "trapezius_upper",
    "infraspinatus",
    "latissimus_dorsi",
    "sternocleidomastoid",
]


def test_every_muscle_that_a_study_of_arm_and_hand_needs_is_there():
    assert sorted(MUSCLES) == sorted(NAMED)


@pytest.mark.parametrize("key", MUSCLES)
def test_every_fact_says_something_and_where_it_comes_from(key):
    facts = list(MUSCLES[key].facts())
    assert len(facts) >= 11
    for about, fact, words in facts:
        assert words.strip(), about
        assert fact.sources, (about, words)
        assert fact.by, (about, words)
        assert fact.certainty in (
            "two sources or more",
            "single source",
            "from memory",
            "common practice, no source",
            "practitioners' judgement, no publication",
        )


@pytest.mark.parametrize("key", MUSCLES)
def test_a_card_is_whole(key):
    one = MUSCLES[key]
    assert key == one.key == key.lower()
    assert one.nerve
    assert one.actions
    assert one.test
    assert one.quiet
    assert one.antagonists
    assert one.hears
    assert one.cautions
    assert one.site or one.warning, "no site for pads, and no warning"
    assert one.region
    assert one.side
    assert one.abbreviations
    assert all(about in {row[0] for row in one.facts()} for about in ("nerve and roots", "also heard", "spacing"))


def test_movements_neighbours_antagonists_groups_and_members_are_known():
    known = set(MUSCLES) | set(others())
    for one in MUSCLES.values():
        assert set(one.movements) <= set(opposites())
        assert set(one.neighbours) | set(one.opposed_by) <= known - {one.key}
        assert not set(one.neighbours) & set(one.members)
        assert one.group == "" or one.key in all_groups()[one.group].members
    for group in all_groups().values():
        assert set(group.members) <= set(MUSCLES)
    assert set(others()) <= {key for one in MUSCLES.values() for key in (*one.neighbours, *one.opposed_by)}
    assert all(opposite == "" or opposite in opposites() for opposite in opposites().values())


def test_every_movement_is_made_by_a_muscle_or_is_the_opposite_of_one_that_is():
    made = {move for one in MUSCLES.values() for move in one.movements}
    assert set(opposites()) == made | {opposites()[move] for move in made if opposites()[move]}


@pytest.mark.parametrize("key", MUSCLES)
def test_what_leads_to_an_act_and_has_fewer_than_two_sources_says_so_and_instructs_nobody(key):
    one = MUSCLES[key]
    for fact in (*one.site, *one.test, *one.quiet, one.spacing):
        assert (CHECK in fact.marked) == (sum(source.was_read for source in fact.sources) < 2)
    for about, _, words in one.facts():
        first = re.split(r"\W", words.casefold())[0]
        assert first not in ("place", "put", "ask", "press", "do", "use", "shave", "attach", "stick", "clean"), (
            about,
            words,
        )


@pytest.mark.parametrize("key", [key for key, one in MUSCLES.items() if one.ease in ("hard", "poor", "not by surface")])
def test_muscles_that_pads_do_not_separate_carry_a_warning_that_the_card_shows(key):
    one = MUSCLES[key]
    assert one.hard
    assert f"Warning: {one.warning}" in repr(one)
    assert one.to_dict()["warning"] == one.warning


def test_the_seven_that_are_mostly_not_separable_are_named_so():
    said = {key for key, one in MUSCLES.items() if one.warning.startswith("hard: mostly not separable")}
    assert said == {
        "supinator",
        "flexor_digitorum_profundus",
        "flexor_pollicis_longus",
        "extensor_indicis",
        "abductor_pollicis_longus",
        "flexor_pollicis_brevis",
        "opponens_pollicis",
    }


def test_a_card_shows_every_fact_with_its_source_and_the_caution_in_a_terminal_and_a_notebook():
    one = MUSCLES["flexor_digitorum_superficialis"]
    text = re.sub(r"\s+", " ", repr(one))
    page = one._repr_html_()
    for _, fact, words in one.facts():
        assert words in text
        assert fact.by in text
    assert CAUTION in text
    assert "not a medical device" in page
    assert page.count("<tr>") == 1 + len(list(one.facts()))


def test_where_books_differ_both_are_given():
    assert [fact.text for fact in MUSCLES["infraspinatus"].nerve] == [
        "suprascapular nerve, C5-6",
        "C4-6 in one dictionary",
    ]
    assert len(MUSCLES["sternocleidomastoid"].site) == 4
    assert len(MUSCLES["supinator"].nerve) == 4


@pytest.mark.parametrize("key", SECOND["nerves"])
def test_nerve_and_roots_agree_with_a_second_source(key):
    """MRC, Aids to the Examination of the Peripheral Nervous System, from memory: roots overlap, since books differ."""
    nerve, first, last = SECOND["nerves"][key]
    said = " ".join(fact.text for fact in MUSCLES[key].nerve)
    assert nerve in said
    theirs = set(ROOTS[ROOTS.index(first) : ROOTS.index(last) + 1])
    ours: set[str] = set()
    for start, stop in re.findall(r"\b([CT]\d)(?:-([CT]?\d))?", said):
        stop = stop if stop[:1] in ("C", "T") else f"{start[0]}{stop}" if stop else start
        ours |= set(ROOTS[ROOTS.index(start) : ROOTS.index(stop) + 1])
    assert ours & theirs


@pytest.mark.parametrize("key", [key for key, one in MUSCLES.items() if one.spacing_mm])
def test_spacing_is_within_what_seniam_states(key):
    one = MUSCLES[key]
    most = SECOND["spacing_mm"]["most_in_the_hand" if one.region == "hand" else "most"]
    low, high = one.spacing_mm
    assert 0 < low <= high <= most
    assert re.findall(r"\d+", one.spacing.text)[0] == f"{low:g}"


def test_nothing_in_the_reference_claims_that_pads_record_a_muscle():
    for one in MUSCLES.values():
        for about, _, words in one.facts():
            assert not [found for found in overclaims(words) if "acquittal" in found.why], (about, words)


def test_certainty_counts_what_was_read():
    read, memory = Source("read", "Naito 1998"), Source("memory")
    assert Fact("x", (read, Source("second"))).certainty == "two sources or more"
    assert Fact("x", (read, memory)).certainty == "single source"
    assert Fact("x", (memory, Source("practice"))).certainty == "from memory"
    assert Fact("x", (Source("practice"),)).marked == f"x (common practice, no source: {CHECK})"
    assert Fact("x", (read, Source("tables"))).marked == "x"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('by = ["memory"]', "by = []", "without a source"),
        ('by = ["memory"]', 'by = ["hearsay"]', "kind 'hearsay'"),
        ('move = "elbow flexion"', 'move = "elbow flexing"', "names the movement 'elbow flexing'"),
        ('muscles = ["brachialis"', 'muscles = ["brachials"', "names brachials"),
        ('warning = "hard: rarely separable with surface pads"\n', "", "has no warning"),
        ('group = "deltoid"', 'group = "delta"', "part of delta"),
    ],
)
def test_a_slip_in_the_data_is_told_on_first_use(old, new, words, tmp_path, monkeypatch):
    for name in ("muscles.toml", "words.toml"):
        text = (Path(reference.__file__).parent / name).read_text()
        (tmp_path / name).write_text(text.replace(old, new, 1) if name == "muscles.toml" else text)
    monkeypatch.setattr(reference, "__file__", str(tmp_path / "reference.py"))
    with pytest.raises(FormatError, match=words):
        reference._read.__wrapped__()


def test_names_and_members():
    assert name_of("heart") == "the heart"
    assert members_of("thenar_group") == ("abductor_pollicis_brevis", "flexor_pollicis_brevis", "opponens_pollicis")
    assert members_of("biceps_brachii") == ("biceps_brachii",)
    assert er.muscle("thenar").members == members_of("thenar_group")
