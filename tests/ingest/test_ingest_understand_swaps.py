"""Names wrong, swapped or absent: the laws of the machine find the column, or one question is asked."""

from collections.abc import Callable
from dataclasses import replace
from itertools import combinations, cycle
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tbmreview.domain.setup import Machine
from tbmreview.ingest.read import FileUnderstanding, understand
from tbmreview.ingest.report import Column
from tests.support.logs import ENGLISH, Field, TinyMachine, tiny_machine, written

OSLO = ZoneInfo("Europe/Oslo")
DOUBLE = Machine("double shield", bore_diameter_m=6.4, disc_count=42)
TIED = (
    "torque_kNm",
    "head_speed_rpm",
    "penetration_mm_rev",
    "advance_speed_mm_min",
    "main_stroke_mm",
    "head_power_kW",
)


def turning_free() -> TinyMachine:
    """The small machine, its head turning free before and after the regrip."""
    machine = tiny_machine()
    n = machine.values["head_speed_rpm"].copy()
    n[(n == 0) & (np.arange(600) % 2 == 0)] = 6.5
    return TinyMachine(machine.seconds, {**machine.values, "head_speed_rpm": n})


TINY = turning_free()
BY_CHANNEL = {f.channel: f for f in ENGLISH}


def log(
    folder: Path, fields: tuple[Field, ...], **columns: Callable[[TinyMachine], np.ndarray]
) -> FileUnderstanding:
    machine = TinyMachine(TINY.seconds, {**TINY.values, **{k: f(TINY) for k, f in columns.items()}})
    path = folder / "log.csv"
    path.write_text(written(machine, fields, decimals=4))
    return understand(path, OSLO, DOUBLE)


def column(found: FileUnderstanding, header: str) -> Column:
    return next(c for c in found.columns if c.header == header)


def without(*channels: str) -> tuple[Field, ...]:
    return tuple(f for f in ENGLISH if f.channel not in channels)


def taken_wrongly(found: FileUnderstanding, fields: tuple[Field, ...]) -> list[tuple[str, str]]:
    """(header, channel) of columns taken without a question for what they are not."""
    return [
        (c.header, c.name)
        for c in found.columns
        if c.role == "channel" and not c.question and c.name != fields[c.index - 1].channel
    ]


@pytest.mark.parametrize(("one", "other"), list(combinations(TIED, 2)))
def test_two_swapped_names_that_laws_tie_are_put_right(one: str, other: str, tmp_path: Path) -> None:
    headers = {one: BY_CHANNEL[other].header, other: BY_CHANNEL[one].header}
    fields = tuple(replace(f, header=headers.get(f.channel, f.header)) for f in ENGLISH)
    found = log(tmp_path, fields)
    assert taken_wrongly(found, fields) == []
    assert found.questions == ()
    assert {c.name for c in found.columns if c.role == "channel"} == {f.channel for f in ENGLISH}


@pytest.mark.parametrize(
    ("one", "other"),
    list(zip(TIED, cycle(("main_thrust_kN", "gripper_pressure_bar", "chainage_m")), strict=False)),
)
def test_a_name_swapped_with_one_that_no_law_ties_makes_one_question(
    one: str, other: str, tmp_path: Path
) -> None:
    headers = {one: BY_CHANNEL[other].header, other: BY_CHANNEL[one].header}
    fields = tuple(replace(f, header=headers.get(f.channel, f.header)) for f in ENGLISH)
    found = log(tmp_path, fields)
    assert len(found.questions) == 1
    assert taken_wrongly(found, fields) == []


def test_thrust_and_gripper_pressure_swapped_make_one_question(tmp_path: Path) -> None:
    headers = {"main_thrust_kN": "Gripper pressure [bar]", "gripper_pressure_bar": "Thrust force [kN]"}
    found = log(tmp_path, tuple(replace(f, header=headers.get(f.channel, f.header)) for f in ENGLISH))
    (question,) = found.questions
    assert "the other way round" in question


def test_without_any_name_the_laws_find_what_they_tie_and_the_thrust_is_asked(tmp_path: Path) -> None:
    fields = tuple(replace(f, header=f"[{k}]") for k, f in enumerate(ENGLISH, 1))
    found = log(tmp_path, fields)
    assert {c.name: c.header for c in found.columns if c.role == "channel" and not c.question} == {
        f.channel: f.header for f in fields if f.channel in TIED
    }
    (question,) = found.questions
    assert question.startswith("'[1]'")
    assert "thrust" in question


@pytest.mark.parametrize("header", ["Speed [mm/min]", "Value 7 [mm/min]", "v"])
def test_a_vague_name_is_settled_by_the_law(header: str, tmp_path: Path) -> None:
    found = log(tmp_path, (*without("advance_speed_mm_min"), Field(header, "advance_speed_mm_min")))
    assert found.questions == ()
    assert column(found, header).name == "advance_speed_mm_min"
    assert "v = n p holds (1.000" in column(found, header).reason


@pytest.mark.parametrize(
    ("factor", "channel"), [(1.0, "advance_speed_mm_min"), (1000 / 60, "advance_speed_mm_min")]
)
def test_penetration_rate_without_unit_may_be_the_advance_speed(
    factor: float, channel: str, tmp_path: Path
) -> None:
    found = log(tmp_path, (*without(channel), Field("Penetration rate", channel, factor)))
    assert found.questions == ()
    assert (column(found, "Penetration rate").name, column(found, "Penetration [mm/rev]").name) == (
        channel,
        "penetration_mm_rev",
    )


def test_of_two_speeds_of_one_name_the_motor_s_is_refused_by_its_factor(tmp_path: Path) -> None:
    fields = (Field("Cutterhead speed [rpm]", "motor"), *ENGLISH)
    found = log(tmp_path, fields, motor=lambda m: m.values["head_speed_rpm"] * 154)
    assert found.questions == ()
    motor, head = (c for c in found.columns if c.header.startswith("Cutterhead speed"))
    assert (motor.role, head.name) == ("extra", "head_speed_rpm")
    assert "154" in motor.reason


def test_motor_speed_alone_is_asked_with_its_factor_and_the_answer_is_taken(tmp_path: Path) -> None:
    found = log(
        tmp_path, tuple(replace(f, factor=1 / 154) if "speed [rpm]" in f.header else f for f in ENGLISH)
    )
    (question,) = found.questions
    assert "reads 154 times" in question
    assert "1/154 rpm" in question


def test_a_running_distance_is_no_stroke(tmp_path: Path) -> None:
    fields = (Field("Advance stroke total travel [mm]", "far"), *ENGLISH)
    found = log(tmp_path, fields, far=lambda m: (m.values["chainage_m"] - 4180) * 1e3)
    assert found.questions == ()
    assert column(found, "Thrust cylinder stroke [mm]").name == "main_stroke_mm"


def test_tonne_force_under_kilonewton_contradicts_the_torque(tmp_path: Path) -> None:
    fields = tuple(replace(f, factor=9.80665) if f.channel == "main_thrust_kN" else f for f in ENGLISH)
    found = log(tmp_path, fields, main_thrust_kN=lambda m: m.values["main_thrust_kN"] * 1.3)
    (question,) = found.questions
    assert "Thrust force [kN]" in question
    assert " t" in question


def test_every_settled_column_says_its_test_and_by_which_factor_others_fail(tmp_path: Path) -> None:
    found = log(tmp_path, ENGLISH)
    speed, torque = column(found, "Advance speed [mm/min]"), column(found, "Cutterhead torque [kNm]")
    assert "v = n p holds (1.000)" in speed.reason
    assert "m/h 16.67" in speed.reason
    assert "MNm 1000" in torque.reason
