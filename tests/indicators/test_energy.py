"""Specific energy against Teale's form in several unit systems, and its two routes.

Teale R. 1965, Int. J. Rock Mech. Min. Sci. 2, 57-73: formula from memory (sure); values derived from it.
"""

import numpy as np
import pytest
from scipy import constants

from tbmreview.indicators.energy import (
    energy_per_metre_MJ_m,
    face_area_m2,
    head_power_kW,
    net_specific_energy_MJ_m3,
    rotary_energy_MJ_m3,
    specific_energy_kWh_m3,
    specific_energy_MJ_m3,
    thrust_energy_MJ_m3,
)
from tbmreview.indicators.rates import penetration_rate_m_h
from tests.support.blocks import Block, machine, sums_of, together

M = machine()


@pytest.mark.published("Teale 1965, Int. J. Rock Mech. Min. Sci. 2, 57-73", "memory")
def test_parts_and_total() -> None:
    """D 6 m, F 10 000 kN, T 1 500 kNm, n 6 rpm, p 8 mm/rev: 0.353678 + 41.6667 = 42.0203 MJ/m3."""
    sums = sums_of(Block())
    assert face_area_m2(M) == pytest.approx(28.2743, rel=2e-6)
    assert thrust_energy_MJ_m3(sums, M)[0] == pytest.approx(0.353678, rel=2e-6)
    assert rotary_energy_MJ_m3(sums, M)[0] == pytest.approx(41.6667, rel=2e-6)
    total = specific_energy_MJ_m3(sums, M)[0]
    assert total == pytest.approx(42.0203, rel=2e-6)
    assert specific_energy_kWh_m3(sums, M)[0] == pytest.approx(11.6723, rel=1e-5)
    assert energy_per_metre_MJ_m(sums, M)[0] == pytest.approx(42.0203 * 28.2743, rel=5e-6)
    assert thrust_energy_MJ_m3(sums, M)[0] / total == pytest.approx(0.00841682, rel=1e-5)


@pytest.mark.published("work over time", "derived")
def test_by_way_of_power() -> None:
    """(2 pi n T + F u) over A u: 942.478 + 8 kW over 81.4301 m3/h gives the same."""
    sums = sums_of(Block())
    assert head_power_kW(sums, M)[0] == pytest.approx(942.478, rel=1e-6)
    m3_h = face_area_m2(M) * penetration_rate_m_h(sums, M)[0]
    assert m3_h == pytest.approx(81.4301, rel=1e-6)
    assert (942.478 + 8.0) * 3.6 / m3_h == pytest.approx(specific_energy_MJ_m3(sums, M)[0], rel=1e-6)


@pytest.mark.published("specific energy in the field units of the drilling trade", "memory")
def test_field_units_of_the_drilling_trade() -> None:
    """MSE [psi] = WOB/A + 120 pi N T/(A ROP): 8.5 in, 30 000 lbf, 120 rpm, 5 000 ft lbf, 60 ft/h give
    66 964.7 psi in both unit systems (formula from memory, sure); conversions from scipy.constants."""
    inch, foot, lbf, psi = constants.inch, constants.foot, constants.lbf, constants.psi
    block = Block(
        thrust_kN=30_000 * lbf / 1000,
        torque_kNm=5_000 * foot * lbf / 1000,
        rpm=120.0,
        penetration_mm=60 * foot * 1000 / (120 * 60),
    )
    energy = specific_energy_MJ_m3(sums_of(block), machine(bore_diameter_m=8.5 * inch))[0]
    assert energy * 1e6 / psi == pytest.approx(66_964.7, rel=1e-6)


@pytest.mark.published(
    "control parameters from muck data, Hangzhou second water source, Tables 1 and 3", "read"
)
def test_published_mean_figures_give_their_thrust_part() -> None:
    """Shanling section, Hangzhou second water source, Tables 1 and 3: D 6.0 m, mean F 4 952.66 kN; thrust part
    0.175165 MPa. Head speed is assumed (5.3 rpm), so the rotary part is an order of magnitude."""
    block = Block(thrust_kN=4952.66, torque_kNm=782.96, rpm=5.3, penetration_mm=56.82 / 5.3)
    assert thrust_energy_MJ_m3(sums_of(block), M)[0] == pytest.approx(0.175165, rel=1e-5)
    assert rotary_energy_MJ_m3(sums_of(block), M)[0] == pytest.approx(16.2294, rel=1e-5)


@pytest.mark.published("energy over volume", "derived")
def test_over_a_stroke_energy_is_over_its_volume() -> None:
    """Two blocks of 60 revolutions: 55.8385 and 33.6870 MJ/m3 make 40.0160, not their mean 44.7628."""
    blocks = sums_of(Block(8_000.0, 1_000.0, 6.0, 4.0), Block(10_000.0, 1_500.0, 6.0, 10.0))
    np.testing.assert_allclose(specific_energy_MJ_m3(blocks, M), [55.8385, 33.6870], rtol=2e-6)
    assert specific_energy_MJ_m3(together(blocks), M)[0] == pytest.approx(40.0160, rel=2e-6)


@pytest.mark.published("Gokceoglu 2022", "read")
def test_volume() -> None:
    """Gokceoglu 2022: 8 m bore over 8 000 m, 402 124 m3, printed as 402 000 m3."""
    volume = face_area_m2(machine(bore_diameter_m=8.0)) * 8000
    assert volume == pytest.approx(402_124, abs=0.5)
    assert volume == pytest.approx(402_000, rel=1e-3)


def test_net_leaves_out_drag_and_no_load_work() -> None:
    sums = sums_of(Block(drag_kN=600.0, no_load_kNm=180.0))
    less = sums_of(Block(thrust_kN=9_400.0, torque_kNm=1_320.0))
    assert net_specific_energy_MJ_m3(sums, M)[0] == pytest.approx(specific_energy_MJ_m3(less, M)[0])
    assert np.isnan(net_specific_energy_MJ_m3(sums_of(Block(drag_kN=600.0)), M)[0])


def test_without_advance_energy_is_missing_not_infinite() -> None:
    assert np.isnan(specific_energy_MJ_m3(sums_of(Block(penetration_mm=0.0)), M)[0])
