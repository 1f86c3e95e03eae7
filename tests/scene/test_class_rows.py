"""Rows of classes: letters and lightness, the scheme named, one box a run of alike intervals, chosen like strips."""

import numpy as np
import pytest

from tbmreview.domain.table import Table
from tbmreview.scene.class_list import CLASS_ROWS, CLASSES_BY_NAME, DEFAULT_CLASSES
from tbmreview.scene.class_rows import TONES, offered
from tbmreview.scene.compose import compose
from tbmreview.scene.hit import read_out
from tbmreview.scene.look import PAPER, PX
from tbmreview.scene.plan import Boxes, Label, Plan
from tbmreview.scene.session import open_session
from tests.support.scenes import InventedSource

SIZE = (1920 * PX, 1080 * PX)


class Mapped(InventedSource):
    """100 m: RMR 66, 66 and 15 side by side, then a gap, then 50; CERCHAR by two schemes."""

    def _make_ground(self, kind: str, name: str) -> Table:
        table = super()._make_ground(kind, name).rows(np.array([0, 0, 0, 0]))
        return table.with_columns(
            {
                "position_from_m": np.array([0.0, 20.0, 40.0, 80.0]),
                "position_to_m": np.array([20.0, 40.0, 60.0, 100.0]),
                "rmr": np.array([66.0, 66.0, 15.0, 50.0]),
                "cai": np.array([2.5, 2.5, np.nan, 2.5]),
                "cai_scheme": np.array(["ISRM 2014", "ASTM D7625", "", ""], object),
                "seen_how": np.array(["window", "", "", "inferred"], object),
                "seen_when": np.array(["2031-03-02", "", "", ""], object),
            }
        )


SOURCE = Mapped(100.0)
SESSION = open_session(SOURCE)


def in_row(plan: Plan, name: str) -> tuple[list[Boxes], list[str]]:
    """What is drawn in a row: boxes, and words inside the plot."""
    box = next(row.box for row in plan.rows if row.name == name)
    boxes = [i for i in plan.items if isinstance(i, Boxes) and i.role[:6] == "class-" and i.top[0] == box.top]
    labels = [i for i in plan.items if isinstance(i, Label) and box.top < i.y <= box.bottom]
    return boxes, [i.text for i in labels if i.x > box.left]


def test_a_run_of_one_class_is_one_box_and_a_gap_stays_a_gap() -> None:
    plan = compose(SOURCE, SESSION, SIZE)
    boxes, words = in_row(plan, "rmr_class")
    ends = sorted((float(x1), float(x2)) for b in boxes for x1, x2 in zip(b.left, b.right, strict=True))
    per_m = plan.plot.width / (plan.view_m[1] - plan.view_m[0])
    metres = [round((x - plan.plot.left) / per_m + plan.view_m[0]) for pair in ends for x in pair]
    assert metres == [0, 40, 40, 60, 80, 100]
    assert words == ["II good", "V very poor", "III fair"]
    tones = {float(b.left[0]): int(b.role.removeprefix("class-")) for b in boxes}
    assert [tones[x] for x, _ in ends] == [1, TONES - 1, 2]  # from the most favourable class to the least


def test_the_scheme_is_named_and_schemes_that_differ_stand_with_each_class() -> None:
    plan = compose(SOURCE, SESSION, SIZE)
    said = [i.text for i in plan.items if isinstance(i, Label)]
    assert {"RMR", "RMR 1989", "CERCHAR", "schemes differ"} <= {*said}
    assert in_row(plan, "cai_class")[1] == ["medium (ISRM 2014)", "high (ASTM D7625)"]


def test_a_narrow_interval_has_the_code_or_nothing() -> None:
    narrow = compose(SOURCE, SESSION, (320 * PX, 700 * PX))
    assert in_row(narrow, "rmr_class")[1] == ["II good", "V", "III"]
    assert in_row(compose(SOURCE, SESSION, (200 * PX, 700 * PX)), "rmr_class")[1] in (["II"], [])


def test_only_mapped_classes_that_the_table_carries_are_shown_unless_asked() -> None:
    source = InventedSource()  # carries RMR and CERCHAR in mapped and predicted ground
    session = open_session(source)
    for look in ({}, {"look": PAPER}):
        plan = compose(source, session, (42_000.0, 27_000.0), **look)
        assert [row.name for row in plan.rows if row.name in CLASSES_BY_NAME] == ["rmr_class", "cai_class"]
    names = [row.name for row in offered(source, session)]
    assert names == ["rmr_class", "cai_class", "predicted_rmr_class", "predicted_cai_class"]
    asked = session.with_classes(("predicted_rmr_class", "gsi_class"))
    plan = compose(source, asked, SIZE)
    order = [row.name for row in plan.rows]
    assert order == ["mapped", "predicted", "predicted_rmr_class", "findings"]
    assert [r.name for r in compose(source, session.with_classes(()), SIZE).rows] == [
        "mapped",
        "predicted",
        "findings",
    ]
    with pytest.raises(ValueError, match="no row of classes 'rmr'; there are rmr_class"):
        session.with_classes(("rmr",))
    assert [CLASSES_BY_NAME[name].kind for name in DEFAULT_CLASSES] == ["mapped"] * len(DEFAULT_CLASSES)
    assert len({row.name for row in CLASS_ROWS}) == len(CLASS_ROWS)


def test_the_class_and_how_it_was_seen_are_read_at_a_place() -> None:
    plan = compose(SOURCE, SESSION, SIZE)
    per_m = plan.plot.width / (plan.view_m[1] - plan.view_m[0])

    def at(position_m: float) -> tuple[str, ...]:
        found = read_out(
            SOURCE, SESSION, plan, plan.plot.left + (position_m - plan.view_m[0]) * per_m, plan.plot.top
        )
        assert found is not None
        return found.lines()

    assert {"RMR class: II good (RMR 1989)", "CERCHAR class: high (ASTM D7625)"} <= {*at(30.0)}
    assert "RMR class: not given" in at(70.0)
    assert any(
        line.endswith(", seen in a window, 2031-03-02") for line in at(10.0) if line.startswith("mapped: ")
    )
    assert any(line.endswith(", inferred") for line in at(90.0))
