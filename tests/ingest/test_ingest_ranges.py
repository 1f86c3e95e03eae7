"""What a machine can read: published figures are taken for possible, and a wrong unit is not."""

import numpy as np
import pytest

from tbmreview.ingest.ranges import range_fault

PUBLISHED = [
    ("main_thrust_kN", 2_105.0, 9_127.0),
    ("torque_kNm", 222.0, 1_327.0),
    ("advance_speed_mm_min", 25.9, 95.6),
    ("advance_speed_mm_min", 5.5, 120.0),
    ("main_thrust_kN", 16_076.0, 46_509.0),
    ("torque_kNm", 582.0, 2_525.6),
    ("penetration_mm_rev", 0.94, 19.24),
]


@pytest.mark.published(
    "control parameters from muck data, Hangzhou second water source, Tables 1 and 3", "read"
)
@pytest.mark.published("Gokceoglu 2022, Table 2", "read")
@pytest.mark.published("Wang S. et al. 2025, jamming risk, Table 4", "derived")
@pytest.mark.parametrize(("channel", "low", "high"), PUBLISHED)
def test_figures_of_published_machines_are_possible(channel: str, low: float, high: float) -> None:
    """Ranges as read; of Wang S. et al. from the least mean less its standard deviation to the greatest mean and its
    own, of jammed and normal boring (derived)."""
    values = np.linspace(low, high, 200)
    assert range_fault(channel, values, None, in_use=True) == ""
    assert range_fault(channel, values / 10_000, None, in_use=True) != ""
