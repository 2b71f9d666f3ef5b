"""Flags on simulated studies: every planted fault is found at its person and channel, and nobody else is flagged."""

import warnings

import numpy as np
import pytest
from planted_people import FAULTS, RELATIVE, TASKS, WINDOW, named, person

import emgreview as er
from emgreview.people.copies import copies, rest_pattern
from emgreview.people.flags import SHARES, odd_people
from emgreview.people.person import gathered
from emgreview.people.recorded import RecordedJob
from emgreview.people.rules import RULES, physical

TASK = TASKS[0]
PEOPLE = 12
JOB = RecordedJob("go", **WINDOW)


def measured(rec):
    with warnings.catch_warnings(action="ignore", category=er.SignalWarning):
        return JOB(rec)


@pytest.fixture(scope="module")
def recordings():
    return [person(TASK, number, seed=3) for number in range(1, PEOPLE + 1)]


@pytest.fixture(scope="module")
def clean(recordings):
    return [measured(rec) for rec in recordings]


def test_a_clean_study_has_no_flag_and_an_order_without_that_word(clean):
    found = odd_people(gathered(clean))
    assert found.flags == ()
    assert len(found.unlike) > 3
    far = [abs(one.value) / one.limit for one in found.unlike]
    assert far == sorted(far, reverse=True)
    assert far[0] <= 1
    assert all("flag" not in one.reason for one in found.unlike)
    assert len(found.rules) == 4
    assert f"{SHARES['person']:.1%}" in found.rules[0]


def test_swapped_leads_of_muscles_that_differ_are_found_without_test_contractions(recordings, clean):
    x = recordings[0].microvolts().copy()
    x[[0, 2]] = x[[2, 0]]
    flags = odd_people(gathered([measured(named(recordings[0], 1, x=x)), *clean[1:]])).flags
    assert {(one.participant, one.channel) for one in flags if one.code == "swapped"} == {("001", "BB"), ("001", "PM")}
    assert {one.participant for one in flags} == {"001"}


@pytest.mark.parametrize("name", [name for name in FAULTS if name != "swapped leads"])
def test_a_planted_fault_is_found_where_it_is(name, recordings, clean):
    codes, plant = FAULTS[name]
    rng = np.random.default_rng(8)
    rec, channels = plant(recordings[0], recordings[1], rng, 0.0)
    flags = odd_people(gathered([measured(rec), *clean[1:]])).flags
    mine = [one for one in flags if one.participant == "001"]
    assert {one.code for one in mine} & set(codes), [one.reason for one in flags]
    assert {one.channel for one in mine if one.code in codes} <= {*channels, ""}
    allowed = {"001", "002"} if name.startswith("duplicate") else {"001"}
    assert {one.participant for one in flags} <= allowed
    for one in mine:
        assert one.reason.endswith(".")
        assert one.code not in RULES or np.isnan(one.limit) or one.value != one.limit


@pytest.mark.parametrize("name", RELATIVE)
def test_a_large_difference_from_the_others_is_found(name, recordings, clean):
    codes, plant = RELATIVE[name]
    rec, _ = plant(recordings[0], recordings[1], np.random.default_rng(9), 14.0)
    flags = odd_people(gathered([measured(rec), *clean[1:]])).flags
    assert {one.code for one in flags if one.participant == "001"} & set(codes), flags
    assert {one.participant for one in flags} == {"001"}


def test_the_order_of_people_and_their_names_change_no_flag(recordings, clean):
    rec, _ = FAULTS["dead, 0.1 to 0.25 µV"][1](recordings[0], recordings[1], np.random.default_rng(8), 0.0)
    odd = measured(rec)
    first = odd_people(gathered([odd, *clean[1:]])).flags
    last = odd_people(gathered([*clean[:0:-1], odd])).flags
    key = lambda one: (one.participant, one.channel, one.code, round(one.value, 9))  # noqa: E731
    assert sorted(map(key, first)) == sorted(map(key, last))


def test_what_half_of_the_people_share_flags_nobody_and_is_told(recordings, clean):
    plant = FAULTS["mains, 3 to 8 times the rest"][1]
    hummed = []
    for rec in recordings[:6]:
        planted, _ = plant(named(rec, int(rec.entities["sub"])), rec, np.random.default_rng(1), 0.0)
        hummed.append(measured(planted))
    flags, told = physical(gathered([*hummed, *clean[6:]]))
    assert not [one for one in flags if one.code == "mains"]
    assert len(told) == 1
    assert "mains in 6 of 12 people" in told[0]


def test_few_people_are_held_against_physical_rules_alone(recordings, clean):
    rec, _ = FAULTS["mains, 3 to 8 times the rest"][1](recordings[0], recordings[1], np.random.default_rng(8), 0.0)
    found = odd_people(gathered([measured(rec), clean[1]]))
    assert {one.code for one in found.flags} == {"mains"}
    assert found.unlike == ()
    assert "fewer than 8" in found.notes[0]


def test_an_expected_number_of_cues_is_asked_of_everybody(clean):
    flags, _ = physical(gathered(clean), expect=TASK.trials + 1)
    assert [one.code for one in flags] == ["cues"] * PEOPLE
    assert {one.limit for one in flags} == {TASK.trials + 1}


def test_a_channel_whose_leads_are_turned_round_goes_the_other_way_than_in_the_group(recordings, clean):
    """A hum that all channels share, in phase: the correlations of the turned channel change their sign."""
    shared = []
    for rec in recordings:
        rng = np.random.default_rng(int(rec.entities["sub"]))
        x = rec.microvolts().astype(np.float64)
        x += 12.0 * np.convolve(rng.standard_normal(x.shape[1]), np.ones(3) / 3, mode="same")
        shared.append(x)
    shared[0][1] *= -1
    people = gathered(
        [measured(named(rec, at + 1, x=x)) for at, (rec, x) in enumerate(zip(recordings, shared, strict=True))]
    )
    flags, _ = physical(people)
    turned = {(one.participant, one.channel) for one in flags if one.code == "inverted"}
    assert ("001", recordings[0].labels[1]) in turned
    assert {who for who, _ in turned} == {"001"}


def test_two_people_who_move_in_the_same_trial_are_not_one():
    rng = np.random.default_rng(7)
    rests = np.exp(rng.normal(0, 0.04, (60, 2, 20)))
    rests[:, :, 17] *= rng.uniform(3, 20, (60, 2))
    assert copies([rest_pattern(rest) for rest in rests]) == []
    again = np.round(1.3 * rests[0], 3)
    ((first, second, r),) = copies([rest_pattern(rest) for rest in [*rests, again, again[:, :4]]])
    assert (first, second) == (0, 60)
    assert r > 0.99
