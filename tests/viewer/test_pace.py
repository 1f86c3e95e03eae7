"""How far long work is, in words."""

import pytest

from tbmreview.viewer.pace import Pace


@pytest.mark.parametrize(
    ("passed", "done", "total", "words"),
    [
        (0.5, 2_000_000, 430_000_000, "2 MB of 430 MB"),
        (5.0, 123_400_000, 430_000_000, "123 MB of 430 MB, 24.7 MB/s, 12 s left"),
        (100.0, 1_000_000_000, 4_000_000_000, "1 GB of 4 GB, 10 MB/s, 5 min left"),
        (10.0, 999, 1_000, "999 B of 1 kB, 100 B/s, 1 s left"),
        (3.0, 0, 1_000, ""),
    ],
)
def test_amount_rate_and_time_left_are_told(passed: float, done: int, total: int, words: str) -> None:
    times = iter((0.0, passed))
    assert Pace(lambda: next(times)).words(done, total) == words
