"""What an import did, file by file: rows, repairs, clock, notes; text to copy, quarantined rows to look at."""

from collections.abc import Sequence
from html import escape

from PySide6.QtCore import Qt, Signal, Slot
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QDialog, QHBoxLayout, QPushButton, QTextBrowser, QVBoxLayout, QWidget

from tbmreview.drive.add import AddReport, FileAdded
from tbmreview.ingest.report import CHANNEL, EXTRA, FileReport
from tbmreview.paint.style import SOFT
from tbmreview.viewer.columns_page import LARGEST, LEAST_ROOM

_CELL = "padding:2px 18px 2px 0"


class ImportPage(QDialog):
    """The report of an import; `rows_wanted` when the quarantined rows are to be shown."""

    rows_wanted = Signal()

    def __init__(self, report: AddReport, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setWindowTitle("Logs added")
        self.report = report
        self.text = QTextBrowser()
        self.text.setHtml(report_html(report))
        self.copy, self.rows, self.leave = (
            QPushButton(words) for words in ("Copy as text", "Quarantined rows…", "Close")
        )
        self.rows.setEnabled(any(file.report.quarantined_rows for file in report.files))
        buttons = QHBoxLayout()
        buttons.addWidget(self.copy)
        buttons.addWidget(self.rows)
        buttons.addStretch(1)
        buttons.addWidget(self.leave)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(16, 12, 16, 12)
        layout.addWidget(self.text, 1)
        layout.addLayout(buttons)
        self.copy.clicked.connect(self._copy)
        self.rows.clicked.connect(self.rows_wanted)
        self.leave.clicked.connect(self.accept)
        self.leave.setDefault(True)
        if parent is not None:
            self.resize((parent.size() - LEAST_ROOM).boundedTo(LARGEST))

    @Slot()
    def _copy(self) -> None:
        QGuiApplication.clipboard().setText(self.report.text())


def report_html(report: AddReport) -> str:
    """The report as a page: a line a file, then each file in full."""
    reports = [file.report for file in report.files]
    read, kept = sum(r.rows_read for r in reports), sum(r.kept for r in reports)
    head = [("file", "rows read", "kept", "duplicates", "quarantined", "clock")]
    lines = [_counts(file) for file in report.files]
    total = ("in all", *(_n(sum(x)) for x in zip(*(_numbers(r) for r in reports), strict=True)), "")
    parts = [
        f"<h3>{_n(kept)} of {_n(read)} rows kept from {_files(len(reports))}</h3>",
        "".join(f"<p>{escape(note)}</p>" for note in report.notes),
        _table([*head, *lines, *([total] if len(lines) > 1 else [])], numbers=(1, 2, 3, 4)),
        *(_file_html(file.report) for file in report.files),
    ]
    return "".join(parts)


def _files(count: int) -> str:
    return "one file" if count == 1 else f"{count} files"


def _numbers(report: FileReport) -> tuple[int, int, int, int]:
    return report.rows_read, report.kept, report.duplicates, report.quarantined_rows


def _counts(file: FileAdded) -> tuple[str, ...]:
    report = file.report
    name = report.file + (" (taken in before)" if file.known else "")
    return (name, *(_n(x) for x in _numbers(report)), report.clock)


def _file_html(report: FileReport) -> str:
    parts = [f"<h4 style='margin-top:18px'>{escape(report.file)}</h4>"]
    if report.quarantined:
        rows = [(reason, _n(count)) for reason, count in sorted(report.quarantined.items())]
        parts.append(_titled("Quarantined rows", [("reason", "rows"), *rows], (1,)))
    if report.repairs:
        repairs = [(r.rule, r.column, _n(r.count), _n(r.first_line)) for r in report.repairs]
        parts.append(
            _titled("Values made missing", [("rule", "column", "values", "first line"), *repairs], (2, 3))
        )
    if report.notes:
        parts.append("<p><b>Notes</b></p>" + "".join(f"<p>{escape(note)}</p>" for note in report.notes))
    channels = [(c.header, c.name, c.unit, c.reason) for c in report.columns if c.role == CHANNEL]
    extras = sum(c.role == EXTRA for c in report.columns)
    title = f"Columns taken for channels ({len(channels)}; {extras} more kept as extra channels)"
    parts.append(_titled(title, [("column", "channel", "unit", "why"), *channels], ()))
    return "".join(parts)


def _titled(title: str, rows: Sequence[tuple[str, ...]], numbers: tuple[int, ...]) -> str:
    return f"<p style='margin-bottom:2px'><b>{escape(title)}</b></p>{_table(rows, numbers)}"


def _table(rows: Sequence[tuple[str, ...]], numbers: tuple[int, ...]) -> str:
    """The first row is the heading; the columns of numbers stand at the right."""

    def line(row: tuple[str, ...], colour: str) -> str:
        cells = (
            f"<td align='{'right' if k in numbers else 'left'}' style='{_CELL}{colour}'>{escape(text)}</td>"
            for k, text in enumerate(row)
        )
        return f"<tr>{''.join(cells)}</tr>"

    body = "".join(line(row, "" if k else f";color:{SOFT}") for k, row in enumerate(rows))
    return f"<table cellspacing='0'>{body}</table>"


def _n(count: int) -> str:
    """A count with its thousands apart."""
    return f"{count:,}".replace(",", "\N{NO-BREAK SPACE}")
