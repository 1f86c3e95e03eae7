"""Credit of time: what a sample stands for, and what is a gap in the record.

A sample stands for the time to the next one, but at most a few nominal intervals; the rest is no
record. The nominal interval is the commonest difference of stamps over the merged UTC day.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import DAY_US
from tbmreview.motion.signals import middle

UNIT_US = 100_000  # stamps of a recorder jitter by some milliseconds: differences are counted in 0.1 s
LONE_SAMPLE_US = 1_000_000  # a day of a single sample has no difference of stamps


@dataclass(frozen=True, slots=True)
class Credit:
    """nominal_us: (n,) int64, nominal interval of each sample's day; credit_us, gap_us: (n,) int64,
    the time each sample stands for and the time without record that follows it."""

    nominal_us: NDArray[np.int64]
    credit_us: NDArray[np.int64]
    gap_us: NDArray[np.int64]


def nominal_interval_us(time_us: NDArray[np.int64]) -> int:
    """The commonest difference of rising stamps [us]; of equals the least. 0 for fewer than two."""
    steps = np.diff(time_us)
    if not len(steps):
        return 0
    units = np.rint(steps / UNIT_US).astype(np.int64)
    common = np.argmax(np.bincount(units))
    return int(middle(steps[units == common]))


def nominal_by_day(time_us: NDArray[np.int64], known_day: int, known_us: int) -> NDArray[np.int64]:
    """(n,) int64: the nominal interval [us] of each sample's UTC day.

    known_day, known_us: a day of which only a part is here, and its interval over the whole day.
    """
    nominal = np.full(len(time_us), LONE_SAMPLE_US, np.int64)
    last, i = known_us or LONE_SAMPLE_US, 0
    while i < len(time_us):
        day = int(time_us[i]) // DAY_US
        j = int(np.searchsorted(time_us, (day + 1) * DAY_US))
        found = known_us if day == known_day and known_us else nominal_interval_us(time_us[i:j])
        last = found or last
        nominal[i:j] = last
        i = j
    return nominal


def credit(
    time_us: NDArray[np.int64],
    nominal_us: NDArray[np.int64],
    gap_intervals: float,
    quiet_us: Sequence[tuple[int, int]] = (),
) -> Credit:
    """Credit of each sample; the last one stands for one nominal interval.

    quiet_us: stretches of the record whose samples were left out; the sample before one stands for it.
    """
    step = np.r_[np.diff(time_us), nominal_us[-1:]]
    most = np.rint(nominal_us * gap_intervals).astype(np.int64)
    for start, end in quiet_us:
        before = int(np.searchsorted(time_us, start)) - 1
        if 0 <= before < len(time_us) - 1 and time_us[before + 1] >= end:
            most[before] = step[before]
    given = np.minimum(step, most)
    return Credit(nominal_us, given, step - given)
