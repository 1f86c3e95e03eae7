"""Spread, roughness and steady share against their definitions and against numpy."""

import numpy as np
import pytest

from tbmreview.indicators.evenness import (
    penetration_roughness_mm_rev,
    penetration_spread_mm_rev,
    steady_share,
    steady_time_share,
    torque_roughness_kNm,
    torque_spread_kNm,
)
from tests.support.blocks import Block, machine, sums_of, together

M = machine()


def test_spread_of_two_levels() -> None:
    """1 400 and 1 600 kNm for the same time: deviation 100 kNm about 1 500 (numpy.std); none within either."""
    sums = sums_of(Block(torque_kNm=1400.0), Block(torque_kNm=1600.0))
    assert torque_spread_kNm(sums, M).tolist() == [0.0, 0.0]
    assert torque_spread_kNm(together(sums), M)[0] == pytest.approx(np.std([1400.0, 1600.0]))
    assert torque_roughness_kNm(together(sums), M)[0] == 0.0  # neither changes from sample to sample


def test_spread_of_parts_and_between_them_add_as_squares() -> None:
    sums = sums_of(*(Block(penetration_mm=p, spread_mm=0.3, rpm=6 * p / 8) for p in (7.6, 8.4)))
    weights = sums["penetration_s"] / sums["penetration_s"].sum()
    means = np.array([7.6, 8.4])
    between = np.sum(weights * means**2) - np.sum(weights * means) ** 2
    found = penetration_spread_mm_rev(together(sums), M)[0]
    assert found == pytest.approx(np.sqrt(between + 0.3**2))
    assert penetration_roughness_mm_rev(together(sums), M)[0] == pytest.approx(0.3)


def test_steady_share_by_advance_and_by_time() -> None:
    parts = sums_of(Block(steady=1.0, penetration_mm=9.0), Block(steady=0.0, penetration_mm=3.0))
    assert steady_share(together(parts), M)[0] == pytest.approx(0.75)
    assert steady_time_share(together(parts), M)[0] == pytest.approx(0.5)
