"""Notes on what a log does not show, and the thresholds in use."""

from dataclasses import replace

import numpy as np
import pytest

from tbmreview.domain.setup import MotionSettings
from tbmreview.domain.states import PushingSet
from tbmreview.domain.table import Table
from tbmreview.motion.notes import Logged, notes_of
from tbmreview.motion.record import CHANNELS_READ
from tbmreview.motion.stroke_table import STROKE_COLUMNS
from tbmreview.motion.thresholds import thresholds_of
from tests.support.blocks import machine
from tests.support.cells import setup_of

KINDS = ("open gripper", "single shield", "double shield")
NO_CELLS = Table(
    {
        "stroke_start_us": np.array([0, 1]),
        "advance_m": np.array([1.5, 0.25]),
        "boring_s": np.array([1500.0, 250.0]),
        "unrecorded_advance_m": np.zeros(2),
        "turned_advance_m": np.array([1.5, 0.25]),
        "reaction": np.array([1, 0], np.int8),
    }
)


def logged(
    kind: str = "double shield", *, without: tuple[str, ...] = (), pauses_s: float = 0.0, **columns: object
) -> Logged:
    """Four strokes at 1 s that showed drag and no-load torque, with every channel but some."""
    filler = {np.float64: np.nan, object: "stroke"}
    strokes = {name: np.full(4, filler.get(of, 0), of) for name, of, _, _ in STROKE_COLUMNS}
    strokes |= {
        "interval_s": np.ones(4),
        "pushing_set": np.full(4, PushingSet.MAIN, np.int8),
        "no_load_torque_kNm": np.full(4, 200.0),
        "no_load_sd_kNm": np.full(4, 20.0),
    }
    strokes |= {name: np.array(values) for name, values in columns.items()}
    channels = set(CHANNELS_READ) - set(without)
    periods = Table({"ring_assumed_s": np.array([0.0, pauses_s])})
    return Logged(channels, setup_of(machine=machine(kind=kind)), Table(strokes), NO_CELLS, periods)


def names(of: Logged) -> list[str]:
    return [note.name for note in notes_of(of)]


@pytest.mark.parametrize("kind", KINDS)
def test_a_full_fast_log_needs_no_note(kind: str) -> None:
    assert names(logged(kind)) == []


@pytest.mark.parametrize(
    ("without", "expected"),
    [
        (("torque_kNm",), ["torque"]),
        (("head_speed_rpm",), ["head speed"]),
        (("main_stroke_mm", "aux_stroke_mm"), ["strokes"]),
        (("main_stroke_mm",), ["main stroke"]),
        (("aux_stroke_mm",), ["auxiliary stroke"]),
        (("chainage_m",), ["slip"]),
        (("gripper_pressure_bar",), []),
        (("gripper_pressure_bar", "gripper_force_kN"), ["gripper pressure"]),
    ],
)
def test_a_channel_that_is_not_logged_is_named(without: tuple[str, ...], expected: list[str]) -> None:
    assert names(logged(without=without)) == expected


def test_what_the_strokes_did_not_show_is_counted() -> None:
    slow = logged(interval_s=[1.0, 10.0, 10.0, 30.0], drag_source=["stroke", "none", "none", "setup"])
    found = {note.name: note.text for note in notes_of(slow)}
    assert set(found) == {"short phases", "drag"}
    assert found["short phases"].startswith("3 of 4 strokes were logged at intervals of up to 30 s")
    assert "known to some 15 mm" in found["short phases"]
    assert found["drag"].startswith("2 of 4 strokes")
    unknown = {note.name: note.text for note in notes_of(logged(without=("chainage_m",)))}
    assert "(0.25 m)" in unknown["slip"]
    assert names(logged(no_load_source=["none"] * 4)) == ["no-load torque"]
    (pauses,) = notes_of(logged("single shield", pauses_s=5400.0))
    assert pauses.name == "ring pause"
    assert "1.50 h of pauses" in pauses.text


def test_advance_that_the_sensors_did_not_see_is_stated() -> None:
    found = {note.name: note.text for note in notes_of(logged(beyond_m=[0.0, 0.04, 0.05, 0.0]))}
    assert "in 2 of 4 strokes: 0.09 m" in found["sensor limit"]
    assert "speed of advance" in found["sensor limit"]
    of = logged()
    hidden = of.cells.with_columns(
        {name: np.array([0.2, 3.4]) for name in ("unrecorded_advance_m", "advance_m")}
        | {"turned_advance_m": np.zeros(2)}
    )
    found = {note.name: note.text for note in notes_of(replace(of, cells=hidden))}
    assert "about 2 whole strokes" in found["unseen strokes"]
    blind = replace(logged(without=("chainage_m",)), cells=hidden)
    assert "(3.60 m) is by the stroke" in {note.name: note.text for note in notes_of(blind)}["gaps"]
    bare = logged(without=("main_stroke_mm", "aux_stroke_mm", "chainage_m", "advance_speed_mm_min"))
    assert "penetration times head speed" in notes_of(bare)[0].text


def test_advance_bored_without_a_usable_head_speed_is_stated() -> None:
    of = logged()
    for turned_m, expected in (([1.5, 0.25], []), ([1.4, 0.25], []), ([0.3, 0.25], ["head speed"])):
        cells = of.cells.with_columns({"turned_advance_m": np.array(turned_m)})
        assert names(replace(of, cells=cells)) == expected
    assert "over 1.20 m" in notes_of(replace(of, cells=cells))[0].text


def test_a_drive_that_has_not_bored_has_no_notes() -> None:
    of = logged(without=("torque_kNm",))
    assert not notes_of(replace(of, strokes=of.strokes.rows(slice(0, 0))))


@pytest.mark.parametrize("kind", KINDS)
def test_thresholds_in_use_are_listed_with_value_and_reason(kind: str) -> None:
    of = logged(kind)
    setup = replace(of.setup, motion=MotionSettings(longest_ring_min=33.0))
    listed = {t.name: t for t in thresholds_of(setup, of.strokes)}
    assert {f"[motion] {key}" for key in MotionSettings.__slots__} <= set(listed)
    assert all(np.isfinite(t.value) and t.reason for t in listed.values())
    assert listed["[motion] longest_ring_min"].value == 33.0
    assert listed["turning loaded from torque"].value == 300.0  # 200 + 5 * 20 is more than 1.25 * 200
    assert listed["no record after"].value == 3.0
    assert ("least slip" in listed) == (kind == "double shield")
