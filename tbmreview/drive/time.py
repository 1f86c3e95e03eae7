"""How the hours were spent: states by shift, day or drive, with utilisation and rates."""

import numpy as np

from tbmreview.domain.errors import UsageError
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.shifts import ShiftBounds, shifts_covering
from tbmreview.domain.states import State
from tbmreview.domain.sums import group_sums
from tbmreview.domain.table import Column, Table
from tbmreview.drive.columns_text import TIME_COLUMNS
from tbmreview.drive.reading import NO_TIME, Codes, Floats, Readable
from tbmreview.indicators.record import ratio

BY = ("shift", "day", "drive")
HOUR_US = 3600 * MICROSECONDS

# No record is what the others leave of the shift, so that hours add up to the second.
STATE_COLUMNS: dict[State, str] = {
    State.BORING: "boring_h",
    State.TURNING_FREE: "turning_free_h",
    State.TURNING_LOADED: "turning_loaded_h",
    State.REGRIP: "regrip_h",
    State.RING_BUILD: "ring_build_h",
    State.STANDING: "standing_h",
}


def time_table(drive: Readable, by: str = "shift") -> Table:
    """Hours by state for each shift from the first record's to the last record's, or by day or drive.

    Columns are TIME_COLUMNS, in hours, m and m/h. The seven states add up to total_h, the whole length
    of the shifts; utilisation_calendar is boring_h over total_h. A shift without record is a row.
    A day is the set of shifts that start on that date; `shift` is empty for a row of several.
    """
    if by not in BY:
        raise UsageError(f"--by {by}: expected one of {', '.join(BY)}")
    periods = drive.periods
    if not len(periods):
        rows = 1 if by == "drive" else 0
        return _finished(np.full(rows, NO_TIME), _texts([""] * rows), _empty_sums(rows))
    shifts = shifts_covering(drive.setup, int(periods["start_us"].min()), int(periods["end_us"].max()) - 1)
    row = _row_of_shift(shifts, by)
    first = np.flatnonzero(np.r_[True, row[1:] != row[:-1]])
    sums = {name: np.add.reduceat(values, first) for name, values in _by_shift(drive, shifts).items()}
    several = np.diff(np.r_[first, len(row)]) > 1
    names = [
        ("" if many else shifts.names[i]) for i, many in zip(first.tolist(), several.tolist(), strict=True)
    ]
    return _finished(shifts.start_us[first], _texts(names), sums)


def _row_of_shift(shifts: ShiftBounds, by: str) -> Codes:
    count = len(shifts.names)
    if by == "shift":
        return np.arange(count)
    if by == "day":
        return np.array([day.toordinal() for day in shifts.dates], np.int64)
    return np.zeros(count, np.int64)


def _by_shift(drive: Readable, shifts: ShiftBounds) -> dict[str, Column]:
    """Microseconds by state and in all, advance, for each shift."""
    periods, starts = drive.periods, shifts.start_us
    out: dict[str, Column] = {"total": np.diff(starts)}
    for state, name in STATE_COLUMNS.items():
        of_state = periods.rows(periods["state"] == state)
        out[name] = np.diff(_spent_before(of_state["start_us"], of_state["end_us"], starts))
    cells = drive.cells
    advance = group_sums(
        Table({name: cells[name] for name in ("advance_m", "unrecorded_advance_m")}),
        shifts.index(cells["shift_start_us"]),
        len(shifts.names),
    )
    return out | {name: advance[name] for name in advance}


def _spent_before(start_us: Codes, end_us: Codes, at_us: Codes) -> Codes:
    """Microseconds of the periods (sorted, none over another) that lie before each instant."""
    lengths = np.concatenate([[0], np.cumsum(end_us - start_us)]).astype(np.int64)
    begun = np.searchsorted(start_us, at_us, side="right")
    spent: Codes = lengths[begun]
    inside = begun > 0
    over = np.zeros(len(at_us), np.int64)
    over[inside] = np.maximum(end_us[begun[inside] - 1] - at_us[inside], 0)
    return spent - over


def _empty_sums(rows: int) -> dict[str, Column]:
    names = ("total", *STATE_COLUMNS.values(), "advance_m", "unrecorded_advance_m")
    return {name: np.zeros(rows) for name in names}


def _texts(names: list[str]) -> Column:
    return np.array(names, dtype=object) if names else np.empty(0, object)


def _finished(start_us: Codes, names: Column, sums: dict[str, Column]) -> Table:
    hours: dict[str, Floats] = {name: sums[name] / HOUR_US for name in STATE_COLUMNS.values()}
    spent = sum((sums[name] for name in STATE_COLUMNS.values()), np.zeros(len(names), np.int64))
    total = sums["total"] / HOUR_US
    advance = sums["advance_m"]
    columns: dict[str, Column] = {
        **hours,
        "shift_start_utc": start_us,
        "shift": names,
        "no_record_h": (sums["total"] - spent) / HOUR_US,
        "total_h": total,
        "advance_m": advance,
        "utilisation_calendar": ratio(hours["boring_h"], total),
        "penetration_rate_m_h": ratio(advance - sums["unrecorded_advance_m"], hours["boring_h"]),
        "advance_rate_m_h": ratio(advance, total),
    }
    return Table({name: columns[name] for name in TIME_COLUMNS})
