"""Rate of penetration from what the head's power can cut: Rostami, Ozdemir and Neil 1994."""

import numpy as np

from tbmreview.indicators.models.inputs import BORE
from tbmreview.indicators.models.quantities import PENETRATION_RATE
from tbmreview.indicators.models.record import BORED, MEMORY, STATED, Input, Model
from tbmreview.indicators.record import Floats

HEAD_POWER = Input("head_power_kW", "kW", "power at the head as bored", BORED)
CUTTING_ENERGY = Input(
    "cutting_energy_kWh_m3", "kWh/m3", "specific energy at the best ratio of spacing to penetration", STATED
)
POWER_SHARE = Input("power_share", "", "k: share of the power that cuts", STATED, 0.8, 0.9)


def cutting_rate_m3_h(power_share: Floats, head_power_kW: Floats, cutting_energy_kWh_m3: Floats) -> Floats:
    """NCR = k P / SE, (n,) [m3/h of rock in place]."""
    return power_share * head_power_kW / cutting_energy_kWh_m3


def penetration_rate_m_h(
    bore_diameter_m: Floats, power_share: Floats, head_power_kW: Floats, cutting_energy_kWh_m3: Floats
) -> Floats:
    """The cutting rate over the face, (n,) [m/h]."""
    return cutting_rate_m3_h(power_share, head_power_kW, cutting_energy_kWh_m3) / (
        np.pi / 4 * bore_diameter_m**2
    )


ROSTAMI_1994 = Model(
    "rostami-1994",
    "Rostami, Ozdemir and Neil 1994, rate that the head's power can cut",
    "cutting_rate",
    PENETRATION_RATE,
    (BORE, POWER_SHARE, HEAD_POWER, CUTTING_ENERGY),
    penetration_rate_m_h,
    "Rostami, Ozdemir and Neil 1994",
    MEMORY,
    "energy from a linear cutting test; a ratio below 1 is the ground's share of idle torque, wear and fines",
)
