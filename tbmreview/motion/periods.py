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
from tbmreview.motion.pieces import cut_at_times, shift_starts, whole
from tbmreview.motion.record import Record
from tbmreview.motion.signals import Floats
from tbmreview.motion.states import Activity

ADDED = ("advance_m", "head_turning_s", "ring_building_s", "ring_assumed_s", "torque_work_kJ")


def make_periods(
    record: Record, motion: Motion, activity: Activity, shifts: ShiftBounds, span_us: tuple[int, int]
) -> Table:
    """The periods of a window from span_us[0] on, in order of time, without hole or overlap; one ends
    and one begins at span_us[1]."""
    origin = int(np.searchsorted(record.samples.time_us, span_us[0]))
    table = _intervals(record, motion, activity, origin)
    moments = np.union1d(shifts.start_us, np.array(span_us, np.int64))
    cut = cut_at_times(
        whole(
            table["start_us"], table["end_us"], table["position_m"], table["position_m"] + table["advance_m"]
        ),
        moments,
    )
    of = table if len(cut.parent) == len(table) else table.rows(cut.parent)
    seconds = (cut.end_us - cut.start_us) / MICROSECONDS
    pieces = Table(
        {
            "start_us": cut.start_us,
            "end_us": cut.end_us,
            "state": of["state"],
            "shift_start_us": shift_starts(cut.start_us, shifts),
            "position_m": cut.from_m,
            "advance_m": cut.to_m - cut.from_m,
            "head_turning_s": seconds * of["turning"],
            "ring_building_s": seconds * of["building"],
            "ring_assumed_s": seconds * of["assumed"],
            "torque_work_kJ": seconds * of["power_kW"],
        }
    )
    return _joined(pieces, span_us[1])


def _intervals(record: Record, motion: Motion, activity: Activity, origin: int) -> Table:
    """Each sample's credited time from sample `origin` on, and the gap that follows it where there is one."""
    time_us, gap_us = record.samples.time_us[origin:], record.credit.gap_us[origin:]
    end_us = time_us + record.credit.credit_us[origin:]
    at_m, after_m = motion.at_m[origin:], motion.after_m[origin:]
    gap = np.flatnonzero(gap_us)
    at_next = np.append(at_m[1:], after_m[-1:])
    columns: dict[str, tuple[NDArray[Any], Any]] = {  # of the samples, of the gaps
        "start_us": (time_us, end_us[gap]),
        "end_us": (end_us, end_us[gap] + gap_us[gap]),
        "state": (activity.state[origin:], State.NO_RECORD),
        "position_m": (at_m, after_m[gap]),
        "advance_m": (after_m - at_m, (at_next - after_m)[gap]),
        "turning": (activity.turning[origin:], False),
        "building": (activity.ring_building[origin:], False),
        "assumed": (activity.ring_assumed[origin:], False),
        "power_kW": (_power_kW(record)[origin:], 0.0),
    }
    if not len(gap):
        return Table({name: of_samples for name, (of_samples, _) in columns.items()})
    return Table({name: np.insert(one, gap + 1, other) for name, (one, other) in columns.items()})


def _power_kW(record: Record) -> Floats:
    """Torque work a second (n,), 0 where torque or head speed is not measured."""
    power: Floats = record.torque_kNm * record.speed_rpm
    power[np.isnan(power)] = 0.0
    return power * (2 * np.pi / 60)


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
