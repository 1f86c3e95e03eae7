"""Torque near what the head drive has installed."""

import numpy as np

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.findings.beside import LEAST_ADVANCE_M
from tbmreview.findings.detector import MACHINE, Detector, Profile
from tbmreview.findings.of_rows import ends_m, over_rows
from tbmreview.findings.runs import Run, runs_of
from tbmreview.findings.words import NO_CAUSE, stretch

NEAR = "torque near its limit"
BRIDGE_M = 0.5


def torque_near_limit(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """Intervals whose torque is near installed torque; none where that is not stated."""
    rows = profile.rows
    if not len(rows) or profile.machine is None or profile.machine.torque_installed_kNm is None:
        return []
    with np.errstate(invalid="ignore"):
        near = rows["torque_share_of_installed"] >= settings.limit_torque_share
    near &= rows["advance_m"] >= LEAST_ADVANCE_M
    runs = runs_of(near, rows["position_from_m"], rows["position_to_m"], BRIDGE_M, settings.limit_least_m)
    return [_finding(profile, run, profile.machine.torque_installed_kNm, settings) for run in runs]


def _finding(profile: Profile, run: Run, installed_kNm: float, settings: FindingSettings) -> Finding:
    mask = run.rows(len(profile.rows))
    inside, ends = profile.over(mask), ends_m(profile, mask)
    names = ("torque_kNm", "torque_share_of_installed", "head_speed_rpm", "penetration_mm_rev", "thrust_kN")
    figures = {name: inside[name] for name in (*names, "torque_spread_kNm")}
    figures["torque_installed_kNm"] = installed_kNm
    evidence = (
        f"Torque {figures['torque_kNm']:.0f} kNm, {100 * figures['torque_share_of_installed']:.0f} % of the "
        f"{installed_kNm:.0f} kNm installed, {stretch(profile.axis, *ends)}; its spread "
        f"{figures['torque_spread_kNm']:.0f} kNm. Head speed {figures['head_speed_rpm']:.1f} rpm, penetration "
        f"{figures['penetration_mm_rev']:.1f} mm/rev, thrust {figures['thrust_kN']:.0f} kN. Counted from "
        f"{100 * settings.limit_torque_share:.0f} %; installed torque may be less at this head speed than at the one its "
        f"maker gives it for. {NO_CAUSE} Compare with the face, muck in the head and the drives."
    )
    return over_rows(profile, NEAR, mask, figures["torque_share_of_installed"], evidence, figures)


TORQUE_LIMIT = Detector(
    "Torque near its limit",
    (NEAR,),
    "torque against the installed torque that drive.toml states",
    ("limit_torque_share", "limit_least_m"),
    torque_near_limit,
    MACHINE,
    channels=("torque_kNm",),
)
