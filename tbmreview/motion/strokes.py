"""Strokes: the record cut at resets of the pushing set, and each stroke worked through."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tbmreview.domain.setup import DOUBLE_SHIELD, SINGLE_SHIELD, Machine
from tbmreview.domain.states import PushingSet, Reaction
from tbmreview.motion.carry import Baseline, Baselines
from tbmreview.motion.position import Trace, make_runs, trace_run
from tbmreview.motion.pushing import Bout
from tbmreview.motion.record import Record
from tbmreview.motion.resets import Reset, extension_of, reset_after, reset_between
from tbmreview.motion.signals import Flags, Floats, Ints, middle
from tbmreview.motion.torque import (
    LEAST_SAMPLES,
    Measured,
    TorqueLevels,
    boring_torque,
    contact_sample,
    free_rotation,
    usual_levels,
)

LEAST_APPROACH_MM = 4.0  # a shorter free advance cannot be told from the first bite of the discs
APPROACH_EDGES = (3, 1)  # samples left out of the drag: breaking away, and the first touch
RING_CARRIES = 0.8  # of the main thrust on the auxiliaries: the ring takes it
SEEN_STROKE, SEEN_NEAR, SEEN_SETUP, SEEN_NONE = "stroke", "nearby strokes", "setup", "none"


@dataclass(frozen=True, slots=True)
class Span:
    """One stroke in the record: samples first to before stop, its bouts, the reset that began it
    (None: the start of the record) and the one that ends it (None: it is open)."""

    first: int
    stop: int
    bouts: tuple[Bout, ...]
    began: Reset | None
    ended: Reset | None

    @property
    def pushing_set(self) -> PushingSet:
        return self.bouts[0].pushing_set if self.bouts else PushingSet.UNKNOWN


@dataclass(frozen=True, slots=True)
class Known:
    """A force or torque of a stroke with where it comes from."""

    value: float
    spread: float
    count: int
    source: str


@dataclass(frozen=True, slots=True)
class Worked:
    """What came out of one stroke: face before and after it [m], advance in the gap of its reset [m],
    (first, stop, trace) of each run, torque levels, flags of its samples in steady free rotation from
    span.first on and their head speed, drag and no-load torque with their source."""

    span: Span
    face_from_m: float
    unseen_m: float
    face_m: float
    traces: tuple[tuple[int, int, Trace], ...]
    levels: TorqueLevels
    free_rotation: Flags
    free_speed_rpm: float
    drag: Known
    no_load: Known
    baselines_after: Baselines


def cut_strokes(record: Record, machine: Machine, bouts: Sequence[Bout], origin: int) -> list[Span]:
    """The strokes of the record from sample `origin` on; one without bouts where nothing was pushed."""
    groups: list[list[Bout]] = []
    resets: list[Reset | None] = [None]
    for bout in bouts:
        reset = reset_between(record, machine, groups[-1], bout) if groups else None
        if not groups or reset is not None:
            groups.append([bout])
            if reset is not None:
                resets.append(reset)
        else:
            groups[-1].append(bout)
    last = reset_after(record, machine, groups[-1]) if groups else None
    ends = [*resets[1:], last]
    starts = [origin, *(r.at for r in resets[1:] if r is not None)]
    stops = [*starts[1:], len(record)]
    if not groups:
        return [Span(origin, len(record), (), None, None)]
    return [
        Span(start, stop, tuple(group), began, ended)
        for start, stop, group, began, ended in zip(starts, stops, groups, resets, ends, strict=True)
    ]


@dataclass(frozen=True, slots=True)
class Context:
    """What every stroke of a window is worked with."""

    record: Record
    machine: Machine
    known_rate: Floats
    slip: Flags


def work_stroke(context: Context, span: Span, face_m: float, baselines: Baselines) -> Worked:
    """Contact, face and forces of one stroke that begins with the face at face_m."""
    record = context.record
    moving = _moving(span)
    levels = usual_levels(baselines, context.machine, boring_torque(record, moving))
    start = span.bouts[0].first if span.bouts else span.stop
    seen, free = free_rotation(record, span.first, start, levels)
    if np.isfinite(seen.value):
        levels = TorqueLevels(seen.value, max(seen.spread, 0.03 * seen.value), levels.boring)
    contact = _contact(record, span, moving, levels)
    drag_seen = _drag(record, span, moving, contact)
    unseen_m = _unseen_advance_m(record, span)
    traces, face_end = _trace(context, span, face_m + unseen_m, contact)
    on_aux = span.pushing_set == PushingSet.AUX
    after = _remember(baselines, span.pushing_set, drag_seen, seen, levels)
    return Worked(
        span, face_m, unseen_m, face_end, traces, levels, free, seen.speed_rpm,
        _known(drag_seen, baselines.aux_drag_kN if on_aux else baselines.main_drag_kN),
        _known(seen, baselines.no_load_torque_kNm),
        after,
    )  # fmt: skip


def _moving(span: Span) -> Ints:
    return np.concatenate([np.empty(0, np.int64), *(np.arange(b.first, b.stop) for b in span.bouts)])


def _contact(record: Record, span: Span, moving: Ints, levels: TorqueLevels) -> int:
    if not len(moving):
        return span.stop
    contact = contact_sample(record, moving, levels)
    extension = extension_of(record, span.pushing_set)
    if extension is not None:
        gone = middle(extension.mm[contact : contact + 3]) - middle(extension.mm[moving[:3]])
        if gone < max(LEAST_APPROACH_MM, 2 * extension.noise_mm):
            return int(moving[0])
    return contact


def boring_thrust(record: Record, pushing_set: PushingSet) -> Floats:
    """Force of the pushing set (n,) kN; the two sets are in series and are never added."""
    aux = pushing_set == PushingSet.AUX
    return record.samples.get("aux_thrust_kN" if aux else "main_thrust_kN")


def _drag(record: Record, span: Span, moving: Ints, contact: int) -> Measured:
    if not record.shows_phases:
        return Measured()
    used = moving[moving < contact][APPROACH_EDGES[0] :]
    used = used[: len(used) - APPROACH_EDGES[1]]
    thrust = boring_thrust(record, span.pushing_set)[used]
    thrust = thrust[np.isfinite(thrust)]
    if len(thrust) < LEAST_SAMPLES:
        return Measured()
    spread = float(1.4826 * np.median(np.abs(thrust - np.median(thrust))))
    return Measured(float(np.median(thrust)), spread, len(thrust))


def _trace(
    context: Context, span: Span, face_m: float, contact: int
) -> tuple[tuple[tuple[int, int, Trace], ...], float]:
    record = context.record
    extension = extension_of(record, span.pushing_set)
    runs = make_runs(record, extension, span.bouts, context.known_rate, context.slip)
    slack = 2e-3 if extension is None else max(2e-3, extension.noise_mm / 1000)
    face = face_m
    offset: float | None = None
    out: list[tuple[int, int, Trace]] = []
    for i, run in enumerate(runs):
        if offset is None:
            k = min(max(contact - run.first, 0), run.stop - run.first - 1)
            if contact >= run.stop:  # the whole run is free advance
                continue
            offset = face - run.at_mm[k] / 1000
        elif _moved_without_boring(context, runs[i - 1].stop, run.first):
            offset = face - run.at_mm[0] / 1000
        trace = trace_run(run, face, offset, contact, slack)
        if not out or not record.credit.gap_us[out[-1][1] - 1 : run.first].any():
            trace = replace(trace, at_m=np.r_[face, trace.at_m[1:]])
        out.append((run.first, run.stop, trace))
        face = float(trace.after_m[-1])
    return tuple(out), face


def _moved_without_boring(context: Context, stop: int, first: int) -> bool:
    """Between two runs of a stroke the set extended without the face moving: slip, or a head at rest."""
    record = context.record
    if context.slip[stop:first].any():
        return True
    gap = record.credit.gap_us[max(stop - 1, 0) : first].any()
    turned = record.turning is None or record.turning[stop:first].any()
    extension_fell = False
    if record.main is not None:
        extension_fell = bool(
            record.main.smooth_mm[stop - 1] - record.main.smooth_mm[stop : first + 1].min() > 20
        )
    return not gap and not turned and not extension_fell


def _unseen_advance_m(record: Record, span: Span) -> float:
    """Advance in the gap in which the reset happened: it belongs to the stroke that follows."""
    if span.began is None or not span.began.unseen:
        return 0.0
    at = span.first
    if record.logged_position_m is not None:
        k = record.readings(30.0)
        station = record.logged_position_m
        ahead = middle(station[at : at + k]) - middle(station[max(at - k, 0) : at])
        if np.isfinite(ahead):
            return max(0.0, ahead)
    extension = extension_of(record, span.pushing_set)
    if extension is None:
        return 0.0
    return max(0.0, float(extension.mm[at] - extension.smooth_mm.min())) / 1000


def _remember(
    baselines: Baselines, pushing_set: PushingSet, drag: Measured, no_load: Measured, levels: TorqueLevels
) -> Baselines:
    main = drag.value if pushing_set == PushingSet.MAIN else float("nan")
    aux = drag.value if pushing_set == PushingSet.AUX else float("nan")
    return Baselines(
        baselines.main_drag_kN.with_value(main),
        baselines.aux_drag_kN.with_value(aux),
        baselines.no_load_torque_kNm.with_value(no_load.value),
        baselines.boring_torque_kNm.with_value(levels.boring),
    )


def _known(seen: Measured, near: Baseline) -> Known:
    if np.isfinite(seen.value):
        return Known(seen.value, seen.spread, seen.count, SEEN_STROKE)
    if near.values:
        return Known(near.value, near.spread, len(near.values), SEEN_NEAR)
    return Known(float("nan"), float("nan"), 0, SEEN_NONE)


def reaction_of(record: Record, kind: str, bout: Bout) -> Reaction:
    """Where the force of a bout goes: by kind of machine; in a double shield by who bears it.

    Gripper pressure alone proves nothing: a residual pressure stays when the ring takes the force.
    """
    if kind == SINGLE_SHIELD:
        return Reaction.RING
    if kind != DOUBLE_SHIELD:
        return Reaction.GRIPPERS
    if bout.pushing_set == PushingSet.AUX:
        return Reaction.RING
    if bout.pushing_set == PushingSet.UNKNOWN:
        return Reaction.UNKNOWN
    part = slice(bout.first, bout.stop)
    main, aux = (middle(record.samples.get(n)[part]) for n in ("main_thrust_kN", "aux_thrust_kN"))
    if np.isfinite(main) and np.isfinite(aux) and main > 0:
        return Reaction.RING if aux >= RING_CARRIES * main else Reaction.GRIPPERS
    return Reaction.UNKNOWN if record.gripper is None else Reaction.GRIPPERS
