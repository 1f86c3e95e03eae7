"""Shifts of a drive: their bounds in UTC, across midnight and clock changes."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import DAY_US, MICROSECONDS
from tbmreview.domain.setup import Setup, clock_minutes


@dataclass(frozen=True, slots=True)
class ShiftBounds:
    """Consecutive shifts: start_us (n+1,) int64 (the last is the end of the last), names and dates (n,)."""

    start_us: NDArray[np.int64]
    names: tuple[str, ...]
    dates: tuple[date, ...]

    def index(self, time_us: NDArray[np.int64]) -> NDArray[np.int64]:
        """Number of the shift that each stamp falls in; the bounds must cover it."""
        return np.searchsorted(self.start_us, time_us, side="right") - 1


@lru_cache(maxsize=32)
def shifts_covering(setup: Setup, first_us: int, last_us: int) -> ShiftBounds:
    """All shifts from the one that holds first_us to the one that holds last_us.

    A local start that a clock change skips is moved by the change; one that comes twice is the first.
    """
    zone = setup.drive.zone
    clocks = [clock_minutes(text) for text in setup.shifts.start]
    day = datetime.fromtimestamp(first_us // MICROSECONDS, zone).date() - timedelta(days=2)
    end = datetime.fromtimestamp(last_us // MICROSECONDS, zone).date() + timedelta(days=2)
    starts: list[int] = []
    names: list[str] = []
    dates: list[date] = []
    while day <= end:
        for minutes, name in zip(clocks, setup.shifts.names, strict=True):
            local = datetime(day.year, day.month, day.day, minutes // 60, minutes % 60, tzinfo=zone)
            starts.append(int(local.timestamp()) * MICROSECONDS)
            names.append(name)
            dates.append(day)
        day += timedelta(days=1)
    bounds = np.array(starts, np.int64)
    bounds.setflags(write=False)  # shared by all who ask for the same
    i = int(np.searchsorted(bounds, first_us, side="right")) - 1
    j = int(np.searchsorted(bounds, last_us, side="right"))
    return ShiftBounds(bounds[i : j + 1], tuple(names[i:j]), tuple(dates[i:j]))


def utc_day(time_us: NDArray[np.int64]) -> NDArray[np.int64]:
    """Whole UTC days since 1970-01-01 of each stamp."""
    return np.floor_divide(time_us, DAY_US)
