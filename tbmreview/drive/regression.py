"""Ordinary and robust regression with bands and leave-one-out, by statsmodels.

Columns are centred and scaled before, so that neither their units nor their offsets cost digits.
"""

import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np

from tbmreview.domain.errors import FitError
from tbmreview.drive.reading import Floats

ROBUST_STEPS = 500
TOGETHER = 1e6  # condition number of centred and scaled columns from which they are one and the same

_NO_SCALE = "more than half the points lie on one line, so a robust fit has no scale; use an ordinary fit"


@dataclass(frozen=True, slots=True)
class Regression:
    """y = c0 + c1 x1 + … as it came out. Every interval is one of 95 %, by Student's t with n - terms degrees of freedom.

    values, standard_errors, low, high: (terms,), the constant first. fitted and its band (the mean at given x):
    (n,); new_low, new_high: where a further y is to be expected. left_out: each y as the others tell it, (n,), NaN
    where they do not. residual_sd: of y about the line; robust: from the median absolute deviation. r_squared: NaN
    for robust. condition: number of the centred and scaled columns.
    """

    values: Floats
    standard_errors: Floats
    low: Floats
    high: Floats
    fitted: Floats
    fitted_low: Floats
    fitted_high: Floats
    new_low: Floats
    new_high: Floats
    left_out: Floats
    residual_sd: float
    r_squared: float
    condition: float


def regress(x: Floats, y: Floats, robust: bool = False) -> Regression:
    """Regression of y, (n,), on the columns of x, (n, k), with a constant.

    Ordinary least squares; robust: Huber's M-estimator (k = 1.345) with the scale from the median absolute
    deviation and standard errors of kind H1 (Huber 1981). FitError with no more points than terms, for a column that
    does not vary or is made of others, and where a robust fit has no scale or does not settle.
    """
    terms = x.shape[1] + 1
    if len(y) <= terms:
        raise FitError(f"{len(y)} points are too few for {terms} coefficients")
    centre, spread = x.mean(axis=0), x.std(axis=0)
    if not np.all(spread > 1e-12 * np.abs(x).max(axis=0, initial=1e-300)):
        raise FitError("a column does not vary")
    design = _design(x, centre, spread)
    condition = float(np.linalg.cond(design))
    if condition > TOGETHER:
        raise FitError("the columns move together, so their parts cannot be told apart; leave one out")
    result = _fitted(design, y, robust)
    back = np.eye(terms)  # from centred and scaled to the columns as they are
    back[1:, 1:] = np.diag(1 / spread)
    back[0, 1:] = -centre / spread
    coefficients, line = (result.t_test(rows, use_t=True) for rows in (back, design))
    low, high = coefficients.conf_int(0.05).T
    fitted_low, fitted_high = line.conf_int(0.05).T
    residual_sd = float(result.scale if robust else np.sqrt(result.scale))
    # Half the band of the mean is t times its standard error: the same t for a further value.
    quantile = (high - low)[0] / 2 / np.ravel(coefficients.sd)[0] if np.ravel(coefficients.sd)[0] > 0 else 0.0
    wide = quantile * np.sqrt(np.ravel(line.sd) ** 2 + residual_sd**2)
    fitted = np.ravel(line.effect)
    return Regression(
        *(np.ravel(coefficients.effect), np.ravel(coefficients.sd), low, high),
        *(fitted, fitted_low, fitted_high, fitted - wide, fitted + wide),
        _left_out(x, y, robust),
        residual_sd,
        np.nan if robust else float(result.rsquared),
        condition,
    )


def _design(x: Floats, centre: Floats, spread: Floats) -> Floats:
    return np.column_stack([np.ones(len(x)), (x - centre) / spread])


def _fitted(design: Floats, y: Floats, robust: bool) -> Any:
    from statsmodels.regression.linear_model import OLS
    from statsmodels.robust.norms import HuberT
    from statsmodels.robust.robust_linear_model import RLM
    from statsmodels.tools.sm_exceptions import ConvergenceWarning

    if not robust:
        return OLS(y, design).fit()
    tolerance = 1e-12 * max(float(np.abs(y).max()), 1e-300)
    with warnings.catch_warnings():
        warnings.simplefilter("error", ConvergenceWarning)
        try:
            result = RLM(y, design, M=HuberT()).fit(conv="coefs", tol=tolerance, maxiter=ROBUST_STEPS)
        except (ConvergenceWarning, ZeroDivisionError) as error:
            raise FitError(_NO_SCALE) from error
    if result.scale <= 1e-9 * np.ptp(y):
        raise FitError(_NO_SCALE)
    if result.fit_history["iteration"] >= ROBUST_STEPS or not np.all(np.isfinite(result.params)):
        raise FitError("the robust fit does not settle; use an ordinary fit")
    return result


def _left_out(x: Floats, y: Floats, robust: bool) -> Floats:
    """Each y as the fit to the others tells it, (n,); NaN where the others make no fit."""
    told = np.full(len(y), np.nan)
    for one in range(len(y)):
        others = np.arange(len(y)) != one
        centre, spread = x[others].mean(axis=0), x[others].std(axis=0)
        if not np.all(spread > 1e-12 * np.abs(x).max(axis=0, initial=1e-300)):
            continue
        design = _design(x, centre, spread)
        if np.linalg.cond(design[others]) > TOGETHER:
            continue
        try:
            told[one] = design[one] @ _fitted(design[others], y[others], robust).params
        except FitError:
            continue
    return told
