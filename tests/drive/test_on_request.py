"""Columns on request: they come after all others, follow the rows, and are empty where nothing is given."""

from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tbmreview.domain.setup import Accuracy
from tbmreview.domain.table import Table, stack
from tbmreview.drive.columns_on_request import ON_REQUEST, RESPONSE_COLUMNS
from tbmreview.drive.export import text_table
from tbmreview.drive.on_request import table_on_request, uncertainty_by_step
from tbmreview.drive.table import Asked, table
from tests.support.cells import HOUR_US, MACHINE, START_US, TableDrive, drive_of, in_shifts, setup_of, steady

SENSORS = Accuracy(
    thrust_systematic_percent=1.0,
    thrust_random_percent=5.0,
    torque_systematic_percent=1.0,
    head_speed_systematic_percent=0.0,
    stroke_systematic_percent=0.0,
    stroke_random_mm=1.0,
    bore_systematic_mm=10.0,
)


def drive(accuracy: Accuracy = SENSORS, *, exponent: float = 2.0) -> TableDrive:
    """Four strokes of 1.5 m whose penetration follows (net disc load / 120 kN)^exponent as load varies by the
    decimetre; 600 kN of drag without spread."""
    setup = setup_of(machine=replace(MACHINE, constant_spread=0.0))
    parts, start_us = [], START_US
    for stroke in range(4):
        for i in range(15):
            load = 200.0 + 10.0 * (i % 8) if exponent else 250.0
            low = stroke * 1.5 + 0.1 * i
            part = steady(
                setup.drive.axis,
                (round(low, 6), round(low + 0.1, 6)),
                thrust_kN=40 * load + 600,
                penetration_mm=(load / 120) ** exponent,
                start_us=start_us,
            )
            parts.append(part.with_columns({"stroke_start_us": np.full(len(part), START_US + stroke)}))
            start_us = int(part["end_us"][-1])
        start_us += HOUR_US
    return drive_of(replace(setup, accuracy=accuracy), in_shifts(stack(parts), setup))


def names_beside(rows: Table, plain: Table) -> tuple[str, ...]:
    assert rows.names[: len(plain.names)] == plain.names
    for name in plain.names:
        if rows[name].dtype.kind == "f":
            np.testing.assert_allclose(rows[name], plain[name], rtol=1e-12, atol=1e-12)
        else:
            assert rows[name].tolist() == plain[name].tolist()
    return rows.names[len(plain.names) :]


def test_they_come_after_all_else_and_change_nothing() -> None:
    both = table_on_request(drive(), Asked("stroke", uncertainty=True, response=True))
    added = names_beside(both, table(drive(), "stroke"))
    assert added[-len(RESPONSE_COLUMNS) :] == RESPONSE_COLUMNS
    assert set(added) == ON_REQUEST.keys()
    assert names_beside(table_on_request(drive(), Asked("stroke")), table(drive(), "stroke")) == ()


def test_systematic_stays_and_random_shrinks_from_stroke_to_drive() -> None:
    by_stroke, whole = (table_on_request(drive(), Asked(by, uncertainty=True)) for by in ("stroke", "drive"))
    assert whole["thrust_kN_u95"][0] == pytest.approx(1.96 * 0.01 * whole["thrust_kN"][0], rel=0.01)
    share = by_stroke["thrust_kN_u95_random"] / by_stroke["thrust_kN"]
    np.testing.assert_allclose(share, 2 * whole["thrust_kN_u95_random"][0] / whole["thrust_kN"][0], rtol=0.01)
    # 1.5 m between two readings of 1 mm; the whole drive has eight of them over 6 m
    ends = by_stroke["penetration_rate_m_h_u95"] / by_stroke["penetration_rate_m_h"]
    np.testing.assert_allclose(ends, 1.96 * np.sqrt(2) * 0.001 / 1.5)
    assert whole["penetration_rate_m_h_u95"][0] == pytest.approx(
        1.96 * np.sqrt(8) * 0.001 / 6.0 * whole["penetration_rate_m_h"][0]
    )


def test_by_step_of_some_is_what_the_table_says() -> None:
    names = ("net_fpi_kN_per_mm_rev", "head_power_kW")
    found = uncertainty_by_step(drive(), 0.5, names)
    rows = table_on_request(drive(), Asked("step", step_m=0.5, uncertainty=True))
    assert tuple(found) == names
    for name in names:
        np.testing.assert_array_equal(found[name].u95, rows[f"{name}_u95"])
        assert found[name].lacks == ()
    deaf = uncertainty_by_step(drive(replace(SENSORS, torque_systematic_percent=None)), 0.5, names)
    assert [one.lacks for one in deaf.values()] == [(), ("torque",)]


def test_without_accuracy_the_columns_are_empty() -> None:
    rows = table_on_request(drive(Accuracy()), Asked("step", uncertainty=True))
    for name in ("thrust_kN", "net_fpi_kN_per_mm_rev", "specific_energy_MJ_m3"):
        assert np.isnan(rows[f"{name}_u95"]).all()


def test_text_has_them_behind_the_value() -> None:
    rows = table_on_request(drive(), Asked("stroke", uncertainty=True))
    text = text_table(rows, ZoneInfo("Europe/Oslo"))
    assert f"{rows['thrust_kN'][0]:.0f} ± {rows['thrust_kN_u95'][0]:.0f}" in text
    assert "±" not in text_table(table(drive(), "stroke"), ZoneInfo("Europe/Oslo"))


@pytest.mark.parametrize("by", ["stroke", "drive"])
def test_the_law_of_penetration_and_load_is_found_again(by: str) -> None:
    rows = table_on_request(drive(), Asked(by, response=True))
    np.testing.assert_allclose(rows["response_slope"], 2.0, rtol=1e-6)
    np.testing.assert_allclose(rows["critical_load_kN"], 120.0, rtol=1e-6)
    assert rows["response_points"].tolist() == ([15.0] * 4 if by == "stroke" else [60.0])
    assert set(rows["response_refused"]) == {""}
    assert set(rows["response_control"]) == {"uncontrolled"}
    assert "critical load" in text_table(rows, ZoneInfo("Europe/Oslo"))


def test_a_load_that_hardly_varies_is_refused_in_words() -> None:
    rows = table_on_request(drive(exponent=0.0), Asked("stroke", response=True))
    assert np.isnan(rows["response_slope"]).all()
    assert set(rows["response_refused"]) == {"load hardly varies"}
    assert set(rows["response_control"]) == {""}


def test_an_empty_drive_has_the_columns() -> None:
    of = drive()
    none = drive_of(of.setup, of.cells.rows(slice(0, 0)))
    for by, count in (("stroke", 0), ("drive", 1)):
        rows = table_on_request(none, Asked(by, uncertainty=True, response=True))
        assert len(rows) == count
        assert set(ON_REQUEST) <= set(rows.names)
