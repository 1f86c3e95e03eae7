"""The bored interval that the worked examples share: what is stated of it, and the sums it would have left."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from tbmreview.domain.setup import DOUBLE_SHIELD, Machine
from tbmreview.indicators.record import Floats

Values = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Given:
    """One stated figure: its name, what it is, its unit, its value, and decimals in text."""

    name: str
    what: str
    unit: str
    value: float
    decimals: int = 0


GIVEN: tuple[Given, ...] = (
    Given("bore_diameter_m", "bore diameter", "m", 6.0, 1),
    Given("disc_count", "installed disc rings", "", 40),
    Given("disc_diameter_mm", "disc diameter", "mm", 483),
    Given("thrust_kN", "thrust", "kN", 10_000),
    Given("drag_kN", "drag", "kN", 600),
    Given("drag_sd_kN", "standard deviation of drag", "kN", 150),
    Given("torque_kNm", "torque", "kNm", 1_500),
    Given("no_load_kNm", "no-load torque", "kNm", 180),
    Given("no_load_sd_kNm", "standard deviation of no-load torque", "kNm", 25),
    Given("head_speed_rpm", "head speed", "rpm", 6),
    Given("penetration_mm_rev", "penetration", "mm/rev", 8),
    Given("revolutions", "revolutions", "", 60),
    Given("ring_share", "share of the advance pushed off the ring", "", 0.25, 2),
    Given("thrust_installed_kN", "installed thrust", "kN", 16_000),
    Given("torque_installed_kNm", "installed torque", "kNm", 2_500),
    Given("disc_load_limit_kN", "load that a disc may carry", "kN", 312),
    Given("torque_spread_kNm", "standard deviation of torque from sample to sample", "kNm", 90),
    Given("penetration_spread_mm_rev", "and of penetration", "mm/rev", 0.5, 1),
    Given("steady", "share of time and advance without loading and unloading", "", 0.9, 1),
    Given("samples", "samples", "", 600),
)
BY_NAME: Mapping[str, Given] = {given.name: given for given in GIVEN}
VALUES: Values = MappingProxyType({given.name: given.value for given in GIVEN})


def machine_of(values: Values = VALUES) -> Machine:
    """The machine of the examples, a double shield."""
    return Machine(
        kind=DOUBLE_SHIELD,
        bore_diameter_m=values["bore_diameter_m"],
        disc_count=int(values["disc_count"]),
        disc_diameter_mm=values["disc_diameter_mm"],
        disc_load_limit_kN=values["disc_load_limit_kN"],
        torque_installed_kNm=values["torque_installed_kNm"],
    )


def sums_of(values: Values = VALUES) -> dict[str, Floats]:
    """The sums of one interval bored at constant figures, (1,) each."""
    turns, v = values["revolutions"], values
    seconds, advance = turns / v["head_speed_rpm"] * 60, turns * v["penetration_mm_rev"] / 1000
    sums = {
        "boring_s": seconds,
        "advance_m": advance,
        "unrecorded_advance_m": 0.0,
        "revolutions": turns,
        "samples": v["samples"],
        "ring_reacted_advance_m": v["ring_share"] * advance,
        "known_reaction_advance_m": advance,
        **_of_forces(v, seconds, advance, 2 * np.pi * turns),
        **_of_evenness(v, seconds, advance),
    }
    # Everything was measured throughout.
    measured = ("turned_s", "thrust_s", "torque_s", "torque_turned_s", "phased_s", "penetration_s")
    sums |= dict.fromkeys((*measured, "torque_step_s", "penetration_step_s"), seconds)
    over = ("turned_advance_m", "thrust_advance_m", "torque_advance_m", "phased_advance_m")
    sums |= dict.fromkeys(over, advance) | {"torque_revolutions": turns}
    return {name: np.array([value], np.float64) for name, value in sums.items()}


def _of_forces(v: Values, seconds: float, advance: float, angle: float) -> dict[str, float]:
    return {
        "thrust_kN_s": v["thrust_kN"] * seconds,
        "thrust_work_kJ": v["thrust_kN"] * advance,
        "thrust_var_kN2_s2": 0.0,
        "thrust_installed_kN_s": v["thrust_installed_kN"] * seconds,
        "drag_kN_s": v["drag_kN"] * seconds,
        "drag_work_kJ": v["drag_kN"] * advance,
        "drag_sd_kN_s": v["drag_sd_kN"] * seconds,
        "torque_kNm_s": v["torque_kNm"] * seconds,
        "torque_work_kJ": v["torque_kNm"] * angle,
        "no_load_kNm_s": v["no_load_kNm"] * seconds,
        "no_load_work_kJ": v["no_load_kNm"] * angle,
        "no_load_sd_kNm_s": v["no_load_sd_kNm"] * seconds,
    }


def _of_evenness(v: Values, seconds: float, advance: float) -> dict[str, float]:
    """Samples that are independent of each other: half the squared change between two is their variance."""
    torque, penetration = v["torque_spread_kNm"] ** 2, v["penetration_spread_mm_rev"] ** 2
    return {
        "steady_s": v["steady"] * seconds,
        "steady_advance_m": v["steady"] * advance,
        "torque_kNm2_s": (v["torque_kNm"] ** 2 + torque) * seconds,
        "torque_step_kNm2_s": torque * seconds,
        "penetration_mm_rev_s": v["penetration_mm_rev"] * seconds,
        "penetration_mm2_rev2_s": (v["penetration_mm_rev"] ** 2 + penetration) * seconds,
        "penetration_step_mm2_rev2_s": penetration * seconds,
    }
