"""The numbers behind pictures of people: from arrays of known content, and by other ways to the same number."""

from dataclasses import replace

import numpy as np
import pytest
from invented_people import recorded
from scipy import stats

from emgreview.people.person import gathered
from emgreview.people.pictures import CHANCES, Group, few_of, heat_limit, mean_envelope, spectra_db

LABELS = ("FCR", "ECR")


@pytest.fixture(scope="module")
def people():
    return tuple(gathered([recorded(k, LABELS, 12) for k in range(9)]))


def test_the_mean_leaves_out_what_is_unusable_or_missing(people):
    one = people[0]
    envelope = np.ones_like(one.envelope)
    envelope[:, 0] = 1000.0
    envelope[1, 3] = np.nan
    signal = one.signal.copy()
    signal[:, 0] = 2
    np.testing.assert_allclose(mean_envelope(replace(one, envelope=envelope, signal=signal)), 1.0)
    signal[:] = 2
    assert np.isnan(mean_envelope(replace(one, envelope=envelope, signal=signal))).all()


def test_few_trials_reach_from_the_first_to_the_last():
    assert few_of(100, 5) == [0, 25, 50, 74, 99]
    assert few_of(3, 20) == [0, 1, 2]
    assert few_of(0, 20) == []


def test_one_person_of_another_gain_does_not_press_the_others_flat(people):
    loud = replace(people[3], envelope=1000 * people[3].envelope)
    usual, with_loud = Group(people).full_scale("FCR"), Group((*people[:3], loud, *people[4:])).full_scale("FCR")
    assert with_loud < 2 * usual


def test_people_of_another_unit_are_left_out_of_what_is_shared(people):
    volts = replace(people[3], unit="arbitrary", envelope=1e-6 * people[3].envelope, rest=1e-6 * people[3].rest)
    mixed, without = Group((*people[:3], volts, *people[4:])), Group((*people[:3], *people[4:]))
    assert mixed.unit("FCR") == "uV"
    assert mixed.full_scale("FCR") == without.full_scale("FCR")
    np.testing.assert_array_equal(mixed.rest_band("FCR"), without.rest_band("FCR"))
    np.testing.assert_array_equal(mixed.spectra_band("FCR"), without.spectra_band("FCR"))


def test_bands_are_quartiles_of_people_and_few_have_none(people):
    group = Group(people)
    medians = [np.median(one.rest[0]) for one in people]
    np.testing.assert_allclose(group.rest_band("FCR"), np.quantile(medians, [0.25, 0.5, 0.75]))
    band = group.spectra_band("ECR")
    assert band.shape[:2] == (2, 3)
    np.testing.assert_allclose(band[1, 1], np.median([spectra_db(one)[1, 1] for one in people], axis=0))
    assert (band[:, 0] <= band[:, 2]).all()
    assert np.isnan(Group(people[:3]).spectra_band("FCR")).all()
    assert np.isnan(Group(people[:3]).rest_band("FCR")).all()


def test_decibels_are_of_power(people):
    one = people[0]
    louder = replace(one.recordings[0], spectra=100 * one.recordings[0].spectra)
    np.testing.assert_allclose(spectra_db(replace(one, recordings=(louder,))) - spectra_db(one), 20.0)


def test_the_last_colour_begins_where_98_of_100_values_lie_below(people):
    one = people[0]
    limit = heat_limit(one, 0)
    assert np.mean(one.envelope[0] <= limit) == pytest.approx(0.98, abs=0.002)
    missing = replace(one, envelope=np.full_like(one.envelope, np.nan))
    assert np.isnan(heat_limit(missing, 0))
    assert Group((missing,)).full_scale("FCR") == 1.0


def test_rates_count_usable_trials_and_limits_are_those_of_the_binomial(people):
    signal = people[0].signal.copy()
    signal[0, :4] = 2
    onset_s = people[0].onset_s.copy()
    onset_s[0] = np.nan
    first = replace(people[0], signal=signal, onset_s=onset_s)
    out = replace(people[1], kept_out={"FCR": "broken"})
    found = Group((first, out, *people[2:])).rates("FCR")
    assert (found.none[0], found.n[0]) == (8, 8)
    assert (found.none[1], found.n[1]) == (0, 0)
    assert found.rate == found.none.sum() / found.n.sum()
    for chance, (low, high) in zip(CHANCES, found.limits, strict=True):
        for n, fewest, most in zip(found.places, low, high, strict=True):
            assert stats.binom.sf(most, n, found.rate) <= chance, "no more than that lie above"
            assert stats.binom.cdf(fewest - 1, n, found.rate) <= chance, "and none below"
            assert most == n or stats.binom.sf(most - 1, n, found.rate) > chance, "as narrow as it can be"


def test_a_channel_of_nobody_has_no_rate(people):
    out = tuple(replace(one, kept_out={"FCR": "broken"}) for one in people)
    found = Group(out).rates("FCR")
    assert np.isnan(found.rate)
    assert found.limits.shape == (len(CHANCES), 2, 0)
