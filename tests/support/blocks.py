"""Sums of blocks bored at constant figures, for checks against published values."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.setup import Machine
from tests.support.cells import MACHINE

Sums = dict[str, NDArray[np.float64]]


@dataclass(frozen=True)
class Block:
    """Thrust [kN], torque [kNm], head speed [rpm], penetration [mm/rev] over some revolutions.

    spread_kNm, spread_mm: standard deviation of torque and of penetration, from sample to sample as well.
    steady: share of time and advance without loading and unloading.
    """

    thrust_kN: float = 10_000.0
    torque_kNm: float = 1_500.0
    rpm: float = 6.0
    penetration_mm: float = 8.0
    revolutions: float = 60.0
    drag_kN: float = float("nan")
    no_load_kNm: float = float("nan")
    drag_sd_kN: float = float("nan")
    thrust_var_kN2_s: float = 0.0
    no_load_sd_kNm: float = float("nan")
    installed_kN: float = 16_000.0
    spread_kNm: float = 0.0
    spread_mm: float = 0.0
    steady: float = 0.9
    samples: float = 600.0


def sums_of(*blocks: Block) -> Sums:
    """The sums of each block, (blocks,)."""
    rows = [_sums(block) for block in blocks]
    return {name: np.array([row[name] for row in rows]) for name in rows[0]}


def together(sums: Sums) -> Sums:
    """All blocks as one."""
    return {name: np.array([np.sum(values)]) for name, values in sums.items()}


def _sums(block: Block) -> dict[str, float]:
    seconds = block.revolutions / block.rpm * 60
    advance = block.revolutions * block.penetration_mm / 1000
    angle = 2 * np.pi * block.revolutions
    return {
        "boring_s": seconds,
        "advance_m": advance,
        "unrecorded_advance_m": 0.0,
        "revolutions": block.revolutions,
        "turned_s": seconds,
        "turned_advance_m": advance,
        "thrust_kN_s": block.thrust_kN * seconds,
        "thrust_s": seconds,
        "thrust_work_kJ": block.thrust_kN * advance,
        "thrust_advance_m": advance,
        "torque_kNm_s": block.torque_kNm * seconds,
        "torque_s": seconds,
        "torque_work_kJ": block.torque_kNm * angle,
        "torque_advance_m": advance,
        "torque_revolutions": block.revolutions,
        "ring_reacted_advance_m": 0.0,
        "known_reaction_advance_m": advance,
        "drag_kN_s": block.drag_kN * seconds,
        "drag_work_kJ": block.drag_kN * advance,
        "no_load_kNm_s": block.no_load_kNm * seconds,
        "no_load_work_kJ": block.no_load_kNm * angle,
        "drag_sd_kN_s": block.drag_sd_kN * seconds,
        "thrust_var_kN2_s2": block.thrust_var_kN2_s * seconds,
        "no_load_sd_kNm_s": block.no_load_sd_kNm * seconds,
        "thrust_installed_kN_s": block.installed_kN * seconds,
        "samples": block.samples,
        "steady_s": block.steady * seconds,
        "phased_s": seconds,
        "steady_advance_m": block.steady * advance,
        "phased_advance_m": advance,
        "torque_turned_s": seconds,
        "torque_kNm2_s": (block.torque_kNm**2 + block.spread_kNm**2) * seconds,
        "torque_step_kNm2_s": block.spread_kNm**2 * seconds,
        "torque_step_s": seconds,
        "penetration_mm_rev_s": block.penetration_mm * seconds,
        "penetration_s": seconds,
        "penetration_mm2_rev2_s": (block.penetration_mm**2 + block.spread_mm**2) * seconds,
        "penetration_step_mm2_rev2_s": block.spread_mm**2 * seconds,
        "penetration_step_s": seconds,
    }


def machine(**changes: object) -> Machine:
    """The test machine (6.0 m, 40 discs of 483 mm, 312 kN a disc, 2 500 kNm installed) with changes."""
    stated = {"disc_load_limit_kN": 312.0, "torque_installed_kNm": 2_500.0, **changes}
    return replace(MACHINE, **stated)  # type: ignore[arg-type]
