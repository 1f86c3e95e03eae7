"""Laws that hold for every indicator of the registry, and its pages in help."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import tbmreview
from tbmreview.domain.sums import MERGE
from tbmreview.indicators import BY_NAME, INDICATORS, Indicator, indicator_columns
from tests.support.blocks import Block, machine, sums_of, together

M = machine()
HELP = Path(tbmreview.__file__).parent / "help"
BLOCK = Block(drag_kN=600.0, no_load_kNm=180.0, drag_sd_kN=100.0)
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
    "": (0, 0),
}

blocks = st.builds(
    Block,
    thrust_kN=st.floats(500, 30_000),
    torque_kNm=st.floats(50, 6_000),
    rpm=st.floats(0.5, 12),
    penetration_mm=st.floats(0.2, 20),
    revolutions=st.floats(0.1, 500),
    drag_kN=st.floats(0, 5_000),
    no_load_kNm=st.floats(0, 500),
    drag_sd_kN=st.floats(0, 500),
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


@pytest.mark.parametrize("indicator", INDICATORS, ids=lambda i: i.name)
@given(blocks, st.floats(0.25, 4))
@settings(max_examples=20)
def test_values_scale_with_force(indicator: Indicator, block: Block, factor: float) -> None:
    """Twice the force and torque everywhere: twice what is measured in them, the rest unchanged."""
    stronger = Block(
        block.thrust_kN * factor,
        block.torque_kNm * factor,
        block.rpm,
        block.penetration_mm,
        block.revolutions,
        block.drag_kN * factor,
        block.no_load_kNm * factor,
        block.drag_sd_kN * factor,
    )
    power = POWERS[indicator.unit][0]
    before, after = (indicator.function(sums_of(b), M)[0] for b in (block, stronger))
    assert after == pytest.approx(before * factor**power, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("indicator", INDICATORS, ids=lambda i: i.name)
@given(blocks, st.floats(0.25, 4))
@settings(max_examples=20)
def test_values_scale_with_time(indicator: Indicator, block: Block, factor: float) -> None:
    """The same revolutions in more time: only rates per time change."""
    slower = Block(
        block.thrust_kN,
        block.torque_kNm,
        block.rpm / factor,
        block.penetration_mm,
        block.revolutions,
        block.drag_kN,
        block.no_load_kNm,
        block.drag_sd_kN,
    )
    power = POWERS[indicator.unit][1]
    before, after = (indicator.function(sums_of(b), M)[0] for b in (block, slower))
    assert after == pytest.approx(before * factor**power, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("indicator", INDICATORS, ids=lambda i: i.name)
@given(blocks, st.integers(2, 9))
@settings(max_examples=20)
def test_a_stretch_bored_alike_has_the_value_of_its_parts(
    indicator: Indicator, block: Block, count: int
) -> None:
    one, many = sums_of(block), together(sums_of(*[block] * count))
    assert indicator.function(many, M)[0] == pytest.approx(indicator.function(one, M)[0], rel=1e-9, abs=1e-9)


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


def test_nothing_measured_is_missing_everywhere() -> None:
    empty = {name: np.zeros(3) for name in sums_of(BLOCK)}
    for name, values in indicator_columns(empty, M).items():
        assert np.all(np.isnan(values)), name


NET_THRUST = {"net_thrust_kN", "net_thrust_low_kN", "net_thrust_high_kN"}
THRUST_GONE = {"thrust_kN", *NET_THRUST, "disc_load_kN", "net_disc_load_kN", "fpi_kN_per_mm_rev"} | {
    "net_fpi_kN_per_mm_rev", "specific_energy_MJ_m3", "thrust_energy_MJ_m3", "net_specific_energy_MJ_m3", "torque_ratio"
}  # fmt: skip
TORQUE_GONE = {"torque_kNm", "net_torque_kNm", "tpi_kNm_per_mm_rev", "torque_ratio", "specific_energy_MJ_m3"} | {
    "rotary_energy_MJ_m3", "net_specific_energy_MJ_m3"
}  # fmt: skip
SPEED_GONE = {"head_speed_rpm", "penetration_mm_rev", "fpi_kN_per_mm_rev", "net_fpi_kN_per_mm_rev"} | {
    "tpi_kNm_per_mm_rev", "torque_ratio", "specific_energy_MJ_m3", "rotary_energy_MJ_m3", "net_specific_energy_MJ_m3"
}  # fmt: skip


@pytest.mark.parametrize(
    ("sums", "gone"),
    [
        (("thrust_", "drag_"), THRUST_GONE),
        (("torque_", "no_load_"), TORQUE_GONE),
        (
            ("revolutions", "turned_", "torque_work", "torque_advance", "torque_revolutions", "no_load_work"),
            SPEED_GONE,
        ),
        (("ring_", "known_"), {"segment_reacted_share"}),
    ],
    ids=["thrust", "torque", "head speed", "reaction"],
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
    assert missing == {
        *NET_THRUST,
        "net_disc_load_kN",
        "net_fpi_kN_per_mm_rev",
        "net_specific_energy_MJ_m3",
    }


@pytest.mark.parametrize("indicator", INDICATORS, ids=lambda i: i.name)
def test_each_indicator_has_its_worked_example_in_help(indicator: Indicator) -> None:
    """The family's page shows the value that the code computes for the test machine's example."""
    page = (HELP / f"{indicator.family}.md").read_text(encoding="utf-8")
    sums = {**sums_of(BLOCK), "ring_reacted_advance_m": sums_of(BLOCK)["advance_m"] / 4}
    value = indicator.function(sums, M)[0]
    assert f"| `{indicator.name}` | {value:.{indicator.decimals}f} |" in page
