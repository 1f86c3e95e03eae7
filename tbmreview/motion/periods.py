"""Periods: runs of time in one state, cut at shift boundaries. Together they are the elapsed time.

Each holds its torque work, so that the work of turning free and of turning loaded without advance, which
no cell holds, is kept apart from the work of boring.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.shifts import ShiftBounds
from tbmreview.domain.states import State
from tbmreview.domain.table import Table
from tbmreview.motion.cells import Motion
from tbmreview.motion.pieces import cut_at_times, whole
from tbmreview.motion.record import Record
from tbmreview.motion.signals import Floats
from tbmreview.motion.states import Activity

ADDED = ("advance_m", "head_turning_s", "ring_building_s", "ring_assumed_s", "torque_work_kJ")


def make_periods(
    record: Record, motion: Motion, activity: Activity, shifts: ShiftBounds, span_us: tuple[int, int]
) -> Table:
    """The periods of a window from span_us[0] on, in order of time, without hole or overlap; one ends
    and one begins at span_us[1]."""
    table = _intervals(record, motion, activity)
    moments = np.union1d(shifts.start_us, np.array(span_us, np.int64))
    cut = cut_at_times(
        whole(
            table["start_us"], table["end_us"], table["position_m"], table["position_m"] + table["advance_m"]
        ),
        moments,
    )
    seconds = (cut.end_us - cut.start_us) / MICROSECONDS
    pieces = Table(
        {
            "start_us": cut.start_us,
            "end_us": cut.end_us,
            "state": table["state"][cut.parent],
            "shift_start_us": shifts.start_us[shifts.index(cut.start_us)],
            "position_m": cut.from_m,
            "advance_m": cut.to_m - cut.from_m,
            "head_turning_s": seconds * table["turning"][cut.parent],
            "ring_building_s": seconds * table["building"][cut.parent],
            "ring_assumed_s": seconds * table["assumed"][cut.parent],
            "torque_work_kJ": seconds * table["power_kW"][cut.parent],
        }
    )
    return _joined(pieces.rows(pieces["start_us"] >= span_us[0]), span_us[1])


def _intervals(record: Record, motion: Motion, activity: Activity) -> Table:
    """Each sample's credited time, and the gap that follows it where there is one."""
    time_us, credit = record.samples.time_us, record.credit
    n = len(time_us)
    at_next = np.append(motion.at_m[1:], motion.after_m[-1:])
    columns: dict[str, NDArray[Any]] = {
        "start_us": _pairs(time_us, time_us + credit.credit_us),
        "end_us": _pairs(time_us + credit.credit_us, time_us + credit.credit_us + credit.gap_us),
        "state": _pairs(activity.state, np.full(n, State.NO_RECORD, np.int8)),
        "position_m": _pairs(motion.at_m, motion.after_m),
        "advance_m": _pairs(motion.after_m - motion.at_m, at_next - motion.after_m),
        "turning": _pairs(activity.turning, np.zeros(n, bool)),
        "building": _pairs(activity.ring_building, np.zeros(n, bool)),
        "assumed": _pairs(activity.ring_assumed, np.zeros(n, bool)),
        "power_kW": _pairs(_power_kW(record), np.zeros(n)),
    }
    table = Table(columns)
    return table.rows(table["end_us"] > table["start_us"])


def _power_kW(record: Record) -> Floats:
    """Torque work a second (n,), 0 where torque or head speed is not measured."""
    return np.nan_to_num(record.torque_kNm * record.speed_rpm) * (2 * np.pi / 60)


def _pairs(first: NDArray[Any], second: NDArray[Any]) -> NDArray[Any]:
    return np.column_stack([first, second]).ravel()


def join_periods(pieces: Table) -> Table:
    """Periods in order of time; neighbours in one state and shift become one."""
    return _joined(pieces, None)


def _joined(pieces: Table, kept_us: int | None) -> Table:
    """The same, but for the neighbours that meet at kept_us."""
    if not len(pieces):
        return pieces
    state, shift = pieces["state"], pieces["shift_start_us"]
    new = np.r_[True, (state[1:] != state[:-1]) | (shift[1:] != shift[:-1])]
    new |= pieces["start_us"] == kept_us
    first = np.flatnonzero(new)
    columns = {name: pieces[name][first] for name in pieces}
    columns["end_us"] = pieces["end_us"][np.r_[first[1:], len(pieces)] - 1]
    for name in ADDED:
        columns[name] = np.add.reduceat(pieces[name], first)
    return Table(columns)


def empty_periods() -> Table:
    """Periods without rows."""
    kinds = {"start_us": np.int64, "end_us": np.int64, "state": np.int8, "shift_start_us": np.int64}
    names = (*kinds, "position_m", *ADDED)
    return Table({name: np.empty(0, kinds.get(name, np.float64)) for name in names})
