"""Fixtures of the whole tree. Qt runs offscreen; a test that shows a window leaves nothing behind."""

import os
import sys
import threading
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, settings

# A busy machine is slow; that is no fault of a test.
settings.register_profile("busy", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("busy")
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

QT_FIXTURES = {"qtbot", "qapp"}
EXPECTED_QT_MESSAGES: tuple[str, ...] = (
    # The offscreen platform has no screen to follow a window's hints on.
    "This plugin does not support propagateSizeHints()",
)


@pytest.fixture(autouse=True)
def qt_leaves_nothing_behind(request: pytest.FixtureRequest) -> Iterator[None]:
    """Fail a Qt test on a window or thread that outlives it, or on a message from Qt."""
    if not QT_FIXTURES & set(request.fixturenames):
        yield
        assert not _application_without_widgets(), "this test draws: let it ask for the fixture qapp"
        return
    from PySide6.QtWidgets import QApplication

    request.getfixturevalue("fonts")
    windows, threads = set(QApplication.topLevelWidgets()), set(threading.enumerate())
    yield
    left = [w for w in QApplication.topLevelWidgets() if w not in windows and w.isVisible()]
    assert not left, f"windows left open: {left}"
    alive = [t.name for t in threading.enumerate() if t not in threads]
    assert not alive, f"threads outlive the test: {alive}"
    log = getattr(request.node, "qt_log_capture", None)
    unexpected = [str(r) for r in (log.records if log else []) if not _expected(r.message)]
    assert not unexpected, f"unexpected messages from Qt: {unexpected}"


def _application_without_widgets() -> bool:
    """Whether a test made an application of its own, which those with widgets could not use."""
    core, widgets = sys.modules.get("PySide6.QtCore"), sys.modules.get("PySide6.QtWidgets")
    running = core.QCoreApplication.instance() if core else None
    return running is not None and not (widgets and isinstance(running, widgets.QApplication))


def _expected(message: str) -> bool:
    return any(text in message for text in EXPECTED_QT_MESSAGES)


@pytest.fixture(scope="session")
def fonts(qapp: object) -> None:
    """The bundled font, loaded once."""
    from tbmreview.paint.typeface import load_fonts

    load_fonts()
