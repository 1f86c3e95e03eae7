"""Date and time of logs: how they are read, and what a person may state of them."""

from collections.abc import Sequence
from dataclasses import replace

from PySide6.QtCore import Qt, Signal, Slot
from PySide6.QtWidgets import QComboBox, QGridLayout, QHBoxLayout, QLabel, QWidget

from tbmreview.drive.columns import SeenColumns
from tbmreview.ingest.column_map import ColumnMap, known_zone

AS_READ = "as read"
ORDERS = (("day first", "dmy"), ("month first", "mdy"), ("year first", "ymd"))
MARKS = (("the start of a row's interval", "start"), ("its end", "end"))
ZONES = (("zone of the drive", "drive"), ("UTC", "UTC"))


class ClockChoice(QWidget):
    """`stated` carries what is given now, the clock's entries changed."""

    stated = Signal(object)  # ColumnMap

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._given = ColumnMap()
        self.said, self.question = QLabel(), QLabel()
        for label, name in ((self.said, "here"), (self.question, "question")):
            label.setObjectName(name)
            label.setWordWrap(True)
            label.setTextFormat(Qt.TextFormat.PlainText)
        self.stamps, self.order, self.zone, self.marks = (QComboBox() for _ in range(4))
        self.zone.setEditable(True)
        self.zone.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        choices = QHBoxLayout()
        for words, box in (
            ("Stamps from", self.stamps),
            ("order", self.order),
            ("zone", self.zone),
            ("a stamp marks", self.marks),
        ):
            choices.addWidget(QLabel(words))
            choices.addWidget(box)
        choices.addStretch(1)
        layout = QGridLayout(self)
        layout.setContentsMargins(0, 0, 0, 4)
        layout.setColumnStretch(0, 1)
        layout.addWidget(self.said, 0, 0)
        layout.addWidget(self.question, 1, 0)
        layout.addLayout(choices, 2, 0)
        for box in (self.stamps, self.order, self.zone, self.marks):
            box.activated.connect(self._chosen)

    def show_clock(self, seen: SeenColumns) -> None:
        """Show how date and time are read, and what is stated of them."""
        self._given = seen.given
        said = dict.fromkeys(log.clock.said for log in seen.logs if log.clock is not None)
        self.said.setText("Date and time: " + ("; ".join(said) or "none found"))
        # How to answer at the command line, which may follow the question, is not told where one can choose.
        asked = (q if "?" not in q else q[: q.rindex("?") + 1] for q in seen.clock_questions)
        self.question.setText("\n".join(asked))
        self.question.setVisible(bool(seen.clock_questions))
        headers = dict.fromkeys(column.header for log in seen.logs for column in log.columns)
        self._fill(self.stamps, [(header, (header,)) for header in headers], self._given.stamps or None)
        self._fill(self.order, ORDERS, self._given.order or None)
        self._fill(self.zone, ZONES, self._given.zone or None)
        self._fill(self.marks, MARKS, self._given.stamp_marks or None)
        if self._given.zone and self.zone.findData(self._given.zone) < 0:
            self.zone.setEditText(self._given.zone)

    @staticmethod
    def _fill(box: QComboBox, items: Sequence[tuple[str, object]], now: object) -> None:
        box.clear()
        box.addItem(AS_READ, None)
        for text, data in items:
            box.addItem(text, data)
        places = [k for k in range(box.count()) if box.itemData(k) == now]
        box.setCurrentIndex(places[0] if places else 0)

    @Slot()
    def _chosen(self) -> None:
        typed = self.zone.currentText().strip()
        listed = self.zone.findText(typed)
        zone = (self.zone.itemData(listed) or "") if listed >= 0 else typed
        if not known_zone(zone):
            self.question.setText(
                f"{zone!r} is no zone: expected UTC, an offset such as +01:00 or an IANA name."
            )
            self.question.show()
            return
        stamps = tuple(self.stamps.currentData() or ())
        given = replace(
            self._given,
            stamps=stamps,
            order=self.order.currentData() or "",
            zone=zone,
            stamp_marks=self.marks.currentData() or "",
        )
        if given != self._given:
            self.stated.emit(given)
