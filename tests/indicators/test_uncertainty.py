"""Uncertainty against a Monte Carlo of the samples themselves, and its laws (JCGM 100, first order).

The Monte Carlo shares nothing with the propagation: it draws what each sensor reads, sample by sample, sums it, and
works the indicators out again (JCGM 101).
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tbmreview.domain.setup import Accuracy
from tbmreview.indicators import INDICATORS, INTERVALS, indicator_columns
from tbmreview.indicators.load import net_thrust_high_kN, net_thrust_kN
from tbmreview.indicators.uncertainty import PIECES, uncertainties
from tests.support.blocks import Block, Sums, machine, sums_of, together

M = machine()
BLOCK = Block(
    drag_kN=600.0, drag_sd_kN=150.0, no_load_kNm=180.0, no_load_sd_kNm=25.0, spread_kNm=90.0, spread_mm=0.5
)
ACCURACY = Accuracy(
    thrust_systematic_percent=1.0,
    thrust_random_percent=3.0,
    torque_systematic_percent=1.5,
    torque_random_percent=4.0,
    head_speed_systematic_percent=0.5,
    head_speed_random_percent=2.0,
    stroke_systematic_percent=0.3,
    stroke_random_mm=2.0,
    bore_systematic_mm=15.0,
)
DRAWS, SAMPLES = 100_000, 12


def of(block: Block, pieces: float = 1.0) -> Sums:
    sums = sums_of(block)
    return {**sums, PIECES: np.full(len(sums["samples"]), pieces)}


@cache
def drawn() -> dict[str, np.ndarray]:
    """Every indicator of DRAWS intervals of SAMPLES samples each, bored alike, read by sensors of ACCURACY."""
    rng, a, one = np.random.default_rng(5), ACCURACY, replace(BLOCK, samples=SAMPLES)
    sums = {name: np.broadcast_to(values, DRAWS).copy() for name, values in sums_of(one).items()}

    def readings(systematic: float, random: float) -> np.ndarray:
        """(DRAWS, SAMPLES): each reading as a multiple of what is true."""
        alike = 1 + systematic / 100 * rng.standard_normal((DRAWS, 1))
        return alike * (1 + random / 100 * rng.standard_normal((DRAWS, SAMPLES), np.float32))

    thrust = readings(a.thrust_systematic_percent, a.thrust_random_percent).mean(1)
    torque = readings(a.torque_systematic_percent, a.torque_random_percent)
    speed = readings(a.head_speed_systematic_percent, a.head_speed_random_percent)
    ends = rng.standard_normal((2, DRAWS)) * a.stroke_random_mm / 1000
    length = 1 + a.stroke_systematic_percent / 100 * rng.standard_normal(DRAWS)
    length = length + (ends[1] - ends[0]) / sums["advance_m"]
    drag = BLOCK.drag_sd_kN * rng.standard_normal(DRAWS)
    no_load = BLOCK.no_load_sd_kNm * rng.standard_normal(DRAWS)

    sums["no_load_kNm_s"] += no_load * sums["torque_s"]
    sums["no_load_work_kJ"] = sums["no_load_kNm_s"] / sums["torque_s"] * 2 * np.pi * sums["revolutions"]
    sums["no_load_work_kJ"] *= speed.mean(1)
    sums["drag_kN_s"] += drag * sums["thrust_s"]
    for name in ("advance_m", "turned_advance_m", "thrust_advance_m", "torque_advance_m"):
        sums[name] *= length
    sums["drag_work_kJ"] = sums["drag_kN_s"] / sums["thrust_s"] * sums["thrust_advance_m"]
    sums["thrust_kN_s"] *= thrust
    sums["thrust_work_kJ"] *= thrust * length
    sums["torque_kNm_s"] *= torque.mean(1)
    sums["torque_work_kJ"] *= (torque * speed).mean(1)
    sums["revolutions"] *= speed.mean(1)
    bore = M.bore_diameter_m + a.bore_systematic_mm / 1000 * rng.standard_normal(DRAWS)
    return indicator_columns(sums, replace(M, bore_diameter_m=bore))  # the machine of each draw


# Of evenness the Monte Carlo would have to draw the ground too; it is tested below by its law.
DRAWN = [i.name for i in INDICATORS if i not in INTERVALS and i.family != "evenness"]


@pytest.mark.parametrize("name", [name for name in DRAWN if name != "segment_reacted_share"])
def test_as_by_a_hundred_thousand_draws(name: str) -> None:
    found = uncertainties(of(replace(BLOCK, samples=SAMPLES)), M, ACCURACY)[name]
    assert found.u95[0] == pytest.approx(1.96 * np.std(drawn()[name]), rel=0.02)


def test_the_random_part_shrinks_with_samples_and_the_systematic_one_stays() -> None:
    few, many = (uncertainties(of(replace(BLOCK, samples=n)), M, ACCURACY) for n in (25.0, 2500.0))
    for name in ("thrust_kN", "torque_kNm", "head_speed_rpm", "head_power_kW"):
        assert few[name].random[0] == pytest.approx(10 * many[name].random[0])
        assert few[name].systematic[0] == pytest.approx(many[name].systematic[0])
    assert few["thrust_kN"].systematic[0] == pytest.approx(0.01 * BLOCK.thrust_kN)
    assert few["thrust_kN"].random[0] == pytest.approx(0.03 * BLOCK.thrust_kN / 5)


def test_each_piece_of_a_stroke_has_two_readings_of_its_own() -> None:
    """1.4142 deviations of a reading over 0.48 m; four pieces twice that."""
    one, four = (uncertainties(of(BLOCK, n), M, ACCURACY)["penetration_rate_m_h"] for n in (1, 4))
    assert one.random[0] == pytest.approx(2.88 * 0.002 * np.sqrt(2) / 0.48)
    assert four.random[0] == pytest.approx(2 * one.random[0])


def test_a_scale_passes_through_squares() -> None:
    found = uncertainties(of(BLOCK), M, replace(ACCURACY, torque_random_percent=0.0))
    for name, value in (("torque_spread_kNm", 90.0), ("torque_roughness_kNm", 90.0)):
        assert found[name].systematic[0] == pytest.approx(0.015 * value)
        assert found[name].random[0] == 0.0


EXACT = Accuracy(
    thrust_systematic_percent=0.0,
    torque_systematic_percent=0.0,
    head_speed_systematic_percent=0.0,
    stroke_systematic_percent=0.0,
    bore_systematic_mm=0.0,
)


def test_with_exact_sensors_net_thrust_has_the_interval_of_drag_and_sampling() -> None:
    sums = of(replace(BLOCK, thrust_var_kN2_s=600 * 40.0**2))
    found = uncertainties(sums, M, EXACT)
    half = net_thrust_high_kN(sums, M)[0] - net_thrust_kN(sums, M)[0]
    assert found["net_thrust_kN"].u95[0] == pytest.approx(half)
    assert found["net_thrust_kN"].systematic[0] == pytest.approx(150.0)
    assert found["thrust_kN"].u95[0] == pytest.approx(1.96 * 40.0)
    assert found["torque_kNm"].u95[0] == 0.0


def test_drag_and_no_load_torque_reach_net_energy() -> None:
    """150 kN of drag over the face; 25 kNm of no-load torque over what a revolution bores (derived)."""
    area = np.pi * 6.0**2 / 4
    for spread, expected in (
        ("no_load_sd_kNm", 150 / area / 1000),
        ("drag_sd_kN", 2 * np.pi * 25 / area / 8),
    ):
        found = uncertainties(of(replace(BLOCK, **{spread: 0.0})), M, EXACT)
        assert found["net_specific_energy_MJ_m3"].systematic[0] == pytest.approx(expected)


@pytest.mark.parametrize(
    ("key", "without"),
    [
        (
            "thrust_systematic_percent",
            {"thrust_kN", "net_disc_load_kN", "fpi_kN_per_mm_rev", "thrust_energy_MJ_m3"},
        ),
        (
            "torque_systematic_percent",
            {"torque_kNm", "head_power_kW", "rotary_energy_MJ_m3", "torque_spread_kNm"},
        ),
        ("head_speed_systematic_percent", {"head_speed_rpm", "penetration_mm_rev", "fpi_kN_per_mm_rev"}),
        ("stroke_systematic_percent", {"penetration_mm_rev", "penetration_rate_m_h", "rotary_energy_MJ_m3"}),
        ("bore_systematic_mm", {"thrust_energy_MJ_m3", "rolling_coefficient", "torque_ratio"}),
    ],
)
def test_an_accuracy_not_given_leaves_only_what_depends_on_it_without_uncertainty(
    key: str, without: set[str]
) -> None:
    found = uncertainties(of(BLOCK), M, replace(ACCURACY, **{key: None}))
    missing = {name for name, one in found.items() if np.isnan(one.u95[0])}
    assert without <= missing
    kept = {
        "thrust_kN",
        "torque_kNm",
        "head_speed_rpm",
        "penetration_rate_m_h",
        "segment_reacted_share",
    } - without
    assert not kept & missing


def test_nothing_given_nothing_shown_but_shares_of_advance() -> None:
    found = uncertainties(of(BLOCK), M, Accuracy())
    known = {name for name, one in found.items() if np.isfinite(one.u95[0])}
    assert known == {"segment_reacted_share", "steady_share", "steady_time_share"}


def test_what_is_missing_has_no_uncertainty() -> None:
    found = uncertainties(of(Block(penetration_mm=0.0)), M, ACCURACY)
    for name in ("fpi_kN_per_mm_rev", "specific_energy_MJ_m3", "net_thrust_kN"):
        assert np.isnan(found[name].u95[0])
    assert np.isfinite(found["thrust_kN"].u95[0])


def test_longer_intervals_are_surer() -> None:
    parts = together(sums_of(*[BLOCK] * 9))
    nine = uncertainties({**parts, PIECES: np.array([1.0])}, M, ACCURACY)
    one = uncertainties(of(BLOCK), M, ACCURACY)
    for name, found in one.items():
        if found.random[0] > 0:
            assert nine[name].random[0] < found.random[0], name
            assert nine[name].u95_random[0] < nine[name].u95[0] <= found.u95[0], name
