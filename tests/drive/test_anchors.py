"""Sums of strokes that do not close (invented), closed on stations or on the logged chainage: as a surveyor would."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.small_drive import bytes_of, new_drive
from support.traverse import Floats, Traverse

from tbmreview.domain.errors import ChainageError, SiteError
from tbmreview.domain.overrules import Overrule
from tbmreview.domain.site import EQUATIONS, FOR_EVER_US, site_column
from tbmreview.domain.sums import ADD, SUMS
from tbmreview.domain.table import Table
from tbmreview.drive.anchors import anchor_table, import_equations, import_stations, odd_lines
from tbmreview.drive.check import total_problems
from tbmreview.drive.closing import Closing, closing
from tbmreview.drive.opened import open_drive
from tbmreview.drive.placed import laid, placed

KINDS = {
    "head, rising": {},
    "rear, falling": {"on_rear": True, "direction": "decreasing"},
    "offset known": {"offset_m": 11.5, "drive": {"guidance_offset_m": 11.5}},
    "offset not known": {"offset_m": 11.5, "direction": "decreasing"},
    "strokes too long": {"gain": -0.02},
    "noise of 20 mm": {"guidance_mm": 20.0, "n": 150},
}


def closed(t: Traverse) -> Closing:
    return closing(t, t.tables)


def off_m(t: Traverse, c: Closing) -> Floats:
    """How far the placed ends of strokes are off their true places."""
    assert c.course is not None
    return c.course.position(t.shown_m) - t.true_m


def wavy(n: int) -> Floats:
    """Gains from 1 to 2 %, changing over some 400 m."""
    return 0.015 + 0.005 * np.sin(np.arange(n) / 45)


# --- surveyed stations --------------------------------------------------------------------------


@pytest.mark.parametrize("direction", ["increasing", "decreasing"])
@pytest.mark.parametrize(("apart_m", "sd_m"), [(20.0, 0.01), (60.0, 0.01), (200.0, 0.0)])
def test_every_second_station_held_out(direction: str, apart_m: float, sd_m: float) -> None:
    t = Traverse(n=420, gain=wavy(420), guidance_mm=None, direction=direction)
    stations = np.arange(4.0, t.true_m[-1], apart_m / 2)
    kept, held = stations[::2], stations[1:-1:2]
    c = closed(t.survey(kept, np.random.default_rng(3).normal(0, sd_m, len(kept)), offset_m=8.0))
    assert [a.why for a in c.anchors] == [""] * len(kept)
    assert c.course is not None
    there = c.course.position(np.interp(held, t.true_m, t.shown_m))
    held = held[held < kept[-1]]
    assert np.abs(there[: len(held)] - held).max() <= max(0.15, 0.002 * apart_m)


def test_the_table_reads_like_a_closed_traverse() -> None:
    t = Traverse(n=60, gain=0.02, guidance_mm=None).survey(np.array([10.0, 30.0, 70.0]))
    table = anchor_table(closed(t), t.axis)
    np.testing.assert_allclose(table["chainage_m"], [4190.0, 4210.0, 4250.0], atol=1e-4)
    np.testing.assert_allclose(table["stroke_chainage_m"], 4180 + np.array([10, 30, 70]) / 1.02, atol=1e-4)
    np.testing.assert_allclose(
        table["misclosure_mm"][1:], [20_000 * 0.02 / 1.02, 40_000 * 0.02 / 1.02], atol=0.2
    )
    np.testing.assert_allclose(table["misclosure_permille"][1:], 20.0, atol=0.01)
    assert np.isnan(table["misclosure_mm"][0])


def test_beyond_the_last_station_the_misclosure_goes_on_as_it_arose() -> None:
    t = Traverse(n=60, gain=0.02, guidance_mm=None).survey(np.array([20.0, 60.0]))
    assert np.abs(off_m(t, closed(t))).max() < 1e-3
    one = closed(t.survey(np.array([20.0])))  # tells where the face was, not what the strokes gain
    np.testing.assert_allclose(np.diff(off_m(t, one)), np.diff(t.shown_m) - np.diff(t.true_m), atol=1e-9)


def test_beyond_the_last_station_the_logged_chainage_goes_on_from_it() -> None:
    t = Traverse(n=120, gain=wavy(120), offset_m=9.0, jumps={20: 0.3}).survey(np.array([60.0, 90.0]))
    c = closed(t)
    assert np.abs(off_m(t, c)).max() < 0.05
    assert {a.source for a in c.anchors if not a.why} == {"surveyed", "guidance"}


def test_a_station_that_contradicts_the_others_is_left_out_and_says_why() -> None:
    t = Traverse(n=80, guidance_mm=None)
    off = np.zeros(6)
    off[2] = 10.0  # a slip of the pen
    c = closed(t.survey(np.linspace(5, 105, 6), off))
    whys = [a.why for a in c.anchors]
    assert [bool(why) for why in whys] == [False, False, True, False, False, False]
    assert "contradicts its neighbour" in whys[2]
    assert np.abs(off_m(t, c)).max() < 0.01


def test_stations_without_a_record_of_their_time_are_left_out() -> None:
    t = Traverse(n=40, guidance_mm=None).survey(np.array([20.0, 40.0]))
    stated = t.stated["anchors"]
    t.stated["anchors"] = stated.with_columns({"time_us": stated["time_us"] + np.array([0, 10**13])})
    c = closed(t)
    assert [a.why for a in c.anchors] == ["", "there is no record of that time"]


def test_a_person_leaves_a_station_out_and_takes_that_back() -> None:
    t = Traverse(n=40, guidance_mm=None).survey(np.array([10.0, 30.0, 50.0]))
    at = int(t.when(np.array([30.0]))[0])
    said = Overrule("anchor", at, at + 1, "left out", "tripod knocked", decided_by="Ida")
    t.said = (said,)
    assert [a.why for a in closed(t).anchors] == ["", "left out by Ida: tripod knocked", ""]
    t.said = (replace(said, withdrawn=True),)
    assert not any(a.why for a in closed(t).anchors)


def test_a_mistyped_station_moves_nothing_unless_a_person_insists() -> None:
    t = Traverse(n=40, guidance_mm=2.0).survey(np.array([30.0]), np.array([782.0]))
    one = next(a for a in closed(t).anchors if a.source == "surveyed")
    assert "no other station confirms it" in one.why
    assert np.abs(off_m(t, closed(t))).max() < 0.05
    t.said = (
        Overrule("anchor", one.time_us, one.time_us + 1, "used", "a new survey line", decided_by="Ida"),
    )
    assert [a.why for a in closed(t).anchors if a.source == "surveyed"] == [""]


def test_a_misclosure_that_the_logged_chainage_does_not_show_is_doubted() -> None:
    t = Traverse(n=60, guidance_mm=2.0).survey(np.array([20.0, 44.0]), np.array([0.0, 0.65]))
    [doubt] = closed(t).doubts
    assert "+42.5 per mille; the chainage in the logs shows +15.0 there" in doubt
    assert closed(t.survey(np.array([20.0, 44.0]))).doubts == ()


# --- the logged chainage ------------------------------------------------------------------------


@pytest.mark.parametrize("name", list(KINDS))
def test_the_logged_chainage_places_the_strokes(name: str) -> None:
    t = Traverse(**KINDS[name])
    c = closed(t)
    off = off_m(t, c)
    assert np.ptp(off) < 0.05
    assert abs(np.ptp(off)) < 0.002 * t.true_m[-1]
    assert abs(off[0]) < 0.02 + 0.02 * (name == "noise of 20 mm")
    assert c.odd == ()


def test_noise_of_the_guidance_is_no_noise_of_the_advance() -> None:
    t = Traverse(n=700, gain=wavy(700), guidance_mm=50.0)
    c = closed(t)
    x = np.arange(0, t.true_m[-1] - 40, 20.0)
    y = off_m(t, c)
    moved = np.interp(x + 40, t.true_m, y) - np.interp(x, t.true_m, y)
    assert np.abs(moved).max() < 0.003 * 40
    assert len(c.anchors) > 5


@pytest.mark.parametrize("on_rear", [False, True])
def test_a_guidance_that_jumps_moves_nothing(on_rear: bool) -> None:
    t = Traverse(n=150, jumps={40: 0.2, 90: -0.4}, on_rear=on_rear)
    c = closed(t)
    assert [(round(o.off_m, 2), o.applied) for o in c.odd] == [(0.2, False), (-0.4, False)]
    assert np.ptp(off_m(t, c)) < 0.03
    assert "the guidance jumped; not corrected" in odd_lines(c, t.axis)[0]


def test_a_small_step_is_a_jump_only_where_the_chainage_leapt_at_rest() -> None:
    leapt = Traverse(n=100, jumps={50: 0.04})
    crept = Traverse(n=100, jumps={50: 0.04})
    quiet = {"leap_m": np.zeros(100)}
    crept.tables = replace(crept.tables, guidance=crept.tables.guidance.with_columns(quiet))
    assert [[o.applied for o in closed(t).odd] for t in (leapt, crept)] == [[False], [True]]


def test_a_single_stroke_that_is_off_is_told_and_not_spread() -> None:
    t = Traverse(n=100, lost={50: 0.10})
    c = closed(t)
    assert [(o.stroke_start_us, o.applied) for o in c.odd] == [
        (int(t.tables.strokes["stroke_start_us"][50]), True)
    ]
    assert c.odd[0].off_m == pytest.approx(0.10, abs=0.01)
    gain = np.diff(off_m(t, c))
    assert np.abs(np.delete(gain, 50)).max() < 0.003  # its neighbours keep their own length
    assert "off by +1" in odd_lines(c, t.axis)[0]


def test_surveyed_stations_confirm_or_refute_an_odd_stroke() -> None:
    for jumped in (False, True):
        t = Traverse(n=100, lost={} if jumped else {50: 0.10}, gain=0.0)
        if jumped:  # as if the target crept while that stroke bored
            guided = t.tables.guidance
            later = np.arange(t.n) > 50
            ahead = guided["ahead_m"] + np.where(later, 0.10, 0.05 * (np.arange(t.n) == 50))
            more = {"ahead_m": ahead, "gain_m": guided["gain_m"] + 0.10 * (np.arange(t.n) == 50)}
            t.tables = replace(t.tables, guidance=guided.with_columns(more))
        c = closed(t.survey(np.array([10.0, 130.0])))
        assert [o.applied for o in c.odd] == [not jumped]
        assert np.abs(off_m(t, c)).max() < 0.02


@pytest.mark.parametrize(
    ("made", "said"),
    [
        ({"guidance_mm": None}, "no chainage in the logs"),
        ({"factor": 0.9}, "moves 0.9. m for each metre of strokes"),
        ({"factor": -1.0}, "runs against the drive's direction"),
        ({"drive": {"guidance_anchors": False}}, "switched off in drive.toml"),
        ({"n": 12, "guidance_mm": 100.0}, "too noisy"),
    ],
)
def test_a_chainage_that_does_not_behave_is_not_used_and_said(made: dict[str, object], said: str) -> None:
    t = Traverse(**made)  # type: ignore[arg-type]
    c = closed(t)
    assert c.course is None
    assert re.search(said, c.says[0])
    assert placed(t, t.tables) is t.tables


# --- tables on the course -----------------------------------------------------------------------


@settings(max_examples=15)
@given(st.lists(st.floats(2, 55), min_size=1, max_size=4), st.floats(-0.02, 0.02), st.sampled_from([1, -1]))
def test_what_adds_still_adds(stations: list[float], gain: float, sign: int) -> None:
    t = Traverse(n=40, gain=gain, guidance_mm=None, direction="increasing" if sign > 0 else "decreasing")
    c = closed(t.survey(np.array(sorted(stations))))
    assert c.course is not None
    new = laid(t.tables, c.course, t.axis, t.setup)
    whole = np.ptp(c.course.position(t.shown_m[[0, -1]]))
    assert new.cells["advance_m"].sum() == pytest.approx(whole, abs=1e-9)
    assert not [p for p in total_problems(new.cells, new.strokes, new.periods) if "advance" in p]
    for s in SUMS:
        if s.merge == ADD and not s.per_advance:
            assert new.cells[s.name].sum() == pytest.approx(t.cells[s.name].sum(), rel=1e-9), s.name
    ratio = new.cells["thrust_work_kJ"] / new.cells["advance_m"]
    assert np.allclose(ratio, 10_000.0)  # a force is no longer for being laid elsewhere
    low, high = new.cells["position_from_m"], new.cells["position_to_m"]
    edges = t.axis.step_start_m(new.cells["step"]), t.axis.step_end_m(new.cells["step"])
    assert np.all((low >= edges[0] - 2e-6) & (high <= edges[1] + 2e-6))


def test_strokes_add_up_where_the_course_bends_in_cells_that_overlap() -> None:
    """Loading and steady boring may alternate within a step: then two cells lie over the same stretch."""
    t = Traverse(n=40, guidance_mm=None)
    low = t.cells["position_from_m"].copy()
    a = int(np.searchsorted(low, 20.0))
    low[a + 1] = low[a]
    advance = t.cells["advance_m"].copy()
    advance[a : a + 2] = (0.9 * advance[a : a + 2].sum(), 0.1 * advance[a : a + 2].sum())
    more = {"position_from_m": low, "advance_m": advance}
    t.tables = replace(t.tables, cells=t.cells.with_columns(more))
    bend = float(np.interp(low[a] + 0.02, t.shown_m, t.true_m))
    c = closed(t.survey(np.array([5.0, bend, 50.0]), np.array([0.0, 0.2, 0.0])))
    assert c.course is not None
    new = laid(t.tables, c.course, t.axis, t.setup)
    assert not [p for p in total_problems(new.cells, new.strokes, new.periods) if "advance" in p]


def test_nominal_rings_are_of_their_length_where_they_lie() -> None:
    t = Traverse(n=20, gain=0.02, guidance_mm=None, drive={"ring_length_m": 1.5})
    rings = {
        "ring": np.arange(1, 11),
        "position_from_m": np.arange(10) * 1.5,
        "position_to_m": np.arange(1, 11) * 1.5,
        "start_us": t.when(np.arange(10) * 1.5 * 1.02),
        "end_us": t.when(np.arange(1, 11) * 1.5 * 1.02),
        "nominal": np.ones(10, np.int8),
    }
    t.tables = replace(t.tables, rings=Table(rings))
    c = closed(t.survey(np.array([0.0, 20.0])))
    assert c.course is not None
    new = laid(t.tables, c.course, t.axis, t.setup).rings
    assert new["ring"].tolist() == list(range(1, 12))  # 15.3 m of face is ten rings and a bit
    np.testing.assert_allclose(np.diff(new["position_to_m"])[:-1], 1.5)


def test_placed_tables_are_kept_until_something_they_follow_from_changes(tmp_path: Path) -> None:
    t = Traverse(n=20, guidance_mm=None, folder=tmp_path).survey(np.array([5.0, 20.0]))
    first = placed(t, t.tables)
    stamp = (tmp_path / "derived" / "placed-cells.arrow").stat().st_mtime_ns
    again = placed(t, t.tables)
    assert (tmp_path / "derived" / "placed-cells.arrow").stat().st_mtime_ns == stamp
    for name in first.cells:
        np.testing.assert_array_equal(first.cells[name], again.cells[name])
    placed(t, replace(t.tables, mark="made anew"))
    assert (tmp_path / "derived" / "placed-cells.arrow").stat().st_mtime_ns > stamp
    late = placed(t.survey(np.array([5.0, 20.0, 26.0]), np.array([0, 0, 0.05])), t.tables)  # reads no samples
    assert late.cells["advance_m"].sum() != pytest.approx(first.cells["advance_m"].sum(), abs=1e-3)


# --- chainage equations -------------------------------------------------------------------------


def equations(*rows: tuple[int, float, float]) -> dict[str, Table]:
    time, back, ahead = (list(column) for column in zip(*rows, strict=True))
    values = {"time_us": time, "back_m": back, "ahead_m": ahead, "note": [""] * len(rows)}
    return {EQUATIONS: Table({n: site_column(EQUATIONS, n, column) for n, column in values.items()})}


@pytest.mark.parametrize("leap_m", [-12.0, 12.0])
def test_stations_are_read_with_the_equations_in_force_at_their_time(leap_m: float) -> None:
    t = Traverse(n=80, guidance_mm=None)
    since = int(t.when(np.array([70.0]))[0])
    t.stated |= equations((since, 4180.0 + 60.0, 4180.0 + 60.0 + leap_m))
    surveyed = np.array([20.0, 64.0, 75.0, 100.0])  # the second lies beyond the equation, before its time
    c = closed(t.survey(surveyed))
    assert [a.why for a in c.anchors] == [""] * 4
    assert t.stated["anchors"]["chainage_m"].tolist() == pytest.approx(
        [4200.0, 4244.0, 4255.0 + leap_m, 4280.0 + leap_m]
    )
    assert np.abs(off_m(t, c)).max() < 0.01
    new = laid(t.tables, c.course, t.axis, t.setup)  # type: ignore[arg-type]
    at = t.axis_at(FOR_EVER_US).zones[0].from_m
    low, high = new.cells["position_from_m"], new.cells["position_to_m"]
    assert not np.any((low < at - 1e-6) & (high > at + 1e-6))
    assert len(np.unique(new.cells["step"])) >= 1170


# --- taking tables in ---------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return new_drive(tmp_path / "east").folder


def test_the_same_stations_again_change_nothing(folder: Path, tmp_path: Path) -> None:
    file = tmp_path / "week 18.csv"
    file.write_text("Time;Station\n2030-05-02 14:30;4+230.55\n")
    assert import_stations(folder, file) == "stations 'week 18': 1, chainage 4+230.55 to 4+230.55"
    before = bytes_of(folder)
    assert "nothing changed" in import_stations(folder, file)
    assert bytes_of(folder) == before
    file.write_text("Time;Station\n2030-05-02 14:30;4+231.55\n")
    import_stations(folder, file)
    assert open_drive(folder).site_table("anchors")["chainage_m"].tolist() == [4231.55]
    assert [entry.what for entry in open_drive(folder).history()][-2:] == ["anchors", "anchors"]


def test_a_table_that_cannot_be_used_changes_nothing(folder: Path, tmp_path: Path) -> None:
    file = tmp_path / "bad.csv"
    file.write_text("Time;Station\n2030-05-02 14:30;4+230.55\nnever;4+231\n")
    before = bytes_of(folder)
    with pytest.raises(SiteError, match="row 3"):
        import_stations(folder, file)
    assert bytes_of(folder) == before


def test_equations_say_where_they_are_met_and_make_the_axis(folder: Path, tmp_path: Path) -> None:
    file = tmp_path / "eq.csv"
    file.write_text("Valid from,Back,Ahead\n2030-05-02,4300,4290\n2030-05-02,4100,4110\n")
    said = import_equations(folder, file)
    assert "4+300.00 back = 4+290.00 ahead: 120.00 m from the drive's start" in said
    assert "4+100.00 back = 4+110.00 ahead: behind the drive's start, so of no effect" in said
    drive = open_drive(folder)
    with pytest.raises(ChainageError, match="exists twice"):
        drive.axis.position_m(4295.0)
    assert drive.axis_at(0) == drive.setup.drive.axis
