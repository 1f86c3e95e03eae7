"""Invented drives bored stroke by stroke through grounds of known load and penetration."""

from dataclasses import replace

import numpy as np

from tbmreview.domain.setup import Setup
from tbmreview.domain.states import Reaction
from tbmreview.domain.table import stack
from tests.support.cells import HOUR_US, START_US, TableDrive, drive_of, in_shifts, setup_of, steady

SETUP = setup_of()
USUAL = (6.0, 1500.0)  # head speed rpm, torque kNm


def bored(
    *grounds: tuple[float, ...],
    setup: Setup = SETUP,
    noise: float = 0.06,
    seed: int = 0,
    ring_every: int = 2,
    drags: tuple[tuple[float, float, float], ...] = (),
) -> TableDrive:
    """Strokes of 1.5 m. grounds: (length m, net disc load kN, penetration mm/rev), one after another, and where they
    are not as usual head speed rpm and torque kNm.

    Drag is the setup's except along `drags` (from, to, kN). Thrust follows from net load and drag.
    """
    rng = np.random.default_rng(seed)
    ends = np.cumsum([0.0, *(ground[0] for ground in grounds)])
    parts, start_us, at, drag = [], START_US, 0.0, []
    for i in range(round(ends[-1] / 1.5)):
        reaction = Reaction.RING if ring_every and i % ring_every == ring_every - 1 else Reaction.GRIPPERS
        usual = setup.machine.aux_drag_kN if reaction == Reaction.RING else setup.machine.drag_kN
        own = next((kN for low, high, kN in drags if low <= at < high), np.nan)
        number = min(int(np.searchsorted(ends, at + 1e-9, side="right")) - 1, len(grounds) - 1)
        _, load, penetration, rpm, torque = (*grounds[number], *USUAL[len(grounds[number]) - 3 :])
        thrust = load * setup.machine.disc_count + (usual or 0.0 if np.isnan(own) else own)
        cells = steady(
            setup.drive.axis,
            (at, at + 1.5),
            thrust_kN=thrust,
            penetration_mm=penetration,
            rpm=rpm,
            torque_kNm=torque,
            start_us=start_us,
            reaction=reaction,
        )
        factor = np.exp(rng.normal(0, noise, len(cells)))
        cells = cells.with_columns({n: cells[n] * factor for n in ("turned_advance_m",)})
        parts.append(cells)
        drag.append(own)
        start_us, at = int(cells["end_us"][-1]) + HOUR_US // 4, at + 1.5
    drive = drive_of(setup, in_shifts(stack(parts), setup))
    sources = np.array(["" if np.isnan(d) else "stroke" for d in drag], dtype=object)
    strokes = drive.strokes.with_columns({"drag_kN": np.array(drag), "drag_source": sources})
    return replace(drive, strokes=strokes)
