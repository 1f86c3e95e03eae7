"""Where a ring is built: the pads that bear on it come back for a segment each, group by group.

A log may show less. Where the set that pushes off the ring comes back all at once, in far less time
than a ring takes, its return only makes room: the ring is built somewhere in the pause around it, with
the cylinders still. Then the pause counts as ring building from the end of boring until the head turns
again, at most as long as a ring may take; what is beyond is standing. How much of it was waiting the
log does not tell.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from tbmreview.domain.setup import DOUBLE_SHIELD, OPEN_GRIPPER, SINGLE_SHIELD
from tbmreview.domain.states import PushingSet
from tbmreview.motion.record import Extension, Record
from tbmreview.motion.signals import Flags, close_short, runs
from tbmreview.motion.strokes import Worked

PAD_MM_MIN = 5.0  # mean of the pads: one group of several moves far faster
PADS_REST_S = 420.0  # between two groups of pads a segment is set, a few minutes each
LEAST_PAD_MM = 100.0  # less than a segment needs is no ring building
LEAST_RING_S = (
    600.0  # pads that move for less only make room (a ring takes 20 to 45 minutes, common practice)
)


def ring_building(
    record: Record, kind: str, worked: Sequence[Worked], doing: tuple[Flags, Flags], longest_s: float
) -> tuple[Flags, Flags]:
    """Samples (n,) at which a ring is built, and those of a pause that is taken for it. doing: (n,) regrips,
    and slip. longest_s: of a ring whose building the pads do not show."""
    pads, assumed = _pads(record, kind), np.zeros(len(record), bool)
    if pads is None:
        return assumed, assumed
    regrip, slip = doing
    usual = PushingSet.AUX if kind == DOUBLE_SHIELD else PushingSet.MAIN
    pushed = np.zeros(len(record), bool)
    for bout in (bout for w in worked for bout in w.span.bouts):
        pushed[bout.first : bout.stop] |= bout.pushing_set == usual
    shown = _shown(record, pads, regrip | pushed, slip)
    for first, stop in _pauses(record, kind, worked, pads, regrip):
        part = slice(first, stop)
        seen = np.flatnonzero(shown[part] & (pads.slope_mm_min[part] < -PAD_MM_MIN))
        if len(seen) and record.seconds[first + seen[-1]] - record.seconds[first + seen[0]] > LEAST_RING_S:
            continue
        assumed[part] = ~_turns(record)[part] & (record.seconds[part] - record.seconds[first] < longest_s)
    return shown | assumed, assumed


def _pads(record: Record, kind: str) -> Extension | None:
    """The set that bears on the ring; None where there is none, or the log does not show it."""
    if kind == OPEN_GRIPPER:
        return None
    return record.aux if kind == DOUBLE_SHIELD else record.main


def _shown(record: Record, pads: Extension, other: Flags, slip: Flags) -> Flags:
    """Where the pads are seen to come back or go out onto a segment. other: (n,) what else moves them."""
    busy = (np.abs(pads.slope_mm_min) > max(PAD_MM_MIN, 4 * pads.noise_mm)) & ~other & ~slip
    rest_s = max(PADS_REST_S, 4 * record.nominal_s)
    joined = close_short(busy, record.seconds, rest_s) & ~other
    for first, stop in runs(joined):
        part = pads.smooth_mm[first:stop]
        if part.max() - part[-1] < LEAST_PAD_MM and part.max() - part.min() < LEAST_PAD_MM:
            joined[first:stop] = False
    return joined


def _pauses(
    record: Record, kind: str, worked: Sequence[Worked], pads: Extension, regrip: Flags
) -> Iterator[tuple[int, int]]:
    """Samples from the end of boring, and of a regrip, to the next bout, in pauses before or after a stroke
    that is pushed off the ring, where the set that bears on it came back."""
    for w, after in pairwise([*worked, None]):
        assert w is not None
        sets = {w.span.pushing_set, after.span.pushing_set if after is not None else PushingSet.UNKNOWN}
        if w.span.ended is None or (kind != SINGLE_SHIELD and PushingSet.AUX not in sets):
            continue
        first = w.pushed[1]
        stop = after.pushed[0] if after is not None else len(record)
        gripped = np.flatnonzero(regrip[first:stop])
        first += int(gripped[-1]) + 1 if len(gripped) else 0
        way = pads.smooth_mm[first:stop]
        if len(way) and way[0] - way.min() > LEAST_PAD_MM:
            yield first, stop


def _turns(record: Record) -> Flags:
    return np.zeros(len(record), bool) if record.turning is None else record.turning
