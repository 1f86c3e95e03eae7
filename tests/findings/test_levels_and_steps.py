"""Zones between change points, bounds that snap to them, and steps of level that last."""

import numpy as np
import pytest

from tbmreview.domain.setup import FindingSettings
from tbmreview.drive.detect import profile_of
from tbmreview.findings.detector import Profile
from tbmreview.findings.levels import snap
from tbmreview.findings.penetration_index import off_baseline
from tbmreview.findings.steps import STEPS, steps
from tests.support.bored import bored
from tests.support.cells import setup_of

USUAL = FindingSettings()
GNEISS = (60.0, 225.0, 7.0)
SCHIST = (60.0, 150.0, 9.3)


def ground(*grounds: tuple[float, ...], seed: int = 0, **more: object) -> Profile:
    return profile_of(bored(*grounds, seed=seed, **more))  # type: ignore[arg-type]


@pytest.mark.parametrize("length", [9.0, 24.0, 37.5])
@pytest.mark.parametrize("seed", range(2))
def test_a_zone_is_found_whole_however_long(length: float, seed: int) -> None:
    """Beyond 15 m each place of a zone is like one of its sides; the zone as a whole is not."""
    (found,) = off_baseline(ground(GNEISS, (length, 110.0, 8.0), GNEISS, seed=seed), USUAL)
    assert found.position_from_m == pytest.approx(60.0, abs=0.6)
    assert found.position_to_m == pytest.approx(60.0 + length, abs=0.6)


def test_a_longer_stretch_is_a_rock_of_its_own() -> None:
    profile = ground(GNEISS, (51.0, 110.0, 8.0), GNEISS)
    assert off_baseline(profile, USUAL) == []
    assert len(steps(profile, USUAL)) == 2
    uneven = ground(GNEISS, (37.5, 110.0, 8.0), (13.5, 98.0, 8.0), GNEISS, noise=0.03)
    assert off_baseline(uneven, USUAL) == []  # nor are its parts zones
    long = FindingSettings(zone_longest_m=60.0)
    assert len(off_baseline(profile, long)) == 1


@pytest.mark.parametrize(
    ("load", "found"), [(225 * 1.5, 1), (225 * 1.25, 0), (225 / 1.75, 1), (225 / 1.4, 0)]
)
def test_a_zone_needs_a_contrast_of_some_forty_per_cent(load: float, found: int) -> None:
    torque = 180 + 1320 * load / 225
    assert len(off_baseline(ground(GNEISS, (18.0, load, 7.0, 6.0, torque), GNEISS), USUAL)) == found


def test_ground_between_two_rocks_is_no_zone() -> None:
    """20 m half way between a hard and a soft rock: off either, in opposite directions."""
    rocks = [
        (length, load, 7.0, 6.0, 180 + 6 * load)
        for length, load in ((60.0, 320.0), (21.0, 200.0), (60.0, 125.0))
    ]
    assert off_baseline(ground(*rocks), USUAL) == []


def test_bounds_snap_to_the_changes_near_them() -> None:
    profile = ground(GNEISS, (12.0, 50.0, 9.0), GNEISS)
    assert snap(profile, 58.2, 73.9, USUAL) == (60.0, 72.0)
    assert snap(profile, 20.0, 73.9, USUAL) == (20.0, 72.0)
    assert snap(profile, 59.0, 61.0, USUAL) == (59.0, 61.0)  # both to one change: no interval is left
    even = ground((90.0, 225.0, 7.0))
    assert snap(even, 30.0, 40.0, USUAL) == (30.0, 40.0)
    nothing = even.of_rows(np.zeros(len(even.rows), bool))
    assert snap(nothing, 30.0, 40.0, USUAL) == (30.0, 40.0)
    assert steps(nothing, USUAL) == []


def test_a_change_of_rock_is_a_step_with_size_place_and_interval() -> None:
    (found,) = steps(ground(GNEISS, SCHIST), USUAL)
    assert found.kind == "step in FPI"
    assert found.figures["ratio"] == pytest.approx(150 / 9.3 / (225 / 7), rel=0.03)
    assert found.figures["step_at_m"] == pytest.approx(60.0, abs=0.3)
    assert found.position_from_m <= 60.0 <= found.position_to_m
    assert found.position_to_m - found.position_from_m < 1.5
    assert found.strength > 5
    sigma, bins = found.figures["noise_of_log"], 240
    assert found.figures["penalty"] == pytest.approx(USUAL.step_penalty * sigma**2 * np.log(bins))


def test_a_short_zone_is_no_step_and_hides_none() -> None:
    assert steps(ground(GNEISS, (12.0, 50.0, 9.0), GNEISS), USUAL) == []
    (found,) = steps(ground(GNEISS, (9.0, 50.0, 9.0), SCHIST), USUAL)
    assert found.figures["ratio"] == pytest.approx(0.5, rel=0.05)


@pytest.mark.parametrize(("length", "load", "place"), [(12.0, 185.0, 72.0), (6.0, 115.0, 63.0)])
def test_a_change_in_two_parts_is_one_step(length: float, load: float, place: float) -> None:
    """A small change before the great one is none of its own, nor are two halves of one near each other."""
    soft = (60.0, 80.0, 7.0) if length < 10 else SCHIST
    (found,) = steps(ground(GNEISS, (length, load, 7.0), soft, noise=0.03), USUAL)
    assert found.figures["step_at_m"] == pytest.approx(place, abs=4.0)


@pytest.mark.parametrize("seed", range(3))
def test_even_ground_has_no_step(seed: int) -> None:
    assert steps(ground((150.0, 225.0, 7.0), noise=0.15, seed=seed), USUAL) == []


def test_thrust_set_anew_is_no_step() -> None:
    """The same ground at 0.75 of the load: penetration follows with the power 1 / 0.6, FPI rises to 1.21 times."""
    least = FindingSettings(step_ratio=1.1)
    share = 0.75
    assert steps(ground(GNEISS, (60.0, 225 * share, 7.0 * share ** (1 / 0.6))), least) == []
    (whole,) = steps(ground(GNEISS, (60.0, 225.0, 7.0 / 1.21)), least)
    assert whole.strength == pytest.approx(whole.figures["robust_deviations"])
    (part,) = steps(ground(GNEISS, (60.0, 225 * share, 2.0)), USUAL)
    assert part.strength < 0.9 * part.figures["robust_deviations"]
    assert "Load was 0.75 times that beside it" in part.evidence


def test_evidence_of_a_step_is_read_aloud() -> None:
    (found,) = steps(ground(GNEISS, SCHIST, noise=0.0), USUAL)
    assert found.evidence == (
        "Net FPI falls to 0.50 times at 4+240.0 (between 4+239.8 and 4+240.2) and stays there: 16.1 kN/(mm/rev) after "
        "it against 32.1 before it, over 30 m on either side; half metres scatter by 2 %. Penetration 9.3 mm/rev "
        "against 7.0, disc load 150 kN against 225. These figures give no cause. Compare with the face map and with "
        "the rock that was predicted here."
    )
    assert set(found.figures) > {"ratio", "step_from_m", "step_to_m"}
    assert STEPS.kinds == ("step in FPI",)


def test_steps_follow_the_setup() -> None:
    assert steps(ground(GNEISS, SCHIST), FindingSettings(step_ratio=3.0)) == []
    assert steps(ground((60.0, 225.0, 7.0), (7.5, 100.0, 9.0)), USUAL) == []  # too little ground behind it
    assert len(steps(ground((60.0, 225.0, 7.0), (7.5, 100.0, 9.0)), FindingSettings(step_least_m=5.0))) == 1
    assert setup_of().findings == USUAL
