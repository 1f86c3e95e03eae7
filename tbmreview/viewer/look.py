"""How widgets look: white paper, dark ink, one accent. The picture's own look lives in paint."""

from PySide6.QtGui import QColor, QFont, QPalette
from PySide6.QtWidgets import QApplication

from tbmreview.paint.style import ACCENT, INK, PAGE, SOFT

RULE, CHOSEN = "#d5d9dc", "#f8e6dc"
FONT_PIXELS = 13

STYLE = f"""
* {{ color: {INK}; }}
QMainWindow, QDialog, QWidget {{ background: {PAGE}; }}
QMenuBar {{ border-bottom: 1px solid {RULE}; padding: 2px; }}
QMenuBar::item {{ padding: 4px 10px; background: transparent; }}
QMenuBar::item:selected, QMenu::item:selected {{ background: {CHOSEN}; }}
QMenu {{ border: 1px solid {RULE}; padding: 4px; }}
QMenu::item {{ padding: 4px 24px; }}
QMenu::item:disabled {{ color: #9aa1a7; }}
QMenu::separator {{ height: 1px; background: {RULE}; margin: 4px 8px; }}
QLabel#heading {{ font-weight: 600; padding-top: 4px; }}
QLabel#chainage {{ font-size: 20px; font-weight: 600; min-height: 28px; }}
QLabel#title {{ font-size: 16px; font-weight: 600; }}
QLabel#strong {{ font-weight: 600; }}
QPushButton:disabled, QComboBox:disabled {{ color: #9aa1a7; }}
QLabel#question {{ color: {ACCENT}; }}
QLabel#quiet, QLabel#provenance {{ color: {SOFT}; }}
QLabel#caution {{ color: {INK}; font-style: italic; }}
QTableView {{ border: none; border-top: 1px solid {RULE}; selection-background-color: {CHOSEN};
    selection-color: {INK}; }}
QHeaderView::section {{ background: {PAGE}; color: {SOFT}; border: none; padding: 3px 6px; }}
QScrollArea, QTextBrowser {{ border: none; border-top: 1px solid {RULE}; }}
QSplitter::handle {{ background: {RULE}; }}
QSplitter::handle:horizontal {{ width: 1px; }}
QSplitter::handle:vertical {{ height: 1px; }}
QScrollBar:vertical {{ width: 10px; background: {PAGE}; border: none; }}
QScrollBar::handle:vertical {{ background: {RULE}; border-radius: 4px; min-height: 24px; margin: 1px; }}
QScrollBar::add-line, QScrollBar::sub-line {{ height: 0; width: 0; }}
QScrollBar::add-page, QScrollBar::sub-page {{ background: {PAGE}; }}
QProgressBar {{ border: 1px solid {RULE}; max-height: 10px; }}
QProgressBar::chunk {{ background: {SOFT}; }}
QToolTip {{ background: {PAGE}; color: {INK}; border: 1px solid {RULE}; }}
"""


def dress(application: QApplication, family: str) -> None:
    """The style and the bundled typeface for every widget."""
    application.setStyle("Fusion")
    font = QFont(family)
    font.setPixelSize(FONT_PIXELS)
    application.setFont(font)
    palette = application.palette()
    # a style sheet has no word for links
    for role in (QPalette.ColorRole.Link, QPalette.ColorRole.LinkVisited):
        palette.setColor(role, QColor(ACCENT))
    application.setPalette(palette)
    application.setStyleSheet(STYLE)
