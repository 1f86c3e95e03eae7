"""Ground is not judged by a channel that is at fault: hours in which one is stuck, dead, in another unit or out of
range are left out of what rests on it."""

from collections.abc import Sequence

import numpy as np

from tbmreview.domain.findings import Finding
from tbmreview.findings.channel_health import DEAD, STUCK
from tbmreview.findings.detector import Profile
from tbmreview.findings.health import SERIES
from tbmreview.findings.law_health import UNIT
from tbmreview.findings.level_health import RANGE

AT_FAULT = (STUCK, DEAD, UNIT, RANGE)  # a drift or a law that fails does not say which channel, or from when


def trusted(profile: Profile, faults: Sequence[Finding], channels: Sequence[str]) -> Profile:
    """The profile without rows bored while one of the channels was at fault, as findings of the data say."""
    numbers = {float(SERIES.index(name)) for name in channels}
    spans = [
        (f.start_us, f.end_us) for f in faults if f.kind in AT_FAULT and f.figures.get("series") in numbers
    ]
    start, end = profile.rows["start_us"], profile.rows["end_us"]
    doubtful = np.zeros(len(profile.rows), bool)
    for first, last in spans:
        doubtful |= (start <= last) & (end >= first)
    return profile.of_rows(~doubtful) if np.any(doubtful) else profile
