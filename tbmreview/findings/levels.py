"""The level of a figure along a drive: a series by half metre, where it changes, and zones between two changes.

Bounds that a person draws snap to the changes of FPI.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import cast

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.robust import MAD_TO_SIGMA
from tbmreview.findings.baseline import medians, windows
from tbmreview.findings.beside import LEAST_ADVANCE_M, STEP_M, Measure, Zone, middle_m, mostly
from tbmreview.findings.change_points import change_points, robust_sigma
from tbmreview.findings.detector import Floats, Profile

NET, GROSS = "net_fpi_kN_per_mm_rev", "fpi_kN_per_mm_rev"
LEAST_FPI = 0.01  # kN/(mm/rev): drag above thrust makes net FPI negative, which has no logarithm
BIN_M = 0.5  # of the series in which change points are looked for
LEAST_BINS = 4  # of a segment: zones from 2 m on
LEAST_SIGMA = 0.02  # of a log: below 2 % the spread is the resolution of the log, not the ground
SNAP_M = 3.0  # a bound that is further from any change point stays where it is


def fpi(profile: Profile) -> Measure:
    """FPI of each row, net where that is known."""
    net = mostly(profile, np.isfinite(profile.rows[NET]))
    return Measure(np.where(net, profile.rows[NET], profile.rows[GROSS]), net, LEAST_FPI)


@dataclass(frozen=True, slots=True)
class Levels:
    """The series of change points: start [m] of each bin (k,), logs (k,), whether they are net, its robust noise,
    the penalty, and the index of each change's first bin."""

    start_m: Floats
    logs: Floats
    net: bool
    sigma: float
    penalty: float
    changes: NDArray[np.int64]


def fpi_levels(profile: Profile, settings: FindingSettings) -> Levels | None:
    """The levels of FPI; worked out once for a profile."""
    key = ("levels of FPI", settings.step_penalty)
    if key not in profile.worked_out:
        profile.worked_out[key] = levels(profile, fpi(profile), settings)
    return cast("Levels | None", profile.worked_out[key])


def levels(profile: Profile, measure: Measure, settings: FindingSettings) -> Levels | None:
    """Medians of its log by half metre and where they change; None where there is too little ground."""
    rows = profile.rows
    good = (rows["advance_m"] >= LEAST_ADVANCE_M) & np.isfinite(measure.value)
    net = bool(2 * np.sum(measure.net & good) >= np.sum(good))
    good &= measure.net == net
    middle = middle_m(profile)[good]
    logs = np.log(np.maximum(measure.value[good], measure.least))
    number = np.floor(middle / BIN_M).astype(np.int64)
    first = np.flatnonzero(np.diff(number, prepend=number[:1] - 1))  # they rise with the middle
    number = number[first]
    if len(number) < 2 * LEAST_BINS:
        return None
    count = np.diff(first, append=len(logs))
    series = medians(windows(logs, first, count), count)
    sigma = max(robust_sigma(series), LEAST_SIGMA)
    penalty = settings.step_penalty * sigma**2 * float(np.log(len(series)))
    start: Floats = np.asarray(number * BIN_M, np.float64)
    return Levels(start, series, net, sigma, penalty, change_points(series, LEAST_BINS, penalty))


def snap(
    profile: Profile, from_m: float, to_m: float, settings: FindingSettings, most_m: float = SNAP_M
) -> tuple[float, float]:
    """The bounds moved to the change points of FPI that are nearest to each [m], if within most_m; else as given."""
    found = fpi_levels(profile, settings)
    if found is None or not len(found.changes):
        return from_m, to_m
    places = found.start_m[found.changes]
    ends = [float(places[np.argmin(np.abs(places - end))]) for end in (from_m, to_m)]
    low, high = (
        new if abs(new - old) <= most_m else old for new, old in zip(ends, (from_m, to_m), strict=True)
    )
    return (low, high) if low < high else (from_m, to_m)


@dataclass(frozen=True, slots=True)
class Unlike:
    """How far a zone is off its sides: up by a factor or down by one, and by so many robust deviations."""

    up: float
    down: float
    score: float


def zones(found: Levels, unlike: Unlike, settings: FindingSettings) -> list[Zone]:
    """Stretches between two changes, up to settings.zone_longest_m, whose level is unlike both sides, in one
    direction; the deviations are those of the half metres within settings.fpi_window_m of either side."""
    edges = found.changes.tolist()
    candidates = []
    for i, first in enumerate(edges):
        for j in range(i + 1, len(edges)):
            if found.start_m[edges[j]] - found.start_m[first] > settings.zone_longest_m + BIN_M:
                break
            off = _off(found, edges[i : j + 1], unlike, settings)
            if off and _bounded(found, (first, edges[j]), off):
                candidates.append((first, edges[j], off))
    chosen: list[Zone] = []
    for first, last, off in sorted(candidates, key=lambda c: -abs(c[2]) * (c[1] - c[0])):
        low, high = float(found.start_m[first]), float(found.start_m[last])
        if all(high <= zone.from_m or low >= zone.to_m for zone in chosen):
            chosen.append(Zone(low, high, 1 if off > 0 else -1))
    return chosen


def _off(found: Levels, bounds: list[int], unlike: Unlike, settings: FindingSettings) -> float:
    """Log of the level between the first and the last of some changes over that of the side more like it; 0 where
    that is no zone, or where a segment within it is less than half so far off."""
    inside = float(np.median(found.logs[bounds[0] : bounds[-1]]))
    sides = _sides(found, (bounds[0], bounds[-1]), settings)
    if sides is None:
        return 0.0
    offs = [inside - level for level, _ in sides]
    off, spread = min(offs, key=abs), max(spread for _, spread in sides)
    least = float(np.log(unlike.up if off > 0 else unlike.down))
    if offs[0] * offs[1] <= 0 or abs(off) < max(least, unlike.score * spread):
        return 0.0
    parts = [np.median(found.logs[a:b]) - inside + off for a, b in pairwise(bounds)]
    return off if all(part / off >= 0.5 for part in parts) else 0.0


def _bounded(found: Levels, ends: tuple[int, int], off: float) -> bool:
    """Whether the segments that adjoin a zone are not of its level too: else it is part of something longer."""
    edges = [0, *found.changes.tolist(), len(found.logs)]
    inside = np.median(found.logs[ends[0] : ends[1]])
    before, behind = edges.index(ends[0]), edges.index(ends[1])
    outside = (edges[before - 1], ends[0]), (ends[1], edges[behind + 1])
    return all((inside - np.median(found.logs[a:b])) / off >= 0.5 for a, b in outside)


def _sides(
    found: Levels, ends: tuple[int, int], settings: FindingSettings
) -> list[tuple[float, float]] | None:
    """(median, robust deviation) of the half metres on either side; None where a side has less than a quarter of
    its window, or too few cells."""
    window, start = settings.fpi_window_m, found.start_m
    low, high = start[ends[0]], start[ends[1]]
    sides = [found.logs[stretch_of(start, *reach)] for reach in ((low - window, low), (high, high + window))]
    shortest_m = min(len(side) for side in sides) * BIN_M
    if shortest_m < max(window / 4, settings.fpi_least_cells * STEP_M):
        return None
    medians = [float(np.median(side)) for side in sides]
    return [
        (middle, max(MAD_TO_SIGMA * float(np.median(np.abs(side - middle))), LEAST_SIGMA))
        for side, middle in zip(sides, medians, strict=True)
    ]


def stretch_of(start_m: Floats, low_m: float, high_m: float) -> slice:
    """The bins that begin from low_m up to high_m."""
    return slice(*np.searchsorted(start_m, (low_m - 1e-9, high_m - 1e-9)).tolist())
