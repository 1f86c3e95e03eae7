"""The shipped typeface: loaded once, checked, and handed out by size."""

from functools import cache
from importlib import resources

from PySide6.QtGui import QFont, QFontDatabase, QFontMetricsF, QGuiApplication

from tbmreview.domain.errors import TbmReviewError

FAMILY = "Roboto Condensed"
FILES = ("RobotoCondensed-Regular.ttf", "RobotoCondensed-Bold.ttf")
_MEASURED_AT = 1000  # type size at which widths are measured, so that they do not depend on a device


def load_fonts() -> str:
    """Make the shipped typeface known to Qt and return its family.

    Needs a QGuiApplication. Raises TbmReviewError if the font is not there: without it Qt draws
    empty boxes and says nothing.
    """
    if QGuiApplication.instance() is None:
        raise TbmReviewError("text cannot be drawn before a QGuiApplication exists")
    return _load()


@cache
def _load() -> str:
    folder = resources.files("tbmreview.paint") / "fonts"
    for name in FILES:
        with resources.as_file(folder / name) as path:
            number = QFontDatabase.addApplicationFont(str(path))
        if number < 0 or FAMILY not in QFontDatabase.applicationFontFamilies(number):
            raise TbmReviewError(f"the program's font {name} cannot be loaded; install the program again")
    return FAMILY


@cache
def font(size: int, bold: bool = False) -> QFont:
    """The typeface at a size in pixels of the device, without hinting."""
    made = QFont(load_fonts())
    made.setPixelSize(max(size, 1))
    made.setBold(bold)
    made.setHintingPreference(QFont.HintingPreference.PreferNoHinting)
    return made


@cache
def _metrics(bold: bool) -> QFontMetricsF:
    return QFontMetricsF(font(_MEASURED_AT, bold))


@cache
def width(text: str, height: float, bold: bool = False) -> float:
    """Width of a text at a type size, in the unit of the size."""
    return float(_metrics(bold).horizontalAdvance(text) * height / _MEASURED_AT)
