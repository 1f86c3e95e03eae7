"""Ground is not judged by a channel that is at fault: hours in which one is stuck, dead, in another unit or out of
range are left out of what rests on it."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.findings import Finding
from tbmreview.findings.channel_health import DEAD, STUCK
from tbmreview.findings.detector import Flags, Profile
from tbmreview.findings.health import SERIES
from tbmreview.findings.law_health import UNIT
from tbmreview.findings.level_health import RANGE

Ints = NDArray[np.int64]
AT_FAULT = (STUCK, DEAD, UNIT, RANGE)  # a drift or a law that fails does not say which channel, or from when


def trusted(profile: Profile, faults: Sequence[Finding], channels: Sequence[str]) -> Profile:
    """The profile without rows bored while one of the channels was at fault, as findings of the data say, and with
    these times."""
    numbers = {float(SERIES.index(name)) for name in channels}
    spans = [
        (f.start_us, f.end_us) for f in faults if f.kind in AT_FAULT and f.figures.get("series") in numbers
    ]
    if not spans:
        return profile
    profile = replace(profile, at_fault_us=np.array(spans, np.int64))
    doubtful = within(profile.rows["start_us"], profile.rows["end_us"], profile.at_fault_us)
    return profile.of_rows(~doubtful) if np.any(doubtful) else profile


def within(start_us: Ints, end_us: Ints, spans_us: Ints) -> Flags:
    """Which intervals of time (n,) share an instant with one of the spans (k, 2)."""
    found = np.zeros(len(start_us), bool)
    for first, last in spans_us.tolist():
        found |= (start_us <= last) & (end_us >= first)
    return found
