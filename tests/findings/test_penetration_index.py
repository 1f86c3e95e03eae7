"""FPI off its baseline: found where it is, not where only the rock, the noise or the drag changes."""

from dataclasses import replace

import numpy as np
import pytest

from tbmreview.domain.findings import Finding
from tbmreview.domain.setup import FindingSettings, Setup
from tbmreview.domain.states import Phase, Reaction
from tbmreview.domain.table import Table
from tbmreview.drive.detect import profile_of
from tbmreview.findings.penetration_index import off_baseline
from tbmreview.findings.registry import DETECTORS, detect_all
from tests.support.bored import SETUP, bored
from tests.support.cells import START_US, TableDrive, setup_of


def noticed(drive: TableDrive) -> list[Finding]:
    return off_baseline(profile_of(drive), drive.setup.findings)


GNEISS = (60.0, 225.0, 7.0)
FAULT = (12.0, 50.0, 9.0)


def test_a_fault_is_found_with_its_bounds_and_figures() -> None:
    (found,) = noticed(bored(GNEISS, FAULT, GNEISS))
    assert found.kind == "FPI low"
    assert found.position_from_m == pytest.approx(60.0, abs=0.3)
    assert found.position_to_m == pytest.approx(72.0, abs=0.3)
    figures = found.figures
    assert figures["fpi_kN_per_mm_rev"] == pytest.approx(50 / 9, rel=0.02)
    assert figures["baseline_fpi_kN_per_mm_rev"] == pytest.approx(225 / 7, rel=0.02)
    assert figures["ratio"] == pytest.approx(50 / 9 / (225 / 7), rel=0.02)
    assert figures["penetration_mm_rev"] == pytest.approx(9.0, rel=0.02)
    assert figures["baseline_disc_load_kN"] == pytest.approx(225.0, rel=0.02)
    assert found.strength > 3
    assert START_US < found.start_us < found.end_us


def test_hard_ground_is_found_above_its_baseline() -> None:
    (found,) = noticed(bored(GNEISS, (9.0, 270.0, 3.5), GNEISS))
    assert found.kind == "FPI high"
    assert found.position_to_m - found.position_from_m == pytest.approx(9.0, abs=0.5)


@pytest.mark.parametrize("seed", range(8))
def test_noise_alone_is_no_finding(seed: int) -> None:
    assert noticed(bored((150.0, 225.0, 7.0), noise=0.15, seed=seed)) == []


@pytest.mark.parametrize("seed", range(4))
def test_a_change_of_rock_is_no_finding(seed: int) -> None:
    """Quartzite, gneiss, schist: each step is a factor of two, and either side is its own baseline."""
    drive = bored((60.0, 265.0, 4.2), (60.0, 225.0, 7.0), (60.0, 160.0, 9.8), seed=seed)
    assert noticed(drive) == []


def test_a_rock_beside_a_zone_that_is_found_is_no_finding() -> None:
    """22 m of gneiss between a crushed zone and schist: like what lies before the zone."""
    drive = bored((45.0, 225.0, 7.0), (9.0, 80.0, 11.5), (21.0, 225.0, 7.0), (45.0, 150.0, 9.3))
    (found,) = noticed(drive)
    assert found.position_from_m == pytest.approx(45.0, abs=0.3)


def test_a_zone_between_two_rocks_is_compared_with_the_one_more_like_it() -> None:
    (found,) = noticed(bored(GNEISS, FAULT, (60.0, 150.0, 9.3)))
    assert found.figures["baseline_fpi_kN_per_mm_rev"] == pytest.approx(150 / 9.3, rel=0.03)
    assert found.figures["baseline_penetration_mm_rev"] == pytest.approx(9.3, rel=0.03)


def test_a_held_shield_hides_a_fault_in_gross_figures_only() -> None:
    """Drag 9 MN in the fault: gross FPI stays near the baseline, net FPI falls."""
    drive = bored(GNEISS, FAULT, GNEISS, drags=((60.0, 72.0, 9000.0),))
    (found,) = noticed(drive)
    assert found.kind == "FPI low"
    assert found.figures["drag_kN"] == pytest.approx(9000.0)
    assert found.figures["gross_fpi_kN_per_mm_rev"] / found.figures["baseline_gross_fpi_kN_per_mm_rev"] > 0.75
    assert "showed its own drag" not in found.evidence
    unknown = replace(drive, setup=without_drag(), strokes=no_drag(drive.strokes))
    assert noticed(unknown) == []


def test_drag_above_thrust_is_below_every_baseline() -> None:
    (found,) = noticed(bored(GNEISS, (12.0, -5.0, 9.0), GNEISS))
    assert found.kind == "FPI low"
    assert found.figures["fpi_kN_per_mm_rev"] < 0
    assert np.isfinite(found.strength)
    assert "drag figure is above the thrust" in found.evidence


def without_drag() -> Setup:
    return setup_of(machine=replace(SETUP.machine, drag_kN=None, aux_drag_kN=None))


def no_drag(strokes: Table) -> Table:
    return strokes.with_columns({"drag_kN": np.full(len(strokes), np.nan)})


def test_gross_figures_are_compared_with_the_same_reaction_only() -> None:
    """Pushing off the ring takes 2.5 MN more drag; without a drag figure that is no change of ground."""
    even = bored((150.0, 60.0, 9.0))
    assert noticed(replace(even, setup=without_drag(), strokes=no_drag(even.strokes))) == []
    fault = bored(GNEISS, FAULT, GNEISS)
    (found,) = noticed(replace(fault, setup=without_drag(), strokes=no_drag(fault.strokes)))
    assert found.evidence.startswith("Gross FPI")
    assert "Drag is not known" in found.evidence


def test_where_drag_is_known_for_one_set_only_the_other_is_judged_by_gross_figures() -> None:
    half = setup_of(machine=replace(SETUP.machine, aux_drag_kN=None))
    (found,) = noticed(replace(bored(GNEISS, FAULT, GNEISS), setup=half))
    assert found.kind == "FPI low"
    assert found.figures["baseline_disc_load_kN"] == pytest.approx(225.0, rel=0.02)
    assert found.position_to_m - found.position_from_m == pytest.approx(12.0, abs=0.5)
    off_ring = bored((150.0, 225.0, 7.0), ring_every=1)
    inside = (off_ring.cells["position_from_m"] > 60) & (off_ring.cells["position_to_m"] < 72)
    weak = {n: np.where(inside, 0.3, 1.0) * off_ring.cells[n] for n in ("thrust_kN_s", "thrust_work_kJ")}
    (gross,) = noticed(replace(off_ring, setup=half, cells=off_ring.cells.with_columns(weak)))
    assert gross.evidence.startswith("Gross FPI")


def test_gross_figures_are_never_compared_with_net_ones() -> None:
    least = FindingSettings(fpi_least_m=1.0)
    half = setup_of(machine=replace(SETUP.machine, aux_drag_kN=None), findings=least)
    even = bored((150.0, 60.0, 9.0), ring_every=4)
    assert noticed(replace(even, setup=half)) == []


def test_a_fault_bored_off_the_ring_alone_is_compared_with_all_ground_around() -> None:
    drive = bored(GNEISS, FAULT, GNEISS, ring_every=0)
    cells = drive.cells
    inside = (cells["position_from_m"] >= 60.0 - 1e-6) & (cells["position_to_m"] <= 72.0 + 1e-6)
    ring = cells.with_columns(
        {"reaction": np.where(inside, Reaction.RING, cells["reaction"]).astype(np.int8)}
    )
    (found,) = noticed(replace(drive, cells=ring))
    assert found.kind == "FPI low"
    assert "Reaction: ring 100 %. The ground beside it was bored with other reactions too." in found.evidence


def test_ends_of_strokes_are_left_out() -> None:
    """Loading has little load at little penetration and says nothing about the ground."""
    drive = bored((90.0, 225.0, 7.0), noise=0.0)
    at = drive.cells["position_from_m"]
    loading = (at > 39.0) & (at < 45.0) & (at % 1.5 < 0.95)
    weak = {n: np.where(loading, 0.1, 1.0) * drive.cells[n] for n in ("thrust_kN_s", "thrust_work_kJ")}
    assert len(noticed(replace(drive, cells=drive.cells.with_columns(weak)))) == 1
    phase = np.where(loading, Phase.LOADING, Phase.STEADY).astype(np.int8)
    assert noticed(replace(drive, cells=drive.cells.with_columns({**weak, "phase": phase}))) == []


def test_a_zone_at_the_end_of_the_drive_is_found_to_its_end() -> None:
    """Yesterday's last metres have ground on one side only; what was found first leaves the baseline."""
    (found,) = noticed(bored(GNEISS, (19.5, 50.0, 9.0)))
    assert found.position_from_m == pytest.approx(60.0, abs=0.3)
    assert found.position_to_m == pytest.approx(79.5, abs=0.3)


@pytest.mark.parametrize("seed", range(4))
def test_ground_that_varies_from_stroke_to_stroke_has_a_wide_baseline(seed: int) -> None:
    """Loads of 3 m pieces between 80 and 490 kN, all alike: none stands out by three deviations. (Within a
    window of either end of the drive one side is short, and its spread little known.)"""
    loads = 200.0 * np.exp(np.random.default_rng(seed).uniform(-0.9, 0.9, 40))
    found = noticed(bored(*((3.0, load, 7.0) for load in loads)))
    assert [f for f in found if 30 < f.position_from_m < 90] == []


def test_too_little_ground_makes_no_baseline() -> None:
    least = FindingSettings(fpi_least_cells=2000)
    assert noticed(bored(GNEISS, FAULT, GNEISS, setup=setup_of(findings=least))) == []
    assert noticed(bored((1.5, 225.0, 7.0))) == []


def test_thresholds_are_the_setups() -> None:
    drive = (GNEISS, (12.0, 150.0, 7.0), GNEISS)
    assert noticed(bored(*drive)) == []
    low = FindingSettings(fpi_ratio=1.3, fpi_least_m=5.0)
    assert len(noticed(bored(*drive, setup=setup_of(findings=low)))) == 1
    long = FindingSettings(fpi_ratio=1.3, fpi_least_m=15.0)
    assert noticed(bored(*drive, setup=setup_of(findings=long))) == []


def test_an_empty_drive_has_no_findings() -> None:
    drive = bored(GNEISS)
    assert detect_all(profile_of(replace(drive, cells=drive.cells.rows(slice(0, 0)))), SETUP.findings) == []


def test_evidence_is_a_sentence_with_numbers_and_units() -> None:
    (found,) = noticed(bored(GNEISS, FAULT, GNEISS, noise=0.0))
    assert found.evidence == (
        "Net FPI 5.6 kN/(mm/rev) over 12.0 m, 4+240.0 to 4+252.0: 0.17 times the 32.1 of the 30 m bored before it, the more "
        "similar side, which scatters by 2 %. Penetration 9.0 mm/rev against 7.0, net disc load 50 kN against 225. "
        "Drag 1550 kN against 1550, in a thrust of 3550 kN; gross FPI 9.9 kN/(mm/rev) against 37.7. No stroke here "
        "showed its own drag: if the shield was held, net FPI is lower than this. Reaction: grippers 50 % and ring "
        "50 %. These figures give no cause. Compare with face map, muck and water."
    )


def test_no_detector_claims_a_cause_or_advises_more_force() -> None:
    """A finding states what was compared; it may not say 'fault', nor advise thrust or torque."""
    for found in noticed(bored(GNEISS, FAULT, GNEISS, (9.0, 270.0, 3.0), GNEISS)):
        assert not {"fault", "increase", "raise"} & set(found.evidence.lower().replace(".", " ").split())


def test_detectors_name_their_kinds_and_thresholds() -> None:
    names = [d.name for d in DETECTORS]
    assert len(names) == len(set(names))
    for detector in DETECTORS:
        assert set(detector.settings) <= set(FindingSettings.__dataclass_fields__)
        assert detector.kinds
