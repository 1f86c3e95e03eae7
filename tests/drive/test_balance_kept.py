"""The flagged balance and the belt's bins are kept: no sample is read twice, and what changes is made anew."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from tbmreview.domain.samples import DAY_US, Samples
from tbmreview.domain.states import State
from tbmreview.drive.balance import balance, flagged_balance
from tests.support.cells import HOUR_US, TableDrive, drive_of, periods_of, setup_of, steady

DAY = 21_990
START_US = DAY * DAY_US + 6 * HOUR_US
DENSITY, AREA = 2.7, np.pi / 4 * 6.0**2
STROKE_US, LAG_S = HOUR_US, 120


@dataclass(frozen=True)
class Chunk:
    content_hash: str


@dataclass(frozen=True)
class BeltDrive(TableDrive):
    """Ten strokes of 1.5 m in ten hours, and a scale that is 120 s late. much: muck over rock, by stroke."""

    much: tuple[float, ...] = ()
    content: str = "one"
    read: tuple[list[int], ...] = ()

    def days(self) -> dict[int, Chunk]:
        return {DAY: Chunk(self.content)}

    def samples(self, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
        self.read[0].append(start_us)
        time_us = DAY * DAY_US + np.arange(8640) * 10_000_000
        since = time_us - START_US - LAG_S * 1_000_000
        stroke = since // STROKE_US
        bores = (since >= 0) & (stroke < len(self.much)) & (since % STROKE_US < 1.5 / 0.048 * 60e6)
        much = np.array(self.much)[np.clip(stroke, 0, len(self.much) - 1)]
        return Samples(time_us, {"belt_rate_t_h": np.where(bores, much * DENSITY * AREA * 0.048 * 60, 0.0)})


def belt_drive(folder: Path, *much: float) -> BeltDrive:
    setup = setup_of(ring_length_m=1.5, rock_density_t_m3=DENSITY, belt_lag_s=float(LAG_S))
    axis, parts, runs = setup.drive.axis, [], []
    for k in range(len(much)):  # 6 rpm at 8 mm: 48 mm/min
        start = START_US + k * STROKE_US
        parts.append(steady(axis, (1.5 * k, 1.5 * k + 1.5), start_us=start))
        end = int(parts[-1]["end_us"][-1])
        runs += [(State.BORING, start, end), (State.STANDING, end, start + STROKE_US)]
    cells = parts[0].with_columns({n: np.concatenate([p[n] for p in parts]) for n in parts[0]})
    periods = periods_of(*runs, metres=1.5 * len(much))
    made = drive_of(setup, cells, periods=periods)
    return BeltDrive(made.setup, cells, made.strokes, periods, folder=folder, much=much, read=([],))


def test_the_balance_of_stretches_is_flagged_and_kept(tmp_path: Path) -> None:
    drive = belt_drive(tmp_path, 1, 1, 1, 1.3, 1.3, 1.3, 1, 1, 1, 1)
    rows = flagged_balance(drive)
    known = np.isfinite(rows["surplus_pct"])
    assert rows["surplus_pct"][known] == pytest.approx(100 * (np.array(drive.much)[known] - 1), abs=1.5)
    assert [bool(flag) for flag in rows["flag"]] == [m > 1 for m in drive.much]
    again = flagged_balance(drive)
    assert len(drive.read[0]) == 1
    for name in rows:
        np.testing.assert_array_equal(again[name], rows[name])


def test_what_the_balance_follows_from_makes_it_anew_and_other_things_do_not(tmp_path: Path) -> None:
    drive = belt_drive(tmp_path, 1, 1, 1, 1.3, 1.3, 1.3, 1, 1, 1, 1)
    before = flagged_balance(drive)["surplus_pct"]
    facts = replace(drive.setup.drive, rock_density_t_m3=DENSITY * 1.3)
    denser = replace(drive, setup=replace(drive.setup, drive=facts))
    assert np.nanmedian(flagged_balance(denser)["surplus_pct"] - before) < -20
    assert len(drive.read[0]) == 1  # the bins hold whatever the density
    other = replace(drive, content="two", much=(1.0,) * 10)
    assert not any(flagged_balance(other)["flag"])
    assert len(drive.read[0]) == 2


def test_the_command_and_the_detectors_have_one_balance(tmp_path: Path) -> None:
    drive = belt_drive(tmp_path, 1, 1, 1.3, 1.3, 1.3, 1)
    shift, _ = balance(drive, "shift")
    assert np.nansum(flagged_balance(drive)["belt_t"]) == pytest.approx(np.nansum(shift["belt_t"]), rel=1e-6)
