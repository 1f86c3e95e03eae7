"""Findings of a 20 km drive of two years: every detector, over tables that were kept.

The drive is that of bench_table with 730 days of samples, of which none may be read: health of the data by hour and
the belt's bins are kept (a day's rows, repeated). Goals: under 2 s for all of it; under 0.2 s for a shift's drive.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from tbmreview.domain.samples import DAY_US, Samples
from tbmreview.domain.states import State
from tbmreview.domain.table import Table
from tbmreview.drive.detect import findings
from tbmreview.drive.health import health
from tests.bench import bench_table
from tests.bench.conftest import Wait
from tests.support.cells import TableDrive, periods_of

DAYS, SHIFT_H = 730, 8


@dataclass(frozen=True)
class Chunk:
    content_hash: str


@dataclass(frozen=True)
class LongDrive(TableDrive):
    """A drive of tables with days of samples. unread: whether reading a sample is a fault."""

    first_day: int = 0
    count: int = 0
    unread: bool = False

    def days(self) -> dict[int, Chunk]:
        return {self.first_day + i: Chunk(str(i)) for i in range(self.count)}

    def samples(self, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
        if self.unread:
            raise AssertionError("samples are read again")
        return _day(start_us, channels)


def _day(start_us: int, channels: Sequence[str] | None) -> Samples:
    """A day of boring with a regrip an hour, in 20 channels."""
    rng, n = np.random.default_rng(start_us % 7), 86_400 // 10
    time_us = start_us + np.arange(n) * 10_000_000
    bores = np.arange(n) % 360 < 240
    rpm = np.where(bores, 6 + 0.05 * rng.standard_normal(n), 0.0)
    torque = np.where(bores, 1500 + 30 * rng.standard_normal(n), 2 * rng.standard_normal(n))
    penetration = np.where(bores, 8 + 0.2 * rng.standard_normal(n), 0.0)
    values = {
        "main_thrust_kN": np.where(bores, 9000 + 90 * rng.standard_normal(n), 500 + rng.standard_normal(n)),
        "main_pressure_bar": np.where(bores, 200 + 2 * rng.standard_normal(n), 20 + rng.standard_normal(n)),
        "torque_kNm": torque,
        "head_speed_rpm": rpm,
        "penetration_mm_rev": penetration,
        "advance_speed_mm_min": rpm * penetration,
        "head_power_kW": 2 * np.pi * rpm * torque / 60,
        "main_stroke_mm": 100 + np.arange(n) % 360 * 8.0 * bores,
        "belt_rate_t_h": np.where(bores, 220 + 10 * rng.standard_normal(n), 0.0),
        "water_l_min": 90 + 5 * rng.standard_normal(n),
        "chainage_m": 4180 + np.arange(n) * 0.001,
        **{
            name: rng.standard_normal(n)
            for name in ("pitch_mm_m", "roll_mm_m", "aux_pressure_bar", "aux_stroke_mm")
        },
        **{
            name: 200 + rng.standard_normal(n)
            for name in ("gripper_pressure_bar", "aux_thrust_kN", "gripper_force_kN")
        },
    }
    chosen = values if channels is None else {name: values[name] for name in channels if name in values}
    return Samples(time_us, chosen)


@pytest.fixture(scope="module")
def drive(tmp_path_factory: pytest.TempPathFactory) -> LongDrive:
    """Two years and 20 km."""
    made = bench_table.drive()
    first = int(made.cells["start_us"].min()) // DAY_US
    cells = made.cells.with_columns(_spread(made.cells, first))
    ends = np.sort(np.unique(cells["start_us"]))
    runs = [
        piece
        for start, end in zip(ends.tolist(), [*ends[1:].tolist(), int(ends[-1]) + 3_000_000_000], strict=True)
        for piece in ((State.BORING, start, (start + end) // 2), (State.STANDING, (start + end) // 2, end))
    ]
    periods = periods_of(*runs, metres=bench_table.LENGTH_M)
    setup = replace(made.setup, drive=replace(made.setup.drive, rock_density_t_m3=2.7, belt_lag_s=120.0))
    whole = LongDrive(
        setup,
        cells,
        made.strokes,
        periods,
        folder=tmp_path_factory.mktemp("long"),
        first_day=first,
        count=DAYS,
    )
    findings(whole)  # reads every sample once, and keeps what it needs
    return replace(whole, unread=True)


def _spread(cells: Table, first: int) -> dict[str, np.ndarray]:
    """Times of the cells over all the days."""
    of = (cells["stroke_start_us"] - first * DAY_US) * (DAYS / 290) + first * DAY_US
    return dict.fromkeys(("stroke_start_us", "start_us", "end_us"), of.astype(np.int64))


def test_findings_of_two_years(wait: Wait, drive: LongDrive) -> None:
    assert len(health(drive)) > 300_000
    wait("findings of 20 km and two years", lambda: findings(drive), at_most_s=2.0)


def test_findings_of_a_shift(wait: Wait, drive: LongDrive, tmp_path: Path) -> None:
    last = int(drive.cells["start_us"][0]) + SHIFT_H * 3_600_000_000
    cells = drive.cells.rows(drive.cells["start_us"] < last)
    part = replace(
        drive,
        cells=cells,
        strokes=drive.strokes.rows(drive.strokes["stroke_start_us"] < last),
        periods=drive.periods.rows(drive.periods["start_us"] < last),
        count=1,
        unread=False,
        folder=tmp_path,
    )
    findings(part)
    wait("findings of a shift", lambda: findings(replace(part, unread=True)), at_most_s=0.2)
