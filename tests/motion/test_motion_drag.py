"""Drag is the level of the free advance: a sample at the face, or three samples in a slow log, do not move it."""

import numpy as np
import pytest

from tbmreview.motion.strokes import FAR, _level


def test_a_sample_that_is_at_the_face_is_no_free_advance() -> None:
    free = np.array([1000.0, 1010.0, 985.0, 1005.0, 995.0, 1002.0, 990.0, 1008.0])
    kept = _level(np.append(free, 3600.0))
    assert kept == pytest.approx(free)


def test_a_spread_is_kept_as_it_is() -> None:
    free = np.random.default_rng(3).normal(1000.0, 40.0, 400)
    kept = _level(free)
    assert len(kept) == len(free[np.abs(free - np.median(free)) < FAR * 40])
    assert np.std(kept) == pytest.approx(40.0, rel=0.1)


def test_of_three_samples_that_do_not_agree_two_are_left() -> None:
    assert len(_level(np.array([2000.0, 2010.0, 3700.0]))) == 2
    assert len(_level(np.array([2000.0, 2040.0, 1980.0]))) == 3
    assert len(_level(np.empty(0))) == 0
