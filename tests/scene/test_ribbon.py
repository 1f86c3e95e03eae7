"""The ribbon of a shift: a row a state true to time, flags, delays and what contradicts, advance against time."""

from dataclasses import replace
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tbmreview.domain.overrules import Overrule
from tbmreview.domain.states import State
from tbmreview.domain.sums import split_at
from tbmreview.domain.table import Table
from tbmreview.drive.delays import laid_delays
from tbmreview.drive.shift_review import SHEET_ORDER, ShiftReview
from tbmreview.scene.look import PAPER
from tbmreview.scene.plan import Box, Boxes, Item, Label, Segments
from tbmreview.scene.ribbon import ROLES, Times, course, ribbon
from tests.support.cells import HOUR_US, delays_of, drive_of, in_shifts, setup_of, steady

ZONE = ZoneInfo("Europe/Oslo")
BOX = Box(2_000, 1_000, 38_000, 9_700)
# 22:00 to 06:00 over the end of summer time: nine hours (27 October 2030).
NIGHT_US = round(datetime(2030, 10, 26, 20, tzinfo=UTC).timestamp()) * 1_000_000
RUNS = (
    (State.STANDING, 0.0, 1.0),
    (State.BORING, 1.0, 3.5),
    (State.REGRIP, 3.5, 4.0),
    (State.NO_RECORD, 4.0, 6.0),
    (State.STANDING, 6.0, 8.0),  # an hour before the end the record stops
)


def at(hours: float) -> int:
    return NIGHT_US + round(hours * HOUR_US)


@pytest.fixture
def times() -> Times:
    setup = setup_of()
    cells = in_shifts(steady(setup.drive.axis, (10.0, 17.2), start_us=at(1)), setup)
    drive = drive_of(setup, cells, stated=delays_of((at(0), at(2), "crane")))
    start = np.array([at(a) for _, a, _ in RUNS])
    end = np.array([at(b) for _, _, b in RUNS])
    boring = np.array([state == State.BORING for state, _, _ in RUNS])
    place = np.array([10.0, 10.0, 17.2, 17.2, 17.2])
    periods = Table(
        {
            "start_us": start,
            "end_us": end,
            "state": np.array([state for state, _, _ in RUNS], np.int8),
            "position_m": place,
            "advance_m": np.where(boring, 7.2, 0.0),
            "head_turning_s": np.where(boring, (end - start) / 1e6, 0.0),
            "ring_building_s": np.where(boring, (end - start) / 2e6, 0.0),
        }
    )
    rings = Table(
        {"ring": np.array([7, 8]), "start_us": np.array([at(-1), at(2)]), "end_us": np.array([at(2), at(8)])}
    )
    hours = {"boring": 2.5, "turning_free": 0, "turning_loaded": 0, "regrip": 0.5, "ring_build": 0}
    figures = {f"{name}_h": float(value) for name, value in hours.items()}
    figures |= {"standing_h": 3.0, "no_record_h": 3.0, "total_h": 9.0, "recorded_h": 6.0}
    review = ShiftReview(
        "night", date(2030, 10, 26), at(0), at(9), figures, (10.0, 17.2), (1, 1), (7, 8, 1), False,
        2.5, 1.25, {}, "boring", (("crane", 2.0), ("unexplained", 4.0)), (),
        (Overrule("state", at(6), at(7), "standing", "seen", id="O1"),), (), "",
    )  # fmt: skip
    return Times(review, ZONE, periods, cells, rings, laid_delays(drive), 10.0)


def drawn(times: Times) -> list[Item]:
    return ribbon(times, BOX, PAPER)


def labels(items: list[Item]) -> list[str]:
    return [item.text for item in items if isinstance(item, Label)]


def test_each_state_takes_its_share_of_the_width(times: Times) -> None:
    items = drawn(times)
    rows: dict[float, Boxes] = {}
    for item in items:
        if isinstance(item, Boxes) and item.role in ROLES.values() and len(item.left):
            rows[float(item.bottom[0])] = item
    curve = next(i for i in items if isinstance(i, Segments) and i.role == "line-single")
    width = curve.x2.max() - curve.x1.min()  # of the eight hours that were recorded
    for state, hours in ((State.BORING, 2.5), (State.STANDING, 3.0), (State.NO_RECORD, 3.0)):
        number = SHEET_ORDER.index(state)
        box = rows[min(rows, key=lambda y, n=number: abs(y - (BOX.top + n * 480.0 + 430.0)))]
        assert (box.right - box.left).sum() == pytest.approx(width * hours / 8, rel=1e-6), state
    assert [b.hatch for b in rows.values() if b.role == "state-missing"] == ["schistose"]


def test_an_hour_that_comes_twice_is_on_the_clock_twice(times: Times) -> None:
    clock = [text for text in labels(drawn(times)) if text[2:3] == ":"]
    change = ["02:00 CEST", "02:00 CET"]
    assert clock == ["22:00", "23:00", "00:00", "01:00", *change, "03:00", "04:00", "05:00", "06:00"]


def test_what_is_laid_over_is_named_and_counted(times: Times) -> None:
    items = drawn(times)
    said = labels(items)
    for words in ("crane", "2.00 h", "O1 state", "8", "1 built", "7.20 m", "2.50 h", "28 %"):
        assert words in said, words
    [under] = [i for i in items if isinstance(i, Segments) and i.role == "off-scale"]
    assert len(under.x1) == 1  # the crane's second hour, while the machine bored
    flags = [i for i in items if isinstance(i, Boxes) and i.role == "state-flag"]
    heights = [float((f.bottom - f.top)[0]) for f in flags]
    assert heights[1] == pytest.approx(heights[0] / 2)


def test_the_course_rises_only_while_boring_and_ends_with_the_advance(times: Times) -> None:
    time_us, metres = course(times)
    assert np.all(np.diff(metres) >= 0)
    assert metres[-1] == pytest.approx(7.2)
    assert metres[time_us <= at(1)].max() == 0.0
    half = float(np.interp(at(2.25), time_us, metres))
    assert half == pytest.approx(3.6, abs=0.06)


def test_a_cell_divided_along_the_axis_does_not_bend_the_course(times: Times) -> None:
    """The parts keep the times of the whole."""
    pieces, _ = split_at(times.cells, np.arange(10.03, 17.2, 0.1))
    assert len(pieces) > len(times.cells)
    time_us, metres = course(replace(times, cells=pieces))
    even = np.linspace(at(1.1), at(3.4), 50)
    true = 7.2 * (even - at(1)) / (at(3.5) - at(1))
    assert np.interp(even, time_us, metres) == pytest.approx(true, abs=0.05)


def test_all_of_it_stays_in_its_box(times: Times) -> None:
    for item in drawn(times):
        if isinstance(item, Segments) and len(item.x1):
            assert min(item.x1.min(), item.x2.min()) >= BOX.left
            assert max(item.x1.max(), item.x2.max()) <= BOX.right
            assert min(item.y1.min(), item.y2.min()) >= BOX.top
            assert max(item.y1.max(), item.y2.max()) <= BOX.bottom
        elif isinstance(item, Label):
            assert BOX.left <= item.x <= BOX.right
            assert BOX.top <= item.y <= BOX.bottom
