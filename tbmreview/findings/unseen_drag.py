"""Load that torque does not show: a drag that no stroke showed looks like load, and so like harder ground.

Torque of the discs follows their load and the root of penetration (rolling force at half the contact arc, for
penetrations small against the disc), whatever drags on the shield.
"""

from collections.abc import Mapping

import numpy as np

from tbmreview.findings.detector import Profile, Rows

LEAST_PENETRATION = 1.0  # mm/rev: below it a machine pushes against what is not the face
LEAST_SHARE = 0.5  # of the change of FPI, in logs, that torque must show too


def ratio_by_torque(inside: Mapping[str, float], beside: Mapping[str, float]) -> float:
    """FPI inside over that beside, with the load that torque shows; NaN where torque is not known."""
    torque = (
        "torque_kNm" if np.isnan(inside["net_torque_kNm"] + beside["net_torque_kNm"]) else "net_torque_kNm"
    )
    torques, penetrations = (
        inside[name] / beside[name] if beside[name] > 0 and inside[name] > 0 else np.nan
        for name in (torque, "penetration_mm_rev")
    )
    return float(torques / np.sqrt(penetrations) / penetrations)


def is_drag(
    profile: Profile, rows: Rows, ratio: float, inside: Mapping[str, float], beside: Mapping[str, float]
) -> bool:
    """Whether ground that seems harder by a ratio of FPI may be a drag that was not seen: no stroke of the rows
    showed its own drag, and the head hardly advanced or torque shows less than half of the change."""
    if not ratio > 1 or np.any(profile.rows["drag_seen"][rows]):
        return False
    shown = ratio_by_torque(inside, beside)
    hardly = inside["penetration_mm_rev"] < LEAST_PENETRATION
    return bool(hardly or (np.isfinite(shown) and np.log(shown) < LEAST_SHARE * np.log(ratio)))
