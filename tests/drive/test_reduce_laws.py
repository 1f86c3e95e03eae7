"""However a log came in, and wherever it is looked at from, the results are those of the whole log at once."""

import os
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.motion_signals import MemoryDrive
from support.truth import DOUBLE, PLAIN_DAY, Event, Plan, Truth, make_truth
from support.truth_log import Sensors

from tbmreview.cli import main
from tbmreview.domain.samples import Samples
from tbmreview.domain.shifts import utc_day
from tbmreview.drive.add import add
from tbmreview.drive.opened import open_drive
from tbmreview.drive.reduce import NAMES, Reduced, reduced
from tbmreview.drive.start import start

HOUR_S = 3600
HEADERS = {
    "main_thrust_kN": "Thrust [kN]",
    "aux_thrust_kN": "Auxiliary thrust [kN]",
    "torque_kNm": "Torque [kNm]",
    "head_speed_rpm": "Head speed [rpm]",
    "penetration_mm_rev": "Penetration [mm/rev]",
    "advance_speed_mm_min": "Advance speed [mm/min]",
    "main_stroke_mm": "Main stroke [mm]",
    "aux_stroke_mm": "Auxiliary stroke [mm]",
    "gripper_pressure_bar": "Gripper pressure [bar]",
    "ring_number": "Ring no.",
    "chainage_m": "Chainage [m]",
}
SETUP = """
[drive]
name = "Larkfell, east drive"  # invented
timezone = "Europe/Oslo"
chainage_start_m = 4180.0
chainage_direction = "increasing"
ring_length_m = 0.6

[machine]
kind = "double shield"
bore_diameter_m = 6.0
disc_count = 40
stroke_length_m = 0.65
no_load_torque_kNm = 170.0
drag_kN = 1000.0

[shifts]
start = ["06:00", "14:00", "22:00"]
names = ["early", "late", "night"]
"""


@cache
def week() -> Truth:
    """Twelve strokes with long stops, over six UTC days; a stroke runs across each midnight or stops there."""
    stops = tuple(Event(k, "stop", (7 + k % 5) * HOUR_S) for k in range(1, 12))
    return make_truth(Plan(DOUBLE, strokes=12, seed=3, stroke_mm=600.0, events=stops), Sensors(30))


@cache
def in_one_go() -> Reduced:
    with tempfile.TemporaryDirectory() as place:
        return reduced(MemoryDrive(Path(place) / "drive", week().setup, week().samples))


def same(ours: Reduced, theirs: Reduced) -> None:
    for name in NAMES:
        one, other = getattr(ours, name), getattr(theirs, name)
        assert len(one) == len(other), name
        for column in one:
            equal = np.array_equal(one[column], other[column], equal_nan=one[column].dtype.kind == "f")
            assert equal, (name, column)


def spoilt(samples: Samples, days: set[int]) -> Samples:
    """The samples with another thrust, and a stroke sensor that stands still, on some days."""
    wrong = np.isin(utc_day(samples.time_us), list(days))
    values = dict(samples.values)
    values["main_thrust_kN"] = np.where(wrong, 1.1 * values["main_thrust_kN"], values["main_thrust_kN"])
    values["main_stroke_mm"] = np.where(wrong, 300.0, values["main_stroke_mm"])
    return Samples(samples.time_us, values)


def test_the_week_is_worth_the_trouble() -> None:
    result = in_one_go()
    assert len(np.unique(utc_day(week().samples.time_us))) >= 5
    assert len(result.strokes) == 12
    assert result.cells["advance_m"].sum() == pytest.approx(week().advance_m, rel=0.005)
    bored = np.unique(utc_day(result.cells["start_us"]))
    assert len(bored) >= 5


@settings(max_examples=4, deadline=None)
@given(st.data())
def test_days_late_corrected_and_in_any_order_give_what_one_go_gives(data: st.DataObject) -> None:
    made = week()
    days = np.unique(utc_day(made.samples.time_us)).tolist()
    order = data.draw(st.permutations(days), label="order")
    wrong = set(data.draw(st.lists(st.sampled_from(days), max_size=3), label="wrong at first"))
    looks = data.draw(st.sets(st.integers(1, len(days))), label="looked at after so many days")
    with tempfile.TemporaryDirectory() as place:
        drive = MemoryDrive(Path(place) / "drive", made.setup, spoilt(made.samples, wrong))
        for count in sorted(looks):
            reduced(drive.keep(order[:count]))
        reduced(drive.keep(days))
        for day in sorted(wrong, reverse=True):
            wrong.remove(day)
            drive.all = spoilt(made.samples, wrong)
            reduced(drive)
        same(reduced(drive), in_one_go())


@settings(max_examples=4, deadline=None)
@given(st.integers(0, 2), st.sampled_from([0.8, 1.02, 1.3]))
def test_a_correction_that_moves_nothing_rebuilds_two_days_at_most(late: int, by: float) -> None:
    """The corrected day, and the next where its window begins in it: then the carry repeats."""
    made = week()
    days = np.unique(utc_day(made.samples.time_us)).tolist()
    thrust = made.samples.values["main_thrust_kN"]
    wrong = np.where(utc_day(made.samples.time_us) == days[late], by * thrust, thrust)
    with tempfile.TemporaryDirectory() as place:
        drive = MemoryDrive(Path(place) / "drive", made.setup, made.samples)
        drive.all = Samples(made.samples.time_us, {**made.samples.values, "main_thrust_kN": wrong})
        reduced(drive)
        drive.all = made.samples
        drive.read.clear()
        same(reduced(drive), in_one_go())
    assert drive.read[0] == days[late]
    assert len(drive.read) <= 2


@cache
def table() -> pd.DataFrame:
    """Two short strokes across midnight UTC, one row in ten seconds, as a logger would export them."""
    made = make_truth(
        Plan(DOUBLE, strokes=2, seed=6, stroke_mm=450.0, start_us=PLAIN_DAY - 1800 * 1_000_000), Sensors(10)
    )
    columns = {HEADERS[name]: values for name, values in made.samples.values.items()}
    return pd.DataFrame(columns, index=pd.to_datetime(made.samples.time_us, unit="us", utc=True))


def new_drive(place: Path) -> Path:
    (place / "drive.toml").write_text(SETUP, encoding="utf-8")
    start(place / "drive", place / "drive.toml")
    return place / "drive"


def written(log: pd.DataFrame, path: Path, local: bool = False) -> Path:
    """A CSV file of rows; local: wall time of the site without an offset."""
    when = log.index.tz_convert("Europe/Oslo" if local else "UTC")
    text = when.strftime("%Y-%m-%d %H:%M:%S" if local else "%Y-%m-%dT%H:%M:%SZ")
    log.set_axis(text, axis=0).to_csv(path, index_label="Time")
    return path


def results(folder: Path) -> Reduced:
    return open_drive(folder).reduce()


@cache
def of_one_file() -> Reduced:
    with tempfile.TemporaryDirectory() as place:
        folder = new_drive(Path(place))
        add(folder, [written(table(), Path(place) / "all.csv")])
        return results(folder)


@settings(max_examples=3, deadline=None)
@given(st.data())
def test_results_do_not_depend_on_how_the_log_is_cut_into_files(data: st.DataObject) -> None:
    log = table()
    inner = st.integers(20, len(log) - 20)
    cuts = sorted(data.draw(st.sets(inner, min_size=1, max_size=2), label="cuts"))
    lap = data.draw(st.sampled_from([0, 1, 15]), label="rows in two files")
    parts = [log.iloc[max(0, a - lap) : b] for a, b in zip([0, *cuts], [*cuts, len(log)], strict=True)]
    order = data.draw(st.permutations(range(len(parts))), label="order")
    at_once = data.draw(st.integers(1, len(parts)), label="files in the first add")
    with tempfile.TemporaryDirectory() as place:
        folder = new_drive(Path(place))
        files = [written(parts[i], Path(place) / f"{i}.csv") for i in order]
        add(folder, files[:at_once])
        results(folder)
        for file in files[at_once:]:
            add(folder, [file])
            results(folder)
        same(results(folder), of_one_file())


@contextmanager
def looking_from(zone: str) -> Iterator[None]:
    """The computer's own time zone."""
    before = os.environ.get("TZ")
    try:
        os.environ["TZ"] = zone
        time.tzset()
        yield
    finally:
        if before is None:
            del os.environ["TZ"]
        else:
            os.environ["TZ"] = before
        time.tzset()


def told(place: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    """Everything said of a drive made of a log in local time: columns, tables, hours, files."""
    place.mkdir()
    folder = new_drive(place)
    log = written(table(), place / "all.csv", local=True)
    said: list[str] = []
    for words in (
        ["add", str(folder), str(log)],
        ["time", str(folder), "--by", "shift"],
        ["time", str(folder), "--by", "day"],
        ["table", str(folder), "--by", "stroke"],
        ["table", str(folder), "--by", "shift", "--out", str(place / "shifts.csv")],
        ["delays", str(folder)],
        ["check", str(folder)],
    ):
        code = main(words)
        said += [f"exit {code}", capsys.readouterr().out.replace(str(place), "")]
    return [*said, (place / "shifts.csv").read_text()]


def test_results_do_not_depend_on_the_time_zone_of_whoever_looks(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    at_home = told(tmp_path / "home", capsys)
    assert "night shift, Thursday 27 February 2031, 22:00 to 06:00 Europe/Oslo" in at_home[3]
    with looking_from("Pacific/Kiritimati"):  # 13 hours ahead of the site, another day and another shift
        assert time.localtime(PLAIN_DAY // 1_000_000).tm_hour == 14
        assert told(tmp_path / "far", capsys) == at_home
        same(results(tmp_path / "far" / "drive"), results(tmp_path / "home" / "drive"))
