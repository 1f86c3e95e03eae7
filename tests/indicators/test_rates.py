"""Rates against their definitions."""

import numpy as np
import pytest

from tbmreview.indicators.rates import head_speed_rpm, penetration_mm_rev, penetration_rate_m_h
from tests.support.blocks import Block, machine, sums_of

M = machine()


@pytest.mark.published("definition", "derived")
def test_penetration_and_rate() -> None:
    """v = 48 mm/min, n = 6 rpm: p = 8 mm/rev, PR = 2.88 m/h (universal definition, derived)."""
    sums = sums_of(Block(rpm=6.0, penetration_mm=48 / 6))
    assert penetration_mm_rev(sums, M)[0] == pytest.approx(8.0)
    assert penetration_rate_m_h(sums, M)[0] == pytest.approx(2.88)
    assert head_speed_rpm(sums, M)[0] == pytest.approx(6.0)
    # 0.06 n i0 of a penetration of 2.77778 mm/rev at 6 rpm: 1 m/h.
    assert penetration_rate_m_h(sums_of(Block(penetration_mm=2.77778)), M)[0] == pytest.approx(1.0, rel=2e-6)


@pytest.mark.published("Wang S. et al. 2025, jamming risk, Table 4", "read")
@pytest.mark.parametrize(("v", "n", "p"), [(2.70, 1.11, 2.43243), (11.65, 3.50, 3.32857)])
def test_published_speed_over_head_speed(v: float, n: float, p: float) -> None:
    """Wang S. et al. 2025, Table 4: mean speed over mean head speed (the first is printed as 2.43)."""
    assert penetration_mm_rev(sums_of(Block(rpm=n, penetration_mm=v / n)), M)[0] == pytest.approx(p, rel=1e-5)


@pytest.mark.published("definition", "derived")
def test_a_stroke_takes_its_minutes() -> None:
    """1.5 m at 48 mm/min: 31.25 min of boring (derived)."""
    sums = sums_of(Block(rpm=6.0, penetration_mm=8.0, revolutions=1500 / 8))
    assert sums["boring_s"][0] / 60 == pytest.approx(31.25)
    assert penetration_rate_m_h(sums, M)[0] * 31.25 / 60 == pytest.approx(1.5)


def test_unrecorded_advance_is_left_out_of_rates() -> None:
    sums = sums_of(Block())
    sums = {**sums, "advance_m": sums["advance_m"] + 3.0, "unrecorded_advance_m": np.array([3.0])}
    assert penetration_rate_m_h(sums, M)[0] == pytest.approx(2.88)
    assert penetration_mm_rev(sums, M)[0] == pytest.approx(8.0)


def test_a_head_that_turns_without_advance_has_no_penetration() -> None:
    sums = sums_of(Block(penetration_mm=0.0))
    assert penetration_mm_rev(sums, M).tolist() == [0.0]
    assert penetration_rate_m_h(sums, M).tolist() == [0.0]
