"""Bouts: uninterrupted stretches in which one set of cylinders moves the head forward.

Which set pushes follows from which cylinders move, never from pressures alone:

* mains extend: the main set pushes, whatever the auxiliaries do. While the grippers are braced the
  auxiliaries hold the last ring and shorten and lengthen, pad by pad, as the next one is built.
* mains stand still and auxiliaries extend with the head turning: the auxiliary set pushes.

A machine changes from one set to the other only at a regrip, so a bout has one set.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tbmreview.domain.setup import DOUBLE_SHIELD
from tbmreview.domain.states import PushingSet
from tbmreview.motion.record import FELT_S, Extension, Record
from tbmreview.motion.signals import (
    Flags,
    Floats,
    Ints,
    close_short,
    drop_short,
    hysteresis,
    middle,
    runs,
    slope,
)

# Below 1 mm/min a stroke of 1.5 m would take more than a day: the head turns without advance.
# A held shield is reported to creep at 2.7 mm/min (Wang S. et al. 2025), which is still boring.
START_MM_MIN = 1.2
STOP_MM_MIN = 0.6
SHORTEST_PAUSE_S = 10.0  # a shorter standstill of the advance is noise of the speed
SHORTEST_BOUT_S = 8.0
BLUR_S = 30.0  # half the longer window of a slope
CREEP_S = 240.0  # over so long a stroke with millimetres of noise shows less than 1 mm/min
SLOW_START = 1.5  # the head goes slower than its mean while it is loaded
LEAST_AUX_S = 90.0  # without a logged speed: pads that come out onto a new segment take less
MOST_BY_AUX = 3.0  # times the travel: auxiliaries that open by more come out onto a new segment
LEAST_BOUT_MM = 3.0  # less is no bout, but play in the machine
REST_S = 60.0  # a set at rest is read over so long
DRAWN_BACK_MM = 60.0  # in an interval; more is the ramp of a return


@dataclass(frozen=True, slots=True)
class Bout:
    """Samples first to before stop, the set that pushes, and its extension at both ends [mm].

    Hidden: the gap before sample `first` hides it; it has no samples.
    """

    first: int
    stop: int
    pushing_set: PushingSet
    start_mm: float
    end_mm: float

    @property
    def hidden(self) -> bool:
        return self.first == self.stop


def find_bouts(record: Record, rate: Floats, kind: str, origin: int, slip: Flags) -> list[Bout]:
    """All bouts that begin at or after sample `origin`, in order. rate: (n,) mm/min of `forward_rate`;
    slip: (n,) where mains extend in vain."""
    moving = advancing(record, rate) & ~slip
    found: list[Bout] = []
    pieces = _split_at_long_gaps(record, moving)
    for i, (first, stop) in enumerate(pieces):
        if first < origin:
            continue
        free = (
            max(origin, pieces[i - 1][1] if i else 0),
            pieces[i + 1][0] if i + 1 < len(pieces) else len(record),
        )
        bout = _bout(record, rate, kind, *_sharpened(record, kind, (first, stop), free))
        if bout is not None:
            found.append(bout)
    return found


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
    by_main = main.slope_mm_min if main is not None else np.zeros(len(record))
    if kind != DOUBLE_SHIELD or record.aux is None:
        return by_main
    still = np.abs(by_main) < max(START_MM_MIN, 4 * main.slope_noise_mm_min if main is not None else 0.0)
    return np.where(still, record.aux.slope_mm_min, by_main)


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
        going = (
            close_short(going | _creeping(record, able & (smooth < 3 * start)), record.seconds, pause_s)
            & able
        )
    return drop_short(going, record.seconds, min(SHORTEST_BOUT_S, 2 * record.nominal_s))


def _creeping(record: Record, able: Flags) -> Flags:
    """Advance too slow for the slope of a noisy stroke, where the head turns for minutes (n,)."""
    out = np.zeros(len(record), bool)
    main, width_s = record.main, max(CREEP_S, 16 * record.nominal_s)
    if main is None:
        return out
    blur_s = max(BLUR_S, 3 * record.nominal_s)
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
    """Where a set that may push is being drawn in (n,): faster than any noise, for a minute or a sample."""
    back = np.zeros(len(record), bool)
    main = record.main
    if main is not None:
        back |= main.slope_mm_min < -max(60.0, 4 * main.noise_mm)
        step = np.r_[0.0, np.diff(main.mm)]
        back |= step < -max(30.0, 8 * main.noise_mm)
    return back


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
    aux = _ends(record, record.aux, rate, (first, stop))
    if record.main is None and record.aux is None:
        pushing = _greater_force(record, kind, first, stop)
    else:
        pushing = _pushing_set(kind, travel, main, aux)
    by_aux = pushing == PushingSet.AUX and record.travel is None
    start, end = (aux if by_aux else main) or (0.0, travel)
    lasts_s = record.seconds[stop - 1] - record.seconds[first]
    if pushing == PushingSet.AUX and record.rate_mm_min is None and lasts_s < LEAST_AUX_S:
        return None
    moved = end - start
    if max(moved, travel if record.rate_mm_min is not None else 0.0) < LEAST_BOUT_MM:
        return None
    return Bout(first, stop, pushing, start, end)


def _sharpened(record: Record, kind: str, span: tuple[int, int], free: tuple[int, int]) -> tuple[int, int]:
    """Without a logged speed the slope of a stroke blurs beginnings and ends: they are where its level
    leaves that of rest, and where it reaches its greatest. free: the samples up to other bouts."""
    first, stop = span
    main, aux = record.main, record.aux
    if record.rate_mm_min is not None or (main is None and aux is None):
        return first, stop
    moves = main is not None and main.smooth_mm[stop - 1] - main.smooth_mm[first] > LEAST_BOUT_MM
    extension = main if moves or kind != DOUBLE_SHIELD or aux is None else aux
    assert extension is not None
    smoothed = record.nominal_s < FELT_S
    level = extension.smooth_mm if smoothed else extension.mm
    seconds, clear_mm = record.seconds, max(1.5, (1.2 if smoothed else 4.0) * extension.noise_mm)
    blur_s = max(BLUR_S, 3.5 * record.nominal_s)
    around = np.searchsorted(seconds, (seconds[first] - blur_s, seconds[stop - 1] + blur_s)).tolist()
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


def _ends(
    record: Record, extension: Extension | None, rate: Floats, span: tuple[int, int]
) -> tuple[float, float] | None:
    """Extension at the start and the end of a bout [mm].

    Medians over some seconds; in a slow log the readings at rest before and after it, since up to an
    interval of its movement lies outside its samples.
    """
    if extension is None:
        return None
    first, stop = span
    mm = extension.mm
    if by_rest(record, extension):
        return rest_before(record, extension, rate, first), _rest_after(record, extension, rate, stop)
    low, high = record.felt.low, record.felt.high
    return middle(mm[low[first] : high[first]]), middle(mm[low[stop - 1] : high[stop - 1]])


def by_rest(record: Record, extension: Extension) -> bool:
    """The ends of a movement are read at rest: where samples lie too far apart to see them, where no
    logged speed says when they are, and of a chainage, which is late."""
    return not record.is_fine or record.rate_mm_min is None or extension is record.travel


def rest_before(record: Record, extension: Extension, rate: Floats, first: int) -> float:
    """Extension before the movement that sample `first` is the first to show [mm]."""
    resting = record.goes_on(first) and extension.mm[first - 1] <= extension.mm[first] + extension.unclear_mm
    if resting:
        return _at_rest(record, extension, rate, np.arange(first - 1, -1, -1))
    return float(extension.mm[first] - half_interval_mm(record, rate, first))


def _at_rest(record: Record, extension: Extension, rate: Floats, samples: Ints) -> float:
    """Mean of the readings of a set that stays where it is from the first of `samples` (k,) on [mm].

    samples: onward from the end of a movement, or backward from its beginning.
    """
    beyond = 1 if samples[-1] > samples[0] else -1
    samples = samples[: record.readings(REST_S, least=2)]
    crossed = np.flatnonzero(record.after_gap[np.maximum(samples[1:], samples[:-1])])
    samples = samples[: crossed[0] + 1] if len(crossed) else samples
    mm, seconds = extension.mm[samples], record.seconds[samples]
    if record.rate_mm_min is None and len(samples) > 1 and beyond * (mm[1] - mm[0]) > extension.noise_mm:
        samples, mm, seconds = samples[1:], mm[1:], seconds[1:]  # the first was still on its way
    moves = np.abs(mm - mm[0]) > 3 * max(extension.noise_mm, 0.5)
    moves |= np.abs(seconds - seconds[0]) > REST_S + record.nominal_s
    if record.rate_mm_min is not None:
        moves |= rate[samples] > STOP_MM_MIN
    end = np.flatnonzero(moves[1:])
    return float(mm[: end[0] + 1 if len(end) else len(mm)].mean())


def half_interval_mm(record: Record, rate: Floats, first: int) -> float:
    """What the rate at a sample makes in half the interval before it [mm]."""
    interval_s = min(record.seconds[first] - record.seconds[max(first - 1, 0)], 2 * record.nominal_s)
    return float(0.5 * max(np.nan_to_num(rate[first]), 0.0) * interval_s / 60)


def _rest_after(record: Record, extension: Extension, rate: Floats, stop: int) -> float:
    """Extension at which a bout ended [mm]: the readings that follow, if the head was not drawn back by then."""
    mm, last = extension.mm, stop - 1
    if stop >= len(mm) or not record.goes_on(stop):
        return float(mm[last]) + 2 * half_interval_mm(record, rate, last)
    following = mm[min(stop + 1, len(mm) - 1)] - mm[stop]
    fell = mm[stop] < mm[last] - 3 * extension.noise_mm
    if not fell and not -DRAWN_BACK_MM < following < -extension.unclear_mm:
        return _at_rest(record, extension, rate, np.arange(stop, len(mm)))
    # it went on after `last`, but had to stop and come back before the next reading
    return float(max(mm[last], mm[stop])) + 0.5 * half_interval_mm(record, rate, last)


def _pushing_set(
    kind: str, travel: float, main: tuple[float, float] | None, aux: tuple[float, float] | None
) -> PushingSet:
    if kind != DOUBLE_SHIELD:
        return PushingSet.MAIN
    half = 0.5 * max(travel, LEAST_BOUT_MM)
    by_main = main[1] - main[0] if main is not None else np.nan
    by_aux = aux[1] - aux[0] if aux is not None else np.nan
    if by_main >= half:
        return PushingSet.MAIN
    if aux is None or half <= by_aux <= MOST_BY_AUX * max(travel, LEAST_BOUT_MM):
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
