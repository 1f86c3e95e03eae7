"""Runs of flagged rows."""

import numpy as np
import pytest

from tbmreview.findings.runs import Run, runs_of

LOW = np.arange(100) / 10
HIGH = LOW + 0.1


def flags(*parts: tuple[int, int]) -> np.ndarray:
    out = np.zeros(100, bool)
    for first, stop in parts:
        out[first:stop] = True
    return out


@pytest.mark.parametrize(
    ("flagged", "runs"),
    [
        (flags(), []),
        (flags((10, 30)), [Run(10, 30)]),
        (flags((10, 29)), []),  # 1.9 m is too short
        (flags((10, 20), (30, 40)), [Run(10, 40)]),  # a gap of 1.0 m is bridged
        (flags((10, 20), (31, 41)), []),  # one of 1.1 m is not, and either part is too short
        (flags((0, 30), (60, 100)), [Run(0, 30), Run(60, 100)]),
    ],
)
def test_runs(flagged: np.ndarray, runs: list[Run]) -> None:
    assert runs_of(flagged, LOW, HIGH, bridge_m=1.0, least_m=2.0) == runs


def test_scatter_is_no_run() -> None:
    """Every third row flagged: 3.3 m in all, but less than half of the extent."""
    assert runs_of(np.arange(100) % 3 == 0, LOW, HIGH, bridge_m=1.0, least_m=2.0) == []


def test_ground_flagged_twice_counts_once() -> None:
    """Two reactions in one step overlap; their length is not added."""
    low, high = np.repeat(LOW[:15], 2), np.repeat(HIGH[:15], 2)
    assert runs_of(np.ones(30, bool), low, high, bridge_m=1.0, least_m=2.0) == []
