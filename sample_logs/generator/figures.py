"""Figures per ground and per day, to hold against what the trade expects."""

import pandas as pd

from .truth import Truth

COLUMNS = (
    "net_disc_load_kN", "penetration_mm_rev", "head_speed_rpm", "torque_kNm", "net_fpi_kN_per_mm_rev",
    "specific_energy_MJ_m3",
)  # fmt: skip
# Ranges of a stroke in each ground, in the order of COLUMNS (professional judgement, no source).
EXPECTED: dict[str, tuple[tuple[float, float], ...]] = {
    "quartzite, massive": ((250, 285), (3.5, 5), (7.5, 8), (1200, 1700), (50, 80), (48, 90)),
    "gneiss": ((200, 250), (6, 8), (7.5, 7.8), (1200, 1800), (25, 42), (30, 60)),
    "mica schist": ((130, 190), (8.5, 11), (6.5, 7.2), (1000, 1700), (12, 22), (18, 39)),
    "crushed gneiss": ((70, 100), (10, 13), (3.5, 4.5), (600, 1100), (5, 10), (10, 22)),
    "fault zone, throttled": ((35, 60), (6, 12), (2.5, 3.5), (400, 900), (3, 8), (8, 20)),
    "fault zone, squeezing": ((35, 60), (6, 12), (2.5, 3.5), (400, 900), (3, 8), (8, 20)),
}


def by_ground(truth: Truth) -> pd.DataFrame:
    """Each stroke with the rock that its whole advance lies in ('' where it crosses a boundary)."""
    out = truth.strokes.copy()
    start = truth.options.chainage_m
    low = (truth.ground["chainage_from_m"] - start).abs()
    high = (truth.ground["chainage_to_m"] - start).abs()
    out["rock"] = ""
    for a, b, rock in zip(low, high, truth.ground["rock"], strict=True):
        inside = (out["position_from_m"] >= a) & (out["position_from_m"] + out["advance_m"] <= b)
        out.loc[inside, "rock"] = rock
    return out


def figures(truth: Truth) -> str:
    """Least, median and greatest per ground against the expected range, and the days, as text."""
    strokes = by_ground(truth)
    lines = [f"{len(strokes)} strokes, {strokes['advance_m'].sum():.2f} m"]
    for rock, ranges in EXPECTED.items():
        rows = strokes[(strokes["rock"] == rock) & (strokes["advance_m"] > 1.2)]
        lines.append(f"{rock}: {len(rows)} strokes")
        if rows.empty:
            continue
        for name, (low, high) in zip(COLUMNS, ranges, strict=True):
            q = rows[name].quantile([0, 0.5, 1]).to_numpy()
            inside = rows[name].between(low, high).mean()
            lines.append(
                f"  {name:24s} {q[0]:8.1f} {q[1]:8.1f} {q[2]:8.1f}   expected {low:g} to {high:g}, {inside:.0%} in"
            )
    return "\n".join([*lines, truth.daily.to_string(float_format="{:.2f}".format)])
