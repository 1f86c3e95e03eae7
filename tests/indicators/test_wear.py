"""Rolling distance, gauge speed, cutter life, usual life."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tbmreview.indicators.wear import (
    bored_m3,
    head_speed_at_rpm,
    life_shares,
    m3_per_mm,
    median_life,
    rolling_km,
    rolling_m_per_m,
    track_speed_m_min,
    usual_life_km,
    wear_rate_mm_km,
)


def arr(*values: float) -> np.ndarray:
    return np.array(values, np.float64)


@pytest.mark.published("way of a disc", "derived")
def test_rolling_distance_a_metre() -> None:
    """Derived: 2 pi r 1000 / p at 8 mm/rev in a bore of 6 m, at the gauge, at 0.6 of the radius, at D/4; and
    0.05 km a cubic metre at the first-mean radius of 0.6."""
    way = rolling_m_per_m(arr(3.0, 1.8, 1.5), arr(8.0, 8.0, 8.0))
    assert way == pytest.approx([2356.19, 1413.72, 1178.10], abs=5e-3)
    assert way[1] / 1000 / bored_m3(6.0, arr(1.0))[0] == pytest.approx(0.05)
    assert rolling_km(arr(3.0), arr(125.0))[0] == pytest.approx(2.35619, abs=5e-6)  # 125 revolutions bore 1 m
    assert np.isnan(rolling_m_per_m(arr(3.0), arr(0.0))[0])


@pytest.mark.published(
    "control parameters from muck data, Hangzhou second water source, Tables 1 and 3", "read"
)
@pytest.mark.published("Wang S. et al. 2025, jamming risk, Table 4", "read")
@pytest.mark.published("pi D n", "derived")
def test_gauge_speed() -> None:
    """Derived: pi D n; 6 m at 8 rpm, and the head speeds at 150 and 200 m/min. Machine data as read: 10.19 rpm at
    6 m (a study of a tunnel in Hangzhou), 3.4 rpm at 9.13 m (Wang et al. 2025)."""
    speed = track_speed_m_min(arr(3.0, 3.0, 9.13 / 2), arr(8.0, 10.19, 3.4))
    assert speed == pytest.approx([150.796, 192.077, 97.5213], abs=5e-4)
    assert head_speed_at_rpm(arr(3.0, 3.0), arr(150.0, 200.0)) == pytest.approx([7.95775, 10.6103], abs=5e-5)
    assert np.isnan(head_speed_at_rpm(arr(0.0), arr(150.0))[0])


@pytest.mark.published(
    "control parameters from muck data, Hangzhou second water source, Tables 1 and 3", "read"
)
def test_volume_and_rock_a_millimetre() -> None:
    """8 m over 8 000 m: 402 124 m3, printed as 402 000 (Gokceoglu 2022, read). Rock a millimetre: definition read
    in a study of a tunnel in Hangzhou; 6 m, 100 m, 84 mm: 33.6599 m3/mm (its mean is 33.67)."""
    assert bored_m3(8.0, arr(8000.0))[0] == pytest.approx(402_124, abs=0.5)
    assert m3_per_mm(bored_m3(6.0, arr(100.0)), arr(84.0))[0] == pytest.approx(33.6599, abs=5e-5)
    assert np.isnan(m3_per_mm(arr(100.0), arr(0.0))[0])


@pytest.mark.published("Freireich et al. 1963", "memory")
def test_a_published_median_life() -> None:
    """Remission under a drug, weeks (Freireich et al. 1963, the usual example of the product-limit estimate; data
    and its median of 23 weeks from memory)."""
    weeks = arr(6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35)
    ended = np.array([1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0], bool)
    assert median_life(weeks, ended) == 23.0


@given(st.lists(st.tuples(st.integers(1, 60), st.booleans()), min_size=2, max_size=40))
def test_median_life_is_scipys_product_limit(lives: list[tuple[int, bool]]) -> None:
    life, ended = arr(*(way for way, _ in lives)), np.array([out for _, out in lives])
    if not ended.any():
        assert np.isnan(median_life(life, ended))
        return
    survival = stats.ecdf(stats.CensoredData.right_censored(life, ~ended)).sf
    below = survival.quantiles[survival.probabilities <= 0.5 + 1e-9]
    assert median_life(life, ended) == pytest.approx(below[0] if len(below) else np.nan, nan_ok=True)


def test_usual_life_of_a_position_else_of_all() -> None:
    disc, way = arr(1, 1, 1, 2, 2, 3), arr(100, 200, 300, 50, 60, 400)
    out = np.array([True, True, True, True, True, False])
    median, count, own = usual_life_km(disc, way, out, arr(1, 2, 3))
    assert median.tolist() == [200.0, 100.0, 100.0]  # of all six, half are left after 100
    assert count.tolist() == [3.0, 5.0, 5.0]
    assert own.tolist() == [True, False, False]
    assert np.isnan(usual_life_km(disc[:2], way[:2], out[:2], arr(1))[0][0])


def test_wear_rate_needs_three_lives() -> None:
    rate, known = wear_rate_mm_km(arr(100, 200, 300, 400), arr(10, 20, np.nan, 50))
    assert (rate, known) == (pytest.approx(80 / 700), 3)
    assert np.isnan(wear_rate_mm_km(arr(100, 200), arr(10, 20))[0])


@given(st.lists(st.lists(st.floats(0, 1e4), min_size=3, max_size=3), min_size=1, max_size=6))
def test_lives_are_shared_out_whole(turns: list[list[float]]) -> None:
    shares = life_shares(np.array(turns))
    whole = np.array(turns).sum(axis=1) > 0
    assert shares.sum(axis=1) == pytest.approx(whole.astype(float))
