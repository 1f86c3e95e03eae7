"""Muck on the belt scale against the rock bored, ring by ring: runs of rings beyond the tolerance to one side.

A balance indicates, it never proves; one within tolerance excludes no cavity. The flags are made where the balance is.
"""

import numpy as np

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.domain.table import Table
from tbmreview.findings.channel_health import runs
from tbmreview.findings.detector import MUCK, Detector, Profile
from tbmreview.findings.moments import between
from tbmreview.findings.words import stretch

SURPLUS, DEFICIT = "muck surplus", "muck deficit"
NEAR_M = 0.1  # rings that follow each other
HALF = 0.5  # of the usual length of so many rings: less is slivers between ring numbers
CAUTION = (
    "This indicates, it never proves, a void or loosened ground beside the tunnel; the scale, the density, water on the "
    "belt or muck held back before read alike, and a balance within tolerance excludes no cavity."
)
MUCK_CHECK = (
    "Look at the zero of the scale, at the muck of that time, and at what was pumped behind these rings."
)


def off_balance(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """A finding for each run of rings that the balance flags."""
    rows = profile.rings
    if not len(rows):
        return []
    flag, low, high = rows["flag"], rows["position_from_m"], rows["position_to_m"]
    begins = np.r_[True, (flag[1:] != flag[:-1]) | (np.abs(low[1:] - high[:-1]) > NEAR_M)]
    known = rows["surplus_pct"][np.isfinite(rows["surplus_pct"])]
    usual = float(np.median(known)) if len(known) else np.nan
    least_m = HALF * settings.muck_least_rings * float(np.median(high - low))
    found = []
    for first, last in runs(begins).tolist():
        part = rows.rows(slice(first, last + 1))
        if flag[first] and high[last] - low[first] >= least_m and _stands_out(part, usual, settings):
            found.append(_finding(profile, part, usual, settings))
    return found


def _stands_out(rings: Table, usual: float, settings: FindingSettings) -> bool:
    """Whether rings are beyond the tolerance of what is usual in the drive, too; where the drive itself is beyond it,
    the scale or the density is to be looked at, and all stands out."""
    share = 100 * (float(rings["belt_t"].sum()) / float(rings["bored_t"].sum()) - 1)
    tolerance = settings.muck_tolerance_percent
    return abs(usual) >= tolerance or abs(share - usual) >= tolerance


def _finding(profile: Profile, rings: Table, usual: float, settings: FindingSettings) -> Finding:
    belt, bored = float(rings["belt_t"].sum()), float(rings["bored_t"].sum())
    share = 100 * (belt / bored - 1)
    low, high = float(rings["position_from_m"][0]), float(rings["position_to_m"][-1])
    start, end = int(rings["start_utc"].min()), int(rings["end_utc"].max())
    built = "ring_source" in rings
    names = f"{rings['ring'][0]:.0f} to {rings['ring'][-1]:.0f}"
    length_m = float(np.median(rings["position_to_m"] - rings["position_from_m"]))
    which = f"in rings {names}" if built else f"in {len(rings)} stretches of {round(length_m, 2):g} m"
    text = (
        f"The belt scale saw {belt:.0f} t where {bored:.0f} t of rock were bored, {abs(share):.0f} % "
        f"{'more' if share > 0 else 'less'} ({belt - bored:+.0f} t), {which}, "
        f"{stretch(profile.axis, low, high)}, bored {between(profile, start, end)}. Each of them is more than "
        f"{settings.muck_tolerance_percent:g} % off; in the median of the drive it is {usual:+.0f} %. {CAUTION} {MUCK_CHECK}"
    )
    figures = {
        "belt_t": belt, "bored_t": bored, "surplus_t": belt - bored, "surplus_pct": share, "usual_surplus_pct": usual,
        "rings": float(len(rings)),
    }  # fmt: skip
    kind = SURPLUS if share > 0 else DEFICIT
    strength = abs(share) / settings.muck_tolerance_percent
    return Finding(kind, low, high, start, end, strength, text, figures)


MASS_BALANCE = Detector(
    "muck against rock bored",
    (SURPLUS, DEFICIT),
    "mass on the belt scale, later by its lag, against face area times advance times density, ring by ring; several rings in "
    "a row beyond the tolerance to one side",
    ("muck_tolerance_percent", "muck_least_rings"),
    off_balance,
    MUCK,
)
