"""Rows that were not taken in: file, line, reason and the row as written; chosen by reason, exported."""

from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
from PySide6.QtCore import QModelIndex, QPersistentModelIndex, Qt, Signal, Slot
from PySide6.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QDialog,
    QFileDialog,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from tbmreview.domain.table import Table
from tbmreview.viewer.columns_page import LARGEST, LEAST_ROOM
from tbmreview.viewer.headed import HeadedModel

HEADINGS = {"file": "file", "line": "line", "reason": "reason", "text": "the row as written"}
WIDTHS = {"file": 210, "line": 76, "reason": 330}
EVERY_FILE, EVERY_REASON = "every file", "every reason"
TABLES = "CSV (*.csv);;Parquet (*.parquet);;Workbook (*.xlsx)"
Role = Qt.ItemDataRole


class RowsModel(HeadedModel):
    """A table of rows: file, line (NaN where only the stamp is known), reason, text."""

    HEADINGS = tuple(HEADINGS.values())
    RIGHT = (tuple(HEADINGS).index("line"),)
    NOTES = ("logs",) * len(HEADINGS)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.table = Table({name: np.empty(0, object) for name in HEADINGS})
        self._names = tuple(HEADINGS)

    def show(self, table: Table) -> None:
        """Replace the rows."""
        self.beginResetModel()
        self.table = table
        self.endResetModel()

    def rowCount(self, parent: Any = None) -> int:
        return 0 if parent is not None and parent.isValid() else len(self.table)

    def data(self, index: QModelIndex | QPersistentModelIndex, role: int = Role.DisplayRole) -> Any:
        name = self._names[index.column()]
        if role in (Role.DisplayRole, Role.ToolTipRole):
            value = self.table[name][index.row()]
            if name != "line":
                return str(value)
            return "" if np.isnan(value) else f"{value:.0f}"
        return self.alignment(index.column()) if role == Role.TextAlignmentRole else None


class RowsPage(QDialog):
    """Shows the rows of a drive that were not taken in; `wanted` carries those in view and where to."""

    wanted = Signal(object, object)  # Table, Path

    def __init__(self, rows: Table, file: str = "", parent: QWidget | None = None) -> None:
        """file: only the rows of this file at first; '' for all."""
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setWindowTitle("Quarantined rows")
        self._rows = rows
        self.heading = QLabel()
        self.heading.setObjectName("title")
        self.files, self.reasons = QComboBox(), QComboBox()
        self.model = RowsModel(self)
        self.table = _table(self.model)
        self.save, self.leave = QPushButton("Save these rows…"), QPushButton("Close")
        _fill(self.files, EVERY_FILE, Counter(rows["file"].tolist()))
        _fill(self.reasons, EVERY_REASON, Counter(rows["reason"].tolist()))
        self.files.setCurrentIndex(max(self.files.findData(file), 0))
        self._lay_out()
        self.files.activated.connect(self._choose)
        self.reasons.activated.connect(self._choose)
        self.save.clicked.connect(self._save)
        self.leave.clicked.connect(self.close)
        self._choose()

    def _lay_out(self) -> None:
        choices, buttons = QHBoxLayout(), QHBoxLayout()
        choices.addWidget(self.files)
        choices.addWidget(self.reasons)
        choices.addStretch(1)
        buttons.addWidget(self.save)
        buttons.addStretch(1)
        buttons.addWidget(self.leave)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(16, 12, 16, 12)
        layout.addWidget(self.heading)
        layout.addLayout(choices)
        layout.addWidget(self.table, 1)
        layout.addLayout(buttons)
        self.leave.setDefault(True)
        parent = self.parentWidget()
        if parent is not None:
            self.resize((parent.size() - LEAST_ROOM).boundedTo(LARGEST))

    @Slot()
    def _choose(self) -> None:
        """Show the rows of the file and the reason chosen."""
        keep = np.ones(len(self._rows), bool)
        for box, name in ((self.files, "file"), (self.reasons, "reason")):
            if box.currentData() is not None:
                keep &= self._rows[name] == box.currentData()
        self.model.show(self._rows.rows(keep))
        count = int(keep.sum())
        self.heading.setText(
            f"{count} quarantined row{'' if count == 1 else 's'}" if count else "No row is quarantined"
        )
        self.save.setEnabled(count > 0)

    @Slot()
    def _save(self) -> None:
        chosen, _ = QFileDialog.getSaveFileName(self, "Save the quarantined rows", "rows.csv", TABLES)
        if chosen:
            self.wanted.emit(self.model.table, Path(chosen))


def _fill(box: QComboBox, every: str, counts: Counter[str]) -> None:
    box.addItem(every, None)
    for name, count in sorted(counts.items()):
        box.addItem(f"{name} ({count})", name)


def _table(model: RowsModel) -> QTableView:
    table = QTableView()
    table.setModel(model)
    table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    table.setShowGrid(False)
    table.setWordWrap(False)
    table.verticalHeader().hide()
    table.verticalHeader().setDefaultSectionSize(22)
    header = table.horizontalHeader()
    header.setHighlightSections(False)
    header.setStretchLastSection(True)
    for column, name in enumerate(HEADINGS):
        if name in WIDTHS:
            header.resizeSection(column, WIDTHS[name])
    return table
