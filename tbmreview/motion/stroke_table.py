"""The table of strokes: one row for each stroke that bored, or advanced in a gap of the record."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.states import PushingSet, Reaction
from tbmreview.domain.table import Table
from tbmreview.motion.cells import Motion
from tbmreview.motion.net_forces import SEEN_NONE, SEEN_STROKE
from tbmreview.motion.record import Record
from tbmreview.motion.resets import extension_of
from tbmreview.motion.signals import Ints, middle
from tbmreview.motion.starting import starts_of
from tbmreview.motion.strokes import Worked, boring_thrust

INTERRUPTION_S = 60.0  # a shorter halt within a stroke is no interruption

# Columns of the table: name -> (kind of number, unit, what it is).
STROKE_COLUMNS: tuple[tuple[str, type, str, str], ...] = (
    ("stroke_start_us", np.int64, "us", "where the set had come back: the stroke begins"),
    ("stroke_end_us", np.int64, "us", "its last instant of boring so far"),
    ("finished", np.int8, "", "1: the set has been reset after it"),
    ("interruptions", np.int64, "", "halts of a minute or more between its bouts"),
    ("position_from_m", np.float64, "m", "face before it"),
    ("position_to_m", np.float64, "m", "face after it"),
    ("pushing_set", np.int8, "", "states.PushingSet"),
    ("reaction", np.int8, "", "states.Reaction of most of its advance"),
    ("advance_m", np.float64, "m", "the unrecorded included"),
    (
        "beyond_m",
        np.float64,
        "m",
        "of it, advance beyond the limit of the stroke sensor: by speed or chainage",
    ),
    ("drag_kN", np.float64, "kN", "force to push without contact"),
    ("drag_sd_kN", np.float64, "kN", "standard deviation: of its samples, widened for few; see net_forces"),
    ("drag_n", np.int64, "", "number of samples, or of nearby strokes"),
    ("drag_source", object, "", "stroke or none; net_forces fills in what it can"),
    ("no_load_torque_kNm", np.float64, "kNm", "torque of the head turning free"),
    ("no_load_sd_kNm", np.float64, "kNm", "standard deviation: of its samples, else see net_forces"),
    ("no_load_n", np.int64, "", "number of samples, or of nearby strokes"),
    ("no_load_source", object, "", "stroke or none; net_forces fills in what it can"),
    ("no_load_speed_rpm", np.float64, "rpm", "head speed at which this stroke showed it"),
    ("thrust_var_kN2_s", np.float64, "kN2 s", "variance of thrust within an interval of the log, times it"),
    ("thrust_least_kN", np.float64, "kN", "boring thrust was below it for a fiftieth of the samples"),
    ("interval_s", np.float64, "s", "nominal interval of the log where it begins"),
    ("regrip_force_kN", np.float64, "kN", "force of the auxiliaries in the regrip that ends it"),
    ("start_thrust_kN", np.float64, "kN", "greatest thrust while setting off after a halt; see starting"),
    ("going_on_kN", np.float64, "kN", "median thrust while going on after that start"),
    ("free_thrust_kN", np.float64, "kN", "median thrust of its free advance, however few samples show it"),
    ("ring", np.int64, "", "ring current when it began to bore; -1: none"),
)


def empty_strokes() -> Table:
    """Strokes without rows."""
    return Table({name: np.empty(0, kind) for name, kind, _, _ in STROKE_COLUMNS})


def stroke_table(record: Record, motion: Motion, worked: Sequence[Worked], ring: Ints) -> Table:
    """One row for each worked stroke that advanced, in order. ring: (n,) current ring of each sample."""
    rows = [_row(record, motion, w, ring) for w in worked if _advanced(motion, w)]
    return Table({name: _column([row[name] for row in rows], kind) for name, kind, _, _ in STROKE_COLUMNS})


def _column(values: list[Any], kind: type) -> NDArray[Any]:
    out: NDArray[Any] = np.empty(len(values), kind)
    out[:] = values
    return out


def _advanced(motion: Motion, w: Worked) -> bool:
    return w.face_m > w.face_from_m or bool(motion.boring[w.span.first : w.span.stop].any())


def _row(record: Record, motion: Motion, w: Worked, ring: Ints) -> dict[str, Any]:
    bored = np.flatnonzero(motion.boring[w.span.first : w.span.stop]) + w.span.first
    time_us = record.samples.time_us
    began, last = (int(bored[0]), int(bored[-1])) if len(bored) else w.pushed
    starts = starts_of(record, w)
    return {
        "stroke_start_us": int(time_us[w.span.first]),
        "stroke_end_us": int(time_us[last] + (record.credit.credit_us[last] if len(bored) else 0)),
        "finished": int(w.span.ended is not None),
        "interruptions": _interruptions(record, w),
        "position_from_m": w.face_from_m,
        "position_to_m": w.face_m,
        "pushing_set": int(w.span.pushing_set),
        "reaction": _dominant_reaction(motion, bored, began),
        "advance_m": w.face_m - w.face_from_m,
        "beyond_m": _beyond_m(record, motion, w),
        "drag_kN": w.drag.value,
        "drag_sd_kN": w.drag.spread,
        "drag_n": w.drag.count,
        "drag_source": _source(w.drag.value),
        "no_load_torque_kNm": w.no_load.value,
        "no_load_sd_kNm": w.no_load.spread,
        "no_load_n": w.no_load.count,
        "no_load_source": _source(w.no_load.value),
        "no_load_speed_rpm": w.no_load.speed_rpm,
        "thrust_var_kN2_s": _sampling_variance(record, w, bored),
        "thrust_least_kN": _least_thrust(record, w, bored),
        "interval_s": float(record.credit.nominal_us[began]) / MICROSECONDS,
        "regrip_force_kN": _regrip_force(record, w),
        "start_thrust_kN": starts.off_kN,
        "going_on_kN": starts.on_kN,
        "free_thrust_kN": starts.free_kN,
        "ring": int(ring[began]),
    }


def _beyond_m(record: Record, motion: Motion, w: Worked) -> float:
    extension = extension_of(record, w.span.pushing_set)
    if extension is None or extension.beyond is None:
        return 0.0
    part = slice(w.span.first, w.span.stop)
    advance = motion.after_m[part] - motion.at_m[part]
    return float(advance[extension.beyond[part]].sum())


def _source(seen: float) -> str:
    return SEEN_STROKE if np.isfinite(seen) else SEEN_NONE


def _interruptions(record: Record, w: Worked) -> int:
    bouts = w.span.bouts
    halts = [record.seconds[b.first] - record.seconds[a.stop - 1] for a, b in pairwise(bouts)]
    return sum(halt >= INTERRUPTION_S for halt in halts)


def _dominant_reaction(motion: Motion, bored: Ints, began: int) -> int:
    advance = motion.after_m[bored] - motion.at_m[bored]
    by_code = np.bincount(motion.reaction[bored], weights=advance, minlength=len(Reaction))
    return int(np.argmax(by_code)) if by_code.sum() > 0 else int(motion.reaction[began])


def _sampling_variance(record: Record, w: Worked, bored: Ints) -> float:
    """Half the mean square of the steps of thrust from sample to sample, times the interval: so much
    variance a second of boring has because thrust is known at samples only. NaN without thrust.

    Source: variance of a systematic sample by successive differences (Wolter 1984, from memory).
    """
    thrust = boring_thrust(record, w.span.pushing_set)
    steps = (thrust[bored[1:]] - thrust[bored[:-1]])[np.diff(bored) == 1]
    known = steps[np.isfinite(steps)]
    return float(np.mean(known**2)) / 2 * record.nominal_s if len(known) else float("nan")


def _least_thrust(record: Record, w: Worked, bored: Ints) -> float:
    """What drag can at most have been; NaN without thrust."""
    thrust = boring_thrust(record, w.span.pushing_set)[bored]
    known = np.sort(thrust[np.isfinite(thrust)])
    return float(known[len(known) // 50]) if len(known) else float("nan")


def _regrip_force(record: Record, w: Worked) -> float:
    """Median force of the auxiliaries while the mains close [kN]: it moves the rear shield."""
    if w.span.ended is None or w.span.ended.ramp is None or w.span.pushing_set != PushingSet.MAIN:
        return float("nan")
    first, last = w.span.ended.ramp
    return middle(record.samples.get("aux_thrust_kN")[first : last + 1])
