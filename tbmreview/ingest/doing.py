"""What the machine does, row by row, as far as speed, head speed and main stroke show it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
Rows = NDArray[np.bool_]
ENOUGH = 20  # rows from which a median says something


@dataclass(frozen=True, slots=True)
class Doing:
    """Rows of a sample, (n,) each; none where what would show them is not there.

    pushing: the head advances and it is not shown that the main set stands still. rest: neither advance nor
    turning. free: the head turns and does not advance. still: it does not turn. closing: the mains go back
    fast. runs: the stamps of each run [s]. travel: the main stroke, raw.
    """

    pushing: Rows
    rest: Rows
    free: Rows
    still: Rows
    closing: Rows
    runs: tuple[Values, ...]
    travel: Values | None

    def slices(self) -> Iterator[slice]:
        """The rows of each run."""
        at = 0
        for run in self.runs:
            yield slice(at, at + len(run))
            at += len(run)


def doing(
    speed: Values | None, turning: Values | None, stroke: Values | None, runs: Sequence[Values]
) -> Doing:
    """From raw columns, (n,) each, or None where the log has none that is trusted."""
    rows = sum(map(len, runs))
    nothing = np.zeros(rows, bool)
    busy, idle = _used(speed) if speed is not None else (nothing, nothing)
    on, off = _used(turning) if turning is not None else (busy, idle)
    closing, extending = nothing, None
    if stroke is not None:
        step = central_step(stroke, runs)
        noise = steps_noise(step)
        closing, extending = _falls(step, noise), _extends(stroke, step, noise)
    if speed is None and extending is not None:
        busy, idle = on & extending, off
    pushing = busy if extending is None else busy & extending
    return Doing(
        pushing, idle & off, on & idle if turning is not None else nothing, off, closing, tuple(runs), stroke
    )


def central_step(column: Values, runs: Sequence[Values]) -> Values:
    """Change from the row before to the row behind, (n,); NaN at the ends of runs."""
    out = np.full(len(column), np.nan)
    at = 0
    for run in runs:
        end = at + len(run)
        if len(run) > 2:
            out[at + 1 : end - 1] = column[at + 2 : end] - column[at : end - 2]
        at = end
    return out


def steps_noise(step: Values) -> float:
    """Median magnitude of a column's steps: what it does when nothing happens, or its usual pace."""
    finite = np.abs(step[np.isfinite(step)])
    return float(np.median(finite)) if len(finite) else 0.0


def _used(column: Values) -> tuple[Rows, Rows]:
    """Rows in which a column is in use, and in which it rests; its noise at rest decides nothing."""
    size = np.abs(column)
    alive = size[np.isfinite(size) & (size > 0)]
    if len(alive) < ENOUGH:
        return np.zeros(len(size), bool), np.zeros(len(size), bool)
    top = float(np.quantile(alive, 0.9))
    return size > 0.2 * top, size < 0.02 * top


def _falls(step: Values, noise: float) -> Rows:
    """Rows in which a column goes back far faster than it ever rises, as cylinders do at a regrip; the
    noise of a set at rest goes either way."""
    known = step[np.isfinite(step)]
    deepest = -float(np.min(known)) if len(known) else 0.0
    rises = known[known > 0]
    if deepest <= max(5 * noise, 2 * float(np.quantile(rises, 0.999)) if len(rises) else 0.0):
        return np.zeros(len(step), bool)
    return np.asarray(np.nan_to_num(step) < -max(0.3 * deepest, 3 * noise))


def _extends(stroke: Values, step: Values, noise: float) -> Rows:
    """Rows in which the mains may be extending: all of a stretch over which they got longer."""
    finite = stroke[np.isfinite(stroke)]
    if len(finite) < ENOUGH or np.ptp(finite) < 20 * max(noise, 1e-12):
        return np.zeros(len(stroke), bool)
    wide = 10
    known = np.where(np.isfinite(stroke), stroke, np.nan)
    rise = np.full(len(stroke), np.nan)
    rise[wide:-wide] = known[2 * wide :] - known[: -2 * wide]
    return np.asarray(np.nan_to_num(rise) > 3 * noise)


def median(column: Values, rows: Rows, least: int = ENOUGH) -> float:
    """Median magnitude over rows; NaN with fewer than `least`."""
    part = np.abs(column[rows])
    part = part[np.isfinite(part)]
    return float(np.median(part)) if len(part) >= least else np.nan


def opposite_way(a: Values, b: Values, rows: Rows, runs: Sequence[Values]) -> int:
    """Where two columns move against each other by as much, 1 where a rises as b falls, -1 where it falls;
    0 where neither outweighs the other by far."""
    one, two = central_step(a, runs), central_step(b, runs)
    known = rows & np.isfinite(one) & np.isfinite(two)
    if known.sum() < ENOUGH:
        return 0
    one, two = one[known], two[known]
    far = (np.abs(one) > 5 * steps_noise(one)) & (np.abs(two) > 5 * steps_noise(two))
    far &= (one * two < 0) & (np.abs(one) < 1.5 * np.abs(two)) & (np.abs(two) < 1.5 * np.abs(one))
    rises, falls = float(one[far & (one > 0)].sum()), -float(one[far & (one < 0)].sum())
    if (
        far.sum() < 5
        or max(rises, falls) < 0.1 * np.nanmax(np.abs(a))
        or max(rises, falls) < 4 * min(rises, falls)
    ):
        return 0
    return 1 if rises > falls else -1
