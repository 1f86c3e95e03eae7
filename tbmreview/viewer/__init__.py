"""The window: widgets, items, jobs. The only home of QtWidgets and pyqtgraph."""
