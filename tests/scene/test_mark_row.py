"""Marks in a picture: a lane each where they overlap, their ends where they are, how sure they are."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tbmreview.domain.marks import Mark
from tbmreview.scene.compose import compose
from tbmreview.scene.look import PX
from tbmreview.scene.mark_row import MOST_LANES, lanes
from tbmreview.scene.plan import Boxes, Label, Segments
from tbmreview.scene.session import Session
from tests.support.scenes import InventedSource

SIZE = (1200 * PX, 700 * PX)
ZONE = Mark("fault zone", 40.0, 60.0, from_u95_m=2.0, id="M1")


def drawn(*marks: Mark) -> tuple[InventedSource, Session]:
    source = InventedSource(length_m=100.0, finding_count=0)
    source.drawn = marks
    return source, Session(span_m=(0.0, 100.0), view_m=(0.0, 100.0))


def test_a_mark_is_a_box_with_its_name_whiskers_and_ends_through_the_strips() -> None:
    source, session = drawn(ZONE)
    plan = compose(source, session, SIZE)
    (box,) = [i for i in plan.items if isinstance(i, Boxes) and i.role == "mark"]
    per_m = plan.plot.width / 100
    assert np.isclose(box.left[0], plan.plot.left + 40 * per_m)
    assert np.isclose(box.right[0], plan.plot.left + 60 * per_m)
    assert [i.text for i in plan.items if isinstance(i, Label) and i.role == "mark-name"] == ["M1 fault zone"]
    (ends,) = [i for i in plan.items if isinstance(i, Segments) and i.role == "mark-end"]
    assert np.allclose(ends.x1, plan.plot.left + np.array([40, 60]) * per_m)
    assert np.allclose(ends.y2, plan.plot.bottom)
    level = [i for i in plan.items if isinstance(i, Segments) and i.role == "mark-frame" and len(i.x1) == 1]
    assert np.isclose(level[0].x2[0] - level[0].x1[0], 4 * per_m)
    assert plan.rows[-1].name == "marks"


def test_without_marks_no_row_and_beyond_the_view_nothing() -> None:
    source, session = drawn()
    assert [r.name for r in compose(source, session, SIZE).rows][-1] == "findings"
    source, session = drawn(ZONE)
    plan = compose(source, replace(session, view_m=(0.0, 30.0)), SIZE)
    assert not [i for i in plan.items if isinstance(i, Boxes) and i.role == "mark"]


spans = st.lists(st.tuples(st.integers(0, 40), st.integers(1, 10)), max_size=12)


@given(spans)
def test_marks_of_a_lane_do_not_overlap(given_spans: list[tuple[int, int]]) -> None:
    marks = [Mark("water", float(a), float(a + b)) for a, b in sorted(given_spans)]
    chosen = lanes(marks)
    assert max(chosen, default=0) < MOST_LANES
    for lane in range(MOST_LANES - 1):  # the last one takes what is left
        mine = [m for m, at in zip(marks, chosen, strict=True) if at == lane]
        assert all(a.position_to_m <= b.position_from_m for a, b in pairwise(mine))
