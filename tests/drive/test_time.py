"""Hours: the seven states make up the shift to the second; published utilisation figures."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tbmreview.domain.errors import UsageError
from tbmreview.domain.setup import ShiftPlan
from tbmreview.domain.states import State
from tbmreview.domain.table import Table
from tbmreview.drive.reading import NO_TIME
from tbmreview.drive.time import time_table
from tests.support.cells import HOUR_US, TableDrive, drive_of, periods_of, setup_of, steady

COLUMNS = (
    "shift_start_utc",
    "shift",
    "boring_h",
    "turning_free_h",
    "turning_loaded_h",
    "regrip_h",
    "ring_build_h",
    "standing_h",
    "no_record_h",
    "total_h",
    "advance_m",
    "utilisation_calendar",
    "penetration_rate_m_h",
    "advance_rate_m_h",
)
STATES = COLUMNS[2:9]
SHIFT_US = (
    1_900_000_000_000_000 - 1_900_000_000_000_000 % (24 * HOUR_US) + 5 * HOUR_US
)  # 06:00 in Oslo, winter


def drive(
    *hours: tuple[State, float], setup=None, start_us: int = SHIFT_US, boring_m: float = 0.0
) -> TableDrive:  # type: ignore[no-untyped-def]
    """A drive whose periods follow each other; what was bored lies in the first boring period."""
    setup = setup or setup_of()
    runs, now = [], start_us
    for state, length in hours:
        runs.append((state, now, now + round(length * HOUR_US)))
        now = runs[-1][2]
    cells = steady(setup.drive.axis, (0.0, boring_m or 0.1), start_us=start_us)
    return drive_of(setup, cells if boring_m else cells.rows(slice(0, 0)), periods=periods_of(*runs))


def test_columns_are_those_of_the_design() -> None:
    for by in ("shift", "day", "drive"):
        assert time_table(drive((State.BORING, 1.0)), by).names == COLUMNS
        assert time_table(drive(), by).names == COLUMNS


@pytest.mark.published("definitions of utilisation and advance rate", "memory")
def test_a_published_day_sheet() -> None:
    """PR 2.88 m/h and U 0.40 over a shift of ten hours: 11.52 m, AR 1.152 m/h (definitions, from memory, sure)."""
    setup = setup_of(shifts=ShiftPlan(("06:00", "16:00"), ("day", "night")))
    of = drive(
        (State.BORING, 4.0), (State.REGRIP, 0.5), (State.RING_BUILD, 2.0), (State.STANDING, 3.5),
        setup=setup, boring_m=11.52,
    )  # fmt: skip
    row = time_table(of, "shift")
    assert row["shift"].tolist() == ["day"]
    assert row["total_h"][0] == pytest.approx(10.0)
    assert row["utilisation_calendar"][0] == pytest.approx(0.40)
    assert row["penetration_rate_m_h"][0] == pytest.approx(2.88)
    assert row["advance_rate_m_h"][0] == pytest.approx(1.152)


@pytest.mark.published("Norwegian Tunnelling Society, Publication 11", "secondary")
@pytest.mark.parametrize(
    ("metres", "hours", "rate"), [(69.1, 10.0, 6.91), (426.8, 100.0, 4.268), (1358.0, 430.0, 3.15814)]
)
def test_published_advance_rates(metres: float, hours: float, rate: float) -> None:
    """Norwegian Tunnelling Society, Publication 11 (secondary): Meraaker, best shift, week and month."""
    starts = tuple(f"{h:02d}:00" for h in range(0, 24, 2)) if hours == 100.0 else ("06:00", "16:00")
    setup = setup_of(shifts=ShiftPlan(starts, tuple(map(str, range(len(starts))))))
    rows = time_table(drive((State.BORING, hours), setup=setup, boring_m=metres), "drive")
    assert metres / hours == pytest.approx(rate, rel=1e-5)
    assert rows["advance_rate_m_h"][0] == pytest.approx(metres / rows["total_h"][0])
    assert rows["penetration_rate_m_h"][0] == pytest.approx(rate, rel=1e-5)


states = st.tuples(st.sampled_from(list(State)), st.floats(0.01, 30.0))


@given(
    st.lists(states, min_size=1, max_size=12), st.integers(0, 200), st.sampled_from(["shift", "day", "drive"])
)
@settings(max_examples=60)
def test_the_seven_states_make_up_the_shifts(runs: list[tuple[State, float]], late_h: int, by: str) -> None:
    """Across clock changes too: the start moves over the last days of March."""
    start = SHIFT_US + 8 * 24 * HOUR_US + late_h * HOUR_US
    rows = time_table(drive(*runs, start_us=start), by)
    np.testing.assert_allclose(sum(rows[name] for name in STATES), rows["total_h"], atol=1 / 3600)
    assert np.all(rows["no_record_h"] >= 0)
    for state, name in zip(
        (State.BORING, State.TURNING_FREE, State.STANDING),
        ("boring_h", "turning_free_h", "standing_h"),
        strict=True,
    ):
        assert np.sum(rows[name]) == pytest.approx(sum(h for s, h in runs if s == state), abs=1e-6)
    total = time_table(drive(*runs, start_us=start), "shift")["total_h"].sum()
    assert np.sum(rows["total_h"]) == pytest.approx(total)


def test_what_lies_before_and_after_the_record_is_no_record() -> None:
    row = time_table(drive((State.STANDING, 2.0), start_us=SHIFT_US + 3 * HOUR_US), "shift")
    assert row["no_record_h"].tolist() == [6.0]
    assert row["standing_h"].tolist() == [2.0]


def test_a_shift_without_any_record_is_a_row() -> None:
    rows = time_table(drive((State.STANDING, 1.0), (State.NO_RECORD, 22.0), (State.STANDING, 1.0)), "shift")
    assert rows["shift"].tolist() == ["early", "late", "night"]
    assert rows["no_record_h"].tolist() == [7.0, 8.0, 7.0]
    assert rows["total_h"].tolist() == [8.0, 8.0, 8.0]


def test_a_day_is_the_shifts_that_start_on_it() -> None:
    rows = time_table(drive((State.STANDING, 30.0)), "day")
    assert rows["total_h"].tolist() == [24.0, 8.0]
    assert rows["shift"].tolist() == ["", ""]
    assert rows["shift_start_utc"].tolist() == [SHIFT_US, SHIFT_US + 24 * HOUR_US]


def test_unrecorded_advance_counts_for_the_shift_and_not_for_the_rate() -> None:
    of = drive((State.BORING, 4.0), (State.STANDING, 4.0), boring_m=11.52)
    gap = {"unrecorded_advance_m": of.cells["advance_m"] / 2}
    row = time_table(drive_of(of.setup, of.cells.with_columns(gap), periods=of.periods), "shift")
    assert row["advance_m"][0] == pytest.approx(11.52)
    assert row["penetration_rate_m_h"][0] == pytest.approx(1.44)
    assert row["advance_rate_m_h"][0] == pytest.approx(1.44)


def test_an_empty_drive_has_no_shift_and_one_row_for_the_drive() -> None:
    assert len(time_table(drive(), "shift")) == 0
    row = time_table(drive(), "drive")
    assert row["shift_start_utc"].tolist() == [NO_TIME]
    assert row["total_h"].tolist() == [0.0]
    assert np.isnan(row["utilisation_calendar"][0])


def test_no_boring_is_no_rate() -> None:
    row: Table = time_table(drive((State.STANDING, 8.0)), "shift")
    assert np.isnan(row["penetration_rate_m_h"][0])
    assert row["utilisation_calendar"].tolist() == [0.0]
    assert row["advance_rate_m_h"].tolist() == [0.0]


def test_another_grouping_is_wrong_usage() -> None:
    with pytest.raises(UsageError, match="week"):
        time_table(drive(), "week")
