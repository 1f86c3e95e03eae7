"""Two populations apart: against the published table, scipy's rank test, and laws that hold."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tbmreview.findings.contrast import contrast, dominance, separability

# Wang S., Wang L., Wu L., Li X. 2025, Table 4 (read): jam mean and s, normal mean and s, published beta.
PUBLISHED = {
    "torque": (789.18, 207.19, 1938.08, 587.47, 1.45),
    "thrust": (32303.86, 14205.25, 20863.98, 4787.94, 0.60),
    "penetration": (2.43, 1.49, 3.44, 15.80, 0.06),
    "head speed": (1.11, 0.09, 3.50, 0.97, 2.25),
    "advance speed": (2.70, 1.58, 11.65, 14.27, 0.56),
    "TPI": (7.00, 2.27, 10.44, 2.63, 0.70),
    "FPI": (283.81, 156.74, 120.27, 62.96, 0.74),
}


@pytest.mark.published("Wang S. et al. 2025, jamming risk, Table 4", "read")
@pytest.mark.parametrize("name", PUBLISHED)
def test_separability_gives_the_published_figures(name: str) -> None:
    m1, s1, m2, s2, published = PUBLISHED[name]
    beta, between, _ = separability((m1, s1), (m2, s2))
    assert round(beta, 2) == published
    assert min(m1, m2) < between < max(m1, m2)
    if name == "torque":
        assert round(between, -1) == 1090  # printed in the paper (read)


BETWEEN = (1088.73, 23747.8, 2.51704, 1.31292, 3.59218, 8.59363, 167.136)


@pytest.mark.published("Wang S. et al. 2025, Table 4, the value between both populations", "derived")
def test_the_value_between_is_as_many_deviations_from_either() -> None:
    """(m1 s2 + m2 s1) / (s1 + s2), in the order of PUBLISHED (derived from its printed figures)."""
    for (m1, s1, m2, s2, _), expected in zip(PUBLISHED.values(), BETWEEN, strict=True):
        assert separability((m1, s1), (m2, s2))[1] == pytest.approx(expected, rel=5e-6)


@pytest.mark.published("Wang S. et al. 2025, jamming risk, Table 4", "read")
def test_shares_that_are_wrong_are_those_of_a_normal_distribution() -> None:
    """The paper prints 50 / 16 / 2.0 / 0.15 % (read); the normal distribution gives these, by scipy."""
    for beta in (0.0, 1.0, 2.0, 3.0):
        assert separability((0.0, 0.5), (beta, 0.5))[2] == pytest.approx(stats.norm.cdf(-beta), rel=1e-12)


values = st.lists(st.floats(-1e3, 1e3).map(lambda x: round(x, 1)), min_size=5, max_size=30).map(np.array)


@given(values, values)
def test_dominance_is_that_of_the_rank_test(a: np.ndarray, b: np.ndarray) -> None:
    u = stats.mannwhitneyu(a, b, method="asymptotic").statistic
    assert dominance(a, b) == pytest.approx(2 * u / (len(a) * len(b)) - 1, abs=1e-12)
    assert dominance(b, a) == pytest.approx(-dominance(a, b), abs=1e-12)


@given(values, values, st.floats(0.1, 100))
def test_units_do_not_matter(a: np.ndarray, b: np.ndarray, factor: float) -> None:
    one, other = contrast(a, b), contrast(a * factor, b * factor)
    assert other.dominance == pytest.approx(one.dominance, abs=1e-9)
    assert other.separability == pytest.approx(one.separability, rel=1e-6, abs=1e-9)


def test_missing_values_and_few_values_say_nothing() -> None:
    few = contrast(np.array([1.0, np.nan, 2.0]), np.arange(10.0))
    assert (few.inside_n, few.outside_n, few.inside) == (2, 10, 1.5)
    assert np.isnan(few.separability)
    assert np.isnan(few.dominance)
    none = contrast(np.array([]), np.array([]))
    assert np.isnan(none.inside)
