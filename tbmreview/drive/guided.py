"""What the chainage in the logs says of the sum of strokes: odd strokes, jumps, and anchors.

A stroke's reading is coarse and jumps where the target is moved or surveyed anew, so no stroke is placed by its
own reading: odd steps are taken out first, then straight lines are laid through many strokes.
"""

from dataclasses import dataclass

import numpy as np

from tbmreview.domain.table import Table
from tbmreview.drive.course import GUIDANCE, MOST_GAIN, Anchor, OddStroke, own_steps
from tbmreview.motion.signals import Floats, Ints, middle, noise

LEAST_M = 20.0  # between two anchors, unless the drive is shorter
LEAST_STROKES = 4  # fewer tell nothing of how far the chainage is to be trusted
FINE_GAIN = 5e-4  # what the noise of the readings may make of the gain between two anchors
COARSE_GAIN = 2e-3  # the same over a whole drive that is short: beyond it nothing is corrected
ODD_M = 0.020  # a stroke off by more against its neighbours is reported, not spread
ODD_SDS = 5.0  # and off by more than noise makes of it
SMALL_M = 0.05  # where a stroke begins its contact with the face may be off by so much in a slow log
HALF = 0.5
NEIGHBOURS = 7  # strokes on either side
COVERED = 0.5  # of the advance must lie near a reading
ROUNDS = 4  # of weighing readings by their distance to the lines
FAR = 2.5  # noise deviations from which a reading weighs less


@dataclass(frozen=True, slots=True)
class Guided:
    """anchors: on the lines through the readings, () where the chainage is not used; odd: strokes and jumps;
    says: in a line, what was made of the logged chainage."""

    anchors: tuple[Anchor, ...]
    odd: tuple[OddStroke, ...]
    says: str


def guided(guidance: Table, strokes: Table, offset_m: float | None) -> Guided:
    """What the readings of motion.guidance say.

    guidance: positions on the axis that was in force, see `drive.closing`. offset_m: of the guidance behind
    the face; None: what its first readings show.
    """
    if len(guidance) < LEAST_STROKES:
        return Guided(
            (), (), "the logs tell no chainage" if not len(guidance) else "too few strokes have one"
        )
    at, ahead = guidance["position_m"], guidance["ahead_m"]
    lost = _doubt(at, ahead, strokes)
    if lost:
        return Guided((), (), lost)
    odd, step = _odd_strokes(guidance, strokes)
    clean = ahead - np.cumsum(step)
    sd = max(noise(clean), 1e-4)
    ends = (float(strokes["position_from_m"][0]), float(strokes["position_to_m"][-1]))
    knots = _knots(at, sd, ends)
    if not len(knots):
        return Guided((), odd, "too noisy for so short a drive")
    level = _lines(at, clean, knots, sd)
    offset = -float(level[0]) if offset_m is None else offset_m
    first_us, last_us = int(strokes["stroke_start_us"][0]), int(strokes["stroke_end_us"][-1])
    times = np.interp(knots, np.r_[ends[0], at, ends[1]], np.r_[first_us, guidance["time_us"], last_us])
    place = knots + level + offset + own_steps(odd, knots)
    anchors = [
        Anchor(int(t), float("nan"), offset, x, y, sd, GUIDANCE)
        for t, x, y in zip(times.tolist(), knots.tolist(), place.tolist(), strict=True)
    ]
    says = f"{len(at)} readings, {1000 * sd:.0f} mm of noise each, an anchor every {_apart(knots):.0f} m"
    return Guided(tuple(anchors), odd, says)


def _apart(knots: Floats) -> float:
    return float(knots[-1] - knots[0]) / max(len(knots) - 1, 1)


def _doubt(at: Floats, ahead: Floats, strokes: Table) -> str:
    """Why the logged chainage is not used; '' where it behaves."""
    way, gone = np.diff(at), np.diff(at + ahead)
    made = float(strokes["position_to_m"][-1] - strokes["position_from_m"][0])
    near = float(np.minimum(way, 3 * middle(way)).sum())
    if near < COVERED * made:
        return f"only {near:.0f} m of {made:.0f} m of advance have a chainage in the logs"
    along = middle(gone[way > 0] / way[way > 0])
    if along < 0:
        return "the chainage in the logs runs against the drive's direction"
    if abs(along - 1) > MOST_GAIN:
        return f"the chainage in the logs moves {along:.2f} m for each metre of strokes"
    return ""


# --- odd steps ----------------------------------------------------------------------------------


def _odd_strokes(guidance: Table, strokes: Table) -> tuple[tuple[OddStroke, ...], Floats]:
    """(odd strokes and jumps, the step that each reading takes over the one before it, (n,), 0 where even)."""
    at, ahead = guidance["position_m"], guidance["ahead_m"]
    gain = np.diff(ahead)
    off = gain - _usual(gain, np.diff(at))
    spread = 1.4826 * middle(np.abs(off))
    bound = max(ODD_M, ODD_SDS * spread)
    step = np.zeros(len(at))
    for i in np.flatnonzero(np.abs(off) > bound).tolist():
        step[i + 1] = off[i]
    # a reading that is off and back is an odd reading, no step
    for i in np.flatnonzero(step[:-1] * step[1:] < 0).tolist():
        if abs(step[i] + step[i + 1]) <= bound:
            step[i] = step[i + 1] = 0.0
    judge = _Judge(guidance, strokes)
    return tuple(judge.of(i, float(step[i])) for i in np.flatnonzero(step).tolist()), step


def _usual(gain: Floats, way: Floats) -> Floats:
    """The gain that the neighbours of each step would make of its way, (n,)."""
    rate = gain / np.maximum(way, 1e-3)
    padded = np.pad(rate, NEIGHBOURS, constant_values=np.nan)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * NEIGHBOURS + 1)
    usual: Floats = np.nanmedian(around, axis=1) * way
    return usual


class _Judge:
    """Whose fault a step is. Evidence comes first; without any, a small step is the strokes' own and a large
    one a jump of the guidance."""

    def __init__(self, guidance: Table, strokes: Table) -> None:
        starts = strokes["stroke_start_us"]
        self._number = np.clip(np.searchsorted(starts, guidance["stroke_start_us"]), 0, len(starts) - 1)
        self._strokes = strokes
        self._leap = guidance["leap_m"] + np.append(0.0, guidance["leap_after_m"][:-1])
        self._own = guidance["gain_m"] - middle(guidance["gain_m"])
        self._unseen = strokes["unrecorded_m"][self._number] > 0

    def of(self, i: int, off_m: float) -> OddStroke:
        """What the step of `off_m` from reading i - 1 to reading i is."""
        pair = [i - 1, i]
        explains = self._own[pair] / off_m
        at, applied, why = i, False, "the guidance jumped"
        if self._leap[i] / off_m > HALF:
            pass
        elif explains.max() > HALF:
            at, applied, why = pair[int(np.argmax(explains))], True, "the chainage shows it while it bored"
        elif self._unseen[pair].any():
            at, applied = pair[int(np.argmax(self._unseen[pair]))], True
            why = "a record is missing in it"
        elif abs(off_m) <= SMALL_M:
            applied, why = True, "the chainage shows it where it began"
        stroke = self._strokes.rows(slice(int(self._number[at]), int(self._number[at]) + 1))
        low, high = (float(stroke[f"position_{end}_m"][0]) for end in ("from", "to"))
        return OddStroke(int(stroke["stroke_start_us"][0]), low, high, off_m, applied, why)


# --- lines --------------------------------------------------------------------------------------


def _knots(at: Floats, sd: float, ends: tuple[float, float]) -> Floats:
    """Where lines meet: as near as noise allows. One for a drive of which only the level is known."""
    length = ends[1] - ends[0]
    apart_m = length / max(len(at), 1)
    whole = _gain_noise(sd, length, apart_m)
    if whole > COARSE_GAIN:
        return np.empty(0)
    stretch = LEAST_M
    while _gain_noise(2 * sd, stretch, apart_m) > FINE_GAIN and stretch < length:
        stretch *= 1.25
    count = max(1, int(length / stretch))
    return np.linspace(ends[0], ends[1], count + 1)


def _gain_noise(sd: float, length: float, apart_m: float) -> float:
    """Standard deviation of the slope of a line through readings `apart_m` apart over a length."""
    return sd * float(np.sqrt(12 * apart_m / max(length, 1e-6) ** 3))


def _lines(at: Floats, y: Floats, knots: Floats, sd: float) -> Floats:
    """Heights (k,) at the knots of the lines through the readings: least squares, far ones weigh less."""
    left = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, len(knots) - 2)
    share = np.clip((at - knots[left]) / (knots[left + 1] - knots[left]), 0.0, 1.0)
    weight = np.ones(len(at))
    height = np.zeros(len(knots))
    for _ in range(ROUNDS):
        height = _solved(left, share, y, weight, len(knots))
        off = np.abs(y - height[left] * (1 - share) - height[left + 1] * share)
        weight = 1 / np.maximum(1.0, off / (FAR * sd))
    return height


def _solved(left: Ints, share: Floats, y: Floats, weight: Floats, count: int) -> Floats:
    """The normal equations, three diagonals, from the first knot to the last and back. A knot without
    readings near it is held on the line of its neighbours by a weight that is of no matter elsewhere."""

    def total(values: Floats, at: Ints) -> Floats:
        return np.bincount(at, values, minlength=count).astype(np.float64)

    low, high = 1 - share, share
    main = total(weight * low * low, left) + total(weight * high * high, left + 1)
    beside = total(weight * low * high, left)
    right = total(weight * low * y, left) + total(weight * high * y, left + 1)
    main, beside = main + 1e-6, beside - 1e-6 * (np.arange(count) < count - 1)
    main[1:-1] += 1e-6
    for i in range(1, count):
        part = beside[i - 1] / main[i - 1]
        main[i] -= part * beside[i - 1]
        right[i] -= part * right[i - 1]
    height = np.zeros(count)
    height[-1] = right[-1] / main[-1]
    for i in range(count - 2, -1, -1):
        height[i] = (right[i] - beside[i] * height[i + 1]) / main[i]
    return height
