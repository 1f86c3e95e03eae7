"""A row of classes as it comes out of a grey printer: darker where less favourable, letters on it."""

from itertools import pairwise

import numpy as np
from PySide6.QtGui import QImage

from tbmreview.domain.table import Table
from tbmreview.paint.image import render
from tbmreview.scene.compose import compose
from tbmreview.scene.look import PX
from tbmreview.scene.session import open_session
from tests.support.scenes import InventedSource


class FiveClasses(InventedSource):
    """RMR from very good to very poor, 20 m each."""

    def _make_ground(self, kind: str, name: str) -> Table:
        table = super()._make_ground(kind, name).rows(np.zeros(5, np.int64))
        ends = np.arange(6) * 20.0
        rmr = {"rmr": np.array([90.0, 70.0, 50.0, 30.0, 10.0])}
        return table.with_columns({"position_from_m": ends[:-1], "position_to_m": ends[1:], **rmr})


def test_a_row_reads_on_a_grey_printer(qapp: object) -> None:
    source = FiveClasses(100.0)
    plan = compose(source, open_session(source), (1500 * PX, 700 * PX))
    image = render(plan).convertToFormat(QImage.Format.Format_Grayscale8)
    flat = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), image.bytesPerLine())
    row = next(r.box for r in plan.rows if r.name == "rmr_class")
    lines = slice(round(row.top / PX) + 2, round(row.bottom / PX) - 1)
    per_m = plan.plot.width / (plan.view_m[1] - plan.view_m[0])
    tones, darkest = [], []
    for start in np.arange(5) * 20.0:
        x = [round((plan.plot.left + (start + m - plan.view_m[0]) * per_m) / PX) for m in (1, 19)]
        piece = flat[lines, x[0] : x[1]]
        tones.append(float(np.median(piece)))
        darkest.append(int(piece.min()))
    assert all(lighter - darker >= 6 for lighter, darker in pairwise(tones))
    assert max(darkest) < 110  # letters stand in each
