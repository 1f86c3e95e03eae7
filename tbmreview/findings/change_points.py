"""Change points: where the level of a series changes, by penalised least squares.

The library (ruptures, KernelCPD with a linear kernel) finds the segments for which the sum of squares about the
segments' means plus the penalty for each change is least (Killick, Fearnhead & Eckley 2012, from memory). Long
series are cut in blocks that overlap, since its time grows with the square of the length.
"""

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.robust import MAD_TO_SIGMA
from tbmreview.findings.baseline import medians
from tbmreview.findings.detector import Floats

Ints = NDArray[np.int64]

BLOCK, MARGIN = 240, 60  # values of a block, and of it what only steadies its ends


def change_points(values: Floats, least: int, penalty: float) -> Ints:
    """First index of each segment but the first, (k,) rising. values: (n,) finite. least: values of a segment.

    penalty: what a change must lower the sum of squares by, in the square of the values' unit.
    """
    found = [
        at
        for start in range(0, max(len(values) - 2 * MARGIN, 1), BLOCK - 2 * MARGIN)
        for at in _of_block(values, start, least, penalty)
    ]
    return np.array(found, np.int64)


def _of_block(values: Floats, start: int, least: int, penalty: float) -> list[int]:
    """The change points of a block but those of its margins, which belong to its neighbours."""
    from ruptures import KernelCPD  # late: slow to import

    part = values[start : start + BLOCK]
    if len(part) < 2 * least:
        return []
    ends = KernelCPD(kernel="linear", min_size=least).fit(part[:, None]).predict(pen=penalty)
    low = start + MARGIN if start else 0
    high = start + BLOCK - MARGIN if start + BLOCK < len(values) else len(values)
    return [start + end for end in ends[:-1] if low <= start + end < high]


def robust_sigma(values: Floats) -> float:
    """Standard deviation of the noise, not of the steps: of the changes from value to value, and of what is left
    beside a running median, whichever is larger. values: (n,) finite, n > 1."""
    steps = np.diff(values)
    by_steps = MAD_TO_SIGMA * float(np.median(np.abs(steps - np.median(steps))) / np.sqrt(2))
    width = min(21, len(values))
    around = np.lib.stride_tricks.sliding_window_view(values, width)
    smooth = medians(around, np.full(len(around), width))
    left = values[width // 2 : width // 2 + len(smooth)] - smooth
    return max(by_steps, MAD_TO_SIGMA * float(np.median(np.abs(left))))


def interval(values: Floats, at: int, ends: tuple[int, int], sigma: float) -> tuple[int, int]:
    """(first, last) index at which the change at `at`, between two neighbouring changes, may as well lie.

    The sum of squares there is above the least by no more than 3.84 sigma^2, the 95 % point of chi squared with
    one degree of freedom.
    """
    part = values[ends[0] : ends[1]]
    count = np.arange(1, len(part))
    total, sums = part.sum(), np.cumsum(part)[:-1]
    gain = sums**2 / count + (total - sums) ** 2 / (len(part) - count)
    near = np.flatnonzero(gain >= gain[at - ends[0] - 1] - CHI_SQUARED_95 * sigma**2)
    return ends[0] + 1 + int(near[0]), ends[0] + 1 + int(near[-1])


CHI_SQUARED_95 = 3.841459  # scipy.stats.chi2.ppf(0.95, 1)
