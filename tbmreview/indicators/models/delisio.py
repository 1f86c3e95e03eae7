"""Blocky rock: Delisio, Zhao and Einstein 2013; Delisio and Zhao 2014."""

import numpy as np

from tbmreview.indicators.models.inputs import JV, UCS
from tbmreview.indicators.models.quantities import THRUST_INDEX
from tbmreview.indicators.models.record import MEMORY, Model
from tbmreview.indicators.record import Floats


def thrust_index_kN_per_m_mm_rev(jv_per_m3: Floats, ucs_MPa: Floats) -> Floats:
    """exp(6) Jv^-0.82 UCS^0.17, (n,) [kN/m/(mm/rev)]: thrust per metre of head diameter over penetration, *not*
    per disc. NaN without joints, which is no blocky rock."""
    return np.asarray(np.exp(6.0) * jv_per_m3**-0.82 * ucs_MPa**0.17)


DELISIO_ZHAO_2014 = Model(
    "delisio-zhao-2014",
    "Delisio and Zhao 2014, blocky rock",
    "delisio",
    THRUST_INDEX,
    (JV, UCS),
    thrust_index_kN_per_m_mm_rev,
    "Delisio, Zhao and Einstein 2013, TUST 33, 67-79; Delisio and Zhao 2014, TUST 43, 440-452",
    MEMORY,
    "blocky rock; 160 sections of one tunnel, two gripper machines",
)
