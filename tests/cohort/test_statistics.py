"""Formulas of agreement against published worked examples, a general library, exact sums and simulated coverage.

Sources of the published numbers are named beside them; "from memory" marks those not read anew. statsmodels (0.15) is
an independent implementation used in tests alone; where it is not installed those checks are skipped.
"""

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats import inter_rater, proportion

from emgreview.cohort import statistics as s
from emgreview.errors import ParameterError

# Published examples ----------------------------------------------------------------------------------------------

SHROUT_FLEISS = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
"""Shrout & Fleiss 1979, table 2: six targets, four judges; from memory."""

PEFR_LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
PEFR_LARGE_AGAIN = [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421]
PEFR_MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
"""Bland & Altman 1986, table 1: peak expiratory flow of 17 people, two meters, the first one twice; from memory."""

FLEISS = [
    [0, 0, 0, 0, 14], [0, 2, 6, 4, 2], [0, 0, 3, 5, 6], [0, 3, 9, 2, 0], [2, 2, 8, 1, 1],
    [7, 7, 0, 0, 0], [3, 2, 6, 3, 0], [2, 5, 3, 2, 2], [6, 5, 2, 1, 0], [0, 2, 2, 3, 7],
]  # fmt: skip
"""Fourteen raters, ten subjects, five words: the worked example of Fleiss' kappa; from memory."""


@pytest.mark.parametrize(
    ("form", "published"),
    [("(1,1)", 0.17), ("(2,1)", 0.29), ("(3,1)", 0.71), ("(1,k)", 0.44), ("(2,k)", 0.62), ("(3,k)", 0.91)],
)
def test_all_six_forms_of_the_intraclass_correlation(form, published):
    """Shrout & Fleiss 1979, table 4; (3,1) is .715, printed as .71 there and computed to three digits elsewhere."""
    assert s.icc(SHROUT_FLEISS, form).value == pytest.approx(published, abs=0.0051)


def test_intervals_of_the_intraclass_correlation():
    """The same data, intervals as general statistics packages print them; from memory."""
    printed = {
        "(1,1)": (-0.133, 0.723), "(2,1)": (0.019, 0.761), "(3,1)": (0.342, 0.946),
        "(1,k)": (-0.884, 0.912), "(2,k)": (0.071, 0.927), "(3,k)": (0.676, 0.986),
    }  # fmt: skip
    for form, (low, high) in printed.items():
        found = s.icc(SHROUT_FLEISS, form)
        assert (found.low, found.high) == pytest.approx((low, high), abs=0.0015), form


def test_the_interval_of_the_mean_of_judges_by_its_own_formula():
    """McGraw & Wong 1996, ICC(A,k): ends n (B - F E) / (F (J - E) + n B) and n (F B - E) / (J - E + n F B); from
    memory. Here both come from those of one judge."""
    x = np.array(SHROUT_FLEISS, float)
    n, k = x.shape
    grand, targets, judges = x.mean(), x.mean(axis=1), x.mean(axis=0)
    b, j = k * np.var(targets) * n / (n - 1), n * np.var(judges) * k / (k - 1)
    e = np.square(x - targets[:, np.newaxis] - judges + grand).sum() / ((n - 1) * (k - 1))
    rho = s.icc(x, "(2,k)").value
    c, d = rho / (n * (1 - rho)), 1 + rho * (n - 1) / (n * (1 - rho))
    freedom = (c * j + d * e) ** 2 / ((c * j) ** 2 / (k - 1) + (d * e) ** 2 / ((n - 1) * (k - 1)))
    below, above = stats.f.ppf(0.975, n - 1, freedom), stats.f.ppf(0.975, freedom, n - 1)
    found = s.icc(x, "(2,k)")
    assert found.low == pytest.approx(n * (b - below * e) / (below * (j - e) + n * b))
    assert found.high == pytest.approx(n * (above * b - e) / (j - e + n * above * b))


def test_limits_of_agreement_of_two_flow_meters():
    """Bland & Altman 1986: mean -2.1, SD 38.8 (the paper's limits use 2 SD: -79.7 and 75.5); interval of the mean
    -22.0 to 17.8, of the lower limit -114.3 to -45.1, with 2 SD and sqrt(3/n); from memory. 1.96 SD: computed."""
    found = s.limits_of_agreement(np.subtract(PEFR_LARGE, PEFR_MINI))
    assert (found.bias.value, found.sd) == pytest.approx((-2.1176, 38.7651), abs=1e-4)
    assert (found.lower.value, found.upper.value) == pytest.approx((-78.097, 73.862), abs=2e-3)
    assert (found.bias.low, found.bias.high) == pytest.approx((-22.0, 17.8), abs=0.06)
    assert found.lower.high - found.lower.low == pytest.approx(69.2, rel=0.04), "theirs is approximate, ours exact"


def test_within_sd_of_one_flow_meter():
    """Bland & Altman, the same data twice on one meter: 15.3 l/min; from memory."""
    assert s.within_sd(np.subtract(PEFR_LARGE, PEFR_LARGE_AGAIN)).value == pytest.approx(15.3, abs=0.05)


def test_kappa_of_many_raters():
    """.210 (Fleiss; also in statsmodels' tests); [[7,1],[3,5]] read as counts of eight raters: .161905, and as two
    raters' words for 16 subjects: 31/63 by hand (Cohen's kappa of that table is .5)."""
    assert s.fleiss_kappa(FLEISS) == pytest.approx(0.20993, abs=5e-6)
    assert s.fleiss_kappa([[7, 1], [3, 5]]) == pytest.approx(0.161905, abs=5e-7)
    assert s.fleiss_kappa([[2, 0]] * 7 + [[1, 1]] * 4 + [[0, 2]] * 5) == pytest.approx(31 / 63)
    assert s.kappa([[7, 1], [3, 5]]).value == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        ([[20, 5], [10, 15]], 0.4),
        ([[45, 15], [25, 15]], 0.1304),
        ([[25, 35], [5, 35]], 0.2593),
    ],
)
def test_kappa_of_two_raters(table, expected):
    """Textbook examples, from memory."""
    found = s.kappa(table)
    assert found.value == pytest.approx(expected, abs=5e-5)
    assert found.low < found.value < found.high


def test_where_one_word_is_rare_kappa_is_low_whatever_the_agreement():
    """The prevalence paradox: 118, 5, 2, 0; agreement .944, kappa -.023, AC1 .941 (Gwet; from memory, recomputed)."""
    table = [[118, 5], [2, 0]]
    assert s.raw_agreement(table).value == pytest.approx(0.944)
    assert s.kappa(table).value == pytest.approx(-0.0234, abs=5e-5)
    assert s.ac1(table) == pytest.approx(0.941, abs=5e-4)
    assert s.prevalence(table) == pytest.approx([243 / 250, 7 / 250])


@pytest.mark.parametrize(
    ("found", "n", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_intervals(found, n, low, high):
    """Newcombe 1998, table I, method 3; from memory."""
    share = s.wilson(found, n)
    assert (share.low, share.high) == pytest.approx((low, high), abs=5e-5)
    assert share.value == found / n


def test_a_lot_of_25_with_2_bad_passes_a_sample_of_5_with_probability_633_in_1000():
    """Samohyl 2018, as quoted: lot 25, 2 bad, sample 5, none found: .6333; C(23,5)/C(25,5) by hand."""
    chance = s.chance_of_at_most(0, lot=25, bad=2, sample=5)
    assert float(chance) == pytest.approx(math.comb(23, 5) / math.comb(25, 5), rel=1e-12)
    assert float(chance) == pytest.approx(0.6333, abs=5e-5)


# Another implementation ------------------------------------------------------------------------------------------


def test_against_statsmodels():
    rng = np.random.default_rng(3)
    for _ in range(60):
        table = rng.integers(1, 40, size=(rng.integers(2, 6),) * 2)
        other = inter_rater.cohens_kappa(table)
        mine = s.kappa(table)
        assert mine.value == pytest.approx(other.kappa, abs=1e-12)
        half = 1.959964 * math.sqrt(other.var_kappa)
        if table.min() >= 12:  # where no cell is small, the usual standard error says much the same
            assert (mine.low, mine.high) == pytest.approx((other.kappa - half, other.kappa + half), abs=0.04)
        counts = rng.multinomial(7, [0.5, 0.3, 0.2], size=12)
        assert s.fleiss_kappa(counts) == pytest.approx(inter_rater.fleiss_kappa(counts), abs=1e-12)
        n = int(rng.integers(1, 300))
        k = int(rng.integers(0, n + 1))
        low, high = proportion.proportion_confint(k, n, method="wilson")
        assert (s.wilson(k, n).low, s.wilson(k, n).high) == pytest.approx((low, high), abs=1e-9)


# Exact sums ------------------------------------------------------------------------------------------------------


def exactly(found, lot, bad, sample):
    ways = sum(math.comb(bad, x) * math.comb(lot - bad, sample - x) for x in range(min(found, bad, sample) + 1))
    return Fraction(ways, math.comb(lot, sample))


@settings(deadline=None)
@given(st.data())
def test_hypergeometric_sums_are_exact(data):
    lot = data.draw(st.integers(1, 300))
    bad, sample = data.draw(st.integers(0, lot)), data.draw(st.integers(0, lot))
    found = data.draw(st.integers(0, sample))
    mine = float(s.chance_of_at_most(found, lot=lot, bad=bad, sample=sample))
    assert mine == pytest.approx(float(exactly(found, lot, bad, sample)), abs=1e-10)


@settings(deadline=None)
@given(st.integers(2, 120), st.sampled_from([0.02, 0.05, 0.1, 0.2]), st.sampled_from([0.0, 0.01]))
def test_no_lot_that_breaks_the_bound_passes_too_often(lot, at_most, expected):
    """For every possible number of bad ones, in fractions: P(passed, and the rest holds a larger share) <= 5 %."""
    lot_size, sample, allowed, _ = s.acceptance_plan(lot, at_most, expected=expected)
    assert lot_size == lot
    assert sample <= lot
    for bad in range(lot + 1):
        wrong = Fraction(0)
        for x in range(max(0, sample - (lot - bad)), min(bad, sample, allowed) + 1):
            if Fraction(bad - x) > Fraction(str(at_most)) * (lot - sample):
                ways = math.comb(bad, x) * math.comb(lot - bad, sample - x)
                wrong += Fraction(ways, math.comb(lot, sample))
        assert wrong <= Fraction(5, 100), (bad, sample, allowed)


@settings(deadline=None)
@given(st.integers(1, 100), st.data())
def test_the_upper_bound_holds_in_95_of_100_draws_whatever_the_lot(lot, data):
    sample = data.draw(st.integers(1, lot))
    bad = data.draw(st.integers(0, lot))
    missed = Fraction(0)
    for x in range(max(0, sample - (lot - bad)), min(bad, sample) + 1):
        if bad > s.most_bad(lot, sample, x):
            missed += Fraction(math.comb(bad, x) * math.comb(lot - bad, sample - x), math.comb(lot, sample))
    assert missed <= Fraction(5, 100)


def test_an_audit_that_just_passes_can_say_what_it_was_planned_to_say():
    for lot, at_most, expected in [(2400, 0.05, 0.0), (600, 0.05, 0.01), (150, 0.1, 0.0), (40, 0.05, 0.0)]:
        plan = s.acceptance_plan(lot, at_most, expected=expected)
        for found in range(plan.allowed + 1):
            assert s.most_bad_left(lot, plan.sample, found) <= at_most + 1e-12
        assert plan.passes >= 0.9
    assert s.acceptance_plan(2400, 0.05)[:3] == (2400, 59, 0), "ln .05 / ln .95 = 58.4, the textbook's 59"
    assert s.acceptance_plan(3, 0.05)[:2] == (3, 3), "a lot too small for a sample is looked at as a whole"


# Coverage --------------------------------------------------------------------------------------------------------


def coverage(draw, truth, runs=1500):
    rng = np.random.default_rng(11)
    found = [draw(rng) for _ in range(runs)]
    return np.mean([estimate.low <= truth <= estimate.high for estimate in found])


def test_intervals_cover_the_truth_as_often_as_they_say():
    """Simulated, 1,500 runs each (bootstrap, kappa 400): the standard error of a coverage of 95 % is 0.6 % (1.1 %)."""
    seen = {
        "within SD": coverage(lambda rng: s.within_sd(math.sqrt(2) * 6 * rng.normal(size=20)), 6),
        "lower limit": coverage(lambda rng: s.limits_of_agreement(2 + 8 * rng.normal(size=40)).lower, 2 - 1.959964 * 8),
        "bias": coverage(lambda rng: s.limits_of_agreement(2 + 8 * rng.normal(size=12)).bias, 2),
        "drift": coverage(lambda rng: s.drift(0.8 * (t := rng.uniform(0.2, 3, 25)) + 8 * rng.normal(size=25), t), 0.8),
        "ICC(2,1)": coverage(
            lambda rng: s.icc(
                40 * rng.normal(size=(30, 1)) + 10 * rng.normal(size=(1, 3)) + 15 * rng.normal(size=(30, 3)), "(2,1)"
            ),
            40**2 / (40**2 + 10**2 + 15**2),
        ),
        "kappa": coverage(lambda rng: s.kappa(rng.multinomial(200, [0.4, 0.1, 0.1, 0.4]).reshape(2, 2)), 0.6, runs=400),
    }
    half_normal = 0.67449
    seen["median difference"] = coverage(
        lambda rng: s.median_difference(np.abs(rng.normal(size=60)), np.abs(0.5 * rng.normal(size=150)), draws=400),
        half_normal * 0.5,
        runs=400,
    )
    print("coverage of 95 % intervals:", {name: f"{share:.1%}" for name, share in seen.items()})
    for name, share in seen.items():
        assert 0.93 <= share <= 0.975, f"{name}: {share:.1%}"


def test_a_reviewers_error_gives_a_flattering_icc_where_trials_differ_much():
    """ICC misleads alone: error SD 8 ms gives .86, .96, .99 at trial SDs of 20, 40, 80 ms (computed)."""
    rng = np.random.default_rng(2)
    for spread, expected in [(20, 0.86), (40, 0.96), (80, 0.99)]:
        x = spread * rng.normal(size=(20000, 1)) + 8 * rng.normal(size=(20000, 2))
        assert s.icc(x, "(2,1)").value == pytest.approx(expected, abs=0.006)


# Edges -----------------------------------------------------------------------------------------------------------


def test_two_who_always_agree():
    table = s.cross_table(["a", "b", "b"], ["a", "b", "b"], ("a", "b", "c"))
    assert (s.kappa(table).value, s.ac1(table), s.raw_agreement(table).value) == pytest.approx((1, 1, 1))
    one_word = s.cross_table(["a"] * 4, ["a"] * 4, ("a", "b"))
    assert math.isnan(s.kappa(one_word).value), "kappa cannot say where only one word was used"
    assert s.ac1(one_word) == 1
    for table in ([[111, 0], [7, 0]], [[111, 7], [0, 0]], [[0, 3], [0, 0]]):
        found = s.kappa(table)
        assert (found.value, math.copysign(1, found.value)) == (0, 1), "0 by its formula, never -0"
        assert math.isnan(found.low), "of which no spread is known"
    assert s.limits_of_agreement([0.0, 0.0, 0.0]).bias == s.Estimate(0.0, 0.0, 0.0, 3)
    assert s.icc([[1, 1], [2, 2], [5, 5]], "(2,1)").value == 1


def test_too_few_to_say():
    assert math.isnan(s.limits_of_agreement([1.0]).upper.value)
    assert s.limits_of_agreement([1.0]).bias.value == 1
    for found in (
        s.within_sd([]),
        s.kappa(np.zeros((3, 3))),
        s.wilson(0, 0),
        s.drift([1], [1]),
        s.icc([[1, 2]], "(2,1)"),
    ):
        assert math.isnan(found.value)


def test_what_came_is_named():
    with pytest.raises(ParameterError, match="1 missing values; 1 dimension"):
        s.within_sd([1.0, np.nan])
    with pytest.raises(ParameterError, match="the rating 'maybe' came; allowed: yes, no"):
        s.cross_table(["maybe"], ["no"], ("yes", "no"))
    with pytest.raises(ParameterError, match=r"form came as 'ICC2'; allowed: \(1,1\)"):
        s.icc([[1, 2], [3, 4]], "ICC2")
    with pytest.raises(ParameterError, match="0 <= expected < at_most"):
        s.acceptance_plan(100, 0.05, expected=0.05)
    with pytest.raises(ParameterError, match="needs the same number, two or more"):
        s.fleiss_kappa([[1, 2], [3, 4]])
    with pytest.raises(ParameterError, match="a square one"):
        s.kappa([[1, 2, 3], [4, 5, 6]])
    with pytest.raises(ParameterError, match="give a count from 0 to n"):
        s.wilson(3, 2)


@pytest.mark.parametrize("form", ["(1,1)", "(2,1)", "(3,1)", "(1,k)", "(2,k)", "(3,k)"])
def test_icc_where_targets_do_not_differ_is_not_known_and_warns_nobody(form):
    """Two targets whose judges' means are equal: the mean of judges says nothing of targets."""
    found = s.icc([[0.1, 0.2], [0.2, 0.1]], form=form)
    assert not found.value > 0
    assert np.isnan(s.icc([[0.1, 0.1], [0.1, 0.1]], form=form).value)


@pytest.mark.parametrize("form", s.FORMS)
def test_icc_of_ratings_that_are_equal_up_to_rounding_is_not_known(form):
    for level in (0.0, 0.1, 0.18, -1e5 / 3):
        for rows in (2, 3, 5, 7, 33, 1000):
            assert math.isnan(s.icc(np.full((rows, 2), level), form).value), (rows, level)
    assert math.isnan(s.icc(np.full((40, 2), (0.3, 0.1 + 0.2)), form).value), "the same number, computed in two ways"


def test_icc_does_not_depend_on_level_and_unit_and_small_differences_count():
    rng = np.random.default_rng(0)
    truth = rng.normal(size=(50, 1))
    x = truth + 0.5 * rng.normal(size=(50, 3))
    for form in s.FORMS:
        known = s.icc(x, form)
        for other in (x + 1e4, 1e-9 * x, 1 + 1e-9 * x):
            assert s.icc(other, form).value == pytest.approx(known.value, abs=1e-5)
            assert s.icc(other, form).low == pytest.approx(known.low, abs=1e-5)
        same = s.icc(np.repeat(0.1 + truth, 3, axis=1), form)
        assert (same.value, same.low, same.high) == (1, 1, 1), "judges who agree exactly"


@settings(deadline=None, max_examples=150)
@given(st.integers(2, 9), st.integers(2, 5), st.floats(0, 3), st.sampled_from([0, 0.3, 3]), st.integers(0, 10**6))
def test_an_interval_of_every_form_is_ordered_and_holds_its_estimate(n, k, targets, judges, seed):
    """Targets that hardly differ give negative estimates; that of the mean of judges then passes a pole."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(n, k)) + judges * rng.normal(size=(1, k))
    x += targets * rng.normal(size=(n, 1)) - x.mean(axis=1, keepdims=True) * rng.choice([0.0, 0.9, 0.999])
    for form in s.FORMS:
        found = s.icc(x, form)
        if math.isnan(found.value):
            assert math.isnan(found.low), form
            assert math.isnan(found.high), form
        else:
            assert found.low <= found.value + 1e-9, form
            assert found.value <= found.high + 1e-9, form
            assert found.value <= found.high <= 1, form


def test_the_mean_of_judges_where_the_interval_of_one_judge_is_negative():
    """Low was above high here."""
    x = [[0.7, 1.0], [-0.6, 1.8], [-1.3, -0.7], [0.9, 0.0], [2.0, 0.2]]
    one, both = s.icc(x, "(2,1)"), s.icc(x, "(2,k)")
    assert one.low < -1 < one.value < one.high, "beyond the pole of Spearman and Brown's formula"
    assert both.low == -math.inf < both.value < both.high


@pytest.mark.parametrize("factor", [1e300, 1e-300])
def test_icc_of_huge_and_tiny_ratings_is_the_same(factor):
    x = np.array(SHROUT_FLEISS, float)
    for form in s.FORMS:
        assert s.icc(factor * x, form).value == pytest.approx(s.icc(x, form).value)
