"""Milliseconds a frame: compose and paint, 8 strips with ground and 500 findings, 1920 x 1080, software.

Run: python -m tests.bench.bench_paint [--frames N]. Beside it, in the same run and frame by frame in turn,
the peer: plain pyqtgraph with its own down-sampling, one paint a frame, the same 13 series in 8 plots
with grids, without ground, findings or notices. And ours once more with bands of uncertainty. Prints the median and the 95th percentile of the
processor time of the thread, which other work on the machine disturbs least, and the ratio.
"""

import argparse
import os
import time
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from PySide6.QtGui import QImage

    from tests.support.scenes import InventedSource

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

STRIPS = ("penetration", "thrust", "torque", "fpi", "energy", "reaction", "disc_load", "head_speed")


def test_frames() -> None:
    race(40)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=40)
    race(parser.parse_args().frames)


def race(frames: int) -> None:
    """Pan through a 20 km drive at four lengths of view, so many frames each."""
    from PySide6.QtGui import QImage, QPainter
    from PySide6.QtWidgets import QApplication

    from tbmreview.paint.painter import paint_plan
    from tbmreview.paint.typeface import load_fonts
    from tbmreview.scene.compose import compose
    from tbmreview.scene.look import PX
    from tbmreview.scene.session import open_session
    from tests.support.scenes import InventedSource

    _application = QApplication.instance() or QApplication([])
    load_fonts()
    source = InventedSource(20_000.0, finding_count=500)
    image = QImage(1920, 1080, QImage.Format.Format_RGB32)
    peer = Peer(source)
    for length in (20_400.0, 5_000.0, 1_000.0, 100.0):
        times = []
        for i in range(frames + 3):
            view = (3_000.0 + i, 3_000.0 + i + length)
            session = open_session(source, STRIPS).show(*view)
            took = []
            for band in (False, True):
                start = time.thread_time()
                plan = compose(source, session.with_band(band), (1920 * PX, 1080 * PX))
                took.append(time.thread_time() - start)
                with QPainter(image) as painter:
                    painter.scale(1 / PX, 1 / PX)
                    paint_plan(painter, plan)
                took.append(time.thread_time() - start)
            start = time.thread_time()
            peer.paint(image, view)
            times.append((*took, time.thread_time() - start))
        half, most = np.quantile(np.array(times[3:]) * 1000, (0.5, 0.95), axis=0)
        words = ("compose", "with paint", "band: compose", "with paint", "peer")
        said = "  ".join(f"{w} {h:.1f} p95 {m:.1f} ms" for w, h, m in zip(words, half, most, strict=True))
        print(
            f"{length:7.0f} m: {said}  peer/ours {half[4] / half[1]:.1f}, band/none {half[3] / half[1]:.2f}"
        )


class Peer:
    """The same series as a plain pyqtgraph scene."""

    def __init__(self, source: "InventedSource") -> None:
        import pyqtgraph as pg

        from tbmreview.scene.strips import BY_NAME

        pg.setConfigOptions(background="w", foreground="k", antialias=False)
        self._view = pg.GraphicsLayoutWidget()
        self._view.resize(1920, 1080)
        table = source.profile(1.0)
        middle = (table["position_from_m"] + table["position_to_m"]) / 2
        self._plots = []
        for row, name in enumerate(STRIPS):
            plot = self._view.addPlot(row=row, col=0)
            plot.showGrid(x=True, y=True)
            plot.setDownsampling(auto=True, mode="peak")
            plot.setClipToView(True)
            for series in BY_NAME[name].series:
                plot.plot(middle, table[series.column], pen=pg.mkPen("b", width=1))
            plot.disableAutoRange()
            self._plots.append(plot)
        self._view.show()

    def paint(self, image: "QImage", view: tuple[float, float]) -> None:
        """One frame of a view."""
        from PySide6.QtGui import QPainter

        for plot in self._plots:
            plot.setXRange(*view, padding=0)
        with QPainter(image) as painter:
            self._view.render(painter)


if __name__ == "__main__":
    main()
