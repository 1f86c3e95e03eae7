"""How far two populations stand apart: what a mark holds against what lies beside it.

Separability after Wang S. et al. 2025 (two populations by mean and standard deviation): beta = |m2 - m1| / (s1 + s2);
the value between them at which both are wrong equally often, x = (m1 s2 + m2 s1) / (s1 + s2); the share that is
wrong there if both are normal, Phi(-beta). The equations are derived from the figures of its table, which they
reproduce. Beside it a figure that assumes no distribution: the probability that a value inside is larger than one
outside less the probability that it is smaller (-1 to 1).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FEWEST = 5  # values of either side: with less, a spread means nothing


@dataclass(frozen=True, slots=True)
class Contrast:
    """Counts, medians, ratio of medians, dominance (-1 to 1), separability, the value between, the share that is
    wrong there (0 to 0.5). NaN where a side has fewer than FEWEST values."""

    inside_n: int
    outside_n: int
    inside: float
    outside: float
    ratio: float
    dominance: float
    separability: float
    between: float
    wrong_share: float


def contrast(inside: Floats, outside: Floats) -> Contrast:
    """The contrast of two sets of values, (n,) and (m,); NaN is left out."""
    a, b = inside[np.isfinite(inside)], outside[np.isfinite(outside)]
    if min(len(a), len(b)) < FEWEST:
        one, other = (float(np.median(v)) if len(v) else math.nan for v in (a, b))
        return Contrast(len(a), len(b), one, other, _over(one, other), *[math.nan] * 4)
    one, other = float(np.median(a)), float(np.median(b))
    apart = separability(_mean_sd(a), _mean_sd(b))
    return Contrast(len(a), len(b), one, other, _over(one, other), dominance(a, b), *apart)


def separability(one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float, float]:
    """(beta, value between, share that is wrong there) of two (mean, standard deviation). Two that do not spread
    are infinitely far apart, or not at all where they are equal."""
    (m1, s1), (m2, s2) = one, other
    if s1 + s2 == 0:
        return (0.0, m1, 0.5) if m1 == m2 else (math.inf, (m1 + m2) / 2, 0.0)
    beta = abs(m2 - m1) / (s1 + s2)
    return beta, (m1 * s2 + m2 * s1) / (s1 + s2), 0.5 * math.erfc(beta / math.sqrt(2))


def dominance(a: Floats, b: Floats) -> float:
    """Share of pairs with a value of a above one of b, less the share with it below."""
    ordered = np.sort(b)
    below, upto = np.searchsorted(ordered, a, side="left"), np.searchsorted(ordered, a, side="right")
    return float((below.sum() - (len(b) - upto).sum()) / (len(a) * len(b)))


def _mean_sd(values: Floats) -> tuple[float, float]:
    return float(np.mean(values)), float(np.std(values, ddof=1))


def _over(one: float, other: float) -> float:
    return one / other if other else math.nan
