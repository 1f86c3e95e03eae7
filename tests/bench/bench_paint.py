"""Milliseconds a frame: compose and paint, 8 strips with ground and 500 findings, 1920 x 1080, software.

Run: python -m tests.bench.bench_paint [--frames N]. Prints the median and the 95th percentile of the
processor time of this thread (other work on the machine does not count) and of the clock.
"""

import argparse
import os
import time

import numpy as np

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

STRIPS = ("penetration", "thrust", "torque", "fpi", "energy", "reaction", "disc_load", "head_speed")


def main() -> None:
    """Pan and zoom through a 20 km drive at three lengths of view."""
    from PySide6.QtGui import QGuiApplication, QImage, QPainter

    from tbmreview.paint.painter import paint_plan
    from tbmreview.paint.typeface import load_fonts
    from tbmreview.scene.compose import compose
    from tbmreview.scene.look import PX
    from tbmreview.scene.session import open_session
    from tests.support.scenes import InventedSource

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=60)
    frames = parser.parse_args().frames
    _application = QGuiApplication([])
    load_fonts()
    source = InventedSource(20_000.0, finding_count=500)
    image = QImage(1920, 1080, QImage.Format.Format_RGB32)
    for length in (20_400.0, 5_000.0, 1_000.0, 100.0):
        times = []
        for i in range(frames + 3):
            session = open_session(source, STRIPS).show(3_000.0 + i, 3_000.0 + i + length)
            clock, spent = time.perf_counter(), time.thread_time()
            plan = compose(source, session, (1920 * PX, 1080 * PX))
            composed = time.thread_time() - spent
            with QPainter(image) as painter:
                painter.scale(1 / PX, 1 / PX)
                paint_plan(painter, plan)
            times.append((composed, time.thread_time() - spent, time.perf_counter() - clock))
        spread = np.quantile(np.array(times[3:]) * 1000, (0.5, 0.95), axis=0)
        words = zip(("compose", "both", "clock"), spread.T.tolist(), strict=True)
        said = "  ".join(f"{word} {half:5.1f} p95 {most:5.1f} ms" for word, (half, most) in words)
        print(f"{length:7.0f} m: {said}")


if __name__ == "__main__":
    main()
