"""Slip of the grippers: mains extend, the rear shield goes back on the ring, the head stays.

It looks like ring building, which shortens the auxiliaries too, and like a guidance that is late. So it
is stated only where, for a minute or more, the chainage stands still while the mains extend, has not
caught up soon after, followed them before, and the auxiliaries shorten by as much. Without a chainage:
where the auxiliaries shorten as fast as the mains extend and the torque of boring is gone (the thrust, where no
torque is logged); if it stays, the log cannot tell.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from tbmreview.domain.setup import DOUBLE_SHIELD
from tbmreview.motion.record import START_MM_MIN, Extension, Record
from tbmreview.motion.rest import at_rest
from tbmreview.motion.signals import Flags, Floats, close_short, filled, line, middle, runs

LEAST_S = 50.0  # a minute, less what smoothing hides at both ends
WINDOW_S = 60.0
AROUND_S = 45.0  # before and after a slip: clear of its smoothed edges
BESIDE_S = 20.0  # levels are medians over so long
AS_FAST = (0.7, 1.4)  # aux shortening over main extending
STANDS = 0.4  # of the main's movement: less is standing still on a coarse chainage
LOW = 0.1  # the line of a ramp is laid through what is between so much and the rest of its height
LEAST_MM, MOST_MM = 25.0, 250.0  # less is in the noise of guidance; a crew does not let it slip further
LOOK_BACK_S = 600.0
LOST = 0.5  # of the torque while boring: a head that goes forward in one ground does not lose so much


class Slide(NamedTuple):
    """Samples first to before stop over which the mains extend by mm in vain."""

    first: int
    stop: int
    mm: float


@dataclass(frozen=True, slots=True)
class Slip:
    """Flags (n,): slip that is certain, and stretches where the log cannot tell; the slides of the certain one."""

    certain: Flags
    doubtful: Flags
    slides: tuple[Slide, ...] = ()


def find_slip(record: Record, kind: str) -> Slip:
    """Slip in a window."""
    certain = np.zeros(len(record), bool)
    doubtful = np.zeros(len(record), bool)
    if kind != DOUBLE_SHIELD or record.main is None or record.aux is None:
        return Slip(certain, doubtful)
    station = record.logged_position_m
    known = filled(1000 * station, record.seconds) if station is not None else None
    slides, out = [], _rise(record, record.main.mm)
    if known is None:
        for first, stop in _stretches(record, _together(record, out, record.aux)):
            slide = _sharper(record, record.aux, Slide(first, stop, 0.0))
            slide = slide if slide.mm else slide._replace(mm=_extended(record, slide))
            if _lost_load(record, slide):
                certain[slide.first : slide.stop] = True
                slides.append(slide)
            else:
                doubtful[first:stop] = True
        return Slip(certain, doubtful, tuple(slides))
    behind_mm = record.main.smooth_mm - record.felt.mean(known)
    stands = _head_stands(record, out, behind_mm) | _together(record, out, record.aux)
    for first, stop in _stretches(record, stands):
        coarse = _ramp(record, behind_mm, first, stop)
        if coarse is not None and _is_slip(record, record.main, behind_mm, coarse):
            slide = _sharper(record, record.aux, coarse)
            certain[slide.first : slide.stop] = True
            slides.append(slide)
    return Slip(certain, doubtful, tuple(slides))


def _extended(record: Record, slide: Slide) -> float:
    """How much further the mains are extended after a slide than before [mm]."""
    assert record.main is not None
    mm = record.main.mm
    return float(mm[min(slide.stop, len(mm) - 1)] - mm[slide.first])


def _lost_load(record: Record, slide: Slide) -> bool:
    """The head, which turns on, has lost most of the torque it had while it bored, or in a log without torque the
    mains most of their thrust: it goes nowhere."""
    assert record.main is not None
    torque = record.torque_kNm
    load = torque if np.isfinite(torque).any() else record.samples.get("main_thrust_kN")
    before_s = record.seconds[slide.first] - np.array([LOOK_BACK_S, BESIDE_S])
    before = slice(*np.searchsorted(record.seconds, before_s).tolist())
    boring = middle(load[before][record.main.slope_mm_min[before] > START_MM_MIN])
    return bool(middle(load[slide.first : slide.stop]) < LOST * boring)


def _sharper(record: Record, aux: Extension, coarse: Slide) -> Slide:
    """The slide as the auxiliaries show it, which shorten by as much: they are finer than a guidance and never late."""
    before, after = _beside(record, aux, coarse)
    fine = _ramp_between(record, -aux.smooth_mm, (-before, -after), coarse)
    if fine is None:
        return coarse
    # more than the chainage fell behind, and pads that came in right before are among it
    wanted = (_extended(record, fine), *([coarse.mm] if coarse.mm else []))
    as_much = all(AS_FAST[0] < fine.mm / mm < AS_FAST[1] for mm in wanted)
    return fine if as_much else coarse


def _beside(record: Record, aux: Extension, slide: Slide) -> tuple[float, float]:
    """The auxiliaries' extension [mm] at rest before and after a slide, clear of its edges."""
    seconds, last = record.seconds, len(record) - 1
    low_s, high_s = seconds[slide.first] - AROUND_S, seconds[min(slide.stop, last)] + AROUND_S
    before = max(int(np.searchsorted(seconds, low_s, "right")) - 1, 0)
    after = min(int(np.searchsorted(seconds, high_s)), last)
    return at_rest(record, aux, None, (before, -1))[0], at_rest(record, aux, None, (after, 1))[0]


def _together(record: Record, out: Floats, aux: Extension) -> Flags:
    """Where the auxiliaries shorten as fast as the mains extend (n,); out: rise of the mains (n,) mm/min."""
    back = -_rise(record, aux.mm)
    return (out > START_MM_MIN) & (back > AS_FAST[0] * out) & (back < AS_FAST[1] * out)


def _head_stands(record: Record, out: Floats, behind_mm: Floats) -> Flags:
    """Where the mains extend and the chainage does not follow (n,); out: rise of the mains (n,) mm/min."""
    return (out > START_MM_MIN) & (_rise(record, behind_mm) > (1 - STANDS) * out)


def _rise(record: Record, mm: Floats) -> Floats:
    """Slope of mm (n,) in a minute, mm/min; beside a row that a slow log has lost from one neighbour to the other."""
    rise = record.windows.slope(max(WINDOW_S, 2.5 * record.nominal_s)).of(mm) * 60
    lone = np.flatnonzero(np.isnan(rise[1:-1])) + 1
    lone = lone[~(record.after_gap[lone] | record.after_gap[lone + 1])]
    over_s = record.seconds[lone + 1] - record.seconds[lone - 1]
    rise[lone] = (mm[lone + 1] - mm[lone - 1]) / over_s * 60
    return rise


def _stretches(record: Record, flags: Flags) -> list[tuple[int, int]]:
    if record.turning is not None:
        flags = flags & record.turning
    seconds = record.seconds
    found = runs(close_short(flags, seconds, 5.0))
    half_way = np.concatenate([seconds[:1], (seconds[1:] + seconds[:-1]) / 2, seconds[-1:]])
    return [(a, b) for a, b in found if half_way[b] - half_way[a] >= LEAST_S]


def _ramp(record: Record, rising_mm: Floats, first: int, stop: int) -> Slide | None:
    """The slide that a ramp from level to level shows."""
    seconds = record.seconds
    beside_s = max(BESIDE_S, 2 * record.nominal_s)
    low, high = seconds[first] - AROUND_S, seconds[stop - 1] + AROUND_S
    base = middle(rising_mm[slice(*np.searchsorted(seconds, (low - beside_s, low + 1)).tolist())])
    top = middle(rising_mm[slice(*np.searchsorted(seconds, (high - 1, high + beside_s)).tolist())])
    return _ramp_between(record, rising_mm, (base, top), Slide(first, stop, top - base))


def _ramp_between(
    record: Record, rising_mm: Floats, levels: tuple[float, float], about: Slide
) -> Slide | None:
    """The slide of a ramp between two levels, half way up about that of another."""
    base, top = levels
    if not LEAST_MM < top - base < MOST_MM:
        return None
    seconds, around_s = record.seconds, max(AROUND_S, 2 * record.nominal_s)
    low, high = seconds[about.first] - around_s, seconds[about.stop - 1] + around_s
    begin, end = np.searchsorted(seconds, (low, high)).tolist()
    part = slice(begin, end + 1)  # the row that a slow log has lost may be the last of them
    found = _foot_and_top((rising_mm[part] - base) / (top - base), seconds[part], (low + high) / 2)
    if found is None:
        return None
    first, stop = np.searchsorted(seconds, np.array(found) - record.nominal_s / 2).tolist()
    return Slide(first, stop, top - base) if stop > first else None


def _foot_and_top(share: Floats, seconds: Floats, about_s: float) -> tuple[float, float] | None:
    """When a ramp (n,) from 0 to 1, half way up about some time, begins and ends [s]: of the line through its
    middle."""
    up = np.flatnonzero((share[:-1] < 0.5) & (share[1:] >= 0.5))
    if not len(up):
        return None
    half = int(up[np.abs(seconds[up] - about_s).argmin()])
    below, above = np.flatnonzero(share[: half + 1] < LOW), np.flatnonzero(share[half + 1 :] > 1 - LOW)
    first, last = below[-1] + 1 if len(below) else half, half + int(above[0]) if len(above) else half + 1
    part = slice(min(first, half), max(last, half + 1) + 1)
    rise, foot = line(seconds[part] - about_s, share[part])
    return about_s - foot / rise, about_s + (1 - foot) / rise


def _is_slip(record: Record, main: Extension, behind_mm: Floats, edges: Slide) -> bool:
    """The chainage followed the mains before, and the auxiliaries shortened by as much."""
    assert record.aux is not None
    first, k = edges.first, record.readings(BESIDE_S)
    since = int(np.searchsorted(record.seconds, record.seconds[first] - LOOK_BACK_S))
    back = since + int(main.smooth_mm[since : first + 1].argmin())  # no further back than the stroke began
    extended = main.smooth_mm[first] - main.smooth_mm[back]
    fell_behind = middle(behind_mm[max(first - k, 0) : first + 1]) - behind_mm[back]
    before_mm, after_mm = _beside(record, record.aux, edges)
    return bool(
        extended > LEAST_MM
        and fell_behind < STANDS * extended
        and before_mm - after_mm >= AS_FAST[0] * edges.mm
    )
