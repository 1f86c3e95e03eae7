"""The list of findings and the evidence of the chosen one. Choosing jumps there."""

from collections.abc import Sequence

from PySide6.QtCore import QItemSelection, QModelIndex, Qt, Signal, Slot
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QLabel,
    QScrollArea,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from tbmreview.domain.findings import Finding
from tbmreview.domain.station import Axis, format_chainage
from tbmreview.viewer.headed import HeadedModel, TextsModel

Index = QModelIndex


class FindingsModel(TextsModel):
    """Findings as rows, in the order of the drive."""

    HEADINGS = ("from", "to", "what", "strength", "verdict")
    RIGHT = (0, 1, 3)
    NOTES = ("position", "position", "findings", "findings", "findings")

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.findings: tuple[Finding, ...] = ()

    def show(self, findings: Sequence[Finding], axis: Axis) -> None:
        """Replace the rows."""
        self.findings = tuple(sorted(findings, key=lambda f: (f.position_from_m, f.kind)))
        self.lay([_texts(finding, axis) for finding in self.findings], [f.evidence for f in self.findings])


def _texts(finding: Finding, axis: Axis) -> tuple[str, ...]:
    ends = [float(axis.chainage_m(p)) for p in (finding.position_from_m, finding.position_to_m)]
    return (
        format_chainage(ends[0], 1),
        format_chainage(ends[1], 1),
        finding.kind,
        f"{finding.strength:.1f}",
        finding.verdict,
    )


class FindingsPanel(QWidget):
    """Findings of the drive; `chosen` carries the Finding that was selected."""

    chosen = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.model = FindingsModel(self)
        self.heading = QLabel("Findings")
        self.heading.setObjectName("heading")
        self.table = list_view(self.model, 2)
        self.evidence = QLabel()
        self.evidence.setObjectName("evidence")
        self.evidence.setWordWrap(True)
        self.evidence.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft)
        self.evidence.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setWidget(self.evidence)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.heading)
        layout.addWidget(self.table, 1)
        layout.addWidget(scroll, 1)
        self.table.selectionModel().selectionChanged.connect(self._selected)

    def show_findings(self, findings: Sequence[Finding], axis: Axis, selected: str = "") -> None:
        """Fill the list; the finding with this id stays selected, and nothing is told of it."""
        self.model.show(findings, axis)
        count = len(self.model.findings)
        self.heading.setText(
            f"Findings ({count})" if count else "No findings. That does not mean safe ground."
        )
        self.evidence.setText("Select a finding to go there and read its evidence." if count else "")
        if selected:
            self.blockSignals(True)
            self.select(selected)
            self.blockSignals(False)

    def select(self, finding: str) -> None:
        """Select the finding with this id; an unknown id selects nothing."""
        for row, known in enumerate(self.model.findings):
            if known.id == finding:
                self.table.selectRow(row)

    def selected(self) -> Finding | None:
        """The chosen finding."""
        rows = self.table.selectionModel().selectedRows()
        return self.model.findings[rows[0].row()] if rows else None

    def step(self, by: int) -> None:
        """Select the next (+1) or previous (-1) finding."""
        count = self.model.rowCount()
        if not count:
            return
        current = self.table.currentIndex()
        row = current.row() + by if current.isValid() else (0 if by > 0 else count - 1)
        self.table.selectRow(min(max(row, 0), count - 1))

    @Slot(QItemSelection, QItemSelection)
    def _selected(self, new: QItemSelection, old: QItemSelection) -> None:
        finding = self.selected()
        if finding is None:
            return
        self.evidence.setText(evidence_text(finding))
        self.chosen.emit(finding)


def evidence_text(finding: Finding) -> str:
    """What is written below the list for one finding."""
    lines = [finding.evidence]
    if finding.decided_by:
        lines.append(f"{finding.verdict}, decided by {finding.decided_by}")
    if finding.note:
        lines.append(finding.note)
    return "\n\n".join(lines)


def list_view(model: HeadedModel, wide: int) -> QTableView:
    """A quiet list of rows, one chosen at a time; the column `wide` takes the room that is left."""
    table = QTableView()
    table.setModel(model)
    table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
    table.setShowGrid(False)
    table.setWordWrap(False)
    table.verticalHeader().hide()
    table.verticalHeader().setMinimumSectionSize(18)
    table.verticalHeader().setDefaultSectionSize(20)
    header = table.horizontalHeader()
    header.setHighlightSections(False)
    for column in range(len(model.HEADINGS)):
        header.setSectionResizeMode(column, QHeaderView.ResizeMode.ResizeToContents)
    header.setSectionResizeMode(wide, QHeaderView.ResizeMode.Stretch)
    return table
