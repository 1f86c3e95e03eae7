"""What the window shows: one source and one session. Views listen to it and ask it; they keep no copy."""

from dataclasses import replace

from PySide6.QtCore import QObject, Signal

from tbmreview.scene.of_drive import DriveSource
from tbmreview.scene.session import Session, open_session


class Stage(QObject):
    """Holds the session; every change goes through `go`."""

    moved = Signal(object)  # the new Session
    replaced = Signal(object)  # the new Source, its session in place

    def __init__(self, source: DriveSource, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.source = source
        self.session = open_session(source)

    def go(self, session: Session) -> None:
        """Show this state of the view from now on."""
        if session != self.session:
            self.session = session
            self.moved.emit(session)

    def renew(self, source: DriveSource) -> None:
        """The same drive after a change: the view is kept."""
        self.source = source
        self.session = self.session.grown(source.span_m)
        self.replaced.emit(source)
        self.moved.emit(self.session)

    def open(self, source: DriveSource) -> None:
        """Another drive, shown whole with the strips and step in use."""
        before = self.session
        self.source = source
        self.session = open_session(source, before.strips).with_step(before.step_m).with_band(before.band)
        self.replaced.emit(source)
        self.moved.emit(self.session)

    # Slots for gestures and keys: each is one transition of the session.

    def pan(self, by_m: float) -> None:
        self.go(self.session.pan(by_m))

    def zoom(self, factor: float, about_m: float) -> None:
        self.go(self.session.zoom(factor, about_m))

    def fit_values(self, on: bool) -> None:
        self.go(replace(self.session, fit_values=on))

    def centre(self, position_m: float) -> None:
        low, high = self.session.view_m
        self.go(self.session.pan(position_m - (low + high) / 2))
