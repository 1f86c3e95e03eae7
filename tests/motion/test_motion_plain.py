"""A plain pandas script (tests/support/plain.py) and the program, on the same logs: the same quantities.

The two share no code and no trick. At 30 s a row is 2 % of a short stroke and 25 mm of advance, and whether it
bored can be read either way, so the bounds widen with the interval; a stroke has few rows, a drive many.
"""

from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest
from support.cells import TableDrive
from support.motion_signals import samples_of, setup_of
from support.plain import Machine, work
from support.samplegen import simulate
from test_motion_drives import DRIVES, reduced

from tbmreview.domain.samples import Samples
from tbmreview.domain.setup import Setup
from tbmreview.domain.states import PUSHING_LABELS, PushingSet
from tbmreview.domain.table import Table
from tbmreview.drive.table import table
from tbmreview.motion.carry import Carry
from tbmreview.motion.net_forces import with_net_forces
from tbmreview.motion.reduce import reduce_window

TWELVE = [name for name in DRIVES if " shield at " in name or "gripper at " in name]
GENERATED: dict[str, tuple[int, float, dict[str, Any]]] = {
    "generated double shield at 1 s": (804, 0.4, {}),
    "generated single shield at 10 s, falling": (31, 0.6, {"kind": "single shield", "sample_s": 10, "direction": -1}),
}  # fmt: skip
# Interval of logging [s] -> how far the two may be apart over a drive [share].
ADVANCE = {1: 0.002, 5: 0.002, 10: 0.002, 30: 0.004}
SECONDS = {1: 0.005, 5: 0.005, 10: 0.01, 30: 0.01}
ENERGY = {1: 0.002, 5: 0.003, 10: 0.005, 30: 0.01}
MEANS = {1: 0.003, 5: 0.003, 10: 0.005, 30: 0.015}
SETS = {"main": PUSHING_LABELS[PushingSet.MAIN], "aux": PUSHING_LABELS[PushingSet.AUX]}
OF_A_STROKE = 6  # times that, for the worst of its strokes
COMPARED = {
    "advance_m": ADVANCE,
    "boring_s": SECONDS,
    "revolutions": SECONDS,
    "thrust_kN": MEANS,
    "torque_kNm": MEANS,
    "penetration_mm_rev": MEANS,
    "fpi_kN_per_mm_rev": MEANS,
    "specific_energy_MJ_m3": ENERGY,
    "thrust_work_kJ": ENERGY,
    "torque_work_kJ": ENERGY,
}

every_drive = pytest.mark.parametrize("name", [*TWELVE, *GENERATED])


def log_of(name: str) -> tuple[Samples, Setup, TableDrive]:
    """(samples, setup, the drive as the program reads it)."""
    if name in GENERATED:
        seed, days, options = GENERATED[name]
        made, log = simulate(seed, days, **options)
        samples, setup = samples_of(log), setup_of(made.options)
        result = reduce_window(samples, Carry(), setup)
    else:
        truth, result = reduced(name)
        samples, setup = truth.samples, truth.setup
    strokes = with_net_forces(result.strokes, setup.machine)
    return samples, setup, TableDrive(setup, result.cells, strokes, result.periods, result.rings)


@cache
def both(name: str) -> tuple[pd.DataFrame, pd.Series, Table, Table, int]:
    """(strokes, drive) of the plain script; (strokes, drive) of the program; interval of logging [s]."""
    samples, setup, drive = log_of(name)
    machine = setup.machine
    facts = Machine(
        kind=machine.kind,
        direction=setup.drive.axis.direction,
        target_on_rear=name in DRIVES and DRIVES[name].sensors.guidance == "rear",
        bore_m=machine.bore_diameter_m,
        discs=machine.disc_count,
        no_load_kNm=machine.no_load_torque_kNm or np.nan,
        stroke_m=machine.stroke_length_m or np.nan,
    )
    log = pd.DataFrame(dict(samples.values), index=pd.to_datetime(samples.time_us, unit="us", utc=True))
    strokes, whole = work(log, facts)
    interval_s = round(log.index.to_series().diff().dt.total_seconds().median())
    return strokes, whole, with_energies(drive, "stroke"), with_energies(drive, "drive"), interval_s


def with_energies(drive: TableDrive, by: str) -> Table:
    """The program's table, and the two works behind its specific energies."""
    rows = table(drive, by)  # type: ignore[arg-type]
    volume = np.pi / 4 * drive.setup.machine.bore_diameter_m**2 * rows["advance_m"]
    return rows.with_columns(
        {
            "thrust_work_kJ": 1000 * rows["thrust_energy_MJ_m3"] * volume,
            "torque_work_kJ": 1000 * rows["rotary_energy_MJ_m3"] * volume,
        }
    )


def test_twelve_drives_are_of_three_machines_at_four_rates() -> None:
    logged = {(DRIVES[name].plan.kind, DRIVES[name].sensors.sample_s) for name in TWELVE}
    assert len(TWELVE) == len(logged) == 12


@every_drive
def test_a_drive_worked_plainly(name: str) -> None:
    _, plain, _, ours, interval_s = both(name)
    for column, bound in COMPARED.items():
        assert ours[column][0] == pytest.approx(plain[column], rel=bound[interval_s]), column


@every_drive
def test_its_strokes_worked_plainly(name: str) -> None:
    plain, _, ours, _, interval_s = both(name)
    assert [SETS[which] for which in plain["set"]] == ours["pushing_set"].tolist()
    for column, bound in COMPARED.items():
        near = OF_A_STROKE * bound[interval_s]
        assert ours[column] == pytest.approx(plain[column].to_numpy(), rel=near), column
