"""What spread and roughness of torque and penetration are made of: squares, and steps between samples.

Squares are about zero, a centre that is the same everywhere, so that they add. A step is the change from
the sample before, of the same stroke and without a gap; half its square, averaged, is the variance of what
changes from one sample to the next (for independent samples the variance itself).
"""

import numpy as np
from numpy.typing import NDArray

from tbmreview.motion.record import Record
from tbmreview.motion.signals import Flags, Floats, Ints, measured


def uneven(record: Record, boring: Flags, stroke_start_us: NDArray[np.int64], at: Ints) -> dict[str, Floats]:
    """What each boring sample `at` adds, (k,) each. boring, stroke_start_us: (n,) of all samples."""
    seconds = record.credit.credit_us[at] / 1e6
    before = np.maximum(at - 1, 0)
    goes_on = (at > 0) & boring[before] & (record.credit.gap_us[before] == 0)
    goes_on &= stroke_start_us[before] == stroke_start_us[at]
    torque, penetration = record.torque_kNm, sample_penetration(record)
    p = penetration[at]
    known = np.isfinite(p)
    torque_step, torque_step_s = _steps(torque, at, before, goes_on, seconds)
    p_step, p_step_s = _steps(penetration, at, before, goes_on, seconds)
    return {
        "torque_kNm2_s": measured(torque[at]) ** 2 * seconds,
        "torque_step_kNm2_s": torque_step,
        "torque_step_s": torque_step_s,
        "penetration_mm_rev_s": measured(p, known) * seconds,
        "penetration_s": measured(seconds, known),
        "penetration_mm2_rev2_s": measured(p, known) ** 2 * seconds,
        "penetration_step_mm2_rev2_s": p_step,
        "penetration_step_s": p_step_s,
    }


def sample_penetration(record: Record) -> Floats:
    """Penetration at each sample, (n,) [mm/rev]: as logged, else logged speed of advance over head speed;
    NaN where the log has neither (a stroke's steps between samples are noise) or the head stands."""
    logged = record.samples.get("penetration_mm_rev")
    if np.isfinite(logged).any() or record.rate_mm_min is None:
        return logged
    turning = record.speed_rpm > 0
    return np.where(turning, record.rate_mm_min, np.nan) / np.where(turning, record.speed_rpm, 1.0)


def _steps(x: Floats, at: Ints, before: Ints, goes_on: Flags, seconds: Floats) -> tuple[Floats, Floats]:
    step = np.where(goes_on, x[at] - x[before], np.nan)
    known = np.isfinite(step)
    return measured(step, known) ** 2 / 2 * seconds, measured(seconds, known)
