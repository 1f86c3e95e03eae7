"""Laws of single channels that need no unit: what a force, a pressure, a stroke does as the machine bores.

Each takes magnitudes as logged and says whether they hold, plainly break, or cannot be told (common practice,
no source; the bounds are wide on purpose).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.ingest.doing import ENOUGH, Doing, Rows, central_step, median
from tbmreview.ingest.laws import goes_back
from tbmreview.ingest.ranges import F, T, W

Values = NDArray[np.float64]
HOLDS, OPEN, BREAKS = 1, 0, -1
_NO_LOAD = 0.015  # least torque of a head turning free over that of boring
_RAMP = 8  # rows of a regrip from which it says something


@dataclass(frozen=True, slots=True)
class Says:
    """What a law says of a column: HOLDS, OPEN (cannot be told) or BREAKS, and in words."""

    what: int
    words: str = ""


SILENT = Says(OPEN)
Law = Callable[[Values, Doing], Says]


def _contrast(x: Values, on: Rows, off: Rows, doing: Doing, least: int = ENOUGH) -> float:
    """Median magnitude over `off` as a share of that over `on`: over all rows or, where it is greater, in the
    middle run, since much changes along a drive. NaN where it cannot be told."""
    shares = []
    for run in doing.slices():
        loaded, rest = median(x[run], on[run]), median(x[run], off[run], least)
        if loaded > 0 and np.isfinite(rest):
            shares.append(rest / loaded)
    loaded, rest = median(x, on), median(x, off, least)
    share = rest / loaded if loaded > 0 else np.inf if loaded == 0 and rest > 0 else np.nan
    return max(share, float(np.median(shares))) if len(shares) >= 3 else share


def pushes(x: Values, doing: Doing) -> Says:
    """Thrust and pressure of the mains act while they push, and rest with the machine."""
    share = _contrast(x, doing.pushing, doing.rest, doing)
    if share > 0.85:
        return Says(BREAKS, "it is as great at rest as while the main set pushes")
    return Says(HOLDS, f"at rest it is {share:.0%} of what it is while pushing") if share < 0.5 else SILENT


def turns(x: Values, doing: Doing) -> Says:
    """Torque and power are there while the head turns, and next to nothing while it stands."""
    share = _contrast(x, doing.pushing, doing.still, doing)
    if share > 0.6:
        return Says(BREAKS, f"with the head still it reads {share:.0%} of what it reads while boring")
    if median(x, doing.free) < _NO_LOAD * median(x, doing.pushing):
        return Says(BREAKS, "it reads nothing while the head turns free")
    return Says(HOLDS, "it comes and goes with the head's turning") if share < 0.3 else SILENT


def grips(x: Values, doing: Doing) -> Says:
    """Grippers are pressed while the head turns, the mains pushing or not, and let go at a regrip, when the mains close."""
    share = _contrast(x, doing.pushing, doing.closing, doing, _RAMP)
    if share > 0.9:
        return Says(BREAKS, "it does not fall at a regrip, when the mains close")
    if median(x, doing.free) < 0.1 * median(x, doing.pushing):
        return Says(BREAKS, "it is not pressed while the head turns free")
    return Says(HOLDS, "it falls at each regrip") if share < 0.7 else SILENT


def opens(x: Values, doing: Doing) -> Says:
    """Auxiliaries open as the mains close at a regrip, and come back while a ring is built."""
    if doing.closing.sum() < _RAMP:
        return SILENT
    step = central_step(x, doing.runs)
    noise = float(np.nanmedian(np.abs(step[doing.rest]))) if doing.rest.sum() >= ENOUGH else 0.0
    part = step[doing.closing]
    part = part[np.isfinite(part)]
    rising = float(np.mean(part > 2 * noise)) if len(part) else 0.5
    if rising < 0.3:
        return Says(BREAKS, "it does not open as the mains close at a regrip")
    if (
        rising > 0.7
        and part.sum() > 0.3 * np.nanmax(x) - 0.3 * np.nanmin(x)
        and goes_back(x) > 0.3 * part.max()
    ):
        return Says(HOLDS, "it opens as the mains close")
    return SILENT


def counts(x: Values, doing: Doing) -> Says:
    """Rings are numbered in whole numbers and change seldom."""
    known = x[np.isfinite(x)]
    if len(known) < ENOUGH:
        return SILENT
    broken = float(np.mean(np.abs(known - np.round(known)) > 1e-6))
    steps = np.diff(known)
    steps = steps[steps != 0]
    back = float(np.mean(steps < 0)) if len(steps) > 3 else 0.0
    often = len(steps) > 0.1 * len(known)
    return Says(BREAKS, "it does not count rings") if broken > 0.05 or often or back > 0.3 else SILENT


def adds_up(x: Values, doing: Doing) -> Says:
    """A running total only rises."""
    known = x[np.isfinite(x)]
    falls = float(np.mean(np.diff(known) < 0)) if len(known) > ENOUGH else 0.0
    return Says(BREAKS, "it falls again and again") if falls > 0.01 else SILENT


LAWS: Mapping[str, Law] = {
    F: pushes,
    "main_pressure_bar": pushes,
    T: turns,
    W: turns,
    "gripper_pressure_bar": grips,
    "gripper_force_kN": grips,
    "aux_stroke_mm": opens,
    "ring_number": counts,
    "belt_rate_t_h": pushes,
    "belt_total_t": adds_up,
}


def says(channel: str, x: Values, doing: Doing) -> Says:
    """What the channel's law says of a raw column, (n,); SILENT where it has none."""
    law = LAWS.get(channel)
    return SILENT if law is None else law(x, doing)
