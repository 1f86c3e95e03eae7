"""Strokes, reaction and face where one thing happens at a time, in logs drawn by hand."""

import numpy as np
import pytest
from support.sketch import (
    BORING_KNM,
    DRAG_KN,
    FREE_KNM,
    START_US,
    Sketch,
    reduced_sketch,
    sketch_setup,
    without_rows,
)

from tbmreview.domain.setup import DOUBLE_SHIELD, OPEN_GRIPPER, SINGLE_SHIELD
from tbmreview.domain.states import Phase, PushingSet, Reaction, State
from tbmreview.motion.carry import Carry
from tbmreview.motion.reduce import Reduced, reduce_window

MM = 2.5  # what two medians of a noiseless stroke and the first and last sample may be off


def advances_mm(result: Reduced) -> list[float]:
    return (1000 * result.strokes["advance_m"]).tolist()


def seconds_in(result: Reduced, state: State) -> float:
    here = result.periods["state"] == state
    return float((result.periods["end_us"] - result.periods["start_us"])[here].sum() / 1e6)


def one_stroke(sketch: Sketch) -> Sketch:
    return sketch.add(60).turn(60).bore(1500).turn(20).add(120)


@pytest.mark.parametrize("kind", [OPEN_GRIPPER, DOUBLE_SHIELD])
def test_a_regrip_ends_a_stroke(kind: str) -> None:
    sketch = one_stroke(one_stroke(Sketch()).regrip(1500))
    result = reduced_sketch(sketch, kind)
    assert advances_mm(result) == pytest.approx([1500, 1500], abs=MM)
    assert result.strokes["finished"].tolist() == [1, 0]
    assert result.strokes["reaction"].tolist() == [Reaction.GRIPPERS] * 2


def test_the_force_of_the_regrip_is_its_own_column() -> None:
    sketch = one_stroke(one_stroke(Sketch()).regrip(1500))
    result = reduced_sketch(sketch, DOUBLE_SHIELD)
    assert result.strokes["regrip_force_kN"] == pytest.approx([1900.0, np.nan], nan_ok=True)


def interrupted() -> Sketch:
    return Sketch().add(60).turn(60).bore(600).turn(20).add(900).turn(60).bore(700).turn(20).add(60)


def test_an_interrupted_stroke_goes_on() -> None:
    result = reduced_sketch(interrupted(), OPEN_GRIPPER)
    assert advances_mm(result) == pytest.approx([1300], abs=MM)
    assert result.strokes["interruptions"].tolist() == [1]


@pytest.mark.parametrize("noise_mm", [0.0, 2.0])
@pytest.mark.parametrize(
    ("kind", "without"),
    [
        (DOUBLE_SHIELD, ()),
        (DOUBLE_SHIELD, ("gripper_pressure_bar",)),
        (DOUBLE_SHIELD, ("aux_stroke_mm",)),
        (OPEN_GRIPPER, ()),
        (OPEN_GRIPPER, ("gripper_pressure_bar", "chainage_m")),
        (OPEN_GRIPPER, ("advance_speed_mm_min", "chainage_m")),
    ],
)
def test_a_head_drawn_back_is_no_reset_and_bores_nothing_twice(
    kind: str, without: tuple[str, ...], noise_mm: float
) -> None:
    sketch = Sketch().add(60).turn(60).bore(400).draw_back(240).turn(20).add(900).turn(60)
    sketch.approach(240).bore(600).turn(20).add(60)
    result = reduced_sketch(sketch, kind, without, noise_mm)
    assert advances_mm(result) == pytest.approx([1000], abs=MM + 2 * noise_mm)
    # a noisy stroke alone shows the ends of boring to half a minute
    off = 0.03 if noise_mm and "advance_speed_mm_min" in without else 0.01
    assert seconds_in(result, State.BORING) == pytest.approx(1000 / 0.8, rel=off)


def test_the_mains_of_a_double_shield_may_be_reset_early() -> None:
    sketch = Sketch().add(60).turn(60).bore(350).turn(20).add(60).regrip(350).turn(60).bore(700).turn(20)
    assert advances_mm(reduced_sketch(sketch, DOUBLE_SHIELD)) == pytest.approx([350, 700], abs=MM)


def test_free_advance_is_no_advance_and_shows_the_drag() -> None:
    sketch = Sketch().add(60).turn(60).approach(40).bore(800).turn(20).add(60)
    result = reduced_sketch(sketch, OPEN_GRIPPER)
    assert advances_mm(result) == pytest.approx([800], abs=MM)
    assert result.strokes["drag_kN"] == pytest.approx([DRAG_KN])
    assert result.strokes["drag_source"].tolist() == ["stroke"]
    assert result.strokes["no_load_torque_kNm"] == pytest.approx([FREE_KNM])
    assert Phase.FREE_ADVANCE not in result.cells["phase"]


def test_the_loading_ramp_is_no_free_advance() -> None:
    sketch = Sketch().add(60).turn(60)
    for k in range(1, 21):  # loading from a tenth of the load on
        share = 0.1 + 0.045 * k
        sketch.add(
            5, main=0.8 * share, head=0.8 * share, head_speed_rpm=7.5, main_thrust_kN=DRAG_KN + 7900 * share,
            torque_kNm=FREE_KNM + 1220 * share, advance_speed_mm_min=48 * share,
        )  # fmt: skip
    result = reduced_sketch(sketch.bore(600).turn(20), OPEN_GRIPPER)
    assert result.strokes["drag_source"].tolist() == ["none"]
    assert np.isnan(result.strokes["drag_kN"]).all()
    loading = result.cells.rows(result.cells["phase"] == Phase.LOADING)
    assert 60 < loading["boring_s"].sum() < 110


def slipping(stop_of_guidance: int = 0, torque_kNm: float = 320.0) -> Sketch:
    sketch = Sketch().add(60).turn(60).bore(700 - 0.8 * stop_of_guidance)
    sketch.add(
        stop_of_guidance, main=0.8, head_speed_rpm=7.5, torque_kNm=BORING_KNM, main_thrust_kN=9000.0,
        advance_speed_mm_min=48.0,
    )  # fmt: skip
    if stop_of_guidance:
        sketch.head_mm += 0.8 * stop_of_guidance
        return sketch.bore(600).turn(20)
    sketch.add(
        90, main=0.6, aux=-0.6, head_speed_rpm=7.5, torque_kNm=torque_kNm, main_thrust_kN=3300.0, aux_thrust_kN=2300.0,
        advance_speed_mm_min=36.0, gripper_pressure_bar=160.0,
    )  # fmt: skip
    return sketch.turn(20).add(600).turn(40).bore(600).turn(20)


def test_slip_is_no_advance() -> None:
    result = reduced_sketch(slipping(), DOUBLE_SHIELD)
    assert advances_mm(result) == pytest.approx([1300], abs=4)
    assert seconds_in(result, State.TURNING_LOADED) == pytest.approx(90, abs=6)
    assert seconds_in(result, State.BORING) == pytest.approx(1300 / 0.8, abs=8)


def test_without_chainage_slip_is_told_by_the_torque_that_goes() -> None:
    result = reduced_sketch(slipping(), DOUBLE_SHIELD, ("chainage_m",))
    assert advances_mm(result) == pytest.approx([1300], abs=4)
    assert seconds_in(result, State.TURNING_LOADED) == pytest.approx(90, abs=6)


def test_without_chainage_slip_cannot_be_told_where_the_torque_stays() -> None:
    result = reduced_sketch(slipping(torque_kNm=BORING_KNM), DOUBLE_SHIELD, ("chainage_m",))
    assert advances_mm(result) == pytest.approx([1354], abs=MM)
    doubtful = result.cells["reaction"] == Reaction.UNKNOWN
    assert result.cells["boring_s"][doubtful].sum() == pytest.approx(90, abs=25)


def test_a_guidance_that_was_late_is_no_slip() -> None:
    result = reduced_sketch(slipping(120), DOUBLE_SHIELD)
    assert advances_mm(result) == pytest.approx([1300], abs=MM)
    assert set(result.cells["reaction"]) == {Reaction.GRIPPERS}


def test_building_a_ring_beside_boring_is_no_movement_of_the_head() -> None:
    sketch = Sketch(aux_mm=1650.0).add(60).turn(60)
    for _ in range(6):
        for rate in (-12.5, 0.0):
            sketch.add(
                20 if rate else 230, main=0.8, head=0.8, aux=rate, head_speed_rpm=7.5, torque_kNm=BORING_KNM,
                main_thrust_kN=9000.0, advance_speed_mm_min=48.0,
            )  # fmt: skip
    result = reduced_sketch(sketch.turn(20), DOUBLE_SHIELD)
    assert advances_mm(result) == pytest.approx([1200], abs=MM)
    assert set(result.strokes["pushing_set"]) == {PushingSet.MAIN}
    assert result.periods["ring_building_s"].sum() > 1200


def test_segment_reacted_driving() -> None:
    sketch = Sketch(main_mm=-11.0, aux_mm=150.0)
    for _ in range(2):
        sketch.add(60).turn(60).bore_on_ring(1500).add(60).build_ring(1500)
    result = reduced_sketch(sketch, DOUBLE_SHIELD)
    assert advances_mm(result) == pytest.approx([1500, 1500], abs=MM)
    assert result.strokes["pushing_set"].tolist() == [PushingSet.AUX] * 2
    assert result.strokes["reaction"].tolist() == [Reaction.RING] * 2
    mean_kN = result.cells["thrust_kN_s"].sum() / result.cells["thrust_s"].sum()
    assert mean_kN == pytest.approx(6000.0, rel=0.002)
    assert seconds_in(result, State.RING_BUILD) > 2 * 1200


def test_a_change_of_the_pushing_set_begins_a_stroke() -> None:
    sketch = one_stroke(Sketch(aux_mm=150.0)).regrip(1543).build_ring(1543)
    result = reduced_sketch(sketch.turn(60).bore_on_ring(600).turn(20), DOUBLE_SHIELD)
    assert advances_mm(result) == pytest.approx([1500, 600], abs=MM)
    assert result.strokes["pushing_set"].tolist() == [PushingSet.MAIN, PushingSet.AUX]


def test_a_single_shield_pushes_on_the_ring() -> None:
    sketch = Sketch()
    for _ in range(2):
        sketch.add(60).turn(60).bore(1500).turn(20)
        for _ in range(6):
            sketch.add(20, main=-12.5).add(230)
    result = reduced_sketch(sketch, SINGLE_SHIELD, ("aux_stroke_mm", "aux_thrust_kN", "gripper_pressure_bar"))
    assert advances_mm(result) == pytest.approx([1500, 1500], abs=MM)
    assert set(result.strokes["reaction"]) == {Reaction.RING}
    assert set(result.strokes["pushing_set"]) == {PushingSet.MAIN}
    assert seconds_in(result, State.REGRIP) == 0


def test_turning_loaded_without_advance_is_neither_boring_nor_free() -> None:
    held = {"head_speed_rpm": 7.5, "torque_kNm": 700.0, "main_thrust_kN": 9000.0}
    sketch = Sketch().add(60).turn(60).bore(500).add(600, **held).bore(500).turn(20)
    result = reduced_sketch(sketch, OPEN_GRIPPER)
    assert seconds_in(result, State.TURNING_LOADED) == pytest.approx(600, abs=5)
    assert seconds_in(result, State.TURNING_FREE) == pytest.approx(80, abs=5)
    assert result.strokes["no_load_torque_kNm"] == pytest.approx([FREE_KNM])
    mean_kNm = result.cells["torque_kNm_s"].sum() / result.cells["torque_s"].sum()
    assert mean_kNm == pytest.approx(BORING_KNM, rel=0.003)


def test_noise_of_the_stroke_adds_no_advance() -> None:
    """The sum of the positive steps of 2 mm noise would be more than twice the advance."""
    sketch = interrupted()
    noisy = sketch.samples(noise_mm=2.0).values["main_stroke_mm"]
    assert np.maximum(np.diff(noisy), 0).sum() > 2 * 1300
    assert advances_mm(reduced_sketch(sketch, OPEN_GRIPPER, noise_mm=2.0)) == pytest.approx(
        [1300], abs=MM + 1
    )


def test_torque_may_be_negative() -> None:
    sketch = Sketch().add(60).turn(60).bore(800, sign=-1.0).add(60)
    cells = reduced_sketch(sketch, OPEN_GRIPPER).cells
    turned = cells["revolutions"].sum() * 2 * np.pi
    assert cells["torque_work_kJ"].sum() == pytest.approx(BORING_KNM * turned, rel=0.003)
    assert (cells["torque_min_kNm"] >= 0).all()


def test_a_missing_channel_is_covered_by_its_own_sums() -> None:
    samples = interrupted().samples()
    values = {n: v.copy() for n, v in samples.values.items()}
    values["main_thrust_kN"][::2] = np.nan
    cells = reduce_window(type(samples)(samples.time_us, values), Carry(), sketch_setup(OPEN_GRIPPER)).cells
    assert cells["thrust_s"].sum() == pytest.approx(cells["boring_s"].sum() / 2, abs=2)
    assert cells["thrust_advance_m"].sum() == pytest.approx(cells["advance_m"].sum() / 2, rel=0.01)
    assert cells["thrust_kN_s"].sum() / cells["thrust_s"].sum() == pytest.approx(9000, rel=0.001)
    assert cells["torque_s"].sum() == cells["boring_s"].sum()


def test_a_log_without_thrust_and_torque_still_has_its_advance() -> None:
    without = ("main_thrust_kN", "aux_thrust_kN", "torque_kNm", "chainage_m")
    result = reduced_sketch(interrupted(), OPEN_GRIPPER, without)
    assert advances_mm(result) == pytest.approx([1300], abs=MM)
    assert not result.cells["thrust_s"].any()
    assert np.isnan(result.cells["thrust_max_kN"]).all()
    assert set(result.strokes["no_load_source"]) == {"none"}


def test_a_gap_while_boring_is_unrecorded_advance_of_the_same_stroke() -> None:
    sketch = Sketch().add(60).turn(60).bore(1200).turn(20)
    samples = without_rows(sketch.samples(), 620, 920)  # 300 s of boring at 0.8 mm/s
    result = reduce_window(samples, Carry(), sketch_setup(OPEN_GRIPPER))
    assert advances_mm(result) == pytest.approx([1200], abs=MM)
    assert 1000 * result.cells["unrecorded_advance_m"].sum() == pytest.approx(240, abs=MM)
    assert seconds_in(result, State.NO_RECORD) == 298  # the sample before it stands for three intervals
    assert seconds_in(result, State.BORING) == pytest.approx(1500 - 298, abs=2)


@pytest.mark.parametrize("without", [(), ("chainage_m",)])
def test_advance_in_a_gap_that_hides_a_reset_belongs_to_the_next_stroke(without: tuple[str, ...]) -> None:
    sketch = one_stroke(Sketch()).regrip(1500).turn(60).bore(1000).turn(20)
    first = 60 + 60 + 1875 + 20 + 100
    samples = without_rows(sketch.samples(without), first, first + 20 + 210 + 60 + 250)
    result = reduce_window(samples, Carry(), sketch_setup(OPEN_GRIPPER))
    assert advances_mm(result) == pytest.approx([1500, 1000], abs=2 * MM)
    hidden = result.cells.rows(result.cells["unrecorded_advance_m"] > 0)
    assert set(hidden["stroke_start_us"]) == {result.strokes["stroke_start_us"][1]}
    assert 1000 * hidden["advance_m"].sum() == pytest.approx(200, abs=2 * MM)


def test_a_log_that_begins_along_the_drive_begins_there() -> None:
    sketch = interrupted()
    sketch.columns["chainage_m"] = [c + 321.5 for c in sketch.columns["chainage_m"]]
    result = reduced_sketch(sketch, OPEN_GRIPPER)
    assert result.strokes["position_from_m"] == pytest.approx([321.5], abs=0.01)


def test_nothing_logged_gives_no_rows() -> None:
    sketch = Sketch().add(600)
    result = reduced_sketch(sketch, OPEN_GRIPPER)
    assert (len(result.cells), len(result.strokes)) == (0, 0)
    assert result.periods["state"].tolist() == [State.STANDING]
    assert result.periods["start_us"][0] == START_US


def test_a_log_of_one_sample() -> None:
    result = reduced_sketch(Sketch().add(1), DOUBLE_SHIELD)
    assert seconds_in(result, State.STANDING) == 1.0


def test_a_dead_sensor_of_the_auxiliaries_hides_no_regrip() -> None:
    sketch = one_stroke(one_stroke(Sketch()).regrip(1500))
    sketch.columns["aux_stroke_mm"] = [1400.0] * len(sketch.columns["aux_stroke_mm"])
    assert advances_mm(reduced_sketch(sketch, DOUBLE_SHIELD)) == pytest.approx([1500, 1500], abs=MM)


def test_a_guidance_target_on_the_rear_shield_moves_only_at_regrip() -> None:
    sketch = one_stroke(one_stroke(Sketch()).regrip(1500))
    main = np.array(sketch.columns["main_stroke_mm"])
    sketch.columns["chainage_m"] = (np.array(sketch.columns["chainage_m"]) - main / 1000).tolist()
    samples = without_rows(sketch.samples(), 620, 920)
    result = reduce_window(samples, Carry(), sketch_setup(DOUBLE_SHIELD))
    assert advances_mm(result) == pytest.approx([1500, 1500], abs=MM)
    assert 1000 * result.cells["unrecorded_advance_m"].sum() == pytest.approx(240, abs=MM)


def test_bringing_the_head_to_speed_is_not_turning_loaded() -> None:
    sketch = Sketch().add(60).add(11, head_speed_rpm=5.0, torque_kNm=440.0).turn(60).bore(500).add(60)
    result = reduced_sketch(sketch, OPEN_GRIPPER)
    assert seconds_in(result, State.TURNING_LOADED) == 0
    assert result.strokes["no_load_torque_kNm"] == pytest.approx([FREE_KNM])


def test_no_load_torque_is_taken_at_one_head_speed() -> None:
    sketch = Sketch().add(60).turn(60).add(40, head_speed_rpm=3.0, torque_kNm=150.0).turn(5).bore(500).add(60)
    strokes = reduced_sketch(sketch, OPEN_GRIPPER).strokes
    assert strokes["no_load_speed_rpm"] == pytest.approx([7.5])
    assert strokes["no_load_n"].tolist() == [60 - 12 + 5]


def test_the_carry_is_where_the_open_stroke_begins() -> None:
    sketch = one_stroke(Sketch()).regrip(1500).turn(60).bore(700)
    result = reduced_sketch(sketch, OPEN_GRIPPER)
    carry, strokes = result.carry, result.strokes
    assert carry.resume_us == strokes["stroke_start_us"][1]
    assert carry.position_m == strokes["position_from_m"][1] == pytest.approx(1.5, abs=0.002)
    assert carry.nominal_us == 1_000_000
    assert carry.regrip_until_us > carry.resume_us
    assert carry.baselines.no_load_torque_kNm.values == (FREE_KNM,)
