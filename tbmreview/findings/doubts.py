"""Findings that rest on a reading which is itself doubtful say so."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from tbmreview.domain.findings import Finding
from tbmreview.findings.detector import DATA, DISCS, GROUND, MACHINE, MUCK, Detector
from tbmreview.findings.health import SERIES
from tbmreview.findings.moments import label

_CUTTING = ("thrust", "stroke", "torque", "speed", "penetration", "pressure")
# family -> words of the channels that its figures are made of
MADE_OF: Mapping[str, tuple[str, ...]] = {
    GROUND: _CUTTING,
    MACHINE: (*_CUTTING, "gripper"),
    MUCK: ("belt", "stroke"),
    DISCS: _CUTTING,
}
INFLOW, WATER = "inflow", ("water",)
MOST_TOLD = 3


def with_doubts(found: Sequence[Finding], detectors: Sequence[Detector]) -> list[Finding]:
    """The findings; to the evidence of one that overlaps in time a fault of a channel that it is made of, that is
    added."""
    family = {kind: detector.family for detector in detectors for kind in detector.kinds}
    faults = [f for f in found if family[f.kind] == DATA and "series" in f.figures]
    if not faults:
        return list(found)
    return [f if family[f.kind] == DATA else _doubted(f, family[f.kind], faults) for f in found]


def _doubted(finding: Finding, family: str, faults: Sequence[Finding]) -> Finding:
    words = WATER if finding.kind.startswith(INFLOW) else MADE_OF[family]
    told: dict[str, None] = {}
    for fault in faults:
        channel = SERIES[int(fault.figures["series"])]
        shared = fault.start_us < finding.end_us and finding.start_us < fault.end_us
        if shared and any(word in channel for word in words):
            told[f"{label(channel).lower()} ({fault.kind})"] = None
    if not told:
        return finding
    names = ", ".join(list(told)[:MOST_TOLD]) + (" and more" if len(told) > MOST_TOLD else "")
    doubt = f"Within this time readings are themselves in doubt: {names}."
    return replace(finding, evidence=f"{finding.evidence} {doubt}")
