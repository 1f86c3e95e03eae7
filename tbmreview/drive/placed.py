"""Tables of sums of strokes laid on the course: cells, strokes, periods and rings at their places.

Cells are divided where the course bends, what grows with the advance is stretched with it, and they are cut
anew at the steps of the axis. Seconds, revolutions and energies of turning stay as they were. What is kept
carries a fingerprint of all that it follows from; a late station rebuilds no reduction.
"""

import hashlib
import json
from dataclasses import replace
from typing import Protocol

import numpy as np

from tbmreview.domain.setup import Setup
from tbmreview.domain.site import ANCHORS, EQUATIONS
from tbmreview.domain.station import Axis
from tbmreview.domain.sums import KEYS, SUMS, split_at, sum_runs
from tbmreview.domain.table import Table
from tbmreview.drive.closing import Surveyed, closing
from tbmreview.drive.course import Course, Floats
from tbmreview.drive.reduce import Reduced, Stored
from tbmreview.store.derived import read_derived, write_derived

METHOD = 3  # raised with any change of this part that changes results
NAMES = ("cells", "strokes", "periods", "rings")
STRETCHED = tuple(s.name for s in SUMS if s.per_advance)
_KEYS = tuple(name for name, _ in KEYS)


class Placeable(Stored, Surveyed, Protocol):
    """What placing needs of a drive."""


def placed(drive: Placeable, tables: Reduced) -> Reduced:
    """The tables at their places; the same tables where nothing tells more than the strokes do."""
    made_from = _made_from(drive, tables)
    kept = _read(drive, made_from)
    if kept is not None:
        return replace(
            tables, cells=kept["cells"], strokes=kept["strokes"], periods=kept["periods"], rings=kept["rings"]
        )
    course = closing(drive, tables).course
    if course is None and not drive.axis.zones:
        return tables
    new = laid(tables, course or Course(np.zeros(1), np.zeros(1)), drive.axis, drive.setup)
    try:
        for name in NAMES:
            write_derived(drive.folder, f"placed-{name}", getattr(new, name), {"made_from": made_from})
    except OSError:
        pass  # disposable: where the folder cannot be written the results live in memory
    return new


def laid(tables: Reduced, course: Course, axis: Axis, setup: Setup) -> Reduced:
    """The tables on a course and an axis."""
    strokes = _strokes(tables.strokes, course)
    rings = _moved(tables.rings, course, ("position_from_m", "position_to_m"))
    length = setup.drive.ring_length_m
    if length is not None and len(rings) and rings["nominal"].all():
        strokes = strokes.with_columns({"ring": _nominal(strokes["position_from_m"], length)})
        rings = _nominal_rings(tables, course, length)
    return replace(
        tables,
        cells=_cells(tables, course, axis, strokes),
        strokes=strokes,
        periods=_periods(tables.periods, course),
        rings=rings,
    )


def _made_from(drive: Placeable, tables: Reduced) -> str:
    """Fingerprint of what placed tables follow from."""
    facts, axis = drive.setup.drive, drive.axis
    stated = [drive.site_table(kind) for kind in (ANCHORS, EQUATIONS)]
    read = {
        "method": METHOD,
        "reduction": tables.mark,
        "axis": [axis.chainage_start_m, axis.direction],
        "guidance": [facts.guidance_anchors, facts.guidance_offset_m],
        "ring_length_m": facts.ring_length_m,
        "stated": [{n: t[n].tolist() for n in t} for t in stated],
        "said": [
            [o.start_us, o.end_us, o.value]
            for o in drive.overrules()
            if o.what == "anchor" and not o.withdrawn
        ],
    }
    return hashlib.sha256(json.dumps(read, sort_keys=True).encode()).hexdigest()


def _read(drive: Placeable, made_from: str) -> dict[str, Table] | None:
    found: dict[str, Table] = {}
    for name in NAMES:
        read = read_derived(drive.folder, f"placed-{name}")
        if read is None or read[1].get("made_from") != made_from:
            return None
        found[name] = read[0]
    return found


def _moved(table: Table, course: Course, names: tuple[str, ...]) -> Table:
    return table.with_columns({name: course.position(table[name]) for name in names})


def _strokes(strokes: Table, course: Course) -> Table:
    moved = _moved(strokes, course, ("position_from_m", "position_to_m"))
    return moved.with_columns({"advance_m": moved["position_to_m"] - moved["position_from_m"]})


def _periods(periods: Table, course: Course) -> Table:
    start = course.position(periods["position_m"])
    end = course.position(periods["position_m"] + periods["advance_m"])
    return periods.with_columns({"position_m": start, "advance_m": end - start})


def _cells(tables: Reduced, course: Course, axis: Axis, strokes: Table) -> Table:
    pieces, _ = split_at(tables.cells, course.strokes_m)
    low, high = (pieces[f"position_{end}_m"] for end in ("from", "to"))
    new_low, new_high = course.position(low), course.position(high)
    way = high - low
    gain = np.where(way > 0, (new_high - new_low) / np.where(way > 0, way, 1.0), 1.0)
    gain *= _closes(pieces, gain, strokes)
    stretched = {name: pieces[name] * gain for name in STRETCHED}
    pieces = pieces.with_columns({**stretched, "position_from_m": new_low, "position_to_m": new_high})
    pieces, _ = split_at(pieces, _step_edges(new_low, new_high, axis))
    middle = (pieces["position_from_m"] + pieces["position_to_m"]) / 2
    pieces = pieces.with_columns({"step": axis.step(middle)})
    summed = sum_runs(pieces, _KEYS)
    order = np.lexsort([summed[name] for name in reversed(_KEYS)])
    return sum_runs(summed.rows(order), _KEYS)


def _closes(pieces: Table, gain: Floats, strokes: Table) -> Floats:
    """What makes the cells of each stroke add up to its advance, (n,). They do but for rounding, and where the
    course bends inside a cell whose advance is not even."""
    number = np.searchsorted(strokes["stroke_start_us"], pieces["stroke_start_us"])
    number = np.minimum(number, len(strokes) - 1)
    made = np.bincount(number, pieces["advance_m"] * gain, minlength=len(strokes))
    part = np.where(made > 0, strokes["advance_m"] / np.where(made > 0, made, 1.0), 1.0)
    closes: Floats = part[number]
    return closes


def _step_edges(low: Floats, high: Floats, axis: Axis) -> Floats:
    """Positions of the step edges inside the pieces, rising."""
    first, last = axis.step(low), axis.step(high)
    crossed = np.unique(np.r_[last[last > first], first[last > first] + 1])
    return np.unique(axis.step_start_m(crossed))


def _nominal(position_m: Floats, length_m: float) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Number of the ring by length that is current at positions (n,)."""
    return np.floor(np.round(position_m / length_m, 9)).astype(np.int64) + 1


def _nominal_rings(tables: Reduced, course: Course, length_m: float) -> Table:
    """Rings by length, on the places that the course gives."""
    ends = course.position(np.array([tables.rings["position_from_m"][0], tables.rings["position_to_m"][-1]]))
    first, last = (int(n) for n in _nominal(ends, length_m))
    bounds = np.r_[ends[0], np.arange(first, last) * length_m, ends[1]]
    number = np.arange(first, last + 1)
    if last > first and bounds[-1] - bounds[-2] < 1e-9:
        bounds, number = np.r_[bounds[:-2], bounds[-1:]], number[:-1]
    when = _times_at(tables, course, bounds)
    return Table(
        {
            "ring": number,
            "position_from_m": bounds[:-1],
            "position_to_m": bounds[1:],
            "start_us": when[:-1],
            "end_us": when[1:],
            "nominal": np.ones(len(number), np.int8),
        }
    )


def _times_at(
    tables: Reduced, course: Course, position_m: Floats
) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """When the face came to positions (n,), microseconds UTC; the ends as the rings have them."""
    cells = tables.cells
    place = course.position(np.r_[cells["position_from_m"], cells["position_to_m"]])
    when = np.r_[cells["start_us"], cells["end_us"]]
    order = np.lexsort([when, place])
    times = np.interp(position_m, place[order], np.maximum.accumulate(when[order])).astype(np.int64)
    times[0], times[-1] = tables.rings["start_us"][0], tables.rings["end_us"][-1]
    return times
