"""A drive on a page: its parts for small drives; the whole is told by the demo (tests/test_demo.py)."""

from pathlib import Path

import numpy as np
import pytest

from tbmreview.domain.table import Table
from tbmreview.drive.opened import open_drive
from tbmreview.drive.start import start
from tbmreview.drive.summary import ring_stretches, summary_text
from tests.support.small_drive import SETUP


def strokes(shares: list[float], lengths: list[float]) -> Table:
    ends = np.cumsum(lengths)
    return Table(
        {"position_from_m": ends - lengths, "position_to_m": ends, "segment_reacted_share": np.array(shares)}
    )


@pytest.mark.parametrize(
    ("shares", "found"),
    [
        ([0, 1, 1, 0, 0.5, 0], [(1, 2), (4, 4)]),
        ([0, 0.2, 0.49, 0], []),
        ([1, 1, 1], [(0, 2)]),
        ([np.nan, 1, np.nan, 1], [(1, 1), (3, 3)]),
        ([], []),
    ],
)
def test_stretches_pushed_off_the_ring(shares: list[float], found: list[tuple[int, int]]) -> None:
    assert ring_stretches(strokes(shares, [1.5] * len(shares))) == found


def test_a_drive_without_samples_says_so(tmp_path: Path) -> None:
    (tmp_path / "setup.toml").write_text(SETUP, encoding="utf-8")
    start(tmp_path / "drive", tmp_path / "setup.toml")
    assert summary_text(open_drive(tmp_path / "drive")).endswith("no samples yet")
