"""A pytest plug-in (``-p without_qt``) that puts Qt out of reach: importing it fails as if it were not there."""

import sys

for package in ("PySide6", "pyqtgraph"):
    sys.modules[package] = None  # type: ignore[assignment]
