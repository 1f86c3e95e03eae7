"""Thrust, torque and disc load against what is installed or allowed, with published figures."""

import numpy as np
import pytest

from tbmreview.indicators.capacity import (
    net_disc_load_share_of_limit,
    thrust_share_of_installed,
    torque_share_of_installed,
)
from tests.support.blocks import Block, machine, sums_of, together


@pytest.mark.published("Wang Z. et al., double shields crossing weak zones", "read")
def test_thrust_of_a_jammed_shield() -> None:
    """Wang Z. et al.: 68.97 MN needed of 61.575 MN installed, 1.12010 (read)."""
    sums = sums_of(Block(thrust_kN=68_970.0, installed_kN=61_575.0))
    assert thrust_share_of_installed(sums, machine())[0] == pytest.approx(1.12010, rel=5e-6)


@pytest.mark.published("Wang Z. et al., double shields crossing weak zones", "read")
@pytest.mark.parametrize(("installed", "share"), [(3_550.0, 1.11008), (4_508.0, 0.874179)])
def test_torque_of_a_head_that_does_not_jam(installed: float, share: float) -> None:
    """Wang Z. et al.: 3 940.8 kNm against 3 550 kNm rated and 4 508 kNm at most (read)."""
    sums = sums_of(Block(torque_kNm=3_940.8))
    of = machine(torque_installed_kNm=installed)
    assert torque_share_of_installed(sums, of)[0] == pytest.approx(share, rel=5e-6)


@pytest.mark.published("Roby et al. 2008, NAT, Table 1", "secondary")
@pytest.mark.parametrize(("tonnes", "bearing_t", "share"), [(32, 38, 0.842105), (27, 29, 0.931034)])
def test_load_of_a_disc_against_its_bearing(tonnes: float, bearing_t: float, share: float) -> None:
    """Roby et al. 2008 (secondary): 19-inch discs at 32 of 38 t, 17-inch at 27 of 29 t."""
    sums = sums_of(Block(thrust_kN=40 * tonnes * 9.80665 + 600, drag_kN=600.0))
    of = machine(disc_load_limit_kN=bearing_t * 9.80665)
    assert net_disc_load_share_of_limit(sums, of)[0] == pytest.approx(share, rel=1e-6)


def test_each_set_counts_against_its_own() -> None:
    """Half the time 8 000 of 16 000 kN, half 24 000 of 32 000 kN: 32 000 of 48 000 (derived)."""
    main, aux = Block(thrust_kN=8_000.0), Block(thrust_kN=24_000.0, installed_kN=32_000.0)
    both = together(sums_of(main, aux))
    assert thrust_share_of_installed(both, machine())[0] == pytest.approx(2 / 3)
    unknown = together(sums_of(main, Block(thrust_kN=24_000.0, installed_kN=np.nan)))
    assert np.isnan(thrust_share_of_installed(unknown, machine())[0])
