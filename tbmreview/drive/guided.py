"""What the chainage in the logs says of the sum of strokes: odd strokes, jumps, and anchors.

A stroke's reading is coarse and jumps where the target is moved or surveyed anew, so no stroke is placed by its
own reading: odd steps are taken out first, then straight lines are laid through many strokes.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tbmreview.domain.overrules import Overrule
from tbmreview.domain.robust import MAD_TO_SIGMA
from tbmreview.domain.table import Table
from tbmreview.drive.course import GUIDANCE, MOST_GAIN, Anchor, OddStroke, own_steps
from tbmreview.motion.signals import Floats, Ints, middle, noise

LEAST_M = 20.0  # between two anchors, unless the drive is shorter
LEAST_STROKES = 4  # fewer tell nothing of how far the chainage is to be trusted
FINE_GAIN = 5e-4  # what the noise of the readings may make of the gain between two anchors
COARSE_GAIN = 1e-3  # the same over a whole drive that is short: beyond it nothing is corrected
ODD_M = 0.020  # a stroke off by more against its neighbours is reported, not spread
ODD_SDS = 5.0  # and off by more than noise makes of it
SMALL_M = 0.05  # where a stroke begins its contact with the face may be off by so much in a slow log
HALF = 0.5
NEIGHBOURS = 7  # strokes on either side
COVERED = 0.5  # of the advance must lie near a reading
SIDE = 30  # readings on either side that say how high a step is
ROUNDS = 4  # of weighing readings by their distance to the lines
FAR = 2.5  # noise deviations from which a reading weighs less


@dataclass(frozen=True, slots=True)
class Guided:
    """anchors: on the lines through the readings, () where the chainage is not used; odd: strokes and jumps;
    says: in a line, what was made of the logged chainage."""

    anchors: tuple[Anchor, ...]
    odd: tuple[OddStroke, ...]
    says: str


def guided(
    guidance: Table, strokes: Table, offset_m: float | None, overrules: Sequence[Overrule] = ()
) -> Guided:
    """What the readings of motion.guidance say.

    guidance: positions on the axis that was in force, see `drive.closing`. offset_m: of the guidance behind
    the face; None: what its first readings show. overrules: a stroke of which a person states otherwise than
    the log shows is taken as stated, and not corrected.
    """
    if len(guidance) < LEAST_STROKES:
        return Guided((), (), "too few strokes have one")
    at, ahead = guidance["position_m"], guidance["ahead_m"]
    lost = _doubt(at, ahead, strokes)
    if lost:
        return Guided((), (), lost)
    odd, step = _odd_strokes(guidance, strokes)
    odd = tuple(_as_stated(o, strokes, overrules) for o in odd)
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
    way = np.diff(guidance["position_m"])
    gain = np.diff(guidance["ahead_m"])
    usual = _usual(gain, way)
    off = np.r_[0.0, gain - usual]
    leap = guidance["leap_m"] + np.append(0.0, guidance["leap_after_m"][:-1])
    evidence = _Evidence(guidance, strokes, off, leap)
    step = np.zeros(len(off))
    found = []
    for k in _odd_by_themselves(guidance["gain_m"], off):
        part = slice(k, k + 2)
        step[part] = off[part]
        found.append(evidence.stroke(k, float(off[part].sum()), "the chainage shows it while it bored"))
    rest = np.where(step == 0, off, 0.0)
    for i in _steps(rest):
        odd = evidence.judged(i)
        if not odd.applied:  # it would stay in all that follows, so what one reading says is not enough
            odd = replace(odd, off_m=_step_between(guidance, step, i))
        step[i] = odd.off_m
        found.append(odd)
    return tuple(sorted(found, key=lambda o: o.from_m)), step


def _as_stated(odd: OddStroke, strokes: Table, overrules: Sequence[Overrule]) -> OddStroke:
    """An odd stroke, not corrected where a person overruled it."""
    starts = strokes["stroke_start_us"]
    following = starts[starts > odd.stroke_start_us]
    for one in overrules:
        ends = one.end_us > odd.stroke_start_us and (not len(following) or one.start_us < following[0])
        if ends and one.what in ("state", "stroke") and not one.withdrawn:
            return replace(odd, applied=False, why=f"taken as stated by {one.decided_by} ({one.id})")
    return odd


def _odd_by_themselves(gain: Floats, off: Floats) -> list[int]:
    """Readings whose strokes the chainage gained on otherwise than on their neighbours, while they bored."""
    own = gain - _around(gain)
    bound = max(ODD_M / 2, ODD_SDS * MAD_TO_SIGMA * middle(np.abs(own)))
    both = off + np.append(off[1:], 0.0)  # into the stroke's middle and out of it
    odd = (np.abs(own) > bound) & (np.abs(both) > _bound(off)) & (own / np.where(both == 0, 1, both) > HALF)
    return np.flatnonzero(odd & ~np.r_[False, odd[:-1]]).tolist()


def _steps(off: Floats) -> list[int]:
    """Readings from which on the chainage stays ahead or behind; one that is off and back is an odd reading."""
    bound = _bound(off)
    step = np.where(np.abs(off) > bound, off, 0.0)
    back = (step[:-1] * step[1:] < 0) & (np.abs(step[:-1] + step[1:]) <= bound)
    step[:-1][back] = step[1:][back] = 0.0
    return np.flatnonzero(step).tolist()


def _bound(off: Floats) -> float:
    return max(ODD_M, ODD_SDS * MAD_TO_SIGMA * middle(np.abs(off)))


def _usual(gain: Floats, way: Floats) -> Floats:
    """The gain that the neighbours of each step would make of its way, (n,)."""
    return _around(gain / np.maximum(way, 1e-3)) * way


def _around(x: Floats) -> Floats:
    """Median of each value and its neighbours (n,)."""
    padded = np.pad(x, NEIGHBOURS, mode="reflect") if len(x) > NEIGHBOURS else x
    if len(x) <= NEIGHBOURS:
        return np.full(len(x), middle(x))
    around = np.sort(np.lib.stride_tricks.sliding_window_view(padded, 2 * NEIGHBOURS + 1), axis=1)
    return around[:, NEIGHBOURS]


def _step_between(guidance: Table, step: Floats, i: int) -> float:
    """How far the readings from i on are ahead of those before it: of two parallel lines through both sides."""
    part = slice(max(i - SIDE, 0), i + SIDE)
    at = guidance["position_m"][part] - guidance["position_m"][i]
    level = (guidance["ahead_m"] - np.cumsum(step))[part]
    lines = np.column_stack([np.ones(len(at)), at, at >= 0])
    found, *_ = np.linalg.lstsq(lines, level, rcond=None)
    return float(found[2])


class _Evidence:
    """Whose fault a step is. Evidence comes first; without any, a small step is the strokes' own and a large
    one a jump of the guidance."""

    def __init__(self, guidance: Table, strokes: Table, off: Floats, leap: Floats) -> None:
        starts = strokes["stroke_start_us"]
        self._number = np.clip(np.searchsorted(starts, guidance["stroke_start_us"]), 0, len(starts) - 1)
        self._strokes, self._off, self._leap = strokes, off, leap
        self._unseen = strokes["unrecorded_m"][self._number] > 0

    def judged(self, i: int) -> OddStroke:
        """What the step from reading i - 1 to reading i is."""
        off, pair = float(self._off[i]), [i - 1, i]
        if self._leap[i] / off > HALF:
            return self.stroke(i, off, "the guidance jumped", applied=False)
        if self._unseen[pair].any():
            return self.stroke(pair[int(np.argmax(self._unseen[pair]))], off, "a record is missing in it")
        if abs(off) <= SMALL_M:
            return self.stroke(i, off, "the chainage shows it where it began")
        return self.stroke(i, off, "the guidance jumped", applied=False)

    def stroke(self, reading: int, off_m: float, why: str, *, applied: bool = True) -> OddStroke:
        """The stroke of a reading as odd."""
        row = self._strokes.rows(slice(int(self._number[reading]), int(self._number[reading]) + 1))
        low, high = (float(row[f"position_{end}_m"][0]) for end in ("from", "to"))
        return OddStroke(int(row["stroke_start_us"][0]), low, high, off_m, applied, why)


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
