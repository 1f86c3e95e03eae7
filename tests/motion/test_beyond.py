"""A stroke sensor at its limit, and readings that look like one."""

import numpy as np
import pytest

from tbmreview.motion.beyond import beyond_limit

SECONDS = np.arange(400.0)
MADE = np.where(SECONDS < 300, 0.8, 0.0)  # mm a second, until the head stops


def true_mm() -> np.ndarray:
    return 100 + np.concatenate([[0.0], np.cumsum(MADE)[:-1]])


@pytest.mark.parametrize("noise_mm", [0.0, 2.0])
def test_the_set_goes_on_beyond_the_limit(noise_mm: float) -> None:
    noise = noise_mm * np.random.default_rng(1).standard_normal(400)
    seen = np.minimum(true_mm() + noise, 300.0)
    mm, beyond = beyond_limit(seen, MADE, SECONDS)
    assert mm[-1] == pytest.approx(true_mm()[-1], abs=0.1 + 0.6 * noise_mm)
    assert (mm[beyond] >= 300.0 - 2 * noise_mm).all()
    assert np.flatnonzero(beyond)[0] == pytest.approx(250, abs=1 + 4 * noise_mm)


def test_a_reading_that_jumps_on_was_stuck() -> None:
    stuck = true_mm()
    stuck[200:240] = stuck[200]
    mm, beyond = beyond_limit(stuck, MADE, SECONDS)
    assert not beyond.any()
    assert mm is stuck


@pytest.mark.parametrize("rise", [0.0, 0.2], ids=["closed", "pads coming out"])
def test_a_set_that_does_not_follow_the_head_is_at_no_limit(rise: float) -> None:
    mm = 8 + rise * np.minimum(SECONDS, 100)
    assert not beyond_limit(mm, MADE, SECONDS)[1].any()


def test_the_last_millimetres_of_a_plain_stroke_are_left_as_they_are() -> None:
    assert not beyond_limit(true_mm(), MADE, SECONDS)[1].any()


@pytest.mark.parametrize(("ends_mm", "at_limit"), [((700.0, 660.0), False), ((700.0, 700.0), True)])
def test_a_head_that_stops_right_after_a_reading_is_at_no_limit(
    ends_mm: tuple[float, ...], at_limit: bool
) -> None:
    """At 30 s, 24 mm an interval: two strokes whose last reading with a speed is their last movement. The same
    greatest reading in both is a limit."""
    rise = [np.append(end - 24 * np.arange(20)[::-1], [end, end, 8.0]) for end in ends_mm]
    mm, made = np.concatenate(rise), np.tile(np.append(np.full(20, 24.0), [0.0, 0.0, 0.0]), 2)
    assert beyond_limit(mm, made, 30.0 * np.arange(len(mm)))[1].any() == at_limit


def test_a_limit_that_one_stroke_shows_for_sure_is_that_of_the_others() -> None:
    """At 30 s: one stroke ends three readings beyond the limit, the other half an interval."""
    noise = 2.0 * np.random.default_rng(2).standard_normal(20)
    way = 24.0 * np.arange(20)
    strokes = [np.minimum(end - way[::-1] + noise, 700.0) for end in (748.0, 706.0)]
    mm = np.concatenate([np.append(stroke, [700.0, 700.0, 8.0]) for stroke in strokes])
    made = np.tile(np.append(np.full(19, 24.0), [12.0, 0.0, 0.0, 0.0]), 2)
    known, beyond = beyond_limit(mm, made, 30.0 * np.arange(len(mm)))
    assert known[[21, 44]] == pytest.approx([760.0, 718.0], abs=3.0)
    assert beyond[[21, 44]].all()
    assert not beyond_limit(mm[23:], made[23:], 30.0 * np.arange(23))[1].any()
