"""The window: overview and strips at left, reading, choices and findings at right, provenance below."""

from math import isnan
from pathlib import Path

from PySide6.QtCore import QEvent, Qt, Slot
from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import (
    QApplication,
    QFileDialog,
    QInputDialog,
    QMainWindow,
    QMessageBox,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from tbmreview.domain.table import Table
from tbmreview.drive.add import AddReport
from tbmreview.drive.columns import SeenColumns
from tbmreview.ingest.column_map import ColumnMap
from tbmreview.scene.hit import read_out
from tbmreview.scene.of_drive import DriveSource
from tbmreview.sheet.provenance import provenance_line
from tbmreview.viewer import pages
from tbmreview.viewer.actions import build_menus
from tbmreview.viewer.columns_page import ColumnsPage
from tbmreview.viewer.desk import Desk
from tbmreview.viewer.dropped import dropped_files
from tbmreview.viewer.footer import Footer
from tbmreview.viewer.import_page import ImportPage
from tbmreview.viewer.judging import Judging
from tbmreview.viewer.noted import Notes
from tbmreview.viewer.notes_panel import CONTENTS
from tbmreview.viewer.picture_panel import PicturePanel
from tbmreview.viewer.read_out import reading
from tbmreview.viewer.rows_page import RowsPage
from tbmreview.viewer.side_panel import SidePanel
from tbmreview.viewer.stage import Stage

CLOSER = 1.5
SIDE_PIXELS = 400
LOGS = "Logs (*.csv *.txt *.tsv *.dat *.zip *.gz *.parquet *.feather);;All files (*)"
SHEETS = "PDF (*.pdf);;SVG (*.svg);;PNG (*.png)"
SCALES = ("1:100", "1:200", "1:500", "1:1000", "1:2000", "1:5000")
TABLES = "CSV (*.csv);;Parquet (*.parquet);;Workbook (*.xlsx)"


class MainWindow(QMainWindow):
    """One drive, looked at."""

    def __init__(self, source: DriveSource) -> None:
        super().__init__()
        self.folder = source.drive.folder
        self.stage = Stage(source, self)
        self.desk = Desk(self)
        self.picture = PicturePanel(self.stage)
        self.side = SidePanel(self.stage)
        self.judging = Judging(self.stage, self.desk, self.side, self)
        self.footer = Footer()
        self.page: QWidget | None = None
        self.columns_page: ColumnsPage | None = None
        self.import_page: ImportPage | None = None
        self._away = False
        self.setAcceptDrops(True)
        self._lay_out()
        self.actions_by_slot = build_menus(self)
        self.actions_by_slot["fit_values"].setCheckable(True)
        self._connect()
        self._renewed()

    def _lay_out(self) -> None:
        self.parts = QSplitter(Qt.Orientation.Horizontal)
        self.parts.setChildrenCollapsible(False)
        for part in (self.picture, self.side):
            self.parts.addWidget(part)
        self.parts.setStretchFactor(0, 1)
        self.parts.setSizes([2 * SIDE_PIXELS, SIDE_PIXELS])
        self.side.setMinimumWidth(SIDE_PIXELS - 40)
        self.notes = Notes(self.parts, self.picture, self.side)
        whole = QWidget()
        layout = QVBoxLayout(whole)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        layout.addWidget(self.parts, 1)
        layout.addWidget(self.footer)
        self.setCentralWidget(whole)

    def _connect(self) -> None:
        self.stage.replaced.connect(self._renewed)
        self.picture.pointed.connect(self._pointed)
        self.picture.drawn.connect(self.judging.draw)
        self.picture.end_moved.connect(self.judging.move_end)
        self.desk.shifts_read.connect(self.judging.choose_shift)
        self.desk.opened.connect(self._opened)
        self.desk.renewed.connect(self._grown)
        self.desk.asked.connect(self.ask)
        self.desk.added.connect(self.show_import)
        self.desk.quarantined.connect(self._show_rows)
        self.desk.began.connect(self.footer.working)
        self.desk.stepped.connect(self.footer.progress)
        self.desk.ended.connect(self.footer.rest)
        self.desk.reported.connect(self.tell)
        self.desk.failed.connect(self.refuse)
        self.footer.stop.clicked.connect(self.desk.stop)

    def changeEvent(self, event: QEvent) -> None:
        """Coming back to the window shows what others decided meanwhile."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.ActivationChange:
            came_back, self._away = self._away and self.isActiveWindow(), not self.isActiveWindow()
            if came_back:
                self.desk.look_again(self.stage.source)

    # What a person looks at.

    @Slot()
    def whole(self) -> None:
        self.stage.go(self.stage.session.fit())

    @Slot()
    def closer(self) -> None:
        self._zoom(CLOSER)

    @Slot()
    def further(self) -> None:
        self._zoom(1 / CLOSER)

    @Slot()
    def back(self) -> None:
        self.stage.pan(-self.stage.session.length_m / 8)

    @Slot()
    def forward(self) -> None:
        self.stage.pan(self.stage.session.length_m / 8)

    @Slot()
    def view_back(self) -> None:
        self.stage.pan(-self.stage.session.length_m)

    @Slot()
    def view_forward(self) -> None:
        self.stage.pan(self.stage.session.length_m)

    @Slot()
    def next_finding(self) -> None:
        self.side.findings.step(+1)

    @Slot()
    def previous_finding(self) -> None:
        self.side.findings.step(-1)

    @Slot()
    def fit_values(self) -> None:
        self.stage.fit_values(self.actions_by_slot["fit_values"].isChecked())

    def _zoom(self, factor: float) -> None:
        low, high = self.stage.session.view_m
        self.stage.zoom(factor, (low + high) / 2)

    @Slot(float, float)
    def _pointed(self, x: float, y: float) -> None:
        stage, plan = self.stage, self.picture.strips.plan
        if plan is None or isnan(x):
            self.side.read(reading(None))
        else:
            self.side.read(reading(read_out(stage.source, stage.session, plan, x, y)))

    def point_at_middle(self) -> None:
        """Read out the middle of the view, as if the pointer were there."""
        low, high = self.stage.session.view_m
        self.picture.strips.point((low + high) / 2)

    # What a person does.

    @Slot()
    def open_drive(self) -> None:
        chosen = QFileDialog.getExistingDirectory(self, "Open a drive folder", str(self.folder.parent))
        if chosen:
            self.desk.open(Path(chosen))

    @Slot()
    def add_logs(self) -> None:
        self.take_in(self._chosen_logs())

    @Slot()
    def look_at_logs(self) -> None:
        self.take_in(self._chosen_logs(), look=True)

    def _chosen_logs(self) -> list[Path]:
        chosen, _ = QFileDialog.getOpenFileNames(self, "Add logs to the drive", "", LOGS)
        return [Path(name) for name in chosen]

    def take_in(self, files: list[Path], look: bool = False) -> None:
        """Add logs to the drive; where a question is open, or to look first, their columns are shown."""
        if files:
            self.desk.take_in(self.folder, files, look)

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        if event.mimeData().hasUrls() and any(url.isLocalFile() for url in event.mimeData().urls()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        event.acceptProposedAction()
        self.take_in(dropped_files(event.mimeData().urls()))

    @Slot()
    def write_sheet(self) -> None:
        title = "Write a sheet of the stretch in view"
        scale, chosen = QInputDialog.getItem(self, title, "Scale along the axis, on A3", SCALES, 2, False)
        out = self._out(title, "sheet.pdf", SHEETS) if chosen else None
        if out:
            number = int(scale.removeprefix("1:"))
            self.desk.write_sheet(self.stage.source, self.stage.session, out, number)

    @Slot()
    def write_table(self) -> None:
        out = self._out("Write a table of the stretch in view", "table.csv", TABLES)
        if out:
            self.desk.write_table(self.stage.source, self.stage.session, out)

    def _out(self, title: str, name: str, kinds: str) -> Path | None:
        chosen, _ = QFileDialog.getSaveFileName(self, title, name, kinds)
        return Path(chosen) if chosen else None

    # What a person reads.

    @Slot()
    def show_note(self) -> None:
        """The method note of the strip or row under the pointer; all notes where there is none."""
        self.notes.read(self.notes.under or CONTENTS)

    @Slot()
    def show_notes(self) -> None:
        self.notes.read(CONTENTS)

    @Slot()
    def note_back(self) -> None:
        self.notes.panel.back()

    @Slot()
    def close_note(self) -> None:
        self.notes.close()

    @Slot()
    def show_cautions(self) -> None:
        self._show_page("Cautions", pages.cautions_html())

    @Slot()
    def show_keys(self) -> None:
        self._show_page("Keys and mouse", pages.keys_html())

    @Slot()
    def show_about(self) -> None:
        self._show_page("About tbmreview", pages.about_html())

    @Slot(str, str)
    def tell(self, title: str, text: str) -> None:
        """Show a report."""
        self._show_page(title, pages.report_html(text))

    @Slot(str)
    def refuse(self, text: str) -> None:
        """Say in one sentence why something was not done."""
        if self.columns_page is not None:
            self.columns_page.failed(text)
            return
        box = QMessageBox(
            QMessageBox.Icon.NoIcon, "tbmreview", text, QMessageBox.StandardButton.Close, self._front()
        )
        box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.page = box
        box.open()

    @Slot(object)
    def ask(self, seen: SeenColumns) -> None:
        """Show the columns of logs that are to be added, or what has become of them after a choice."""
        if self.columns_page is not None:
            self.columns_page.show_seen(seen)
            return
        page = ColumnsPage(seen, self)
        page.stated.connect(self._stated)
        page.wanted.connect(self.desk.add)
        page.finished.connect(self._columns_left)
        self.columns_page = page
        self.notes.offer(page.table)
        page.open()

    @Slot(object)
    def _stated(self, given: ColumnMap) -> None:
        if self.columns_page is not None:
            self.desk.see_again(self.columns_page.seen, given)

    @Slot()
    def _columns_left(self) -> None:
        self.columns_page = None
        self.desk.forget()

    @Slot(object)
    def show_import(self, report: AddReport) -> None:
        """Show what an import did."""
        page = ImportPage(report, self)
        page.rows_wanted.connect(self.show_rows)
        page.finished.connect(self._import_left)
        self.page = self.import_page = page
        page.open()

    @Slot()
    def _import_left(self) -> None:
        self.import_page = None

    @Slot()
    def show_rows(self) -> None:
        """Show the rows of the drive that were not taken in; after an import of one file, its own first."""
        self.desk.read_rows(self.folder)

    @Slot(object)
    def _show_rows(self, rows: Table) -> None:
        files = self.import_page.report.files if self.import_page is not None else ()
        page = RowsPage(rows, files[0].report.file if len(files) == 1 else "", self._front())
        page.wanted.connect(self.desk.write_rows)
        self.notes.offer(page.table)
        self.page = page
        page.open()

    def _front(self) -> QWidget:
        """What a new page must lie over to be reached: the page that is in front, else the window."""
        return QApplication.activeModalWidget() or self

    def _show_page(self, title: str, html: str) -> None:
        self.page = pages.Page(title, html, self._front())
        self.page.show()

    # What the stage tells.

    @Slot(object)
    def _opened(self, source: DriveSource) -> None:
        self.folder = source.drive.folder
        self.stage.open(source)

    @Slot(object)
    def _grown(self, source: DriveSource) -> None:
        """Logs were added; by now another drive may be in view."""
        if source.drive.folder == self.folder:
            self.stage.renew(source)

    @Slot()
    def _renewed(self) -> None:
        source = self.stage.source
        self.setWindowTitle(f"{source.setup.drive.name} – tbmreview")
        self.footer.provenance.setText(provenance_line(source.drive))
        self.side.read(reading(None))

    def closeEvent(self, event: QCloseEvent) -> None:
        self.desk.close()
        super().closeEvent(event)
