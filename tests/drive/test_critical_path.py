"""What held the drive: boring, ring, regrip, waiting for the ring."""

import numpy as np
import pytest

from tbmreview.domain.shifts import shifts_covering
from tbmreview.domain.states import PushingSet, Reaction, State
from tbmreview.domain.table import Table, stack
from tbmreview.drive.columns_text import CRITICAL_COLUMNS
from tbmreview.drive.critical_path import critical_path
from tests.support.blocks import machine
from tests.support.cells import HOUR_US, TableDrive, drive_of, setup_of, steady

KIND = {"double": "double shield", "single": "single shield"}
SETUP = setup_of()
BEGAN = int(shifts_covering(SETUP, 1_900_000_000_000_000, 1_900_000_000_000_001).start_us[0])
HOURS = (
    (State.BORING, 2.0, 0.5),
    (State.REGRIP, 0.25, 0.0),
    (State.RING_BUILD, 3.0, 3.0),
    (State.TURNING_LOADED, 0.75, 0.0),
    (State.BORING, 0.5, 0.5),
    (State.STANDING, 1.5, 0.0),
)


def a_shift(kind: str, pushing_set: PushingSet) -> TableDrive:
    """A whole shift of eight hours, in one stroke."""
    hours = np.array([h for _, h, _ in HOURS])
    ends = BEGAN + np.rint(np.cumsum(hours) * HOUR_US).astype(np.int64)
    periods = Table(
        {
            "state": np.array([state for state, _, _ in HOURS], np.int8),
            "start_us": np.r_[BEGAN, ends[:-1]],
            "end_us": ends,
            "ring_building_s": np.array([3600 * building for _, _, building in HOURS]),
        }
    )
    setup = setup_of(machine=machine(kind=KIND[kind]))
    reaction = Reaction.RING if pushing_set == PushingSet.AUX else Reaction.GRIPPERS
    drive = drive_of(
        setup, steady(setup.drive.axis, (0.0, 1.0), start_us=BEGAN, reaction=reaction), periods=periods
    )
    sets = np.full(len(drive.strokes), pushing_set, np.int8)
    return TableDrive(setup, drive.cells, drive.strokes.with_columns({"pushing_set": sets}), periods)


@pytest.mark.parametrize(
    ("kind", "pushing_set", "ring_h", "ring_wait_h", "held_by"),
    [
        ("double", PushingSet.MAIN, 0.0, 3.0, "waiting for the ring"),
        ("double", PushingSet.AUX, 3.0, 0.0, "ring"),
        ("single", PushingSet.MAIN, 3.0, 0.0, "ring"),
    ],
)
def test_who_held_a_shift(
    kind: str, pushing_set: PushingSet, ring_h: float, ring_wait_h: float, held_by: str
) -> None:
    rows = critical_path(a_shift(kind, pushing_set))
    assert rows.names == CRITICAL_COLUMNS
    assert {name: rows[name].tolist() for name in CRITICAL_COLUMNS[2:]} == {
        "boring_h": [2.5],
        "ring_h": [ring_h],
        "regrip_h": [0.25],
        "ring_wait_h": [ring_wait_h],
        "other_h": [2.25],
        "total_h": [8.0],
        "ring_while_boring_h": [1.0],
        "held_by": [held_by],
    }


def test_rows_are_those_of_the_hours_and_no_record_is_other() -> None:
    one = a_shift("double", PushingSet.MAIN)
    later = one.periods.with_columns(
        {name: one.periods[name] + 32 * HOUR_US for name in ("start_us", "end_us")}
    )
    drive = TableDrive(one.setup, one.cells, one.strokes, stack([one.periods, later]))
    rows = critical_path(drive)
    assert len(rows) == 5
    assert rows["boring_h"].tolist() == [2.5, 0, 0, 0, 2.5]
    assert rows["other_h"].tolist() == [2.25, 8, 8, 8, 2.25]
    assert rows["held_by"].tolist()[1] == ""
    whole = critical_path(drive, "drive")
    assert len(whole) == 1
    assert whole["total_h"][0] == 40.0


def test_a_ring_before_the_first_stroke_off_the_ring_is_no_waiting() -> None:
    one = a_shift("double", PushingSet.MAIN)
    end_us = int(one.periods["end_us"][0])
    first = one.strokes.with_columns({"stroke_end_us": np.array([end_us])})
    after = first.with_columns(
        {
            "stroke_start_us": np.array([end_us + 4 * HOUR_US]),
            "pushing_set": np.array([PushingSet.AUX], np.int8),
        }
    )
    rows = critical_path(TableDrive(one.setup, one.cells, stack([first, after]), one.periods))
    assert (rows["ring_h"][0], rows["ring_wait_h"][0]) == (3.0, 0.0)


def test_a_drive_without_record_has_no_rows() -> None:
    one = a_shift("double", PushingSet.MAIN)
    empty = TableDrive(one.setup, one.cells, one.strokes, one.periods.rows(slice(0, 0)))
    assert critical_path(empty).names == CRITICAL_COLUMNS
    assert not len(critical_path(empty))
