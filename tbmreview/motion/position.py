"""Where the face is: the running maximum of the head's front within a stroke.

The total of a stroke comes from its ends (at rest, else medians over some seconds), its shape from the
speed of advance. Bouts that go on where the last one ended are one run, measured from end to end, so that
noise of the sensor does not add up. Nothing is bored twice: a head that was drawn back goes free
until it is where it was.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tbmreview.motion.believed import AGREE
from tbmreview.motion.pushing import Bout
from tbmreview.motion.record import Extension, Record
from tbmreview.motion.signals import Flags, Floats, Ints, middle

ENDS_S = 20.0  # the ends of a run are medians over so many seconds
NEAR = 3  # samples; the speed of an interval that is part free advance is too great for the rest of it
TOO_FAR_MM = 20.0  # a disagreement below this is not the speed's fault


@dataclass(frozen=True, slots=True)
class Run:
    """Bouts that go on where the last one ended. Extension [mm] at each sample of first..stop-1 and at
    the end of its credited time; `moving`: the samples of its bouts."""

    first: int
    stop: int
    moving: Flags
    at_mm: Floats
    after_mm: Floats


def make_runs(
    record: Record, extension: Extension | None, bouts: Sequence[Bout], rate: Floats, slip: Flags
) -> list[Run]:
    """The runs of bouts of one set. rate: (n,) mm/min, no value missing."""
    groups: list[list[Bout]] = []
    for bout in bouts:
        if groups and _goes_on(record, extension, groups[-1][-1], bout, slip):
            groups[-1].append(bout)
        else:
            groups.append([bout])
    return [_run(record, extension, group, rate) for group in groups]


def _goes_on(record: Record, extension: Extension | None, before: Bout, after: Bout, slip: Flags) -> bool:
    if extension is None:
        return True
    if slip[before.stop : after.first].any():
        return False
    return abs(after.start_mm - before.end_mm) <= extension.unclear_mm


def _run(record: Record, extension: Extension | None, bouts: list[Bout], rate: Floats) -> Run:
    first, stop = bouts[0].first, bouts[-1].stop
    moving = np.zeros(stop - first, bool)
    for bout in bouts:
        moving[bout.first - first : bout.stop - first] = True
    part = slice(first, stop)
    speed = np.where(moving, np.maximum(rate[part], 0.0), 0.0) / 60e6
    gap_us = record.credit.gap_us[part]
    bridged = np.where(np.append(record.after_gap[first + 1 : stop], True), 0, gap_us)
    made = speed * record.credit.credit_us[part]
    shape = np.concatenate([[0.0], np.cumsum(made + speed * bridged)])
    if extension is not None:
        ends = (
            bouts[0].start_mm if bouts[0].start_rests else None,
            bouts[-1].end_mm if bouts[-1].end_rests else None,
        )
        at, after = _anchored(record, extension, (first, stop), (moving, shape, made), ends)
    else:
        at, after = shape[:-1], shape[:-1] + made
    return Run(first, stop, moving, at, after)


def _anchored(
    record: Record,
    extension: Extension,
    span: tuple[int, int],
    travel: tuple[Flags, Floats, Floats],
    ends: tuple[float | None, float | None],
) -> tuple[Floats, Floats]:
    """The shape laid between the stroke's readings at both ends: those given, else medians."""
    moving, shape, made = travel
    mm = extension.mm[span[0] : span[1]]
    where = np.flatnonzero(moving)
    k = min(record.readings(ENDS_S), max(1, len(where) // 2))
    start, end = _ends(mm, shape, (where, k), ends)
    fits = shape[-1] > 0 and AGREE[0] < (end - start) / shape[-1] < AGREE[1]
    if (not fits and abs(end - start - shape[-1]) > TOO_FAR_MM) or shape[-1] <= 0:
        shape, made = _stroke_shape(record, extension, span, moving)
        start, end = _ends(mm, shape, (where, k), ends)
    scale = max(end - start, 0.0) / shape[-1] if shape[-1] > 0 else 0.0
    at = start + shape[:-1] * scale
    return at, at + made * scale


def _ends(
    mm: Floats, shape: Floats, moving: tuple[Ints, int], known: tuple[float | None, float | None]
) -> tuple[float, float]:
    """Extension at both ends: as known, else the median of what is left of some readings when the shape is
    taken off."""
    (where, k), (start, end) = moving, known
    left = mm - shape[:-1]
    return (
        middle(left[where[:k]]) if start is None else start,
        float(shape[-1]) + middle(left[where[-k:]]) if end is None else end,
    )


def _stroke_shape(
    record: Record, extension: Extension, span: tuple[int, int], moving: Flags
) -> tuple[Floats, Floats]:
    """Shape from the smoothed stroke, rising only, for logs without a usable speed."""
    last = min(span[1], len(extension.mm) - 1)
    smooth = np.append(extension.smooth_mm[span[0] : span[1]], extension.smooth_mm[last])
    step = np.where(moving, np.diff(np.maximum.accumulate(smooth)), 0.0)
    part = slice(*span)
    whole = record.credit.credit_us[part] + record.credit.gap_us[part]
    credited = record.credit.credit_us[part] / np.maximum(whole, 1)
    return np.concatenate([[0.0], np.cumsum(step)]), step * credited


@dataclass(frozen=True, slots=True)
class Trace:
    """Face [m] at samples first..stop-1 and at the end of their credited time, which of them advance it,
    and where it is from then on. Of a gap in the record: no samples, only the advance to `face_m`."""

    first: int
    stop: int
    at_m: Floats
    after_m: Floats
    cutting: Flags
    face_m: float


def trace_run(run: Run, face_m: float, offset_m: float, slack_m: float, loaded: Flags | None) -> Trace:
    """Face over a run: the furthest the front has been.

    offset_m: front less extension. slack_m: a head so near the face that noise of the stroke could hide
    the difference is on it. loaded: (k,) samples at which the torque is that of a head on the face; None where
    it is not known, or the stroke is finer.
    """
    at = run.at_mm / 1000 + offset_m
    after = run.after_mm / 1000 + offset_m
    first = _first_on_face(after >= face_m - slack_m, loaded)
    at[:first] = after[:first] = face_m
    nodes = np.concatenate([[face_m], np.column_stack([at, after]).ravel()])
    front = np.maximum.accumulate(nodes)[1:].reshape(-1, 2)
    if first < len(front):
        front[first, 0] = face_m  # what the first reading is ahead, the first sample bores
    on_face = np.arange(len(front)) >= first
    return Trace(run.first, run.stop, front[:, 0], front[:, 1], run.moving & on_face, float(front[-1, 1]))


def _first_on_face(reached: Flags, loaded: Flags | None) -> int:
    """The first sample on the face. Where the head comes up to it within the run, a sample belongs to what its
    torque is: its interval is part free advance, part boring."""
    if not reached.any():
        return len(reached)
    first = int(np.argmax(reached))
    if first == 0 or loaded is None:
        return first
    near = np.flatnonzero(loaded[first - 1 : first + NEAR])
    return first - 1 + int(near[0]) if len(near) else first


def trace_gap(at: int, face_m: float) -> Trace:
    """The face is at face_m from sample `at` on, the first after a gap."""
    none = np.empty(0)
    return Trace(at, at, none, none, np.empty(0, bool), face_m)
