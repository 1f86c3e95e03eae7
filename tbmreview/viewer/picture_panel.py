"""The overview of the whole drive and, below it, the strips of the stretch in view."""

from dataclasses import replace

from PySide6.QtCore import QTimer, Signal, Slot
from PySide6.QtWidgets import QVBoxLayout, QWidget

from tbmreview.scene.compose import MARKS, compose
from tbmreview.scene.hit import strip_at
from tbmreview.scene.look import PX, WINDOW
from tbmreview.scene.session import Session
from tbmreview.viewer.canvas import Canvas
from tbmreview.viewer.stage import Stage

# The overview is a picture without strips, so narrow that only ground, findings and chainages show:
# what a full picture has below its chainages lies outside its room.
OVERVIEW = replace(
    WINDOW,
    text=12 * PX,
    small=10 * PX,
    ground_row=15 * PX,
    class_row=0.0,
    finding_row=17 * PX,
    gap=4 * PX,
    key=False,
)
BELOW_FINDINGS_PIXELS = 20
GRIP_PIXELS = 6  # so near to the end of a mark it is held
PAGE_HIGH = 300 * PX


class PicturePanel(QWidget):
    """Composes what the session asks for, at most once a paint, and turns gestures into transitions."""

    pointed = Signal(float, float)  # units of the strips' plan; NaN when the pointer has left

    drawn = Signal(float, float)  # a stretch was drawn over the strips, positions in m
    end_moved = Signal(str, bool, float)  # an end of a mark: its id, whether the first, where to [m]

    def __init__(self, stage: Stage, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._stage = stage
        self.overview = Canvas()
        self.strips = Canvas()
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        layout.addWidget(self.overview)
        layout.addWidget(self.strips, 1)
        self._due = QTimer(self)
        self._due.setSingleShot(True)
        self._due.timeout.connect(self.draw)
        self._whole_due = True
        self._connect()
        self._draw_overview()

    def _connect(self) -> None:
        self._stage.moved.connect(self._moved)
        self._stage.replaced.connect(self._replaced)
        self.strips.resized.connect(self._resized)
        self.overview.resized.connect(self._replaced)
        self.strips.panned.connect(self._stage.pan)
        self.strips.zoomed.connect(self._stage.zoom)
        self.strips.pointed.connect(self.pointed)
        self.strips.drawn.connect(self.drawn)
        self.strips.carried.connect(self._carried)
        self.strips.grips = self._grips
        self.overview.pressed.connect(self._stage.centre)
        self.overview.dragged_to.connect(self._stage.centre)
        self.overview.zoomed.connect(self._zoomed_from_overview)

    @Slot()
    def draw(self) -> None:
        """Compose and show what is due now."""
        self._due.stop()
        source, session = self._stage.source, self._stage.session
        if self._whole_due:
            self._whole_due = False
            self._draw_overview()
        self.overview.frame_stretch(session.view_m)
        self.strips.show_plan(compose(source, session, self.strips.size_units()))

    def _draw_overview(self) -> None:
        whole = self._stage.session.with_strips(()).select("").fit()
        width, _ = self.overview.size_units()
        plan = compose(self._stage.source, whole, (width, PAGE_HIGH), OVERVIEW)
        self.overview.setFixedHeight(round(plan.plot.top / PX) + BELOW_FINDINGS_PIXELS)
        self.overview.show_plan(plan)

    @Slot(object)
    def _moved(self, session: Session) -> None:
        self._due.start(0)

    @Slot()
    def _replaced(self) -> None:
        self._whole_due = True
        self._due.start(0)

    @Slot()
    def _resized(self) -> None:
        self._due.start(0)

    def _grips(self, position_m: float, y: float) -> tuple[str, bool] | None:
        """The end of a mark that lies under a point of its row, if any: (id, whether the first)."""
        plan = self.strips.plan
        if plan is None or strip_at(plan, y) != MARKS:
            return None
        near_m = GRIP_PIXELS * PX / plan.plot.width * (plan.view_m[1] - plan.view_m[0])
        ends = [
            (abs(place - position_m), mark.id, first)
            for mark in self._stage.source.marks()
            for first, place in ((True, mark.position_from_m), (False, mark.position_to_m))
        ]
        away, name, first = min(ends, default=(near_m + 1, "", True))
        return (name, first) if away <= near_m else None

    @Slot(object, float)
    def _carried(self, grip: tuple[str, bool], position_m: float) -> None:
        self.end_moved.emit(*grip, position_m)

    @Slot(float, float)
    def _zoomed_from_overview(self, factor: float, about_m: float) -> None:
        low, high = self._stage.session.view_m
        self._stage.zoom(factor, min(max(about_m, low), high))
