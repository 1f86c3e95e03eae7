"""Groups of findings that may have one cause; hours of channels at fault are left out; every detector together."""

import numpy as np
import pytest

from tbmreview.domain.findings import Finding
from tbmreview.domain.setup import FindingSettings
from tbmreview.drive.detect import profile_of
from tbmreview.findings.channel_health import STUCK
from tbmreview.findings.detector import OF_LOAD, OF_TORQUE
from tbmreview.findings.grouping import WAY, grouped
from tbmreview.findings.health import SERIES
from tbmreview.findings.registry import GROUND_KINDS, detect_all
from tbmreview.findings.trusted import trusted
from tests.support.bored import bored

EVEN = (45.0, 225.0, 7.0)


def test_the_way_is_told_of_kinds_that_there_are() -> None:
    assert set(WAY) <= set(GROUND_KINDS)


def at(kind: str, low: float, high: float) -> Finding:
    return Finding(kind, low, high, 0, 1, 1.0, "")


def groups(*findings: Finding, within_m: float = 3.0) -> list[str]:
    return [f.group for f in grouped(findings, GROUND_KINDS, within_m)]


def test_neighbours_that_agree_are_one_group_named_by_its_first() -> None:
    low, energy, spread = (
        at("FPI low", 10, 20),
        at("specific energy low", 11, 19),
        at("torque spread high", 22, 25),
    )
    assert groups(low, energy, spread) == ["0", "0", "0"]
    assert groups(at("step in FPI", 2, 3), low, energy, at("FPI low", 24, 26)) == ["", "1", "1", ""]
    assert groups(low, spread, within_m=1.0) == ["", ""]


def test_findings_that_speak_against_each_other_are_apart() -> None:
    soft, hard = at("FPI low", 10, 20), at("FPI high", 21, 25)
    assert groups(soft, hard) == ["", ""]
    assert groups(soft, hard, at("penetration low", 22, 24)) == ["", "1", "1"]
    assert groups(at("held", 10, 12), soft) == ["", ""]  # of another family
    assert set(WAY) <= set(GROUND_KINDS)


def test_a_zone_has_one_group_and_each_finding_its_own_evidence() -> None:
    profile = profile_of(bored(EVEN, (12.0, 60.0, 12.0, 4.0, 500.0), EVEN))
    found = detect_all(profile, FindingSettings())
    assert {"FPI low", "specific energy low", "penetration high"} <= {f.kind for f in found}
    assert {f.group for f in found} == {"0"}
    assert len({f.evidence for f in found}) == len(found)
    assert all("head speed set anew from 6.0 to 4.0 rpm" in f.evidence for f in found)
    left = detect_all(profile, FindingSettings(left_out=("specific energy low", "penetration high")))
    assert {f.kind for f in left}.isdisjoint({"specific energy low", "penetration high"})


@pytest.mark.parametrize(
    ("channel", "kind", "of_load", "of_torque"),
    [
        ("main_thrust_kN", STUCK, True, True),
        ("torque_kNm", STUCK, False, True),
        ("water_l_min", STUCK, False, False),
        ("main_thrust_kN", "channel drifts", False, False),
    ],
)
def test_hours_of_a_channel_at_fault_are_left_out_of_what_rests_on_it(
    channel: str, kind: str, of_load: bool, of_torque: bool
) -> None:
    profile = profile_of(bored(EVEN, (12.0, 60.0, 12.0), EVEN))
    rows = profile.rows
    inside = (rows["position_from_m"] > 44.9) & (rows["position_to_m"] < 57.1)
    span = int(rows["start_us"][inside].min()), int(rows["end_us"][inside].max())
    fault = Finding(kind, 45, 57, *span, 1.0, "", {"series": float(SERIES.index(channel))})
    for channels, left_out in ((OF_LOAD, of_load), (OF_TORQUE, of_torque)):
        kept = trusted(profile, [fault], channels)
        gone = len(rows) - len(kept.rows)
        assert gone == pytest.approx(np.count_nonzero(inside), abs=2) if left_out else gone == 0
        assert kept.over(np.ones(len(kept.rows), bool))["penetration_mm_rev"] == pytest.approx(
            7.0 if left_out else 7.4, abs=0.2
        )


def test_a_part_of_a_profile_has_the_figures_of_its_rows() -> None:
    profile = profile_of(bored(EVEN, (12.0, 60.0, 12.0), EVEN, noise=0.0))
    part = profile.of_rows(profile.rows["penetration_mm_rev"] > 8)
    assert part.over(np.ones(len(part.rows), bool))["penetration_mm_rev"] == pytest.approx(12.0)
