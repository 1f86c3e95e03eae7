"""How the machine braces itself: grippers that lose pressure, and boring that goes over to the ring."""

import numpy as np

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.domain.setup import DOUBLE_SHIELD
from tbmreview.domain.states import Reaction
from tbmreview.findings.detector import MACHINE, Detector, Profile
from tbmreview.findings.of_rows import against_before, known
from tbmreview.findings.strokes_before import StrokeFigures, figures_of, runs_of_strokes, usual_before
from tbmreview.findings.words import against, stretch

LOSS, CHANGE = "loss of gripper bracing", "change to segment-reacted boring"
MOSTLY = 0.7  # of the strokes before: the reaction they had
BRIDGE = 2  # strokes that part no finding
BESIDE_M = 30.0
BESIDE = ("thrust_kN", "penetration_mm_rev", "head_speed_rpm")


def bracing(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """Strokes whose gripper pressure is below that of the strokes before, and runs of strokes that went over to the
    ring after boring off the grippers."""
    if not len(profile.strokes) or not len(profile.rows):
        return []
    strokes = figures_of(profile, settings.held_speed_mm_min)
    return [*_losses(profile, strokes, settings), *_changes(profile, strokes, settings)]


def _losses(profile: Profile, strokes: StrokeFigures, settings: FindingSettings) -> list[Finding]:
    braced = strokes.table["reaction"] == Reaction.GRIPPERS
    pressure = np.where(braced, strokes.gripper_bar, np.nan)
    lost, found = np.zeros(len(strokes), bool), []
    one_set = np.zeros(len(strokes), np.int8)
    for _ in range(settings.brace_window_strokes):
        usual = usual_before(
            pressure, one_set, lost, (settings.brace_window_strokes, settings.held_least_strokes)
        )
        with np.errstate(invalid="ignore"):
            now = lost | (usual.ratio(pressure) <= settings.brace_ratio)
        if np.array_equal(now, lost):
            break
        lost = now
    for first, last in runs_of_strokes(lost, BRIDGE):
        figures = {
            "gripper_pressure_bar": float(np.nanmedian(pressure[first : last + 1])),
            "baseline_gripper_pressure_bar": float(usual.median[first]),
        }
        figures["ratio"] = figures["gripper_pressure_bar"] / figures["baseline_gripper_pressure_bar"]
        words = (
            f"Gripper pressure {against(figures, 'gripper_pressure_bar', 'bar', 0)} in the strokes before, "
            f"{figures['ratio']:.2f} times, in {_strokes(first, last)} {{where}}. {{beside}} Whether the rock gave "
            "way, a cylinder leaked or the crew lowered it these figures do not tell: compare with the notes of the "
            "shift and the walls at the grippers."
        )
        found.append(_finding(LOSS, profile, strokes, (first, last), (1 / figures["ratio"], words, figures)))
    return found


def _changes(profile: Profile, strokes: StrokeFigures, settings: FindingSettings) -> list[Finding]:
    if profile.machine is None or profile.machine.kind != DOUBLE_SHIELD:
        return []
    reaction = strokes.table["reaction"]
    on_ring, found = reaction == Reaction.RING, []
    braced = np.r_[0, np.cumsum(reaction == Reaction.GRIPPERS)]
    for first, last in runs_of_strokes(on_ring, 0):
        since = max(first - settings.brace_window_strokes, 0)
        before = (braced[first] - braced[since]) / max(first - since, 1)
        few = first - since < settings.held_least_strokes or last + 1 - first < settings.brace_least_strokes
        if few or before < MOSTLY:
            continue
        figures = {"strokes": float(last + 1 - first), "gripper_reacted_share_before": float(before)}
        words = (
            f"Boring went over from the grippers to the ring for {_strokes(first, last)} {{where}}; of the "
            f"{first - since} strokes before, {100 * before:.0f} % were off the grippers. {{beside}} While the ring "
            "takes the thrust no ring is built beside boring, and thrust is drag of the whole machine too. Ask the "
            "shift why, and look at the last rings and at the rock at the grippers."
        )
        found.append(_finding(CHANGE, profile, strokes, (first, last), (figures["strokes"], words, figures)))
    return found


def _strokes(first: int, last: int) -> str:
    return "1 stroke" if first == last else f"{last + 1 - first} strokes"


def _finding(
    kind: str,
    profile: Profile,
    strokes: StrokeFigures,
    run: tuple[int, int],
    told: tuple[float, str, dict[str, float]],
) -> Finding:
    """told: strength; evidence with {where} and {beside}; figures."""
    table, (strength, words, figures) = strokes.table, told
    low, high = float(table["position_from_m"][run[0]]), float(table["position_to_m"][run[1]])
    figures |= against_before(profile, (low, high), BESIDE_M, BESIDE)
    beside = (
        f"Boring there: thrust {against(figures, 'thrust_kN', 'kN', 0)} in the {BESIDE_M:g} m before, penetration "
        f"{against(figures, 'penetration_mm_rev', 'mm/rev')}, head speed {against(figures, 'head_speed_rpm', 'rpm')}."
    )
    evidence = words.replace("{where}", stretch(profile.axis, low, high)).replace("{beside}", beside)
    return Finding(
        kind=kind,
        position_from_m=low,
        position_to_m=high,
        start_us=int(table["stroke_start_us"][run[0]]),
        end_us=int(table["stroke_end_us"][run[1]]),
        strength=strength,
        evidence=evidence,
        figures=known(figures),
    )


BRACING = Detector(
    "Bracing and reaction",
    (LOSS, CHANGE),
    "gripper pressure of each stroke against the strokes before; strokes that push off the ring after strokes that pushed "
    "off the grippers",
    ("brace_ratio", "brace_window_strokes", "brace_least_strokes", "held_least_strokes"),
    bracing,
    MACHINE,
    channels=("gripper_pressure_bar", "advance_speed_mm_min"),
)
