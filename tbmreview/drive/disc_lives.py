"""The lives of discs: the changes that a site stated, laid over the boring of its drive.

Revolutions are those of boring. A change is laid between the cells before and after it: within 0.1 m of advance.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tbmreview.domain.setup import Machine
from tbmreview.domain.site import DISC_CHANGES
from tbmreview.domain.station import Axis
from tbmreview.domain.sums import group_sums
from tbmreview.domain.table import Column, Table
from tbmreview.drive.delays import Stated
from tbmreview.drive.reading import NO_TIME, Codes, Floats
from tbmreview.indicators.wear import bored_m3, rolling_km

_TURNED = ("revolutions", "turned_s", "turned_advance_m")
_READ = ("boring_s", "advance_m", *_TURNED, "position_from_m", "position_to_m", "start_us", "end_us")


@dataclass(frozen=True, slots=True)
class Lives:
    """The lives of discs, by position and time, (n,) each: disc, when it came in and out [us] (NO_TIME: the
    record's start, still in), change: row of the change that took it out (-1: still in); segment first <= s <
    last of the boring between the instants of all changes."""

    disc: Codes
    in_us: Codes
    out_us: Codes
    change: Codes
    first: Codes
    last: Codes


class DiscWork:
    """Disc changes laid over the boring of a drive."""

    def __init__(self, drive: Stated) -> None:
        self.drive = drive
        self.machine: Machine = drive.setup.machine
        cells = drive.cells
        self.cells = Table({name: cells[name] for name in _READ})
        self.changes, self.late, self.twice = _counted(drive)

    @cached_property
    def moments_us(self) -> Codes:
        """The instants at which any disc was changed, rising."""
        return np.unique(self.changes["time_us"])

    def segment(self, cells: Table) -> Codes:
        """The segment of boring, between two moments, in which each cell lies by its middle, (n,)."""
        middle = cells["start_us"] + (cells["end_us"] - cells["start_us"]) // 2
        number: Codes = np.searchsorted(self.moments_us, middle, side="right").astype(np.int64)
        return number

    @cached_property
    def sums(self) -> Table:
        """Sums of boring by segment; one more than moments."""
        return group_sums(self.cells, self.segment(self.cells), len(self.moments_us) + 1)

    @cached_property
    def radius_m(self) -> Floats:
        """Radius of each position's track, (discs,) [m]; NaN where not given."""
        radii = self.machine.disc_radii_m
        return np.array(radii, np.float64) if radii else np.full(self.machine.disc_count, np.nan)

    @cached_property
    def lives(self) -> Lives:
        """Every life, the first of a position from the record's start, the last still in."""
        rows: list[tuple[int, ...]] = []
        at = np.searchsorted(self.moments_us, self.changes["time_us"]) + 1
        end = len(self.moments_us) + 1
        start_us = int(self.cells["start_us"].min()) if len(self.cells) else NO_TIME
        for disc in range(1, self.machine.disc_count + 1):
            first, came_us = 0, NO_TIME
            for row in np.flatnonzero(self.changes["disc"] == disc).tolist():
                time_us = int(self.changes["time_us"][row])
                if time_us > start_us:  # an earlier one put in the first disc of the record
                    rows.append((disc, came_us, time_us, row, first, int(at[row])))
                first, came_us = int(at[row]), time_us
            rows.append((disc, came_us, NO_TIME, -1, first, end))
        return Lives(*np.array(rows, np.int64).reshape(-1, 6).T)

    def over(self, name: str, lives: Lives) -> Floats:
        """A sum over each life, (n,)."""
        total = np.concatenate([[0.0], np.cumsum(self.sums[name])])
        over: Floats = total[lives.last] - total[lives.first]
        return over

    def columns(self, lives: Lives) -> dict[str, Column]:
        """What each life did: revolutions (NaN where head speed was not measured), rolling_km, advance_m,
        bored_m3."""
        turned = self.over("turned_s", lives)
        none = (turned == 0) & (self.over("boring_s", lives) > 0)
        revolutions = np.where(none, np.nan, self.over("revolutions", lives))
        advance = self.over("advance_m", lives)
        return {
            "revolutions": revolutions,
            "rolling_km": rolling_km(self.radius_m[lives.disc - 1], revolutions),
            "advance_m": advance,
            "bored_m3": bored_m3(self.machine.bore_diameter_m, advance),
        }

    def chainage_m(self, axis: Axis, time_us: Codes) -> Floats:
        """Chainage of the face at moments of change, and at the start of the record for NO_TIME, (n,)."""
        reached = np.fmax.accumulate(self.sums["position_to_m"])
        begin = np.nanmin(self.sums["position_from_m"]) if len(self.cells) else np.nan
        before = np.nan_to_num(np.concatenate([[begin], reached]), nan=begin)
        at = np.where(time_us == NO_TIME, 0, np.searchsorted(self.moments_us, time_us) + 1)
        chainage: Floats = axis.chainage_m(before[at])
        return chainage


def _counted(drive: Stated) -> tuple[Table, int, int]:
    """(the changes that count, by time; how many lie after the record; how many were stated twice)."""
    stated = drive.site_table(DISC_CHANGES)
    rows = stated.rows(np.argsort(stated["time_us"], kind="stable"))
    cells = drive.cells
    end_us = int(drive.periods["end_us"].max()) if len(drive.periods) else 0
    end_us = max(end_us, int(cells["end_us"].max()) if len(cells) else 0)
    inside = rows["time_us"] <= end_us
    late = int(np.count_nonzero(~inside))
    rows = rows.rows(inside)
    keys = list(zip(rows["time_us"].tolist(), rows["disc"].tolist(), strict=True))
    first = {key: i for i, key in reversed(list(enumerate(keys)))}
    kept = np.array(sorted(first.values()), np.int64)
    return rows.rows(kept), late, len(keys) - len(kept)


def part(lives: Lives, rows: Column) -> Lives:
    """Some of the lives, by number or mask."""
    return Lives(*(getattr(lives, name)[rows] for name in Lives.__slots__))
