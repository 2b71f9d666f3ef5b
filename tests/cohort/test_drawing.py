"""Draws: repeatable, spread, and in the shares asked for."""

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emgreview.cohort import drawing
from emgreview.errors import ParameterError


def test_the_same_seed_draws_the_same_and_one_trial_more_moves_no_other():
    ids = [f"t{k}" for k in range(30)]
    assert drawing.shuffled(ids, "a") == drawing.shuffled(ids[::-1], "a") != drawing.shuffled(ids, "b")
    more = [one for one in drawing.shuffled([*ids, "new"], "a") if one != "new"]
    assert more == drawing.shuffled(ids, "a")
    assert drawing.new_seed() != drawing.new_seed()


@given(st.dictionaries(st.integers(0, 400), st.sampled_from("abc"), min_size=1), st.floats(0.01, 1.0))
def test_every_stratum_gives_its_share(strata, share):
    drawn = drawing.stratified(strata, share, lambda one: -one)
    assert [one for one in strata if one in set(drawn)] == drawn
    sizes, counts = Counter(strata.values()), Counter(strata[one] for one in drawn)
    for stratum, size in sizes.items():
        assert 1 <= counts[stratum] <= size
        assert abs(counts[stratum] - share * size) <= 1
    assert len(drawn) >= min(len(strata), share * len(strata)) - 1e-6


def test_everything_is_a_share_of_1():
    assert drawing.stratified({1: "a", 2: "b", 3: "a"}, 1, hash) == [1, 2, 3]
    with pytest.raises(ParameterError, match=r"share came as 1\.5"):
        drawing.stratified({1: "a"}, 1.5, hash)


@given(st.integers(0, 200), st.integers(0, 30), st.text())
def test_spread_takes_one_of_every_stretch(n, count, seed):
    chosen = drawing.spread(range(n), count, seed)
    assert len(chosen) == len(set(chosen)) == min(n, count)
    for number, one in enumerate(chosen):
        assert round(number * n / len(chosen)) <= one < round((number + 1) * n / len(chosen))


@given(st.integers(12, 300), st.integers(1, 40), st.text())
def test_repeats_come_a_quarter_of_the_queue_later(n, count, seed):
    pairs = drawing.repeats(range(n), min(count, n // 3), seed)
    assert len(pairs) == min(count, n // 3)
    assert len({one for one, _ in pairs}) == len(pairs)
    for one, after in pairs:
        assert after - one >= n // 4
