"""Method notes beside the picture: one page at a time, its links, the page before, and a way out."""

from PySide6.QtCore import QEvent, Qt, QUrl, Signal, Slot
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QPushButton, QTextBrowser, QVBoxLayout, QWidget

from tbmreview.help import page
from tbmreview.viewer.note_html import LINK, contents_html, note_html

CONTENTS = "contents"
Key = Qt.Key
READING_KEYS = {
    *(Key.Key_PageUp, Key.Key_PageDown, Key.Key_Up, Key.Key_Down),
    *(Key.Key_Home, Key.Key_End, Key.Key_Left, Key.Key_Right),
}


class NoteText(QTextBrowser):
    """Text that keeps the keys by which it is read, while it has the focus."""

    def event(self, event: QEvent) -> bool:
        keeps = isinstance(event, QKeyEvent) and event.key() in READING_KEYS
        if keeps and event.type() == QEvent.Type.ShortcutOverride:
            event.accept()
            return True
        return super().event(event)


class NotesPanel(QWidget):
    """Shows a note; `closed` when it is to give its place back."""

    closed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.text = NoteText()
        self.text.setOpenLinks(False)
        self.before, self.contents, self.leave = (
            QPushButton(words) for words in ("Back", "All notes", "Close")
        )
        for button in (self.before, self.contents, self.leave):
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        buttons = QHBoxLayout()
        buttons.addWidget(self.before)
        buttons.addWidget(self.contents)
        buttons.addStretch(1)
        buttons.addWidget(self.leave)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(16, 8, 16, 0)
        layout.addLayout(buttons)
        layout.addWidget(self.text, 1)
        self._read: list[str] = []
        self.text.anchorClicked.connect(self._follow)
        self.before.clicked.connect(self.back)
        self.contents.clicked.connect(self.show_contents)
        self.leave.clicked.connect(self.closed)

    @property
    def name(self) -> str:
        """The page that is shown, '' before the first."""
        return self._read[-1] if self._read else ""

    def show_note(self, name: str) -> None:
        """Show a page, or CONTENTS; the one shown before stays the way back."""
        if name != self.name:
            self._read.append(name)
        self._renew()

    @Slot()
    def show_contents(self) -> None:
        self.show_note(CONTENTS)

    @Slot()
    def back(self) -> None:
        """The page read before this one; there the way back ends."""
        if len(self._read) > 1:
            self._read.pop()
            self._renew()

    def forget(self) -> None:
        """The next page is a first one."""
        self._read.clear()

    @Slot(QUrl)
    def _follow(self, url: QUrl) -> None:
        self.show_note(url.toString().removeprefix(LINK))

    def _renew(self) -> None:
        self.before.setEnabled(len(self._read) > 1)
        self.contents.setEnabled(self.name != CONTENTS)
        self.text.setHtml(contents_html() if self.name == CONTENTS else note_html(page(self.name)))
