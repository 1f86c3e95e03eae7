"""Specific energy, torque ratio and penetration off their local baselines.

They follow FPI in much, and tell of what FPI does not: torque. Windows and lengths are those of FPI. What a change
of load alone does to penetration is no finding.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.findings.beside import FEW_PLACES, Limits, Measure, Off, beside, mostly, off_both_sides
from tbmreview.findings.detector import OF_LOAD, OF_TORQUE, Detector, Floats, Profile
from tbmreview.findings.load_curve import by_load_of
from tbmreview.findings.of_rows import ends_m, over_rows
from tbmreview.findings.unseen_drag import is_drag
from tbmreview.findings.words import NO_CAUSE, against, reactions, stretch, times_beside

MORE_PUSH = 1.1  # gross load over that beside it, from which a low torque ratio may be drag as well
LEAST = 1e-3  # of each: below it a value is no measurement, and has no useful logarithm


@dataclass(frozen=True, slots=True)
class Index:
    """word: how it is called in a sentence; net, gross: its columns, gross also its name among the figures; unit,
    decimals; key: first words of its two thresholds; check: what to compare with."""

    word: str
    net: str
    gross: str
    unit: str
    decimals: int
    key: str
    check: str


ENERGY = Index(
    "specific energy",
    "net_specific_energy_MJ_m3",
    "specific_energy_MJ_m3",
    "MJ/m3",
    1,
    "energy",
    "face map and muck",
)
TORQUE_RATIO = Index(
    "torque ratio",
    "",
    "torque_ratio",
    "",
    2,
    "torque_ratio",
    "face map, muck in the head and discs",
)
PENETRATION = Index(
    "penetration",
    "",
    "penetration_mm_rev",
    "mm/rev",
    1,
    "penetration",
    "face map and muck",
)


def off_baseline(index: Index, profile: Profile, settings: FindingSettings) -> list[Finding]:
    """Intervals where the index is off its local baseline, along position."""
    if not len(profile.rows):
        return []
    offs = off_both_sides(profile, _measure(index, profile), _limits(index, settings))
    found = [_finding(index, profile, off, settings) for off in offs]
    return [finding for finding in found if finding is not None]


def _measure(index: Index, profile: Profile) -> Measure:
    rows = profile.rows
    if index is TORQUE_RATIO:
        return Measure(rows[index.gross], np.zeros(len(rows), bool), LEAST)
    if index is PENETRATION:  # needs no drag, so that any reaction will do to compare with
        return Measure(rows[index.gross], np.ones(len(rows), bool), LEAST)
    net = mostly(profile, np.isfinite(rows[index.net]))
    value: Floats = np.where(net, rows[index.net], rows[index.gross])
    return Measure(value, net, LEAST)


def _limits(index: Index, settings: FindingSettings) -> Limits:
    return Limits(
        settings.fpi_window_m,
        getattr(settings, f"{index.key}_factor"),
        getattr(settings, f"{index.key}_score"),
        settings.fpi_least_m,
        settings.fpi_bridge_m,
        settings.fpi_least_cells,
        FEW_PLACES,
    )


def _finding(index: Index, profile: Profile, off: Off, settings: FindingSettings) -> Finding | None:
    """The finding; None where load alone explains it, or a drag that was not seen."""
    inside = profile.over(off.given)
    around = profile.over(beside(profile, off, settings.fpi_window_m))
    figures = _figures(index, profile, off, inside, around)
    harder = 1 / figures["ratio"] if index is PENETRATION else figures["ratio"]
    if index is TORQUE_RATIO:
        more_push = figures["disc_load_kN"] > MORE_PUSH * figures["baseline_disc_load_kN"]
        not_ground = off.direction < 0 and more_push
    else:
        not_ground = _is_load(figures, settings) or is_drag(profile, off.rows, harder, inside, around)
    if not_ground:
        return None
    kind = f"{index.word} {'low' if off.direction < 0 else 'high'}"
    evidence = _evidence(index, profile, off, figures, settings)
    return over_rows(profile, kind, off.rows, figures["robust_deviations"], evidence, figures)


def _is_load(figures: dict[str, float], settings: FindingSettings) -> bool:
    alone = by_load_of(figures, settings)
    if alone is None:
        return False
    penetration = figures["penetration_mm_rev"] / figures["baseline_penetration_mm_rev"]
    return alone.explains(alone.load_ratio / penetration, settings.curve_tolerance)


def _figures(
    index: Index, profile: Profile, off: Off, inside: Mapping[str, float], around: Mapping[str, float]
) -> dict[str, float]:
    known = index is not TORQUE_RATIO and np.isfinite(inside["net_disc_load_kN"])  # its thrust is gross
    load = "net_disc_load_kN" if known else "disc_load_kN"
    value = inside[index.net if off.net and index.net else index.gross]
    low, high = ends_m(profile, off.rows)
    return {
        "torque_kNm": inside["torque_kNm"],
        "baseline_torque_kNm": around["torque_kNm"],
        "disc_load_kN": inside[load],
        "baseline_disc_load_kN": around[load],
        "penetration_mm_rev": inside["penetration_mm_rev"],
        "baseline_penetration_mm_rev": around["penetration_mm_rev"],
        index.gross: value,
        f"baseline_{index.gross}": off.level,
        "ratio": value / off.level,
        "robust_deviations": off.deviations(value, LEAST),
        "length_m": high - low,
    }


def _evidence(
    index: Index, profile: Profile, off: Off, figures: dict[str, float], settings: FindingSettings
) -> str:
    ends = ends_m(profile, off.rows)
    name = f"{'Net' if off.net else 'Gross'} {index.word}" if index.net else index.word.capitalize()
    value = f"{figures[index.gross]:.{index.decimals}f} {index.unit}".rstrip()
    level = f"{off.level:.{index.decimals}f}"
    others = [
        f"torque {against(figures, 'torque_kNm', 'kNm', 0)}",
        f"disc load {against(figures, 'disc_load_kN', 'kN', 0)}",
    ]
    if index is not PENETRATION:
        others.append(f"penetration {against(figures, 'penetration_mm_rev', 'mm/rev')}")
    listed = ", ".join(others)
    return " ".join(
        (
            f"{name} {value} {stretch(profile.axis, *ends)}: "
            f"{times_beside(off, figures['ratio'], level, settings.fpi_window_m)}.",
            f"{listed[0].upper()}{listed[1:]}.",
            reactions(profile, off),
            f"{NO_CAUSE} Compare with {index.check}.",
        )
    )


def _detector(index: Index, what: str) -> Detector:
    curve = ("curve_least_exponent", "curve_greatest_exponent", "curve_least_load_ratio", "curve_tolerance")
    return Detector(
        f"{index.word} off its local baseline",
        (f"{index.word} low", f"{index.word} high"),
        f"log of {what} against median and robust spread of the ground on either side"
        + (
            ", less what a change of load alone does" if index is not TORQUE_RATIO else ", same reaction only"
        ),
        (
            f"{index.key}_factor",
            f"{index.key}_score",
            "fpi_window_m",
            "fpi_least_m",
            "fpi_bridge_m",
            "fpi_least_cells",
            *(curve if index is not TORQUE_RATIO else ()),
        ),
        partial(off_baseline, index),
        channels=OF_LOAD if index is PENETRATION else OF_TORQUE,
    )


ENERGY_OFF_BASELINE = _detector(
    ENERGY, "net specific energy (gross where drag or no-load torque is not known)"
)
TORQUE_RATIO_OFF_BASELINE = _detector(TORQUE_RATIO, "torque ratio")
PENETRATION_OFF_BASELINE = _detector(PENETRATION, "penetration")
