"""Disc wear along a drive: which disc was changed when, what each position has done since, and what is due next.

Revolutions are those of boring. A change is laid between the cells before and after it: within 0.1 m of advance.
"""

import hashlib
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from tbmreview.domain.errors import UsageError
from tbmreview.domain.ground import MAPPED, OUTSIDE
from tbmreview.domain.setup import Machine
from tbmreview.domain.site import DISC_CHANGES
from tbmreview.domain.states import State
from tbmreview.domain.station import Axis
from tbmreview.domain.sums import group_sums
from tbmreview.domain.table import Column, Table
from tbmreview.drive.delays import Stated, texts
from tbmreview.drive.export import text_table
from tbmreview.drive.history import person
from tbmreview.drive.reading import NO_TIME, Codes, Floats
from tbmreview.drive.stored import StoredDrive
from tbmreview.drive.table import pieces_of
from tbmreview.indicators.record import ratio
from tbmreview.indicators.wear import (
    bored_m3,
    head_speed_at_rpm,
    life_shares,
    m3_per_mm,
    rolling_km,
    track_speed_m_min,
    usual_life_km,
    wear_rate_mm_km,
)
from tbmreview.ingest.site_table import read_disc_changes
from tbmreview.store.writing import writing

GROUPINGS = ("disc", "change", "ground")
NEXT = 5  # discs that are named as due next
LEAST_TURNED = 0.99  # of the boring time; less, and the missing revolutions are told
_TURNED = ("revolutions", "turned_s", "turned_advance_m")
_READ = ("boring_s", "advance_m", *_TURNED, "position_from_m", "position_to_m", "start_us", "end_us")


def import_disc_changes(folder: Path | str, file: Path | str, name: str | None = None) -> str:
    """Take a table of disc changes (time, disc, reason, wear, note) into a drive; says in lines what was done.

    name: of the table, by default the file's name without its suffix; it replaces the table of that name. The
    same content again changes nothing. SiteError names the file and the row that cannot be used.
    """
    folder, file = Path(folder), Path(file)
    drive = StoredDrive(folder)
    table = read_disc_changes(file, drive.setup.drive, drive.setup.machine.disc_count, drive.time_span_us)
    name = name or file.stem
    sha256 = hashlib.sha256(file.read_bytes()).hexdigest()
    known = [entry for entry in drive.site_entries(DISC_CHANGES) if entry.name == name]
    if known and known[-1].source_sha256 == sha256:
        return f"disc changes '{name}': in the drive already, nothing changed"
    with writing(folder, person()) as work:
        work.add_site_table(DISC_CHANGES, name, (file.name, sha256), table)
        work.record(DISC_CHANGES, {"name": name, "file": file.name, "changes": len(table)})
    told = [f"disc changes '{name}': {len(table)} at {len(np.unique(table['disc']))} positions"]
    others = [f"'{entry.name}'" for entry in drive.site_entries(DISC_CHANGES) if entry.name != name]
    if others:
        told.append(f"note: they count beside {', '.join(others)}; --name NAME replaces a table")
    return "\n".join(told)


# --- lives --------------------------------------------------------------------------------------


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


class Work:
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


def _part(lives: Lives, rows: Column) -> Lives:
    return Lives(*(getattr(lives, name)[rows] for name in Lives.__slots__))


# --- tables -------------------------------------------------------------------------------------


def disc_table(drive: Stated, by: str = "disc") -> Table:
    """Discs by position, by change or by mapped ground. UsageError if `by` is none.

    disc: a row a position: disc, radius_m, installed_utc, installed_chainage_m (of the disc that is in);
    revolutions, rolling_km, advance_m, bored_m3 since; track_speed_m_min over that time; changes at the position,
    face_m3_per_disc and face_m3_per_mm, rock of the whole face over its discs that came out; limit_km and where it is from, used_share, left_m (advance
    until it is used up, at the way a metre took so far), due (1 is next).
    change: a row a disc that came out, by time: what it did, wear_mm, km_per_mm, face_m3_per_mm, reason, note.
    ground: a row an interval and one for outside: see ground_rows.
    """
    if by not in GROUPINGS:
        raise UsageError(f"--by {by}: expected one of {', '.join(GROUPINGS)}")
    work = Work(drive)
    return {"disc": disc_rows, "change": change_rows, "ground": ground_rows}[by](work)


def disc_rows(work: Work) -> Table:
    """The table by position; see disc_table."""
    lives, axis = work.lives, work.drive.axis
    now = _part(lives, np.flatnonzero(lives.change < 0))
    did = work.columns(now)
    limit, source = _limits(work)
    used = ratio(did["rolling_km"], limit)
    speed_rpm = 60 * ratio(did["revolutions"], work.over("turned_s", now))
    per_m = ratio(
        work.sums["revolutions"].sum(keepdims=True), work.sums["turned_advance_m"].sum(keepdims=True)
    )
    left = ratio(limit - did["rolling_km"], rolling_km(work.radius_m, per_m))
    order = np.argsort(np.where(np.isnan(used), np.inf, -used), kind="stable")
    due = np.empty(len(used))
    due[order] = np.arange(1, len(used) + 1)
    return Table(
        {
            "disc": now.disc.astype(np.float64),
            "radius_m": work.radius_m,
            "installed_utc": now.in_us,
            "installed_chainage_m": work.chainage_m(axis, now.in_us),
            **did,
            "track_speed_m_min": track_speed_m_min(work.radius_m, speed_rpm),
            **_consumed(work),
            "limit_km": limit,
            "limit_source": source,
            "used_share": used,
            "left_m": left,
            "due": np.where(np.isnan(used), np.nan, due),
        }
    )


def _consumed(work: Work) -> dict[str, Column]:
    """By position: changes, rock bored over the changed discs, and over their wear where it is known."""
    lives, count = work.lives, work.machine.disc_count
    ended = _part(lives, np.flatnonzero(lives.change >= 0))
    wear, volume = work.changes["wear_mm"][ended.change], work.columns(ended)["bored_m3"]
    position, known = ended.disc - 1, np.isfinite(wear)
    changes = np.bincount(position, minlength=count).astype(np.float64)
    whole, weighed, worn = np.zeros((3, count))
    np.add.at(whole, position, volume)
    np.add.at(weighed, position[known], volume[known])
    np.add.at(worn, position[known], wear[known])
    return {
        "changes": changes,
        "face_m3_per_disc": ratio(whole, changes),
        "face_m3_per_mm": m3_per_mm(weighed, worn),
    }


def _limits(work: Work) -> tuple[Floats, Column]:
    """(limit of each position [km], where it is from, (discs,)): the setup's way; else its wear over the wear
    rate of this drive; else the usual life on this drive; NaN and '' where none of them is known."""
    machine, lives, count = work.machine, work.lives, work.machine.disc_count
    if machine.disc_life_km is not None:
        return np.full(count, machine.disc_life_km), texts(["drive.toml"] * count)
    way, out = work.columns(lives)["rolling_km"], lives.change >= 0
    if machine.disc_wear_limit_mm is not None:
        rate, known = wear_rate_mm_km(way[out], work.changes["wear_mm"][lives.change[out]])
        if rate > 0:
            source = f"drive.toml, {machine.disc_wear_limit_mm:g} mm, at the wear of {known} discs"
            return np.full(count, machine.disc_wear_limit_mm / rate), texts([source] * count)
    positions = np.arange(1.0, count + 1)
    median, of, own = usual_life_km(lives.disc.astype(np.float64), way, out, positions)
    sources = [
        "" if m != m else f"usual, {n:.0f} discs of {'this position' if o else 'all positions'}"
        for m, n, o in zip(median.tolist(), of.tolist(), own.tolist(), strict=True)
    ]
    return median, texts(sources)


def change_rows(work: Work) -> Table:
    """The table by change; see disc_table."""
    lives, axis = work.lives, work.drive.axis
    ended = _part(lives, np.flatnonzero(lives.change >= 0))
    ended = _part(ended, np.lexsort((ended.disc, ended.out_us)))
    did, changes = work.columns(ended), work.changes.rows(ended.change)
    return Table(
        {
            "disc": ended.disc.astype(np.float64),
            "radius_m": work.radius_m[ended.disc - 1],
            "installed_utc": ended.in_us,
            "installed_chainage_m": work.chainage_m(axis, ended.in_us),
            "changed_utc": ended.out_us,
            "changed_chainage_m": work.chainage_m(axis, ended.out_us),
            **did,
            "wear_mm": changes["wear_mm"],
            "km_per_mm": ratio(did["rolling_km"], changes["wear_mm"]),
            "face_m3_per_mm": m3_per_mm(did["bored_m3"], changes["wear_mm"]),
            "reason": changes["reason"],
            "note": changes["note"],
        }
    )


def ground_rows(work: Work) -> Table:
    """Life of discs by mapped interval, along the drive, and one row for what no interval covers.

    A disc that came out is shared out over the ground in which it rolled, by revolutions: discs_used adds up to
    the changes of the drive. changes: those made while the face stood there. m3_per_disc, km_per_disc, m3_per_mm
    count the boring of discs that came out only; those still in have not said yet how long they last.
    """
    ground = work.drive.ground(MAPPED)
    names = texts([*ground["rock"].tolist(), OUTSIDE])
    pieces, number = pieces_of(work.cells, ground["position_from_m"], ground["position_to_m"])
    count, lives = len(names), work.lives
    segments = len(work.moments_us) + 1
    cross = group_sums(pieces, number * segments + work.segment(pieces), count * segments)
    ended = _part(lives, np.flatnonzero(lives.change >= 0))
    turns, metres = (
        _by_life(cross[name].reshape(count, segments), ended) for name in ("revolutions", "advance_m")
    )
    wear = work.changes["wear_mm"][ended.change]
    known = np.isfinite(wear)
    shares = life_shares(turns)
    used, worn = shares.sum(axis=0), (np.where(known, wear, 0.0)[:, None] * shares).sum(axis=0)
    volume = bored_m3(work.machine.bore_diameter_m, metres) / work.machine.disc_count
    way = rolling_km(work.radius_m[ended.disc - 1][:, None], turns)
    sums = group_sums(pieces, number, count)
    rows = Table(
        {
            "ground": names,
            "position_from_m": sums["position_from_m"],
            "position_to_m": sums["position_to_m"],
            "chainage_from_m": work.drive.axis.chainage_m(sums["position_from_m"]),
            "chainage_to_m": work.drive.axis.chainage_m(sums["position_to_m"], ends=True),
            "advance_m": sums["advance_m"],
            "bored_m3": bored_m3(work.machine.bore_diameter_m, sums["advance_m"]),
            "changes": _changes_in(work, pieces, number, count),
            "discs_used": used,
            "wear_mm": worn if known.any() else np.full(count, np.nan),
            "m3_per_disc": ratio(volume.sum(axis=0), used),
            "km_per_disc": ratio(way.sum(axis=0), used),
            "m3_per_mm": m3_per_mm(volume[known].sum(axis=0), worn),
        }
    )
    kept = np.flatnonzero(sums["boring_s"] > 0)
    return rows.rows(kept[np.argsort(sums["position_from_m"][kept], kind="stable")])


def _by_life(cross: Floats, lives: Lives) -> Floats:
    """Sums by ground and segment, (g, s), as sums by life and ground, (n, g)."""
    total = np.concatenate([np.zeros((len(cross), 1)), np.cumsum(cross, axis=1)], axis=1)
    by_life: Floats = (total[:, lives.last] - total[:, lives.first]).T
    return by_life


def _changes_in(work: Work, pieces: Table, number: Codes, count: int) -> Floats:
    """Changes made while the face stood in each ground: in that of the last piece bored before, (count,)."""
    order = np.argsort(pieces["end_us"], kind="stable")
    out = work.lives.out_us[work.lives.change >= 0]
    before = np.searchsorted(pieces["end_us"][order], out, side="right") - 1
    of = number[order][np.maximum(before, 0)] if len(order) else np.zeros(0, np.int64)
    return np.bincount(of, minlength=count).astype(np.float64)


# --- in words -----------------------------------------------------------------------------------


def discs_text(drive: Stated, by: str) -> str:
    """The table for a terminal, and what is to be said of it."""
    rows = disc_table(drive, by)
    left = (
        ("position_from_m", "position_to_m", "bored_m3")
        if by == "ground"
        else ("track_speed_m_min", "bored_m3")
    )
    shown = [name for name in rows if name not in left]
    return "\n".join([text_table(rows, drive.setup.drive.zone, shown), *disc_says(drive)])


def disc_says(drive: Stated) -> list[str]:
    """In lines: what counts, what is left out, how fast the gauge runs, what is due next."""
    work = Work(drive)
    said = [*_count_says(work), *_turning_says(work), *_gauge_says(work), *_due_says(work)]
    return [
        *said,
        "Wear is measured in the head, by those permitted to enter it; nothing here says a disc is sound.",
    ]


def _count_says(work: Work) -> list[str]:
    said = []
    if not len(work.changes):
        said.append("no disc change is stated: tbmreview discs DRIVE FILE takes a table in")
    if np.any(work.lives.in_us == NO_TIME):
        said.append(
            "a disc without an earlier change counts from the start of the record, as if it was new then"
        )
    if work.late:
        said.append(f"{work.late} changes lie after the record and do not count yet")
    if work.twice:
        said.append(f"{work.twice} changes are stated twice and count once")
    if np.isnan(work.radius_m).all():
        said.append("rolling distances are missing: [machine] disc_radii_m is not in drive.toml")
    boring, turned = (float(work.sums[name].sum()) for name in ("boring_s", "turned_s"))
    if 0 < turned < LEAST_TURNED * boring:
        said.append(
            f"head speed is missing over {1 - turned / boring:.1%} of the boring time: revolutions and rolling "
            "distances are too low by about as much"
        )
    return said


def _turning_says(work: Work) -> list[str]:
    """What turning without boring adds, which is left out."""
    periods = work.drive.periods
    if "head_turning_s" not in periods:
        return []
    hours = {
        state: float(periods["head_turning_s"][periods["state"] == state].sum()) / 3600
        for state in (State.TURNING_FREE, State.TURNING_LOADED)
    }
    turned = float(work.sums["turned_s"].sum())
    share = 3600 * hours[State.TURNING_LOADED] / turned if turned > 0 else 0.0
    return [
        f"counted are the revolutions of boring. Left out: {hours[State.TURNING_FREE]:.1f} h turning free, discs off "
        f"the face, and {hours[State.TURNING_LOADED]:.1f} h turning loaded without advance, at the head speed of boring "
        f"{share:.1%} more"
    ]


def _gauge_says(work: Work) -> list[str]:
    """How fast the outermost disc runs, against the limit where one is given."""
    machine, cells = work.machine, work.cells
    known = not np.isnan(work.radius_m).all()
    radius = np.array([np.nanmax(work.radius_m) if known else machine.bore_diameter_m / 2])
    turned = float(cells["turned_s"].sum())
    if turned <= 0:
        return []
    mean = track_speed_m_min(radius, np.array([60 * cells["revolutions"].sum() / turned]))[0]
    said = f"gauge speed: {mean:.0f} m/min in the mean of boring, at {radius[0]:.3f} m"
    said += "" if known else " (half the bore)"
    limit = machine.gauge_speed_limit_m_min
    if limit is None:
        return [f"{said}; no limit is given ([machine] gauge_speed_limit_m_min)"]
    speed = track_speed_m_min(radius, 60 * ratio(cells["revolutions"], cells["turned_s"]))
    over = float(cells["turned_s"][np.nan_to_num(speed) > limit].sum()) / turned
    rpm = head_speed_at_rpm(radius, np.array([limit]))[0]
    return [f"{said}; over the limit of {limit:g} m/min, {rpm:.2f} rpm, for {over:.1%} of it"]


def _due_says(work: Work) -> list[str]:
    rows = disc_rows(work)
    known = np.flatnonzero(np.isfinite(rows["due"]))
    if not len(known):
        return [
            "what is due next is not known: state [machine] disc_life_km, or disc_radii_m and the changes, of which a "
            "usual life on this drive follows once three discs came out and most do not outlast them"
        ]
    first = known[np.argsort(rows["due"][known])][:NEXT]
    told = ", ".join(
        f"{rows['disc'][i]:.0f} ({rows['used_share'][i]:.0%} of {rows['limit_km'][i]:.0f} km)" for i in first
    )
    sources = dict.fromkeys(rows["limit_source"][first].tolist())
    return [f"due next: {told}; limit from: {'; '.join(sources)}"]
