"""Grippers that lose pressure, and boring that goes over to the ring."""

from dataclasses import replace

import pytest

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.domain.setup import OPEN_GRIPPER
from tbmreview.findings.bracing import CHANGE, LOSS, bracing
from tests.support.stroke_profile import MACHINE, STROKE_M, profile_of_strokes

N, ONSET = 60, 40


def found_in(**given: object) -> list[Finding]:
    return bracing(profile_of_strokes(N, **{"changes": {}, **given}), FindingSettings())  # type: ignore[arg-type]


def test_pressure_below_that_of_the_strokes_before_is_a_loss_of_bracing() -> None:
    lost = {"gripper_pressure_bar": {ONSET: 150.0, ONSET + 1: 140.0, ONSET + 2: 150.0}}
    (found,) = found_in(changes=lost)
    assert found.kind == LOSS
    assert (found.position_from_m, found.position_to_m) == (ONSET * STROKE_M, (ONSET + 3) * STROKE_M)
    assert "Gripper pressure 150 bar against 24" in found.evidence
    assert found.figures["ratio"] == pytest.approx(150 / 240, rel=0.03)


def test_strokes_on_the_ring_have_no_bracing_to_lose() -> None:
    low = dict.fromkeys(range(ONSET, ONSET + 4), 20.0)
    found = found_in(changes={"gripper_pressure_bar": low}, on_ring=tuple(low))
    assert [f.kind for f in found] == [CHANGE]
    assert found[0].figures["strokes"] == 4
    assert "for 4 strokes over 6.0 m, 4+240.0 to 4+246.0" in found[0].evidence
    assert "100 % were off the grippers" in found[0].evidence


def test_strokes_that_take_turns_are_no_change() -> None:
    assert not found_in(on_ring=tuple(range(1, N, 2)))
    assert not found_in(on_ring=(ONSET,))


def test_a_drive_that_is_mostly_on_the_ring_does_not_change_to_it() -> None:
    assert not found_in(on_ring=tuple(k for k in range(N) if k % 4))


def test_only_a_double_shield_can_go_over_to_the_ring() -> None:
    assert not found_in(on_ring=(40, 41, 42), machine=replace(MACHINE, kind=OPEN_GRIPPER))
