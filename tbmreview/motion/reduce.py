"""The reduction: samples of a window to cells, periods, strokes and rings, and what is carried on.

The window of a UTC day begins where its carry says and ends with the day, so that a stroke which
crosses midnight is seen whole. Results that begin at or after the carry-out's `resume_us` are
provisional: the next day's window gives them again, complete.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tbmreview.domain.overrules import Overrule
from tbmreview.domain.samples import MICROSECONDS, Samples
from tbmreview.domain.setup import Setup
from tbmreview.domain.shifts import shifts_covering
from tbmreview.domain.states import State
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table
from tbmreview.motion.carry import Carry
from tbmreview.motion.cells import empty_cells, make_cells
from tbmreview.motion.course import face_of, motion_of
from tbmreview.motion.face import Context
from tbmreview.motion.guidance import empty_guidance, guidance_table
from tbmreview.motion.overruled import (
    Stated,
    activity_as_stated,
    bouts_as_stated,
    face_as_stated,
    motion_as_stated,
    rings_as_stated,
    stated_of,
    strokes_as_stated,
)
from tbmreview.motion.periods import empty_periods, make_periods
from tbmreview.motion.pushing import find_bouts, forward_rate, known_rate
from tbmreview.motion.record import Record, record_of
from tbmreview.motion.rings import count_rings, empty_rings, make_rings
from tbmreview.motion.signals import Flags, middle, runs
from tbmreview.motion.slip import Slip, find_slip
from tbmreview.motion.spans import cut_strokes
from tbmreview.motion.states import Activity, Codes, activity
from tbmreview.motion.stroke_table import empty_strokes, stroke_table
from tbmreview.motion.strokes import Worked, work_stroke

METHOD = 22  # raised with any change of this part that changes results: what was kept is then made anew
# Samples before the place to start from, so that smoothing sees there what it saw the day before;
# longer than a ring's building, whose flag looks back on it.
CONTEXT_US = 3600 * MICROSECONDS
LEAST_QUIET_US = 2 * 3600 * MICROSECONDS
MARGIN_US = 900 * MICROSECONDS  # of a quiet stretch that is read again: longer than any smoothing
CERTAIN_S = 600.0  # a stroke that has bored so long is not taken back by what smoothing sees later
BEHIND_M = 0.2  # a logged chainage this far ahead of the start is no noise: the log begins later


@dataclass(frozen=True, slots=True)
class Reduced:
    """What a window gives. Tables may be without rows."""

    cells: Table
    periods: Table
    strokes: Table
    rings: Table
    guidance: Table
    carry: Carry


def empty() -> dict[str, Table]:
    """Each table of a reduction, without rows, by name."""
    return {
        "cells": empty_cells(),
        "periods": empty_periods(),
        "strokes": empty_strokes(),
        "rings": empty_rings(),
        "guidance": empty_guidance(),
    }


def spans_to_read(carry: Carry, end_us: int) -> list[tuple[int, int]]:
    """The stretches [from, to) of time whose samples a window up to end_us needs, in order."""
    edges = [
        max(0, carry.resume_us - CONTEXT_US),
        *(us for stretch in carry.quiet_us for us in stretch),
        end_us,
    ]
    return list(zip(edges[::2], edges[1::2], strict=True))


@dataclass(frozen=True, slots=True)
class Followed:
    """A window followed through: what is carried on, and the tables, which can be made later and beside the
    window that comes next."""

    carry: Carry
    tables: Callable[[], Reduced]


def reduce_window(
    samples: Samples, carry: Carry, setup: Setup, overrules: Sequence[Overrule] = ()
) -> Reduced:
    """Cells, periods, strokes, rings and guidance of a window: see follow_window."""
    return follow_window(samples, carry, setup, overrules).tables()


def follow_window(
    samples: Samples, carry: Carry, setup: Setup, overrules: Sequence[Overrule] = ()
) -> Followed:
    """What the machine did over the samples from carry.resume_us on.

    samples: of `spans_to_read(carry, …)`; without those before resume_us smoothing sees less.
    Missing values stay missing: they add nothing, and the sums of coverage say so. overrules: what people
    state of the window (overruled.touching), in the order of statement.
    """
    origin = int(np.searchsorted(samples.time_us, carry.resume_us))
    if origin >= len(samples):
        return Followed(carry, lambda: Reduced(**empty(), carry=carry))
    record = record_of(samples, carry, setup)
    slip = find_slip(record, setup.machine.kind)
    rate = forward_rate(record, setup.machine.kind)
    stated = stated_of(samples.time_us, overrules)
    bouts = find_bouts(record, rate, setup.machine.kind, origin, slip)
    bouts = bouts_as_stated(record, setup.machine.kind, bouts, stated, origin)
    vain = (slip.certain & ~stated.boring) | stated.still
    context = Context(record, setup.machine, known_rate(record, rate), vain, stated.boring)
    face_m = (
        carry.position_m
        if carry.position_m == carry.position_m
        else first_position_m(record, setup.drive.axis)
    )
    worked: list[Worked] = []
    baselines = carry.baselines
    for span in strokes_as_stated(record, cut_strokes(record, setup.machine, bouts, origin), stated):
        worked.append(work_stroke(context, span, face_m, baselines))
        face_m, baselines = worked[-1].face_m, worked[-1].baselines_after
    return _followed(context, worked, (slip, stated), (carry, setup, origin))


def first_position_m(record: Record, axis: Axis) -> float:
    """The face at the first sample of a drive: 0, or where the log begins along the drive.

    The guidance target is at the face or behind it, so the face is at least where the log says.
    """
    chainage = record.samples.get("chainage_m")
    logged = float(axis.position_m(middle(chainage[np.isfinite(chainage)][: record.readings(30.0)])))
    return logged if logged > BEHIND_M else 0.0


def _followed(
    context: Context, worked: list[Worked], known: tuple[Slip, Stated], given: tuple[Carry, Setup, int]
) -> Followed:
    (slip, stated), (carry, setup, origin) = known, given
    record, kind = context.record, setup.machine.kind
    face = face_as_stated(face_of(record, worked), stated)
    doing = activity(record, setup, worked, (face.cutting, slip.certain), carry)
    doing = activity_as_stated(doing, stated, record.shows_phases)
    motion = motion_as_stated(motion_of(record, kind, worked, (face, slip, doing.phase)), stated)
    count = rings_as_stated(count_rings(record, motion, setup.drive.ring_length_m, carry.ring), stated)
    rings = make_rings(record, motion, count, carry, origin)
    carry_out = _carry_out(record, worked, (rings, doing), carry)

    def tables() -> Reduced:
        time_us = record.samples.time_us
        shifts = shifts_covering(setup, int(time_us[0]), int(time_us[-1] + record.credit.credit_us[-1]))
        span_us = (int(time_us[origin]), carry_out.resume_us)
        return Reduced(
            cells=make_cells(record, motion, setup.drive.axis, shifts),
            periods=make_periods(record, motion, doing, shifts, span_us),
            strokes=stroke_table(record, motion, worked, count.ring),
            rings=rings,
            guidance=guidance_table(record, motion),
            carry=carry_out,
        )

    return Followed(carry_out, tables)


def _carry_out(record: Record, worked: list[Worked], done: tuple[Table, Activity], carry: Carry) -> Carry:
    """The start of the last stroke that nothing to come can move; the same carry if there is none."""
    rings, doing = done
    for i in range(len(worked) - 1, 0, -1):
        span = worked[i].span
        if span.began is None or span.began.unseen or not _bored(worked[i]):
            continue
        if record.seconds[-1] - record.seconds[span.bouts[0].first] < CERTAIN_S:
            continue
        resume_us = int(record.samples.time_us[span.first])
        return Carry(
            resume_us=resume_us,
            position_m=worked[i].face_from_m,
            nominal_us=int(record.credit.nominal_us[span.first]),
            quiet_us=_quiet(record, doing.state, resume_us),
            regrip_until_us=_end_of(record, doing.state == State.REGRIP, span.first),
            ring_until_us=_last_of(record, doing.ring_assumed, (span.first, span.bouts[0].first)),
            baselines=worked[i - 1].baselines_after,
            **_ring_at(rings, resume_us),
        )
    return replace(carry, quiet_us=_quiet(record, doing.state, carry.resume_us))


def _quiet(record: Record, state: Codes, resume_us: int) -> tuple[tuple[int, int], ...]:
    """Long stretches after resume_us in which the machine only stood, less a margin at both ends."""
    time_us = record.samples.time_us
    stood = (state == State.STANDING) & (record.credit.gap_us == 0) & (time_us >= resume_us)
    found = []
    for first, stop in runs(stood):
        start, end = int(time_us[first]) + MARGIN_US, int(time_us[stop - 1]) - MARGIN_US
        if end - start >= LEAST_QUIET_US:
            found.append((start, end))
    return tuple(found)


def _end_of(record: Record, flags: Flags, at: int) -> int:
    """End of the run of True that goes on at a sample; 0 if there is none."""
    other = np.flatnonzero(~flags[at:])
    if not len(other) or other[0] == 0:
        return 0
    return int(record.samples.time_us[at + other[0]])


def _last_of(record: Record, flags: Flags, part: tuple[int, int]) -> int:
    """End of the last True among samples part[0] to before part[1]; 0 if there is none."""
    found = np.flatnonzero(flags[slice(*part)])
    return int(record.samples.time_us[part[0] + found[-1] + 1]) if len(found) else 0


def _bored(w: Worked) -> bool:
    return any(trace.cutting.any() for trace in w.traces)


def _ring_at(rings: Table, time_us: int) -> dict[str, Any]:
    if not len(rings):
        return {}
    i = int(np.searchsorted(rings["start_us"], time_us, side="right")) - 1
    return {
        "ring": int(rings["ring"][i]),
        "ring_from_m": float(rings["position_from_m"][i]),
        "ring_start_us": int(rings["start_us"][i]),
    }
