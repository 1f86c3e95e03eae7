"""Describing a mark: kind, place and how sure, planes, what it rests on, free text."""

import math
from typing import Any

from PySide6.QtCore import Slot
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QFileDialog,
    QFormLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPlainTextEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from tbmreview.domain.errors import ChainageError
from tbmreview.domain.marks import CONFIDENCES, MARK_KINDS, Mark
from tbmreview.domain.station import Axis, format_chainage, parse_chainage

NUMBERS = {
    "from_u95_m": "± of the start, 95 %, m",
    "to_u95_m": "± of the end, 95 %, m",
    "dip_deg": "dip, 0 to 90 degrees",
    "dip_direction_deg": "dip direction, azimuth 0 to 360",
}


class MarkPage(QDialog):
    """A mark in fields; `fields` gives what they say. A wrong entry is told in a line and keeps the page open."""

    def __init__(self, mark: Mark, axis: Axis, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.mark, self._axis = mark, axis
        self.setWindowTitle(f"Mark {mark.id}" if mark.id else "New mark")
        self.kind, self.confidence = QComboBox(), QComboBox()
        self.kind.addItems(MARK_KINDS)
        self.confidence.addItems(("", *CONFIDENCES))
        self.ends = (QLineEdit(), QLineEdit())
        self.numbers = {name: QLineEdit() for name in NUMBERS}
        self.findings, self.ground = QLineEdit(), QLineEdit()
        self.photos, self.note = QPlainTextEdit(), QPlainTextEdit()
        self.wrong = QLabel()
        self.wrong.setObjectName("warning")
        self.wrong.setWordWrap(True)
        self._lay_out()
        self._fill()
        self.resize(560, self.sizeHint().height())

    def _lay_out(self) -> None:
        form = QFormLayout()
        form.addRow("what", self.kind)
        for words, box in zip(("from chainage", "to chainage"), self.ends, strict=True):
            form.addRow(words, box)
        for name, words in NUMBERS.items():
            form.addRow(words, self.numbers[name])
        form.addRow("how sure", self.confidence)
        form.addRow("rests on findings", self.findings)
        form.addRow("rests on ground", self.ground)
        beside, add = QHBoxLayout(), QPushButton("Choose…")
        add.clicked.connect(self._choose_photos)
        beside.addWidget(self.photos)
        beside.addWidget(add)
        form.addRow("photos, a path a line", beside)
        form.addRow("note", self.note)
        self.photos.setFixedHeight(56)
        self.note.setFixedHeight(84)
        buttons = QDialogButtonBox()
        keep = buttons.addButton("Keep the mark", QDialogButtonBox.ButtonRole.AcceptRole)
        buttons.addButton("Leave it", QDialogButtonBox.ButtonRole.RejectRole)
        keep.setDefault(True)
        buttons.accepted.connect(self._keep)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addLayout(form)
        layout.addWidget(self.wrong)
        layout.addWidget(buttons)

    def _fill(self) -> None:
        mark = self.mark
        self.kind.setCurrentText(mark.kind or MARK_KINDS[0])
        self.confidence.setCurrentText(mark.confidence)
        low = self._axis.chainage_at(mark.position_from_m)
        high = self._axis.chainage_at(mark.position_to_m, ends=True)
        for box, chainage in zip(self.ends, (low, high), strict=True):
            side = f" {chainage.side}" if chainage.side else ""
            box.setText(f"{format_chainage(float(chainage), 2)}{side}")
        for name, box in self.numbers.items():
            value = getattr(mark, name)
            box.setText("" if math.isnan(value) else f"{value:g}")
        self.findings.setText(" ".join(mark.findings))
        self.ground.setText(mark.ground)
        self.photos.setPlainText("\n".join(mark.photos))
        self.note.setPlainText(mark.note)

    def fields(self) -> dict[str, Any]:
        """Fields of a Mark as entered. ValueError says which cannot be read; ChainageError where one is not
        on the axis."""
        places = [self._place(box.text()) for box in self.ends]
        # an end that was not touched stays where it is, to the micrometre
        untouched = zip(places, (self.mark.position_from_m, self.mark.position_to_m), strict=True)
        low, high = (old if abs(new - old) < 0.005 else new for new, old in untouched)
        return {
            "kind": self.kind.currentText(),
            "position_from_m": low,
            "position_to_m": high,
            **{name: self._number(name) for name in NUMBERS},
            "confidence": self.confidence.currentText(),
            "findings": tuple(self.findings.text().replace(",", " ").split()),
            "ground": self.ground.text().strip(),
            "photos": tuple(line.strip() for line in self.photos.toPlainText().splitlines() if line.strip()),
            "note": self.note.toPlainText().strip(),
        }

    def _place(self, text: str) -> float:
        chainage = parse_chainage(text)
        if chainage is None:
            raise ValueError(f"'{text}' is no chainage; write 4+250.0 or 4250.0")
        return float(self._axis.position_m(chainage))

    def _number(self, name: str) -> float:
        text = self.numbers[name].text().strip().replace(",", ".")
        try:
            return float(text) if text else math.nan
        except ValueError:
            raise ValueError(f"'{text}' is no number ({NUMBERS[name]})") from None

    @Slot()
    def _choose_photos(self) -> None:
        chosen, _ = QFileDialog.getOpenFileNames(
            self, "Photos", "", "Pictures (*.jpg *.jpeg *.png);;All files (*)"
        )
        for path in chosen:
            self.photos.appendPlainText(path)

    @Slot()
    def _keep(self) -> None:
        try:
            self.fields()
        except (ValueError, ChainageError) as error:
            self.wrong.setText(str(error))
        else:
            self.accept()
