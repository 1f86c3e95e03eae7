"""Values held against the ground beside them: intervals off a robust local baseline.

Compared on a log scale with the median of the ground bored before a place and of that behind it, against the
robust spread of each; what is like one of the two is a change of rock, no finding. What is found leaves the
baseline, and its neighbours are looked at again.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.station import STEP_UM
from tbmreview.findings.baseline import PLACES_IN_WINDOW, local_baseline, places_beside
from tbmreview.findings.detector import Flags, Floats, Profile
from tbmreview.findings.runs import Run, runs_of

Ints = NDArray[np.int64]

LEAST_ADVANCE_M = 0.02  # a row with less is a sliver of a step: its figures mean little
LEAST_DEVIATION = 0.02  # of a log: below 2 % the spread is the resolution of the log, not the ground
PASSES = 100  # what was found is taken out of the baseline, and its neighbours looked at again
OWN_SHARE = 0.45  # of a side: where strokes alternate between reactions, each makes up nearly half
STEP_M = STEP_UM / 1e6  # of a row
FEW_PLACES = 5  # of a window at which a baseline is taken that only supports
BEFORE, BEHIND = 0, 1  # the sides of a place: bored before it, and after it


@dataclass(frozen=True, slots=True)
class Limits:
    """From which ratio and how many robust deviations a row counts, over which length of it [m], joined across
    gaps of at most bridge_m; against at least least_cells rows within window_m of either side, taken at so many
    places of a window (odd)."""

    window_m: float
    ratio: float
    score: float
    least_m: float
    bridge_m: float
    least_cells: int
    places: int = PLACES_IN_WINDOW


@dataclass(frozen=True, slots=True)
class Zone:
    """From one position to another [m], off both its sides: -1 below, +1 above."""

    from_m: float
    to_m: float
    direction: int


@dataclass(frozen=True, slots=True)
class Measure:
    """value (n,) of each row, NaN where missing, and whether it is net (n,). A net value is compared with the
    same reaction where that makes up nearly half of a side, else with every net value; a gross one with its own
    reaction only. A value below `least` counts as that, since it has no logarithm."""

    value: Floats
    net: Flags
    least: float


@dataclass(frozen=True, slots=True)
class Baseline:
    """Of each row and side, (2, n): median and robust deviation of the logs, count, whether of its own
    reaction."""

    median: Floats
    deviation: Floats
    count: Ints
    own: Flags

    def of_rows(self, rows: Flags) -> "Baseline":
        """That of some rows."""
        if np.all(rows):
            return self
        at = np.flatnonzero(rows)
        return Baseline(
            self.median.take(at, axis=1),
            self.deviation.take(at, axis=1),
            self.count.take(at, axis=1),
            self.own.take(at, axis=1),
        )

    def of_side(self, side: Ints) -> tuple[Floats, Floats, Ints, Flags]:
        """The same of one side of each row, (n,) each."""
        return (
            np.where(side, self.median[BEHIND], self.median[BEFORE]),
            np.where(side, self.deviation[BEHIND], self.deviation[BEFORE]),
            np.where(side, self.count[BEHIND], self.count[BEFORE]),
            np.where(side, self.own[BEHIND], self.own[BEFORE]),
        )


@dataclass(frozen=True, slots=True)
class Compared:
    """Of each row, (n,): its net flag and reaction; the side it is more like, with that side's median and robust
    deviation of the logs, and whether those are of its own reaction; left out of baselines."""

    net: Flags
    side: Ints
    median: Floats
    deviation: Floats
    own: Flags
    excluded: Flags


@dataclass(frozen=True, slots=True)
class Off:
    """A run off its baseline: -1 below or +1 above; the numbers of its rows (k,) rising, of those whose figures are
    given (all of them net or all gross), and whether net."""

    direction: int
    rows: Ints
    given: Ints
    net: bool
    compared: Compared

    @property
    def level(self) -> float:
        """Median value of the ground that its given rows are more like."""
        return float(np.exp(np.nanmedian(self.compared.median[self.given])))

    @property
    def spread(self) -> float:
        """Robust deviation of the logs there."""
        return float(np.nanmedian(self.compared.deviation[self.given]))

    @property
    def own(self) -> bool:
        """Compared with ground of the same reactions only."""
        return bool(np.all(self.compared.own[self.given]))

    @property
    def side(self) -> int:
        """The side that most of its rows are more like."""
        return int(2 * np.mean(self.compared.side[self.given]) > 1)

    def deviations(self, value: float, least: float) -> float:
        """How many robust deviations a value is off the level."""
        return abs(float(np.log(max(value, least) / self.level))) / self.spread


def off_both_sides(
    profile: Profile, measure: Measure, limits: Limits, zones: Sequence[Zone] = ()
) -> list[Off]:
    """Intervals whose value is off the ground on both sides, along position. zones: known to be so as a whole."""
    rows = profile.rows
    good = (rows["advance_m"] >= LEAST_ADVANCE_M) & np.isfinite(measure.value)
    if not np.any(good):
        return []
    logs = np.log(np.where(good, np.maximum(measure.value, measure.least), np.nan))
    excluded, sign = np.zeros(len(rows), bool), np.zeros(len(rows), np.int64)
    baseline, stale = _nothing(len(rows)), np.ones(len(rows), bool)
    middle, runs = middle_m(profile), []
    within = [((middle >= zone.from_m) & (middle < zone.to_m), zone.direction) for zone in zones]
    for inside, _ in within:
        excluded |= inside
    for _ in range(PASSES):
        _renew(baseline, (middle, logs, rows["reaction"]), (measure.net, excluded, stale), limits)
        sign[stale] = _signs(logs[stale], baseline.of_rows(stale), sign[stale], limits)
        for inside, direction in within:
            sign[inside] = direction
        runs = _runs(profile, sign, limits)
        found = np.zeros(len(rows), bool)
        for _, run in runs:
            found[run.first : run.stop] = True
        new = found & ~excluded
        if not np.any(new):
            break
        excluded |= found
        stale = _within(middle, new, (1 + 1 / limits.places) * limits.window_m)
    side = _nearer_side(logs, baseline, limits)
    median, deviation, _, own = baseline.of_side(side)
    everything = Compared(measure.net, side, median, deviation, own, excluded)
    return [
        _off(
            rows["advance_m"],
            np.arange(run.first, run.stop)[good[run.first : run.stop]],
            everything,
            direction,
        )
        for direction, run in runs
    ]


def beside(profile: Profile, off: Off, window_m: float) -> Ints:
    """Numbers of the rows (k,) of the ground that an interval is compared with: on the side that it is more like."""
    middle, at, compared = middle_m(profile), profile.rows, off.compared
    low, high = at["position_from_m"][off.rows].min(), at["position_to_m"][off.rows].max()
    reach = (low - window_m, low) if off.side == BEFORE else (high, high + window_m)
    first, stop = np.searchsorted(middle, reach).tolist()
    part = slice(first, stop)
    near = ~compared.excluded[part] & (compared.net[part] == off.net)
    if off.own:
        near &= np.isin(at["reaction"][part], np.unique(at["reaction"][off.given]))
    numbers: Ints = first + np.flatnonzero(near)
    return numbers


def middle_m(profile: Profile) -> Floats:
    """Middle of each row [m], (n,) rising; worked out once for a profile."""
    if "middle" not in profile.worked_out:
        middle: Floats = (profile.rows["position_from_m"] + profile.rows["position_to_m"]) / 2
        middle.setflags(write=False)
        profile.worked_out["middle"] = middle
    return cast("Floats", profile.worked_out["middle"])


def mostly(profile: Profile, known: Flags) -> Flags:
    """Rows (n,) of the reactions for which something is known over most of the advance: they are judged by it."""
    rows, out = profile.rows, np.zeros(len(known), bool)
    for code in np.flatnonzero(np.bincount(rows["reaction"])).tolist():
        same = rows["reaction"] == code
        out[same] = 2 * np.sum(rows["advance_m"][same & known]) >= np.sum(rows["advance_m"][same])
    return out


def _nothing(n: int) -> Baseline:
    return Baseline(
        np.full((2, n), np.nan), np.full((2, n), np.nan), np.zeros((2, n), np.int64), np.zeros((2, n), bool)
    )


def _off(advance_m: Floats, rows: Ints, compared: Compared, direction: int) -> Off:
    of_net = compared.net[rows]
    net = bool(2 * np.sum(advance_m[rows[of_net]]) >= np.sum(advance_m[rows]))
    return Off(direction, rows, rows[of_net == net], net, compared)


def _within(position_m: Floats, rows: Flags, reach_m: float) -> Flags:
    """Whether each position, (n,) rising, is within reach of one of the rows."""
    places = position_m[rows]
    first = np.searchsorted(places, position_m - reach_m, side="left")
    return first < np.searchsorted(places, position_m + reach_m, side="right")


def _renew(
    baseline: Baseline,
    of: tuple[Floats, Floats, NDArray[np.int8]],
    used: tuple[Flags, Flags, Flags],
    limits: Limits,
) -> None:
    """Make the baseline of each stale row anew, from rows that are not excluded.

    of: (middle [m], logs, reaction); used: (net, excluded, stale); each (n,).
    """
    (middle, logs, reaction), (net, excluded, stale) = of, used
    usable, at = np.isfinite(logs) & ~excluded, np.flatnonzero(stale)
    codes = np.flatnonzero(np.bincount(reaction)).tolist()
    everyone = None
    if np.any(net) and len(codes) > 1:
        everyone = _along(middle, logs, usable & net, at, limits)
    for code in codes:
        which = np.flatnonzero(reaction[at] == code)
        rows = at[which]
        median, deviation, count = _along(middle, logs, usable & (reaction == code), rows, limits)
        own = np.ones(median.shape, bool)
        if everyone is not None:
            others = [column.take(which, axis=1) for column in everyone]
            own = ~net[rows] | (count >= OWN_SHARE * others[2])
            median = np.where(own, median, others[0])
            deviation = np.where(own, deviation, others[1])
            count = np.where(own, count, others[2])
        baseline.median[:, rows], baseline.count[:, rows] = median, count
        baseline.deviation[:, rows] = np.maximum(deviation, LEAST_DEVIATION)
        baseline.own[:, rows] = own


def _along(
    position_m: Floats, logs: Floats, usable: Flags, wanted: Ints, limits: Limits
) -> tuple[Floats, Floats, Ints]:
    """Median, deviation and count on either side of each wanted row, (2, m) each."""
    at, sides = places_beside(position_m[wanted], limits.window_m, limits.places)
    median, deviation, count = local_baseline(position_m, logs, usable, at, limits.window_m / 2)
    place = np.stack(sides)
    return median[place], deviation[place], count[place]


def _nearer_side(logs: Floats, baseline: Baseline, limits: Limits) -> Ints:
    """The side that each row is more like, (n,), of those that reach a quarter of the window; where neither
    does (near an end of the drive), the longer one."""
    least = limits.window_m / 4 / STEP_M
    off = np.where(baseline.count >= least, np.abs(logs - baseline.median), np.inf)
    off = np.where(np.isnan(off), np.inf, off)
    neither = np.isinf(off[BEFORE]) & np.isinf(off[BEHIND])
    longer, nearer = baseline.count[BEHIND] > baseline.count[BEFORE], off[BEHIND] < off[BEFORE]
    side: Ints = np.where(neither, longer, nearer).astype(np.int64)
    return side


def _signs(logs: Floats, baseline: Baseline, before: Ints, limits: Limits) -> Ints:
    """+1 above, -1 below, 0 like either side; a row without enough ground around stays as it was judged."""
    median, deviation, count, _ = baseline.of_side(_nearer_side(logs, baseline, limits))
    off = logs - median
    judged = np.isfinite(off) & (count >= limits.least_cells)
    least = np.maximum(np.log(limits.ratio), limits.score * deviation)
    sign = np.where(judged & (np.abs(off) > least), np.sign(off), 0).astype(np.int64)
    return np.where(judged, sign, before)


def _runs(profile: Profile, sign: Ints, limits: Limits) -> list[tuple[int, Run]]:
    low, high = profile.rows["position_from_m"], profile.rows["position_to_m"]
    found = [
        (direction, run)
        for direction in (-1, 1)
        for run in runs_of(sign == direction, low, high, limits.bridge_m, limits.least_m)
    ]
    return sorted(found, key=lambda pair: pair[1].first)
