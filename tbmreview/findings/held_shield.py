"""A shield that may be getting held: strokes at which several signs come together, told with their figures."""

from collections.abc import Iterator

import numpy as np

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.findings.detector import MACHINE, Detector, Flags, Floats, Profile
from tbmreview.findings.held import Sign, Signs, signs_of
from tbmreview.findings.held_words import WORDS, Most, most_of
from tbmreview.findings.of_rows import against_before, known
from tbmreview.findings.strokes_before import StrokeFigures, figures_of, runs_of_strokes
from tbmreview.findings.words import against, at_chainage, stretch

HELD = "shield may be getting held"
BRIDGE = 2  # strokes without enough signs that part no finding
BESIDE_M = 30.0  # of ground before it, for what else changed
DISAGREE = "Published cases disagree on whether thrust and torque rise or fall with a held shield, so no direction is a rule."
TELL = "In this review the signs are hours old: tell the shift and the engineer on duty now."


def held_shield(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """Runs of strokes whose signs together reach settings.held_least_signs, from the first stroke that had one."""
    if not len(profile.strokes) or not len(profile.rows):
        return []
    strokes = figures_of(profile, settings.held_speed_mm_min)
    signs = signs_of(strokes, settings)
    return [_finding(profile, strokes, signs, run, settings) for run in _runs(signs.held, signs.weight > 0)]


def _runs(held: Flags, signed: Flags) -> Iterator[tuple[int, int]]:
    """(first, last) strokes of each run of held ones, with the strokes beside it that have a sign too."""
    last = -1
    for first, stop in runs_of_strokes(held, BRIDGE):
        while first - 1 > last and signed[first - 1]:
            first -= 1
        while stop + 1 < len(signed) and signed[stop + 1]:
            stop += 1
        last = stop
        yield first, stop


def _finding(
    profile: Profile, strokes: StrokeFigures, signs: Signs, run: tuple[int, int], settings: FindingSettings
) -> Finding:
    table, (first, last) = strokes.table, run
    part = slice(first, last + 1)
    low, high = float(table["position_from_m"][first]), float(table["position_to_m"][last])
    shown = [(sign, most_of(strokes, sign, part)) for sign in signs.each if np.any(sign.weight[part])]
    beside, figures = _beside(profile, low, high)
    figures |= _figures(shown, table["position_from_m"])
    figures |= {"strokes": last + 1.0 - first, "signs": float(len(shown))}
    count = "One sign" if len(shown) == 1 else f"{len(shown)} signs"
    evidence = " ".join(
        (
            f"{count} of a shield that may be getting held in "
            f"{'1 stroke' if first == last else f'{last + 1 - first} strokes'} {stretch(profile.axis, low, high)}.",
            *_told(profile, shown, settings),
            *beside,
            *_not_measured(strokes, part),
            f"Each stroke was compared with up to {settings.held_window_strokes} of its set before it. {DISAGREE} {TELL}",
        )
    )
    return Finding(
        kind=HELD,
        position_from_m=low,
        position_to_m=high,
        start_us=int(table["stroke_start_us"][first]),
        end_us=int(table["stroke_end_us"][last]),
        strength=float(signs.weight[part].max()),
        evidence=evidence,
        figures=known(figures),
    )


def _told(profile: Profile, shown: list[tuple[Sign, Most]], settings: FindingSettings) -> Iterator[str]:
    for sign, most in shown:
        since = at_chainage(profile.axis, float(profile.strokes["position_from_m"][most.since]))
        yield f"{WORDS[sign.name](most, settings)}, since {since}."


def _figures(told: list[tuple[Sign, Most]], position_m: Floats) -> dict[str, float]:
    """Of each sign: its value, what is usual, and the position at which it was first there."""
    out: dict[str, float] = {}
    for sign, most in told:
        name = sign.name.replace(" ", "_")
        out |= {
            name: most.value,
            f"{name}_usual": most.usual,
            f"{name}_since_m": float(position_m[most.since]),
        }
    return out


def _beside(profile: Profile, low: float, high: float) -> tuple[list[str], dict[str, float]]:
    """What thrust, torque and speed did in it, against the ground before it; and the figures."""
    names = ("thrust_kN", "torque_kNm", "penetration_rate_m_h", "penetration_mm_rev")
    figures = against_before(profile, (low, high), BESIDE_M, names)
    if not np.isfinite(figures["thrust_kN"]):
        return [], figures
    ahead = f" in the {BESIDE_M:g} m before" if np.isfinite(figures["baseline_thrust_kN"]) else ""
    words = (
        f"Boring in it: thrust {against(figures, 'thrust_kN', 'kN', 0)}{ahead}, torque "
        f"{against(figures, 'torque_kNm', 'kNm', 0)}, penetration {against(figures, 'penetration_mm_rev', 'mm/rev')}, "
        f"{against(figures, 'penetration_rate_m_h', 'm/h', 2)}."
    )
    return [words], figures


def _not_measured(strokes: StrokeFigures, part: slice) -> Iterator[str]:
    """What could not be looked at."""
    missing = []
    if not np.isfinite(strokes.drag_kN[part]).any():
        missing.append("drag (no stroke showed its own)")
    if not np.isfinite(strokes.start_ratio[part]).any():
        missing.append("thrust to set off")
    if not np.isfinite(strokes.installed_share[part]).any():
        missing.append("installed thrust (not in drive.toml)")
    if missing:
        yield f"Not known here: {', '.join(missing)}."


HELD_SHIELD = Detector(
    "Shield that may be getting held",
    (HELD,),
    "drag, thrust to set off, force to regrip and torque behind thrust of each stroke against the strokes of its set "
    "before; thrust against installed thrust; time of turning loaded without advance and of creeping; told where "
    "several signs come together",
    (
        "held_window_strokes",
        "held_least_strokes",
        "held_ratio",
        "held_score",
        "held_rise",
        "held_start_ratio",
        "held_torque_drop",
        "held_installed_share",
        "held_still_min",
        "held_speed_mm_min",
        "held_least_signs",
    ),
    held_shield,
    MACHINE,
    channels=("main_thrust_kN", "aux_thrust_kN", "torque_kNm", "head_speed_rpm", "advance_speed_mm_min"),
)
