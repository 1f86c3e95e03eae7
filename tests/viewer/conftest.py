"""A window on an invented drive, as large as the smallest screen it is made for."""

import pytest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from tbmreview.paint.typeface import load_fonts
from tbmreview.scene.of_drive import DriveSource
from tbmreview.viewer.look import dress
from tbmreview.viewer.window import MainWindow
from tests.support.drives import InventedDrive


@pytest.fixture(scope="session")
def dressed(qapp: QApplication) -> None:
    dress(qapp, load_fonts())


@pytest.fixture
def window(qtbot: QtBot, dressed: None) -> MainWindow:
    made = MainWindow(DriveSource(InventedDrive()))
    qtbot.addWidget(made)
    made.resize(1366, 768)
    with qtbot.waitExposed(made):
        made.show()
    made.picture.draw()
    return made
