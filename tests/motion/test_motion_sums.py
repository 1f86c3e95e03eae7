"""Sums are conserved: over any step, shift, cut of the rows; and equal DuckDB's on the same Parquet."""

from functools import cache
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.motion_signals import samples_of, setup_of
from support.samplegen import simulate

from tbmreview.domain.samples import Samples
from tbmreview.domain.setup import Setup, read_setup
from tbmreview.domain.shifts import shifts_covering
from tbmreview.domain.states import PushingSet
from tbmreview.domain.station import Axis
from tbmreview.domain.sums import ADD, KEYS, MAX, MIN, SUMS, group_sums
from tbmreview.domain.table import Table
from tbmreview.motion.carry import Carry
from tbmreview.motion.cells import Motion, contributions, make_cells
from tbmreview.motion.record import Record, record_of
from tbmreview.motion.reduce import reduce_window

ADDED = [s.name for s in SUMS if s.merge == ADD]
START_US = 1_930_000_000_000_000


def plain_setup() -> Setup:
    drive = {
        "name": "invented",
        "timezone": "Europe/Oslo",
        "chainage_start_m": 4180.0,
        "chainage_direction": "increasing",
    }
    machine = {"kind": "open gripper", "bore_diameter_m": 6.4, "disc_count": 42}
    shifts = {"start": ["06:00", "14:00", "22:00"], "names": ["early", "late", "night"]}
    return read_setup({"drive": drive, "machine": machine, "shifts": shifts}, "invented")


@st.composite
def motions(draw: st.DrawFn) -> tuple[Record, Motion]:
    """A record with gaps and missing values, and a face that advances in any way over it."""
    n = draw(st.integers(2, 60))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    steps_s = rng.choice([1, 1, 1, 2, 5, 900, 20_000], n)
    time_us = START_US + np.cumsum(steps_s).astype(np.int64) * 1_000_000
    values = {}
    for name, scale in (("main_thrust_kN", 9000.0), ("torque_kNm", -1500.0), ("head_speed_rpm", 7.0)):
        values[name] = np.where(rng.random(n) < 0.2, np.nan, scale * rng.random(n))
    record = record_of(Samples(time_us, values), Carry(), plain_setup())
    reach = draw(st.sampled_from([0.0, 0.001, 0.1, 3.0]))
    boring = rng.random(n) < 0.7
    made = np.where(boring, reach * rng.random(n) * (rng.random(n) < 0.8), 0.0)
    hidden = np.where(record.credit.gap_us > 0, reach * rng.random(n) * (rng.random(n) < 0.5), 0.0)
    hidden[-1] = 0.0
    before = 17.0 + np.concatenate([[0.0], np.cumsum(made + hidden)[:-1]])
    after = before + made
    before[1:] = np.where(hidden[:-1] > 0, before[1:], after[:-1])
    codes = rng.integers(0, 3, (3, n)).astype(np.int8)
    return record, Motion(before, after, boring, np.sort(rng.integers(0, 3, n)), *codes)


def cells_of(record: Record, motion: Motion, axis: Axis) -> Table:
    first, last = int(record.samples.time_us[0]), int(record.samples.time_us[-1]) + 10**10
    return make_cells(record, motion, axis, shifts_covering(plain_setup(), first, last))


@settings(max_examples=30, deadline=None)
@given(motions(), st.sampled_from([1, -1]), st.floats(-1e5, 1e5).map(lambda x: round(x, 3)))
def test_totals_over_cells_are_totals_over_boring_samples(
    made: tuple[Record, Motion], direction: int, start_m: float
) -> None:
    record, motion = made
    cells = cells_of(record, motion, Axis(start_m, direction))
    at = np.flatnonzero(motion.boring)
    samples = contributions(record, motion, at)
    hidden = (motion.at_m[1:] - motion.after_m[:-1]).sum()
    samples["advance_m"] = np.append(samples["advance_m"], hidden)
    samples["unrecorded_advance_m"] = np.array([hidden])
    for name in ADDED:
        assert cells[name].sum() == pytest.approx(samples[name].sum(), rel=1e-9, abs=1e-9), name
    for name, of in (("thrust_min_kN", np.fmin), ("torque_max_kNm", np.fmax)):
        ours, theirs = (of.reduce(x, initial=np.nan) for x in (cells[name], samples[name]))
        assert ours == pytest.approx(theirs, nan_ok=True)


@settings(max_examples=25, deadline=None)
@given(motions(), st.sampled_from([1, -1]))
def test_a_cell_lies_in_one_step_and_one_shift(made: tuple[Record, Motion], direction: int) -> None:
    record, motion = made
    axis = Axis(4180.04, direction)
    cells = cells_of(record, motion, axis)
    assert (cells["position_from_m"] >= axis.step_start_m(cells["step"]) - 1e-6).all()
    assert (cells["position_to_m"] <= axis.step_start_m(cells["step"] + 1) + 1e-6).all()
    end = int(record.samples.time_us[-1]) + 10**11
    bounds = shifts_covering(plain_setup(), int(record.samples.time_us[0]), end)
    shift = np.searchsorted(bounds.start_us, cells["shift_start_us"])
    assert (cells["start_us"] >= cells["shift_start_us"]).all()
    assert (cells["end_us"] <= bounds.start_us[shift + 1]).all()
    keys = list(zip(*(cells[name].tolist() for name, _ in KEYS), strict=True))
    assert len(set(keys)) == len(keys)


@settings(max_examples=30, deadline=None)
@given(motions(), st.integers(1, 59))
def test_rows_cut_anywhere_give_the_same_sums(made: tuple[Record, Motion], cut: int) -> None:
    record, motion = made
    axis = Axis(4180.0, 1)
    whole = cells_of(record, motion, axis)
    cut = min(cut, len(record))
    shut = np.zeros(len(record), bool)
    parts = []
    for part in (slice(0, cut), slice(cut, None)):
        boring = shut.copy()
        boring[part] = motion.boring[part]
        at_m, after_m = motion.at_m.copy(), motion.after_m.copy()
        if part.start == 0:  # the gap at the cut belongs to the rows after it
            at_m[cut:] = after_m[cut:] = after_m[cut - 1]
        else:
            at_m[:cut] = after_m[:cut] = after_m[cut - 1]
        parts.append(cells_of(record, Motion(at_m, after_m, boring, *rest(motion)), axis))
    for name in ADDED:
        if "_step_" not in name:  # a step needs the row before the cut; windows begin with a stroke
            total = sum(p[name].sum() for p in parts)
            assert total == pytest.approx(whole[name].sum(), rel=1e-9, abs=1e-9), name


def rest(motion: Motion) -> tuple[Any, ...]:
    return motion.stroke_start_us, motion.pushing_set, motion.reaction, motion.phase


@cache
def day() -> tuple[Samples, Setup]:
    truth, log = simulate(41, 0.6)
    return samples_of(log), setup_of(truth.options)


SQL = """
    WITH credited AS (SELECT *, turns * 2 * pi() AS angle FROM (
        SELECT *, speed / 60 * s AS turns, abs(torque) AS twist, CASE WHEN aux THEN aux_kN ELSE main_kN END AS push,
            abs(torque) - lag(abs(torque)) OVER bout AS step, p - lag(p) OVER bout AS p_step
        FROM read_parquet(?) WINDOW bout AS (PARTITION BY stroke, bout ORDER BY time_us)))
    SELECT stroke, shift, reaction, phase,
        sum(s) AS boring_s, sum(advance) AS advance_m, sum(turns) AS revolutions,
        sum(push * s) AS thrust_kN_s, sum(push * advance) AS thrust_work_kJ,
        sum(twist * s) AS torque_kNm_s, sum(twist * angle) AS torque_work_kJ,
        sum(bar * s) AS gripper_bar_s, sum(belt / 3600 * s) AS belt_t,
        min(push) AS thrust_min_kN, max(push) AS thrust_max_kN, max(twist) AS torque_max_kNm,
        sum(CASE WHEN push IS NULL THEN 0 ELSE s END) AS thrust_s, count(*) AS samples,
        sum(twist * twist * s) AS torque_kNm2_s, sum(coalesce(step * step, 0) / 2 * s) AS torque_step_kNm2_s,
        sum(CASE WHEN step IS NULL THEN 0 ELSE s END) AS torque_step_s,
        sum(p * s) AS penetration_mm_rev_s, sum(p * p * s) AS penetration_mm2_rev2_s,
        sum(coalesce(p_step * p_step, 0) / 2 * s) AS penetration_step_mm2_rev2_s
    FROM credited GROUP BY stroke, shift, reaction, phase ORDER BY ALL
"""


def test_group_sums_equal_those_of_duckdb(tmp_path: Path) -> None:
    """The same Parquet, summed by DuckDB in plain SQL from the raw channels."""
    samples, setup = day()
    record, motion, shifts = reworked(samples, setup)
    at = np.flatnonzero(motion.boring)
    frame = pd.DataFrame(
        {
            "stroke": motion.stroke_start_us[at],
            "shift": shifts[at],
            "reaction": motion.reaction[at],
            "phase": motion.phase[at],
            "time_us": samples.time_us[at],
            "bout": np.cumsum((np.diff(at, prepend=-1) > 1) | (record.credit.gap_us[at - 1] > 0)),
            "p": samples.get("penetration_mm_rev")[at],
            "aux": motion.pushing_set[at] == PushingSet.AUX,
            "s": record.credit.credit_us[at] / 1e6,
            "advance": (motion.after_m - motion.at_m)[at],
            "speed": samples.get("head_speed_rpm")[at],
            "torque": samples.get("torque_kNm")[at],
            "main_kN": samples.get("main_thrust_kN")[at],
            "aux_kN": samples.get("aux_thrust_kN")[at],
            "bar": samples.get("gripper_pressure_bar")[at],
            "belt": samples.get("belt_rate_t_h")[at],
        }
    )
    path = tmp_path / "boring.parquet"
    frame.to_parquet(path)
    theirs = duckdb.execute(SQL, [str(path)]).df()
    cells = reduce_window(samples, Carry(), setup).cells
    keys = np.column_stack([cells[n] for n in ("stroke_start_us", "shift_start_us", "reaction", "phase")])
    groups, number = np.unique(keys, axis=0, return_inverse=True)
    ours = group_sums(cells, number.astype(np.int64), len(groups))
    assert len(groups) == len(theirs) > 20
    assert (groups == theirs[["stroke", "shift", "reaction", "phase"]].to_numpy()).all()
    for name in theirs.columns[4:]:
        assert ours[name] == pytest.approx(theirs[name].to_numpy(), rel=1e-9), name


def reworked(samples: Samples, setup: Setup) -> tuple[Record, Motion, Any]:
    """Record, motion and shift of each sample, as reduce_window has them on its way."""
    seen: dict[str, Any] = {}
    import tbmreview.motion.reduce as module

    def watching(record: Record, motion: Motion, axis: Axis, shifts: Any) -> Table:
        seen.update(record=record, motion=motion, shifts=shifts)
        return make_cells(record, motion, axis, shifts)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "make_cells", watching)
        reduce_window(samples, Carry(), setup)
    bounds = seen["shifts"]
    return seen["record"], seen["motion"], bounds.start_us[bounds.index(samples.time_us)]


def test_every_sum_has_a_merge_that_is_tested() -> None:
    assert {s.merge for s in SUMS} == {ADD, MIN, MAX}
