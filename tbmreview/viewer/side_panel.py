"""Beside the picture: what lies under the pointer, which strips at what step, and the findings."""

from itertools import groupby

from PySide6.QtCore import Qt, Slot
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QSizePolicy,
    QSplitter,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from tbmreview.domain.findings import Finding
from tbmreview.domain.ground import GROUND_KINDS, PREDICTED
from tbmreview.scene.class_list import CLASS_ROWS, ClassRow
from tbmreview.scene.class_rows import offered
from tbmreview.scene.session import STEPS_M, Session
from tbmreview.scene.strips import STRIPS, families
from tbmreview.viewer.findings_panel import FindingsPanel
from tbmreview.viewer.marks_panel import MarksPanel
from tbmreview.viewer.read_out import Reading
from tbmreview.viewer.stage import Stage
from tbmreview.viewer.strips_panel import StripRow, StripsModel, heading, span_headings, strips_table

SUITS = "as suits the view"
BAND = "Band of 95 % uncertainty"
BAND_TIP = (
    "From the accuracy of the sensors, [accuracy] in drive.toml. A strip has no band where an accuracy that it "
    "depends on is not given; the line below the picture says which."
)
LINE_PIXELS = 18
UPPER_PIXELS = 430


class SidePanel(QWidget):
    """Asks the stage, tells it of choices."""

    def __init__(self, stage: Stage, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._stage = stage
        self.chainage, self.interval, self.here = _line("chainage"), _line("quiet"), _line("here")
        self.step_words, self.steps = QLabel("Step of the values"), QComboBox()
        self.base_words, self.baselines = QLabel("Predicted ground"), QComboBox()
        self.band = QCheckBox(BAND)
        self.band.setToolTip(BAND_TIP)
        self.strips = StripsModel(_strip_rows(()), self)
        self.table = strips_table(self.strips)
        self.findings, self.marks = FindingsPanel(), MarksPanel()
        self.lists = QTabWidget()
        self.lists.setDocumentMode(True)
        for name, part in (("Findings", self.findings), ("Marks", self.marks)):
            self.lists.addTab(part, name)
        parts = QSplitter(Qt.Orientation.Vertical)
        parts.setChildrenCollapsible(False)
        parts.addWidget(self._upper())
        parts.addWidget(self.lists)
        parts.setStretchFactor(0, 0)
        parts.setStretchFactor(1, 1)
        parts.setSizes([UPPER_PIXELS, UPPER_PIXELS])
        layout = QVBoxLayout(self)
        layout.setContentsMargins(12, 6, 12, 0)
        layout.addWidget(parts)
        self._fill_steps()
        self._connect()
        self.renew()

    def _upper(self) -> QWidget:
        choices = QGridLayout()
        choices.setColumnStretch(1, 1)
        for row, (words, box) in enumerate(
            ((self.step_words, self.steps), (self.base_words, self.baselines))
        ):
            choices.addWidget(words, row, 0)
            choices.addWidget(box, row, 1)
        place = QHBoxLayout()
        place.addWidget(self.chainage, 2)
        place.addWidget(self.interval, 3)
        upper = QWidget()
        layout = QVBoxLayout(upper)
        layout.setContentsMargins(0, 0, 0, 8)
        layout.setSpacing(3)
        layout.addLayout(place)
        layout.addWidget(self.here)
        layout.addWidget(self.table, 1)
        layout.addWidget(self.band)
        layout.addLayout(choices)
        return upper

    def _fill_steps(self) -> None:
        self.steps.addItem(SUITS, None)
        for step_m in STEPS_M:
            self.steps.addItem(f"{step_m:g} m", step_m)

    def _connect(self) -> None:
        self._stage.moved.connect(self._moved)
        self._stage.replaced.connect(self.renew)
        self.strips.ticked.connect(self._ticked)
        self.band.clicked.connect(self._band_switched)
        self.steps.activated.connect(self._step_chosen)
        self.baselines.activated.connect(self._baseline_chosen)
        self.findings.chosen.connect(self._finding_chosen)

    @Slot()
    def renew(self) -> None:
        """Show the source's findings and the session's choices."""
        source = self._stage.source
        kinds = sum(bool(source.ground_names(kind)) for kind in GROUND_KINDS)
        self.here.setFixedHeight((kinds + 1) * LINE_PIXELS + 6)  # nothing jumps while the pointer moves
        self._fill_baselines(source.ground_names(PREDICTED))
        session = self._stage.session
        self._offer(session)
        self.findings.show_findings(source.findings(), source.axis, session.finding)
        self.marks.show_marks(source.marks(), source.axis, session.mark, source.drive.folder)
        self.lists.setTabText(1, f"Marks ({len(source.marks())})")
        self._moved(session)

    def _offer(self, session: Session) -> None:
        """The rows of classes are those that the ground shown carries."""
        rows = _strip_rows(offered(self._stage.source, session))
        if tuple(rows) != self.strips.rows:
            self.strips.offer(rows)
            span_headings(self.table, self.strips)

    def _fill_baselines(self, names: tuple[str, ...]) -> None:
        """Predictions to compare with, the latest first; no choice where there is at most one."""
        self.baselines.clear()
        for name in reversed(names):
            self.baselines.addItem(name, name)
        for widget in (self.base_words, self.baselines):
            widget.setVisible(len(names) > 1)

    def read(self, found: Reading) -> None:
        """What lies under the pointer."""
        self.chainage.setText(found.chainage)
        self.interval.setText(found.interval)
        self.here.setText(found.here)
        self.strips.read(found.values)

    @Slot(object)
    def _moved(self, session: Session) -> None:
        self.strips.show((*session.strips, *session.classes))
        self.band.setChecked(session.band)
        self.steps.setCurrentIndex(self.steps.findData(session.step_m))
        self.baselines.setCurrentIndex(max(self.baselines.findData(session.predicted), 0))

    @Slot(object)
    def _ticked(self, names: tuple[str, ...]) -> None:
        in_order = tuple(strip.name for strip in STRIPS if strip.name in names)
        session = self._stage.session
        kept = {*session.classes} - {row.name for row in self.strips.rows}  # what this ground does not carry
        classes = tuple(row.name for row in CLASS_ROWS if row.name in {*names, *kept})
        self._stage.go(session.with_strips(in_order).with_classes(classes))

    @Slot(bool)
    def _band_switched(self, on: bool) -> None:
        self._stage.go(self._stage.session.with_band(on))

    @Slot(int)
    def _step_chosen(self, index: int) -> None:
        self._stage.go(self._stage.session.with_step(self.steps.itemData(index)))

    @Slot(int)
    def _baseline_chosen(self, index: int) -> None:
        session = self._stage.session.with_predicted(self.baselines.itemData(index))
        self._offer(session)
        self._stage.go(session)

    @Slot(object)
    def _finding_chosen(self, finding: Finding) -> None:
        self._stage.go(self._stage.session.jump_to(finding))


def _strip_rows(classes: tuple[ClassRow, ...]) -> list[StripRow]:
    """Every strip under the heading of its family, then the rows of classes by kind of ground."""
    rows: list[StripRow] = []
    for family, strips in families().items():
        rows += [heading(family), *(StripRow(s.name, s.label, s.unit, s.what) for s in strips)]
    for kind, several in groupby(classes, lambda row: row.kind):
        rows += [heading(f"classes, {kind}"), *(StripRow(r.name, r.label, what=r.what) for r in several)]
    return rows


def _line(name: str) -> QLabel:
    label = QLabel()
    label.setObjectName(name)
    label.setAlignment(Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft)
    label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
    return label
