"""The names of any two channels exchanged: the right columns are found or the question is asked."""

from functools import cache
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray

from tbmreview.domain.setup import Machine
from tbmreview.ingest.column_map import ColumnMap
from tbmreview.ingest.headers import parse_header
from tbmreview.ingest.report import Column
from tbmreview.ingest.sample import NUMBER, LogSample
from tbmreview.ingest.source import Source
from tbmreview.ingest.understand import understand_columns

Values = NDArray[np.float64]
DOUBLE = Machine("double shield", bore_diameter_m=6.4, disc_count=42, stroke_length_m=1.6)
HEADERS = {
    "main_thrust_kN": "Main thrust [kN]",
    "aux_thrust_kN": "Aux. thrust [kN]",
    "main_pressure_bar": "Main cylinder pressure [bar]",
    "main_stroke_mm": "Main stroke [mm]",
    "aux_stroke_mm": "Aux. stroke [mm]",
    "torque_kNm": "Cutterhead torque [kNm]",
    "head_speed_rpm": "Cutterhead speed [rpm]",
    "penetration_mm_rev": "Penetration [mm/rev]",
    "advance_speed_mm_min": "Advance speed [mm/min]",
    "gripper_pressure_bar": "Gripper pressure [bar]",
    "chainage_m": "Chainage [m]",
    "ring_number": "Ring no.",
    "roll_mm_m": "Roll [mm/m]",
}
TIED = {"head_speed_rpm", "penetration_mm_rev", "advance_speed_mm_min"}  # by v = n p, tested elsewhere
GRIPPER = [c for c in HEADERS if not c.startswith("aux") and c != "ring_number"]


@cache
def strokes() -> dict[str, Values]:
    """Invented: three strokes of a double shield every 5 s: turning free, boring, standing, regrip, ring building."""
    rng = np.random.default_rng(4)
    rows: list[tuple[float, ...]] = []  # head speed, speed, d main, d aux, aux force, gripper
    for _ in range(3):
        rows += [(6.5, 0, 0, 0, 1200, 240)] * 25
        rows += [(6.5, 45.0 + 8 * rng.standard_normal(), 0, 0, 1200, 240) for _ in range(380)]
        rows += [(0, 0, 0, 0, 1200, 240)] * 30
        rows += [(0, 0, -1425 / 25, 1425 / 25, 4500, 25)] * 25
        rows += [(0, 0, 0, 0, 1200, 240)] * 20
        rows += [(0, 0, 0, -1425 / 3 if k % 20 == 0 else 0, 1200, 240) for k in range(60)]
    n, v, back, aux, aux_kN, grip = np.array(rows).T
    size = len(n)
    p = np.divide(v, n, out=np.zeros(size), where=n > 0)
    main = 20 + np.cumsum(np.r_[0.0, v[:-1] / 12] + np.r_[0.0, back[:-1]])
    thrust = np.where(
        v > 0, 5000 + 900 * p + 100 * rng.standard_normal(size), 250 + 10 * rng.standard_normal(size)
    )
    torque = np.where(v > 0, 200 + 180 * p + 30 * rng.standard_normal(size), np.where(n > 0, 160, -5))
    return {
        "main_thrust_kN": thrust,
        "aux_thrust_kN": aux_kN + 20 * rng.standard_normal(size),
        "main_pressure_bar": thrust / 45,
        "main_stroke_mm": main + 0.2 * rng.standard_normal(size),
        "aux_stroke_mm": 300 + np.cumsum(aux) + 0.2 * rng.standard_normal(size),
        "torque_kNm": torque + 2 * rng.standard_normal(size),
        "head_speed_rpm": n,
        "penetration_mm_rev": p,
        "advance_speed_mm_min": v,
        "gripper_pressure_bar": grip + rng.standard_normal(size),
        "chainage_m": 4180 + np.floor(np.cumsum(v / 12) / 1000 * 256) / 256,
        "ring_number": 100.0 + np.arange(size) // (size // 3 + 1),
        "roll_mm_m": 3 + np.cumsum(rng.standard_normal(size)) / 50,
    }  # fmt: skip


def understood(channels: list[str], headers: dict[str, str], machine: Machine | None) -> list[Column]:
    """The columns of a log with these channels under these headers, its stamps known."""
    parsed = tuple(parse_header(headers[c], "") for c in channels)
    sample = LogSample(Source.__new__(Source), None, parsed, (NUMBER,) * len(parsed), (), (), True, ())
    values = dict(enumerate(strokes()[c] for c in channels))
    seconds: list[Values] = [np.linspace(0.0, 5.0 * (len(values[0]) - 1), len(values[0]))]
    return list(understand_columns(sample, values, seconds, machine, ColumnMap())[0])


def settled(columns: list[Column]) -> list[Column]:
    return [c for c in columns if c.role == "channel" and not c.question and c.conversion is not None]


def exchanged(one: str, other: str) -> dict[str, str]:
    return {**HEADERS, one: HEADERS[other], other: HEADERS[one]}


@pytest.mark.parametrize("machine", [DOUBLE, None])
@pytest.mark.parametrize("channels", [list(HEADERS), GRIPPER], ids=["double", "gripper"])
def test_names_that_are_right_raise_no_question(channels: list[str], machine: Machine | None) -> None:
    columns = understood(channels, HEADERS, machine)
    assert [c.question for c in columns if c.question] == []
    assert [c.name for c in settled(columns)] == channels


@pytest.mark.parametrize("channels", [list(HEADERS), GRIPPER], ids=["double", "gripper"])
def test_of_two_names_exchanged_none_is_accepted_where_it_does_not_belong(channels: list[str]) -> None:
    silent = []
    pairs = list(combinations([c for c in channels if c not in TIED], 2))
    for one, other in pairs[::2]:  # each channel is in several; all of them take twice as long
        columns = understood(channels, exchanged(one, other), DOUBLE)
        wrong = [(c.header, c.name) for c in settled(columns) if c.name != channels[c.index]]
        asked = any(c.question for c in columns)
        if wrong or not (asked or len(settled(columns)) == len(channels)):
            silent.append((one, other, asked, wrong))
    assert silent == []


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("main_stroke_mm", "aux_stroke_mm"),
        ("torque_kNm", "aux_thrust_kN"),
        ("torque_kNm", "aux_stroke_mm"),
        ("gripper_pressure_bar", "main_pressure_bar"),
        ("main_thrust_kN", "aux_thrust_kN"),
    ],
)
def test_movement_puts_two_names_right(one: str, other: str) -> None:
    channels = list(HEADERS)
    columns = understood(channels, exchanged(one, other), DOUBLE)
    assert [c.question for c in columns if c.question] == []
    assert [c.name for c in settled(columns)] == channels


def test_without_any_name_nothing_that_moves_alike_is_taken_for_another() -> None:
    channels = list(HEADERS)
    bare = {c: f"[{k}]" for k, c in enumerate(channels)}
    columns = understood(channels, bare, DOUBLE)
    assert [(c.header, c.name) for c in settled(columns) if c.name != channels[c.index]] == []
    assert any("thrust" in c.question for c in columns)


def test_an_asked_pair_makes_one_question_that_names_both() -> None:
    columns = understood(list(HEADERS), exchanged("main_thrust_kN", "gripper_pressure_bar"), DOUBLE)
    questions = [c.question for c in columns if c.question]
    assert len(questions) <= 1
    for question in questions:
        assert "other way round" in question
