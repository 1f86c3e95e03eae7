"""Strokes beside those before them: what each stroke of a pushing set is held against, and what it is by itself."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.robust import MAD_TO_SIGMA
from tbmreview.domain.setup import Machine
from tbmreview.domain.states import PushingSet, State
from tbmreview.domain.table import Table
from tbmreview.findings.baseline import medians
from tbmreview.findings.beside import middle_m
from tbmreview.findings.detector import Flags, Floats, Profile
from tbmreview.findings.trusted import within

Ints = NDArray[np.int64]
LEAST_SPREAD = 0.02  # of a stroke's figure: below it is the resolution of a log, not the machine
LEAST_PERIOD_S = 120.0  # shorter turning without advance is a start, a touch or a slip
POINTS = 5  # strokes whose drag makes a trend
SEEN = "stroke"  # motion's word for a drag that the stroke itself showed


@dataclass(frozen=True, slots=True)
class Usual:
    """What the strokes before each stroke showed, (n,) each: median, robust spread of the log, how many. NaN
    where too few did."""

    median: Floats
    spread: Floats
    count: Ints

    def ratio(self, value: Floats) -> Floats:
        """The value over the median, (n,); NaN where either is not known."""
        known = (value > 0) & (self.median > 0)
        out = np.full(len(value), np.nan)
        out[known] = value[known] / self.median[known]
        return out

    def above(self, value: Floats, ratio: float, score: float) -> Flags:
        """Where the value is above the median by a factor and by so many robust deviations."""
        with np.errstate(invalid="ignore"):
            off = np.log(self.ratio(value))
            found: Flags = (off >= np.log(ratio)) & (off >= score * self.spread)
        return found


def usual_before(value: Floats, of_set: NDArray[np.int8], leave_out: Flags, window: tuple[int, int]) -> Usual:
    """What the strokes of the same set before each one showed. value: (n,), positive where known; leave_out: (n,)
    strokes that make no usual; window: (how many strokes back, fewest of them that tell)."""
    n, (reach, least) = len(value), window
    usual = Usual(np.full(n, np.nan), np.full(n, np.nan), np.zeros(n, np.int64))
    logs = np.log(np.where((value > 0) & ~leave_out, value, np.nan))
    for code in np.unique(of_set):
        rows = np.flatnonzero(of_set == code)
        padded = np.concatenate([np.full(reach, np.nan), logs[rows]])
        before = np.lib.stride_tricks.sliding_window_view(padded, reach)[: len(rows)]
        count = np.isfinite(before).sum(axis=1)
        enough = count >= least
        if not enough.any():
            continue
        told, known = before[enough], count[enough]
        median = medians(told, known)
        spread = MAD_TO_SIGMA * medians(np.abs(told - median[:, None]), known)
        usual.median[rows[enough]] = np.exp(median)
        usual.spread[rows[enough]] = np.maximum(spread, LEAST_SPREAD)
        usual.count[rows] = count
    return usual


def rise_a_stroke(value: Floats, of_set: NDArray[np.int8], points: int) -> Floats:
    """Median of the slopes of the log between every two of the last `points` strokes of the set that showed it, a
    stroke, (n,); NaN where fewer did. One stroke that stands out makes no rise.

    Source: Theil 1950 and Sen 1968 (from memory); scipy.stats.theilslopes gives the same.
    """
    out = np.full(len(value), np.nan)
    first, second = np.triu_indices(points, 1)
    for code in np.unique(of_set):
        of = np.flatnonzero(of_set == code)
        shown = np.flatnonzero(value[of] > 0)
        if len(shown) < points:
            continue
        logs = np.log(value[of][shown])
        y = np.lib.stride_tricks.sliding_window_view(logs, points)
        x = np.lib.stride_tricks.sliding_window_view(shown, points)
        slopes = (y[:, second] - y[:, first]) / (x[:, second] - x[:, first])
        out[of[shown[points - 1 :]]] = medians(slopes, np.full(len(slopes), slopes.shape[1]))
    return out


@dataclass(frozen=True, slots=True)
class StrokeFigures:
    """Of the strokes of a profile, by time, (n,) each; NaN: not known.

    drag_kN: that a stroke showed itself; in a slow log the thrust of its few samples of free advance. drag_rise: of
    its log, a stroke, over the last POINTS that showed one. start_ratio: thrust to set off over that to go on.
    regrip_kN: force to draw up the rear. thrust_kN and installed_share: of boring. torque_share: torque over what
    thrust and penetration ask for. loaded_s, creeping_s: of turning loaded without advance, of boring near nothing.
    """

    table: Table
    drag_kN: Floats
    drag_rise: Floats
    start_ratio: Floats
    regrip_kN: Floats
    thrust_kN: Floats
    installed_share: Floats
    torque_share: Floats
    loaded_s: Floats
    creeping_s: Floats
    gripper_bar: Floats

    def __len__(self) -> int:
        return len(self.table)

    @property
    def of_set(self) -> NDArray[np.int8]:
        """Which set pushed."""
        return self.table["pushing_set"]


def figures_of(profile: Profile, creep_mm_min: float) -> StrokeFigures:
    """The figures of the strokes of a profile. creep_mm_min: boring slower than this is creeping. A stroke in which, or
    in the reset after which, a channel was at fault for a while has none but that of the grippers."""
    table, rows = profile.strokes, profile.rows
    of = _stroke_of(table, middle_m(profile))
    speed = rows["penetration_rate_m_h"] * (1000 / 60)  # mm/min
    seconds = np.where(speed > 0, rows["advance_m"] * 60_000 / np.where(speed > 0, speed, 1.0), 0.0)
    start, going_on = table["start_thrust_kN"], table["going_on_kN"]
    given = (_sum(rows["advance_m"], of, len(table)) > 0) & ~_at_fault(profile, table)
    drag = np.where(table["drag_source"] == SEEN, table["drag_kN"], table["free_thrust_kN"])
    drag = np.where(given, drag, np.nan)
    thrust, torque = (
        np.where(given, _mean(rows[name], rows["advance_m"], of, len(table)), np.nan)
        for name in ("thrust_kN", "torque_ratio")
    )
    return StrokeFigures(
        table=table,
        drag_kN=drag,
        drag_rise=rise_a_stroke(drag, table["pushing_set"], POINTS),
        start_ratio=np.where(given & (going_on > 0), start / np.where(going_on > 0, going_on, 1.0), np.nan),
        regrip_kN=np.where(given, table["regrip_force_kN"], np.nan),
        thrust_kN=thrust,
        installed_share=thrust / _installed_kN(profile.machine, table["pushing_set"]),
        torque_share=torque,
        loaded_s=np.where(given, _loaded_s(profile.periods, table), 0.0),
        creeping_s=np.where(given, _sum(seconds * (speed < creep_mm_min), of, len(table)), 0.0),
        gripper_bar=_mean(rows["gripper_pressure_bar"], rows["advance_m"], of, len(table)),
    )


def _at_fault(profile: Profile, table: Table) -> Flags:
    """Strokes, each up to the next one, that share time with a fault: what a stroke showed of itself, and the reset
    after it, cannot be parted from what was read before the fault ended, (n,)."""
    if not len(profile.at_fault_us):
        return np.zeros(len(table), bool)
    until = np.maximum(
        table["stroke_end_us"], np.r_[table["stroke_start_us"][1:], table["stroke_end_us"][-1:]]
    )
    return within(table["stroke_start_us"], until, profile.at_fault_us)


def _stroke_of(table: Table, middle: Floats) -> Ints:
    """The stroke that each row belongs to, by its middle [m]; -1: none."""
    at = np.searchsorted(table["position_from_m"], middle, side="right") - 1
    return np.where((at >= 0) & (middle <= table["position_to_m"][np.maximum(at, 0)]), at, -1)


def _mean(value: Floats, weight: Floats, of: Ints, n: int) -> Floats:
    known = (of >= 0) & np.isfinite(value) & (weight > 0)
    of = np.where(known, of, -1)
    total, summed = _sum(weight, of, n), _sum(value * weight, of, n)
    mean = np.full(n, np.nan)
    mean[total > 0] = summed[total > 0] / total[total > 0]
    return mean


def _installed_kN(machine: Machine | None, of_set: NDArray[np.int8]) -> Floats:
    main, aux = (
        (None, None)
        if machine is None
        else (machine.main_thrust_installed_kN, machine.aux_thrust_installed_kN)
    )
    by_set = {PushingSet.MAIN: main, PushingSet.AUX: aux}
    out = np.full(len(of_set), np.nan)
    for code, installed in by_set.items():
        if installed is not None:
            out[of_set == code] = installed
    return out


def _loaded_s(periods: Table, strokes: Table) -> Floats:
    """Seconds of turning loaded without advance in each stroke and the reset after it, in periods of two minutes or
    more, (n,)."""
    if not len(periods) or not len(strokes):
        return np.zeros(len(strokes))
    seconds = (periods["end_us"] - periods["start_us"]) / 1e6
    told = (periods["state"] == State.TURNING_LOADED) & (seconds >= LEAST_PERIOD_S)
    at = np.searchsorted(strokes["stroke_start_us"], periods["start_us"], side="right") - 1
    return _sum(seconds, np.where(told, at, -1), len(strokes))


def _sum(value: Floats, of: Ints, n: int) -> Floats:
    """Of each of n strokes; of: (k,) the stroke of each value, -1: none."""
    total: Floats = np.bincount(of[of >= 0], value[of >= 0], n).astype(np.float64)
    return total


def runs_of_strokes(flags: Flags, bridge: int) -> list[tuple[int, int]]:
    """(first, last) of runs of flagged strokes, joined across so many others."""
    at = np.flatnonzero(flags)
    if not len(at):
        return []
    parts = np.split(at, np.flatnonzero(np.diff(at) > bridge + 1) + 1)
    return [(int(part[0]), int(part[-1])) for part in parts]
