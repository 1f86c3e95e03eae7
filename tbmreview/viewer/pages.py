"""Pages to read: cautions, keys, about, and the report of an import."""

from html import escape

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QDialogButtonBox, QTextBrowser, QVBoxLayout, QWidget

from tbmreview import __version__
from tbmreview.domain.cautions import CAUTIONS
from tbmreview.viewer.actions import ACTS, MOUSE


class Page(QDialog):
    """A text with a Close button."""

    def __init__(self, title: str, html: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(title)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.resize(640, 600)
        self.text = QTextBrowser()
        self.text.setOpenLinks(False)
        self.text.setHtml(html)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
        buttons.rejected.connect(self.close)
        layout = QVBoxLayout(self)
        layout.addWidget(self.text)
        layout.addWidget(buttons)


def cautions_html() -> str:
    """The cautions in full."""
    return "<h3>Cautions</h3>" + "".join(f"<p>{escape(text)}</p>" for text in CAUTIONS)


def keys_html() -> str:
    """Every key and gesture, from the same list as the menus."""
    keys = [(", ".join(act.keys), act.text.replace("&", "").rstrip("…")) for act in ACTS if act.keys]
    rows = "".join(
        f"<tr><td style='padding:3px 24px 3px 0'><b>{escape(key)}</b></td><td style='padding:3px 0'>{escape(what)}</td></tr>"
        for key, what in (*keys, *MOUSE)
    )
    return f"<h3>Keys and mouse</h3><table>{rows}</table>"


def about_html() -> str:
    """What the program is, and the cautions."""
    return (
        f"<h3>tbmreview {escape(__version__)}</h3><p>Reviews what a hard-rock tunnel boring machine logged: "
        f"states, strokes and indicators along chainage, with the ground and what was noticed.</p>"
        f"{cautions_html()}"
    )


def report_html(text: str) -> str:
    """A report as written, in columns that stay aligned."""
    return f"<pre style='white-space:pre-wrap'>{escape(text)}</pre>"
