"""Hatches stay in their boxes, look the same wherever the box is cut, and differ."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tbmreview.domain.ground import HATCHES
from tbmreview.paint import style
from tbmreview.paint.hatch import hatch_lines

boxes = st.tuples(st.floats(0, 5000), st.floats(0, 500), st.floats(1, 4000), st.floats(1, 800)).map(
    lambda b: np.array([[b[0], b[1], b[0] + b[2], b[1] + b[3], b[0]]])
)


@given(boxes, st.sampled_from(HATCHES))
def test_no_line_leaves_its_box(box, hatch):
    lines = hatch_lines([hatch], box)
    left, top, right, bottom, _ = box[0]
    assert (lines[:, [0, 2]] >= left - 1e-6).all()
    assert (lines[:, [0, 2]] <= right + 1e-6).all()
    assert (lines[:, [1, 3]] >= top - 1e-6).all()
    assert (lines[:, [1, 3]] <= bottom + 1e-6).all()


@pytest.mark.parametrize("hatch", HATCHES)
def test_a_box_of_usual_size_is_hatched(hatch):
    assert len(hatch_lines([hatch], np.array([[0.0, 0, 2000, 635, 0]]))) >= 4


def inked(lines: np.ndarray, x: float) -> set[float]:
    """Heights at which sloping lines cross an upright at x."""
    crossing = lines[
        (np.minimum(lines[:, 0], lines[:, 2]) <= x) & (np.maximum(lines[:, 0], lines[:, 2]) >= x)
    ]
    slope = (crossing[:, 3] - crossing[:, 1]) / (crossing[:, 2] - crossing[:, 0])
    return set(np.round(crossing[:, 1] + slope * (x - crossing[:, 0]), 4).tolist())


@given(st.floats(0, 900))
def test_cutting_a_box_off_does_not_move_its_hatch(cut):
    whole = hatch_lines(["fault"], np.array([[0.0, 0, 2000, 600, 0]]))
    part = hatch_lines(["fault"], np.array([[cut, 0, 2000, 600, 0]]))
    assert inked(whole, 1234.5) == inked(part, 1234.5)


def test_every_ground_and_every_other_role_has_a_look():
    assert set(style.HATCHES) == set(HATCHES)
    assert {f"ground-{h}" for h in HATCHES} <= set(style.FILLS)
    assert len({style.HATCHES[h] for h in HATCHES}) == len(HATCHES)
