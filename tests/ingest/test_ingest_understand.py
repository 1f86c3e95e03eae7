"""Names and units propose, the data decide, the rest is asked: never a wrong channel in silence."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tbmreview.domain.errors import LogError
from tbmreview.domain.setup import Machine
from tbmreview.ingest.column_map import parse_column_map, read_column_map
from tbmreview.ingest.read import FileUnderstanding, LogReader, understand
from tests.support.logs import ENGLISH, Field, TinyMachine, tiny_machine, written

OSLO = ZoneInfo("Europe/Oslo")
DOUBLE = Machine("double shield", bore_diameter_m=6.4, disc_count=42)
TINY = tiny_machine()


def log(folder: Path, fields: tuple[Field, ...], machine: TinyMachine = TINY) -> FileUnderstanding:
    path = folder / "log.csv"
    path.write_text(written(machine, fields, decimals=9))
    return understand(path, OSLO, DOUBLE)


def with_factor(channel: str, factor: float, header: str = "") -> tuple[Field, ...]:
    """ENGLISH with one column's numbers divided by a factor under the header it had, or another."""
    return tuple(
        replace(f, factor=factor, header=header or f.header) if f.channel == channel else f for f in ENGLISH
    )


def more(machine: TinyMachine, **columns: Callable[[TinyMachine], np.ndarray]) -> TinyMachine:
    return TinyMachine(machine.seconds, {**machine.values, **{k: f(machine) for k, f in columns.items()}})


def column(found: FileUnderstanding, channel: str) -> tuple[str, str]:
    return next((c.header, c.unit) for c in found.columns if c.name == channel)


@pytest.mark.parametrize(
    ("channel", "factor", "unit"),
    [
        ("advance_speed_mm_min", 1000 / 60, "m/h"),
        ("advance_speed_mm_min", 10, "cm/min"),
        ("penetration_mm_rev", 0.1, "0.1 mm/rev"),
        ("torque_kNm", 1000, "MNm"),
        ("torque_kNm", 0.001, "Nm"),
        ("main_stroke_mm", 1000, "m"),
        ("head_power_kW", 1000, "MW"),
    ],
)
def test_a_wrong_unit_is_put_right_by_physics(channel: str, factor: float, unit: str, tmp_path: Path) -> None:
    found = log(tmp_path, with_factor(channel, factor))
    assert found.questions == ()
    assert column(found, channel)[1] == unit
    reason = next(c.reason for c in found.columns if c.name == channel)
    assert "off by a factor" in reason
    samples = next(iter(LogReader(found))).samples
    np.testing.assert_allclose(samples.values[channel], TINY.values[channel], rtol=1e-6, atol=1e-6)


def test_a_stated_unit_that_no_machine_reads_is_asked(tmp_path: Path) -> None:
    found = log(tmp_path, with_factor("main_thrust_kN", 9.80665))  # tonne-force under the label kN
    assert len(found.questions) == 1
    assert "Thrust force [kN]" in found.questions[0]


def test_motor_speed_under_the_name_of_head_speed_is_never_accepted(tmp_path: Path) -> None:
    found = log(tmp_path, with_factor("head_speed_rpm", 1 / 154))
    assert found.questions
    assert any("head_speed" in q or "speed" in q for q in found.questions)


def test_swapped_names_are_asked(tmp_path: Path) -> None:
    swap = {"main_thrust_kN": "Cutterhead torque [kNm]", "torque_kNm": "Thrust force [kN]"}
    found = log(tmp_path, tuple(replace(f, header=swap.get(f.channel, f.header)) for f in ENGLISH))
    assert any("torque" in q for q in found.questions)


def test_set_points_limits_and_parts_are_not_the_measurement(tmp_path: Path) -> None:
    machine = more(
        TINY,
        soll=lambda m: m.values["main_thrust_kN"] + 500,
        limit=lambda m: np.full(600, 19000.0),
        motor=lambda m: m.values["torque_kNm"] / 154,
        total=lambda m: np.cumsum(m.values["head_speed_rpm"]) / 60,
        state=lambda m: (m.values["head_speed_rpm"] > 0) * 3.0,
    )
    fields = (
        Field("Vorschubkraft Sollwert [kN]", "soll"),
        Field("Thrust force limit [kN]", "limit"),
        Field("Torque motor 1 [kNm]", "motor"),
        Field("Cutterhead revolutions, cumulative", "total"),
        Field("Working state", "state"),
        *ENGLISH,
    )
    found = log(tmp_path, fields, machine)
    assert found.questions == ()
    assert column(found, "main_thrust_kN")[0] == "Thrust force [kN]"
    assert column(found, "torque_kNm")[0] == "Cutterhead torque [kNm]"
    extras = {c.header for c in found.columns if c.role == "extra"}
    assert extras == {f.header for f in fields[:5]}


def test_the_same_quantity_twice_is_taken_once(tmp_path: Path) -> None:
    fields = (Field("Advance speed [m/h]", "advance_speed_mm_min", 1000 / 60), *ENGLISH)
    found = log(tmp_path, fields)
    assert found.questions == ()
    assert found.channels.count("advance_speed_mm_min") == 1
    samples = next(iter(LogReader(found))).samples
    np.testing.assert_allclose(
        samples.values["advance_speed_mm_min"], TINY.values["advance_speed_mm_min"], rtol=1e-6, atol=1e-6
    )


def test_two_that_differ_under_one_name_are_asked(tmp_path: Path) -> None:
    machine = more(TINY, other=lambda m: m.values["main_thrust_kN"] * 1.4 + np.arange(600))
    found = log(tmp_path, (*ENGLISH, Field("Thrust force [kN]", "other")), machine)
    (question,) = found.questions
    assert question.startswith(
        "'Thrust force [kN]': is this the main thrust, or is it 'Thrust force [kN] (2)'?"
    )


def test_a_dead_twin_and_a_vaguer_name_give_way(tmp_path: Path) -> None:
    machine = more(
        TINY,
        dead=lambda m: np.zeros(600),
        vague=lambda m: np.round(m.values["torque_kNm"] * 1.3 + np.arange(600) / 7, 5),
    )
    fields = (Field("chainage_m", "dead"), Field("Torque foo [kNm]", "vague"), *ENGLISH)
    found = log(tmp_path, fields, machine)
    assert found.questions == ()
    assert column(found, "chainage_m")[0] == "Chainage [m]"
    assert column(found, "torque_kNm")[0] == "Cutterhead torque [kNm]"


def test_no_sensor_and_empty_columns_are_left_out(tmp_path: Path) -> None:
    machine = more(TINY, none=lambda m: np.full(600, -1.0), empty=lambda m: np.full(600, np.nan))
    found = log(
        tmp_path,
        (Field("Aux. thrust [kN]", "none"), Field("Water inflow [l/min]", "empty"), *ENGLISH),
        machine,
    )
    assert {c.header: c.reason for c in found.columns if c.role == "left out"} == {
        "Aux. thrust [kN]": "-1 throughout: no sensor",
        "Water inflow [l/min]": "empty",
    }


def test_a_column_that_the_sample_does_not_show_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tbmreview.ingest.sample.PIECES", 3)  # at the start, the middle and the end
    n = 12_000
    machine = tiny_machine(n)
    late = np.where((np.arange(n) > 2400) & (np.arange(n) < 3060), 5.0, np.nan)
    path = tmp_path / "log.csv"
    fields = (
        *ENGLISH,
        Field("Methane [%]", "late"),
        Field("Water inflow [l/min]", "late"),
        Field("Roll", "late"),
    )
    path.write_text(written(more(machine, late=lambda m: late), fields).replace("nan", ""))
    found = understand(path, OSLO, DOUBLE)
    assert found.questions == ()
    values = [block.samples.values for block in LogReader(found)]
    for name in ("extra:Methane [%]", "water_l_min", "extra:Roll"):
        assert sum(int(np.isfinite(v[name]).sum()) for v in values if name in v) == 659


def test_a_total_that_wraps_below_zero_is_kept_as_it_is_and_said(tmp_path: Path) -> None:
    wrapped = more(TINY, b=lambda m: m.seconds * 3.0 - 31_000)
    path = tmp_path / "log.csv"
    path.write_text(written(wrapped, (*ENGLISH, Field("Belt scale total [t]", "b"))))
    found = understand(path, OSLO, DOUBLE)
    assert found.questions == ()
    assert any("'Belt scale total [t]': named like belt_total_t, but" in note for note in found.notes)
    assert "extra:Belt scale total [t]" in {c.name for c in found.columns}


def test_local_stamps_that_contradict_the_utc_stamps_are_reported(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"

    def both(hours: int) -> Callable[[datetime], tuple[str, str]]:
        ahead = timedelta(hours=hours)
        return lambda t: (t.strftime("%Y-%m-%dT%H:%M:%SZ"), (t + ahead).strftime("%Y-%m-%d %H:%M:%S"))

    for hours, said in ((8, "runs at UTC+08:00, the drive's zone Europe/Oslo at UTC+01:00"), (1, "")):
        path.write_text(written(TINY, stamp_headers=("UTC", "Local"), stamp=both(hours)))
        notes = understand(path, OSLO, DOUBLE).notes
        assert [said in note for note in notes] == ([True] if said else [])


def test_a_log_without_any_unit_is_settled_by_the_machine(tmp_path: Path) -> None:
    machine = more(
        TINY,
        aux_f=lambda m: 1400.0 + np.arange(600) % 9,
        aux_s=lambda m: 900.0 - np.arange(600) % 7,
        pitch=lambda m: -12.0 + np.arange(600) % 5,
    )
    headers = "Thrust|Torque|Cutterhead speed|Penetration|Advance speed|Stroke|Cutterhead power|Gripper pressure|Chainage"
    bare = tuple(replace(f, header=h) for f, h in zip(ENGLISH, headers.split("|"), strict=True))
    fields = (Field("Aux. thrust", "aux_f"), Field("Aux. stroke", "aux_s"), Field("Pitch", "pitch"), *bare)
    found = log(tmp_path, fields, machine)
    assert found.questions == ()
    assert set(found.channels) == {*TINY.values, "aux_thrust_kN", "aux_stroke_mm"}
    assert column(found, "aux_thrust_kN")[1] == "kN"
    assert column(found, "chainage_m")[1] == "m"
    assert "extra:Pitch" in {c.name for c in found.columns}
    kilometres = tuple(replace(f, factor=1e3) if f.channel == "chainage_m" else f for f in fields)
    assert column(log(tmp_path, kilometres, machine), "chainage_m")[1] == "km"


def test_strokes_of_four_cylinders_become_their_mean(tmp_path: Path) -> None:
    machine = more(
        TINY,
        **{f"s{k}": (lambda m, k=k: m.values["main_stroke_mm"] + 3.0 * k - 4.5) for k in range(4)},
    )
    parts = tuple(Field(f"Thrust Cylinder {'ABCD'[k]} Stroke [mm]", f"s{k}") for k in range(4))
    rest = tuple(f for f in ENGLISH if f.channel != "main_stroke_mm")
    found = log(tmp_path, (*parts, *rest), machine)
    assert found.questions == ()
    samples = next(iter(LogReader(found))).samples
    np.testing.assert_allclose(samples.values["main_stroke_mm"], TINY.values["main_stroke_mm"], atol=1e-6)


def test_main_and_auxiliary_sets_are_told_apart(tmp_path: Path) -> None:
    machine = more(
        TINY,
        aux_f=lambda m: np.full(600, 1400.0) + np.arange(600) % 9,
        aux_s=lambda m: 900.0 - np.arange(600) % 7,
    )
    fields = (Field("Auxiliary thrust [kN]", "aux_f"), Field("Aux. cylinder stroke [mm]", "aux_s"), *ENGLISH)
    found = log(tmp_path, fields, machine)
    assert found.questions == ()
    assert column(found, "aux_thrust_kN")[0] == "Auxiliary thrust [kN]"
    assert column(found, "aux_stroke_mm")[0] == "Aux. cylinder stroke [mm]"
    assert column(found, "main_stroke_mm")[0] == "Thrust cylinder stroke [mm]"


def test_an_unknown_unit_is_asked_or_settled_by_the_data_never_taken(tmp_path: Path) -> None:
    settled = log(tmp_path, with_factor("torque_kNm", 1.0, "Cutterhead torque [Mp m]"))
    assert column(settled, "torque_kNm")[1] == "kNm"  # 2 pi n T / 60 leaves one
    asked = log(tmp_path, with_factor("gripper_pressure_bar", 6.0, "Gripper pressure [atü]"))
    assert any("Gripper" in q for q in asked.questions)


def test_a_standing_day_asks_nothing_when_units_are_stated(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    still = {name: np.round(rng.normal(0, 0.02, 600), 3) for name in TINY.values}
    still["chainage_m"] = np.full(600, 4180.0)
    still["main_thrust_kN"] = np.round(rng.normal(30, 5, 600), 1)
    found = log(tmp_path, ENGLISH, TinyMachine(TINY.seconds, still))
    assert found.questions == ()
    assert set(found.channels) == set(TINY.values)


def test_a_day_on_the_auxiliaries_asks_nothing_when_units_are_stated(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    idle = {"main_thrust_kN": 40.0, "main_stroke_mm": 12.0, "gripper_pressure_bar": 24.0}
    values = {**TINY.values, **{name: np.round(rng.normal(at, 2, 600), 1) for name, at in idle.items()}}
    found = log(tmp_path, ENGLISH, TinyMachine(TINY.seconds, values))
    assert found.questions == ()
    assert column(found, "gripper_pressure_bar")[1] == "bar"
    bare = tuple(replace(f, header="Gripper pressure") if "Gripper" in f.header else f for f in ENGLISH)
    assert any("bar or MPa" in q for q in log(tmp_path, bare, TinyMachine(TINY.seconds, values)).questions)


def test_a_part_that_reads_little_keeps_its_stated_unit_unless_another_fits(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    for top, asked in ((0.5, False), (20.0, True)):  # 20 MPa would be a gripper at work
        noise = np.round(rng.uniform(0.5, 1.0, 600) * top, 4)
        values = {**TINY.values, "gripper_pressure_bar": noise}
        found = log(tmp_path, ENGLISH, TinyMachine(TINY.seconds, values))
        assert bool(found.questions) is asked
        assert all("Gripper" in question for question in found.questions)


def test_a_table_without_names_is_asked_and_a_map_answers(tmp_path: Path) -> None:
    path = tmp_path / "bare.csv"
    path.write_text(written(TINY).split("\n", 1)[1])
    found = understand(path, OSLO, DOUBLE)
    assert found.questions
    rows = "\n".join(
        f'"column {k + 2}" = {{ channel = "{f.channel}", unit = "{f.header.split("[")[1][:-1]}" }}'
        for k, f in enumerate(ENGLISH)
    )
    given = parse_column_map("[columns]\n" + rows, "map")
    again = understand(path, OSLO, DOUBLE, given)
    assert again.questions == ()
    assert sum(len(b.samples) for b in LogReader(again)) == 600


def test_the_map_written_is_the_map_read(tmp_path: Path) -> None:
    found = log(tmp_path, (*ENGLISH, Field('Odd "name", [x]', "torque_kNm")))
    path = tmp_path / "map.toml"
    path.write_text(found.as_map().as_toml(), "utf-8")
    again = understand(found.path, OSLO, DOUBLE, read_column_map(path))
    assert again.questions == ()
    assert again.channels == found.channels
    assert again.clock is not None
    assert again.clock.columns == (0,)


def test_an_open_unit_is_asked_again_until_it_is_filled_in(tmp_path: Path) -> None:
    found = log(tmp_path, with_factor("gripper_pressure_bar", 6.0, "Gripper pressure"))
    assert found.questions
    text = found.as_map().as_toml()
    assert 'unit = "?"' in text
    unanswered = understand(found.path, OSLO, DOUBLE, parse_column_map(text, "map.toml"))
    assert unanswered.questions == found.questions
    answered = parse_column_map(text.replace('unit = "?"', 'unit = "0.6 MPa"'), "map.toml")
    again = understand(found.path, OSLO, DOUBLE, answered)
    samples = next(iter(LogReader(again))).samples
    np.testing.assert_allclose(samples.values["gripper_pressure_bar"], TINY.values["gripper_pressure_bar"])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[columns", "TOML"),
        ("[other]\n", "unknown section"),
        ('[columns]\n"a" = { channel = "thrust" }', "unknown channel"),
        ('[columns]\n"a" = { channel = "torque_kNm", unit = "bar" }', "no known unit of torque"),
        ('[columns]\n"a" = { channel = "torque_kNm" }', "state the unit"),
        ('[clock]\norder = "ddmm"', "order"),
        ('[clock]\nzone = "Mars"', "zone"),
        ('[clock]\nfoo = "Mars"', "unknown key"),
    ],
)
def test_mistakes_in_a_map_are_named(text: str, said: str) -> None:
    with pytest.raises(LogError, match=said):
        parse_column_map(text, "map.toml")


def test_ambiguous_dates_are_asked_and_the_map_answers(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(written(TINY, stamp=lambda t: (t.strftime("%m/%d/%Y %H:%M:%S"),)))
    found = understand(path, OSLO, None)
    assert len(found.questions) == 1
    assert "day first or month first" in found.questions[0]
    answered = understand(path, OSLO, None, parse_column_map('[clock]\norder = "mdy"', "m"))
    first = next(iter(LogReader(answered))).samples.time_us[0]
    assert first == int(datetime(2024, 3, 5, 6, tzinfo=OSLO).timestamp()) * 1_000_000
