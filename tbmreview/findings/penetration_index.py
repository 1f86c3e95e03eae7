"""FPI off its local baseline: ground that bores much more easily, or much harder, than around it.

Net FPI where drag is known for most of what was bored with a reaction, since gross FPI of a held shield rises in
soft ground; else gross, and then with the same reaction only. A zone between two change points counts as a whole, so that long ones
are found too, of which each place is like one of its sides. What a change of load alone does is no
finding, nor what a drag does that no stroke showed.
"""

from collections.abc import Mapping

import numpy as np

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.findings.beside import Limits, Off, beside, off_both_sides
from tbmreview.findings.detector import OF_LOAD, Detector, Profile
from tbmreview.findings.levels import GROSS, LEAST_FPI, NET, Unlike, fpi, fpi_levels, zones
from tbmreview.findings.load_curve import ByLoad, by_load_of
from tbmreview.findings.of_rows import ends_m, over_rows
from tbmreview.findings.unseen_drag import is_drag
from tbmreview.findings.words import NO_CAUSE, against, reactions, stretch, times_beside

LOW, HIGH = "FPI low", "FPI high"


def off_baseline(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """Intervals where FPI is off its local baseline by settings.fpi_ratio and fpi_score, along position."""
    if not len(profile.rows):
        return []
    measure = fpi(profile)
    series = fpi_levels(profile, settings)
    contrast = settings.zone_contrast
    unlike = Unlike(1 + contrast, 1 / (1 - contrast), settings.fpi_score)
    between = [] if series is None else zones(series, unlike, settings)
    offs = off_both_sides(profile, measure, _limits(settings), between)
    found = [_finding(profile, off, settings) for off in offs]
    return [finding for finding in found if finding is not None]


def _limits(settings: FindingSettings) -> Limits:
    return Limits(
        settings.fpi_window_m,
        settings.fpi_ratio,
        settings.fpi_score,
        settings.fpi_least_m,
        settings.fpi_bridge_m,
        settings.fpi_least_cells,
    )


def _finding(profile: Profile, off: Off, settings: FindingSettings) -> Finding | None:
    """The finding; None where load alone explains it, or a drag that was not seen."""
    inside = profile.over(off.given)
    around = profile.over(beside(profile, off, settings.fpi_window_m))
    figures = _figures(profile, off, inside, around)
    if is_drag(profile, off.rows, figures["ratio"], inside, around):
        return None
    load = by_load_of(figures, settings)
    if load is not None and load.explains(figures["ratio"], settings.curve_tolerance):
        return None
    strength = figures["robust_deviations"]
    if load is not None:
        figures |= {"load_ratio": load.load_ratio, "ratio_beyond_load": load.left_over(figures["ratio"])}
        strength = min(strength, abs(float(np.log(figures["ratio_beyond_load"]))) / off.spread)
    kind, evidence = LOW if off.direction < 0 else HIGH, _evidence(profile, off, figures, load, settings)
    return over_rows(profile, kind, off.rows, strength, evidence, figures)


def _figures(
    profile: Profile, off: Off, inside: Mapping[str, float], around: Mapping[str, float]
) -> dict[str, float]:
    value, level, load = (
        inside[NET if off.net else GROSS],
        off.level,
        "net_disc_load_kN" if off.net else "disc_load_kN",
    )
    low, high = ends_m(profile, off.rows)
    return {
        "fpi_kN_per_mm_rev": value,
        "baseline_fpi_kN_per_mm_rev": level,
        "ratio": value / level,
        "robust_deviations": off.deviations(value, LEAST_FPI),
        "length_m": high - low,
        "penetration_mm_rev": inside["penetration_mm_rev"],
        "baseline_penetration_mm_rev": around["penetration_mm_rev"],
        "disc_load_kN": inside[load],
        "baseline_disc_load_kN": around[load],
        "gross_fpi_kN_per_mm_rev": inside[GROSS],
        "baseline_gross_fpi_kN_per_mm_rev": around[GROSS],
        "drag_kN": inside["thrust_kN"] - inside["net_thrust_kN"],
        "baseline_drag_kN": around["thrust_kN"] - around["net_thrust_kN"],
        "thrust_kN": inside["thrust_kN"],
    }


def _evidence(
    profile: Profile, off: Off, figures: dict[str, float], load: ByLoad | None, settings: FindingSettings
) -> str:
    rows, kind = profile.rows, "Net" if off.net else "Gross"
    ends = ends_m(profile, off.rows)
    level = f"{figures['baseline_fpi_kN_per_mm_rev']:.1f}"
    return " ".join(
        part
        for part in (
            f"{kind} FPI {figures['fpi_kN_per_mm_rev']:.1f} kN/(mm/rev) {stretch(profile.axis, *ends)}: "
            f"{times_beside(off, figures['ratio'], level, settings.fpi_window_m)}.",
            f"Penetration {against(figures, 'penetration_mm_rev', 'mm/rev')}, "
            f"{'net disc load' if off.net else 'disc load'} {against(figures, 'disc_load_kN', 'kN', 0)}.",
            "" if load is None else load.words(),
            _drag_words(off, figures, bool(np.any(rows["drag_seen"][off.rows]))),
            reactions(profile, off),
            f"{NO_CAUSE} Compare with face map, muck and water.",
        )
        if part
    )


def _drag_words(off: Off, figures: dict[str, float], measured: bool) -> str:
    if not off.net:
        return "Drag is not known, so thrust is gross: a held shield would raise this FPI."
    gross = against(figures, "gross_fpi_kN_per_mm_rev", "kN/(mm/rev)")
    drag = against(figures, "drag_kN", "kN", 0)
    words = f"Drag {drag}, in a thrust of {figures['thrust_kN']:.0f} kN; gross FPI {gross}."
    if not measured:
        words += " No stroke here showed its own drag: if the shield was held, net FPI is lower than this."
    if figures["drag_kN"] >= figures["thrust_kN"]:
        words += " The drag figure is above the thrust here, so net FPI is below zero."
    return words


FPI_OFF_BASELINE = Detector(
    "FPI off its local baseline",
    (LOW, HIGH),
    "log of net FPI (gross where drag is not known) against median and robust spread of the ground on either side, "
    "less what a change of load alone does, and a drag that no stroke showed where torque speaks for it",
    (
        "fpi_window_m",
        "fpi_ratio",
        "fpi_score",
        "fpi_least_m",
        "fpi_bridge_m",
        "fpi_least_cells",
        "zone_contrast",
        "zone_longest_m",
        "step_penalty",
        "curve_least_exponent",
        "curve_greatest_exponent",
        "curve_least_load_ratio",
        "curve_tolerance",
    ),
    off_baseline,
    channels=OF_LOAD,
)
