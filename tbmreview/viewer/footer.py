"""Below the picture: where the numbers come from, and the caution."""

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLabel,
    QProgressBar,
    QPushButton,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from tbmreview.domain.cautions import CAUTION
from tbmreview.viewer.pace import Pace

ALL_IN = "all read, cells and strokes follow"


class Footer(QWidget):
    """One line of provenance, one of caution, and the work that is going on."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.provenance = _line("provenance")
        self.caution = _line("caution")
        self.caution.setText(CAUTION)
        self.work = QLabel()
        self._what, self._pace = "", Pace()
        self.bar = QProgressBar()
        self.bar.setFixedWidth(160)
        self.bar.setTextVisible(False)
        self.stop = QPushButton("Stop")
        words = QVBoxLayout()
        words.setSpacing(1)
        words.addWidget(self.provenance)
        words.addWidget(self.caution)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(12, 4, 12, 6)
        layout.addLayout(words, 1)
        for widget in (self.work, self.bar, self.stop):
            layout.addWidget(widget)
        self.rest()

    def working(self, what: str, stoppable: bool) -> None:
        """Say what is going on, its extent not known yet."""
        self._what, self._pace = what, Pace()
        self.work.setText(what)
        self.bar.setRange(0, 0)
        self.work.show()
        self.bar.show()
        self.stop.setVisible(stoppable)

    def progress(self, done: int, total: int) -> None:
        """How far it is, in bytes."""
        if done >= total:
            self.work.setText(f"{self._what}: {ALL_IN}")
            self.bar.setRange(0, 0)
            return
        self.work.setText(": ".join(filter(None, (self._what, self._pace.words(done, total)))))
        self.bar.setRange(0, 1000)
        self.bar.setValue(round(1000 * done / max(total, 1)))

    def rest(self) -> None:
        """Nothing is going on."""
        for widget in (self.work, self.bar, self.stop):
            widget.hide()


def _line(name: str) -> QLabel:
    label = QLabel()
    label.setObjectName(name)
    label.setWordWrap(True)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
    return label
