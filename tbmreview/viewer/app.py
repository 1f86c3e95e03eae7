"""Starts the window and ends it cleanly."""

import sys
from pathlib import Path

import pandas  # noqa: F401  # both must be imported on the main thread, before the first job does
import pyarrow  # noqa: F401
import shiboken6
from PySide6.QtWidgets import QApplication

from tbmreview.drive.opened import open_drive
from tbmreview.paint.typeface import load_fonts
from tbmreview.scene.of_drive import DriveSource
from tbmreview.viewer.faults import Faults
from tbmreview.viewer.look import dress
from tbmreview.viewer.window import MainWindow

FIRST_SIZE = (1600, 950)


def application() -> QApplication:
    """The running application, dressed; made when there is none."""
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
        window.resize(*FIRST_SIZE)
        _fit_to_screen(window)
        window.show()
        return app.exec()
    finally:
        faults.remove()
        window.close()
        shiboken6.delete(window)


def _fit_to_screen(window: MainWindow) -> None:
    """Fill a screen that is smaller than the first size."""
    free = window.screen().availableGeometry()
    if free.width() < FIRST_SIZE[0] or free.height() < FIRST_SIZE[1]:
        window.showMaximized()
