"""What the drive waited for, hour by hour: boring, the ring, the regrip, or a ring that was not done yet.

A single shield, and a double shield that pushes off the ring, bores and builds in turn: there the ring
itself holds the drive. A double shield on its grippers builds while it bores: there it stands and builds
only where the ring was late, and the drive waits for the ring. Whatever else the time went to is `other`:
turning free, turning loaded without advance, standing, no record.
"""

import numpy as np

from tbmreview.domain.errors import UsageError
from tbmreview.domain.setup import DOUBLE_SHIELD
from tbmreview.domain.states import PushingSet, State
from tbmreview.domain.table import Column, Table
from tbmreview.drive.columns_text import CRITICAL_COLUMNS
from tbmreview.drive.delays import HOUR_US, Stated, texts
from tbmreview.drive.reading import Codes, Floats
from tbmreview.drive.time import Rows, rows_of
from tbmreview.motion.signals import Flags

BY_TIME = ("shift", "day", "drive")
HELD: dict[str, str] = {
    "boring_h": "boring",
    "ring_h": "ring",
    "regrip_h": "regrip",
    "ring_wait_h": "waiting for the ring",
}


def critical_path(drive: Stated, by: str = "shift") -> Table:
    """Hours that each held the drive, in the rows of `time.time_table`: CRITICAL_COLUMNS.

    boring_h + ring_h + regrip_h + ring_wait_h + other_h = total_h. ring_while_boring_h: of boring_h, with a
    ring built beside it. held_by: which of the first four took longest, '' where none took any time.
    UsageError if `by` is none; no rows for a drive without record.
    """
    if by not in BY_TIME:
        raise UsageError(f"--by {by}: the critical path is given by {', '.join(BY_TIME)}")
    rows = rows_of(drive, by)
    if rows is None:
        kinds = {"shift_start_utc": np.int64, "shift": object, "held_by": object}
        return Table({name: np.empty(0, kinds.get(name, np.float64)) for name in CRITICAL_COLUMNS})
    periods, state = drive.periods, drive.periods["state"]
    waits = _on_grippers(drive, periods["start_us"])
    hours = (periods["end_us"] - periods["start_us"]) / HOUR_US
    columns: dict[str, Column] = {
        "shift_start_utc": rows.shifts.start_us[rows.first],
        "shift": texts(rows.names),
        "boring_h": _added(drive, rows, hours * (state == State.BORING)),
        "ring_h": _added(drive, rows, hours * ((state == State.RING_BUILD) & ~waits)),
        "regrip_h": _added(drive, rows, hours * (state == State.REGRIP)),
        "ring_wait_h": _added(drive, rows, hours * ((state == State.RING_BUILD) & waits)),
        "total_h": rows.sums(np.diff(rows.shifts.start_us)) / HOUR_US,
    }
    beside = periods["ring_building_s"] / 3600 * (state == State.BORING)
    held = np.array([columns[name] for name in HELD])
    columns["other_h"] = columns["total_h"] - held.sum(axis=0)
    columns["ring_while_boring_h"] = _added(drive, rows, beside)
    columns["held_by"] = texts(
        [words if most > 0 else "" for words, most in zip(_longest(held), held.max(axis=0), strict=True)]
    )
    return Table({name: columns[name] for name in CRITICAL_COLUMNS})


def _longest(held: Floats) -> list[str]:
    words = list(HELD.values())
    return [words[i] for i in held.argmax(axis=0).tolist()]


def _added(drive: Stated, rows: Rows, hours: Floats) -> Floats:
    """Hours of the periods (n,), by row. A period lies in one shift."""
    number = rows.shifts.index(drive.periods["start_us"])
    return rows.sums(np.bincount(number, hours, len(rows.shifts.names)))


def _on_grippers(drive: Stated, at_us: Codes) -> Flags:
    """Whether a ring at each instant (n,) is one that is built beside boring: not where the stroke, or the
    one that follows its end, is pushed off the ring."""
    strokes = drive.strokes
    if drive.setup.machine.kind != DOUBLE_SHIELD or not len(strokes):
        return np.zeros(len(at_us), bool)
    on_ring = strokes["pushing_set"] == PushingSet.AUX
    stroke = np.maximum(np.searchsorted(strokes["stroke_start_us"], at_us, side="right") - 1, 0)
    after = np.minimum(stroke + 1, len(strokes) - 1)
    on_grippers: Flags = ~on_ring[stroke] & ~(on_ring[after] & (at_us >= strokes["stroke_end_us"][stroke]))
    return on_grippers
