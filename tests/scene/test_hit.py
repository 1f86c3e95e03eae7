"""What the read-out says is what the tables hold."""

import numpy as np
import pytest

from tbmreview.scene.compose import compose
from tbmreview.scene.hit import finding_at, position_at, read_out, row_at, strip_at
from tbmreview.scene.look import PX
from tbmreview.scene.session import open_session
from tests.support.scenes import InventedSource

SOURCE = InventedSource(falling=True)
SESSION = open_session(SOURCE).with_step(1.0)
PLAN = compose(SOURCE, SESSION, (1200 * PX, 800 * PX))


def x_of(position_m: float) -> float:
    low, high = PLAN.view_m
    return PLAN.plot.left + (position_m - low) / (high - low) * PLAN.plot.width


def test_a_reading_is_the_row_under_the_point():
    out = read_out(SOURCE, SESSION, PLAN, x_of(100.5), PLAN.strips[1].box.top + 1)
    assert out is not None
    assert out.position_m == pytest.approx(100.5)
    assert out.chainage == "42+079.90"
    assert out.strip == PLAN.strips[1].name == "thrust"
    table = SOURCE.profile(1.0)
    row = int(np.flatnonzero(table["position_from_m"] == 100.0)[0])
    by_label = {r.label: r for r in out.readings}
    assert by_label["Thrust, net"].value == f"{table['net_thrust_kN'][row]:,.0f}".replace(",", "\u00a0")
    assert by_label["Thrust, net"].unit == "kN"
    assert by_label["Penetration"].value == f"{table['penetration_mm_rev'][row]:.1f}".rstrip("0").rstrip(".")
    assert by_label["Reaction"].value in {"grippers", "ring", "part ring"}
    assert out.interval == "42+080.40 to 42+079.40"
    assert out.ground[0][0] == "mapped"


def test_in_a_gap_nothing_is_read():
    table = SOURCE.profile(1.0)
    gap = int(np.flatnonzero(np.diff(table["position_from_m"]) > 1.5)[0])
    place = float(table["position_to_m"][gap]) + 0.5
    out = read_out(SOURCE, SESSION, PLAN, x_of(place), PLAN.plot.top + 1)
    assert out is not None
    assert out.interval == ""
    assert {r.value for r in out.readings} == {""}
    assert all("not measured" in line for line in out.lines()[1 : 1 + len(out.readings)])


def test_a_missing_value_is_not_a_zero():
    table = SOURCE.profile(1.0)
    row = int(np.flatnonzero(~np.isfinite(table["torque_kNm"]))[0])
    middle = float(table["position_from_m"][row]) + 0.5
    out = read_out(SOURCE, SESSION, PLAN, x_of(middle), PLAN.plot.top + 1)
    assert out is not None
    by_label = {r.label: r.value for r in out.readings}
    assert by_label["Torque, gross"] == ""
    assert by_label["Thrust, gross"] != ""
    assert by_label["Reaction"] == "not known"


def test_beside_the_plot_there_is_nothing():
    assert read_out(SOURCE, SESSION, PLAN, PLAN.plot.left - 1, 100) is None
    assert position_at(PLAN, PLAN.plot.right + 1) is None


def test_rows_and_strips_are_told_by_height():
    for row in PLAN.rows:
        assert strip_at(PLAN, row.box.top + row.box.height / 2) == row.name
    assert strip_at(PLAN, PLAN.height) == ""


def test_the_nearest_finding_is_met_and_only_near():
    finding = SOURCE.findings()[0]
    inside = (finding.position_from_m + finding.position_to_m) / 2
    assert finding_at(SOURCE.findings(), inside, 0.0) == finding
    assert finding_at((finding,), finding.position_to_m + 2, 1.0) is None
    assert finding_at((finding,), finding.position_to_m + 0.5, 1.0) == finding


def test_a_step_holds_the_position_where_it_begins_and_not_where_it_ends():
    table = SOURCE.profile(1.0)
    place = float(table["position_from_m"][5])
    assert row_at(table, place) == 5
    assert row_at(table, float(table["position_to_m"][-1])) is None
