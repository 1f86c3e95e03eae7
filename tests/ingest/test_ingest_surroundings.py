"""Rules that look around a value: what they find, what they leave, over the rows of whichever recorder."""

from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tbmreview.domain.samples import Samples
from tbmreview.ingest.clean import STRONG, WEAK, extremes, suspects, wraps
from tbmreview.ingest.read import LogReader, understand
from tbmreview.ingest.surroundings import JUMP, NO_READING, STUCK, STUCK_CANDIDATES, judge
from tests.support.logs import ENGLISH, tiny_machine, written
from tests.support.whole_log import whole_log

Values = NDArray[np.float64]
OSLO = ZoneInfo("Europe/Oslo")


def rows_of(values: dict[str, Values], step_s: float = 1.0) -> Samples:
    n = len(next(iter(values.values())))
    return Samples((np.arange(n) * step_s * 1e6).astype(np.int64), dict(values))


def marked(values: dict[str, Values], step_s: float = 1.0) -> dict[str, list[int]]:
    found = judge(rows_of(values, step_s), {name: [1.0] for name in values})
    return {name: np.flatnonzero(some).tolist() for (_, name), some in found.items()}


def machine(**changed: tuple[int, int, float]) -> dict[str, Values]:
    """The tiny machine with (start, end, value) written into channels."""
    values = {name: v.copy() for name, v in tiny_machine(600).values.items()}
    for name, (start, end, value) in changed.items():
        values[name][start:end] = value
    return values


def test_a_machine_without_faults_is_left_alone() -> None:
    assert marked(machine()) == {}


@pytest.mark.parametrize("step_s", [1.0, 10.0, 30.0])
def test_a_machine_that_changes_state_within_a_row_is_left_alone(step_s: float) -> None:
    """Crude logs: strokes that return at once, forces that come and go, and rest at one value."""
    n = 600
    boring = (np.arange(n) // 50) % 2 == 0
    stroke = np.where(boring, np.arange(n) % 50 * 30.0, 0.0)
    values = {
        "main_thrust_kN": np.where(boring, 11_000.0, -1.0),
        "torque_kNm": np.where(boring, 1_500.0, -1.0),
        "head_speed_rpm": np.where(boring, 6.0, 0.0),
        "penetration_mm_rev": np.where(boring, 7.0, 0.0),
        "advance_speed_mm_min": np.where(boring, 42.0, 0.0),
        "main_stroke_mm": stroke,
        "aux_stroke_mm": np.where(boring, 200.0, 1_700.0),
    }
    found = marked(values, step_s)
    assert set(found) <= {"main_thrust_kN", "torque_kNm"}  # an exact -1 between readings at work is none
    assert all(not boring[i] for rows in found.values() for i in rows)


def test_a_reading_that_repeats_at_rest_or_where_nothing_else_changes_is_no_fault() -> None:
    values = machine()
    values["torque_kNm"][270:330] = 0.0
    assert marked(values) == {}
    calm = {name: np.round(v, -3) if name in STUCK_CANDIDATES else v for name, v in machine().items()}
    assert marked(calm) == {}


def test_closed_main_cylinders_are_not_stuck_while_the_auxiliaries_push() -> None:
    values = machine(main_thrust_kN=(50, 250, 1_200.0))
    values["aux_stroke_mm"] = values["main_stroke_mm"].copy()
    assert list(marked(values)) == ["main_thrust_kN"]
    values["main_stroke_mm"] = np.full(600, 5.0)
    assert marked(values) == {}


def test_negative_readings_at_rest_are_kept() -> None:
    rest = np.random.default_rng(3).normal(-5, 3, 600).round()  # -1 among them
    values = {"torque_kNm": np.where(np.arange(600) < 300, rest, 1_500 + rest), "head_speed_rpm": rest * 0}
    assert -1 in rest
    assert marked(values) == {}


def test_suspects_and_wraps() -> None:
    raw = np.array([5.0, -1, -999, 32_767, -32_768, 65_535, np.nan, -1.5])
    codes = suspects(raw, extremes(raw))
    assert codes is not None
    assert codes.tolist() == [0, WEAK, STRONG, STRONG + 2, STRONG + 4, STRONG + 5, 0, 0]
    assert suspects(np.array([0.0, 1.0, np.nan]), (0.0, 1.0)) is None
    assert wraps(np.array([32_766.0, 32_767, -32_768, -32_767])).tolist() == [2]
    assert wraps(np.array([65_534.0, 3, 9, 32_700, 32_760, 12])).tolist() == [1, 5]
    assert wraps(np.array([40_000.0, 0, 32_100, 31_000])).tolist() == []
    assert wraps(np.array([500.0, 32_767, 510, 32_767, 32_767, 505, 32_768, 12])).tolist() == []
    assert wraps(np.array([65_300.0, 65_530, np.nan, 65_530, 65_530, 12])).tolist() == [5]


def test_a_stuck_reading_is_missing_over_a_standstill_within_its_run_but_not_before_it() -> None:
    standing = np.flatnonzero(machine()["head_speed_rpm"] == 0)
    first, last = int(standing[0]), int(standing[-1])
    over = marked(machine(torque_kNm=(first - 20, 520, 1_500.0)))["torque_kNm"]
    assert over == list(range(first - 19, 520))
    since = marked(machine(torque_kNm=(first + 5, 520, 1_500.0)))["torque_kNm"]
    assert since == list(range(last + 1, 520))


FAULTS = st.lists(
    st.tuples(
        st.sampled_from(["main_thrust_kN", "torque_kNm", "main_stroke_mm", "gripper_pressure_bar"]),
        st.integers(0, 2_999),
        st.sampled_from([1, 2, 40, 200, 900]),
        st.sampled_from([-1.0, 32_767.0, 1_500.0, 4_000.0]),
    ),
    max_size=4,
)


@settings(max_examples=15, deadline=None)
@given(FAULTS)
def test_rows_of_another_recorder_between_those_of_a_log_hide_nothing(
    faults: list[tuple[str, int, int, float]],
) -> None:
    values = {name: v.copy() for name, v in tiny_machine(3_000).values.items()}
    for name, start, length, value in faults:
        values[name][start : start + length] = value
    alone, scales = rows_of(values), {name: [1.0] for name in values}
    gaps = np.repeat(np.arange(3_000), 2)
    between = {name: np.where(np.arange(6_000) % 2 == 0, v[gaps], np.nan) for name, v in alone.values.items()}
    times = np.sort(np.r_[alone.time_us, alone.time_us + 400_000])
    together = judge(Samples(times, between), scales)
    assert {key: np.flatnonzero(some).tolist() for key, some in together.items()} == {
        key: (2 * np.flatnonzero(some)).tolist() for key, some in judge(alone, scales).items()
    }


def test_a_number_for_no_reading_is_one_as_it_was_written() -> None:
    values = machine(torque_kNm=(100, 103, -999.0), gripper_pressure_bar=(200, 201, -10.0))
    rows = rows_of(values)
    assert {key[0] for key in judge(rows, {name: [1.0] for name in values})} == {NO_READING}
    assert {(rule, name) for rule, name in judge(rows, {"gripper_pressure_bar": [1.0, 10.0]})} == {
        (NO_READING, "gripper_pressure_bar")
    }
    assert judge(rows, {}) == {}


def test_a_reading_as_far_from_its_neighbours_as_they_are_from_each_other_is_one() -> None:
    """Thrust of a slow log in rough rock, which once comes to 9999 kN."""
    steps = np.random.default_rng(4).normal(0, 900, 400)
    values = {"main_thrust_kN": np.round(9_000.0 + steps)}
    values["main_thrust_kN"][199:202] = (6_883.0, 9_999.0, 9_097.0)
    assert marked(values, 10.0) == {}
    values["main_thrust_kN"] = np.round(9_000.0 + steps / 10)
    values["main_thrust_kN"][200] = 9_999.0
    assert marked(values, 10.0) == {"main_thrust_kN": [200]}


def test_a_reading_that_is_stuck_for_most_of_a_day_is_found() -> None:
    values = {name: v.copy() for name, v in tiny_machine(6_000).values.items()}
    values["torque_kNm"][700:6_000] = 1_500.0
    found = judge(rows_of(values), {})
    assert list(found) == [(STUCK, "torque_kNm")]
    boring = (values["head_speed_rpm"] > 0) & (np.arange(6_000) > 700)
    np.testing.assert_array_equal(found[STUCK, "torque_kNm"], boring)


def test_no_value_is_marked_by_two_rules() -> None:
    found = judge(rows_of(machine(torque_kNm=(100, 101, 32_767.0))), {"torque_kNm": [1.0]})
    assert [(rule, int(some.sum())) for (rule, _), some in found.items()] == [(NO_READING, 1)]
    assert list(judge(rows_of(machine(torque_kNm=(100, 101, 32_767.0))), {})) == [(JUMP, "torque_kNm")]


def test_a_file_read_in_small_blocks_is_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = written(tiny_machine(3_000)).splitlines()
    place = [f.channel for f in ENGLISH].index("torque_kNm") + 1
    for i in [*range(300, 480), *range(700, 2_000)]:
        cells = lines[i].split(",")
        cells[place] = "1234" if i < 500 else "-1"
        lines[i] = ",".join(cells)
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n")

    def read() -> tuple[Values, object]:
        reader = LogReader(understand(path, OSLO, None))
        return whole_log(reader).values["torque_kNm"], reader.report

    whole, report = read()
    monkeypatch.setattr("tbmreview.ingest.read_text.text_blocks.__defaults__", (9_000,))
    parts, same = read()
    np.testing.assert_array_equal(parts, whole)
    assert same == report
    assert np.isnan(whole).sum() > 1_000
