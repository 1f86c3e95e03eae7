"""Where the logged chainage puts the face, stroke by stroke, beside where the strokes put it.

Only samples that bore count: the head is on the face there, and a guidance that crept back at rest has
come forward again. What a target on the rear shield shows was brought to the head by the main stroke.
"""

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.table import Table
from tbmreview.motion.cells import Motion
from tbmreview.motion.record import Record
from tbmreview.motion.signals import Floats, Ints, middle, spread

PIECE_M = 2.0  # a longer stroke (a log without strokes has them) gives a row for so much of its advance
# A change from one reading to the next that no machine makes: the guidance jumped. While cylinders come
# back fast, what a late guidance shows is no jump.
LEAP_M, HEAD_M_S, CALM_MM_MIN, LATE_S = 0.05, 0.002, 150.0, 15.0
ENDS = 4  # the change over a piece is taken between its first and last quarter
LEAST = 3  # fewer readings say nothing

GUIDANCE_COLUMNS: tuple[tuple[str, type, str, str], ...] = (
    ("stroke_start_us", np.int64, "us", "start of the stroke"),
    ("time_us", np.int64, "us", "the middle one of its samples"),
    ("position_m", np.float64, "m", "median of the face by the strokes"),
    ("ahead_m", np.float64, "m", "median of the face by the logged chainage less the face by the strokes"),
    ("sd_m", np.float64, "m", "robust standard deviation of that"),
    ("n", np.int64, "", "number of readings"),
    ("gain_m", np.float64, "m", "how far the chainage gained on the strokes over it, jumps left out"),
    ("leap_m", np.float64, "m", "sum of the jumps since its stroke, or the row before, began"),
    ("leap_after_m", np.float64, "m", "sum of the jumps from its last sample to the end of its stroke"),
)


def empty_guidance() -> Table:
    """Guidance without rows."""
    return Table({name: np.empty(0, kind) for name, kind, _, _ in GUIDANCE_COLUMNS})


def guidance_table(record: Record, motion: Motion) -> Table:
    """One row for each stroke in which the log says where the face is, in order of time. Positions are on
    the drive's axis as the setup states it; no offset of the guidance is taken off."""
    if record.logged_position_m is None:
        return empty_guidance()
    at = np.flatnonzero(motion.boring & np.isfinite(record.logged_position_m))
    if not len(at):
        return empty_guidance()
    ahead = record.logged_position_m[at] - motion.at_m[at]
    leaps, within = _leaps(record), _Reach(motion, at)
    edges = np.append(_beginnings(motion.stroke_start_us[at], motion.at_m[at]), len(at))
    rows = [
        {
            "stroke_start_us": motion.stroke_start_us[at[a]],
            "time_us": record.samples.time_us[at[(a + b) // 2]],
            "position_m": middle(motion.at_m[at[a:b]]),
            "ahead_m": middle(ahead[a:b]),
            "sd_m": spread(ahead[a:b]),
            "n": b - a,
            "gain_m": _gain(ahead[a:b], leaps[at[a:b]][1:]),
            "leap_m": float(leaps[within.first(a) : at[b - 1] + 1].sum()),
            "leap_after_m": float(leaps[at[b - 1] + 1 : within.stop(b)].sum()),
        }
        for a, b in pairwise(edges.tolist())
        if b - a >= LEAST
    ]
    return Table({name: _column([row[name] for row in rows], kind) for name, kind, _, _ in GUIDANCE_COLUMNS})


def _beginnings(stroke_start_us: Ints, at_m: Floats) -> Ints:
    """Number of the first sample of each piece of a stroke."""
    first = np.r_[True, stroke_start_us[1:] != stroke_start_us[:-1]]
    stroke = np.cumsum(first) - 1
    piece = np.floor((at_m - at_m[first][stroke]) / PIECE_M)
    return np.flatnonzero(first | np.r_[True, piece[1:] != piece[:-1]])


def _gain(ahead: Floats, leaps: Floats) -> float:
    part = max(1, len(ahead) // ENDS)
    return middle(ahead[-part:]) - middle(ahead[:part]) - float(leaps.sum())


class _Reach:
    """From which sample to before which one the jumps count for pieces of boring samples `at`."""

    def __init__(self, motion: Motion, at: Ints) -> None:
        self._at = at
        start = motion.stroke_start_us
        self._edges = np.append(np.flatnonzero(np.r_[True, start[1:] != start[:-1]]), len(start))

    def _same_stroke(self, a: int) -> bool:
        if not 0 < a < len(self._at):
            return False
        one, other = np.searchsorted(self._edges, self._at[a - 1 : a + 1], side="right")
        return bool(one == other)

    def first(self, a: int) -> int:
        """Of a piece that begins with boring sample number a."""
        if self._same_stroke(a):
            return int(self._at[a - 1]) + 1
        return int(self._edges[np.searchsorted(self._edges, self._at[a], side="right") - 1])

    def stop(self, b: int) -> int:
        """Of a piece that ends before boring sample number b; no jumps after it where its stroke goes on."""
        if self._same_stroke(b):
            return int(self._at[b - 1]) + 1
        return int(self._edges[np.searchsorted(self._edges, self._at[b - 1], side="right")])


def _leaps(record: Record) -> Floats:
    """Jump of the logged chainage at each sample over the one before it (n,) [m]; 0 where there is none."""
    position = record.logged_position_m
    assert position is not None
    moved = np.nan_to_num(np.diff(position, prepend=position[:1]))
    seconds = np.diff(record.seconds, prepend=record.seconds[:1])
    jumped = (np.abs(moved) > LEAP_M + HEAD_M_S * seconds) & ~record.after_gap
    late = record.readings(LATE_S, least=1)
    leaps = np.zeros(len(record))
    for i in np.flatnonzero(jumped).tolist():
        near = slice(max(i - late, 0), i + late + 1)
        sets = [e for e in (record.main, record.aux) if e is not None]
        if not any((np.abs(e.slope_mm_min[near]) > CALM_MM_MIN).any() for e in sets):
            leaps[i] = moved[i]
    return leaps


def _column(values: list[Any], kind: type) -> NDArray[Any]:
    return np.array(values, kind)
