"""A log without any unit: the laws of the machine find each, or one question settles the rest; never a wrong one."""

from dataclasses import replace
from itertools import product
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tbmreview.domain.setup import Machine
from tbmreview.drive.columns import SeenColumns, answers, stating
from tbmreview.ingest.read import FileUnderstanding, understand
from tests.support.logs import ENGLISH, Field, TinyMachine, tiny_machine, written

OSLO = ZoneInfo("Europe/Oslo")
DOUBLE = Machine("double shield", bore_diameter_m=6.4, disc_count=42)
HEADERS = {
    "main_thrust_kN": "Thrust",
    "aux_thrust_kN": "Aux. thrust",
    "torque_kNm": "Torque",
    "head_speed_rpm": "Cutterhead speed",
    "advance_speed_mm_min": "Advance speed",
    "main_stroke_mm": "Stroke",
    "aux_stroke_mm": "Aux. stroke",
    "gripper_pressure_bar": "Gripper pressure",
    "chainage_m": "Chainage",
}
T = 9.80665


def pushed_by(aux: bool) -> TinyMachine:
    """The small machine with two sets of cylinders, of which one pushes all the time."""
    machine = tiny_machine(600)
    values, n = dict(machine.values), np.arange(600)
    idle = {"thrust_kN": 1400.0 + n % 9, "stroke_mm": 8.0 + n % 3 / 10}
    for name, at_rest in idle.items():
        values[f"aux_{name}"] = values[f"main_{name}"] if aux else at_rest
        values[f"main_{name}"] = at_rest if aux else values[f"main_{name}"]
    if aux:
        values["gripper_pressure_bar"] = 20.0 + n % 2
    return TinyMachine(machine.seconds, values)


MAIN, AUX = pushed_by(False), pushed_by(True)


def bare(
    folder: Path, factors: dict[str, float], *, aux: bool = False, setup: bool = True
) -> FileUnderstanding:
    fields = tuple(Field(h, c, factors.get(c, 1.0)) for c, h in HEADERS.items())
    path = folder / "log.csv"
    path.write_text(written(AUX if aux else MAIN, fields, decimals=7))
    return understand(path, OSLO, DOUBLE if setup else None)


def factors(force: float, torque: float, speed: float, length: float, pressure: float) -> dict[str, float]:
    return {
        "main_thrust_kN": force,
        "aux_thrust_kN": force,
        "torque_kNm": torque,
        "advance_speed_mm_min": speed,
        "main_stroke_mm": length,
        "aux_stroke_mm": length,
        "gripper_pressure_bar": pressure,
        "chainage_m": length if length > 1 else 1.0,
    }


def wrong(found: FileUnderstanding, given: dict[str, float]) -> list[str]:
    """Columns taken in another unit than the log was written in."""
    return [
        f"{c.header} as {c.unit}"
        for c in found.columns
        if c.name in given
        and c.conversion is not None
        and abs(c.conversion.factor / given[c.name] - 1) > 1e-6
    ]


CASES = [
    case
    for k, case in enumerate(
        product(
            (1.0, 1e3, T), (1.0, 1e3), (1.0, 1000 / 60), (1.0, 1e3), (1.0, 10.0), (False, True), (False, True)
        )
    )
    if k % 17 == 0
]


def test_units_are_found_or_one_question_is_asked(tmp_path: Path) -> None:
    for *sizes, aux, setup in CASES:
        given = factors(*sizes)
        found = bare(tmp_path, given, aux=aux, setup=setup)
        assert wrong(found, given) == [], (sizes, aux, setup)
        unseen = aux and sizes[4] == 10  # grippers at rest in 2 MPa or 2 bar: nothing in the log tells
        assert len(found.questions) == unseen, (sizes, aux, setup, found.questions)


def test_the_answer_on_one_thrust_settles_the_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tbmreview.ingest.physics.fits_some_bore", lambda *_: False)
    found = bare(tmp_path, factors(T, 1.0, 1.0, 1.0, 1.0), setup=False)
    (question,) = found.questions
    assert question == "'Thrust': is the main thrust written in kN or t?"
    column = next(c for c in found.columns if c.question)
    tonnes = next(e for e in answers(found, column) if e.unit == "t")
    given = stating(SeenColumns((found,)).given, "Thrust", tonnes)
    again = understand(found.path, OSLO, None, given)
    assert again.questions == ()
    assert {c.name: c.unit for c in again.columns if "thrust" in c.name} == {
        "main_thrust_kN": "t",
        "aux_thrust_kN": "t",
    }


@pytest.mark.parametrize(("pressure", "unit"), [(1.0, "bar"), (10.0, "MPa")])
def test_a_gripper_pressure_is_one_that_grippers_hold_with(
    pressure: float, unit: str, tmp_path: Path
) -> None:
    found = bare(tmp_path, factors(1.0, 1.0, 1.0, 1.0, pressure))
    assert next(c.unit for c in found.columns if c.name == "gripper_pressure_bar") == unit


def changed(folder: Path, channel: str, header: str, values: np.ndarray, *without: str) -> FileUnderstanding:
    """ENGLISH with another header and other values for one channel."""
    machine = tiny_machine(600)
    fields = tuple(replace(f, header=header) if f.channel == channel else f for f in ENGLISH)
    path = folder / "log.csv"
    path.write_text(
        written(
            TinyMachine(machine.seconds, {**machine.values, channel: values}),
            tuple(f for f in fields if f.channel not in without),
        )
    )
    return understand(path, OSLO, DOUBLE)


def answered(found: FileUnderstanding, which: int = 0) -> FileUnderstanding:
    column = next(c for c in found.columns if c.question)
    given = stating(SeenColumns((found,)).given, column.header, answers(found, column)[which])
    return understand(found.path, OSLO, DOUBLE, given)


def test_a_torque_in_percent_is_asked_and_power_says_what_one_percent_is(tmp_path: Path) -> None:
    torque = tiny_machine(600).values["torque_kNm"]
    found = changed(tmp_path, "torque_kNm", "Cutterhead torque [%]", torque / 32)
    (question,) = found.questions
    assert "percent of the installed torque" in question
    again = answered(found)
    assert again.questions == ()
    column = next(c for c in again.columns if c.name == "torque_kNm")
    assert column.conversion is not None
    assert column.conversion.factor == pytest.approx(32, rel=1e-3)
    blind = changed(tmp_path, "torque_kNm", "Cutterhead torque [%]", torque / 32, "head_power_kW")
    column = next(c for c in blind.columns if c.question)
    assert [e.channel for e in answers(blind, column)] == ["extra"]
    assert "torque_kNm" not in blind.channels


def test_a_torque_that_may_be_percent_is_not_taken_for_kilonewton_metres(tmp_path: Path) -> None:
    torque = tiny_machine(600).values["torque_kNm"]
    found = changed(tmp_path, "torque_kNm", "Cutterhead torque", torque / 15, "head_power_kW")
    assert found.questions
    assert not [c.header for c in found.columns if c.name == "torque_kNm" and c.conversion is not None]


def test_a_motor_s_current_is_no_torque(tmp_path: Path) -> None:
    found = changed(
        tmp_path, "torque_kNm", "Cutterhead torque [A]", np.full(600, 300.0) + np.arange(600) % 50
    )
    column = next(c for c in found.columns if "torque" in c.header)
    assert (column.role, column.reason) == ("extra", "named like torque_kNm, but A is no unit of it")


def test_the_gear_of_a_motor_s_speed_is_an_answer(tmp_path: Path) -> None:
    rpm = tiny_machine(600).values["head_speed_rpm"]
    found = changed(tmp_path, "head_speed_rpm", "Cutterhead speed [rpm]", rpm * 154)
    (question,) = found.questions
    assert question.count("154 times") == 1
    again = answered(found)
    assert again.questions == ()
    assert next(c.unit for c in again.columns if c.name == "head_speed_rpm") == "1/154 rpm"


def test_of_numbered_torques_the_sum_is_taken(tmp_path: Path) -> None:
    machine, rng = tiny_machine(600), np.random.default_rng(5)
    parts = {f"t{k}": machine.values["torque_kNm"] / 4 + rng.normal(0, 3, 600) for k in range(4)}
    values = {**machine.values, **parts, "torque_kNm": sum(parts.values())}
    rest = tuple(f for f in ENGLISH if f.channel not in ("torque_kNm", "head_power_kW"))
    numbered = tuple(Field(f"Torque {k} [kNm]", c) for k, c in enumerate((*parts, "torque_kNm"), 1))
    path = tmp_path / "log.csv"
    path.write_text(written(TinyMachine(machine.seconds, values), (*numbered, *rest)))
    found = understand(path, OSLO, DOUBLE)
    assert found.questions == ()
    assert next(c.header for c in found.columns if c.name == "torque_kNm") == "Torque 5 [kNm]"


@pytest.mark.parametrize(
    ("names", "taken", "asked"),
    [
        ("Chainage cutterhead [m]|Chainage gripper [m]|Chainage rear [m]", "Chainage cutterhead [m]", 0),
        ("Chainage 1 [m]|Chainage 2 [m]|Chainage 3 [m]", "", 1),
        ("Chainage gripper [m]|Chainage [m]|Chainage dead [m]", "Chainage [m]", 0),
    ],
)
def test_of_several_points_the_chainage_is_that_of_the_face(
    names: str, taken: str, asked: int, tmp_path: Path
) -> None:
    machine = tiny_machine(600)
    face = machine.values["chainage_m"]
    dead = np.zeros(600) if "dead" in names else face - 14
    ahead = names.split("|").index(taken) if taken else 0
    points = [face, face - 8.2, dead] if not ahead else [face - 8.2, face, dead]
    values = {**machine.values, **{f"c{k}": x for k, x in enumerate(points)}}
    rest = tuple(f for f in ENGLISH if f.channel != "chainage_m")
    fields = (*rest, *(Field(h, f"c{k}") for k, h in enumerate(names.split("|"))))
    path = tmp_path / "log.csv"
    path.write_text(written(TinyMachine(machine.seconds, values), fields))
    found = understand(path, OSLO, DOUBLE)
    assert len(found.questions) == asked
    assert [c.header for c in found.columns if c.name == "chainage_m" and c.unit] == (
        [taken] if taken else []
    )


def test_symbols_with_units_are_names_and_a_nameless_chainage_is_mentioned(tmp_path: Path) -> None:
    symbols = (
        "F [kN]",
        "T [kNm]",
        "n [1/min]",
        "p [mm/rev]",
        "v [mm/min]",
        "s [mm]",
        "P [kW]",
        "Gripper [bar]",
        "X7",
    )
    fields = tuple(replace(f, header=h) for f, h in zip(ENGLISH, symbols, strict=True))
    path = tmp_path / "log.csv"
    path.write_text(written(tiny_machine(600), fields))
    found = understand(path, OSLO, DOUBLE)
    assert found.questions == ()
    assert {c.header: c.name for c in found.columns if c.role == "channel"} == {
        f.header: f.channel for f in fields if f.header != "X7"
    }
    assert found.columns[-1].reason == "no channel has this name; it runs like a chainage"
    assert understand(path.rename(tmp_path / "b.csv"), OSLO, None).questions == ()
