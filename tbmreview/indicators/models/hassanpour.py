"""Field penetration index from strength and RQD: Hassanpour, Rostami and Zhao 2011."""

import numpy as np

from tbmreview.indicators.models.inputs import RQD, UCS
from tbmreview.indicators.models.quantities import FPI
from tbmreview.indicators.models.record import MEMORY, Model
from tbmreview.indicators.record import Floats


def fpi_kN_per_mm_rev(ucs_MPa: Floats, rqd_pct: Floats) -> Floats:
    """ln FPI = 0.008 UCS + 0.015 RQD + 1.384, (n,) [kN/(mm/rev)]."""
    return np.exp(0.008 * ucs_MPa + 0.015 * rqd_pct + 1.384)


HASSANPOUR_2011 = Model(
    "hassanpour-2011",
    "Hassanpour, Rostami and Zhao 2011",
    "hassanpour",
    FPI,
    (UCS, RQD),
    fpi_kN_per_mm_rev,
    "Hassanpour, Rostami and Zhao 2011, TUST 26, 595-603",
    MEMORY,
    "the ranges of its data are not known here",
)
