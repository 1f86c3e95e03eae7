"""Shifts cross midnight and clock changes; together they cover time without hole or overlap."""

from datetime import UTC, datetime, timedelta

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tbmreview.domain.setup import ShiftPlan
from tbmreview.domain.shifts import shifts_covering, utc_day
from tests.support.cells import HOUR_US, setup_of

SETUP = setup_of()


def at(text: str) -> int:
    """Microseconds of a UTC time."""
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()) * 1_000_000


def test_a_night_shift_belongs_to_the_date_on_which_it_starts() -> None:
    shifts = shifts_covering(SETUP, at("2030-01-15T02:00"), at("2030-01-15T06:00"))
    assert shifts.names == ("night", "early")
    assert [day.isoformat() for day in shifts.dates] == ["2030-01-14", "2030-01-15"]


def test_clock_changes_make_a_shift_of_seven_and_of_nine_hours() -> None:
    """Europe/Oslo: clocks go forward on 2030-03-31 and back on 2030-10-27."""
    for day, hours in (("2030-03-30T23:30", 7), ("2030-10-26T23:30", 9)):
        shifts = shifts_covering(SETUP, at(day), at(day))
        assert shifts.names == ("night",)
        assert np.diff(shifts.start_us).tolist() == [hours * HOUR_US]


@given(st.datetimes(datetime(2020, 1, 1), datetime(2040, 1, 1)), st.integers(0, 20 * 24 * 3600))
def test_shifts_hold_both_ends_and_follow_each_other(first: datetime, seconds: int) -> None:
    first_us = at(first.isoformat())
    last_us = first_us + seconds * 1_000_000
    shifts = shifts_covering(SETUP, first_us, last_us)
    assert shifts.start_us[0] <= first_us < shifts.start_us[1]
    assert shifts.start_us[-2] <= last_us < shifts.start_us[-1]
    assert np.all((np.diff(shifts.start_us) >= 7 * HOUR_US) & (np.diff(shifts.start_us) <= 9 * HOUR_US))
    assert shifts.index(np.array([first_us, last_us])).tolist() == [0, len(shifts.names) - 1]


def test_one_shift_a_day_is_the_default() -> None:
    setup = setup_of(shifts=ShiftPlan())
    shifts = shifts_covering(setup, at("2030-01-15T12:00"), at("2030-01-17T12:00"))
    assert shifts.names == ("day",) * 3
    assert np.diff(shifts.start_us).tolist() == [24 * HOUR_US] * 3


def test_utc_day() -> None:
    days = utc_day(np.array([at("1970-01-01T23:59"), at("2030-01-15T00:00")]))
    assert days.tolist() == [0, (datetime(2030, 1, 15) - datetime(1970, 1, 1)) // timedelta(days=1)]
