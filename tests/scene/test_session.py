"""A session stays within the drive, whatever is asked of it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tbmreview.domain.findings import Finding
from tbmreview.scene.session import LEAST_VIEW_M, Session, open_session
from tests.support.scenes import InventedSource

WHOLE = Session((0.0, 1000.0), (0.0, 1000.0)).fit()
anywhere = st.floats(-1e4, 1e4)
views = st.builds(lambda s, a, b: s.show(a, b), st.just(WHOLE), anywhere, anywhere)


def inside(session: Session) -> bool:
    low, high = session.limits_m
    start, end = session.view_m
    return low - 1e-6 <= start < end <= high + 1e-6 and session.length_m >= LEAST_VIEW_M * (1 - 1e-9)


@given(views, anywhere)
def test_panning_keeps_the_length_and_stays_inside(session, by):
    moved = session.pan(by)
    assert moved.length_m == pytest.approx(session.length_m)
    assert inside(moved)


@given(views, st.floats(0.01, 100), st.floats(0, 1))
def test_zooming_keeps_the_place_under_the_pointer(session, factor, share):
    about = session.view_m[0] + share * session.length_m
    after = session.zoom(factor, about)
    assert inside(after)
    low, high = after.limits_m
    if after.view_m[0] > low + 1e-6 and after.view_m[1] < high - 1e-6:  # unless the end of the drive is met
        assert (about - after.view_m[0]) / after.length_m == pytest.approx(share, abs=1e-6)


def test_zooming_in_and_out_comes_back():
    session = WHOLE.show(400, 500)
    back = session.zoom(4, 430).zoom(0.25, 430)
    assert back.view_m == pytest.approx(session.view_m)


@pytest.mark.parametrize("factor", [0, -1])
def test_a_zoom_factor_is_positive(factor):
    with pytest.raises(ValueError, match="above 0"):
        WHOLE.zoom(factor, 0)


def test_fit_shows_all_with_a_little_room():
    assert WHOLE.view_m == (-10.0, 1010.0)


def test_a_drive_without_advance_can_be_viewed():
    empty = Session((0.0, 0.0), (0.0, 0.0)).fit()
    assert empty.length_m == LEAST_VIEW_M
    assert inside(empty.pan(5).zoom(3, 0).jump(2, 3))


def test_jumping_to_a_finding_selects_it_and_shows_all_of_it():
    finding = Finding("fpi", 300.0, 320.0, 0, 0, 1.0, "", id="F7")
    session = WHOLE.jump_to(finding)
    assert session.finding == "F7"
    assert session.view_m[0] <= 300 - 10
    assert session.view_m[1] >= 320 + 10
    assert session.length_m < 200


def test_strips_are_switched_in_the_order_of_the_registry():
    session = WHOLE.with_strips(("torque", "reaction"))
    assert session.toggle("thrust").strips == ("thrust", "torque", "reaction")
    assert session.toggle("torque").strips == ("reaction",)
    with pytest.raises(ValueError, match="no strip 'nothing'"):
        session.with_strips(("nothing",))


def test_a_step_is_a_multiple_of_a_decimetre_or_left_to_the_view():
    assert WHOLE.with_step(0.5).step_m == 0.5
    assert WHOLE.with_step(None).step_m is None
    with pytest.raises(ValueError, match=r"multiple of 0\.1 m"):
        WHOLE.with_step(0.25)


def test_after_an_import_a_whole_view_follows_and_a_part_stays():
    assert WHOLE.grown((0.0, 1200.0)).view_m == (-12.0, 1212.0)
    part = WHOLE.show(100, 200)
    assert part.grown((0.0, 1200.0)).view_m == pytest.approx((100, 200))


def test_a_session_opens_on_the_whole_drive():
    session = open_session(InventedSource(50.0, finding_count=0))
    assert session.span_m == (0.0, 50.0)
    assert inside(session)
