"""The face as torque and load show it: uneven torque; load near its limit at little penetration.

Of steady boring only: the rows leave out loading and unloading.
"""

import numpy as np

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.findings.beside import (
    FEW_PLACES,
    LEAST_ADVANCE_M,
    Limits,
    Measure,
    Off,
    beside,
    middle_m,
    off_both_sides,
)
from tbmreview.findings.detector import OF_LOAD, OF_TORQUE, Detector, Flags, Floats, Profile
from tbmreview.findings.levels import GROSS, Unlike, levels, zones
from tbmreview.findings.of_rows import ends_m, over_rows
from tbmreview.findings.runs import runs_of
from tbmreview.findings.unseen_drag import is_drag
from tbmreview.findings.words import NO_CAUSE, against, reactions, stretch, times_beside

BLOCKY, MASSIVE = "torque spread high", "disc load near limit"
LEAST_SPREAD = 1e-3  # of the mean: below it is the resolution of a torque reading


def uneven_torque(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """Intervals where torque varies within a cell far more than around, and more than a share of its mean."""
    rows = profile.rows
    if not len(rows):
        return []
    torque = np.where(rows["torque_kNm"] > 0, rows["torque_kNm"], np.nan)
    share: Floats = rows["torque_spread_kNm"] / torque
    measure = Measure(share, np.ones(len(rows), bool), LEAST_SPREAD)
    limits = Limits(
        settings.fpi_window_m,
        settings.blocky_factor,
        settings.blocky_score,
        settings.fpi_least_m,
        settings.fpi_bridge_m,
        settings.fpi_least_cells,
        FEW_PLACES,
    )
    series = levels(profile, measure, settings)
    unlike = Unlike(settings.blocky_factor, np.inf, settings.blocky_score)
    between = [] if series is None else zones(series, unlike, settings)
    offs = [off for off in off_both_sides(profile, measure, limits, between) if off.direction > 0]
    return [
        _uneven(profile, off, share, settings)
        for off in offs
        if np.nanmedian(share[off.rows]) >= settings.blocky_spread
    ]


def _uneven(profile: Profile, off: Off, share: Floats, settings: FindingSettings) -> Finding:
    inside, around = profile.over(off.given), profile.over(beside(profile, off, settings.fpi_window_m))
    typical = float(np.nanmedian(share[off.rows]))
    figures = {
        "torque_spread_share": typical,
        "baseline_torque_spread_share": off.level,
        "ratio": typical / off.level,
        "robust_deviations": off.deviations(typical, LEAST_SPREAD),
        "torque_roughness_kNm": inside["torque_roughness_kNm"],
        "baseline_torque_roughness_kNm": around["torque_roughness_kNm"],
        "torque_kNm": inside["torque_kNm"],
        "baseline_torque_kNm": around["torque_kNm"],
        "penetration_mm_rev": inside["penetration_mm_rev"],
        "baseline_penetration_mm_rev": around["penetration_mm_rev"],
    }
    ends = ends_m(profile, off.rows)
    times = times_beside(off, figures["ratio"], f"{100 * off.level:.0f} %", settings.fpi_window_m)
    evidence = " ".join(
        (
            f"Torque varies by {100 * typical:.0f} % of its mean within a decimetre "
            f"{stretch(profile.axis, *ends)}: {times}.",
            f"From sample to sample {against(figures, 'torque_roughness_kNm', 'kNm', 0)}, mean torque "
            f"{against(figures, 'torque_kNm', 'kNm', 0)}, penetration "
            f"{against(figures, 'penetration_mm_rev', 'mm/rev')}.",
            reactions(profile, off),
            f"{NO_CAUSE} Compare with block size at the face, muck and the discs.",
        )
    )
    return over_rows(profile, BLOCKY, off.rows, figures["robust_deviations"], evidence, figures)


def load_near_limit(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """Intervals where net disc load is near its limit and penetration low. None without a limit."""
    rows, machine = profile.rows, profile.machine
    if not len(rows) or machine is None or machine.disc_load_limit_kN is None:
        return []
    limit = machine.disc_load_limit_kN
    load = np.where(np.isfinite(rows["net_disc_load_kN"]), rows["net_disc_load_kN"], rows["disc_load_kN"])
    near = (load >= settings.massive_load_share * limit) & (rows["advance_m"] >= LEAST_ADVANCE_M)
    near &= rows["penetration_mm_rev"] <= settings.massive_penetration_mm_rev
    low, high = rows["position_from_m"], rows["position_to_m"]
    runs = runs_of(near, low, high, settings.fpi_bridge_m, settings.massive_least_m)
    found = [_near_limit(profile, run.rows(len(rows)) & near, limit, settings) for run in runs]
    return [finding for finding in found if finding is not None]


def _near_limit(profile: Profile, rows: Flags, limit: float, settings: FindingSettings) -> Finding | None:
    """The finding; None where a drag that was not seen may be the load."""
    inside, around = profile.over(rows), profile.over(_around(profile, rows, settings.fpi_window_m))
    if is_drag(profile, rows, inside[GROSS] / around[GROSS], inside, around):
        return None
    net = bool(np.isfinite(inside["net_disc_load_kN"]))
    load = inside["net_disc_load_kN" if net else "disc_load_kN"]
    ends = ends_m(profile, rows)
    figures = {
        "disc_load_kN": load,
        "disc_load_limit_kN": limit,
        "load_share": load / limit,
        "penetration_mm_rev": inside["penetration_mm_rev"],
        "head_speed_rpm": inside["head_speed_rpm"],
        "torque_spread_kNm": inside["torque_spread_kNm"],
    }
    evidence = (
        f"{'Net disc' if net else 'Disc'} load {load:.0f} kN, {100 * load / limit:.0f} % of the {limit:.0f} kN that a "
        f"disc may carry, at {figures['penetration_mm_rev']:.1f} mm/rev {stretch(profile.axis, *ends)}. "
        f"Counted from {100 * settings.massive_load_share:.0f} % of the limit and up to "
        f"{settings.massive_penetration_mm_rev:g} mm/rev. {'' if net else 'Drag is not known, so load is gross. '}"
        f"{NO_CAUSE} Compare with joint spacing and strength at the face, and with the discs."
    )
    strength = load / limit * settings.massive_penetration_mm_rev / figures["penetration_mm_rev"]
    return over_rows(profile, MASSIVE, rows, strength, evidence, figures)


def _around(profile: Profile, rows: Flags, window_m: float) -> Flags:
    """Rows (n,) within a window of some rows on either side."""
    middle = middle_m(profile)
    low, high = middle[rows].min(), middle[rows].max()
    near: Flags = (middle >= low - window_m) & (middle <= high + window_m) & ~rows
    return near


BLOCKY_FACE = Detector(
    "Blocky face",
    (BLOCKY,),
    "spread of torque within a decimetre, as a share of its mean, against the ground on either side and a least share",
    (
        "blocky_spread",
        "blocky_factor",
        "blocky_score",
        "zone_longest_m",
        "step_penalty",
        "fpi_window_m",
        "fpi_least_m",
        "fpi_bridge_m",
        "fpi_least_cells",
    ),
    uneven_torque,
    channels=OF_TORQUE,
)
MASSIVE_GROUND = Detector(
    "Hard massive ground",
    (MASSIVE,),
    "net disc load against the discs' limit while penetration is low",
    ("massive_load_share", "massive_penetration_mm_rev", "massive_least_m", "fpi_bridge_m"),
    load_near_limit,
    channels=OF_LOAD,
)
