"""Regression against certified values, published fits and scipy."""

import numpy as np
import pytest
from scipy import linalg, optimize, stats
from statsmodels.datasets import longley, stackloss

from tbmreview.domain.errors import FitError
from tbmreview.drive.regression import regress

RNG = np.random.default_rng(7)
X = np.column_stack([RNG.uniform(10, 250, 30), RNG.uniform(5, 100, 30)])
Y = 4.0 + 0.1 * X[:, 0] + 0.07 * X[:, 1] + RNG.normal(0, 3, 30)
ODD = Y + np.where(np.arange(30) % 10 == 3, 60.0, 0.0)  # three points far off


@pytest.mark.published("NIST Statistical Reference Datasets, Longley", "memory")
def test_certified_values_of_longley() -> None:
    """NIST Statistical Reference Datasets, linear regression, Longley (higher difficulty): certified values, written
    from memory; data as statsmodels brings them. That they agree to nine digits is the proof of both."""
    data = longley.load_pandas()
    result = regress(data.exog.to_numpy(float), data.endog.to_numpy(float))
    certified = [-3482258.63459582, 15.0618722713733, -0.0358191792925910, -2.02022980381683]
    certified += [-1.03322686717359, -0.0511041056535807, 1829.15146461355]
    errors = [890420.383607373, 84.9149257747669, 0.0334910077722432, 0.488399681651699]
    errors += [0.214274163161675, 0.226073200069370, 455.478499142212]
    np.testing.assert_allclose(result.values, certified, rtol=1e-9)
    np.testing.assert_allclose(result.standard_errors, errors, rtol=1e-9)
    assert result.residual_sd == pytest.approx(304.854073561965, rel=1e-10)
    assert result.r_squared == pytest.approx(0.995479004577296, rel=1e-10)


@pytest.mark.published("Venables and Ripley, Modern Applied Statistics with S", "memory")
def test_published_robust_fit_of_stackloss() -> None:
    """Brownlee's stack-loss data, Huber's M-estimator: coefficients as printed for rlm in Venables and Ripley, Modern
    Applied Statistics with S (from memory)."""
    data = stackloss.load_pandas()
    result = regress(data.exog.to_numpy(float), data.endog.to_numpy(float), robust=True)
    assert result.values == pytest.approx([-41.0265, 0.8294, 0.9261, -0.1278], rel=1e-3)
    assert np.isnan(result.r_squared)


def test_one_column_against_scipy() -> None:
    result, line = regress(X[:, :1], Y), stats.linregress(X[:, 0], Y)
    np.testing.assert_allclose(result.values, [line.intercept, line.slope], rtol=1e-9)
    np.testing.assert_allclose(result.standard_errors, [line.intercept_stderr, line.stderr], rtol=1e-9)
    assert result.r_squared == pytest.approx(line.rvalue**2, rel=1e-9)
    t = stats.t.ppf(0.975, 28)
    np.testing.assert_allclose(result.high - result.values, t * result.standard_errors, rtol=1e-9)
    # The textbook bands of a straight line.
    x, s = X[:, 0], np.sqrt(np.sum((Y - line.intercept - line.slope * X[:, 0]) ** 2) / 28)
    of_mean = 1 / 30 + (x - x.mean()) ** 2 / np.sum((x - x.mean()) ** 2)
    np.testing.assert_allclose(result.fitted_high - result.fitted, t * s * np.sqrt(of_mean), rtol=1e-9)
    np.testing.assert_allclose(result.fitted - result.new_low, t * s * np.sqrt(1 + of_mean), rtol=1e-9)


def test_several_columns_against_scipy() -> None:
    design = np.column_stack([np.ones(30), X])
    values, squares, *_ = linalg.lstsq(design, Y)
    result = regress(X, Y)
    np.testing.assert_allclose(result.values, values, rtol=1e-9)
    cov = linalg.inv(design.T @ design) * squares / 27
    np.testing.assert_allclose(result.standard_errors, np.sqrt(np.diag(cov)), rtol=1e-9)
    np.testing.assert_allclose(result.fitted, design @ values, rtol=1e-9)
    leverage = np.diag(design @ linalg.inv(design.T @ design) @ design.T)
    np.testing.assert_allclose(Y - result.left_out, (Y - result.fitted) / (1 - leverage), rtol=1e-8)


def test_a_robust_fit_is_the_least_of_hubers_loss() -> None:
    """At the scale found, scipy's own minimiser of Huber's loss comes to the same coefficients."""
    design = np.column_stack([np.ones(30), X])
    result = regress(X, ODD, robust=True)
    start = linalg.lstsq(design, ODD)[0]
    least = optimize.least_squares(
        lambda c: ODD - design @ c,
        start,
        jac=lambda c: -design,
        loss="huber",
        f_scale=1.345 * result.residual_sd,
        x_scale=[1, 0.01, 0.01],
        xtol=None,
        ftol=None,
        gtol=1e-11,
    )
    np.testing.assert_allclose(result.values, least.x, rtol=1e-9)
    residuals = ODD - result.fitted
    mad = np.median(np.abs(residuals)) / stats.norm.ppf(0.75)
    assert result.residual_sd == pytest.approx(mad, rel=1e-9)


def test_few_odd_points_hardly_move_a_robust_fit() -> None:
    truth = regress(X, Y).values
    slopes = {robust: regress(X, ODD, robust).values[1:] - truth[1:] for robust in (False, True)}
    assert np.abs(slopes[True]).max() < 0.3 * np.abs(slopes[False]).max()


def test_units_scale() -> None:
    for robust in (False, True):
        one, other = regress(X, ODD, robust), regress(X * [1000.0, 0.01] + [0.0, 5.0], ODD * 1e-3, robust)
        np.testing.assert_allclose(other.values[1:], one.values[1:] * 1e-3 / [1000.0, 0.01], rtol=1e-9)
        np.testing.assert_allclose(other.new_high, one.new_high * 1e-3, rtol=1e-9)
        np.testing.assert_allclose(other.left_out, one.left_out * 1e-3, rtol=1e-9)


def test_a_point_that_alone_carries_a_slope_is_not_told_by_the_others() -> None:
    x = np.array([[1.0]] * 9 + [[2.0]])
    left_out = regress(x, np.arange(10.0)).left_out
    assert np.isnan(left_out).tolist() == [False] * 9 + [True]


@pytest.mark.parametrize(
    ("x", "y", "robust", "says"),
    [
        (X[:3], Y[:3], False, "3 points are too few for 3 coefficients"),
        (X * [1, 0], Y, False, "does not vary"),
        (X[:, [0, 0]] * [1, 3], Y, False, "move together"),
        (X, 2.0 * X[:, 0], True, "no scale"),
    ],
)
def test_what_cannot_be_fitted(x: np.ndarray, y: np.ndarray, robust: bool, says: str) -> None:
    with pytest.raises(FitError, match=says):
        regress(x, y, robust)
