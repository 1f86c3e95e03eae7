"""A plane and a face: angles of the trade's worked case, and geometry by points on the rim."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tbmreview.domain.planes import FLATTEST_DEG, between_deg, reach_m


def test_at_45_degrees_a_plane_needs_one_bore_to_cross_the_face() -> None:
    between = between_deg(45.0, 0.0, 0.0)
    assert between == pytest.approx(45.0)
    assert 2 * reach_m(between, 6.4) == pytest.approx(6.4)


def test_across_the_axis_all_at_once_and_along_it_never() -> None:
    assert reach_m(between_deg(90.0, 90.0, 90.0), 6.4) == pytest.approx(0.0, abs=1e-12)
    assert between_deg(0.0, 0.0, 30.0) == pytest.approx(0.0, abs=1e-9)  # flat lying, level drive
    assert math.isnan(reach_m(FLATTEST_DEG / 2, 6.4))
    assert math.isnan(reach_m(math.nan, 6.4))


@given(st.floats(1, 90), st.floats(0, 360), st.floats(0, 360), st.floats(-10, 10))
def test_the_reach_is_that_of_the_farthest_point_of_the_rim(
    dip: float, direction: float, azimuth: float, plunge: float
) -> None:
    between = between_deg(dip, direction, azimuth, plunge)
    if between < 5:
        return
    a, p = math.radians(azimuth), math.radians(plunge)
    axis = np.array([math.cos(p) * math.sin(a), math.cos(p) * math.cos(a), -math.sin(p)])
    side = np.array([math.cos(a), -math.sin(a), 0.0])
    up = np.cross(side, axis)
    d, w = math.radians(dip), math.radians(direction)
    pole = np.array([math.sin(d) * math.sin(w), math.sin(d) * math.cos(w), math.cos(d)])
    turn = np.linspace(0, 2 * math.pi, 20_001)
    rim = 3.2 * (np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * up)
    along = -(rim @ pole) / (axis @ pole)  # where the axis has the rim's point on the plane
    assert along.max() == pytest.approx(reach_m(between, 6.4), rel=1e-6, abs=1e-9)
