"""Cells: what adds, of every boring sample, by stroke, step, shift, pushing set, reaction and phase."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import MICROSECONDS, Samples
from tbmreview.domain.shifts import ShiftBounds
from tbmreview.domain.states import PushingSet
from tbmreview.domain.station import Axis
from tbmreview.domain.sums import ADD, KEYS, MERGE, SUMS, sum_runs
from tbmreview.domain.table import Table
from tbmreview.motion.pieces import Pieces, cut_at_steps, cut_at_times, shift_starts, whole
from tbmreview.motion.record import Record
from tbmreview.motion.signals import Flags, Floats, Ints, measured
from tbmreview.motion.states import Codes
from tbmreview.motion.unevenness import uneven

MOST_BELT_T_S = 6.0  # a belt total that leaps by more was set to another value (about 20 000 t/h)
CODES = ("pushing_set", "reaction", "phase")


@dataclass(frozen=True, slots=True)
class Motion:
    """(n,) each: face [m] at the sample and at the end of its credited time; samples that bore; start of
    the stroke [us]; codes of pushing set, reaction and phase."""

    at_m: Floats
    after_m: Floats
    boring: Flags
    stroke_start_us: Ints
    pushing_set: Codes
    reaction: Codes
    phase: Codes


def make_cells(record: Record, motion: Motion, axis: Axis, shifts: ShiftBounds) -> Table:
    """The cells of a window, sorted by their keys."""
    recorded, sums = _recorded(record, motion)
    unseen, more = _unrecorded(record, motion)
    without_phase = replace(motion, phase=np.zeros_like(motion.phase))  # a gap does not show it
    tables = [
        _summed(pieces, of, added, keys, (axis, shifts))
        for pieces, of, added, keys in ((*recorded, sums, motion), (*unseen, more, without_phase))
        if len(pieces.parent)
    ]
    if not tables:
        return empty_cells()
    both = Table({name: np.concatenate([t[name] for t in tables]) for name in tables[0]})
    return _by_cell(both)


def empty_cells() -> Table:
    """Cells without rows."""
    keys = {name: np.empty(0, np.int8 if name in CODES else np.int64) for name, _ in KEYS}
    sums = {s.name: np.empty(0, np.int64 if s.unit == "us" else np.float64) for s in SUMS}
    return Table({**keys, **sums})


def _recorded(record: Record, motion: Motion) -> tuple[tuple[Pieces, Ints], dict[str, Floats]]:
    """Boring samples as pieces, the sample of each, and what each adds."""
    at = np.flatnonzero(motion.boring)
    start = record.samples.time_us[at]
    credit_us = record.credit.credit_us[at]
    pieces = whole(start, start + credit_us, motion.at_m[at], motion.after_m[at])
    return (pieces, at), contributions(record, motion, at)


def contributions(record: Record, motion: Motion, at: Ints) -> dict[str, Floats]:
    """What each boring sample adds to its cell (before it is cut at steps and shifts); least and
    greatest values too."""
    values = record.samples
    s = record.credit.credit_us[at] / MICROSECONDS
    advance = motion.after_m[at] - motion.at_m[at]
    speed, torque = record.speed_rpm[at], record.torque_kNm[at]
    aux = motion.pushing_set[at] == PushingSet.AUX
    thrust = np.where(aux, values.get("aux_thrust_kN")[at], values.get("main_thrust_kN")[at])
    gripper, belt = values.get("gripper_pressure_bar")[at], belt_t_s(values)[at]
    turned, pushed, twisted = np.isfinite(speed), np.isfinite(thrust), np.isfinite(torque)
    revolutions = measured(speed, turned) / 60 * s
    both = turned & twisted
    thrust_kN, torque_kNm = measured(thrust, pushed), measured(torque, twisted)
    return {
        "boring_s": s,
        "advance_m": advance,
        "unrecorded_advance_m": np.zeros(len(at)),
        "revolutions": revolutions,
        "turned_s": measured(s, turned),
        "turned_advance_m": measured(advance, turned),
        "thrust_kN_s": thrust_kN * s,
        "thrust_s": measured(s, pushed),
        "thrust_work_kJ": thrust_kN * advance,
        "thrust_advance_m": measured(advance, pushed),
        "torque_kNm_s": torque_kNm * s,
        "torque_s": measured(s, twisted),
        "torque_work_kJ": torque_kNm * 2 * np.pi * revolutions,
        "torque_advance_m": measured(advance, both),
        "torque_revolutions": measured(revolutions, both),
        "torque_turned_s": measured(s, both),
        **uneven(record, motion.boring, motion.stroke_start_us, at),
        "samples": np.ones(len(at)),
        "gripper_bar_s": measured(gripper) * s,
        "gripper_s": measured(s, np.isfinite(gripper)),
        "belt_t": measured(belt) * s,
        "belt_s": measured(s, np.isfinite(belt)),
        "thrust_min_kN": thrust,
        "thrust_max_kN": thrust,
        "torque_min_kNm": torque,
        "torque_max_kNm": torque,
    }


def belt_t_s(samples: Samples) -> Floats:
    """Mass over the belt scale (n,) t/s: the logged rate, else the steps of the running total."""
    rate = samples.get("belt_rate_t_h") / 3600
    if np.isfinite(rate).any():
        return rate
    total = samples.get("belt_total_t")
    step = np.append(np.diff(total), np.nan)
    seconds = np.append(np.diff((samples.time_us - samples.time_us[:1]) / MICROSECONDS), 1.0)
    per_s = step / seconds
    return np.where((per_s >= 0) & (per_s <= MOST_BELT_T_S), per_s, np.nan)


def _unrecorded(record: Record, motion: Motion) -> tuple[tuple[Pieces, Ints], dict[str, Floats]]:
    """Advance in gaps: no time, energy or revolutions, and the stroke of the sample after the gap."""
    way = motion.at_m[1:] - motion.after_m[:-1]
    gap = np.flatnonzero((way > 0) & (record.credit.gap_us[:-1] > 0))
    time_us = record.samples.time_us
    start = time_us[gap] + record.credit.credit_us[gap]
    pieces = whole(start, time_us[gap + 1], motion.after_m[gap], motion.at_m[gap + 1])
    added = {s.name: np.full(len(gap), 0.0 if s.merge == ADD else np.nan) for s in SUMS}
    return (pieces, gap + 1), {**added, "advance_m": way[gap], "unrecorded_advance_m": way[gap]}


def _summed(
    pieces: Pieces, of: Ints, added: dict[str, Floats], motion: Motion, where: tuple[Axis, ShiftBounds]
) -> Table:
    """Cells of the pieces. Where everything is measured many sums are one and the same column, the seconds or
    the advance: it is cut and summed once."""
    found: dict[tuple[int, str], str] = {}
    same = {name: found.setdefault((id(values), MERGE[name]), name) for name, values in added.items()}
    cells = _by_cell(_with_keys(pieces, of, {name: added[name] for name in found.values()}, motion, where))
    return Table(
        {name: cells[same.get(name, name)] for name in (*(k for k, _ in KEYS), *(s.name for s in SUMS))}
    )


def _with_keys(
    pieces: Pieces, of: Ints, added: dict[str, Floats], motion: Motion, where: tuple[Axis, ShiftBounds]
) -> Table:
    axis, shifts = where
    cut, step = cut_at_steps(cut_at_times(pieces, shifts.start_us), axis)
    sample = of[cut.parent]
    whole_ones = len(cut.parent) == len(of)
    columns: dict[str, NDArray[Any]] = {
        "stroke_start_us": motion.stroke_start_us[sample],
        "step": step,
        "shift_start_us": shift_starts(cut.start_us, shifts),
        "pushing_set": motion.pushing_set[sample],
        "reaction": motion.reaction[sample],
        "phase": motion.phase[sample],
    }
    for name, values in added.items():
        columns[name] = values if whole_ones else values.take(cut.parent)
        if MERGE[name] == ADD and not whole_ones:
            columns[name] *= cut.share
    columns |= {"position_from_m": cut.from_m, "position_to_m": cut.to_m}
    columns |= {"start_us": cut.start_us, "end_us": cut.end_us}
    return Table(columns)


def _by_cell(pieces: Table) -> Table:
    """Pieces summed by key; neighbours first, since most follow each other."""
    keys = [name for name, _ in KEYS]
    summed = sum_runs(pieces, keys)
    order = np.lexsort([summed[name] for name in reversed(keys)])
    return sum_runs(summed.rows(order), keys)
