"""Starts the window and ends it cleanly."""

import os
import sys
from pathlib import Path

import pandas  # noqa: F401  # both must be imported on the main thread, before the first job does
import pyarrow  # noqa: F401
import shiboken6
from PySide6.QtCore import QSize
from PySide6.QtWidgets import QApplication

from tbmreview.domain.errors import TbmReviewError
from tbmreview.drive.opened import open_drive
from tbmreview.paint.typeface import load_fonts
from tbmreview.scene.of_drive import DriveSource
from tbmreview.viewer.faults import Faults
from tbmreview.viewer.look import dress
from tbmreview.viewer.window import MainWindow

FIRST_SIZE = QSize(1600, 950)
FRAME = QSize(8, 40)  # what a window manager may put around a window


def application() -> QApplication:
    """The running application, dressed; made when there is none. TbmReviewError without a display."""
    need_display()
    running = QApplication.instance()
    made = running if isinstance(running, QApplication) else QApplication([sys.argv[0] or "tbmreview"])
    made.setApplicationName("tbmreview")
    dress(made, load_fonts())
    return made


def run(folder: Path) -> int:
    """Open the window on a drive folder and stay until it is closed; the exit code.

    Errors of opening are raised (TbmReviewError) before a window is shown.
    """
    source = DriveSource(open_drive(folder))
    app = application()
    faults = Faults()
    faults.install()
    window = MainWindow(source)
    faults.met.connect(window.refuse)
    try:
        window.resize(_first_size(window))
        window.show()
        return app.exec()
    finally:
        faults.remove()
        window.close()
        shiboken6.delete(window)


def _first_size(window: MainWindow) -> QSize:
    """As large as is good to read, with room for the frame on a screen that is smaller."""
    free = window.screen().availableGeometry().size()
    return FIRST_SIZE.boundedTo(QSize(free.width() - FRAME.width(), free.height() - FRAME.height()))


def need_display() -> None:
    """Qt ends the whole program where it finds no display: say so before."""
    named = ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")
    if sys.platform.startswith("linux") and not any(os.environ.get(name) for name in named):
        raise TbmReviewError(
            "there is no display to open a window on; without one, use tbmreview table, findings and sheet"
        )
