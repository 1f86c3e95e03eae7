"""Tables: the columns scripts rely on, every grouping, totals that hold."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tbmreview.domain.errors import DriveError, UsageError
from tbmreview.domain.states import Phase, Reaction
from tbmreview.domain.sums import ADD, MERGE, group_sums
from tbmreview.domain.table import Table, stack
from tbmreview.drive.reading import NO_TIME, reading
from tbmreview.drive.table import table
from tests.support.cells import (
    HOUR_US,
    MACHINE,
    START_US,
    TableDrive,
    drive_of,
    ground_of,
    in_shifts,
    setup_of,
    steady,
    strokes_of,
    without,
)

# The columns that scripts rely on, copied here: a change of the program must not change them unnoticed.
COLUMNS = (
    "position_from_m",
    "position_to_m",
    "chainage_from_m",
    "chainage_to_m",
    "start_utc",
    "end_utc",
    "stroke",
    "ring",
    "shift",
    "advance_m",
    "boring_s",
    "revolutions",
    "head_speed_rpm",
    "penetration_mm_rev",
    "penetration_rate_m_h",
    "thrust_kN",
    "net_thrust_kN",
    "torque_kNm",
    "net_torque_kNm",
    "disc_load_kN",
    "net_disc_load_kN",
    "fpi_kN_per_mm_rev",
    "net_fpi_kN_per_mm_rev",
    "tpi_kNm_per_mm_rev",
    "specific_energy_MJ_m3",
    "thrust_energy_MJ_m3",
    "rotary_energy_MJ_m3",
    "net_specific_energy_MJ_m3",
    "torque_ratio",
    "segment_reacted_share",
    "unrecorded_advance_m",
    "drag_source",
    "net_thrust_low_kN",
    "net_thrust_high_kN",
    "counted",
    "thrust_share_of_installed",
    "torque_share_of_installed",
    "net_disc_load_share_of_limit",
    "head_power_kW",
    "energy_per_metre_MJ_m",
    "specific_energy_kWh_m3",
    "net_specific_energy_kWh_m3",
    "tpi_per_disc_kNm_per_mm_rev",
    "torque_coefficient_kN_m2",
    "rolling_coefficient",
    "net_rolling_coefficient",
    "boreability_index_1mm_kN_per_mm_rev",
    "net_boreability_index_1mm_kN_per_mm_rev",
    "steady_share",
    "steady_time_share",
    "torque_spread_kNm",
    "torque_roughness_kNm",
    "penetration_spread_mm_rev",
    "penetration_roughness_mm_rev",
)
LABELS = {
    "ring": ("ring_source",),
    "ring-place": ("ring_source",),
    "stroke": (
        *(
            "pushing_set",
            "reaction",
            "interruptions",
            "drag_kN",
            "drag_sd_kN",
            "drag_n",
            "no_load_torque_kNm",
        ),
        *("no_load_sd_kNm", "no_load_n", "no_load_source", "no_load_speed_rpm", "regrip_force_kN"),
        *("start_thrust_kN", "going_on_kN", "free_thrust_kN"),
    ),
    "ground": (
        *("ground", "ground_kind", "ground_name", "ground_issued"),
        *("rmr", "rmr_class", "rmr_scheme", "q", "q_class", "q_scheme", "gsi", "gsi_class", "gsi_scheme"),
        *("ucs_MPa", "ucs_class", "ucs_scheme", "rqd_pct", "rqd_class", "rqd_scheme"),
        *("weathering_class", "weathering_scheme", "cai", "cai_class", "cai_scheme"),
        *("water_l_min", "water_class", "water_scheme", "seen_how", "seen_when"),
        *("boreability_class", "boreability_scheme"),
    ),
    "day": ("date",),
    "mark": ("mark",),
}
BY = ("step", "stroke", "ring", "ring-place", "shift", "day", "ground", "mark", "drive")
WHOLE = tuple(by for by in BY if by != "mark")  # marks may overlap and leave gaps: they carry no total


def drive(direction: str = "increasing", strokes: int = 20) -> TableDrive:
    """Strokes of 1.5 m from position 0.05 m, an hour apart, in two kinds of rock, every other off the ring."""
    setup = setup_of(
        start_m=4180.0 if direction == "increasing" else 4230.0,
        direction=direction,
        ring_length_m=1.5,
        ring_place_offset_m=12.0,
    )
    parts, start_us = [], START_US
    for i in range(strokes):
        ends = (0.05 + 1.5 * i, 0.05 + 1.5 * (i + 1))
        soft = 9.0 <= ends[0] < 15.0
        reaction = Reaction.RING if i % 2 else Reaction.GRIPPERS
        parts.append(
            steady(
                setup.drive.axis,
                ends,
                thrust_kN=6000.0 if soft else 10_000.0 + 100 * i,
                penetration_mm=11.0 if soft else 6.0,
                start_us=start_us,
                reaction=reaction,
            )
        )
        start_us = int(parts[-1]["end_us"][-1]) + HOUR_US
    cells = in_shifts(stack(parts), setup)
    rings = Table(
        {
            "ring": np.arange(7, 7 + strokes),
            "position_from_m": 0.05 + 1.5 * np.arange(strokes),
            "position_to_m": 0.05 + 1.5 * np.arange(1, strokes + 1),
            "nominal": np.arange(strokes) % 2,
        }
    )
    mapped = ground_of((2.0, 9.05, "gneiss"), (9.05, 15.0, "schist"), (20.0, 22.0, "gneiss"))
    return drive_of(setup, cells, rings=rings, mapped=mapped)


DRIVE = drive()


@pytest.mark.parametrize("by", BY)
@pytest.mark.parametrize("cells", [DRIVE.cells, DRIVE.cells.rows(slice(0, 0))], ids=["bored", "empty"])
def test_columns_are_those_of_the_design(by: str, cells: Table) -> None:
    rows = table(drive_of(DRIVE.setup, cells, rings=DRIVE.rings, mapped=DRIVE.mapped), by)
    assert rows.names == (*COLUMNS, *LABELS.get(by, ()))


@pytest.mark.parametrize("by", WHOLE)
@pytest.mark.parametrize("direction", ["increasing", "decreasing"])
def test_totals_hold_however_grouped(by: str, direction: str) -> None:
    of = drive(direction)
    rows = table(of, by, 0.7)
    for name in ("advance_m", "boring_s", "revolutions"):
        assert np.sum(rows[name]) == pytest.approx(np.sum(of.cells[name]), rel=1e-12)
    assert np.all(np.diff(rows["position_from_m"]) >= 0)


@pytest.mark.parametrize("by", WHOLE)
def test_energy_is_conserved_however_grouped(by: str) -> None:
    rows = table(DRIVE, by)
    area = np.pi * 6.0**2 / 4
    work = np.nansum(rows["specific_energy_MJ_m3"] * rows["advance_m"]) * area * 1000
    assert work == pytest.approx(
        np.sum(DRIVE.cells["thrust_work_kJ"] + DRIVE.cells["torque_work_kJ"]), rel=1e-9
    )


def test_a_coarse_step_is_the_sum_of_fine_ones() -> None:
    fine, coarse = table(DRIVE, "step", 0.5), table(DRIVE, "step", 1.5)
    row = np.searchsorted(coarse["position_to_m"], fine["position_to_m"] - 1e-6)
    for name in ("advance_m", "boring_s", "revolutions"):
        np.testing.assert_allclose(np.bincount(row, fine[name]), coarse[name])


@pytest.mark.parametrize("direction", ["increasing", "decreasing"])
def test_steps_begin_on_round_chainage_in_either_direction(direction: str) -> None:
    rows = table(drive(direction), "step", 1.0)
    for name in ("chainage_from_m", "chainage_to_m"):
        np.testing.assert_allclose(rows[name], np.round(rows[name]), atol=1e-9)
    rising = rows["chainage_to_m"] - rows["chainage_from_m"]
    np.testing.assert_allclose(rising, 1.0 if direction == "increasing" else -1.0)


def test_steps_without_advance_give_no_row() -> None:
    cells = DRIVE.cells.rows((DRIVE.cells["position_from_m"] < 3) | (DRIVE.cells["position_from_m"] > 7))
    rows = table(drive_of(DRIVE.setup, cells), "step", 1.0)
    assert not np.any((rows["position_from_m"] >= 3.1) & (rows["position_to_m"] <= 6.9))


@pytest.mark.published("Gokceoglu 2022", "read")
def test_published_count_of_intervals() -> None:
    """8 000 m in 1.5 m steps: 5 334 intervals, the last in part (Gokceoglu 2022 reports 5 334 cases)."""
    setup = setup_of(start_m=0.0)
    cells = steady(setup.drive.axis, (0.0, 8000.0))
    rows = table(drive_of(setup, cells), "step", 1.5)
    assert len(rows) == 5334
    assert rows["advance_m"][-1] == pytest.approx(0.5)


def test_strokes_are_numbered_along_the_drive() -> None:
    rows = table(DRIVE, "stroke")
    assert rows["stroke"].tolist() == list(range(1, 21))
    np.testing.assert_allclose(rows["advance_m"], 1.5)
    np.testing.assert_allclose(rows["position_to_m"] - rows["position_from_m"], 1.5)
    part = table(DRIVE, "stroke", from_chainage_m=4183.05, to_chainage_m=4186.05)
    assert part["stroke"].tolist() == [3, 4]


def test_a_ring_keeps_its_number_and_rows_of_several_have_none() -> None:
    rows = table(DRIVE, "ring")
    assert rows["ring"].tolist() == list(range(7, 27))
    assert rows["ring_source"].tolist()[:3] == ["counter", "nominal", "counter"]
    assert table(DRIVE, "stroke")["ring"].tolist() == list(range(7, 27))
    coarse = table(DRIVE, "step", 5.0)
    assert np.isnan(coarse["ring"]).tolist() == [True] * 6 + [False]  # the last metre holds 0.05 m of ring 26
    assert np.isnan(coarse["stroke"]).tolist() == [True] * 6 + [False]
    assert (coarse["ring"][-1], coarse["stroke"][-1]) == (26, 20)


def test_ring_place_is_behind_the_face() -> None:
    rows = table(DRIVE, "ring-place")
    np.testing.assert_array_equal(rows["ring"], [*range(15, 27), np.nan])
    np.testing.assert_allclose(rows["position_from_m"], 0.05 + 1.5 * np.arange(13))
    assert rows["position_to_m"][-1] == pytest.approx(30.05)


def test_rings_lie_edge_to_edge_though_strokes_differ() -> None:
    """Ends of strokes scatter by centimetres; rings leave no slivers between them."""
    scatter = np.random.default_rng(2).normal(0, 0.01, 20)
    scatter[:8] = 0  # these lie behind where the drive begins
    ends = DRIVE.rings["position_to_m"] + scatter
    rings = {"position_to_m": ends, "position_from_m": np.concatenate([[0.05], ends[:-1]])}
    of = drive_of(DRIVE.setup, DRIVE.cells, rings=DRIVE.rings.with_columns(rings))
    rows = table(of, "ring-place")
    np.testing.assert_allclose(rows["position_from_m"][1:], rows["position_to_m"][:-1])
    np.testing.assert_array_equal(rows["ring"], [*range(15, 27), np.nan])


def test_shift_and_day() -> None:
    by_shift, by_day = table(DRIVE, "shift"), table(DRIVE, "day")
    assert by_shift["shift"].tolist()[:3] == ["late", "night", "early"]
    assert by_day["date"].tolist() == ["2030-03-17", "2030-03-18", "2030-03-19"][: len(by_day)]
    assert by_day["shift"].tolist()[0] == ""
    np.testing.assert_allclose(by_day["boring_s"].sum(), by_shift["boring_s"].sum())


def test_ground_has_a_row_for_what_lies_outside() -> None:
    rows = table(DRIVE, "ground")
    advance = dict(zip(rows["ground"].tolist(), rows["advance_m"].tolist(), strict=True))
    assert sorted(rows["ground"].tolist()) == ["gneiss", "gneiss", "outside", "schist"]
    assert advance["schist"] == pytest.approx(5.95)
    assert advance["outside"] == pytest.approx(30.0 - 7.05 - 5.95 - 2.0)
    assert rows["fpi_kN_per_mm_rev"][rows["ground"] == "schist"][0] == pytest.approx(6000 / 40 / 11.0)


def test_without_ground_everything_is_outside() -> None:
    rows = table(drive_of(DRIVE.setup, DRIVE.cells), "ground")
    assert rows["ground"].tolist() == ["outside"]


def test_without_rings_a_table_by_ring_is_refused() -> None:
    with pytest.raises(DriveError, match="no ring"):
        table(drive_of(DRIVE.setup, DRIVE.cells), "ring")


def test_drive_is_one_row_even_when_empty() -> None:
    rows = table(drive_of(DRIVE.setup, DRIVE.cells.rows(slice(0, 0))), "drive")
    assert len(rows) == 1
    assert rows["advance_m"].tolist() == [0.0]
    assert rows["start_utc"].tolist() == [NO_TIME]
    assert np.all(np.isnan([rows[name][0] for name in ("thrust_kN", "revolutions", "position_from_m")]))


@pytest.mark.parametrize("by", [b for b in WHOLE if b not in ("drive", "ring", "ring-place", "ground")])
@pytest.mark.parametrize("direction", ["increasing", "decreasing"])
def test_from_and_to_divide_cells_in_either_order(by: str, direction: str) -> None:
    of = drive(direction)
    low, high = (float(of.axis.chainage_m(p)) for p in (3.333, 11.111))
    one = table(of, by, from_chainage_m=low, to_chainage_m=high)
    other = table(of, by, from_chainage_m=high, to_chainage_m=low)
    assert np.sum(one["advance_m"]) == pytest.approx(11.111 - 3.333)
    assert one["position_from_m"].min() == pytest.approx(3.333)
    assert one["position_to_m"].max() == pytest.approx(11.111)
    for name in COLUMNS[:4]:
        np.testing.assert_array_equal(one[name], other[name])


@given(st.lists(st.floats(-2.0, 33.0), min_size=1, max_size=5))
@settings(max_examples=25)
def test_parts_of_the_drive_add_up(cuts: list[float]) -> None:
    edges = [None, *sorted(4180.0 + cut for cut in cuts), None]
    parts = [table(DRIVE, "drive", from_chainage_m=low, to_chainage_m=high) for low, high in pairwise(edges)]
    for name in ("advance_m", "boring_s"):
        assert sum(p[name][0] for p in parts) == pytest.approx(np.sum(DRIVE.cells[name]), rel=1e-9)


@pytest.mark.parametrize(
    ("by", "step"), [("metre", 1.0), ("step", 0.25), ("step", 0.0), ("step", float("nan"))]
)
def test_a_grouping_or_step_that_is_none_is_wrong_usage(by: str, step: float) -> None:
    with pytest.raises(UsageError):
        table(DRIVE, by, step)


def test_a_missing_channel_makes_only_its_own_columns_missing() -> None:
    limits = {"main_thrust_installed_kN": 2e4, "aux_thrust_installed_kN": 2e4, "disc_load_limit_kN": 312.0}
    setup = setup_of(machine=replace(MACHINE, **limits))
    rows = table(drive_of(setup, without(DRIVE.cells, "torque")), "drive")
    missing = {name for name in COLUMNS if rows[name].dtype.kind == "f" and np.isnan(rows[name][0])}
    assert missing == {
        "stroke", "ring", "torque_kNm", "net_torque_kNm", "tpi_kNm_per_mm_rev", "specific_energy_MJ_m3",
        "rotary_energy_MJ_m3", "net_specific_energy_MJ_m3", "torque_ratio", "torque_share_of_installed",
        "head_power_kW", "energy_per_metre_MJ_m", "specific_energy_kWh_m3", "net_specific_energy_kWh_m3",
        "tpi_per_disc_kNm_per_mm_rev", "torque_coefficient_kN_m2", "rolling_coefficient",
        "net_rolling_coefficient", "torque_spread_kNm", "torque_roughness_kNm",
    }  # fmt: skip
    no_speed = table(drive_of(DRIVE.setup, without(DRIVE.cells, "turned", "revolutions")), "drive")
    assert np.isnan(no_speed["revolutions"][0])


def test_drag_is_the_strokes_else_the_setups_by_pushing_set() -> None:
    rows = table(DRIVE, "stroke")
    np.testing.assert_allclose(rows["thrust_kN"] - rows["net_thrust_kN"], np.tile([600.0, 2500.0], 10))
    assert set(rows["drag_source"]) == {"setup"}
    strokes = strokes_of(DRIVE.cells)
    own = {"drag_kN": np.full(20, np.nan), "drag_source": np.full(20, "", dtype=object)}
    own["drag_kN"][3], own["drag_source"][3] = 3100.0, "stroke"
    own["drag_kN"][5], own["drag_source"][5] = (
        1.0,
        "setup",
    )  # a constant noted earlier; the setup's counts now
    of = drive_of(DRIVE.setup, DRIVE.cells, strokes=strokes.with_columns(own))
    rows = table(of, "stroke")
    drag = rows["thrust_kN"] - rows["net_thrust_kN"]
    np.testing.assert_allclose(drag[[2, 3, 5]], [600.0, 3100.0, 2500.0])
    assert rows["drag_source"].tolist()[2:5] == ["setup", "stroke", "setup"]
    assert table(of, "drive")["drag_source"].tolist() == ["setup+stroke"]


def test_unknown_drag_makes_a_rows_net_figures_missing() -> None:
    setup = setup_of(machine=replace(MACHINE, aux_drag_kN=None, no_load_torque_kNm=None))
    rows = table(drive_of(setup, DRIVE.cells), "stroke")
    assert np.isnan(rows["net_thrust_kN"]).tolist() == [False, True] * 10
    assert rows["drag_source"].tolist()[:2] == ["setup", ""]
    assert np.all(np.isnan(rows["torque_ratio"]))


def test_unknown_drag_matters_only_where_thrust_was_measured() -> None:
    setup = setup_of(machine=replace(MACHINE, aux_drag_kN=None))
    ring = DRIVE.cells["reaction"] == Reaction.RING
    parts = [without(DRIVE.cells.rows(ring), "thrust"), DRIVE.cells.rows(~ring)]
    cells = stack(parts).rows(np.argsort(np.r_[np.flatnonzero(ring), np.flatnonzero(~ring)]))
    rows = table(drive_of(setup, cells), "drive")
    assert rows["thrust_kN"][0] - rows["net_thrust_kN"][0] == pytest.approx(600.0)


def test_thrust_counts_against_what_its_own_set_has_installed() -> None:
    installed = replace(MACHINE, main_thrust_installed_kN=20_000.0, aux_thrust_installed_kN=40_000.0)
    rows = table(drive_of(setup_of(machine=installed), DRIVE.cells), "stroke")
    share = rows["thrust_kN"] / np.tile([20_000.0, 40_000.0], 10)
    np.testing.assert_allclose(rows["thrust_share_of_installed"], share)
    main = replace(MACHINE, main_thrust_installed_kN=20_000.0)
    rows = table(drive_of(setup_of(machine=main), DRIVE.cells), "stroke")
    assert np.isnan(rows["thrust_share_of_installed"]).tolist() == [False, True] * 10


def test_share_of_segment_reacted_advance() -> None:
    assert table(DRIVE, "drive")["segment_reacted_share"][0] == pytest.approx(0.5)
    assert table(DRIVE, "stroke")["segment_reacted_share"].tolist() == [0.0, 1.0] * 10
    unknown = DRIVE.cells.with_columns({"reaction": np.full(len(DRIVE.cells), Reaction.UNKNOWN, np.int8)})
    assert np.isnan(table(drive_of(DRIVE.setup, unknown), "drive")["segment_reacted_share"][0])


def test_unrecorded_advance_is_in_advance_and_in_no_ratio() -> None:
    more = {"advance_m": np.array([2.0]), "unrecorded_advance_m": np.array([2.0])}
    gap = DRIVE.cells.rows(slice(-1, None))
    gap = gap.with_columns({n: np.zeros(1) for n in gap if MERGE.get(n) == ADD} | more)
    gap = gap.with_columns({"phase": np.full(1, Phase.NONE, np.int8)})
    before, after = (
        table(drive_of(DRIVE.setup, c), "drive") for c in (DRIVE.cells, stack([DRIVE.cells, gap]))
    )
    assert after["advance_m"][0] == pytest.approx(before["advance_m"][0] + 2.0)
    assert after["unrecorded_advance_m"][0] == 2.0
    for name in (
        "penetration_mm_rev",
        "penetration_rate_m_h",
        "net_fpi_kN_per_mm_rev",
        "specific_energy_MJ_m3",
    ):
        assert after[name][0] == pytest.approx(before[name][0])


def test_group_sums_equal_duckdbs() -> None:
    """Every sum of the cells by shift and by metre, against DuckDB's group-by of the same table."""
    import duckdb
    import pyarrow as pa

    cells = reading(DRIVE.cells, DRIVE.strokes, MACHINE)
    names = [name for name in cells if name in MERGE]
    frame = pa.table({name: cells[name] for name in cells})
    verbs = {"add": "sum", "min": "min", "max": "max"}
    for key in ("shift_start_us", "step // 10"):
        columns = ", ".join(f"{verbs[MERGE[name]]}({name})" for name in names)
        expected = duckdb.sql(f"SELECT {columns} FROM frame GROUP BY {key} ORDER BY {key}").fetchnumpy()
        number = cells["step"] // 10 if "step" in key else cells["shift_start_us"]
        distinct, group = np.unique(number, return_inverse=True)
        grouped = group_sums(cells, group.astype(np.int64), len(distinct))
        for name, column in zip(names, expected.values(), strict=True):
            np.testing.assert_allclose(grouped[name], column, rtol=1e-12)
    assert len(frame) == len(cells)


def test_steady_boring_only_leaves_out_loading_and_unloading() -> None:
    of = drive(strokes=2)
    assert table(of, "drive")["steady_share"][0] == 1.0
    phase = np.full(len(of.cells), Phase.STEADY, np.int8)
    phase[[0, -1]] = Phase.LOADING, Phase.UNLOADING
    parts = replace(of, cells=of.cells.with_columns({"phase": phase}))
    whole, steady = table(parts, "drive"), table(parts, "drive", steady_only=True)
    assert whole["advance_m"][0] == pytest.approx(3.0)
    assert steady["advance_m"][0] == pytest.approx(3.0 - of.cells["advance_m"][[0, -1]].sum())
    assert whole["steady_share"][0] == pytest.approx(steady["advance_m"][0] / 3.0)
    assert (whole["counted"].tolist(), steady["counted"].tolist()) == (["all boring"], ["steady boring"])


def test_steady_boring_of_slow_logs_is_refused() -> None:
    of = drive(strokes=1)
    slow = replace(of, cells=of.cells.with_columns({"phase": np.zeros(len(of.cells), np.int8)}))
    with pytest.raises(DriveError, match="more than 5 s"):
        table(slow, "stroke", steady_only=True)
