"""Each stroke worked through: contact, face, drag and no-load torque."""

from dataclasses import dataclass

import numpy as np

from tbmreview.domain.states import PushingSet
from tbmreview.motion.carry import Baselines
from tbmreview.motion.contact import find_contact, no_later
from tbmreview.motion.face import Context, trace_stroke
from tbmreview.motion.position import Trace
from tbmreview.motion.record import Record
from tbmreview.motion.resets import extension_of
from tbmreview.motion.signals import Flags, Floats, Ints, middle, spread
from tbmreview.motion.spans import Span
from tbmreview.motion.torque import (
    Measured,
    TorqueLevels,
    boring_torque,
    show_torque,
)

FEW_WIDEN = 2.0  # over n, for a deviation from n samples: Student's t at 95 %
FAR = 5.0  # further from the level than so many robust deviations is none of it
LEAST_SPREAD = 0.005  # of the level: a steadier reading is the resolution of the log
LEAST_FREE = (
    3  # samples at one level make a drag: a free advance of twenty seconds has no more in a log of 5 s
)
VERY_FEW_WIDEN = {3: 2.20, 4: 1.62}  # the same, where the rule of thumb falls short (t / 1.96)
APPROACH_EDGES_S = (3.0, 1.0)  # seconds left out of the drag: breaking away, and the first touch


@dataclass(frozen=True, slots=True)
class Worked:
    """What came out of one stroke: face before and after it [m], traces of its runs and gaps, torque
    levels, flags of its samples in steady free rotation from span.first on, drag and no-load torque as
    it showed them itself."""

    span: Span
    face_from_m: float
    face_m: float
    traces: tuple[Trace, ...]
    levels: TorqueLevels
    free_rotation: Flags
    drag: Measured
    no_load: Measured
    baselines_after: Baselines

    @property
    def pushed(self) -> tuple[int, int]:
        """Its first bout's first sample and its last one's end; of a stroke that gaps hide, the samples after
        them."""
        bouts, traces = self.span.bouts, self.traces
        if bouts:
            return bouts[0].first, bouts[-1].stop
        return (traces[0].first, traces[-1].first) if traces else (self.span.stop, self.span.stop)


def work_stroke(context: Context, span: Span, face_m: float, baselines: Baselines) -> Worked:
    """Contact, face and forces of one stroke that begins with the face at face_m."""
    record = context.record
    moving = _moving(span)
    start = span.bouts[0].first if span.bouts else span.stop
    known = (baselines, context.machine)
    shown = show_torque(record, (span.first, start), boring_torque(record, moving), known)
    levels = shown.levels
    extension = extension_of(record, span.pushing_set)
    contact = find_contact(record, extension, moving, (context.known_rate, levels))
    contact = no_later(contact, extension, moving[context.bored[moving]])
    drag_seen = _drag(record, span, moving, contact.sample)
    traces = trace_stroke(context, span, (contact, levels), face_m)
    return Worked(
        span, face_m, traces[-1].face_m if traces else face_m, traces, levels, shown.free_rotation,
        drag_seen, shown.no_load, shown.baselines_after,
    )  # fmt: skip


def _moving(span: Span) -> Ints:
    return np.concatenate([np.empty(0, np.int64), *(np.arange(b.first, b.stop) for b in span.bouts)])


def boring_thrust(record: Record, pushing_set: PushingSet) -> Floats:
    """Force of the pushing set (n,) kN; the two sets are in series and are never added."""
    aux = pushing_set == PushingSet.AUX
    return record.samples.get("aux_thrust_kN" if aux else "main_thrust_kN")


def _level(thrust: Floats) -> Floats:
    """The samples that lie at the level of most: one at the face already, or still at the level before, is no free
    advance."""
    if not len(thrust):
        return thrust
    level = middle(thrust)
    most = max(spread(thrust), LEAST_SPREAD * abs(level))
    return thrust[np.abs(thrust - level) <= FAR * most]


def _drag(record: Record, span: Span, moving: Ints, contact: int) -> Measured:
    if not record.shows_phases:
        return Measured()
    used = moving[moving < contact]
    if not len(used):
        return Measured()
    since, left = (
        record.seconds[used] - record.seconds[used[0]],
        record.seconds[contact] - record.seconds[used],
    )
    used = used[(since >= APPROACH_EDGES_S[0]) & (left > APPROACH_EDGES_S[1])]
    thrust = boring_thrust(record, span.pushing_set)[used]
    thrust = _level(thrust[np.isfinite(thrust)])
    if len(thrust) < LEAST_FREE:
        return Measured()
    widened = VERY_FEW_WIDEN.get(len(thrust), 1 + FEW_WIDEN / len(thrust))
    return Measured(middle(thrust), widened * float(np.std(thrust, ddof=1)), len(thrust))
