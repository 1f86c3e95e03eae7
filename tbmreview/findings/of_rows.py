"""A finding over rows of a profile: where and when it is follows from them."""

from collections.abc import Mapping, Sequence

import numpy as np

from tbmreview.domain.findings import Finding
from tbmreview.findings.beside import middle_m
from tbmreview.findings.detector import Profile, Rows


def ends_m(profile: Profile, rows: Rows) -> tuple[float, float]:
    """From which position to which some rows reach [m]; at least one row."""
    low, high = (profile.rows[name][rows] for name in ("position_from_m", "position_to_m"))
    return float(low.min()), float(high.max())


def known(figures: Mapping[str, float]) -> dict[str, float]:
    """The figures that there are."""
    return {name: number for name, number in figures.items() if np.isfinite(number)}


def over_rows(
    profile: Profile, kind: str, rows: Rows, strength: float, evidence: str, figures: Mapping[str, float]
) -> Finding:
    """A finding from the first of its rows to the last, of which there is one or more."""
    low, high = ends_m(profile, rows)
    return Finding(
        kind=kind,
        position_from_m=low,
        position_to_m=high,
        start_us=int(profile.rows["start_us"][rows].min()),
        end_us=int(profile.rows["end_us"][rows].max()),
        strength=strength,
        evidence=evidence,
        figures=known(figures),
    )


def against_before(
    profile: Profile, ends: tuple[float, float], before_m: float, names: Sequence[str]
) -> dict[str, float]:
    """Figures of a stretch of the drive [m] and, as baseline_…, of the ground bored before it, within before_m."""
    middle, (low, high) = middle_m(profile), ends
    inside = profile.over((middle >= low) & (middle <= high))
    before = profile.over((middle < low) & (middle >= low - before_m))
    return {name: inside[name] for name in names} | {f"baseline_{name}": before[name] for name in names}
