"""The window from start to end, in a process of its own: it opens, closes, exits 0 and says nothing."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tbmreview.domain.errors import TbmReviewError
from tbmreview.viewer.app import need_display

CODE = """
import sys
from pathlib import Path
from PySide6.QtCore import QTimer
from tests.support.drives import InventedDrive
from tbmreview.viewer import app

app.open_drive = lambda folder: InventedDrive()
timer = QTimer()
application = app.application()
tries = iter(range(300))
def close():
    window = next((w for w in application.topLevelWidgets() if w.isVisible()), None)
    if window is not None and window.picture.strips.plan is not None:
        timer.stop()
        window.close()
    elif next(tries, None) is None:
        application.exit(3)
timer.timeout.connect(close)
timer.start(100)
hooks = sys.excepthook
code = app.run(Path("invented"))
assert sys.excepthook is hooks
assert not [w for w in application.topLevelWidgets() if w.isVisible()]
sys.exit(code)
"""


def test_without_a_display_one_sentence_is_said_before_qt_ends_the_program(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(sys, "platform", "linux")
    with pytest.raises(TbmReviewError, match="no display"):
        need_display()
    monkeypatch.setenv("DISPLAY", ":0")
    need_display()


def test_it_runs_and_ends_cleanly() -> None:
    tests = Path(__file__).parents[1]
    environment = os.environ | {
        "PYTHONPATH": os.pathsep.join([str(tests), str(tests.parent)]),
        "QT_QPA_PLATFORM": "offscreen",
    }
    done = subprocess.run(
        [sys.executable, "-c", CODE], env=environment, capture_output=True, text=True, check=False, timeout=90
    )
    said = [line for line in done.stderr.splitlines() if "propagateSizeHints" not in line]
    assert (done.returncode, said) == (0, [])
