"""Signs of a held shield: found where several come together, named with their figures, silent else."""

from dataclasses import replace

import numpy as np
import pytest

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.findings.detector import Profile
from tbmreview.findings.held_shield import held_shield
from tests.support.stroke_profile import MACHINE, STROKE_M, profile_of_strokes

SETTINGS = FindingSettings()
N, ONSET = 60, 40


def rising(usual: float, factor: float = 1.3, strokes: int = 6) -> dict[int, float]:
    return {ONSET + k: usual * factor ** (k + 1) for k in range(strokes)}


def found_in(profile: Profile) -> list[Finding]:
    return held_shield(profile, SETTINGS)


def test_drag_that_rises_over_strokes_is_found_with_its_onset_and_its_figures() -> None:
    (found,) = found_in(profile_of_strokes(N, {"drag_kN": rising(1200)}))
    assert found.kind == "shield may be getting held"
    assert found.position_from_m == pytest.approx(ONSET * STROKE_M, abs=STROKE_M)
    assert found.position_to_m == pytest.approx((ONSET + 6) * STROKE_M)
    assert found.figures["drag"] == pytest.approx(1200 * 1.3**6)
    assert found.figures["drag_usual"] == pytest.approx(1200, rel=0.02)
    assert "Drag on the main set up to 5792 kN, 4.8 times the 12" in found.evidence
    assert "rising by 30 % a stroke" in found.evidence
    assert "tell the shift" in found.evidence


def test_a_log_too_slow_for_a_drag_shows_the_thrust_of_the_free_advance() -> None:
    free = {**dict.fromkeys(range(N), 1200.0), **rising(1200)}
    slow = {"drag_kN": dict.fromkeys(range(N), np.nan), "free_thrust_kN": free}
    (found,) = found_in(profile_of_strokes(N, slow))
    assert "Thrust of the free advance on the main set up to 5792 kN, 4.8 times" in found.evidence


def test_the_stroke_of_the_onset_is_enough_where_two_signs_meet() -> None:
    """The log ends there."""
    signs = {"drag_kN": rising(1200, 1.2), "start_thrust_kN": rising(1300 * 1.4, 1.0)}
    (found,) = found_in(profile_of_strokes(ONSET + 1, _until(signs, ONSET + 1)))
    assert (found.figures["strokes"], found.figures["signs"]) == (1, 2)
    one = {"drag_kN": rising(1200, 1.2)}
    assert not found_in(profile_of_strokes(ONSET + 1, _until(one, ONSET + 1)))


def test_torque_behind_thrust_in_two_strokes_is_told_where_none_advances_freely() -> None:
    """Thrust 5 % up, torque ratio 6 % down; one such stroke, or thrust that is not up, tells nothing."""
    hidden = dict.fromkeys(range(N), np.nan)

    def signs(strokes: int, thrust_kN: float) -> dict[str, dict[int, float]]:
        at = range(ONSET, ONSET + strokes)
        return {
            "drag_kN": hidden,
            "torque_ratio": dict.fromkeys(at, 0.47),
            "thrust_kN": dict.fromkeys(at, thrust_kN),
        }

    (found,) = found_in(profile_of_strokes(N, signs(2, 10_500), noise=0))
    assert found.figures["torque_behind_thrust"] == pytest.approx(0.47)
    assert found.position_to_m == pytest.approx((ONSET + 2) * STROKE_M)
    assert not found_in(profile_of_strokes(N, signs(1, 10_500), noise=0))
    assert not found_in(profile_of_strokes(N, signs(2, 10_000), noise=0))


def test_a_stroke_with_a_channel_at_fault_for_a_while_shows_nothing() -> None:
    profile = profile_of_strokes(N, {"drag_kN": {ONSET: 5000.0}}, loaded_min={ONSET: 45})
    assert len(found_in(profile)) == 1
    end = int(profile.strokes["stroke_end_us"][ONSET])
    assert not found_in(replace(profile, at_fault_us=np.array([[end - 60_000_000, end]])))
    later = int(profile.strokes["stroke_end_us"][ONSET + 1])
    assert len(found_in(replace(profile, at_fault_us=np.array([[later, later + 1]])))) == 1


def _until(signs: dict[str, dict[int, float]], count: int) -> dict[str, dict[int, float]]:
    return {
        name: {k: v for k, v in values.items() if k < count}
        for name, values in signs.items()
    }  # fmt: skip


def test_a_single_stroke_that_stands_out_is_no_rise() -> None:
    assert not found_in(profile_of_strokes(N, {"drag_kN": {ONSET: 1200 * 1.4}}))


def test_one_sign_alone_is_not_told_and_two_are() -> None:
    starts, regrips = {ONSET: 2000.0, ONSET + 1: 2000.0}, {ONSET: 6000.0, ONSET + 1: 6200.0}
    assert not found_in(profile_of_strokes(N, {"start_thrust_kN": starts}))
    assert not found_in(profile_of_strokes(N, {"regrip_force_kN": regrips}))
    (found,) = found_in(
        profile_of_strokes(N, {"start_thrust_kN": starts, "regrip_force_kN": regrips}, noise=0)
    )
    assert (
        "Setting off after a halt took 1.67 times the thrust of going on, usually 1.08 times"
        in found.evidence
    )
    assert "Force to draw up the rear up to 6200 kN" in found.evidence
    assert found.figures["signs"] == 2


def test_drag_that_rises_slowly_is_told_alone() -> None:
    """To one and a half times what is usual in six strokes."""
    (found,) = found_in(profile_of_strokes(N, {"drag_kN": rising(1200, 1.07)}))
    assert found.figures["signs"] == 1
    assert "rising by 7 % a stroke" in found.evidence


def test_torque_that_falls_at_the_same_thrust_is_no_sign() -> None:
    changes = {
        "torque_ratio": dict.fromkeys(range(ONSET, ONSET + 4), 0.3),
        "start_thrust_kN": {ONSET: 2000.0},
    }
    assert not found_in(profile_of_strokes(N, changes))


def test_signs_of_neighbouring_strokes_count_together() -> None:
    start, regrip = {ONSET: 2000.0}, {ONSET + 1: 6200.0}
    (found,) = found_in(profile_of_strokes(N, {"start_thrust_kN": start, "regrip_force_kN": regrip}))
    assert (found.figures["strokes"], found.figures["signs"]) == (2, 2)
    apart = {"start_thrust_kN": start, "regrip_force_kN": {ONSET + 3: 6200.0}}
    assert not found_in(profile_of_strokes(N, apart))


def test_high_thrust_in_hard_ground_is_no_held_shield() -> None:
    """Thrust near installed, torque with it."""
    high = dict.fromkeys(range(ONSET, N), 15500.0)
    torque = dict.fromkeys(range(ONSET, N), 2200.0)
    assert not found_in(profile_of_strokes(N, {"thrust_kN": high, "torque_kNm": torque}))


def test_thrust_near_installed_that_torque_does_not_follow_is_told() -> None:
    at = range(ONSET, ONSET + 4)
    changes = {"thrust_kN": dict.fromkeys(at, 15_500.0), "torque_ratio": dict.fromkeys(at, 0.3)}
    (found,) = found_in(
        profile_of_strokes(N, {**changes, "drag_kN": dict.fromkeys(range(N), np.nan)}, noise=0)
    )
    assert "torque ratio 0.30 against 0.50 before" in found.evidence
    assert "97 % of what the main set has installed" in found.evidence
    assert "Not known here: drag" in found.evidence


def test_turning_loaded_for_long_is_told_alone() -> None:
    (found,) = found_in(profile_of_strokes(N, {}, loaded_min={ONSET: 45}))
    assert "turned under load without advance for 45 min" in found.evidence
    assert not found_in(profile_of_strokes(N, {}, loaded_min={ONSET: 12}))


def test_boring_near_nothing_is_creeping() -> None:
    """1.5 m at 3 mm/min: eight hours with the head turning."""
    (found,) = found_in(profile_of_strokes(N, {"penetration_rate_m_h": {ONSET: 0.18}}))
    assert "Boring slower than 5 mm/min for 8.3 h in all" in found.evidence


def test_a_level_of_drag_that_stays_is_usual_in_the_end() -> None:
    """A longer back-up, say: told where it begins, not for ever."""
    drag = dict.fromkeys(range(ONSET, 160), 2600.0)
    (found,) = found_in(profile_of_strokes(160, {"drag_kN": drag}))
    assert found.position_to_m < (ONSET + SETTINGS.held_window_strokes + 1) * STROKE_M


def test_an_ordinary_drive_has_none() -> None:
    assert not found_in(profile_of_strokes(400, {}, noise=0.06))


def test_what_the_setup_does_not_state_is_said() -> None:
    bare = replace(MACHINE, main_thrust_installed_kN=None, aux_thrust_installed_kN=None)
    (found,) = found_in(profile_of_strokes(N, {"drag_kN": rising(1200)}, machine=bare))
    assert "installed thrust (not in drive.toml)" in found.evidence


def test_strokes_whose_rows_are_left_out_show_no_signs() -> None:
    """Rows bored while a channel was at fault are not given to the detector."""
    profile = profile_of_strokes(N, {"drag_kN": rising(1200)}, loaded_min={ONSET + 2: 60})
    at = profile.rows["position_from_m"]
    kept = (at < ONSET * STROKE_M) | (at >= (ONSET + 7) * STROKE_M)
    assert found_in(profile)
    assert not found_in(profile.of_rows(kept))


def test_nothing_to_read_gives_nothing() -> None:
    empty = profile_of_strokes(N, {})
    nothing = np.zeros(0, np.int64)
    assert not found_in(replace(empty, rows=empty.rows.rows(nothing)))
    assert not found_in(replace(empty, strokes=empty.strokes.rows(nothing)))
