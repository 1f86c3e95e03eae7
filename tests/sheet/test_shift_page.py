"""The page of a shift: everything is on it, nothing leaves it, and the command writes it."""

from pathlib import Path

import pytest
from PySide6.QtGui import QGuiApplication

from tbmreview.cli import main
from tbmreview.domain.cautions import CAUTIONS
from tbmreview.domain.errors import DriveError, UsageError
from tbmreview.drive.opened import Drive, open_drive
from tbmreview.drive.overrule import overrule
from tbmreview.drive.shift_review import chosen_reviews
from tbmreview.scene.measure import text_width
from tbmreview.scene.of_drive import DriveSource
from tbmreview.scene.plan import Label, Plan, Segments
from tbmreview.sheet.layout import FRAME
from tbmreview.sheet.shift_page import NO_FINDINGS, Order, page, write_shifts
from tests.support.small_drive import new_drive, small_log


@pytest.fixture(scope="module")
def drive(tmp_path_factory: pytest.TempPathFactory) -> Drive:
    folder = tmp_path_factory.mktemp("page")
    new_drive(folder / "d")
    assert main(["add", str(folder / "d"), str(small_log(folder / "log.csv", range(-900, 900)))]) == 0
    span = ("2030-05-02 02:05", "2030-05-02 02:10")
    overrule(open_drive(folder / "d"), "state", "standing", span, "a test", "Ingrid")
    return open_drive(folder / "d")


def plan_of(drive: Drive) -> Plan:
    [review] = chosen_reviews(drive)
    return page(Order(drive, DriveSource(drive), "2030-05-03 07:00"), review, (1, 1))


def test_the_page_tells_shift_rates_overrules_and_cautions(drive: Drive) -> None:
    said = " ".join(item.text for item in plan_of(drive).items if isinstance(item, Label))
    for words in (
        "Shift review: day shift, Wednesday 1 May 2030, 06:00 to 06:00",
        "of the calendar (24.00 h)",
        "m/h of boring",
        "critical path",
        "no table of delays given",
        "1 by people (O1 state)",
        "Penetration",
        "Chainage [m]",
        "2030-05-03 07:00, page 1 of 1",
        NO_FINDINGS,
        *CAUTIONS,
    ):
        assert words in said, words


def test_nothing_leaves_the_frame_and_no_words_are_cut(drive: Drive) -> None:
    for item in plan_of(drive).items:
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


def test_the_command_writes_it(drive: Drive, tmp_path: Path, qapp: QGuiApplication) -> None:
    out = tmp_path / "shift.pdf"
    assert main(["shift", str(drive.folder), "--date", "2030-05-01", "--out", str(out)]) == 0
    assert out.read_bytes().startswith(b"%PDF")
    assert len(out.read_bytes()) < 1_000_000


def test_a_shift_that_is_not_there_and_a_format_that_is_none(drive: Drive, tmp_path: Path) -> None:
    with pytest.raises(DriveError, match="2030-05-01"):
        write_shifts(drive, tmp_path / "s.pdf", "2031-01-01")
    with pytest.raises(UsageError, match=r"\.pdf"):
        write_shifts(drive, tmp_path / "s.docx")
    assert list(tmp_path.iterdir()) == []
