"""The course of the face over a window, and what each sample is counted under."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tbmreview.domain.states import PushingSet, Reaction
from tbmreview.motion.cells import Motion
from tbmreview.motion.pushing import Bout
from tbmreview.motion.reaction import reaction_of
from tbmreview.motion.record import Record
from tbmreview.motion.signals import Flags, Floats
from tbmreview.motion.slip import Slip
from tbmreview.motion.states import Codes
from tbmreview.motion.strokes import Worked


@dataclass(frozen=True, slots=True)
class Face:
    """(n,) each: face [m] at the sample and at the end of its credited time; samples that bore."""

    at_m: Floats
    after_m: Floats
    cutting: Flags


def face_of(record: Record, worked: Sequence[Worked]) -> Face:
    """The face over a window, from the traces of its strokes."""
    at_m = np.full(len(record), worked[0].face_from_m)
    after_m, cutting = at_m.copy(), np.zeros(len(record), bool)
    for w in worked:
        level, done = w.face_from_m, w.span.first
        for trace in w.traces:
            part = slice(trace.first, trace.stop)
            at_m[done : trace.first] = after_m[done : trace.first] = level
            at_m[part], after_m[part], cutting[part] = trace.at_m, trace.after_m, trace.cutting
            level, done = trace.face_m, trace.stop
        at_m[done : w.span.stop] = after_m[done : w.span.stop] = level
    return Face(at_m, after_m, cutting)


def motion_of(record: Record, kind: str, worked: Sequence[Worked], given: tuple[Face, Slip, Codes]) -> Motion:
    """Face and keys of each sample."""
    face, slip, phase = given
    stroke_start_us = np.zeros(len(record), np.int64)
    pushing = np.full(len(record), PushingSet.UNKNOWN, np.int8)
    reaction = np.full(len(record), Reaction.UNKNOWN, np.int8)
    for w in worked:
        part = slice(w.span.first, w.span.stop)
        stroke_start_us[part] = record.samples.time_us[w.span.first]
        pushing[part] = w.span.pushing_set
        start = w.span.first
        for bout in w.span.bouts:
            reaction[start : bout.stop] = reaction_of(record, kind, bout)
            start = bout.stop
        last = w.span.bouts[-1] if w.span.bouts else Bout(start, start, w.span.pushing_set, 0.0, 0.0)
        reaction[start : w.span.stop] = reaction_of(record, kind, last)
    reaction[slip.doubtful] = Reaction.UNKNOWN
    reaction[slip.certain] = Reaction.MIXED
    return Motion(face.at_m, face.after_m, face.cutting, stroke_start_us, pushing, reaction, phase)
