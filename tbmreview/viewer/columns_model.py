"""The columns of logs as the rows of a table: what each is taken for, why, and a small plot of its data."""

from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QPainter
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QWidget,
)

from tbmreview.domain.channels import BY_NAME
from tbmreview.drive.columns import SeenColumn, SeenColumns
from tbmreview.ingest.report import CHANNEL, EXTRA, STAMP
from tbmreview.paint.style import ACCENT, SOFT
from tbmreview.viewer.column_plot import Values, draw_values

HEADINGS = ("", "column in the log", "first values", "taken for", "unit", "why")
MARK, HEADER, PLOT, TAKEN, UNIT, WHY = range(len(HEADINGS))
WIDTHS = {MARK: 64, HEADER: 190, PLOT: 130, TAKEN: 140, UNIT: 66}
ROW_PIXELS = 30
Role = Qt.ItemDataRole
Index = QModelIndex | QPersistentModelIndex


def taken_for(seen: SeenColumn) -> str:
    """What a column is taken for, in words."""
    column = seen.column
    if column.role == CHANNEL:
        return BY_NAME[column.name].label + (" ?" if seen.open else "")
    if column.role == STAMP:
        return "Date and time"
    return "Extra channel" if column.role == EXTRA else "Left out"


def mark_of(seen: SeenColumn) -> str:
    """How far a column is settled: 'open', 'stated' or ''."""
    return "open" if seen.open else "stated" if seen.stated is not None else ""


class ColumnsModel(QAbstractTableModel):
    """The columns seen, in their order."""

    NOTES = ("logs",) * len(HEADINGS)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.rows: tuple[SeenColumn, ...] = ()
        self._seen: SeenColumns | None = None

    def show(self, seen: SeenColumns) -> None:
        """Replace the rows."""
        self.beginResetModel()
        self._seen, self.rows = seen, seen.columns
        self.endResetModel()

    def values(self, row: int) -> Values | None:
        """First values of a row's column; None where it holds no numbers."""
        if self._seen is None:
            return None
        column = self.rows[row]
        return self._seen.values.get(column.log, {}).get(column.column.index)

    def rowCount(self, parent: Any = None) -> int:
        return 0 if parent is not None and parent.isValid() else len(self.rows)

    def columnCount(self, parent: Any = None) -> int:
        return len(HEADINGS)

    def data(self, index: Index, role: int = Role.DisplayRole) -> Any:
        seen = self.rows[index.row()]
        if role == Role.DisplayRole:
            return self._texts(seen)[index.column()]
        if role == Role.ToolTipRole and index.column() in (HEADER, WHY):
            return self._texts(seen)[index.column()]
        if role == Role.ForegroundRole:
            if seen.open and index.column() in (MARK, WHY):
                return QColor(ACCENT)
            return QColor(SOFT) if index.column() in (MARK, WHY) else None
        if role == Role.FontRole and seen.open and index.column() in (MARK, HEADER):
            bold = QFont()
            bold.setBold(True)
            return bold
        return None

    def _texts(self, seen: SeenColumn) -> tuple[str, ...]:
        column = seen.column
        unit = column.unit if column.role == CHANNEL else ""
        return (mark_of(seen), seen.header, "", taken_for(seen), unit, column.question or column.reason)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Role.DisplayRole) -> Any:
        if orientation == Qt.Orientation.Vertical:
            return None
        if role == Role.TextAlignmentRole:
            return int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        return HEADINGS[section] if role == Role.DisplayRole else None


class PlotDelegate(QStyledItemDelegate):
    """Paints the small plot in its cell."""

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        super().paint(painter, option, index)
        model = index.model()
        values = model.values(index.row()) if isinstance(model, ColumnsModel) else None
        if values is not None:
            draw_values(painter, QRectF(option.rect).adjusted(6, 5, -6, -5), values)


def fit_headers(table: QTableView) -> None:
    """Give the names of the columns the room they need, at most a quarter of the table."""
    most = max(WIDTHS[HEADER], table.width() // 4)
    needed = table.sizeHintForColumn(HEADER) + 8
    table.horizontalHeader().resizeSection(HEADER, min(max(WIDTHS[HEADER], needed), most))


def columns_table(model: ColumnsModel) -> QTableView:
    """The table over the model; it keeps no reference to the delegate but its child does."""
    table = QTableView()
    table.setModel(model)
    table.setItemDelegateForColumn(PLOT, PlotDelegate(table))
    table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
    table.setShowGrid(False)
    table.setWordWrap(False)
    table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    table.verticalHeader().hide()
    table.verticalHeader().setDefaultSectionSize(ROW_PIXELS)
    header = table.horizontalHeader()
    header.setHighlightSections(False)
    header.setSectionResizeMode(WHY, QHeaderView.ResizeMode.Stretch)
    for column, pixels in WIDTHS.items():
        header.resizeSection(column, pixels)
    return table
