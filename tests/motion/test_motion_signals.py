"""Credit of time, noisy signals, cutting of intervals, and the carry."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tbmreview.domain.samples import DAY_US
from tbmreview.domain.station import Axis
from tbmreview.motion.carry import REMEMBERED, Baseline, Baselines, Carry, carry_from
from tbmreview.motion.credit import credit, nominal_by_day, nominal_interval_us
from tbmreview.motion.pieces import cut_at_steps, cut_at_times, whole
from tbmreview.motion.signals import close_short, drop_short, hysteresis, median3, noise, runs, slope, window

S = 1_000_000


def stamps(*seconds: float) -> np.ndarray:
    return np.array([int(s * S) for s in seconds], np.int64)


def test_the_nominal_interval_is_the_commonest_not_the_mean() -> None:
    assert nominal_interval_us(stamps(0, 1, 2, 3, 16, 17, 18, 31)) == S


def test_a_drifting_recorder_has_one_nominal_interval() -> None:
    time_us = np.cumsum(np.array([30_000, 30_020, 33_000, 30_010, 29_990], np.int64) * 1000)
    assert nominal_interval_us(time_us) == pytest.approx(30 * S, abs=0.05 * S)


def test_each_utc_day_has_its_own_interval_and_a_part_of_a_day_the_known_one() -> None:
    time_us = np.concatenate([DAY_US - 100 * S + 10 * S * np.arange(10), DAY_US + 5 * S * np.arange(9)])
    assert nominal_by_day(time_us, -1, 0).tolist() == [10 * S] * 10 + [5 * S] * 9
    assert nominal_by_day(time_us, 0, 7 * S).tolist() == [7 * S] * 10 + [5 * S] * 9


def test_a_sample_stands_for_at_most_three_intervals() -> None:
    made = credit(stamps(0, 1, 3, 10, 11), np.full(5, S, np.int64), 3.0)
    assert (made.credit_us / S).tolist() == [1, 2, 3, 1, 1]
    assert (made.gap_us / S).tolist() == [0, 0, 4, 0, 0]


def test_samples_left_out_of_a_quiet_stretch_are_no_gap() -> None:
    made = credit(stamps(0, 1, 5000, 5001, 6000), np.full(5, S, np.int64), 3.0, [(2 * S, 4999 * S)])
    assert (made.credit_us / S).tolist() == [1, 4999, 1, 3, 1]
    assert (made.gap_us / S).tolist() == [0, 0, 0, 996, 0]


def test_slope_of_an_uneven_noisy_line() -> None:
    rng = np.random.default_rng(1)
    seconds = np.cumsum(rng.choice([1.0, 2.0, 13.0], 400))
    found = slope(seconds, 120.0).of(0.5 * seconds + 0.2 * rng.standard_normal(400))
    assert found[5:-5] == pytest.approx(np.full(390, 0.5), abs=0.03)


def test_mean_leaves_out_what_is_missing() -> None:
    x = np.array([1.0, np.nan, 3.0, np.nan, np.nan])
    assert window(np.arange(5.0), 2.0).mean(x) == pytest.approx([1.0, 2.0, 3.0, 3.0, np.nan], nan_ok=True)


@given(st.lists(st.floats(-1e6, 1e6), min_size=3, max_size=30))
def test_median_of_three_is_numpy_s(values: list[float]) -> None:
    x = np.array(values)
    inner = np.median(np.column_stack([x[:-2], x[1:-1], x[2:]]), axis=1)
    assert median3(x)[1:-1].tolist() == inner.tolist()


def test_noise_of_a_moving_sensor() -> None:
    rng = np.random.default_rng(2)
    x = 0.7 * np.arange(5000) + 2.0 * rng.standard_normal(5000)
    assert noise(x) == pytest.approx(2.0, rel=0.05)


def test_hysteresis_holds_between_its_thresholds_and_over_missing_values() -> None:
    x = np.array([0.5, 1.0, 0.7, np.nan, 0.6, 0.4, 0.7, 1.2])
    assert hysteresis(x, 1.0, 0.5).tolist() == [False, True, True, True, True, False, False, True]


def test_short_runs() -> None:
    flags = np.array([1, 1, 0, 1, 0, 0, 0, 1, 0], bool)
    seconds = np.arange(9.0)
    assert runs(flags) == [(0, 2), (3, 4), (7, 8)]
    assert runs(close_short(flags, seconds, 2.0)) == [(0, 4), (7, 8)]
    assert runs(drop_short(flags, seconds, 2.0)) == [(0, 2)]


@given(
    st.integers(0, 10**6),
    st.integers(1, 10**6),
    st.floats(0, 50),
    st.floats(0, 5),
    st.lists(st.integers(-10, 2 * 10**6), max_size=6),
    st.sampled_from([1, -1]),
)
def test_pieces_add_up(
    start: int, length: int, low: float, way: float, moments: list[int], direction: int
) -> None:
    one = whole(np.array([start]), np.array([start + length]), np.array([low]), np.array([low + way]))
    in_time = cut_at_times(one, np.unique(np.array(moments, np.int64)))
    pieces, step = cut_at_steps(in_time, Axis(4180.05, direction))
    assert pieces.share.sum() == pytest.approx(1.0)
    assert (pieces.share >= -1e-12).all()
    assert (pieces.end_us - pieces.start_us).sum() == length
    assert pieces.start_us.tolist() == [start, *pieces.end_us[:-1].tolist()]
    assert pieces.from_m.tolist() == [low, *pieces.to_m[:-1].tolist()]
    assert pieces.to_m[-1] == low + way
    assert (np.diff(step) >= 0).all()


carries = st.builds(
    Carry,
    resume_us=st.integers(0, 2**50),
    position_m=st.floats(allow_infinity=False),
    nominal_us=st.integers(0, 2**40),
    regrip_until_us=st.integers(0, 2**50),
    quiet_us=st.lists(st.tuples(st.integers(0, 2**50), st.integers(0, 2**50)), max_size=3).map(tuple),
    ring=st.integers(-1, 10**6),
    ring_from_m=st.floats(allow_infinity=False),
    ring_start_us=st.integers(0, 2**50),
    baselines=st.builds(
        Baselines,
        boring_torque_kNm=st.lists(st.floats(-1e5, 1e5), max_size=REMEMBERED).map(
            lambda x: Baseline(tuple(x))
        ),
        no_load_torque_kNm=st.lists(st.floats(0, 1e5), max_size=REMEMBERED).map(lambda x: Baseline(tuple(x))),
    ),
)


@given(carries)
def test_the_carry_comes_back_from_json(carry: Carry) -> None:
    numbers = json.loads(json.dumps(carry.numbers()))
    assert carry_from(numbers).numbers() == carry.numbers()
    assert carry_from(numbers).baselines == carry.baselines
    assert carry_from(numbers).quiet_us == carry.quiet_us


def test_a_baseline_forgets_the_oldest_and_ignores_what_was_not_measured() -> None:
    baseline = Baseline()
    for value in (100.0, np.nan, 1.0, 2.0, 3.0, 4.0, 5.0):
        baseline = baseline.with_value(value)
    assert baseline.values == (1.0, 2.0, 3.0, 4.0, 5.0)
    assert baseline.value == 3.0
    assert np.isnan(Baseline().value)
