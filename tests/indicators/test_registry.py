"""Laws that hold for every indicator of the registry."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tbmreview.domain.sums import MERGE
from tbmreview.indicators import BY_NAME, INDICATORS, Indicator, indicator_columns
from tests.support.blocks import Block, machine, sums_of, together

M = machine()
BLOCK = Block(drag_kN=600.0, no_load_kNm=180.0, drag_sd_kN=100.0, spread_kNm=90.0, spread_mm=0.5)
# Powers of force and of time in each unit.
POWERS = {
    "rpm": (0, -1),
    "mm/rev": (0, 0),
    "m/h": (0, -1),
    "kN": (1, 0),
    "kNm": (1, 0),
    "kN/(mm/rev)": (1, 0),
    "kNm/(mm/rev)": (1, 0),
    "MJ/m³": (1, 0),
    "kWh/m³": (1, 0),
    "MJ/m": (1, 0),
    "kW": (1, -1),
    "kN/m²": (1, 0),
    "": (0, 0),
}
OF_A_LIMIT = {
    "thrust_share_of_installed": (1, 0),
    "torque_share_of_installed": (1, 0),
    "net_disc_load_share_of_limit": (1, 0),
}


def powers(indicator: Indicator) -> tuple[int, int]:
    return OF_A_LIMIT.get(indicator.name, POWERS[indicator.unit])


blocks = st.builds(
    Block,
    thrust_kN=st.floats(6_000, 30_000),
    torque_kNm=st.floats(50, 6_000),
    rpm=st.floats(0.5, 12),
    penetration_mm=st.floats(0.2, 20),
    revolutions=st.floats(0.1, 500),
    drag_kN=st.floats(0, 5_000),
    no_load_kNm=st.floats(0, 500),
    drag_sd_kN=st.floats(0, 500),
    spread_kNm=st.floats(1, 500),
    spread_mm=st.floats(0.01, 5),
)


def test_names_are_given_once_and_needs_are_sums() -> None:
    assert len(BY_NAME) == len(INDICATORS)
    for indicator in INDICATORS:
        assert set(indicator.needs) <= set(MERGE), indicator.name


@pytest.mark.parametrize("indicator", INDICATORS, ids=lambda i: i.name)
def test_needs_are_exactly_what_the_function_reads(indicator: Indicator) -> None:
    read: set[str] = set()

    class Watched(dict[str, np.ndarray]):
        def __getitem__(self, name: str) -> np.ndarray:
            read.add(name)
            return super().__getitem__(name)

    indicator.function(Watched(sums_of(BLOCK)), M)
    assert read == set(indicator.needs)


def agree(before: dict[str, np.ndarray], after: dict[str, np.ndarray], factors: dict[str, float]) -> None:
    expected = [before[name][0] * factor for name, factor in factors.items()]
    np.testing.assert_allclose([after[name][0] for name in factors], expected, rtol=1e-6, atol=1e-6)


@given(blocks, st.floats(0.25, 4))
@settings(max_examples=20)
def test_values_scale_with_force(block: Block, factor: float) -> None:
    """Twice the force and torque everywhere: twice what is measured in them, the rest unchanged."""
    forces = ("thrust_kN", "torque_kNm", "drag_kN", "no_load_kNm", "drag_sd_kN", "spread_kNm")
    stronger = replace(block, **{name: getattr(block, name) * factor for name in forces})
    before, after = (indicator_columns(sums_of(b), M) for b in (block, stronger))
    agree(before, after, {i.name: factor ** powers(i)[0] for i in INDICATORS})


@given(blocks, st.floats(0.25, 4))
@settings(max_examples=20)
def test_values_scale_with_time(block: Block, factor: float) -> None:
    """The same revolutions in more time: only rates per time change."""
    before, after = (
        indicator_columns(sums_of(b), M) for b in (block, replace(block, rpm=block.rpm / factor))
    )
    agree(before, after, {i.name: factor ** powers(i)[1] for i in INDICATORS})


@given(blocks, st.integers(2, 9))
@settings(max_examples=20)
def test_a_stretch_bored_alike_has_the_value_of_its_parts(block: Block, count: int) -> None:
    one, many = sums_of(block), together(sums_of(*[block] * count))
    agree(indicator_columns(one, M), indicator_columns(many, M), {i.name: 1.0 for i in INDICATORS})


@given(st.lists(blocks, min_size=3, max_size=6))
@settings(max_examples=20)
def test_a_coarse_interval_is_the_sum_of_finer_ones(parts: list[Block]) -> None:
    """Grouped at once or in two steps: the same indicators."""
    sums = sums_of(*parts)
    first, rest = ({n: v[part] for n, v in sums.items()} for part in (slice(0, 2), slice(2, None)))
    twice = {n: np.concatenate([together(first)[n], together(rest)[n]]) for n in sums}
    agree(
        indicator_columns(together(sums), M),
        indicator_columns(together(twice), M),
        {i.name: 1.0 for i in INDICATORS},
    )


@given(st.lists(blocks, min_size=2, max_size=6))
def test_energy_parts_add_and_energy_of_a_whole_lies_between_its_parts(parts: list[Block]) -> None:
    sums = sums_of(*parts)
    columns, whole = indicator_columns(sums, M), indicator_columns(together(sums), M)
    total = columns["thrust_energy_MJ_m3"] + columns["rotary_energy_MJ_m3"]
    np.testing.assert_allclose(columns["specific_energy_MJ_m3"], total)
    low, high = total.min() * (1 - 1e-9), total.max() * (1 + 1e-9)
    assert low <= whole["specific_energy_MJ_m3"][0] <= high
    volume = sums["advance_m"]
    assert whole["specific_energy_MJ_m3"][0] == pytest.approx(np.average(total, weights=volume), rel=1e-9)
    np.testing.assert_allclose(columns["specific_energy_kWh_m3"] * 3.6, total)
    np.testing.assert_allclose(columns["energy_per_metre_MJ_m"], total * np.pi * M.bore_diameter_m**2 / 4)
    head = columns["rotary_energy_MJ_m3"] * np.pi * M.bore_diameter_m**2 / 4 * volume * 1000
    np.testing.assert_allclose(columns["head_power_kW"], head / sums["boring_s"])


def test_without_advance_what_is_per_advance_is_missing_not_infinite() -> None:
    columns = indicator_columns(sums_of(replace(BLOCK, penetration_mm=0.0)), M)
    assert {name for name, values in columns.items() if np.isnan(values[0])} == {
        i.name for i in INDICATORS if re.search("energy|fpi|tpi|_1mm|segment|steady_share", i.name)
    }
    assert not any(np.isinf(values[0]) for values in columns.values())


def test_nothing_measured_is_missing_everywhere() -> None:
    empty = {name: np.zeros(3) for name in sums_of(BLOCK)}
    for name, values in indicator_columns(empty, M).items():
        assert np.all(np.isnan(values)), name


NET_THRUST = {
    *(
        "net_thrust_kN",
        "net_thrust_low_kN",
        "net_thrust_high_kN",
        "net_disc_load_kN",
        "net_fpi_kN_per_mm_rev",
    ),
    *("net_disc_load_share_of_limit", "net_rolling_coefficient", "net_boreability_index_1mm_kN_per_mm_rev"),
}
ENERGY = {
    *(
        "specific_energy_MJ_m3",
        "net_specific_energy_MJ_m3",
        "specific_energy_kWh_m3",
        "net_specific_energy_kWh_m3",
    ),
    "energy_per_metre_MJ_m",
}
THRUST_GONE = {
    *(*NET_THRUST, *ENERGY, "thrust_kN", "disc_load_kN", "fpi_kN_per_mm_rev", "thrust_energy_MJ_m3"),
    *(
        "torque_ratio",
        "thrust_share_of_installed",
        "rolling_coefficient",
        "boreability_index_1mm_kN_per_mm_rev",
    ),
}
TORQUE_GONE = {
    *(
        *ENERGY,
        "torque_kNm",
        "net_torque_kNm",
        "tpi_kNm_per_mm_rev",
        "tpi_per_disc_kNm_per_mm_rev",
        "torque_ratio",
    ),
    *("rotary_energy_MJ_m3", "torque_share_of_installed", "head_power_kW", "torque_coefficient_kN_m2"),
    *("rolling_coefficient", "net_rolling_coefficient", "torque_spread_kNm", "torque_roughness_kNm"),
}
SPEED_GONE = {
    *(*ENERGY, "head_speed_rpm", "penetration_mm_rev", "fpi_kN_per_mm_rev", "net_fpi_kN_per_mm_rev"),
    *(
        "tpi_kNm_per_mm_rev",
        "tpi_per_disc_kNm_per_mm_rev",
        "torque_ratio",
        "rotary_energy_MJ_m3",
        "head_power_kW",
    ),
    *("boreability_index_1mm_kN_per_mm_rev", "net_boreability_index_1mm_kN_per_mm_rev"),
}
SPEED_SUMS = ("revolutions", "turned_", "torque_work", "torque_advance", "torque_revolutions", "no_load_work")


@pytest.mark.parametrize(
    ("sums", "gone"),
    [
        (("thrust_", "drag_"), THRUST_GONE),
        (("torque_", "no_load_"), TORQUE_GONE),
        ((*SPEED_SUMS, "torque_turned"), SPEED_GONE),
        (("penetration_",), {"penetration_spread_mm_rev", "penetration_roughness_mm_rev"}),
        (("ring_", "known_"), {"segment_reacted_share"}),
        (("steady_", "phased_"), {"steady_share", "steady_time_share"}),
    ],
    ids=["thrust", "torque", "head speed", "penetration", "reaction", "phase"],
)
def test_a_missing_channel_makes_only_its_own_indicators_missing(
    sums: tuple[str, ...], gone: set[str]
) -> None:
    logged = sums_of(BLOCK)
    without = {name: 0 * values if name.startswith(sums) else values for name, values in logged.items()}
    missing = {name for name, values in indicator_columns(without, M).items() if np.isnan(values[0])}
    assert missing == gone


def test_unknown_drag_makes_only_net_thrust_figures_missing() -> None:
    columns = indicator_columns(sums_of(Block(no_load_kNm=180.0)), M)
    missing = {name for name, values in columns.items() if np.isnan(values[0])}
    assert missing == {*NET_THRUST, "net_specific_energy_MJ_m3", "net_specific_energy_kWh_m3"}


def test_a_limit_that_is_not_given_makes_only_its_share_missing() -> None:
    bare = machine(disc_load_limit_kN=None, torque_installed_kNm=None)
    columns = indicator_columns(sums_of(replace(BLOCK, installed_kN=np.nan)), bare)
    assert {name for name, values in columns.items() if np.isnan(values[0])} == OF_A_LIMIT.keys()
