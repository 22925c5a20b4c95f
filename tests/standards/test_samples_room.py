"""Statistics of columns: quantiles by a power transformation, subgroups, rounded values, outliers of small columns."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from stackup.standards import samples

U = (0.00135, 0.5, 0.99865)


def strata(law: stats.rv_frozen, n: int = 1000) -> np.ndarray:
    """Return the quantiles of a law in the middle of ``n`` strata: a column without chance."""
    return np.asarray(law.ppf((np.arange(n) + 0.5) / n))


@pytest.mark.parametrize(
    ("law", "positive"),
    [
        (stats.norm(10, 0.1), False),
        (stats.gumbel_r(5, 0.2), False),
        (stats.rayleigh(0, 0.01), True),
        (stats.expon(0, 2.0), True),
        (stats.lognorm(0.5), True),
    ],
)
def test_quantiles_of_known_laws(law: stats.rv_frozen, positive: bool) -> None:
    """Within 15 % of the span of the law's own (independent), the middle within 1 %."""
    low, middle, high = samples.quantiles(strata(law), positive)
    true = law.ppf(U)
    span = true[2] - true[0]
    assert (low, high) == pytest.approx((true[0], true[2]), abs=0.15 * span)
    assert middle == pytest.approx(true[1], abs=0.01 * span)


def test_quantiles_do_not_flatter() -> None:
    """A bounded law is taken too wide; below 370 parts nothing measured lies outside; above 2000 the column's own."""
    low, _, high = samples.quantiles(strata(stats.uniform()))
    assert low < U[0]
    assert high > U[2]
    few = np.append(np.random.default_rng(1).normal(0, 1, 60), 9.0)
    assert samples.quantiles(few)[2] >= 9.0
    many = strata(stats.uniform(), 5000)
    assert samples.quantiles(many) == pytest.approx(U, abs=2e-4)
    assert samples.quantiles(np.ones(9)) is None
    zeros = np.append(strata(stats.expon(0, 1.0), 200), 0.0)
    assert samples.quantiles(zeros, is_positive=True)[0] == 0.0


def test_subgroups() -> None:
    """Pooled by degrees of freedom (closed form); a subgroup of one tells nothing; F against scipy (independent)."""
    values = np.array([1.0, 3.0, 2.0, 5.0, 8.0, 4.0])
    labels = ["a", "a", "b", "b", "b", "c"]
    assert samples.pooled(values, labels) == (pytest.approx(np.sqrt((2 * 1 + 18.0) / 3)), 3)
    assert samples.pooled(values[[0, 5]], ["a", "c"]) == (0.0, 0)
    assert samples.between(values[[0, 5]], ["a", "c"]) is None
    rng = np.random.default_rng(2)
    groups = [rng.normal(k / 4, 1, 5) for k in range(6)]
    expected = stats.f_oneway(*groups).pvalue
    assert samples.between(np.concatenate(groups), np.repeat(range(6), 5)) == pytest.approx(expected, rel=1e-9)


def test_normality() -> None:
    """Far from 0 and in small units as well: the test does not depend on either; none of what does not scatter."""
    values = np.random.default_rng(3).exponential(1.0, 80)
    name, p = samples.normality(values)
    assert (name, p < 1e-4) == ("Shapiro-Wilk", True)
    assert samples.normality(1e4 + 1e-3 * values)[1] == pytest.approx(p, rel=1e-3)
    assert samples.normality(np.ones(10)) is None
    name, p = samples.normality(np.random.default_rng(3).normal(0, 1, 6000))
    assert (name, p > 0.01) == ("D'Agostino-Pearson", True)


def test_rounded_values_are_told() -> None:
    """Steps above a quarter of the spread make normal values fail the test far more often than 5 % (simulation)."""
    rng = np.random.default_rng(4)
    fine, coarse = (np.round(rng.standard_normal((200, 200)) * steps) for steps in (30, 2))
    assert not samples.is_coarse(fine[0])
    assert samples.is_coarse(coarse[0])
    rejected = [np.mean([samples.normality(row)[1] < 0.05 for row in table]) for table in (fine, coarse)]
    assert rejected[0] < 0.05 + 4 * np.sqrt(0.05 * 0.95 / 200)
    assert rejected[1] > 0.5


def test_outliers_of_clean_columns() -> None:
    """5 % of normal columns have one (simulation, four standard errors); none where nothing scatters."""
    rng, runs = np.random.default_rng(5), 1000
    found = np.mean([bool(samples.outliers(rng.standard_normal(40))) for _ in range(runs)])
    assert found == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / runs))
    assert samples.outliers(np.ones(20)) == []
    assert samples.outliers(np.array([1.0, 1.1, 0.9, 1.05, 9.0])) == [4]
