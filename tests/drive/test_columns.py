"""How logs are understood for a drive, what may be stated of them, and what that changes."""

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tbmreview.domain.channels import CHANNELS
from tbmreview.domain.errors import ColumnsOpen
from tbmreview.drive.add import add
from tbmreview.drive.columns import (
    SeenColumns,
    answers,
    columns_for,
    first_values,
    measures,
    stating,
    understood_again,
    unit_names,
    with_values,
)
from tbmreview.drive.opened import open_drive
from tbmreview.ingest.column_map import ColumnMap, Entry, parse_column_map
from tests.support.logs import ENGLISH, Field, TinyMachine, tiny_machine, written
from tests.support.small_drive import new_drive

THRUST = "Thrust force [kN]"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return new_drive(tmp_path / "drive").folder


def log(folder: Path, name: str, *more: Field, day: int = 5) -> Path:
    """A day's log; with a field `other` it has a second thrust that differs from the first."""
    machine = tiny_machine(300)
    values = {**machine.values, "other": machine.values["main_thrust_kN"] * 1.4 + np.arange(300)}
    path = folder.parent / name
    text = written(TinyMachine(machine.seconds, values), (*ENGLISH, *more), start=datetime(2024, 3, day, 6))
    path.write_text(text)
    return path


def two_logs(folder: Path) -> SeenColumns:
    """The first is settled, the second asks which column is the thrust."""
    return columns_for(folder, [log(folder, "a.csv"), log(folder, "b.csv", Field(THRUST, "other"), day=6)])


def test_each_header_is_shown_once_from_the_log_that_asks(folder: Path) -> None:
    seen = two_logs(folder)
    shown = {column.header: column for column in seen.columns}
    assert len(shown) == len(seen.columns) == len(ENGLISH) + 2
    assert [column.header for column in seen.columns if column.open] == [THRUST]
    assert shown[f"{THRUST} (2)"].column.reason == f"waits for the answer on {THRUST!r}"
    assert (shown[THRUST].log, shown[THRUST].files) == (1, ("a.csv", "b.csv"))
    assert (shown["Chainage [m]"].log, shown["Chainage [m]"].open) == (0, False)
    assert len(seen.questions) == 1
    assert seen.whole_questions == seen.clock_questions == ()


def test_what_is_stated_settles_the_question_and_touches_no_other_log(folder: Path) -> None:
    seen = two_logs(folder)
    other = f"{THRUST} (2)"
    again = understood_again(folder, seen, stating(seen.given, other, Entry("extra")))
    assert again.questions == ()
    assert again.logs[0] is seen.logs[0]
    first = again.columns[0]
    assert (first.header, first.stated, first.open) == (other, Entry("extra"), False)
    back = understood_again(folder, again, stating(again.given, other, None))
    assert back.given == ColumnMap()
    assert back.questions == seen.questions


def test_the_map_says_what_was_stated_and_reads_back(folder: Path) -> None:
    seen = columns_for(folder, [log(folder, "a.csv")])
    given = stating(
        stating(seen.given, "Chainage [m]", Entry("ignore")), THRUST, Entry("main_thrust_kN", "MN")
    )
    read = parse_column_map(understood_again(folder, seen, given).column_map().as_toml(), "map.toml")
    assert read.columns["Chainage [m]"] == Entry("ignore")
    assert read.columns[THRUST] == Entry("main_thrust_kN", "MN")
    assert read.columns["Penetration [mm/rev]"] == Entry("penetration_mm_rev", "mm/rev")


def test_a_question_stands_above_its_line_in_the_map_and_the_answer_lets_the_log_in(folder: Path) -> None:
    path = folder.parent / "a.csv"
    machine = tiny_machine(300)
    values = {**machine.values, "gripper_pressure_bar": machine.values["gripper_pressure_bar"] / 6}
    values["ring_number"] = np.arange(300) // 150 + 12.0
    fields = tuple(replace(f, header=f.header.replace("[bar]", "[atu]")) for f in ENGLISH)
    fields = (*fields, Field("Ring no.", "ring_number"))
    path.write_text(written(TinyMachine(machine.seconds, values), fields))
    seen = columns_for(folder, [path])
    assert "% sure" in seen.text()
    seen.write_map(folder.parent / "map.toml")
    lines = (folder.parent / "map.toml").read_text().splitlines()
    at = next(k for k, line in enumerate(lines) if 'unit = "?"' in line)
    assert lines[at - 1] == f"# {seen.columns[0].column.question}"
    with pytest.raises(ColumnsOpen):
        add(folder, [path], column_map=folder.parent / "map.toml")
    assert sum('"?"' in line for line in lines) == 1
    lines[at] = lines[at].replace('"?"', '"6 bar"')
    (folder.parent / "map.toml").write_text("\n".join(lines))
    add(folder, [path], column_map=folder.parent / "map.toml")
    stored = open_drive(folder).samples(0, 2**62).values["gripper_pressure_bar"]
    np.testing.assert_allclose(stored, machine.values["gripper_pressure_bar"], atol=1e-4)


def test_of_two_clocks_the_joint_map_keeps_what_they_share_and_what_was_stated(folder: Path) -> None:
    first = log(folder, "a.csv")
    other = folder.parent / "b.csv"
    other.write_text(first.read_text().replace("Time,", "Stamp time,", 1))
    given = ColumnMap(stamp_marks="end")
    seen = understood_again(folder, columns_for(folder, [first, other]), given)
    joint = seen.column_map()
    assert (joint.stamps, joint.zone, joint.stamp_marks) == ((), "drive", "end")


def test_the_answers_to_a_question_are_units_of_its_channel(folder: Path) -> None:
    seen = two_logs(folder)
    column = seen.columns[0]
    assert answers(seen.logs[column.log], column.column) == (
        Entry("main_thrust_kN", "kN"),
        Entry("extra"),
    )
    settled = seen.columns[-1]
    assert answers(seen.logs[settled.log], settled.column) == ()


def test_the_units_that_the_tests_leave_are_offered_before_the_one_that_the_log_states(folder: Path) -> None:
    machine = tiny_machine(300)
    tonnes = {**machine.values, "main_thrust_kN": machine.values["main_thrust_kN"] / 9.80665}
    path = folder.parent / "tonnes.csv"
    path.write_text(written(TinyMachine(machine.seconds, tonnes)))
    seen = columns_for(folder, [path])
    column = seen.columns[0]
    offered = answers(seen.logs[0], column.column)
    assert (column.header, [entry.unit for entry in offered]) == (THRUST, ["t", "kN", ""])
    settled = understood_again(folder, seen, stating(seen.given, THRUST, offered[0]))
    assert settled.questions == ()


def test_a_log_without_numbers_of_the_machine_is_asked_about_as_a_whole(folder: Path) -> None:
    path = folder.parent / "foreign.csv"
    path.write_text("Time,Alpha\n" + "".join(f"2024-03-05 06:00:{s:02d},{s}\n" for s in range(60)))
    seen = columns_for(folder, [path])
    assert len(seen.whole_questions) == 1
    assert "no column is named like a channel" in seen.whole_questions[0]


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_the_first_values_are_those_of_the_file_gaps_included(folder: Path, kind: str) -> None:
    values = np.where(np.arange(500) % 50 == 7, np.nan, np.arange(500) * 1.5)
    stamps = np.datetime64("2024-03-05T06:00:00") + np.arange(500).astype("timedelta64[s]")
    path = folder.parent / f"log.{kind}"
    if kind == "csv":
        rows = (f"{t},{'' if np.isnan(v) else v}\n" for t, v in zip(stamps, values, strict=True))
        path.write_text("Time UTC,Torque [kNm]\n" + "".join(rows))
    else:
        table = pa.table({"Time UTC": stamps.astype("datetime64[us]"), "Torque [kNm]": values})
        pq.write_table(table, path)
    seen = with_values(columns_for(folder, [path]))
    np.testing.assert_array_equal(seen.values[0][1], values)
    np.testing.assert_array_equal(first_values(seen.logs[0], rows=20)[1], values[:20])


@pytest.mark.parametrize("channel", CHANNELS, ids=lambda c: c.name)
def test_every_channel_with_a_unit_can_be_stated_in_its_own(channel: object) -> None:
    name, unit = channel.name, channel.unit  # type: ignore[attr-defined]
    assert unit_names(name)[:1] == ((unit,) if unit else ())
    assert not unit or measures(unit, name)
    assert not measures("furlong", name)
