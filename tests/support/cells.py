"""Small invented cell tables, and a drive made of tables, for tests above `motion`."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.findings import Finding
from tbmreview.domain.ground import empty_ground
from tbmreview.domain.marks import Mark
from tbmreview.domain.overrules import Overrule
from tbmreview.domain.samples import Samples
from tbmreview.domain.setup import DriveFacts, FindingSettings, Machine, Setup, ShiftPlan
from tbmreview.domain.shifts import shifts_covering
from tbmreview.domain.site import DELAYS, empty_site_table, site_column
from tbmreview.domain.states import Phase, PushingSet, Reaction, State
from tbmreview.domain.station import Axis
from tbmreview.domain.sums import ADD, SUMS
from tbmreview.domain.table import Table
from tbmreview.motion.stroke_table import STROKE_COLUMNS
from tbmreview.store.catalogue import GroundEntry

HOUR_US = 3_600_000_000
START_US = 1_900_000_000_000_000  # 2030-03-17T17:46:40Z

MACHINE = Machine(
    kind="double shield",
    bore_diameter_m=6.0,
    disc_count=40,
    disc_diameter_mm=483.0,
    no_load_torque_kNm=180.0,
    drag_kN=600.0,
    aux_drag_kN=2500.0,
)


def setup_of(
    *,
    start_m: float = 4180.0,
    direction: str = "increasing",
    machine: Machine = MACHINE,
    shifts: ShiftPlan | None = None,
    findings: FindingSettings | None = None,
    **drive: float,
) -> Setup:
    """A setup of an invented drive."""
    facts = DriveFacts("Larkfell, test drive", "Europe/Oslo", start_m, direction, **drive)
    plan = shifts or ShiftPlan(("06:00", "14:00", "22:00"), ("early", "late", "night"))
    return Setup(facts, machine, plan, findings=findings or FindingSettings())


def steady(
    axis: Axis,
    ends_m: tuple[float, float],
    *,
    thrust_kN: float = 10_000.0,
    torque_kNm: float = 1_500.0,
    rpm: float = 6.0,
    penetration_mm: float = 8.0,
    start_us: int = START_US,
    reaction: Reaction = Reaction.GRIPPERS,
) -> Table:
    """Boring at constant figures from one position to another, as cells of one stroke and one shift."""
    low, high = ends_m
    first, last = axis.step(np.array([low])), axis.step(np.array([high - 1e-6]))
    inner = axis.step_start_m(np.arange(first[0] + 1, last[0] + 1))
    edges = np.concatenate([[low], inner, [high]])
    advance = np.diff(edges)
    revolutions = advance * 1000 / penetration_mm
    seconds = revolutions / rpm * 60
    clock = start_us + np.rint(np.concatenate([[0.0], np.cumsum(seconds)]) * 1e6).astype(np.int64)
    sums = {
        "boring_s": seconds,
        "advance_m": advance,
        "unrecorded_advance_m": 0 * advance,
        "revolutions": revolutions,
        "turned_s": seconds,
        "turned_advance_m": advance,
        "thrust_kN_s": thrust_kN * seconds,
        "thrust_s": seconds,
        "thrust_work_kJ": thrust_kN * advance,
        "thrust_advance_m": advance,
        "torque_kNm_s": torque_kNm * seconds,
        "torque_s": seconds,
        "torque_work_kJ": torque_kNm * 2 * np.pi * revolutions,
        "torque_advance_m": advance,
        "torque_revolutions": revolutions,
        "torque_turned_s": seconds,
        "torque_kNm2_s": torque_kNm**2 * seconds,
        "torque_step_s": seconds,
        "penetration_mm_rev_s": penetration_mm * seconds,
        "penetration_mm2_rev2_s": penetration_mm**2 * seconds,
        "penetration_s": seconds,
        "penetration_step_s": seconds,
        "samples": seconds,
        "position_from_m": edges[:-1],
        "position_to_m": edges[1:],
        "start_us": clock[:-1],
        "end_us": clock[1:],
    }
    return _cells(sums, axis.step((edges[:-1] + edges[1:]) / 2), start_us, reaction)


def _cells(
    sums: Mapping[str, NDArray[np.generic]], step: NDArray[np.int64], start_us: int, reaction: Reaction
) -> Table:
    count = len(step)
    pushing = PushingSet.AUX if reaction == Reaction.RING else PushingSet.MAIN
    keys = {
        "stroke_start_us": np.full(count, start_us),
        "step": step,
        "shift_start_us": np.full(count, start_us),
        "pushing_set": np.full(count, pushing, np.int8),
        "reaction": np.full(count, reaction, np.int8),
        "phase": np.full(count, Phase.STEADY, np.int8),
    }
    empty = {s.name: np.full(count, 0.0 if s.merge == ADD else np.nan) for s in SUMS}
    return Table({**keys, **empty, **sums})


def without(cells: Table, *starts: str) -> Table:
    """The cells as if the channels whose sums begin so had not been logged."""
    gone = {s.name for s in SUMS if s.merge == ADD and s.name.startswith(starts)}
    return cells.with_columns({name: np.zeros(len(cells)) for name in gone})


def in_shifts(cells: Table, setup: Setup) -> Table:
    """The cells with the shift in which each begins."""
    bounds = shifts_covering(setup, int(cells["start_us"].min()), int(cells["start_us"].max()))
    return cells.with_columns({"shift_start_us": bounds.start_us[bounds.index(cells["start_us"])]})


def strokes_of(cells: Table, *, drag_kN: float = np.nan, drag_source: str = "") -> Table:
    """A stroke for each start in the cells, without figures of its own unless given."""
    starts = np.unique(cells["stroke_start_us"])
    nothing = {np.float64: np.nan, object: ""}
    columns = {name: np.full(len(starts), nothing.get(of, 0), of) for name, of, _, _ in STROKE_COLUMNS}
    return Table(columns).with_columns(
        {
            "stroke_start_us": starts,
            "drag_kN": np.full(len(starts), drag_kN),
            "drag_source": np.full(len(starts), drag_source, dtype=object),
        }
    )


def periods_of(*runs: tuple[State, int, int], metres: float = 0.0) -> Table:
    """Periods from (state, start_us, end_us); metres are advanced at one pace over those that bore."""
    bored = np.array([(end - start) * (state == State.BORING) for state, start, end in runs], np.float64)
    advance = metres * bored / max(bored.sum(), 1.0)
    return Table(
        {
            "state": np.array([state for state, _, _ in runs], np.int8),
            "start_us": np.array([start for _, start, _ in runs], np.int64),
            "end_us": np.array([end for _, _, end in runs], np.int64),
            "position_m": np.cumsum(advance) - advance,
            "advance_m": advance,
        }
    )


def delays_of(*rows: tuple[int, int, str]) -> dict[str, Table]:
    """A site's delays from (start_us, end_us, code)."""
    start, end, code = (list(column) for column in zip(*rows, strict=True))
    values = {"start_us": start, "end_us": end, "code": code, "note": [""] * len(rows)}
    return {DELAYS: Table({name: site_column(DELAYS, name, column) for name, column in values.items()})}


NO_RINGS = Table(
    {
        "ring": np.empty(0, np.int64),
        "position_from_m": np.empty(0),
        "position_to_m": np.empty(0),
        "nominal": np.empty(0, np.int8),
    }
)


@dataclass(frozen=True)
class TableDrive:
    """A drive made of tables in memory."""

    setup: Setup
    cells: Table
    strokes: Table
    periods: Table = field(default_factory=periods_of)
    rings: Table = NO_RINGS
    mapped: Table = field(default_factory=empty_ground)
    stored: tuple[Finding, ...] = ()
    folder: Path = Path("nowhere")
    highest: int = 0
    stated: Mapping[str, Table] = field(default_factory=dict)
    said: tuple[Overrule, ...] = ()
    drawn: tuple[Mark, ...] = ()

    @property
    def axis(self) -> Axis:
        return self.setup.drive.axis

    def ground(self, kind: str, name: str | None = None) -> Table:
        return self.mapped if kind == "mapped" else empty_ground()

    def ground_entries(self, kind: str) -> tuple[GroundEntry, ...]:
        return ()

    def marks(self) -> tuple[Mark, ...]:
        return self.drawn

    def stamped_again(self) -> Table:
        return Table({})

    def stored_findings(self, gone: bool = False) -> tuple[Finding, ...]:
        return () if gone else self.stored

    def site_table(self, kind: str) -> Table:
        return self.stated.get(kind, empty_site_table(kind))

    def overrules(self) -> tuple[Overrule, ...]:
        return self.said

    def days(self) -> dict[int, Any]:
        return {}

    def samples(self, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
        return Samples(np.empty(0, np.int64), {})

    def highest_finding(self) -> int:
        return max([self.highest, *(finding.number for finding in self.stored)])


def drive_of(setup: Setup, cells: Table, **more: object) -> TableDrive:
    """A drive of these cells; its strokes follow from them."""
    made = TableDrive(setup, cells, strokes_of(cells))
    return replace(made, **more)  # type: ignore[arg-type]


def ground_of(*intervals: tuple[float, float, str]) -> Table:
    """A ground table from (position from, to, rock)."""
    blank = empty_ground()
    count = len(intervals)
    columns = {
        n: np.full(count, "" if c.dtype == object else np.nan, c.dtype) for n, c in blank.columns.items()
    }
    columns["position_from_m"] = np.array([low for low, _, _ in intervals], np.float64)
    columns["position_to_m"] = np.array([high for _, high, _ in intervals], np.float64)
    columns["rock"] = np.array([rock for *_, rock in intervals], dtype=object)
    return Table(columns)
