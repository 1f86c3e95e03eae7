"""Findings held against what is so: which truths were found, which findings speak of something, and how far off."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.findings import Finding
from tbmreview.findings import DETECTORS
from tbmreview.findings.detector import DATA, GROUND, MACHINE, MUCK
from tests.support import invented_faults as faults
from tests.support import invented_ground as ground
from tests.support.study_drives import Case, Truth

ZONES = (ground.WEAK, ground.HARD, ground.MASSIVE)
SENSORS = (
    faults.STUCK, faults.DEAD, faults.RANGE, faults.UNIT, faults.CLOCK, faults.GAP, faults.DRIFT,
)  # fmt: skip
CONTRAST, EDGE_M, TIME_US, LEAST_BORED_M = 0.4, 1.5, 2 * faults.HOUR_US, 0.1
LOW = ("FPI low", "penetration high", "energy low")
HIGH = ("FPI high", "penetration low", "energy high", "massive", "load near limit")
STEP = ("step", "change of level", "change point")
# kind of truth -> (family, words of which a finding's kind holds one; none: any) that find it
FINDS: dict[str, tuple[str, tuple[str, ...]]] = {
    ground.WEAK: (GROUND, LOW),
    ground.HARD: (GROUND, HIGH),
    ground.MASSIVE: (GROUND, HIGH),
    ground.BLOCKY: (GROUND, ("blocky", "spread", "rough", "uneven")),
    ground.ROCK: (GROUND, STEP),
    ground.HELD: (MACHINE, ("held",)),
    ground.ON_RING: (MACHINE, ("ring", "segment", "bracing", "reaction")),
    ground.UNBRACED: (MACHINE, ("bracing", "gripper", "slip")),
    ground.WATER: (MUCK, ("water", "inflow")),
    ground.MUCK: (MUCK, ("muck", "mass", "balance", "excavat")),
    **dict.fromkeys(SENSORS, (DATA, ())),
}
# words of a finding's kind -> truths that it may speak of; the first that fits
SPEAKS: tuple[tuple[tuple[str, ...], tuple[str, ...]], ...] = (
    (STEP, (ground.ROCK, *ZONES, ground.BLOCKY)),
    (LOW, (ground.WEAK, ground.BLOCKY)),
    (HIGH, (ground.HARD, ground.MASSIVE, ground.BLOCKY)),
    (("held",), (ground.HELD,)),
    (("bracing", "segment", "gripper", "reaction", "slip"), (ground.UNBRACED, ground.ON_RING, ground.HELD)),
    (("torque near",), (*ZONES, ground.BLOCKY, ground.HELD)),
    (("water", "inflow"), (ground.WATER,)),
    (("muck", "mass", "balance", "excavat"), (ground.MUCK,)),
)
FAMILY = {kind: detector.family for detector in DETECTORS for kind in detector.kinds}


@dataclass
class Tally:
    """Of one class of truths: how many, how many found; distances of boundaries [m]; strokes to the finding."""

    there: int = 0
    found: int = 0
    edges_m: list[float] = field(default_factory=list)
    strokes: list[float] = field(default_factory=list)


@dataclass
class Calls:
    """Of one kind of findings: those that speak of what is so, those that lie over another fault (of a sensor, or a
    held shield), those over nothing; in quiet drives."""

    right: int = 0
    other: int = 0
    wrong: int = 0
    quiet: int = 0


def classes_of(truth: Truth, case: Case) -> str:
    """The row of the table that a truth counts in; '' for what a crew does."""
    if truth.kind in ground.CREW:
        return ""
    if truth.kind not in ZONES:
        return truth.kind
    clear = abs(truth.contrast - 1) >= CONTRAST
    if not clear or (truth.kind == ground.WEAK) != (truth.contrast < 1):
        return f"{truth.kind}, contrast below 40 %"
    return (
        f"{truth.kind}, {'a diameter or longer' if truth.to_m - truth.from_m >= case.bore_m else 'shorter'}"
    )


def placed(
    truths: Iterable[Truth], time_us: NDArray[np.int64], position_m: NDArray[np.float64]
) -> list[Truth]:
    """The truths where the program has the face at their times: what is judged is the detectors, not the course.

    time_us, position_m: (n,) rising.
    """
    out = []
    for truth in truths:
        low, high = np.interp((truth.start_us, truth.end_us), time_us, position_m).tolist()
        out.append(Truth(truth.kind, low, high, truth.start_us, truth.end_us, truth.contrast, truth.channel))
    return out


def can_be_seen(truth: Truth, first_us: int) -> bool:
    """Whether the log shows it at all: one that begins later has no gap before it, and where nothing was bored a
    reading may stay the same, or be any multiple of nothing. truth: where it is so, not placed."""
    if truth.kind == faults.GAP:
        return truth.start_us >= first_us
    return truth.kind not in (faults.STUCK, faults.UNIT) or truth.to_m - truth.from_m >= LEAST_BORED_M


def finds(truth: Truth, found: Sequence[Finding]) -> list[Finding]:
    """The findings that find a truth."""
    family, words = FINDS.get(truth.kind, ("", ()))
    fitting = [f for f in found if FAMILY[f.kind] == family and (not words or _holds(f.kind, words))]
    if family == DATA:
        return [f for f in fitting if _same_time(f, truth) and _names(f, truth)]
    reach = 3.0 if truth.kind in (ground.ROCK, ground.HELD, ground.UNBRACED) else 0.0
    return [f for f in fitting if _over(f, truth, reach)]


def speaks(finding: Finding, truths: Sequence[Truth]) -> str:
    """'right' where a finding speaks of what is so, 'other' over another fault, else 'wrong'."""
    family = FAMILY[finding.kind]
    sensors = [t for t in truths if t.kind in SENSORS]
    if family == DATA:
        return "right" if any(_same_time(finding, t) for t in sensors) else "wrong"
    kinds = next(
        (kinds for words, kinds in SPEAKS if _holds(finding.kind, words)),
        (*ZONES, ground.BLOCKY, ground.HELD),
    )
    if any(t.kind in kinds and _over(finding, t, 3.0 if family == MACHINE else EDGE_M) for t in truths):
        return "right"
    others = [t for t in truths if t.kind in SENSORS or t.kind == ground.HELD]
    return "other" if any(_same_time(finding, t, 0) for t in others) else "wrong"


def groups_of(found: Sequence[Finding], family: str) -> list[list[Finding]]:
    """The findings of a family, those of one group together."""
    out: dict[str, list[Finding]] = {}
    for finding in found:
        if FAMILY[finding.kind] == family:
            out.setdefault(finding.group or finding.id or str(id(finding)), []).append(finding)
    return list(out.values())


def edges(truth: Truth, found: Sequence[Finding]) -> list[float]:
    """How far the boundaries of the finding that fits best are off [m]."""
    best = max(found, key=lambda f: min(f.position_to_m, truth.to_m) - max(f.position_from_m, truth.from_m))
    same = [f for f in found if f.kind == best.kind]
    low, high = min(f.position_from_m for f in same), max(f.position_to_m for f in same)
    if truth.kind == ground.ROCK:
        return [abs((best.position_from_m + best.position_to_m) / 2 - truth.from_m)]
    return [abs(low - truth.from_m), abs(high - truth.to_m)]


def _holds(kind: str, words: tuple[str, ...]) -> bool:
    return any(word.lower() in kind.lower() for word in words)


def _over(finding: Finding, truth: Truth, reach_m: float) -> bool:
    return finding.position_from_m <= truth.to_m + reach_m and finding.position_to_m >= truth.from_m - reach_m


def _same_time(finding: Finding, truth: Truth, reach_us: int = TIME_US) -> bool:
    return finding.start_us <= truth.end_us + reach_us and finding.end_us >= truth.start_us - reach_us


def _names(finding: Finding, truth: Truth) -> bool:
    """The finding's words name the channel."""
    name = truth.channel.partition(" [")[0].lower()
    told = f"{finding.kind} {finding.evidence}".lower()
    return all(word.rstrip(".") in told for word in name.split()[-1:])
