"""Motion against the truth of drives made on the spot by the sample generator."""

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from support.motion_signals import samples_of, setup_of
from support.samplegen import simulate

from tbmreview.domain.setup import Machine
from tbmreview.domain.states import PushingSet, Reaction, State
from tbmreview.domain.sums import group_sums
from tbmreview.domain.table import Table
from tbmreview.motion.carry import Carry
from tbmreview.motion.net_forces import with_net_forces
from tbmreview.motion.reduce import Reduced, reduce_window

SETS = {"main": PushingSet.MAIN, "auxiliary": PushingSet.AUX}
REACTIONS = {"grippers": Reaction.GRIPPERS, "ring": Reaction.RING, "mixed": Reaction.MIXED}
WORTH_COMPARING_M = 0.1  # the last stroke may have only begun


@dataclass(frozen=True)
class Case:
    truth: Any
    result: Reduced
    machine: Machine

    @property
    def bore_m2(self) -> float:
        return np.pi / 4 * self.machine.bore_diameter_m**2

    @property
    def advance_share(self) -> float:
        return self.result.cells["advance_m"].sum() / (self.truth.seconds["face_mm_s"].sum() / 1000) - 1

    @property
    def boring_share(self) -> float:
        return self.result.cells["boring_s"].sum() / self.truth.strokes["boring_s"].sum() - 1

    def by_stroke(self) -> Table:
        cells = self.result.cells
        starts, number = np.unique(cells["stroke_start_us"], return_inverse=True)
        return group_sums(cells, number.astype(np.int64), len(starts))


@cache
def case(seed: int, days: float = 1, **options: Any) -> Case:
    truth, log = simulate(seed, days, **options)
    setup = setup_of(truth.options)
    result = reduce_window(samples_of(log), Carry(), setup)
    return Case(truth, result, setup.machine)


SEEDS = range(801, 807)


@pytest.mark.parametrize("seed", SEEDS)
def test_totals_of_some_drives(seed: int) -> None:
    made = case(seed)
    assert abs(made.advance_share) < 0.001
    assert abs(made.boring_share) < 0.01
    assert len(made.result.strokes) == len(made.truth.strokes)


@pytest.mark.parametrize("seed", SEEDS)
def test_each_stroke_of_some_drives(seed: int) -> None:
    made = case(seed)
    truth, sums = made.truth.strokes, made.by_stroke()
    energy_kJ = sums["thrust_work_kJ"] + sums["torque_work_kJ"]
    specific_energy = energy_kJ / 1000 / (made.bore_m2 * sums["advance_m"])
    penetration = 1000 * sums["turned_advance_m"] / sums["revolutions"]
    fpi = sums["thrust_kN_s"] / sums["thrust_s"] / made.machine.disc_count / penetration
    long = truth["advance_m"].to_numpy() > WORTH_COMPARING_M
    for ours, theirs in ((specific_energy, "specific_energy_MJ_m3"), (fpi, "fpi_kN_per_mm_rev")):
        off = ours / truth[theirs].to_numpy() - 1
        assert np.abs(off[long]).max() < 0.005, theirs


@pytest.mark.parametrize("seed", SEEDS)
def test_pushing_set_and_reaction_of_each_stroke(seed: int) -> None:
    made = case(seed)
    strokes, truth = made.result.strokes, made.truth.strokes
    assert strokes["pushing_set"].tolist() == [SETS[text] for text in truth["pushing_set"]]
    assert strokes["reaction"].tolist() == [REACTIONS[text] for text in truth["reaction"]]


def test_segment_reacted_strokes_are_among_these_drives() -> None:
    pushed = np.concatenate([case(seed).result.strokes["pushing_set"] for seed in SEEDS])
    assert (pushed == PushingSet.AUX).sum() > 20
    assert (pushed == PushingSet.MAIN).sum() > 20


@pytest.mark.parametrize("seed", SEEDS)
def test_states_add_up_to_the_elapsed_time(seed: int) -> None:
    made = case(seed)
    periods = made.result.periods
    assert (periods["start_us"][1:] == periods["end_us"][:-1]).all()
    assert periods["end_us"][-1] - periods["start_us"][0] == len(made.truth.seconds) * 1_000_000
    boring = periods["state"] == State.BORING
    boring_us = (periods["end_us"] - periods["start_us"])[boring].sum()
    assert made.result.cells["boring_s"].sum() == pytest.approx(boring_us / 1e6, abs=1e-6)
    bored_kJ = periods["torque_work_kJ"][boring].sum()
    assert bored_kJ == pytest.approx(made.result.cells["torque_work_kJ"].sum(), rel=1e-9)
    assert periods["advance_m"].sum() == pytest.approx(made.result.cells["advance_m"].sum(), abs=1e-9)


def test_states_of_each_second() -> None:
    """Within a few per cent of the time of each state, except what no channel tells apart."""
    made = case(SEEDS[0], 2)
    seconds, periods = made.truth.seconds, made.result.periods
    stamps = seconds.index.tz_convert(None).to_numpy().astype("datetime64[us]").astype(np.int64)
    found = periods["state"][np.searchsorted(periods["start_us"], stamps, side="right") - 1]
    true = seconds["state"].to_numpy()
    for state in (State.BORING, State.TURNING_FREE, State.TURNING_LOADED, State.REGRIP, State.RING_BUILD):
        here = true == state
        assert here.sum() > 60, state
        assert (found[here] == state).mean() > 0.9, state
    assert periods["head_turning_s"].sum() == pytest.approx(seconds["head_turning"].sum(), rel=0.001)
    assert periods["ring_building_s"].sum() == pytest.approx(seconds["ring_building"].sum(), rel=0.06)


SLOWER: tuple[dict[str, Any], ...] = (
    {"kind": "open gripper", "sample_s": 10, "direction": -1},
    {"kind": "single shield", "sample_s": 5},
    {"kind": "open gripper", "sample_s": 30, "stroke_noise_mm": 2.0},
)


@pytest.mark.parametrize(
    ("options", "advance", "boring"),
    [
        (SLOWER[0], 0.001, 0.01),
        (SLOWER[1], 0.001, 0.01),
        (SLOWER[2], 0.002, 0.03),
        ({"kind": "double shield", "stroke_noise_mm": 2.0}, 0.001, 0.01),
        ({"kind": "double shield", "without": ("speed", "penetration")}, 0.002, 0.01),
        ({"kind": "open gripper", "without": ("gripper_bar", "chainage")}, 0.001, 0.01),
        ({"kind": "double shield", "without": ("aux_mm", "gripper_bar")}, 0.002, 0.01),
        ({"kind": "open gripper", "without": ("main_mm",)}, 0.002, 0.01),
        ({"kind": "open gripper", "without": ("main_mm", "chainage", "penetration")}, 0.02, 0.01),
        ({"kind": "open gripper", "without": ("main_mm", "speed", "penetration")}, 0.005, 0.02),
    ],
    ids=str,
)
def test_other_machines_rates_and_channels(options: dict[str, Any], advance: float, boring: float) -> None:
    made = case(31, misclosure=0.0, **options)
    assert abs(made.advance_share) < advance
    assert abs(made.boring_share) < boring
    truth = made.truth.strokes
    assert len(made.result.strokes) == (truth["advance_m"] > 0.01).sum()


def test_gaps_give_advance_without_time() -> None:
    made = case(32, 1, misclosure=0.0, gaps=(600, 8))
    lost_s = (~made.truth.seconds["recorded"]).sum()
    assert lost_s > 3000
    assert abs(made.advance_share) < 0.005
    cells = made.result.cells
    assert cells["unrecorded_advance_m"].sum() > 0.2
    assert cells["boring_s"].sum() < made.truth.strokes["boring_s"].sum()
    only_unrecorded = cells["unrecorded_advance_m"] == cells["advance_m"]
    timeless = cells.rows(only_unrecorded & (cells["advance_m"] > 0))
    for name in ("boring_s", "revolutions", "thrust_work_kJ", "torque_work_kJ", "turned_advance_m"):
        assert not timeless[name].any(), name


def test_nothing_is_bored_twice() -> None:
    """Each step has its length once: steps in order of position neither overlap nor leave holes."""
    cells = case(SEEDS[1]).result.cells
    cells = cells.rows(cells["advance_m"] > 0)
    steps, number = np.unique(cells["step"], return_inverse=True)
    by_step = group_sums(cells, number.astype(np.int64), len(steps))
    assert (np.diff(steps) == 1).all()
    assert by_step["position_from_m"][1:] == pytest.approx(by_step["position_to_m"][:-1], abs=1e-9)
    assert by_step["advance_m"] == pytest.approx(
        by_step["position_to_m"] - by_step["position_from_m"], abs=1e-9
    )


def test_drag_and_no_load_torque_are_measured_where_strokes_show_them() -> None:
    made = case(SEEDS[2], 2)
    strokes, truth = made.result.strokes, made.truth.strokes
    own = strokes["drag_source"] == "stroke"
    assert own.sum() >= 8
    off = strokes["drag_kN"][own] / truth["drag_kN"].to_numpy()[own] - 1
    assert np.median(np.abs(off)) < 0.03
    seen = strokes["no_load_source"] == "stroke"
    assert seen.mean() > 0.9
    off = strokes["no_load_torque_kNm"][seen] / truth["no_load_torque_kNm"].to_numpy()[seen] - 1
    assert np.median(np.abs(off)) < 0.03


def inside_interval(made: Case) -> NDArray[np.bool_]:
    """Whether the true net thrust of each stroke lies in the 95 % interval that is stated."""
    strokes, sums = with_net_forces(made.result.strokes, made.machine), made.by_stroke()
    truth = made.truth.strokes[made.truth.strokes["advance_m"] > 0.01]
    net = sums["thrust_kN_s"] / sums["thrust_s"] - strokes["drag_kN"]
    half = 1.96 * np.sqrt(strokes["drag_sd_kN"] ** 2 + strokes["thrust_var_kN2_s"] / sums["thrust_s"])
    inside: NDArray[np.bool_] = np.abs(net - (truth["thrust_kN"] - truth["drag_kN"]).to_numpy()) <= half
    return inside


def test_the_truth_of_net_thrust_lies_in_the_stated_interval() -> None:
    at_1_s = np.concatenate([inside_interval(case(seed)) for seed in SEEDS])
    slower = np.concatenate([inside_interval(case(31, misclosure=0.0, **options)) for options in SLOWER])
    assert len(at_1_s) > 90
    assert at_1_s.mean() >= 0.93
    assert slower.mean() >= 0.93


def test_slow_logs_measure_no_drag() -> None:
    strokes = case(33, 1, sample_s=10).result.strokes
    assert set(strokes["drag_source"]) == {"none"}
    assert np.isnan(strokes["drag_kN"]).all()


def test_rings_follow_the_counter() -> None:
    made = case(SEEDS[3])
    rings, counted = made.result.rings, made.truth.seconds["ring"].to_numpy()
    assert rings["ring"].tolist() == np.unique(counted).tolist()
    assert not rings["nominal"].any()
    extent = (rings["position_to_m"] - rings["position_from_m"]).sum()
    assert extent == pytest.approx(made.result.cells["advance_m"].sum(), abs=1e-9)


def test_rings_are_nominal_without_a_counter() -> None:
    rings = case(34, 1, without=("ring",)).result.rings
    assert rings["nominal"].all()
    assert rings["ring"].tolist() == list(range(1, len(rings) + 1))
    inner = (rings["position_to_m"] - rings["position_from_m"])[1:-1]
    assert inner == pytest.approx(np.full(len(inner), 1.5), abs=0.002)


def test_open_grippers_have_no_rings() -> None:
    assert not len(case(31, 1, misclosure=0.0, kind="open gripper", sample_s=10, direction=-1).result.rings)
