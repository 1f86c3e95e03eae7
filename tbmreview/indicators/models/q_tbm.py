"""Q_TBM, as illustration: Barton 2000. It was criticised for poor agreement; never a test of anything."""

import numpy as np

from tbmreview.indicators.models.inputs import CLI, DISC_LOAD, QUARTZ, UCS, Q
from tbmreview.indicators.models.quantities import PENETRATION_RATE
from tbmreview.indicators.models.record import MEMORY, STATED, Input, Model
from tbmreview.indicators.record import Floats

DENSITY = Input("density_t_m3", "t/m3", "density of the rock", STATED)
STRESS = Input("face_stress_MPa", "MPa", "biaxial stress in the face", STATED)
KN_PER_TF = 9.80665


def rock_mass_strength_MPa(density_t_m3: Floats, q: Floats, ucs_MPa: Floats) -> Floats:
    """SIGMA = 5 gamma Qc^(1/3), Qc = Q UCS / 100, (n,) [MPa]."""
    return 5 * density_t_m3 * np.cbrt(q * ucs_MPa / 100)


def q_tbm(
    q: Floats, strength_MPa: Floats, load_tf: Floats, conditions: tuple[Floats, Floats, Floats]
) -> Floats:
    """Q_TBM, (n,). load_tf: mean disc load in tonnes-force; conditions: cutter life index, quartz [%], stress in
    the face [MPa]."""
    life, quartz, stress = conditions
    return q * strength_MPa / (load_tf**10 / 20.0**9) * (20 / life) * (quartz / 20) * (stress / 5)


def rate_of_q_tbm_m_h(value: Floats) -> Floats:
    """PR = 5 Q_TBM^-0.2, (n,) [m/h]."""
    return 5 * np.asarray(value) ** -0.2


def penetration_rate_m_h(
    q: Floats,
    ucs_MPa: Floats,
    density_t_m3: Floats,
    disc_load_kN: Floats,
    *conditions: Floats,
) -> Floats:
    """Penetration rate from the ground and the disc load bored, (n,) [m/h]; conditions as in q_tbm. NaN for a load
    not above 0."""
    load = np.where(disc_load_kN > 0, disc_load_kN, np.nan) / KN_PER_TF
    life, quartz, stress = conditions
    strength = rock_mass_strength_MPa(density_t_m3, q, ucs_MPa)
    return rate_of_q_tbm_m_h(q_tbm(q, strength, load, (life, quartz, stress)))


Q_TBM = Model(
    "q-tbm",
    "Q_TBM, an illustration",
    "q_tbm",
    PENETRATION_RATE,
    (Q, UCS, DENSITY, DISC_LOAD, CLI, QUARTZ, STRESS),
    penetration_rate_m_h,
    "Barton 2000, TBM Tunnelling in Jointed and Faulted Rock",
    MEMORY,
    "illustration only: others found poor agreement; its Q takes RQD along the tunnel, the mapped Q may not",
)
