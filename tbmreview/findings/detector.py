"""What a detector is: a record in the registry and a pure function from a profile to findings."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, tzinfo

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.domain.setup import Machine
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rows = Flags | NDArray[np.int64]  # some rows of a profile: a mask (n,), or their numbers (k,) rising


def numbers_of(rows: Rows) -> NDArray[np.int64]:
    """The numbers (k,) of some rows."""
    return np.flatnonzero(rows) if rows.dtype == np.bool_ else rows.astype(np.int64, copy=False)


GROUND, MACHINE, MUCK, DISCS, DATA = "ground", "machine", "muck and water", "discs", "data"
FAMILIES = (GROUND, MACHINE, MUCK, DISCS, DATA)


NOTHING = Table({})


def _nowhere(time_us: NDArray[np.int64]) -> Floats:
    return np.full(len(time_us), np.nan)


@dataclass(frozen=True, slots=True)
class Profile:
    """The drive as detectors see it.

    rows: a row for each 0.1 m step and reaction, without stroke ends: position_from_m, position_to_m [m],
    start_us, end_us [us UTC], reaction (states.Reaction), advance_m, drag_seen (whether a stroke itself showed
    its drag), gripper_pressure_bar (NaN: not measured) and every indicator, sorted by their middle. over: the
    same indicators of the sums of some rows (a mask, or their numbers); a figure over several rows is never a mean of
    theirs. strokes: motion's table of strokes as it is read (drag and no-load torque filled in where the log shows
    none), by time. periods: motion's periods. site: tables of domain.site by kind. bends_m: positions at which the
    axis begins or ends to curve. rings: mass balance ring by ring; water: inflow by stretch; worn: rolling distance
    of the discs; health: by series (a channel or a law of the machine, findings.health) what the samples of each
    hour say; stamped_again: rows of a log whose stamps it had before, file, line, time_us; ground: mapped intervals (domain.ground). Each of these has no rows where nothing is known.
    position_at: positions (n,) [m] of the face at instants (n,) [us UTC]. zone: of the site, for times in words.
    at_fault_us: (k, 2) from and to [us UTC] of times in which a channel that a detector rests on was at fault; the
    rows bored in them are left out.
    """

    rows: Table
    over: Callable[[Rows], Mapping[str, float]]
    axis: Axis
    machine: Machine | None = None
    strokes: Table = NOTHING
    periods: Table = NOTHING
    site: Mapping[str, Table] = field(default_factory=dict)
    bends_m: Floats = field(default_factory=lambda: np.empty(0))
    rings: Table = NOTHING
    water: Table = NOTHING
    worn: Table = NOTHING
    health: Mapping[str, Table] = field(default_factory=dict)
    stamped_again: Table = NOTHING
    ground: Table = NOTHING
    position_at: Callable[[NDArray[np.int64]], Floats] = _nowhere
    zone: tzinfo = UTC
    at_fault_us: NDArray[np.int64] = field(default_factory=lambda: np.empty((0, 2), np.int64))

    worked_out: dict[object, object] = field(default_factory=dict, init=False, repr=False, compare=False)
    """What a detector worked out of this profile, for others; a profile made from it begins anew."""

    def of_rows(self, kept: Flags) -> "Profile":
        """The same with some of its rows only, (n,)."""
        at = np.flatnonzero(kept)

        def over(rows: Rows) -> Mapping[str, float]:
            return self.over(at[rows])

        return replace(self, rows=self.rows.rows(at), over=over)


# Channels that disc load and penetration come from, and those that torque and energy need besides.
OF_LOAD = (
    "main_thrust_kN",
    "aux_thrust_kN",
    "main_pressure_bar",
    "aux_pressure_bar",
    "head_speed_rpm",
    "main_stroke_mm",
    "aux_stroke_mm",
)
OF_TORQUE = (*OF_LOAD, "torque_kNm")


@dataclass(frozen=True, slots=True)
class Detector:
    """name, the kinds of findings it makes, what it compares, its thresholds (keys of [findings]), its family; the
    channels it rests on: hours in which one of them is at fault are left out of what it is given."""

    name: str
    kinds: tuple[str, ...]
    what: str
    settings: tuple[str, ...]
    function: Callable[[Profile, FindingSettings], list[Finding]]
    family: str = GROUND
    channels: tuple[str, ...] = ()
