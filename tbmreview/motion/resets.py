"""Where a stroke ends: the reset of the pushing set between two bouts.

Cylinders return as a ramp, strokes are interrupted and resumed, and the head is drawn back with the
grippers braced. So a reset is judged between two bouts, on the whole way that the set came back:

* double shield: a regrip closes the mains and opens the auxiliaries by as much. Mains that close
  alone draw the head back.
* open gripper: the grippers are released in a regrip and braced while the head is drawn back.
* a set that pushes the ring (single shield; auxiliaries): closing makes room for the next ring.
* without those signals: by size, and by where the face is met again.

A change of the pushing set begins a stroke. A log without stroke shows neither: there a stroke ends
at a pause once about a full stroke has been made.
"""

from dataclasses import dataclass, replace

import numpy as np

from tbmreview.domain.setup import DOUBLE_SHIELD, SINGLE_SHIELD, Machine
from tbmreview.domain.states import PushingSet
from tbmreview.motion.hidden import CHAINAGE_DOUBT_M, comes_back, ran_ahead, station_before
from tbmreview.motion.pushing import Bout
from tbmreview.motion.record import Extension, Record
from tbmreview.motion.signals import middle

LEAST_RETURN_MM = 20.0  # a set at rest does not creep back further than this
FOLLOWS = 0.5  # in a regrip auxiliaries open by as much as mains close; the head may come back with them
RELEASED = 0.5  # of the pressure while boring; a braced gripper keeps its pressure
HALF = 0.5
TOO_FAR = 0.6  # of the full stroke: further back is no head drawn back (some decimetres, common practice)
FULL_STROKE = 0.8  # of the stroke length: a pause after it ends a stroke where no stroke is logged
TOO_LONG = 1.1  # times the stroke length: no stroke is longer
PAUSE_S = 120.0  # a regrip or a ring takes longer than this (common practice: 4 to 6 minutes; no source)
USUAL_STROKE_M = 1.5  # where the setup gives no stroke length (common practice, no source)


@dataclass(frozen=True, slots=True)
class Reset:
    """A stroke ends. at: first sample of the next stroke. ramp: samples of the return, None where the
    record does not show it. unseen: a gap hides it, or its end: the next stroke begins in the gap, which
    began with the head drawn back by back_m from the face."""

    at: int
    ramp: tuple[int, int] | None
    unseen: bool
    back_m: float = 0.0


def extension_of(record: Record, pushing_set: PushingSet) -> Extension | None:
    """The stroke of a set; the travel by chainage where the log has no stroke at all."""
    if record.travel is not None:
        return record.travel
    return record.aux if pushing_set == PushingSet.AUX else record.main


def reset_between(record: Record, machine: Machine, stroke: list[Bout], after: Bout) -> Reset | None:
    """The reset between the bouts of the open stroke and the bout that follows, if there is one."""
    before = stroke[-1]
    changed = before.pushing_set != after.pushing_set
    extension = extension_of(record, after.pushing_set)
    if extension is None or record.travel is not None:
        return _reset_by_pause(record, machine, stroke, after, changed)
    gap = _longest_gap(record, before.stop + before.hidden, after.first)
    if changed:
        return _changed_set(record, extension, before, after, gap)
    low_at, low = _lowest(extension, before.stop, after)
    fall = before.end_mm - low
    if gap is not None and ran_ahead(record, extension, gap):
        return Reset(gap, None, True, _drawn_back_m(record, extension, before, gap))
    if fall < max(LEAST_RETURN_MM, extension.unclear_mm):
        return None
    if not _is_reset(record, machine, stroke, after, (low_at, fall)):
        return None
    return _reset(record, extension, before, (low_at, fall), gap)


def reset_after(record: Record, machine: Machine, stroke: list[Bout]) -> Reset | None:
    """The reset that ends the last stroke of the record, if it is seen already."""
    before = stroke[-1]
    extension = extension_of(record, before.pushing_set)
    if extension is None or record.travel is not None or before.stop >= len(record):
        return None
    end = Bout(len(record) - 1, len(record), before.pushing_set, before.end_mm, before.end_mm)
    low_at, low = _lowest(extension, before.stop, end)
    fall = before.end_mm - low
    if fall < max(LEAST_RETURN_MM, extension.unclear_mm):
        return None
    if not _is_reset(record, machine, stroke, None, (low_at, fall)):
        return None
    return _reset(record, extension, before, (low_at, fall), None)


def _lowest(extension: Extension, start: int, after: Bout) -> tuple[int, float]:
    """(sample, mm): where the set had come back, first within noise of its least."""
    part = extension.smooth_mm[start : after.first + 1]
    if not len(part):
        return after.first, after.start_mm
    low = min(float(part.min()), after.start_mm)
    near = np.flatnonzero(part <= low + extension.unclear_mm)
    return (start + int(near[0]) if len(near) else after.first), low


def _reset(
    record: Record, extension: Extension, before: Bout, lowest: tuple[int, float], gap: int | None
) -> Reset:
    low_at, fall = lowest
    if gap is not None:
        goes_on = low_at < gap and comes_back(record, extension, gap - 1, -1)
        if goes_on or _hidden(extension, gap, fall):
            return Reset(gap, None, True, _drawn_back_m(record, extension, before, gap))
    ramp = (_ramp_start(extension, before, lowest), low_at)
    return Reset(low_at, ramp, unseen=bool(record.after_gap[low_at]))


def _hidden(extension: Extension, gap: int, fall: float) -> bool:
    """Most of the return lies in the gap before a sample."""
    return bool(extension.mm[gap - 1] - extension.mm[gap] > HALF * fall)


def _drawn_back_m(record: Record, extension: Extension, before: Bout, gap: int) -> float:
    """How far the head had been drawn back from the face before a gap [m], by stroke and chainage: the chainage
    tells it from the set coming back in a regrip."""
    by_stroke = (before.end_mm - float(extension.mm[gap - 1])) / 1000
    stop = before.stop
    by_chainage = station_before(record, extension, stop) - station_before(record, extension, gap)
    return min(by_stroke, by_chainage) if min(by_stroke, by_chainage) > CHAINAGE_DOUBT_M else 0.0


def _ramp_start(extension: Extension, before: Bout, lowest: tuple[int, float]) -> int:
    """The last sample at which the set had hardly begun to come back."""
    low_at, fall = lowest
    part = extension.smooth_mm[before.stop - 1 : low_at + 1]
    high = np.flatnonzero(part >= before.end_mm - 0.1 * fall)
    return before.stop - 1 + (int(high[-1]) if len(high) else 0)


def _changed_set(record: Record, extension: Extension, before: Bout, after: Bout, gap: int | None) -> Reset:
    """The other set pushes from now on: its stroke begins where it had come back, after the regrip."""
    since, ramp = before.stop, None
    old = extension_of(record, before.pushing_set)
    if old is not None:
        old_low_at, old_low = _lowest(old, before.stop, replace(after, start_mm=np.inf))
        fall = before.end_mm - old_low
        if fall > max(LEAST_RETURN_MM, old.unclear_mm):
            regrip = _reset(record, old, before, (old_low_at, fall), gap)
            since, ramp = regrip.at, regrip.ramp
    at = _lowest(extension, since, after)[0]
    return Reset(at, ramp, unseen=bool(record.after_gap[at]))


def _is_reset(
    record: Record, machine: Machine, stroke: list[Bout], after: Bout | None, lowest: tuple[int, float]
) -> bool:
    low_at, fall = lowest
    before = stroke[-1]
    extension = extension_of(record, before.pushing_set)
    assert extension is not None
    span = slice(_ramp_start(extension, before, lowest), low_at + 1)
    if fall > TOO_FAR * _full_mm(machine):
        return True
    if before.pushing_set == PushingSet.AUX or machine.kind == SINGLE_SHIELD:
        return fall > HALF * _shorter(machine, stroke) and not _meets_old_face(record, before, after, fall)
    if machine.kind == DOUBLE_SHIELD and record.aux is not None:
        aux = record.aux.smooth_mm[span]
        return bool(aux[-1] - aux[0] > FOLLOWS * fall)
    gap = _longest_gap(record, before.stop, low_at)
    if record.gripper is not None and not (gap is not None and _hidden(extension, gap, fall)):
        braced = middle(record.gripper[before.first : before.stop])
        in_return = record.gripper[span]
        if np.isfinite(braced) and np.isfinite(in_return).any():
            return bool(np.nanmin(in_return) < RELEASED * braced)
    return fall > HALF * _shorter(machine, stroke) and not _meets_old_face(record, before, after, fall)


def _full_mm(machine: Machine) -> float:
    return 1000 * (machine.stroke_length_m or USUAL_STROKE_M)


def _shorter(machine: Machine, stroke: list[Bout]) -> float:
    """The stroke just made, or the full stroke if that is less [mm]."""
    return min(_full_mm(machine), stroke[-1].end_mm - stroke[0].start_mm)


def _meets_old_face(record: Record, before: Bout, after: Bout | None, fall: float) -> bool:
    """The next bout goes forward unloaded up to where the last one ended: the head was drawn back."""
    if after is None or not np.isfinite(record.torque_kNm[after.first : after.stop]).any():
        return False
    boring = middle(record.torque_kNm[before.first : before.stop])
    loaded = np.flatnonzero(record.felt_torque_kNm[after.first : after.stop] > HALF * boring)
    extension = extension_of(record, after.pushing_set)
    if not len(loaded) or extension is None:
        return False
    met = extension.smooth_mm[after.first + loaded[0]]
    return bool(abs(met - before.end_mm) < max(30.0, 0.25 * fall))


def _longest_gap(record: Record, start: int, stop: int) -> int | None:
    """The sample after the longest gap of the record between two bouts, if it is a long one."""
    after = start + np.flatnonzero(record.after_gap[start : stop + 1])
    if not len(after):
        return None
    return int(after[np.argmax(record.credit.gap_us[after - 1])])


def _reset_by_pause(
    record: Record, machine: Machine, stroke: list[Bout], after: Bout, changed: bool
) -> Reset | None:
    before = stroke[-1]
    pause_s = record.seconds[after.first] - record.seconds[before.stop - 1]
    made = sum(_loaded_mm(record, bout) for bout in stroke)
    full = _full_mm(machine)
    released = False
    if record.gripper is not None:
        braced = middle(record.gripper[before.first : before.stop])
        pause = record.gripper[before.stop : after.first]
        released = bool(len(pause) and np.nanmin(np.r_[np.inf, pause]) < RELEASED * braced)
    due = made > FULL_STROKE * full or made + _loaded_mm(record, after) > TOO_LONG * full
    on_ring = machine.kind == SINGLE_SHIELD or before.pushing_set == PushingSet.AUX
    if on_ring and np.isfinite(record.samples.get("ring_number")).any():
        due = _ring_changed(record, before, after)  # a set that bears on the ring is reset for each
    if not (changed or released or (due and pause_s > PAUSE_S)):
        return None
    return Reset(after.first, None, unseen=bool(record.after_gap[after.first]))


def _loaded_mm(record: Record, bout: Bout) -> float:
    """What a bout made under load: coming up to the face again is no part of a stroke."""
    part = slice(bout.first, bout.stop)
    torque, rate = record.felt_torque_kNm[part], record.rate_mm_min
    loaded = np.flatnonzero(torque > HALF * middle(torque))
    if rate is None or not len(loaded):
        return bout.end_mm - bout.start_mm
    before = slice(bout.first, bout.first + int(loaded[0]))
    free = np.nansum(rate[before] * record.credit.credit_us[before]) / 60e6
    return bout.end_mm - bout.start_mm - float(free)


def _ring_changed(record: Record, before: Bout, after: Bout) -> bool:
    ring = record.samples.get("ring_number")
    k = record.readings(30.0)
    return bool(
        middle(ring[after.first : after.first + k]) > middle(ring[max(before.stop - k, 0) : before.stop])
    )
