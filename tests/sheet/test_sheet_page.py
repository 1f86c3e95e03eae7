"""What stands on a page, measured on its plan."""

import re

import numpy as np
import pytest

from tbmreview.domain.cautions import CAUTIONS
from tbmreview.domain.errors import TbmReviewError
from tbmreview.scene.measure import text_width
from tbmreview.scene.of_drive import DriveSource
from tbmreview.scene.plan import Label, Plan, Segments
from tbmreview.scene.session import open_session
from tbmreview.sheet.layout import FRAME, TITLE, Stretch, cut
from tbmreview.sheet.page import PLOT_ROOM, SCALES, Order, fitting_scale, pages
from tbmreview.sheet.provenance import facts
from tests.support.drives import InventedDrive, invented_overrules
from tests.support.scenes import InventedSource


def _pages(drive: InventedDrive, scale: int = 500, to_m: float = 250.0) -> tuple[Plan, ...]:
    source = DriveSource(drive)
    order = Order(source, open_session(source), Stretch(0.0, to_m), scale, facts(drive), "2030-06-01 07:00")
    return pages(order)


def _texts(plan: Plan) -> list[str]:
    return [item.text for item in plan.items if isinstance(item, Label)]


@pytest.mark.parametrize("scale", [200, 500, 1000])
def test_the_plot_is_true_to_scale(scale: int) -> None:
    for plan in _pages(InventedDrive(), scale):
        metres = plan.view_m[1] - plan.view_m[0]
        assert plan.plot.width / 100 == pytest.approx(metres * 1000 / scale, abs=1e-6)  # mm on paper


def test_ticks_stand_where_their_chainage_is() -> None:
    plan = _pages(InventedDrive())[0]
    labels = [i for i in plan.items if isinstance(i, Label) and re.fullmatch(r"\d+\+\d{3}", i.text)]
    labels = [label for label in labels if label.align == "centre"][1:-1]
    assert len(labels) > 5
    start = InventedDrive().setup.drive.chainage_start_m
    for label in labels:
        metres = float(label.text.replace("+", "")) - start
        assert label.x == pytest.approx(plan.plot.left + (metres - plan.view_m[0]) * 200.0, abs=0.1)


def test_a_long_stretch_takes_several_pages_each_with_its_number() -> None:
    plans = _pages(InventedDrive())
    assert len(plans) == 2
    for number, plan in enumerate(plans, start=1):
        assert f"{number} of 2" in _texts(plan)
    assert plans[0].view_m[1] == plans[1].view_m[0]


def test_every_page_tells_provenance_overrules_and_cautions() -> None:
    drive = InventedDrive(said=invented_overrules(2))
    for plan in _pages(drive):
        said = " ".join(_texts(plan))
        for caution in CAUTIONS:
            assert caution in said
        for words in ("Invented drive", "along the axis 1:500 on A3", "2030-06-01 07:00", "12 log files"):
            assert words in said
        assert "2 by people (O1 state, O2 state)" in said
        assert "bore 6.40 m, 42 discs of 483 mm" in said
        assert re.search(r"content [0-9a-f]{16} ", said)


def test_every_finding_is_listed_with_its_evidence_on_a_further_page_if_need_be() -> None:
    drive = InventedDrive(InventedSource(finding_count=60))
    plans = _pages(drive)
    assert len(plans) > 2
    said = " ".join(" ".join(_texts(plan)) for plan in plans)
    for finding in drive.findings:
        assert re.search(rf"{finding.id} +\d+\+", said), finding.id
        assert finding.evidence in said
    assert said.count("on a further page") >= 1


def test_no_findings_is_said_with_its_caution() -> None:
    plans = _pages(InventedDrive(InventedSource(finding_count=0)))
    assert all("None on this stretch. That does not mean safe ground." in _texts(plan) for plan in plans)


@pytest.mark.parametrize("findings", [6, 60])
def test_nothing_leaves_the_frame_and_no_words_are_cut(findings: int) -> None:
    for plan in _pages(InventedDrive(InventedSource(finding_count=findings))):
        for item in plan.items:
            if isinstance(item, Label):
                width = text_width(item.text, item.height)
                assert not item.room or width <= item.room + 1e-6, item.text
                back = {"left": 0.0, "centre": 0.5, "right": 1.0}[item.align] * width
                assert FRAME.left <= item.x - back, item.text
                assert item.x - back + width <= FRAME.right + 1e-6, item.text
                assert FRAME.top <= item.y <= FRAME.bottom, item.text
            elif isinstance(item, Segments) and len(item.x1):
                assert min(item.x1.min(), item.x2.min()) >= FRAME.left - 1e-6
                assert max(item.y1.max(), item.y2.max()) <= FRAME.bottom + 1e-6


def test_the_title_block_has_room_for_long_names_and_many_facts() -> None:
    drive = InventedDrive()
    source = DriveSource(drive)
    long = tuple(
        (name, f"{text} and some more words to fill the line of this fact") for name, text in facts(drive)
    )
    order = Order(source, open_session(source), Stretch(0.0, 100.0), 500, long, "2030-06-01 07:00")
    lowest = max(i.y for i in pages(order)[0].items if isinstance(i, Label) and i.x >= TITLE.left)
    assert lowest <= FRAME.bottom - 50


def test_a_drive_that_runs_down_reads_from_high_to_low_chainage() -> None:
    plan = _pages(InventedDrive(InventedSource(falling=True)))[0]
    stretch = next(text for text in _texts(plan) if text.startswith("chainage "))
    first, last = (float(c.replace("+", "")) for c in re.findall(r"\d+\+\d+\.\d+", stretch))
    assert first > last


@pytest.mark.parametrize("length_m", [0.5, 20.0, 40.0, 170.0, 253.36, 999.0, 12_345.0])
def test_a_whole_drive_has_the_largest_usual_scale_at_which_it_is_one_page(length_m: float) -> None:
    scale = fitting_scale(Stretch(5.0, 5.0 + length_m))
    assert len(cut(5.0, 5.0 + length_m, scale, PLOT_ROOM)) == 1
    larger = [one for one in SCALES if one < scale]
    assert all(len(cut(5.0, 5.0 + length_m, one, PLOT_ROOM)) > 1 for one in larger)


def test_too_many_pages_are_refused_with_advice() -> None:
    with pytest.raises(TbmReviewError, match="shorter stretch or a smaller scale"):
        _pages(InventedDrive(InventedSource(length_m=4_000.0)), scale=20, to_m=4_000.0)


def test_the_scale_bar_is_true() -> None:
    plan = _pages(InventedDrive())[0]
    words = next(i for i in plan.items if isinstance(i, Label) and re.fullmatch(r"\d+ m", i.text))
    zero = next(i for i in plan.items if isinstance(i, Label) and i.text == "0" and i.y == words.y)
    assert words.x - zero.x == pytest.approx(float(words.text[:-2]) * 200.0)
    assert np.isfinite(words.x)
