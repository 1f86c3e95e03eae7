"""Files: formats, pages, the same twice, all or nothing."""

import errno
import math
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from PySide6.QtGui import QGuiApplication, QImage

from tbmreview.cli import main
from tbmreview.domain.errors import TbmReviewError, UsageError
from tbmreview.sheet.write import Choice, write_sheet
from tests.support.drives import InventedDrive

WRITTEN = Choice(written="2030-06-01 07:00")


def _ends(drive: InventedDrive, *positions: float) -> list[float]:
    return [float(drive.setup.drive.axis.chainage_m(p)) for p in positions]


@pytest.fixture
def drive(qapp: QGuiApplication) -> InventedDrive:
    return InventedDrive()


def test_a_pdf_holds_all_pages(drive: InventedDrive, tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    assert write_sheet(drive, out, *_ends(drive, 0, 250), choice=WRITTEN) == [out]
    data = out.read_bytes()
    assert len(re.findall(rb"/Type\s*/Page\b", data)) == 2
    boxes = {tuple(map(float, b.split())) for b in re.findall(rb"/MediaBox\s*\[([^\]]*)\]", data)}
    assert all(box == pytest.approx((0, 0, 1190.55, 841.89), abs=1.0) for box in boxes)  # A3 in points
    assert len(data) < 1_000_000 * 2


def test_the_text_of_a_pdf_can_be_read_and_searched(drive: InventedDrive, tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    write_sheet(drive, out, *_ends(drive, 0, 100), choice=WRITTEN)
    run = subprocess.run(["pdftotext", "-layout", out, "-"], capture_output=True, text=True, check=True)
    for words in (
        "Invented drive",
        "Penetration",
        "kN/(mm/rev)",
        "banded gneiss",
        "1:500",
        "2030-06-01 07:00",
    ):
        assert words in run.stdout, words


def test_a_strip_that_there_is_not_is_told_with_those_that_there_are(
    capsys: pytest.CaptureFixture[str],
) -> None:
    words = ("sheet", "drive", "--from", "4180", "--to", "4190", "--out", "s.pdf", "--strips", "fpi", "fly")
    with pytest.raises(SystemExit, match="2"):
        main(words)
    told = capsys.readouterr().err
    assert "'fly' is no strip" in told
    assert "rates: penetration, penetration_rate" in told


def test_the_band_stands_in_the_legend_where_it_is_asked_for(drive: InventedDrive, tmp_path: Path) -> None:
    for band in (False, True):
        choice = Choice(("thrust",), written=WRITTEN.written, band=band)
        [out] = write_sheet(drive, tmp_path / "one.svg", *_ends(drive, 20, 100), choice=choice)
        told = out.read_text("utf-8")
        assert ("95 % uncertainty, from the accuracy" in told) == band


@pytest.mark.parametrize("suffix", [".png", ".svg"])
def test_pictures_are_numbered_a_page_each(drive: InventedDrive, tmp_path: Path, suffix: str) -> None:
    written = write_sheet(drive, tmp_path / f"sheet{suffix}", *_ends(drive, 0, 250), choice=WRITTEN)
    assert [path.name for path in written] == [f"sheet-1{suffix}", f"sheet-2{suffix}"]
    assert sorted(path.name for path in tmp_path.iterdir()) == [path.name for path in written]


def test_a_png_is_a3_and_the_same_content_gives_the_same_pixels(drive: InventedDrive, tmp_path: Path) -> None:
    ends = _ends(drive, 20, 100)
    [one] = write_sheet(drive, tmp_path / "one.png", *ends, choice=WRITTEN)
    [two] = write_sheet(InventedDrive(), tmp_path / "two.png", *reversed(ends), choice=WRITTEN)
    first, second = QImage(str(one)), QImage(str(two))
    assert (first.width(), first.height()) == (math.ceil(420 / 25.4 * 200), math.ceil(297 / 25.4 * 200))
    assert first == second
    [other] = write_sheet(
        drive, tmp_path / "other.png", *ends, choice=Choice(("fpi",), written=WRITTEN.written)
    )
    assert QImage(str(other)) != first


def test_an_svg_is_true_to_size(drive: InventedDrive, tmp_path: Path) -> None:
    [out] = write_sheet(drive, tmp_path / "one.svg", *_ends(drive, 20, 100), choice=WRITTEN)
    head = out.read_text()[:1500]
    assert float(re.search(r'width="([\d.]+)mm"', head)[1]) == pytest.approx(420, abs=0.1)
    assert float(re.search(r'height="([\d.]+)mm"', head)[1]) == pytest.approx(297, abs=0.1)


def test_only_what_is_known_is_drawn(drive: InventedDrive, tmp_path: Path) -> None:
    start = drive.setup.drive.chainage_start_m
    out = tmp_path / "wide.png"
    assert write_sheet(drive, out, start - 5_000, start + 90, choice=WRITTEN) == [out]  # one page, not thirty
    with pytest.raises(TbmReviewError, match=r"what is known of the drive lies from 42\+180\.40 to 42\+43"):
        write_sheet(drive, tmp_path / "none.pdf", start + 5_000, start + 6_000, choice=WRITTEN)
    assert not (tmp_path / "none.pdf").exists()


def test_another_suffix_is_wrong_usage(drive: InventedDrive, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"\.pdf, \.svg, \.png"):
        write_sheet(drive, tmp_path / "sheet.docx", *_ends(drive, 0, 100))


@pytest.mark.parametrize("name", ["sheet.pdf", "sheet.png"])
def test_a_failing_write_leaves_the_folder_as_it_was(
    drive: InventedDrive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    (tmp_path / name).write_text("an older sheet")
    calls = []

    def full(handle: int) -> None:
        calls.append(handle)
        if name == "sheet.pdf" or len(calls) == 2:
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match=r"No space left on device: '.*/sheet(-2)?\.\w{3}'"):
        write_sheet(drive, tmp_path / name, *_ends(drive, 0, 250), choice=WRITTEN)
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text() == "an older sheet"


def test_a_folder_that_is_not_there_is_named(drive: InventedDrive, tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match=r"nowhere/sheet\.pdf"):
        write_sheet(drive, tmp_path / "nowhere" / "sheet.pdf", *_ends(drive, 0, 100))


def test_sheets_need_neither_window_nor_display(tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path\n"
        "from support.drives import InventedDrive\n"
        "from tbmreview.sheet.write import write_sheet\n"
        "drive = InventedDrive(); start = drive.setup.drive.chainage_start_m\n"
        f"write_sheet(drive, Path({str(tmp_path)!r}) / 'sheet.pdf', start, start + 50)\n"
        "assert 'PySide6.QtWidgets' not in sys.modules and 'pyqtgraph' not in sys.modules\n"
    )
    tests = Path(__file__).parents[1]
    environment = {
        k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")
    }
    environment["PYTHONPATH"] = os.pathsep.join([str(tests), str(tests.parent)])
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")


def test_a_thousand_calls_of_qt_leave_none_as_it_was(qapp: QGuiApplication) -> None:
    # PySide6 6.12.0 under Python 3.11 loses a reference to None in every call that returns nothing.
    image = QImage(4, 4, QImage.Format.Format_RGB32)
    before = sys.getrefcount(None)
    for _ in range(1_000):
        image.setDotsPerMeterX(4_000)
    assert abs(sys.getrefcount(None) - before) < 200
