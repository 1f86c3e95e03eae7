"""Field penetration index from strength, RQD, joint condition and orientation: Khademi Hamidi et al. 2010."""

import numpy as np

from tbmreview.indicators.models.inputs import ANGLE, RQD, UCS
from tbmreview.indicators.models.quantities import FPI
from tbmreview.indicators.models.record import MEMORY, STATED, Input, Model
from tbmreview.indicators.record import Floats

JOINT_CONDITION = Input("joint_condition", "", "rating of joint condition as in RMR", STATED)


def fpi_kN_per_mm_rev(ucs_MPa: Floats, rqd_pct: Floats, joint_condition: Floats, angle_deg: Floats) -> Floats:
    """FPI = 4.161 + 0.091 UCS + 0.077 RQD + 0.117 Jc + 1.077 log10(alpha), (n,) [kN/(mm/rev)].

    NaN where the angle is not above 0.
    """
    return 4.161 + 0.091 * ucs_MPa + 0.077 * rqd_pct + 0.117 * joint_condition + 1.077 * np.log10(angle_deg)


KHADEMI_HAMIDI_2010 = Model(
    "khademi-hamidi-2010",
    "Khademi Hamidi et al. 2010",
    "khademi_hamidi",
    FPI,
    (UCS, RQD, JOINT_CONDITION, ANGLE),
    fpi_kN_per_mm_rev,
    "Khademi Hamidi et al. 2010, TUST 25, 333-345",
    MEMORY,
    "the ranges of its data are not known here",
)
