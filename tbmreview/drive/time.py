"""How the hours were spent: states by shift, day or drive, with utilisation and rates; delays laid over them."""

from dataclasses import dataclass

import numpy as np

from tbmreview.domain.errors import UsageError
from tbmreview.domain.shifts import ShiftBounds, shifts_covering
from tbmreview.domain.states import State
from tbmreview.domain.sums import group_sums
from tbmreview.domain.table import Column, Table
from tbmreview.drive.columns_text import TIME_COLUMNS
from tbmreview.drive.delays import (
    HOUR_US,
    UNEXPLAINED,
    Laid,
    Stated,
    code_columns,
    counts,
    has_delays,
    laid_delays,
    shared,
    texts,
)
from tbmreview.drive.reading import NO_TIME, Codes, Floats
from tbmreview.indicators.record import ratio

GROUPINGS = ("shift", "day", "drive")
BY_DELAY = "delay"

# No record is what the others leave of the shift, so that hours add up to the second.
STATE_COLUMNS: dict[State, str] = {
    State.BORING: "boring_h",
    State.TURNING_FREE: "turning_free_h",
    State.TURNING_LOADED: "turning_loaded_h",
    State.REGRIP: "regrip_h",
    State.RING_BUILD: "ring_build_h",
    State.STANDING: "standing_h",
}
# States of the regular cycle. Standing, turning loaded without advance and no record are lost hours, which
# a delay may explain.
CYCLE = (State.BORING, State.TURNING_FREE, State.REGRIP, State.RING_BUILD)


@dataclass(frozen=True, slots=True)
class Rows:
    """The shifts from the first record's to the last record's, and the row in which each is counted:
    first: (rows,) number of the first shift of each; names: (rows,) the shift of each, '' for days and the
    drive."""

    shifts: ShiftBounds
    first: Codes
    names: tuple[str, ...]

    def sums(self, by_shift: Column) -> Column:
        """What belongs to the shifts (n,), summed by row."""
        summed: Column = np.add.reduceat(by_shift, self.first)
        return summed


def rows_of(drive: Stated, by: str) -> Rows | None:
    """The rows of a grouping; None for a drive without record. UsageError if `by` is none."""
    if by not in GROUPINGS:
        raise UsageError(f"--by {by}: expected one of {', '.join(GROUPINGS)}")
    periods = drive.periods
    if not len(periods):
        return None
    shifts = shifts_covering(drive.setup, int(periods["start_us"].min()), int(periods["end_us"].max()) - 1)
    row = _row_of_shift(shifts, by)
    first = np.flatnonzero(np.r_[True, row[1:] != row[:-1]])
    return Rows(shifts, first, shifts.names if by == "shift" else ("",) * len(first))


def time_table(drive: Stated, by: str = "shift") -> Table:
    """Hours by state for each shift from the first record's to the last record's, or by day or drive.

    Columns are TIME_COLUMNS, in hours, m and m/h. The seven states add up to total_h, the whole length
    of the shifts; utilisation_calendar is boring_h over total_h. A shift without record is a row.
    A day is the set of shifts that start on that date; `shift` is empty but by shift.

    Where the site stated delays, a column for each code follows (hours as stated, each minute once), and
    unexplained_h: lost hours without a reason, that is time neither boring, turning free, regripping nor
    ring building, and covered by no delay. By delay: see `lost_hours`.
    """
    if by == BY_DELAY:
        return lost_hours(drive)
    rows = rows_of(drive, by)
    if rows is None:
        count = 1 if by == "drive" else 0
        return hours_of(np.full(count, NO_TIME), texts([""] * count), _empty_sums(count))
    sums = {name: rows.sums(values) for name, values in _by_shift(drive, rows.shifts).items()}
    table = hours_of(rows.shifts.start_us[rows.first], texts(rows.names), sums)
    return table.with_columns(_of_delays(drive, rows)) if has_delays(drive) else table


def lost_hours(drive: Stated) -> Table:
    """Delays and unexplained hours of the drive's shifts, the longest first: code, count (of delays as stated, NaN
    for unexplained), hours (lost: those in which the machine did not bore), while_boring_h (stated beside them,
    while the log shows boring), share, cumulated_share (of all lost hours)."""
    rows, laid = rows_of(drive, "drive"), laid_delays(drive)
    if rows is None:
        codes, hours, boring, count = ["unexplained"], np.zeros(1), np.zeros(1), np.full(1, np.nan)
    else:
        low, high = rows.shifts.start_us[[0, -1]].tolist()
        added = _of_delays(drive, rows)
        codes = [*laid.codes, "unexplained"]
        hours = np.array([float(column[0]) for column in added.values()])
        bored = drive.periods.rows(drive.periods["state"] == State.BORING)
        of_code = (_of_code(laid, number) for number in range(len(laid.codes)))
        both = [shared(part, (bored["start_us"], bored["end_us"])) for part in of_code]
        boring = np.array([*(float((b - a).sum()) / HOUR_US for a, b in both), 0.0])
        hours = np.maximum(hours - boring, 0.0)
        count = np.append(counts(drive, laid.codes, (low, high)), np.nan)
    order = np.argsort(-hours, kind="stable")
    share = ratio(hours[order], np.full(len(hours), hours.sum()))
    columns: dict[str, Column] = {
        "code": texts([codes[i] for i in order]),
        "count": count[order],
        "hours": hours[order],
        "while_boring_h": boring[order],
        "share": share,
        "cumulated_share": np.cumsum(share),
    }
    return Table(columns)


def rates(drive: Stated, by: str = "shift") -> Table:
    """Utilisation and advance rate over other denominators than the calendar, in the rows of `time_table`:
    recorded_h (hours with record), working_h (hours of the shifts that bore by plan, [shifts] working),
    utilisation_recorded, utilisation_working, advance_rate_recorded_m_h, advance_rate_working_m_h.

    What was bored in a shift that does not work counts in none of the *working* figures. NaN where a
    denominator is 0.
    """
    table, rows = time_table(drive, by), rows_of(drive, by)
    recorded = table["total_h"] - table["no_record_h"]
    working = boring = advance = np.zeros(len(table))
    if rows is not None:
        parts, shifts = _by_shift(drive, rows.shifts), rows.shifts
        works = np.array([drive.setup.shifts.works(name) for name in shifts.names])
        working, boring = (rows.sums(parts[name] * works) / HOUR_US for name in ("total", "boring_h"))
        advance = rows.sums(parts["advance_m"] * works)
    return Table(
        {
            "recorded_h": recorded,
            "working_h": working,
            "utilisation_recorded": ratio(table["boring_h"], recorded),
            "utilisation_working": ratio(boring, working),
            "advance_rate_recorded_m_h": ratio(table["advance_m"], recorded),
            "advance_rate_working_m_h": ratio(advance, working),
        }
    )


def _of_delays(drive: Stated, rows: Rows) -> dict[str, Column]:
    """Hours of each code, and the lost hours that none explains, by row."""
    laid, periods, starts = laid_delays(drive), drive.periods, rows.shifts.start_us
    cycle = periods.rows(np.isin(periods["state"], CYCLE))
    cycle_us = np.diff(_spent_before(cycle["start_us"], cycle["end_us"], starts))
    covered = shared((laid.start_us, laid.end_us), (cycle["start_us"], cycle["end_us"]))
    explained_us = np.diff(_spent_before(laid.start_us, laid.end_us, starts))
    explained_us = explained_us - np.diff(_spent_before(*covered, starts))
    out: dict[str, Column] = {}
    for number, name in enumerate(code_columns(laid.codes)):
        out[name] = rows.sums(np.diff(_spent_before(*_of_code(laid, number), starts))) / HOUR_US
    out[UNEXPLAINED] = rows.sums(np.diff(starts) - cycle_us - explained_us) / HOUR_US
    return out


def _of_code(laid: Laid, number: int) -> tuple[Codes, Codes]:
    mine = laid.code == number
    return laid.start_us[mine], laid.end_us[mine]


def _row_of_shift(shifts: ShiftBounds, by: str) -> Codes:
    count = len(shifts.names)
    if by == "shift":
        return np.arange(count)
    if by == "day":
        return np.array([day.toordinal() for day in shifts.dates], np.int64)
    return np.zeros(count, np.int64)


def _by_shift(drive: Stated, shifts: ShiftBounds) -> dict[str, Column]:
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


def hours_of(start_us: Codes, names: Column, sums: dict[str, Column]) -> Table:
    """The rows of `time_table` from microseconds by state and in all ('total'), and advance, each (n,)."""
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
