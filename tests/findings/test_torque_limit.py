"""Torque near what is installed."""

from dataclasses import replace

import pytest

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.findings.torque_limit import torque_near_limit
from tests.support.stroke_profile import MACHINE, profile_of_strokes

HIGH = {"torque_kNm": {20: 2850.0, 21: 2850.0}}


def test_torque_near_installed_torque_is_found_where_it_is() -> None:
    (found,) = torque_near_limit(profile_of_strokes(40, HIGH), FindingSettings())
    assert (found.position_from_m, found.position_to_m) == pytest.approx((30.0, 33.0))
    assert "Torque 2850 kNm, 95 % of the 3000 kNm installed, over 3.0 m, 4+210.0 to 4+213.0" in found.evidence
    assert "at this head speed" in found.evidence


def test_none_without_a_limit_or_below_it() -> None:
    bare = replace(MACHINE, torque_installed_kNm=None)
    assert not torque_near_limit(profile_of_strokes(40, HIGH, machine=bare), FindingSettings())
    assert not torque_near_limit(profile_of_strokes(40, {}), FindingSettings())
