"""Plans: inside the page, nothing on top of anything, units everywhere, what is shown is what is there."""

import itertools

import numpy as np
import pytest

from tbmreview.domain.table import Table
from tbmreview.indicators import INDICATORS, INTERVALS
from tbmreview.scene import curves
from tbmreview.scene.compose import compose, level_step_m, stated_step_m
from tbmreview.scene.look import PAPER, PX, WINDOW
from tbmreview.scene.measure import text_width
from tbmreview.scene.plan import Box, Boxes, Fill, Label, Plan, Segments
from tbmreview.scene.session import open_session
from tbmreview.scene.strips import BY_NAME, STRIPS, families
from tests.support.scenes import InventedSource

EIGHT = ("penetration", "thrust", "torque", "fpi", "energy", "reaction", "disc_load", "head_speed")
SIZES = {"large": (1920 * PX, 1080 * PX), "small": (1366 * PX, 768 * PX), "panel": (900 * PX, 560 * PX)}
SHORT, LONG = InventedSource(), InventedSource(3000.0, falling=True, finding_count=60)


def plans() -> list[tuple[str, Plan]]:
    made = []
    for (word, size), (name, source) in itertools.product(
        SIZES.items(), {"short": SHORT, "long": LONG}.items()
    ):
        whole = open_session(source, EIGHT)
        for view, session in {"whole": whole, "part": whole.jump_to(source.findings()[2])}.items():
            made.append((f"{word} {name} {view}", compose(source, session, size)))
    session = open_session(SHORT)
    made.append(("paper", compose(SHORT, session, (40_000.0, 22_000.0), PAPER)))
    return made


PLANS = plans()
each_plan = pytest.mark.parametrize("plan", [p for _, p in PLANS], ids=[n for n, _ in PLANS])


def box_of(label: Label) -> Box:
    width = text_width(label.text, label.height)
    width = min(width, label.room) if label.room else width
    left = label.x - {"left": 0.0, "centre": 0.5, "right": 1.0}[label.align] * width
    return Box(left, label.y - 0.72 * label.height, width, 0.72 * label.height)


def overlap(a: Box, b: Box) -> bool:
    slack = 1.0
    across = min(a.right, b.right) - max(a.left, b.left) > slack
    return across and min(a.bottom, b.bottom) - max(a.top, b.top) > slack


@each_plan
def test_labels_stand_clear_of_each_other_and_on_the_page(plan):
    boxes = [(item.text, box_of(item)) for item in plan.items if isinstance(item, Label) and item.text]
    for text, box in boxes:
        assert box.left >= 0, text
        assert box.right <= plan.width, text
        assert box.top >= 0, text
        assert box.bottom <= plan.height, text
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        assert not overlap(a, b), f"{one!r} lies on {other!r}"


@each_plan
def test_lines_and_boxes_are_finite_and_on_the_page(plan):
    for item in plan.items:
        if isinstance(item, Label):
            continue
        if isinstance(item, Segments):
            x, y = np.concatenate([item.x1, item.x2]), np.concatenate([item.y1, item.y2])
        elif isinstance(item, Boxes):
            x, y = np.concatenate([item.left, item.right]), np.concatenate([item.top, item.bottom])
        else:
            x, y = np.array([item.box.left, item.box.right]), np.array([item.box.top, item.box.bottom])
        assert np.isfinite(x).all(), item.role
        assert np.isfinite(y).all(), item.role
        assert (x >= 0).all(), item.role
        assert (x <= plan.width).all(), item.role
        assert (y >= 0).all(), item.role
        assert (y <= plan.height).all(), item.role


@each_plan
def test_every_strip_is_labelled_with_its_unit(plan):
    said = {item.text for item in plan.items if isinstance(item, Label)}
    for frame in plan.strips:
        assert frame.label in said
        assert not frame.unit or frame.unit in said
    assert "Chainage [m]" in said


@each_plan
def test_strips_lie_in_the_plot_one_below_the_other(plan):
    assert all(f.box.left == plan.plot.left and f.box.width == plan.plot.width for f in plan.strips)
    for above, below in itertools.pairwise(plan.strips):
        assert above.box.bottom < below.box.top


def lines(plan: Plan, role: str, strip: str) -> Segments:
    frame = next(f for f in plan.strips if f.name == strip)
    return next(
        i
        for i in plan.items
        if isinstance(i, Segments)
        and i.role == role
        and len(i.y1) > 1
        and (i.y1 >= frame.box.top - 1).all()
        and (i.y1 <= frame.box.bottom + 1).all()
    )


def test_the_extremes_of_the_values_reach_the_page():
    plan = compose(LONG, open_session(LONG, ("penetration",)), SIZES["small"])
    frame = plan.strips[0]
    values = LONG.profile(1.0)["penetration_mm_rev"]
    drawn = lines(plan, "range-single", "penetration")
    scale = frame.box.height / (frame.high - frame.low)
    top, bottom = (frame.box.bottom - (v - frame.low) * scale for v in (np.nanmax(values), np.nanmin(values)))
    assert drawn.y2.min() == pytest.approx(top, abs=PX)
    assert drawn.y1.max() == pytest.approx(bottom, abs=PX)
    assert any("least and greatest 1 m value" in notice for notice in plan.notices)


def test_a_row_without_values_draws_nothing_there():
    session = open_session(SHORT, ("penetration",)).show(40, 110).with_step(1.0)
    plan = compose(SHORT, session, SIZES["large"])
    table = SHORT.profile(1.0)
    drawn = lines(plan, "line-single", "penetration")
    metres = (
        plan.plot.left
        + (table["position_from_m"] + 0.5 - plan.view_m[0]) / session.length_m * plan.plot.width
    )
    level = drawn.y1 == drawn.y2
    for at, value in zip(metres.tolist(), table["penetration_mm_rev"].tolist(), strict=True):
        if plan.plot.left < at < plan.plot.right:
            covered = ((drawn.x1[level] < at) & (drawn.x2[level] > at)).any()
            assert covered == np.isfinite(value)


def test_a_value_beyond_the_scale_is_marked_and_said():
    class Wild(InventedSource):
        def profile(self, step_m: float) -> Table:
            table = super().profile(step_m)
            torque = table["torque_kNm"].copy()
            torque[100] = 90_000.0
            return table.with_columns({"torque_kNm": torque})

    source = Wild()
    plan = compose(source, open_session(source, ("torque",)), SIZES["large"])
    assert plan.strips[0].high < 10_000
    assert [i for i in plan.items if isinstance(i, Segments) and i.role == "off-scale"]
    assert any("beyond its scale" in notice for notice in plan.notices)


def test_the_step_follows_the_view_and_never_hides_a_metre():
    whole = open_session(LONG)
    assert stated_step_m(whole, 2.0) == 1.0
    assert stated_step_m(whole, 0.02) == 0.1
    assert stated_step_m(whole.with_step(10.0), 0.02) == 10.0
    assert level_step_m(1.0, 0.4) is None
    assert level_step_m(1.0, 2.0) == 10.0


def test_an_empty_drive_makes_a_picture_that_says_so():
    class Empty(InventedSource):
        span_m = (0.0, 0.0)

        def profile(self, step_m: float) -> Table:
            return super().profile(step_m).rows(slice(0, 0))

    source = Empty(ground_given=False, finding_count=0)
    plan = compose(source, open_session(source, EIGHT), SIZES["small"])
    assert plan.notices == ("Nothing bored in view.",)
    assert len(plan.strips) == 8


def test_the_selected_finding_is_tinted_behind_and_named():
    finding = SHORT.findings()[1]
    plan = compose(SHORT, open_session(SHORT).jump_to(finding), SIZES["large"])
    tint = next(i for i in plan.items if isinstance(i, Fill) and i.role == "selected")
    per_m = plan.plot.width / (plan.view_m[1] - plan.view_m[0])
    assert tint.box.width == pytest.approx(
        (finding.position_to_m - finding.position_from_m) * per_m, rel=1e-6
    )
    assert [i.text for i in plan.items if isinstance(i, Label) and i.role == "finding-id-selected"] == [
        finding.id
    ]


def test_the_predicted_baseline_shown_is_the_one_named():
    session = open_session(SHORT)
    for name, shown in (("", "design"), ("tender", "tender")):
        plan = compose(SHORT, session.with_predicted(name), SIZES["large"])
        assert shown in {i.text for i in plan.items if isinstance(i, Label)}


def test_a_ground_without_a_known_hatch_is_drawn_as_other():
    class Odd(InventedSource):
        def ground(self, kind: str, name: str = "") -> Table:
            table = super().ground(kind, name)
            return table.with_columns({"hatch": np.full(len(table), "tartan", object)})

    source = Odd()
    plan = compose(source, open_session(source), SIZES["large"])
    assert {i.hatch for i in plan.items if isinstance(i, Boxes) and i.role.startswith("ground")} <= {
        "other",
        "",
    }


def test_columns_that_the_profile_lacks_leave_an_empty_strip():
    class Bare(InventedSource):
        def profile(self, step_m: float) -> Table:
            kept = ("position_from_m", "position_to_m", "thrust_kN")
            return Table({n: super(Bare, self).profile(step_m)[n] for n in kept})

    source = Bare()
    plan = compose(source, open_session(source, EIGHT), SIZES["large"], WINDOW)
    assert [f.name for f in plan.strips] == list(EIGHT)


def boxes(plan: Plan, strip: str) -> np.ndarray:
    """Left, top, right, bottom (n, 4) of the band in a strip."""
    box = next(f.box for f in plan.strips if f.name == strip)
    found = [
        np.stack([i.left, i.top, i.right, i.bottom], 1)
        for i in plan.items
        if isinstance(i, Boxes) and i.role == "band" and box.top - 1 <= i.top.min() <= box.bottom + 1
    ]
    return np.concatenate([np.empty((0, 4)), *found])


@pytest.mark.parametrize(("source", "step"), [(LONG, 1.0), (SHORT, 1.0)], ids=["columns", "steps"])
def test_a_band_holds_every_value_with_its_uncertainty(source, step):
    session = open_session(source, ("penetration", "torque")).with_step(step)
    assert not len(boxes(compose(source, session, SIZES["small"]), "penetration"))
    plan = compose(source, session.with_band(True), SIZES["small"])
    drawn, frame, table = boxes(plan, "penetration"), plan.strips[0], source.profile(step)
    per_m = plan.plot.width / session.length_m
    middle = (table["position_from_m"] + table["position_to_m"]) / 2
    x = plan.plot.left + (middle - session.view_m[0]) * per_m
    values = table["penetration_mm_rev"]
    low, high = (curves.heights(frame, values * share) for share in (0.96, 1.04))
    for at, y1, y2 in zip(x, high, low, strict=True):
        over = drawn[(drawn[:, 0] <= at) & (drawn[:, 2] >= at)]
        if np.isfinite(y1):
            assert over[:, 1].min() <= y1 + 1e-6
            assert over[:, 3].max() >= y2 - 1e-6
        elif step * per_m > 3 * PX:
            assert not len(over)
    assert drawn[:, 1].min() == pytest.approx(np.nanmin(high))
    assert drawn[:, 3].max() == pytest.approx(np.nanmax(low))


def test_a_band_that_lacks_an_accuracy_is_absent_and_said():
    session = open_session(SHORT, ("penetration", "torque", "reaction", "unrecorded")).with_band(True)
    plan = compose(SHORT, session, SIZES["small"])
    assert len(boxes(plan, "penetration"))
    assert not len(boxes(plan, "torque"))
    assert plan.notices[-2:] == (
        "Pale band: 95 % uncertainty.",
        "No band for Torque: [accuracy] in drive.toml lacks torque.",
    )
    none = compose(SHORT, session.with_strips(("torque",)), SIZES["small"])
    assert "Pale band: 95 % uncertainty." not in none.notices


def test_every_indicator_but_the_ends_of_intervals_has_a_strip_and_families_lie_together():
    shown = {s.column for strip in STRIPS for s in strip.series}
    assert {i.name for i in INDICATORS if i not in INTERVALS} <= shown
    assert [s for several in families().values() for s in several] == sorted(
        STRIPS, key=lambda s: list(families()).index(s.family)
    )
    assert {"rates", "load", "boreability", "energy", "evenness"} <= families().keys()


def test_every_strip_of_the_registry_can_be_shown():
    names = tuple(s.name for s in STRIPS)
    assert len(set(names)) == len(BY_NAME)
    plan = compose(SHORT, open_session(SHORT, names), (1920 * PX, 2000 * PX))
    assert tuple(f.name for f in plan.strips) == names
    profile = SHORT.profile(1.0)
    assert {s.column for strip in STRIPS for s in strip.series} <= set(profile)


def test_a_bracket_has_no_foot_where_only_the_view_ends():
    finding = SHORT.findings()[0]
    middle = (finding.position_from_m + finding.position_to_m) / 2
    for view, feet in (((middle - 30, middle), 1), ((middle - 30, middle + 15), 2)):
        plan = compose(SHORT, open_session(SHORT).show(*view).select(finding.id), SIZES["large"])
        bracket = next(i for i in plan.items if isinstance(i, Segments) and i.role == "finding-selected")
        assert (bracket.x1 == bracket.x2).sum() == feet
