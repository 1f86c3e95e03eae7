"""Torque indices, rolling coefficient and boreability index at 1 mm/rev against published values."""

import numpy as np
import pytest

from tbmreview.indicators.boreability import rolling_over_normal
from tbmreview.indicators.cutting import (
    boreability_index_1mm_kN_per_mm_rev,
    net_boreability_index_1mm_kN_per_mm_rev,
    net_rolling_coefficient,
    rolling_coefficient,
    torque_coefficient_kN_m2,
    tpi_per_disc_kNm_per_mm_rev,
)
from tests.support.blocks import Block, machine, sums_of

M = machine()


@pytest.mark.published("torque indices per disc and over D cubed", "memory")
def test_torque_indices_by_their_definitions() -> None:
    """T 1 500, p 8, N 40, D 6: (b) 4.6875, (c) 6.94444 kN/m2 (definitions from memory, unconfirmed)."""
    assert tpi_per_disc_kNm_per_mm_rev(sums_of(Block()), M)[0] == pytest.approx(4.6875)
    assert torque_coefficient_kN_m2(sums_of(Block()), M)[0] == pytest.approx(6.94444, rel=1e-6)


@pytest.mark.published("Wang S. et al. 2025, jamming risk, Table 4", "derived")
def test_published_means_give_torque_per_disc_and_penetration() -> None:
    """Wang S. et al. 2025, Table 4 with 57 discs: T/(N p) = 9.88413 of the normal set (derived from its printed
    means; the mean index printed is 10.44)."""
    sums = sums_of(Block(torque_kNm=1938.08, penetration_mm=3.44))
    assert tpi_per_disc_kNm_per_mm_rev(sums, machine(disc_count=57))[0] == pytest.approx(9.88413, rel=1e-6)


@pytest.mark.published("torque ratio solved for the rolling coefficient", "derived")
def test_rolling_coefficient() -> None:
    """T 1 500, M0 100, D 6, F 10 000: 0.0777778; 0.0833333 with M0 left in (derived from the torque ratio)."""
    sums = sums_of(Block(no_load_kNm=100.0, drag_kN=0.0))
    assert net_rolling_coefficient(sums, M)[0] == pytest.approx(0.0777778, rel=1e-6)
    assert rolling_coefficient(sums, M)[0] == pytest.approx(0.0833333, rel=1e-6)


@pytest.mark.published("Wang Z. et al., double shields crossing weak zones", "derived")
@pytest.mark.parametrize(
    ("lever_m", "diameter_m"), [(2.03066, 9.13)], ids=["published numerical model of a double shield"]
)
def test_lever_arm_of_a_published_example(lever_m: float, diameter_m: float) -> None:
    """Wang Z. et al.: 7 070 kN and 1 816 kNm; with p 7.6 mm and 482.6 mm discs rolling over normal is
    tan(a / 2), and the lever arm that this implies is 2.03066 m, 0.222 D (derived from read figures)."""
    share = lever_m / diameter_m
    assert share == pytest.approx(0.222, abs=5e-4)
    sums = sums_of(Block(thrust_kN=7070.0, torque_kNm=1816.0))
    of = machine(bore_diameter_m=diameter_m, disc_lever_arm=share)
    expected = rolling_over_normal(np.array([7.6]), 482.6)[0]
    assert rolling_coefficient(sums, of)[0] == pytest.approx(expected, rel=1e-5)


@pytest.mark.published("geometry of a disc", "derived")
def test_direction_of_the_resultant() -> None:
    """d 483 mm, p 8 mm: tan(a / 2) = 0.129777 = sqrt(p / (d - p)); about sqrt(p / d) = 0.128698 (derived)."""
    found = rolling_over_normal(np.array([8.0]), 483.0)[0]
    assert found == pytest.approx(0.129777, rel=5e-6)
    assert found == pytest.approx(np.sqrt(8 / (483 - 8)), rel=1e-12)
    assert np.sqrt(8 / 483) == pytest.approx(0.128698, rel=5e-6)


@pytest.mark.published("Gong and Zhao 2009, IJRMMS 46, 8-18", "memory")
@pytest.mark.parametrize(("load", "p"), [(34.3494 * 8, 8.0), (250.0, 5.48039)])
def test_boreability_index_at_one_millimetre(load: float, p: float) -> None:
    """UCS 150, Bi 15, Jv 5, alpha 45: 163.394, whether from the index at 8 mm/rev or from Fn 250 kN (Gong & Zhao
    2009, coefficients from memory, unconfirmed)."""
    sums = sums_of(Block(thrust_kN=40 * load + 600, drag_kN=600.0, penetration_mm=p))
    assert net_boreability_index_1mm_kN_per_mm_rev(sums, M)[0] == pytest.approx(163.394, rel=1e-5)


def test_at_one_millimetre_the_index_is_the_load() -> None:
    sums = sums_of(Block(penetration_mm=1.0))
    assert boreability_index_1mm_kN_per_mm_rev(sums, M)[0] == pytest.approx(250.0)


@pytest.mark.parametrize("drag", [10_000.0, 12_000.0, np.nan])
def test_without_net_thrust_no_net_rolling_coefficient(drag: float) -> None:
    assert np.isnan(net_rolling_coefficient(sums_of(Block(drag_kN=drag, no_load_kNm=180.0)), M)[0])
