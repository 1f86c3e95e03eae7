"""Delays of the site: a column a code, what stays unexplained, what contradicts the log, Pareto of lost hours."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tbmreview.cli import main
from tbmreview.domain.errors import SiteError
from tbmreview.domain.overrules import Overrule
from tbmreview.domain.setup import ShiftPlan
from tbmreview.domain.states import State
from tbmreview.drive.delays import code_columns, contradictions, import_delays, laid_delays
from tbmreview.drive.opened import open_drive
from tbmreview.drive.time import rates, time_table
from tests.support.cells import HOUR_US, TableDrive, delays_of, drive_of, periods_of, setup_of, steady
from tests.support.small_drive import new_drive

SHIFT_US = 1_900_000_000_000_000 - 1_900_000_000_000_000 % (24 * HOUR_US) + 5 * HOUR_US  # 06:00 in Oslo
MINUTE_US = HOUR_US // 60


def at(hours: float, start_us: int = SHIFT_US) -> int:
    """So many hours after the start of the early shift."""
    return start_us + round(hours * HOUR_US)


def drive(runs, *delays, said=(), setup=None, metres=0.0, start_us=SHIFT_US) -> TableDrive:  # type: ignore[no-untyped-def]
    """Periods (state, from h, to h) and delays (from h, to h, code) from the start of the early shift."""
    setup = setup or setup_of()
    cells = steady(setup.drive.axis, (0.0, metres or 0.1), start_us=start_us)
    delays = [(at(a, start_us), at(b, start_us), code) for a, b, code in delays]
    return drive_of(
        setup,
        cells if metres else cells.rows(slice(0, 0)),
        periods=periods_of(
            *((state, at(a, start_us), at(b, start_us)) for state, a, b in runs), metres=metres
        ),
        stated=delays_of(*delays) if delays else {},
        said=tuple(said),
    )


# Ten hours: boring 4.0, regrip 0.5, the rest standing. Published as a shift sheet with U 0.40 and PR 2.88 m/h, AR
# 1.152 m/h, 11.52 m (definitions of utilisation, from memory, sure; categories after Norwegian Tunnelling
# Society, Publication 11, secondary).
SHEET = (
    (4.5, 5.5, "cutters"),
    (5.5, 7.5, "support"),
    (7.5, 8.75, "maintenance"),
    (8.75, 9.5, "transport"),
)
TEN_HOURS = setup_of(shifts=ShiftPlan(("06:00", "16:00"), ("day", "night"), ("day",)))


@pytest.mark.published("definitions of utilisation and advance rate", "memory")
def test_a_published_shift_sheet() -> None:
    """Ten hours, 4.0 of them boring at 2.88 m/h: U 0.4, 11.52 m (definitions, from memory, sure)."""
    runs = ((State.BORING, 0, 4), (State.REGRIP, 4, 4.5), (State.STANDING, 4.5, 10))
    of = drive(runs, *SHEET, setup=TEN_HOURS, metres=11.52)
    row = time_table(of, "shift")
    assert row.names[-5:] == ("cutters_h", "maintenance_h", "support_h", "transport_h", "unexplained_h")
    assert [float(row[name][0]) for name in row.names[-5:]] == pytest.approx([1.0, 1.25, 2.0, 0.75, 0.5])
    assert row["utilisation_calendar"][0] == pytest.approx(0.40)
    assert row["penetration_rate_m_h"][0] == pytest.approx(2.88)
    lost = time_table(of, "delay")
    assert lost["code"].tolist() == ["support", "maintenance", "cutters", "transport", "unexplained"]
    assert lost["share"] == pytest.approx([2 / 5.5, 1.25 / 5.5, 1 / 5.5, 0.75 / 5.5, 0.5 / 5.5])
    assert lost["cumulated_share"][-1] == pytest.approx(1.0)


@pytest.mark.published("Norwegian Tunnelling Society, Publication 11", "secondary")
def test_rates_name_their_denominator() -> None:
    """100.3 m in two working shifts of ten hours: 5.015 m/h of working time (Norwegian Tunnelling Society,
    Publication 11, Meraaker, secondary); the third shift of four hours does not work."""
    plan = ShiftPlan(("02:00", "06:00", "16:00"), ("rest", "one", "two"), ("one", "two"))
    runs = ((State.BORING, 0, 12), (State.STANDING, 12, 20), (State.NO_RECORD, 20, 23.5))
    of = drive((*runs, (State.STANDING, 23.5, 24)), setup=setup_of(shifts=plan), metres=100.3)
    row = rates(of, "drive")
    assert row["working_h"][0] == pytest.approx(20.0)
    assert row["advance_rate_working_m_h"][0] == pytest.approx(5.015)
    assert row["utilisation_working"][0] == pytest.approx(0.6)
    assert row["recorded_h"][0] == pytest.approx(20.5)
    assert row["utilisation_recorded"][0] == pytest.approx(12 / 20.5)


def test_without_delays_there_is_no_column_more() -> None:
    runs = ((State.STANDING, 0, 8),)
    assert "unexplained_h" not in time_table(drive(runs), "shift")
    assert time_table(drive(runs), "delay")["code"].tolist() == ["unexplained"]


def test_lost_hours_are_standing_loaded_turning_and_no_record() -> None:
    runs = (
        (State.BORING, 0, 1), (State.TURNING_FREE, 1, 2), (State.REGRIP, 2, 3), (State.RING_BUILD, 3, 4),
        (State.TURNING_LOADED, 4, 5), (State.STANDING, 5, 6), (State.NO_RECORD, 6, 7),
    )  # fmt: skip
    row = time_table(drive(runs, (5.0, 5.5, "wait")), "shift")
    assert row["unexplained_h"][0] == pytest.approx(3.5)  # an hour after the record, too
    assert row["wait_h"][0] == pytest.approx(0.5)


def test_a_minute_counts_once_for_the_delay_that_began_last() -> None:
    of = drive(((State.STANDING, 0, 8),), (1, 5, "crane"), (2, 3, "power"), (4, 6, "belt"))
    row = time_table(of, "shift")
    assert [float(row[f"{code}_h"][0]) for code in ("crane", "power", "belt")] == pytest.approx([2, 1, 2])
    assert row["unexplained_h"][0] == pytest.approx(3.0)


def test_hours_that_bored_are_not_lost() -> None:
    of = drive(((State.BORING, 0, 2), (State.STANDING, 2, 8)), (1, 4, "belt"))
    table = time_table(of, "delay")
    assert table["code"].tolist() == ["unexplained", "belt"]
    assert table["hours"].tolist() == pytest.approx([4.0, 2.0])
    assert table["while_boring_h"].tolist() == pytest.approx([0.0, 1.0])
    assert table["share"].tolist() == pytest.approx([2 / 3, 1 / 3])
    assert np.array_equal(table["count"], [np.nan, 1], equal_nan=True)


CHANGES = ((3, 30, 1), (10, 26, 2))  # month, day, hours ahead of UTC
spans = st.tuples(st.floats(0, 60), st.floats(0.02, 20), st.sampled_from(["a", "b", "A", "c d", "boring"]))


PLANS = (
    ShiftPlan(),
    ShiftPlan(("06:00", "18:00"), ("day", "night")),
    ShiftPlan(("06:00", "14:00", "22:00"), ("early", "late", "night")),
)
# 06:00 in Oslo in winter, and on the days before the clock is put on and back
STARTS_US = (
    SHIFT_US,
    *(round(datetime(2030, m, d, 6 - u, tzinfo=UTC).timestamp()) * 10**6 for m, d, u in CHANGES),
)


@given(
    st.lists(spans, max_size=8),
    st.lists(st.sampled_from(list(State)), min_size=1, max_size=10),
    st.sampled_from(PLANS),
    st.sampled_from(STARTS_US),
)
@settings(max_examples=40, deadline=None)
def test_delays_never_count_a_second_twice(
    stated: list[tuple[float, float, str]], states: list[State], plan: ShiftPlan, start_us: int
) -> None:
    """Laid minute by minute in a plain list: the same hours; and shifts, days and the drive agree. One, two and
    three shifts, over midnight and over both changes of the clock."""
    runs = [(state, 4.0 * i, 4.0 * (i + 1)) for i, state in enumerate(states)]
    rows = [(round(a * 60) / 60, round((a + n) * 60) / 60, code) for a, n, code in stated]
    of = drive(runs, *rows, setup=setup_of(shifts=plan), start_us=start_us)
    drive_row = time_table(of, "drive")
    minutes: list[tuple[str, State]] = [("", State.NO_RECORD)] * (60 * 100)
    for i, state in enumerate(states):
        minutes[240 * i : 240 * (i + 1)] = [("", state)] * 240
    for a, b, code in sorted(rows, key=lambda row: (row[0], -row[1])):
        part = slice(round(a * 60), round(b * 60))
        minutes[part] = [(code.casefold(), state) for _, state in minutes[part]]
    inside = minutes[: round(float(drive_row["total_h"][0]) * 60)]
    names = {"a": "a_h", "A": "A_h", "b": "b_h", "c d": "c_d_h", "boring": "boring_delay_h"}
    for code, name in names.items():
        if name in drive_row:
            assert drive_row[name][0] * 60 == pytest.approx(sum(c == code.casefold() for c, _ in inside))
    if rows:
        cycle = (State.BORING, State.TURNING_FREE, State.REGRIP, State.RING_BUILD)
        lost = sum(not c and s not in cycle for c, s in inside)
        assert drive_row["unexplained_h"][0] * 60 == pytest.approx(lost)
    for by in ("shift", "day"):
        table = time_table(of, by)
        for name in drive_row.names[14:]:
            assert table[name].sum() == pytest.approx(drive_row[name][0])


def test_columns_have_safe_names_in_a_stable_order() -> None:
    codes = laid_delays(drive((), (3, 4, "Zug"), (1, 2, "disc  change"), (2, 3, "Disc change"))).codes
    assert codes == ("disc change", "Zug")
    assert code_columns(codes) == ("disc_change_h", "Zug_h")
    assert code_columns(("regrip", "A-1", "a 1", "unexplained", "+", "Störung")) == (
        "regrip_delay_h", "A_1_h", "a_1_2_h", "unexplained_delay_h", "delay_h", "Störung_h",
    )  # fmt: skip


def test_a_delay_while_the_machine_bored_is_a_contradiction_that_says_where() -> None:
    runs = ((State.BORING, 0, 2), (State.STANDING, 2, 8))
    of = drive(runs, (1.5, 2.5, "disc change"), (2 - 1 / 120, 3, "belt"), metres=5.76)
    found = contradictions(of)
    assert found["code"].tolist() == ["disc change"]
    assert found["boring_min"][0] == pytest.approx(30 - 0.5)
    low, high = (float(found[f"chainage_{side}_m"][0]) for side in ("from", "to"))
    assert 4180 < low < high <= 4185.76 + 1e-6
    assert high - low == pytest.approx(5.76 * 0.25, abs=0.2)


def test_an_overrule_changes_the_code_and_a_withdrawn_one_does_not() -> None:
    one = Overrule("delay", at(1), at(2), "belt", "the belt stood", "Ingrid", 0, id="O1")
    none = Overrule("delay", at(3), at(4), "", "not lost", id="O2")
    gone = Overrule("delay", at(4), at(5), "belt", "wrong", withdrawn=True, id="O3")
    row = time_table(drive(((State.STANDING, 0, 8),), (0, 6, "crane"), said=(one, none, gone)), "shift")
    assert row["crane_h"][0] == pytest.approx(4.0)
    assert row["belt_h"][0] == pytest.approx(1.0)
    assert row["unexplained_h"][0] == pytest.approx(3.0)


# --- files --------------------------------------------------------------------------------------

FILE = """Datum;Beginn;Ende;Code;Bemerkung
27.10.2030;01:30;04:30;Meisselwechsel;drei Meissel
29.03.2031;22:00;04:00;Transport;
"""


def test_local_times_cross_midnight_and_both_clock_changes(tmp_path: Path) -> None:
    new_drive(tmp_path / "d")
    (tmp_path / "w44.csv").write_text(FILE, encoding="cp1252")
    said = import_delays(tmp_path / "d", tmp_path / "w44.csv")
    assert "2 delays, 9.00 h, codes Meisselwechsel, Transport" in said
    assert "in the drive already" in import_delays(tmp_path / "d", tmp_path / "w44.csv")
    opened = open_drive(tmp_path / "d")
    laid = laid_delays(opened)
    assert np.diff(np.c_[laid.start_us, laid.end_us]).ravel().tolist() == [4 * HOUR_US, 5 * HOUR_US]
    assert opened.history()[-1].what == "delays"


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("2030-05-02 10:00,2030-05-02 09:00,belt", "row 2"),
        ("2030-05-02 10:00,2030-05-02 11:00,", "no code"),
        ("2030-03-31 02:30,2030-03-31 04:00,belt", "row 2"),
    ],
)
def test_a_row_that_cannot_be_used_is_named_and_nothing_changes(row: str, says: str, tmp_path: Path) -> None:
    new_drive(tmp_path / "d")
    (tmp_path / "bad.csv").write_text(f"start,end,code\n{row}\n")
    with pytest.raises(SiteError, match=says):
        import_delays(tmp_path / "d", tmp_path / "bad.csv")
    assert not open_drive(tmp_path / "d").site_entries("delays")


def test_overlaps_are_told_and_counted_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    new_drive(tmp_path / "d")
    text = "start,end,code\n2030-05-02 08:00,2030-05-02 10:00,belt\n2030-05-02 09:30,2030-05-02 11:00,crane\n"
    (tmp_path / "two.csv").write_text(text)
    said = import_delays(tmp_path / "d", tmp_path / "two.csv")
    assert "'crane' from 2030-05-02 09:30 lies 30 min over 'belt'" in said
    laid = laid_delays(open_drive(tmp_path / "d"))
    assert (laid.end_us - laid.start_us).sum() == 3 * HOUR_US
    assert main(["delays", str(tmp_path / "d")]) == 0
    assert "crane" in capsys.readouterr().out
    said = import_delays(tmp_path / "d", tmp_path / "two.csv", "another")
    assert "they count beside 'two'" in said
    assert "(table 'another') lies 120 min over 'belt' from 2030-05-02 08:00 (table 'two')" in said
