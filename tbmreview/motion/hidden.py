"""What a gap of the record hides: advance of the head, of which a set may bear witness.

The stroke, which is finer, says how far a set pushed while nothing was recorded; the logged chainage how far
the head went, whatever the sets did meanwhile. Where the stroke says that the head went on and the chainage does
not deny it, or the chainage alone says so, the gap counts as a bout without samples: so the resets around it are
found.
"""

from collections.abc import Sequence

import numpy as np

from tbmreview.domain.states import PushingSet
from tbmreview.motion.pushing import Bout
from tbmreview.motion.record import FELT_S, Extension, Record
from tbmreview.motion.signals import middle

UNSEEN_RESET_M = 0.3  # chainage ahead of the stroke by more across a gap: the set was reset in it
CHAINAGE_DOUBT_M = 0.05  # a guidance chainage is coarse; further apart, the set was also reset
LEAST_AHEAD_M = 0.1  # so much, where the set came back
LEAST_RISE_M = 0.02  # pads come out onto a new segment by less
WINDOW_S = 30.0  # a guidance chainage is read over so long


def with_hidden(record: Record, bouts: Sequence[Bout], origin: int) -> list[Bout]:
    """The bouts from sample `origin` on with those that long gaps hide: empty ones, at the sample after the gap."""
    if record.travel is not None or (record.main is None and record.aux is None):
        return list(bouts)
    found = []
    for at in (origin + 1 + np.flatnonzero(record.after_gap[origin + 1 :])).tolist():
        after, before = [b for b in bouts if b.first >= at][:1], [b for b in bouts if b.first < at][-1:]
        goes_on = bool(after) and record.seconds[after[0].first] - record.seconds[at] <= WINDOW_S
        around = [bout.pushing_set for bout in (*after, *before)] or [PushingSet.MAIN]
        hidden = _hidden_bout(record, at, around, goes_on)
        if hidden is not None:
            found.append(hidden)
    return sorted([*found, *bouts], key=lambda bout: (bout.first, bout.stop))


def _hidden_bout(record: Record, at: int, around: list[PushingSet], goes_on: bool) -> Bout | None:
    """around: the sets that push next after the gap and last before it. Which set a gap with a reset in it hides
    is not seen: it is taken to be the first of them, or the one that is seen on its way back when the gap begins, unless
    the other goes on pushing where the gap ends (goes_on)."""
    for pushing in around:
        extension = record.aux if pushing == PushingSet.AUX else record.main
        if extension is None:
            continue
        head_m, end_mm = head_by_chainage(record, extension, at), level_mm(record, extension, at)
        it = pushing == around[0] or (not goes_on and comes_back(record, extension, at - 1, -1))
        if it and ran_ahead(record, extension, at):
            return Bout(at, at, pushing, end_mm - 1000 * head_m, end_mm)
        rise = rise_mm(record, extension, at)
        # auxiliaries open in a regrip as well, in which the mains come back
        still = (
            pushing != PushingSet.AUX
            or record.main is None
            or abs(rise_mm(record, record.main, at)) < 0.5 * rise
        )
        if not head_m < LEAST_RISE_M and rise > 1000 * LEAST_RISE_M and still:
            return Bout(at, at, pushing, end_mm - rise, end_mm)
    return None


def rise_mm(record: Record, extension: Extension, at: int) -> float:
    """How much further a set is extended at the first sample after a gap than at the last before it."""
    return level_mm(record, extension, at) - level_mm(record, extension, at - 1)


def level_mm(record: Record, extension: Extension, sample: int) -> float:
    """Extension at a sample beside a gap: mean of the readings around it, but for those of a set that is drawn in right
    there."""
    part = extension.mm[record.felt.low[sample] : record.felt.high[sample]]
    here = extension.mm[sample]
    return float(part[np.abs(part - here) <= extension.unclear_mm].mean())


def ran_ahead(record: Record, extension: Extension, at: int) -> bool:
    """Across the gap before a sample the head went further than the set that pushes can tell: it was reset."""
    head_m, set_m = head_by_chainage(record, extension, at), rise_mm(record, extension, at) / 1000
    came_back = set_m < -max(LEAST_RISE_M, extension.unclear_mm / 1000) or comes_back(
        record, extension, at - 1, -1
    )
    return bool(head_m > (LEAST_AHEAD_M if came_back else UNSEEN_RESET_M) + max(set_m, 0.0))


def comes_back(record: Record, extension: Extension, at: int, way: int) -> bool:
    """The set is on its way back at the last sample before a gap (way -1), or the first after one (1)."""
    other = min(max(at + way * record.readings(FELT_S, least=1), 0), len(record) - 1)
    return bool(way * (extension.mm[at] - extension.mm[other]) > extension.unclear_mm)


def head_by_chainage(record: Record, extension: Extension | None, at: int) -> float:
    """How far the head went in the gap before sample `at`, by the logged chainage [m]; NaN without one."""
    if record.logged_position_m is None:
        return float("nan")
    later = np.flatnonzero(record.after_gap[at + 1 : at + record.readings(WINDOW_S)])
    part = slice(at, at + (1 + int(later[0]) if len(later) else record.readings(WINDOW_S)))
    return _station(record, extension, part, at) - station_before(record, extension, at)


def station_before(record: Record, extension: Extension | None, at: int) -> float:
    """Logged position of the head [m] at the sample before `at`; NaN without one."""
    first = max(at - record.readings(WINDOW_S), 0)
    earlier = np.flatnonzero(record.after_gap[first + 1 : at])
    return _station(
        record, extension, slice(first + 1 + int(earlier[-1]) if len(earlier) else first, at), at - 1
    )


def _station(record: Record, extension: Extension | None, part: slice, edge: int) -> float:
    """Median over a part, less what the head went forward between the edge of the gap and each reading.

    A set that comes back in a regrip leaves the head where it is, and so do auxiliaries that open by as much.
    """
    station = record.logged_position_m
    if station is None:
        return float("nan")
    moved_mm = np.zeros(1)
    if extension is not None:
        moved_mm = extension.mm[part] - extension.mm[edge]
        if extension is record.aux and record.main is not None:
            moved_mm = moved_mm + record.main.mm[part] - record.main.mm[edge]
    later = part.start == edge
    moved = np.maximum(moved_mm, 0.0) if later else np.minimum(moved_mm, 0.0)
    return middle(station[part] - moved / 1000)
