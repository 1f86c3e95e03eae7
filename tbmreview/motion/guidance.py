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
LEAP_M = 0.05  # a change from one reading to the next that no machine makes: the guidance jumped
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
    edges = np.append(_beginnings(motion.stroke_start_us[at], motion.at_m[at]), len(at))
    rows = [
        {
            "stroke_start_us": motion.stroke_start_us[at[a]],
            "time_us": record.samples.time_us[at[(a + b) // 2]],
            "position_m": middle(motion.at_m[at[a:b]]),
            "ahead_m": middle(ahead[a:b]),
            "sd_m": spread(ahead[a:b]),
            "n": b - a,
            "gain_m": _gain(ahead[a:b]),
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


def _gain(ahead: Floats) -> float:
    part = max(1, len(ahead) // ENDS)
    steps = np.diff(ahead)
    leaps = float(steps[np.abs(steps) > LEAP_M].sum())
    return middle(ahead[-part:]) - middle(ahead[:part]) - leaps


def _column(values: list[Any], kind: type) -> NDArray[Any]:
    return np.array(values, kind)
