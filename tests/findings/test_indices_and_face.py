"""Specific energy, torque ratio and penetration off their baselines; uneven torque; load near its limit."""

from dataclasses import replace

import numpy as np
import pytest

from tbmreview.domain.findings import Finding
from tbmreview.domain.setup import FindingSettings
from tbmreview.drive.detect import profile_of
from tbmreview.findings.detector import Profile
from tbmreview.findings.face import load_near_limit, uneven_torque
from tbmreview.findings.indices import ENERGY, PENETRATION, TORQUE_RATIO, Index, off_baseline
from tests.support.bored import bored
from tests.support.cells import MACHINE, TableDrive, setup_of

USUAL = FindingSettings()
EVEN = (45.0, 225.0, 7.0)
LIMITED = setup_of(machine=replace(MACHINE, disc_load_limit_kN=312.0))


def found(index: Index, *inside: float, **more: object) -> list[Finding]:
    drive = bored(EVEN, (12.0, *inside), EVEN, **more)  # type: ignore[arg-type]
    return off_baseline(index, profile_of(drive), USUAL)


def test_each_index_is_found_where_it_is_off() -> None:
    (energy,) = found(ENERGY, 60.0, 9.0, 4.0, 500.0)
    (torque,) = found(TORQUE_RATIO, 225.0, 7.0, 4.0, 2600.0)
    (penetration,) = found(PENETRATION, 225.0, 12.0)
    assert [f.kind for f in (energy, torque, penetration)] == [
        "specific energy low", "torque ratio high", "penetration high",
    ]  # fmt: skip
    for one in (energy, torque, penetration):
        assert one.position_from_m == pytest.approx(45.0, abs=0.3)
        assert one.position_to_m == pytest.approx(57.0, abs=0.3)
    net = (500 - 180) / (1500 - 180) * 7 / 9  # thrust adds little to the energy
    assert energy.figures["ratio"] == pytest.approx(net, rel=0.1)
    assert penetration.figures["ratio"] == pytest.approx(12 / 7, rel=0.02)
    assert energy.figures["torque_kNm"] == pytest.approx(500.0)
    assert energy.figures["baseline_torque_kNm"] == pytest.approx(1500.0)


@pytest.mark.parametrize("index", [ENERGY, TORQUE_RATIO, PENETRATION], ids=lambda index: index.key)
@pytest.mark.parametrize("seed", range(2))
def test_even_ground_and_a_change_of_rock_are_off_nothing(index: Index, seed: int) -> None:
    drive = bored((60.0, 225.0, 7.0), (60.0, 150.0, 12.0, 6.0, 3000.0), noise=0.1, seed=seed)
    assert off_baseline(index, profile_of(drive), USUAL) == []


def test_penetration_and_energy_at_another_load_are_no_ground() -> None:
    share = 0.6
    penetration = 7.0 * share ** (1 / 0.45)
    torque = 180 + 1320 * share * (penetration / 7) ** 0.5
    assert found(PENETRATION, 225 * share, penetration, 6.0, torque) == []
    assert found(ENERGY, 225 * share, penetration, 6.0, torque) == []
    assert [f.kind for f in found(PENETRATION, 225.0, penetration, 6.0, 1500.0)] == ["penetration low"]


def test_a_low_torque_ratio_under_more_thrust_may_be_drag() -> None:
    assert found(TORQUE_RATIO, 450.0, 7.0) == []
    assert [f.kind for f in found(TORQUE_RATIO, 225.0, 7.0, 6.0, 750.0)] == ["torque ratio low"]


def test_without_a_no_load_torque_there_is_no_torque_ratio() -> None:
    unknown = setup_of(machine=replace(MACHINE, no_load_torque_kNm=None))
    assert found(TORQUE_RATIO, 225.0, 7.0, 6.0, 3000.0, setup=unknown) == []
    (gross,) = found(ENERGY, 60.0, 9.0, 4.0, 500.0, setup=unknown)
    assert gross.evidence.startswith("Gross specific energy")


def test_evidence_of_an_index_is_read_aloud() -> None:
    (one,) = found(PENETRATION, 225.0, 12.0, noise=0.0)
    assert one.evidence == (
        "Penetration 12.0 mm/rev over 12.0 m, 4+225.0 to 4+237.0: 1.71 times the 7.0 of the 30 m bored before it, the more "
        "similar side, which scatters by 2 %. Torque 1500 kNm against 1500, disc load 225 kN against 225. Reaction: "
        "grippers 50 % and ring 50 %. These figures give no cause. Compare with face map and muck."
    )


def shaken(share: float, low: float = 45.0, high: float = 57.0, usual: float = 0.04) -> Profile:
    """Even ground; between two positions torque varies by a share of its mean, elsewhere by its usual share."""
    drive = bored(EVEN, (12.0, 225.0, 7.0), EVEN, seed=1)
    cells = drive.cells
    inside = (cells["position_from_m"] >= low) & (cells["position_to_m"] <= high + 1e-6)
    spread = np.where(inside, share, usual) * np.exp(np.random.default_rng(2).normal(0, 0.2, len(cells)))
    square = 1500.0**2 * (1 + spread**2) * cells["torque_s"]
    step = (1500.0 * spread) ** 2 * cells["torque_s"]
    uneven = cells.with_columns({"torque_kNm2_s": square, "torque_step_kNm2_s": step})
    return profile_of(replace(drive, cells=uneven))


def test_uneven_torque_is_found_with_its_share() -> None:
    (one,) = uneven_torque(shaken(0.25), USUAL)
    assert one.kind == "torque spread high"
    assert (one.position_from_m, one.position_to_m) == pytest.approx((45.0, 57.0), abs=0.3)
    assert one.figures["torque_spread_share"] == pytest.approx(0.25, rel=0.1)
    assert one.figures["torque_roughness_kNm"] == pytest.approx(1500 * 0.25, rel=0.1)
    assert one.evidence.startswith("Torque varies by 24 % of its mean within a decimetre over 12.0 m")
    (whole,) = uneven_torque(shaken(0.25, 42.0, 63.0), USUAL)  # longer than half a window
    assert whole.position_to_m - whole.position_from_m == pytest.approx(21.0, abs=1.0)


@pytest.mark.parametrize(("share", "usual"), [(0.04, 0.04), (0.10, 0.04), (0.13, 0.4)])
def test_smooth_torque_is_not_uneven_however_much_it_changes(share: float, usual: float) -> None:
    assert uneven_torque(shaken(share, usual=usual), USUAL) == []


def massive(*inside: float, setup: object = LIMITED) -> list[Finding]:
    drive: TableDrive = bored(EVEN, (12.0, *inside), EVEN, setup=setup)  # type: ignore[arg-type]
    return load_near_limit(profile_of(drive), drive.setup.findings)


def test_load_near_the_discs_limit_at_little_penetration() -> None:
    (one,) = massive(300.0, 3.0)
    assert one.kind == "disc load near limit"
    assert one.figures["load_share"] == pytest.approx(300 / 312, rel=0.01)
    assert (one.position_from_m, one.position_to_m) == pytest.approx((45.0, 57.0), abs=0.2)
    assert one.evidence.startswith(
        "Net disc load 300 kN, 96 % of the 312 kN that a disc may carry, at 3.0 mm/rev over"
    )
    assert "advise" not in one.evidence


@pytest.mark.parametrize("inside", [(250.0, 3.0), (300.0, 6.0), (300.0, 3.0, 6.0, 600.0)])
def test_less_load_more_penetration_or_load_without_torque_is_none(inside: tuple[float, ...]) -> None:
    assert massive(*inside) == []


def test_without_a_limit_nothing_is_near_it() -> None:
    assert massive(300.0, 3.0, setup=setup_of()) == []
