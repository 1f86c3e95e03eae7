"""Thrust, torque and disc load, gross and net."""

import numpy as np
import pytest

from tbmreview.indicators.load import (
    disc_load_kN,
    net_disc_load_kN,
    net_thrust_high_kN,
    net_thrust_kN,
    net_thrust_low_kN,
    net_torque_kNm,
    thrust_kN,
    torque_kNm,
)
from tests.support.blocks import Block, machine, sums_of, together

M = machine()


@pytest.mark.published("definition; Nelson 1983", "derived")
def test_disc_load() -> None:
    """10 000 kN on 40 discs: 250 kN; 235 kN without 600 kN of friction (definition; Nelson 1983)."""
    sums = sums_of(Block(drag_kN=600.0))
    assert disc_load_kN(sums, M)[0] == pytest.approx(250.0)
    assert net_disc_load_kN(sums, M)[0] == pytest.approx(235.0)
    assert net_thrust_kN(sums, M)[0] == pytest.approx(9400.0)


@pytest.mark.published("Wang Z. et al., double shields crossing weak zones", "read")
def test_published_total_over_discs() -> None:
    """Wang Z. et al.: 7 070 kN on 53 discs, printed per disc 133.396 kN."""
    sums = sums_of(Block(thrust_kN=7070.0))
    assert disc_load_kN(sums, machine(disc_count=53))[0] == pytest.approx(133.396, abs=5e-4)


def test_thrust_and_torque_are_means_over_time() -> None:
    slow, fast = (
        Block(thrust_kN=6000.0, torque_kNm=900.0, rpm=3.0),
        Block(thrust_kN=9000.0, torque_kNm=1800.0, rpm=6.0),
    )
    both = together(sums_of(slow, fast))
    assert thrust_kN(both, M)[0] == pytest.approx((2 * 6000 + 9000) / 3)
    assert torque_kNm(both, M)[0] == pytest.approx((2 * 900 + 1800) / 3)


def test_net_is_never_clipped() -> None:
    sums = sums_of(Block(thrust_kN=2000.0, drag_kN=2500.0, torque_kNm=100.0, no_load_kNm=180.0))
    assert net_thrust_kN(sums, M)[0] == pytest.approx(-500.0)
    assert net_torque_kNm(sums, M)[0] == pytest.approx(-80.0)


def test_net_is_missing_where_drag_is_not_known() -> None:
    sums = sums_of(Block())
    assert np.isnan(net_thrust_kN(sums, M)[0])
    assert thrust_kN(sums, M)[0] == pytest.approx(10_000.0)


def test_the_interval_adds_drag_all_along_and_sampling_at_random() -> None:
    """1.96 deviations of the mean (handbook value of the normal distribution); four blocks alike keep the
    deviation of drag and halve that of sampling."""
    one = sums_of(Block(drag_kN=600.0, drag_sd_kN=30.0, thrust_var_kN2_s=600 * 40.0**2))
    low, high = net_thrust_low_kN(one, M)[0], net_thrust_high_kN(one, M)[0]
    assert (low, high) == pytest.approx((9400 - 1.96 * 50, 9400 + 1.96 * 50))
    four = together({name: np.repeat(values, 4) for name, values in one.items()})
    assert net_thrust_high_kN(four, M)[0] == pytest.approx(9400 + 1.96 * np.hypot(30, 20))
