"""Field penetration index, torque penetration index and torque ratio against published values."""

import numpy as np
import pytest

from tbmreview.domain.setup import Machine
from tbmreview.indicators.boreability import (
    fpi_kN_per_mm_rev,
    net_fpi_kN_per_mm_rev,
    torque_ratio,
    tpi_kNm_per_mm_rev,
)
from tests.support.blocks import Block, machine, sums_of, together

M = machine()


@pytest.mark.published("doi 10.1007/s40948-023-00603-6; Nelson 1983", "abstract")
def test_fpi() -> None:
    """F 10 000 kN, 40 discs, p 8: FPI 31.25; 29.375 without 600 kN of friction.

    Definition as in the abstract of doi 10.1007/s40948-023-00603-6 (individual cutter force over
    penetration per revolution); origin Nelson 1983.
    """
    sums = sums_of(Block(drag_kN=600.0))
    assert fpi_kN_per_mm_rev(sums, M)[0] == pytest.approx(31.25)
    assert net_fpi_kN_per_mm_rev(sums, M)[0] == pytest.approx(29.375)


@pytest.mark.published("ratio of means", "derived")
def test_fpi_of_an_interval_is_no_mean_of_indices() -> None:
    """Samples (Fn, p) = (200, 4), (250, 10) of equal time: ratio of means 32.1429, not 37.5 (derived)."""
    both = together(
        sums_of(Block(thrust_kN=8000.0, penetration_mm=4.0), Block(thrust_kN=10_000.0, penetration_mm=10.0))
    )
    assert fpi_kN_per_mm_rev(both, M)[0] == pytest.approx(32.1429, rel=2e-6)


@pytest.mark.published("torque penetration index of the whole head", "memory")
def test_tpi() -> None:
    """T 1 500, p 8: definition (a) 187.5 kNm/(mm/rev) (from memory, unconfirmed)."""
    assert tpi_kNm_per_mm_rev(sums_of(Block()), M)[0] == pytest.approx(187.5)


@pytest.mark.published("Wang S. et al. 2025, jamming risk, Table 4", "derived")
def test_published_means_give_thrust_per_disc_and_penetration() -> None:
    """Wang S. et al. 2025, Table 4 with 57 discs: F/(N p) = 106.405 of the normal set (derived from its
    printed means)."""
    sums = sums_of(Block(thrust_kN=20_863.98, penetration_mm=3.44))
    assert fpi_kN_per_mm_rev(sums, machine(disc_count=57))[0] == pytest.approx(106.405, rel=1e-5)


# Companion material of Erharter et al., which attributes the method to OENORM B 2203-2 (secondary): machine
# constants of its three sets.
SET_A = machine(bore_diameter_m=7.0, disc_count=50, disc_diameter_mm=482.6)
SET_B = machine(bore_diameter_m=10.0, disc_count=70, disc_diameter_mm=482.6)
SET_C = machine(bore_diameter_m=9.0, disc_count=60, disc_diameter_mm=482.6)


@pytest.mark.published("Erharter et al., companion material, after OENORM B 2203-2", "secondary")
@pytest.mark.parametrize(
    ("of", "thrust", "p", "no_load", "expected"),
    [
        (SET_A, 10_000.0, 8.0, 180.0, 2906.47),
        (SET_A, 9_000.0, 12.0, 180.0, 3198.05),
        (SET_A, 10_000.0, 0.0, 180.0, 180.0),
        (SET_B, 16_000.0, 8.0, 400.0, 6631.93),
        (SET_C, 12_000.0, 8.0, 220.0, 4426.55),
    ],
)
def test_torque_of_rolling_discs(
    of: Machine, thrust: float, p: float, no_load: float, expected: float
) -> None:
    """A torque equal to the expected one gives a ratio of 1; no advance leaves the no-load torque (secondary)."""
    sums = sums_of(Block(thrust_kN=thrust, penetration_mm=p, torque_kNm=expected, no_load_kNm=no_load))
    assert torque_ratio(sums, of)[0] == pytest.approx(1.0, rel=2e-6)


@pytest.mark.published("Erharter et al., companion material, after OENORM B 2203-2", "secondary")
@pytest.mark.parametrize(("torque", "ratio"), [(1500.0, 0.516090), (1000.0, 0.344060), (2000.0, 0.688120)])
def test_torque_ratio(torque: float, ratio: float) -> None:
    """Set A, F 10 000, p 8: regular (0.35 to 0.57), below and above (secondary)."""
    sums = sums_of(Block(torque_kNm=torque, no_load_kNm=180.0))
    assert torque_ratio(sums, SET_A)[0] == pytest.approx(ratio, rel=2e-6)


def test_torque_ratio_needs_disc_diameter_and_no_load_torque() -> None:
    assert np.isnan(torque_ratio(sums_of(Block(no_load_kNm=180.0)), machine(disc_diameter_mm=None))[0])
    assert np.isnan(torque_ratio(sums_of(Block()), M)[0])


def test_the_lever_arm_is_the_machines() -> None:
    sums = sums_of(Block(no_load_kNm=0.0))
    half = torque_ratio(sums, machine(disc_lever_arm=0.15))[0]
    assert half == pytest.approx(2 * torque_ratio(sums, machine(disc_lever_arm=0.30))[0])


def test_no_advance_leaves_the_indices_missing() -> None:
    sums = sums_of(Block(penetration_mm=0.0, drag_kN=600.0))
    for index in (fpi_kN_per_mm_rev, net_fpi_kN_per_mm_rev, tpi_kNm_per_mm_rev):
        assert np.isnan(index(sums, M)[0])
