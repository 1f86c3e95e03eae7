"""From the sum of strokes to the position: anchors, and the course that is laid through them.

`strokes_m` is the position that the strokes add up to, `position_m` the place on the axis. Their difference
at an anchor is its misclosure; between anchors it is spread in proportion to the advance, as a surveyor
closes a traverse. What a single stroke lost or gained is put into that stroke alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.station import Axis

Floats = NDArray[np.float64]

SURVEYED, GUIDANCE = "surveyed", "guidance"
MOST_GAIN = 0.05  # misclosure over advance between two anchors; no stroke sensor is further off
SURVEY_M = 0.10  # what two surveys may differ by at one place beside their own standard deviation
TELLS_GAIN_M = 5.0  # anchors so far apart tell what the strokes gain beyond them
ONE_PLACE_M = 3.0  # anchors nearer to each other are one, or their noise would become a gain


@dataclass(frozen=True, slots=True)
class Anchor:
    """A place that is known. chainage_m, offset_m: as stated; sd_m NaN: not stated. why: what speaks
    against its use, '' where it is used. insisted: a person says that it is right."""

    time_us: int
    chainage_m: float
    offset_m: float
    strokes_m: float
    position_m: float
    sd_m: float
    source: str
    note: str = ""
    why: str = ""
    insisted: bool = False

    @property
    def misclosure_m(self) -> float:
        """How far the place is ahead of the sum of strokes."""
        return self.position_m - self.strokes_m


@dataclass(frozen=True, slots=True)
class OddStroke:
    """A stroke that is off against its neighbours. off_m: by how much the guidance gained on it more than on
    them. applied: its own advance was corrected by that much; else the guidance jumped and it was not."""

    stroke_start_us: int
    from_m: float
    to_m: float
    off_m: float
    applied: bool
    why: str


@dataclass(frozen=True, slots=True)
class Course:
    """Piecewise linear through knots that rise in both; before the first and after the last the misclosure
    goes on at `gain` m per m of strokes."""

    strokes_m: Floats
    position_m: Floats
    gain: float = 0.0

    def position(self, strokes_m: Floats) -> Floats:
        """Position [m] of sums of strokes (n,). NaN stays NaN."""
        x, y = self.strokes_m, self.position_m
        inside = np.interp(strokes_m, x, y)
        outside = np.minimum(strokes_m - x[0], 0.0) + np.maximum(strokes_m - x[-1], 0.0)
        placed: Floats = inside + (1 + self.gain) * outside
        return placed


def same_place(anchors: Sequence[Anchor]) -> list[list[Anchor]]:
    """Anchors by rising sum of strokes; those within ONE_PLACE_M of the first of a group stand together."""
    groups: list[list[Anchor]] = []
    for anchor in sorted(anchors, key=lambda a: a.strokes_m):
        if groups and anchor.strokes_m - groups[-1][0].strokes_m <= ONE_PLACE_M:
            groups[-1].append(anchor)
        else:
            groups.append([anchor])
    return groups


def agreeing(anchors: Sequence[Anchor]) -> list[Anchor]:
    """The same anchors, by sum of strokes; those that contradict the most of the others are left out.

    Kept is the longest row of anchors in which each agrees with the one before it; of equals the one whose
    misclosures move least. One that a person insists on counts for more than all the others.
    """
    given = sorted((a for a in anchors if not a.why), key=lambda a: (a.strokes_m, a.time_us))
    kept = _longest_row(given)
    left = [a for a in anchors if a.why]
    judged = [a if i in kept else replace(a, why=_contradiction(given, kept, i)) for i, a in enumerate(given)]
    return sorted([*left, *judged], key=lambda a: (a.strokes_m, a.time_us))


def _longest_row(anchors: Sequence[Anchor]) -> set[int]:
    """Numbers of the anchors of the longest row in which each agrees with the one before it."""
    at = np.array([a.strokes_m for a in anchors])
    ahead = np.array([a.misclosure_m for a in anchors])
    variance = np.nan_to_num([a.sd_m for a in anchors]) ** 2
    weight = np.array([1 + a.insisted * len(anchors) for a in anchors], np.int64)
    length = weight.copy()
    moved = np.abs(ahead) * 1e-9  # of single anchors the one nearest to the strokes
    before = np.full(len(anchors), -1)
    for i in range(1, len(anchors)):
        step = np.abs(ahead[i] - ahead[:i])
        allowed = SURVEY_M + MOST_GAIN * (at[i] - at[:i]) + 3 * np.sqrt(variance[i] + variance[:i])
        agree = np.flatnonzero(step <= allowed)
        if len(agree):
            longest = agree[length[agree] == length[agree].max()]
            best = longest[np.argmin(moved[longest] + step[longest])]
            length[i], moved[i], before[i] = length[best] + weight[i], moved[best] + step[best], best
    kept: set[int] = set()
    end = int(np.lexsort([moved, -length])[0]) if len(anchors) else -1
    while end >= 0:
        kept.add(end)
        end = int(before[end])
    return kept


def _contradiction(anchors: Sequence[Anchor], kept: set[int], i: int) -> str:
    near = min(kept, key=lambda k: abs(anchors[k].strokes_m - anchors[i].strokes_m))
    moved = anchors[i].misclosure_m - anchors[near].misclosure_m
    over = abs(anchors[i].strokes_m - anchors[near].strokes_m)
    return f"contradicts its neighbour: {1000 * moved:+.0f} mm over {over:.1f} m"


def course_through(anchors: Sequence[Anchor], odd: Sequence[OddStroke] = ()) -> Course | None:
    """The course through the used anchors; None where there is none.

    odd: strokes that are corrected by themselves; what is left of the misclosure is spread. Before the first
    anchor and after the last it goes on as it arose from the first to the last.
    """
    groups = same_place([a for a in anchors if not a.why])
    if not groups:
        return None
    at = np.array([_mean(group, [a.strokes_m for a in group]) for group in groups])
    ahead = np.array([_mean(group, [a.misclosure_m for a in group]) for group in groups])
    spread = ahead - own_steps(odd, at)
    x = np.union1d(at, [m for o in odd if o.applied for m in (o.from_m, o.to_m)])
    y = x + np.interp(x, at, spread) + own_steps(odd, x)
    length = at[-1] - at[0]
    gain = float(spread[-1] - spread[0]) / length if length >= TELLS_GAIN_M else 0.0
    return Course(x, np.maximum.accumulate(y), gain)


def _mean(group: Sequence[Anchor], values: Sequence[float]) -> float:
    """Weighted by the surveys' variances where all state them."""
    if len(group) == 1:
        return values[0]
    sds = np.array([a.sd_m for a in group])
    weights = 1 / sds**2 if np.all(sds > 0) else np.ones(len(group))
    return float(np.average(values, weights=weights))


def own_steps(odd: Sequence[OddStroke], strokes_m: Floats) -> Floats:
    """What the strokes that are corrected by themselves add up to at sums of strokes (n,) [m]."""
    total = np.zeros(len(strokes_m))
    for o in odd:
        if o.applied:
            total += o.off_m * np.clip((strokes_m - o.from_m) / (o.to_m - o.from_m), 0.0, 1.0)
    return total


def face_position(axis: Axis, chainage_m: float, offset_m: float, strokes_m: float) -> tuple[float, str]:
    """(position of the face [m], '' or what speaks against it) where a point `offset_m` behind it has a
    chainage. Where the chainage exists twice, the place nearer to the sum of strokes counts."""
    places = sorted(axis.positions_m(chainage_m), key=lambda p: abs(p + offset_m - strokes_m))
    if not places:
        return float("nan"), "the chainage is cut out by a chainage equation"
    faces = [place + offset_m for place in places]
    if len(faces) > 1 and abs(faces[1] - strokes_m) < 3 * abs(faces[0] - strokes_m):
        return faces[0], "the chainage exists twice, and the strokes do not tell which place is meant"
    return faces[0], ""
