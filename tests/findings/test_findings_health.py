"""Health of the data: what an hour's row says, and what faults of sensors look like in them."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.domain.table import Table
from tbmreview.findings.health import HOUR_US, by_series, empty_health, health_of, stamps_of
from tbmreview.findings.level_health import channel_faults
from tbmreview.findings.record_health import gaps_and_clocks
from tbmreview.findings.unit_factors import telltale
from tests.support.cells import periods_of
from tests.support.sensors import HOUR, START_US, STEP_S, Values, hours_of, profile_of_samples, stamps

BAD = slice(8 * HOUR, 13 * HOUR)  # five hours, from the ninth on
FROM_US, TO_US = START_US + 8 * HOUR_US, START_US + 13 * HOUR_US
READINGS = arrays.arrays(np.float64, 40, elements=st.sampled_from([np.nan, 0.0, 1.0, 2.0]))


def found_in(values: Values) -> list[Finding]:
    return channel_faults(profile_of_samples(values), FindingSettings())


# --- the rows -----------------------------------------------------------------------------------


@given(READINGS)
@settings(max_examples=40, deadline=None)
def test_a_row_says_what_a_plain_loop_says(readings: np.ndarray) -> None:
    """Samples each 240 s over three hours, boring throughout by head speed and advance speed."""
    time_us = START_US + np.arange(40) * 240_000_000
    work = {"head_speed_rpm": np.full(40, 6.0), "advance_speed_mm_min": np.full(40, 40.0)}
    table = health_of(stamps_of(time_us, 240_000_000, 3.0), {**work, "water_l_min": readings}, {}, alone=True)
    rows = by_series(table)["water_l_min"]
    for i, hour in enumerate(rows["hour_us"].tolist()):
        own = readings[(time_us >= hour) & (time_us < hour + HOUR_US)]
        known = own[np.isfinite(own)]
        assert rows["count"][i] == len(known)
        assert rows["missing_s"][i] == 240 * (len(own) - len(known))
        assert rows["bored_s"][i] == 240 * len(own)
        runs, last = [0], None
        for value in known:
            runs = [*runs[:-1], runs[-1] + 1] if value == last else [*runs, 1]
            last = value
        assert rows["still_s"][i] == 240 * max(runs)
        if len(known):
            assert (rows["low"][i], rows["high"][i]) == (known.min(), known.max())
            assert rows["mean"][i] == pytest.approx(known.mean())


def test_no_samples_make_no_rows() -> None:
    none = np.empty(0, np.int64)
    assert health_of(stamps_of(none, 1_000_000, 3.0), {}, {}, alone=True).names == empty_health().names
    assert by_series(empty_health()) == {}


# --- faults -------------------------------------------------------------------------------------


def test_a_day_without_a_fault_has_none() -> None:
    assert found_in(hours_of(48)) == []


def test_what_a_crew_sets_anew_is_no_fault() -> None:
    values = hours_of()
    for name in ("main_thrust_kN", "main_pressure_bar", "belt_rate_t_h"):
        values[name][BAD] *= 0.5
    for name in ("torque_kNm", "head_power_kW"):
        values[name][BAD] *= 0.4
    assert found_in(values) == []


def test_a_machine_that_all_but_stands_has_no_other_units() -> None:
    """A held shield: speed, penetration and belt fall to an eighth together."""
    values = hours_of()
    stroke = values["main_stroke_mm"]
    for name in ("advance_speed_mm_min", "penetration_mm_rev", "belt_rate_t_h"):
        values[name][BAD] *= 0.12
    stroke[BAD] = 100 + (stroke[BAD] - 100) * 0.12
    assert [f for f in found_in(values) if f.kind == "unit jump"] == []


def times(factor: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda readings: readings * factor


def drifting(readings: np.ndarray) -> np.ndarray:
    return readings * np.linspace(1.0, 1.3, len(readings))


FAULTS = [
    ("torque_kNm", lambda x: np.full(len(x), 1480.0), "channel stuck", "Torque"),
    ("gripper_pressure_bar", lambda x: np.full(len(x), 238.5), "channel stuck", "Gripper pressure"),
    ("head_speed_rpm", times(0.0), "channel dead", "Head speed"),
    ("water_l_min", times(0.0), "channel dead", "Water inflow"),
    ("penetration_mm_rev", times(np.nan), "readings missing", "Penetration"),
    ("torque_kNm", times(1e-3), "unit jump", "Torque"),
    ("advance_speed_mm_min", times(60 / 1000), "unit jump", "Advance speed"),
    ("head_speed_rpm", times(2 * np.pi), "physics test fails", "Head speed"),
    ("penetration_mm_rev", times(1.25), "physics test fails", "Penetration"),
    ("belt_rate_t_h", times(10), "unit jump", "Belt rate"),
    ("main_thrust_kN", lambda x: np.minimum(x * 4, 30_000), "channel out of range", "Main thrust"),
]


@pytest.mark.parametrize(("channel", "spoil", "kind", "name"), FAULTS)
def test_a_fault_of_a_sensor_is_told_with_its_kind_channel_and_time(
    channel: str, spoil: Callable[[np.ndarray], np.ndarray], kind: str, name: str
) -> None:
    values = hours_of()
    values[channel][BAD] = spoil(values[channel][BAD])
    found = [f for f in found_in(values) if f.kind == kind]
    assert len(found) == 1
    assert name in found[0].evidence
    assert abs(found[0].start_us - FROM_US) <= HOUR_US / 6
    assert abs(found[0].end_us - TO_US) <= HOUR_US / 2  # boring ends twenty minutes before the hour


def test_a_fault_that_one_kind_tells_is_not_told_by_another() -> None:
    for channel, spoil, kind, _ in FAULTS[:-1]:
        values = hours_of()
        values[channel][BAD] = spoil(values[channel][BAD])
        assert {f.kind for f in found_in(values)} == {kind}, (channel, kind)


def test_a_sensor_that_drifts_is_told_from_one_that_jumps() -> None:
    values = hours_of(48)
    values["torque_kNm"][10 * HOUR :] = drifting(values["torque_kNm"][10 * HOUR :])
    (found,) = found_in(values)
    assert found.kind == "channel drifts"
    assert "torque" in found.evidence
    assert "head power" in found.evidence  # P = 2 pi n T alone cannot say which


def test_a_reading_set_aside_here_and_there_is_missing_by_its_share() -> None:
    values = hours_of()
    some = np.random.default_rng(3).random(len(values["torque_kNm"][BAD])) < 0.4
    values["torque_kNm"][BAD][some] = np.nan
    (found,) = found_in(values)
    assert found.kind == "readings missing"
    assert found.figures["missing_share"] == pytest.approx(0.4, abs=0.05)


def test_a_channel_that_a_days_log_lacks_is_missing() -> None:
    whole, without = hours_of(24), hours_of(8)
    del without["torque_kNm"], without["head_power_kW"]
    tables = []
    for values, start in ((whole, 0), (without, 24 * HOUR_US)):
        at = stamps_of(stamps(values) + start, STEP_S * 1_000_000, 3.0)
        tables.append(by_series(health_of(at, values, {}, alone=True)))
    profile = profile_of_samples(whole)
    joined = {
        name: type(rows)({c: np.concatenate([t[name][c] for t in tables if name in t]) for c in rows})
        for name, rows in tables[0].items()
    }
    object.__setattr__(profile, "health", joined)
    found = channel_faults(profile, FindingSettings())
    assert sorted(f.evidence.split(" has no")[0] for f in found) == ["Head power", "Torque"]
    assert {f.start_us for f in found} == {START_US + 24 * HOUR_US}


def test_a_rest_of_a_channel_that_never_moves_is_its_way() -> None:
    values = hours_of()
    values["gripper_pressure_bar"] = np.round(values["gripper_pressure_bar"] / 50) * 50
    values["pitch_mm_m"] = np.full(len(values["torque_kNm"]), 3.7)
    found = found_in(values)
    assert {f.kind for f in found} <= {"channel stuck"}
    values["pitch_mm_m"] = 3.7 + np.repeat(np.arange(24) % 2 / 10, HOUR)
    del values["gripper_pressure_bar"]
    assert found_in(values) == []


def test_readings_that_are_missing_while_the_machine_stands_are_told() -> None:
    values = hours_of()
    for name in ("head_speed_rpm", "advance_speed_mm_min", "penetration_mm_rev"):
        values[name][6 * HOUR : 18 * HOUR] = 0.0
    values["main_stroke_mm"][6 * HOUR : 18 * HOUR] = values["main_stroke_mm"][6 * HOUR]
    assert not [one for one in found_in(values) if one.kind == "readings missing"]
    values["water_l_min"][9 * HOUR : 12 * HOUR : 2] = np.nan
    (found,) = (one for one in found_in(values) if one.kind == "readings missing")
    assert (found.start_us, found.end_us) == (START_US + 9 * HOUR_US, START_US + 12 * HOUR_US)
    assert "50 % of the rows of standing" in found.evidence


# --- gaps and clocks ----------------------------------------------------------------------------


def of_record(values: Values, time_us: np.ndarray, **more: object) -> list[Finding]:
    return gaps_and_clocks(profile_of_samples(values, time_us, **more), FindingSettings())


def test_a_clock_set_forward_while_the_machine_bores_is_told() -> None:
    values = hours_of()
    time_us = stamps(values)
    time_us[5 * HOUR + HOUR // 3 :] += HOUR_US
    (found,) = of_record(values, time_us)
    assert found.kind == "clock step"
    assert found.figures["step_s"] == pytest.approx(3600, abs=60)


def test_a_clock_set_back_shows_where_the_stamps_of_before_end() -> None:
    """The first of two rows with one stamp stays, so the way of an hour is made from one row to the next."""
    values = hours_of()
    keep = np.r_[0 : 5 * HOUR + 100, 6 * HOUR + 140 : 24 * HOUR]
    cut = {name: readings[keep] for name, readings in values.items()}
    (found,) = of_record(cut, stamps(cut))
    assert found.kind == "clock step"
    assert found.figures["step_s"] < -1200  # of boring; the rest of the hour the machine stood


def test_a_clock_set_back_is_told_once_where_rows_and_stroke_show_it() -> None:
    values = hours_of()
    keep = np.r_[0 : 5 * HOUR + 100, 6 * HOUR + 140 : 24 * HOUR]
    cut = {name: readings[keep] for name, readings in values.items()}
    again_us = stamps(cut)[4 * HOUR + 60 : 5 * HOUR + 100]
    rows = {"file": np.array(["a.csv"] * len(again_us), object), "line": 9 + np.arange(len(again_us))}
    profile = profile_of_samples(cut, stamps(cut))
    told = replace(profile, stamped_again=Table({**rows, "time_us": again_us}))
    (found,) = gaps_and_clocks(told, FindingSettings())
    assert found.figures["rows"] == len(again_us)
    apart = Table({**rows, "time_us": again_us - 10 * HOUR_US})
    assert len(gaps_and_clocks(replace(profile, stamped_again=apart), FindingSettings())) == 2


@pytest.mark.parametrize("after", ["boring", "standing"])
def test_a_clock_set_back_shows_where_the_machine_bores_on_one_side_only(after: str) -> None:
    """And for some minutes: the chainage goes on at once, and the stroke as no cylinder moves."""
    values = hours_of()
    first, last = (
        5 * HOUR + 30,
        5 * HOUR + HOUR * 2 // 3 - 20,
    )  # rows of boring behind the step, and ahead of it
    stands = 5 * HOUR + HOUR - 40
    keep = (
        np.r_[0:first, stands : 24 * HOUR] if after == "standing" else np.r_[0 : 5 * HOUR, last : 24 * HOUR]
    )
    cut = {name: readings[keep] for name, readings in values.items()}
    (found,) = of_record(cut, stamps(cut))
    assert found.kind == "clock step"
    assert found.figures["step_s"] < -60


def test_a_lost_hour_of_a_log_is_a_gap_and_says_whether_the_face_went_on() -> None:
    from tbmreview.domain.states import State

    values = hours_of()
    keep = np.r_[0 : 5 * HOUR + 100, 6 * HOUR + 100 : 24 * HOUR]
    cut, time_us = {n: v[keep] for n, v in values.items()}, stamps(values)[keep]
    ends = (START_US, int(time_us[5 * HOUR + 99]), int(time_us[5 * HOUR + 100]), int(time_us[-1]))
    states = (State.BORING, State.NO_RECORD, State.BORING)
    periods = periods_of(*zip(states, ends[:-1], ends[1:], strict=True), metres=10.0)
    (found,) = of_record(cut, time_us, periods=periods)
    assert found.kind == "gap in the record"
    assert "1.0 h" in found.evidence or "60 min" in found.evidence
    assert "may have been set forward" in found.evidence
    went_on = periods.with_columns({"advance_m": np.array([5.0, 1.5, 5.0])})
    (found,) = of_record(cut, time_us, periods=went_on)
    assert "went on by 1.50 m" in found.evidence


def test_regrips_are_no_steps_of_a_clock() -> None:
    values = hours_of()
    assert of_record(values, stamps(values)) == []


def test_a_guidance_target_that_moves_on_with_the_rear_shield_is_no_step_of_a_clock() -> None:
    """The stroke goes back over nine rows; the chainage is told anew in the first of them."""
    values = hours_of()
    place = np.arange(len(values["torque_kNm"])) % HOUR
    pulled = np.clip(place - HOUR * 2 // 3 + 1, 0, 9) * 150.0
    values["main_stroke_mm"] = values["main_stroke_mm"] - np.where(place >= HOUR * 2 // 3, pulled, 0.0)
    stroke = np.arange(len(place)) // HOUR + (place >= HOUR * 2 // 3)
    values["chainage_m"] = 4180.0 + 1.6 * stroke
    assert of_record(values, stamps(values)) == []


@pytest.mark.parametrize("every", [3, 6])
def test_a_slow_log_has_neither_steps_of_its_clock_nor_laws_that_fail(every: int) -> None:
    """A row every 30 or 60 s: boring goes on by more than any noise from row to row, a regrip takes a row or two."""
    values = hours_of(48)
    slow, time_us = {name: readings[::every] for name, readings in values.items()}, stamps(values)[::every]
    profile = profile_of_samples(slow, time_us, step_s=STEP_S * every)
    assert gaps_and_clocks(profile, FindingSettings()) == []
    assert channel_faults(profile, FindingSettings()) == []


# --- factors of units ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("m", "ft"),
        ("bar", "psi"),
        ("lbf", "N"),
        ("kgf", "N"),
        ("inch", "mm"),
        ("m/hour", "mm/min"),
        ("bar", "kPa"),
    ],
)
def test_telltale_factors_are_those_of_units(one: str, other: str) -> None:
    """Against pint's registry of units."""
    factor = float(pint.UnitRegistry().Quantity(1, one).to(other).magnitude)
    assert telltale(max(factor, 1 / factor)) == pytest.approx(max(factor, 1 / factor), rel=1e-4)


def test_a_factor_between_no_units_is_none() -> None:
    assert telltale(2.0) == 0.0
    assert telltale(6.28) == 0.0
