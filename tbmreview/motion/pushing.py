"""Bouts: uninterrupted stretches in which one set of cylinders moves the head forward.

Which set pushes follows from which cylinders move, never from pressures alone:

* mains extend: the main set pushes, whatever the auxiliaries do. While the grippers are braced the
  auxiliaries hold the last ring and shorten and lengthen, pad by pad, as the next one is built.
* mains stand still and auxiliaries extend with the head turning: the auxiliary set pushes.

A machine changes from one set to the other only at a regrip, so a bout has one set.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from tbmreview.domain.setup import DOUBLE_SHIELD
from tbmreview.domain.states import PushingSet
from tbmreview.motion.record import (
    CHAINAGE_S,
    CHAINAGE_STEP_MM,
    FELT_S,
    START_MM_MIN,
    STOP_MM_MIN,
    Extension,
    Record,
    set_rate,
)
from tbmreview.motion.rest import LEAST_READINGS, Level, at_rest, rest_after, rest_before
from tbmreview.motion.signals import (
    Flags,
    Floats,
    close_short,
    drop_short,
    hysteresis,
    middle,
    runs,
    slope,
)
from tbmreview.motion.slip import Slip
from tbmreview.motion.torque import FREE_SHARE

SHORTEST_PAUSE_S = 10.0  # a shorter standstill of the advance is noise of the speed
SHORTEST_BOUT_S = 8.0
BLUR_S = 30.0  # half the longer window of a slope
CREEP_S = 240.0  # over so long a stroke with millimetres of noise shows less than 1 mm/min
ON_FACE = 0.2  # of the rise from the torque of a free head to that of boring
SLOW_START = 1.5  # the head goes slower than its mean while it is loaded
LEAST_AUX_S = 90.0  # without a logged speed: pads that come out onto a new segment take less
HALF = 0.5  # of the travel: a set that moves by less does not push
MOST_BY_AUX = 3.0  # times the travel: auxiliaries that open by more come out onto a new segment
LEAST_BOUT_MM = 3.0  # less is no bout, but play in the machine


@dataclass(frozen=True, slots=True)
class Bout:
    """Samples first to before stop, the set that pushes, its extension at both ends [mm], and which of the two
    were read at rest.

    Hidden: the gap before sample `first` hides it; it has no samples.
    """

    first: int
    stop: int
    pushing_set: PushingSet
    start_mm: float
    end_mm: float
    start_rests: bool = False
    end_rests: bool = False

    @property
    def hidden(self) -> bool:
        return self.first == self.stop


def find_bouts(record: Record, rate: Floats, kind: str, origin: int, slip: Slip) -> list[Bout]:
    """All bouts that begin at or after sample `origin`, in order. rate: (n,) mm/min of `forward_rate`."""
    moving = advancing(record, rate) & ~slip.certain
    found: list[Bout] = []
    pieces = _split_at_long_gaps(record, moving)
    for i, (first, stop) in enumerate(pieces):
        if first < origin or _tail_of_slide(record, slip, first, stop):
            continue
        free = (
            max(origin, pieces[i - 1][1] if i else 0),
            pieces[i + 1][0] if i + 1 < len(pieces) else len(record),
        )
        free = _without(slip, (first, stop), free)
        bout = _bout(record, rate, kind, *_sharpened(record, kind, (first, stop), free))
        if bout is not None:
            found.append(_up_to_slide(record, bout, rate, slip))
    return found


def _without(slip: Slip, piece: tuple[int, int], free: tuple[int, int]) -> tuple[int, int]:
    """The samples free around a piece, up to the slides beside it."""
    before = [slide.stop for slide in slip.slides if slide.stop <= piece[0]]
    after = [slide.first for slide in slip.slides if slide.first >= piece[1]]
    return max([free[0], *before]), min([free[1], *after])


def _tail_of_slide(record: Record, slip: Slip, first: int, stop: int) -> bool:
    """What still moves right after a slide, for no longer than its end is known, belongs to it."""
    lasts_s = (stop - first) * record.nominal_s
    return bool(first and slip.certain[first - 1] and lasts_s < max(SHORTEST_BOUT_S, 2.5 * record.nominal_s))


def _up_to_slide(record: Record, bout: Bout, rate: Floats, slip: Slip) -> Bout:
    """A bout that ends in a slide ended where the mains rest after it, less what they slid."""
    for slide in slip.slides:
        if record.main is None or bout.pushing_set != PushingSet.MAIN or abs(slide.first - bout.stop) > 1:
            continue
        blurred = record.rate_mm_min is None
        rests = slide.stop + np.flatnonzero(blurred | (rate[slide.stop : slide.stop + 2] <= STOP_MM_MIN))
        if len(rests):
            since = (int(rests[-1 if blurred else 0]), 1)
            mm, readings = at_rest(record, record.main, rate, since)
            if readings >= LEAST_READINGS:
                return replace(bout, end_mm=mm - slide.mm, end_rests=True)
    return bout


def forward_rate(record: Record, kind: str) -> Floats:
    """Speed of advance (n,) mm/min: logged, else the slope of the set that pushes, else of chainage."""
    rate = np.full(len(record), np.nan) if record.rate_mm_min is None else record.rate_mm_min
    if np.isfinite(rate).mean() > 0.5:
        return rate
    slope = stroke_rate(record, kind)
    return np.where(np.isfinite(rate), rate, slope)


def known_rate(record: Record, rate: Floats) -> Floats:
    """The rate with missing values bridged by the mean of those around them, 0 where there are none."""
    missing = ~np.isfinite(rate)
    return np.where(missing, np.nan_to_num(record.felt.mean(rate)), rate) if missing.any() else rate


def stroke_rate(record: Record, kind: str) -> Floats:
    """Speed of advance from strokes alone, else from chainage."""
    main = record.main if record.main is not None else record.travel
    if main is None and record.aux is None:
        return np.full(len(record), np.nan)
    return set_rate(main, record.aux, kind)


def advancing(record: Record, rate: Floats) -> Flags:
    """Where the head goes forward, turning, (n,)."""
    smooth = record.felt.mean(rate)
    start, stop = START_MM_MIN, STOP_MM_MIN
    if record.rate_mm_min is None:
        slopes = [e.slope_noise_mm_min for e in (record.main, record.aux, record.travel) if e is not None]
        start, stop = max([start, *(4 * s for s in slopes)]), max([stop, *(2 * s for s in slopes)])
    able = ~returning(record)
    if record.turning is not None:
        able &= record.turning
    going = hysteresis(np.where(able, smooth, 0.0), start, stop) & able
    pause_s = SHORTEST_PAUSE_S if record.rate_mm_min is not None else BLUR_S
    going = close_short(going, record.seconds, pause_s) & able
    going = _trimmed(going, np.where(np.isfinite(rate), rate, smooth) > stop)
    if record.rate_mm_min is None and record.turning is not None:
        fast = drop_short(going, record.seconds, max(2 * BLUR_S, 6 * record.nominal_s))
        going |= _creeping(record, able & ~fast)
        going = close_short(going, record.seconds, pause_s) & able
    return drop_short(going, record.seconds, min(SHORTEST_BOUT_S, 2 * record.nominal_s))


def _creeping(record: Record, able: Flags) -> Flags:
    """Advance too slow for the slope of a noisy stroke, where the head turns for minutes (n,)."""
    out = np.zeros(len(record), bool)
    main, width_s, blur_s = record.main, max(CREEP_S, 16 * record.nominal_s), max(BLUR_S, record.nominal_s)
    if record.travel is not None:  # a step of it is no creep, and it is late
        main, blur_s = record.travel, max(CHAINAGE_S, blur_s)
        width_s = max(width_s, 60 * 2 * CHAINAGE_STEP_MM / START_MM_MIN)
    if main is None:
        return out
    for first, stop in runs(able):
        low, high = record.seconds[first] + blur_s, record.seconds[stop - 1] - blur_s
        part = slice(*np.searchsorted(record.seconds, (low, high)).tolist())
        seconds = record.seconds[part]
        sure = (seconds >= low + width_s / 4) & (seconds <= high - width_s / 4)  # of a slope to both sides
        if not sure.any():
            continue
        rise = slope(seconds, width_s).of(main.mm[part]) * 60
        slow = runs(hysteresis(rise[sure], START_MM_MIN, STOP_MM_MIN))
        inner = np.flatnonzero(sure) + part.start
        for begin, end in slow:
            out[inner[begin] if begin else first : inner[end] if end < len(inner) else stop] = True
    return out


def returning(record: Record) -> Flags:
    """Where a set that may push is being drawn in (n,): faster than any noise, for a minute or a sample; not where
    it still goes out before that minute is over."""
    main = record.main
    if main is None:
        return np.zeros(len(record), bool)
    step = np.diff(main.mm, prepend=main.mm[:1])
    falls = step < 0
    if record.is_fine:
        falls[1:-1] = main.smooth_mm[2:] < main.smooth_mm[:-2]
    fast: Flags = falls & (main.slope_mm_min < -max(60.0, 4 * main.noise_mm))
    return fast | (step < -max(30.0, 8 * main.noise_mm))


def _trimmed(going: Flags, felt: Flags) -> Flags:
    """Each run shortened to its first and last sample that moves by itself."""
    out = np.zeros_like(going)
    for first, stop in runs(going):
        inside = np.flatnonzero(felt[first:stop])
        if len(inside):
            out[first + inside[0] : first + inside[-1] + 1] = True
    return out


def _split_at_long_gaps(record: Record, moving: Flags) -> list[tuple[int, int]]:
    breaks = np.flatnonzero(record.after_gap)
    pieces: list[tuple[int, int]] = []
    for first, stop in runs(moving):
        cuts = breaks[(breaks > first) & (breaks < stop)].tolist()
        edges = [first, *cuts, stop]
        pieces.extend(pairwise(edges))
    return pieces


def _bout(record: Record, rate: Floats, kind: str, first: int, stop: int) -> Bout | None:
    travel = float(np.nansum(rate[first:stop] * record.credit.credit_us[first:stop]) / 60e6)
    main = _ends(record, record.main if record.main is not None else record.travel, rate, (first, stop))
    aux = None
    if record.main is None and record.aux is None:
        pushing = _greater_force(record, kind, first, stop)
    elif kind != DOUBLE_SHIELD or _moved(main) >= HALF * max(travel, LEAST_BOUT_MM):
        pushing = PushingSet.MAIN
    else:
        aux = _ends(record, record.aux, rate, (first, stop))
        pushing = _other_set(travel, aux)
    by_aux = pushing == PushingSet.AUX and record.travel is None
    start, end = (aux if by_aux else main) or (Level(0.0, False), Level(travel, False))
    lasts_s = record.seconds[stop - 1] - record.seconds[first]
    if pushing == PushingSet.AUX and record.rate_mm_min is None and lasts_s < LEAST_AUX_S:
        return None
    moved = end.mm - start.mm
    if max(moved, travel if record.rate_mm_min is not None else 0.0) < LEAST_BOUT_MM:
        return None
    return Bout(first, stop, pushing, start.mm, end.mm, start.rests, end.rests)


def _sharpened(record: Record, kind: str, span: tuple[int, int], free: tuple[int, int]) -> tuple[int, int]:
    """Without a logged speed the slope of a stroke blurs beginnings and ends: the head is on the face while its
    torque is that of boring, and comes up to it before. free: the samples up to other bouts."""
    if record.rate_mm_min is not None:
        return span
    if record.main is None and record.aux is None:
        return _under_load(record, span, free)
    first, stop = _in_motion(record, kind, span, free)
    begin, end = _under_load(record, (first, stop), free)
    return min(first, begin), end


def _in_motion(record: Record, kind: str, span: tuple[int, int], free: tuple[int, int]) -> tuple[int, int]:
    """Where the level of the set that pushes leaves that of rest, and where it reaches its greatest."""
    first, stop = span
    main, aux = record.main, record.aux
    moves = main is not None and main.smooth_mm[stop - 1] - main.smooth_mm[first] > LEAST_BOUT_MM
    extension = main if moves or kind != DOUBLE_SHIELD or aux is None else aux
    assert extension is not None
    smoothed = record.nominal_s < FELT_S
    level = extension.smooth_mm if smoothed else extension.mm
    seconds, clear_mm = record.seconds, max(1.5, (1.2 if smoothed else 4.0) * extension.noise_mm)
    blur_s = max(BLUR_S, 3.5 * record.nominal_s)
    around = np.searchsorted(seconds, (seconds[first] - blur_s, seconds[stop - 1] + blur_s)).tolist()
    around[0] = max(around[0], _turns_since(record, first))
    part = level[around[0] : around[1]]
    least, most = int(part[: stop - around[0]].argmin()), int(part.argmax())
    if most <= least or part[most] - part[least] < 3 * clear_mm:
        return first, stop
    rate = (part[most] - part[least]) / (seconds[stop - 1] - seconds[first] + record.nominal_s)
    left = np.flatnonzero(part[least : most + 1] > part[least] + clear_mm)[0] + least + around[0]
    there = np.flatnonzero(part[least : most + 1] < part[most] - clear_mm)[-1] + least + around[0]
    begin, end = np.searchsorted(
        seconds, (seconds[left] - SLOW_START * clear_mm / rate, seconds[there] + clear_mm / rate)
    ).tolist()
    begin, end = max(begin, around[0], free[0]), min(end + 1, around[1], free[1])
    return (begin, end) if end > begin else (first, stop)


def _under_load(record: Record, span: tuple[int, int], free: tuple[int, int]) -> tuple[int, int]:
    """Where the torque of the head on the face begins and ends around a stretch, whose edges are blurred."""
    first, stop = span
    torque, seconds = record.clear_torque_kNm, record.seconds
    blur_s = max(BLUR_S if record.travel is None else CHAINAGE_S / 2, 3 * record.nominal_s)
    low, high = np.searchsorted(seconds, (seconds[first] - blur_s, seconds[stop - 1] + blur_s)).tolist()
    low, high = max(low, free[0], _turns_since(record, first)), min(high, free[1])
    boring, turning = middle(torque[first:stop]), np.arange(low, high)
    if record.turning is not None:
        turning = turning[record.turning[low:high]]
    idle = float(np.nanmin(torque[turning])) if np.isfinite(torque[turning]).any() else np.nan
    if not idle < FREE_SHARE * boring:  # it never turned free, or the log has no torque
        return first, stop
    loaded = turning[torque[turning] > idle + ON_FACE * (boring - idle)]
    begin, end = int(loaded[0]), int(loaded[-1]) + 1
    # a head held before or after it is loaded all along
    begin = begin if begin > turning[0] or begin == first else first
    end = end if end <= turning[-1] or high == len(record) else stop
    return (begin, end) if end > first and begin < stop else (first, stop)


def _turns_since(record: Record, first: int) -> int:
    """The last sample before the head began to turn: what a set moves before it, it moves without the head."""
    still = np.flatnonzero(~record.turning[: first + 1]) if record.turning is not None else np.empty(0)
    return int(still[-1]) if len(still) else 0


def _ends(
    record: Record, extension: Extension | None, rate: Floats, span: tuple[int, int]
) -> tuple[Level, Level] | None:
    """Extension at the start and the end of a bout: at rest; where a fine log shows no rest medians over some
    seconds of the bout."""
    if extension is None:
        return None
    first, stop = span
    start, end = rest_before(record, extension, rate, first), rest_after(record, extension, rate, stop)
    low, high = record.felt.low, record.felt.high
    if not start.rests:
        start = Level(middle(extension.mm[low[first] : high[first]]), False)
    if not end.rests:
        end = Level(middle(extension.mm[low[stop - 1] : high[stop - 1]]), False)
    return start, end


def _moved(ends: tuple[Level, Level] | None) -> float:
    return ends[1].mm - ends[0].mm if ends is not None else float("nan")


def _other_set(travel: float, aux: tuple[Level, Level] | None) -> PushingSet:
    """The set that pushes where the mains of a double shield do not move by the travel."""
    least = max(travel, LEAST_BOUT_MM)
    if aux is None or HALF * least <= _moved(aux) <= MOST_BY_AUX * least:
        return PushingSet.AUX
    return PushingSet.MAIN


def _greater_force(record: Record, kind: str, first: int, stop: int) -> PushingSet:
    """Without strokes: the set that presses harder. The other holds the ring, or is bottomed."""
    if kind != DOUBLE_SHIELD:
        return PushingSet.MAIN
    main, aux = (middle(record.samples.get(n)[first:stop]) for n in ("main_thrust_kN", "aux_thrust_kN"))
    if np.isnan(main) or np.isnan(aux):
        return PushingSet.UNKNOWN
    return PushingSet.MAIN if main >= aux else PushingSet.AUX
