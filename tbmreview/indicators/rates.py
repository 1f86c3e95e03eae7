"""Rates: head speed, penetration, penetration rate."""

from tbmreview.domain.setup import Machine
from tbmreview.indicators.record import Floats, Indicator, Sums, ratio, shared


def head_speed_rpm(sums: Sums, machine: Machine) -> Floats:
    """Revolutions over the boring time with head speed measured, (n,) [rpm]."""
    return ratio(sums["revolutions"], sums["turned_s"]) * 60.0


@shared
def penetration_mm_rev(sums: Sums, machine: Machine) -> Floats:
    """Recorded advance over revolutions, both where head speed was measured, (n,) [mm/rev]. 0 where the
    head turned without advance; NaN where it did not turn."""
    return ratio(sums["turned_advance_m"], sums["revolutions"]) * 1000.0


def penetration_rate_m_h(sums: Sums, machine: Machine) -> Floats:
    """Recorded advance over boring time, (n,) [m/h]."""
    return ratio(sums["advance_m"] - sums["unrecorded_advance_m"], sums["boring_s"]) * 3600.0


HEAD_SPEED = Indicator(
    "head_speed_rpm",
    "Head speed",
    "n",
    "rpm",
    "rates",
    "revolutions over boring time",
    "definition",
    ("revolutions", "turned_s"),
    2,
    head_speed_rpm,
)
PENETRATION = Indicator(
    "penetration_mm_rev",
    "Penetration",
    "p",
    "mm/rev",
    "rates",
    "recorded advance over revolutions",
    "definition, common practice",
    ("turned_advance_m", "revolutions"),
    2,
    penetration_mm_rev,
)
PENETRATION_RATE = Indicator(
    "penetration_rate_m_h",
    "Penetration rate",
    "PR",
    "m/h",
    "rates",
    "recorded advance over boring time",
    "definition, common practice",
    ("advance_m", "unrecorded_advance_m", "boring_s"),
    2,
    penetration_rate_m_h,
)
