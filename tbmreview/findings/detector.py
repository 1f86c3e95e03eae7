"""What a detector is: a record in the registry and a pure function from a profile to findings."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.findings import Finding
from tbmreview.domain.setup import FindingSettings
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Profile:
    """The drive as detectors see it: a row for each 0.1 m step and reaction, without stroke ends.

    rows: position_from_m, position_to_m [m], start_us, end_us [us UTC], reaction (states.Reaction),
    advance_m, drag_seen (whether a stroke itself showed its drag) and every indicator, sorted by
    their middle. over: the same indicators of the sums of the
    rows that a mask (n,) names; a figure over several rows is never a mean of theirs.
    """

    rows: Table
    over: Callable[[Flags], Mapping[str, float]]
    axis: Axis


@dataclass(frozen=True, slots=True)
class Detector:
    """name, the kinds of findings it makes, what it compares, its thresholds (keys of [findings])."""

    name: str
    kinds: tuple[str, ...]
    what: str
    settings: tuple[str, ...]
    function: Callable[[Profile, FindingSettings], list[Finding]]
