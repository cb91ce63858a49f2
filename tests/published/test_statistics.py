"""Statistics of campaigns against published tables and worked examples."""

import numpy as np
import pytest

from armcarry.dispersion.statistics import (
    clopper_pearson,
    lower_limit,
    normal_factor,
    rank_correlation,
    wilks_order,
    wilks_runs,
)

# Wilks (1941); Nutt & Wallis (2004): runs for one-sided limits of order 1, 2, 3 ...; recomputed with the binomial
ONE_SIDED = {
    (0.95, 0.95): [59, 93, 124, 153, 181, 208],
    (0.90, 0.95): [29, 46, 61, 76, 89, 103],
    (0.99, 0.95): [299, 473, 628, 773, 913, 1049],
    (0.95, 0.99): [90, 130, 165, 198, 229, 259],
    (0.99, 0.99): [459, 662, 838],
}


@pytest.mark.parametrize(("share", "confidence"), ONE_SIDED)
def test_runs_for_limits_without_a_distribution(share, confidence):
    for order, runs in enumerate(ONE_SIDED[(share, confidence)], start=1):
        assert wilks_runs(share, confidence, order) == runs
        assert wilks_order(runs, share, confidence) == order
        assert wilks_order(runs - 1, share, confidence) == order - 1


def test_two_sided_limits():
    # R package mistral's documentation; recomputed: 0.950024 at 93, 0.947864 at 92
    assert [wilks_runs(0.95, 0.95, order, two_sided=True) for order in (1, 2, 3)] == [93, 153, 208]


def test_limits_hold_as_often_as_they_say():
    source = np.random.default_rng(1)
    values = source.exponential(size=(4000, 93))
    true = -np.log(0.95)  # 95 % of exponential values are larger
    held = np.mean([lower_limit(row, 0.95, 0.95) <= true for row in values])
    assert held == pytest.approx(0.95, abs=0.012)
    assert lower_limit(values[0, :58], 0.95, 0.95) is None


def test_factors_for_normal_values():
    # NIST/SEMATECH e-Handbook 7.2.6.3: n = 43, 90 % with 99 %: 1.8740 one-sided (exact), Howe's 2.2173 two-sided,
    # whose exact value is 2.2228
    assert normal_factor(43, 0.90, 0.99) == pytest.approx(1.8739536, abs=1e-6)
    assert normal_factor(43, 0.90, 0.99, two_sided=True) == pytest.approx(2.2228, abs=1e-4)


# Montgomery & Runger, Applied Statistics and Probability for Engineers, 7th ed., Table XII
@pytest.mark.parametrize(
    ("runs", "share", "confidence", "factor"),
    [(10, 0.95, 0.95, 2.911), (20, 0.95, 0.95, 2.396), (30, 0.95, 0.95, 2.220), (50, 0.95, 0.95, 2.065),
     (100, 0.95, 0.95, 1.927), (30, 0.99, 0.95, 3.064), (100, 0.99, 0.99, 2.850), (2, 0.90, 0.90, 10.253)],
)  # fmt: skip
def test_one_sided_factors_of_the_textbook(runs, share, confidence, factor):
    assert normal_factor(runs, share, confidence) == pytest.approx(factor, abs=6e-4)


# Newcombe, Statistics in Medicine 17 (1998) 857: value from memory
@pytest.mark.parametrize(
    ("count", "runs", "low", "high"),
    [(81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617), (0, 20, 0.0, 0.1684), (1, 29, 0.0009, 0.1776)],
)
def test_exact_bounds_of_a_probability(count, runs, low, high):
    assert clopper_pearson(count, runs, 0.95) == pytest.approx((low, high), abs=6e-5)


def test_exact_bounds_of_scipys_documentation():
    # scipy.stats.binomtest, docstring of proportion_ci
    expected = (0.05819170033997342, 0.26739600249700846)
    assert clopper_pearson(7, 50, 0.95) == pytest.approx(expected, abs=1e-12)


def test_no_failure_in_59_runs():
    # closed form: 1 - 0.05^(1/59) one-sided, 1 - 0.025^(1/59) two-sided
    assert clopper_pearson(0, 59, 0.95, upper_only=True)[1] == pytest.approx(0.0495076, abs=1e-7)
    assert clopper_pearson(0, 59, 0.95)[1] == pytest.approx(1 - 0.025 ** (1 / 59), abs=1e-12)
    assert clopper_pearson(5, 5, 0.95)[1] == 1.0


def test_rank_correlation_agrees_with_scipy():
    stats = pytest.importorskip("scipy.stats")
    source = np.random.default_rng(3)
    drawn = source.normal(size=(40, 3)).round(1)  # with ties
    value = drawn[:, 0] + source.normal(size=40)
    expected = [stats.spearmanr(drawn[:, k], value).statistic for k in range(3)]
    np.testing.assert_allclose(rank_correlation(drawn, value), expected, atol=1e-12)
    assert np.isnan(rank_correlation(np.ones((40, 1)), value)[0])
