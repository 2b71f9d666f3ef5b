"""Simulated test contractions hold the truth that they state."""

import numpy as np
import pytest

import emgreview as er
from emgreview.errors import ParameterError, RateError, UnknownNameError
from emgreview.model import to_sample
from emgreview.simulation import Fault
from emgreview.simulation.artefacts import in_band

RATE_HZ = 1000.0
CLEAN = er.simulate_contractions(RATE_HZ, seed=4, muscles=("FCR", "ECR", "BR"), repeats=6)


def level(sim, kind, target, channel):
    """RMS in 20-450 Hz of a channel, the mean power of all such contractions, their middle."""
    row, powers = sim.muscles.index(channel), []
    x = in_band(sim.recording.values(), RATE_HZ)[row]
    for marker in sim.recording.markers:
        if (marker.details["contraction"], marker.details["target"]) == (kind, target):
            first = marker.sample + to_sample(1.0, RATE_HZ)
            powers.append(np.mean(x[first : first + to_sample(1.5, RATE_HZ)] ** 2))
    return float(np.sqrt(np.mean(powers)))


def test_same_seed_same_bits_and_another_seed_others():
    again = er.simulate_contractions(RATE_HZ, seed=4, muscles=("FCR", "ECR", "BR"), repeats=6)
    assert again.recording.digest == CLEAN.recording.digest
    other = er.simulate_contractions(RATE_HZ, seed=5, muscles=("FCR", "ECR", "BR"), repeats=6)
    assert other.recording.digest != CLEAN.recording.digest
    assert CLEAN.planted().recording.digest == CLEAN.recording.digest


def test_markers_name_contraction_target_and_length():
    labels = [marker.label for marker in CLEAN.recording.markers]
    assert labels[0] == "rest"
    assert [labels.count(f"test {one}") for one in CLEAN.muscles] == [6, 6, 6]
    assert [labels.count(f"quiet {one}") for one in CLEAN.muscles] == [1, 1, 1]
    assert {marker.duration_s for marker in CLEAN.recording.markers} == {3.0, 10.0}


def test_rest_and_own_contraction_have_the_levels_stated():
    for place, label in enumerate(CLEAN.muscles):
        rest = level(CLEAN, "rest", "n/a", label)
        own = level(CLEAN, "test", label, label)
        assert rest == pytest.approx(CLEAN.noise_uv[place], rel=0.08)
        assert 20 * np.log10(own / rest) == pytest.approx(CLEAN.own_db[place], abs=2.5)


def test_a_planted_neighbour_arrives_at_its_share():
    for share in (0.2, 0.45, 0.9):
        sim = CLEAN.planted(Fault("neighbour", "FCR", "BR", share))
        row, column = sim.muscles.index("BR"), sim.muscles.index("FCR")
        assert sim.share[row, column] == pytest.approx(share)
        arrives = level(sim, "test", "BR", "FCR") / level(sim, "test", "FCR", "FCR")
        assert arrives == pytest.approx(share, rel=0.3), "efforts vary by 20 %"
        others = np.delete(sim.share, column, axis=1)
        assert np.array_equal(others, np.delete(CLEAN.share, column, axis=1)), "no other channel changes"


def test_swapped_leads_change_places_and_an_inverted_pair_its_sign():
    swapped = CLEAN.planted(Fault("swapped", "FCR", "BR"))
    assert np.array_equal(swapped.recording.values()[[2, 1, 0]], CLEAN.recording.values())
    inverted = CLEAN.planted(Fault("inverted", "ECR"))
    assert np.array_equal(inverted.recording.values()[1], -CLEAN.recording.values()[1])


def test_weak_and_wrong_sites_and_a_muscle_that_does_not_rest():
    weak = CLEAN.planted(Fault("weak site", "ECR", value=6.0))
    assert weak.own_db[1] == pytest.approx(6.0)
    wrong = CLEAN.planted(Fault("wrong site", "ECR", "FCR"))
    assert wrong.share[0, 1] > 3
    tense = CLEAN.planted(Fault("no rest", "BR", value=15.0))
    assert level(tense, "rest", "n/a", "BR") == pytest.approx(np.hypot(15, CLEAN.noise_uv[2]), rel=0.15)
    gone = CLEAN.planted(Fault("missing", "BR"))
    assert not any("BR" in marker.label for marker in gone.recording.markers)


def test_who_hears_whom_can_be_given():
    mixing = [[1.0, 0.3], [0.0, 1.0]]
    sim = er.simulate_contractions(RATE_HZ, seed=1, muscles=("A", "B"), mixing=mixing, quiet=0)
    assert sim.share[1, 0] == pytest.approx(0.3, abs=0.05), "and B is joined a little by A"
    assert sim.share[0, 1] < 0.05


def test_slips_are_refused():
    with pytest.raises(RateError, match="at least 1000"):
        er.simulate_contractions(500, seed=1)
    with pytest.raises(UnknownNameError, match="no muscle is called 'XX'"):
        CLEAN.planted(Fault("swapped", "FCR", "XX"))
    with pytest.raises(ParameterError, match="another muscle"):
        CLEAN.planted(Fault("swapped", "FCR", "FCR"))
    with pytest.raises(ParameterError, match="channels in rows"):
        er.simulate_contractions(RATE_HZ, seed=1, mixing=[1.0, 2.0])
    with pytest.raises(ParameterError, match="two or more"):
        er.simulate_contractions(RATE_HZ, seed=1, muscles=["FCR"])
