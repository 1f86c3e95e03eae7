"""How a stretch is cut into pages, for any stretch and scale."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tbmreview.sheet.layout import Stretch, cut, units_per_metre

ROOM = 35_000.0
positions = st.floats(0, 50_000)
lengths = st.floats(0.1, 3_000)
scales = st.sampled_from((100, 200, 250, 500, 1000, 2500))


def test_a_metre_is_two_millimetres_at_1_to_500() -> None:
    assert units_per_metre(500) == 200.0


@given(positions, lengths, scales, st.floats(-1e5, 1e5))
def test_pages_follow_each_other_and_fit(start: float, length: float, scale: int, origin: float) -> None:
    pages = cut(start, start + length, scale, ROOM, origin)
    assert pages[0].from_m == start
    assert pages[-1].to_m == start + length
    assert all(a.to_m == b.from_m for a, b in pairwise(pages))
    longest = ROOM / units_per_metre(scale)
    assert all(0 < page.length_m <= longest * (1 + 1e-6) for page in pages)
    assert len(pages) <= length / (longest * 0.9 - longest / 10) + 2


def test_pages_meet_on_round_chainage() -> None:
    # 1:500 on 350 mm of plot: at most 175 m a page, cut at multiples of 10 m of chainage.
    assert cut(0.0, 400.0, 500, ROOM, 4180.4) == (
        Stretch(0.0, pytest.approx(169.6)),
        Stretch(pytest.approx(169.6), pytest.approx(339.6)),
        Stretch(pytest.approx(339.6), 400.0),
    )


def test_a_stretch_that_just_fits_is_one_page() -> None:
    assert cut(10.0, 185.0, 500, ROOM) == (Stretch(10.0, 185.0),)
