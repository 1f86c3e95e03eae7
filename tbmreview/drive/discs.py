"""Disc wear along a drive: which disc was changed when, what each position has done since, and what is due next."""

from pathlib import Path

import numpy as np

from tbmreview.domain.errors import UsageError
from tbmreview.domain.ground import MAPPED, OUTSIDE
from tbmreview.domain.site import DISC_CHANGES
from tbmreview.domain.sums import group_sums
from tbmreview.domain.table import Column, Table
from tbmreview.drive.delays import Stated, texts
from tbmreview.drive.disc_lives import DiscWork, Lives, part
from tbmreview.drive.reading import Codes, Floats
from tbmreview.drive.site_tables import keep_table
from tbmreview.drive.stored import StoredDrive
from tbmreview.drive.table import pieces_of
from tbmreview.drive.which_ground import which_ground
from tbmreview.indicators.record import ratio
from tbmreview.indicators.wear import (
    bored_m3,
    life_shares,
    m3_per_mm,
    rolling_km,
    track_speed_m_min,
    usual_life_km,
    wear_rate_mm_km,
)
from tbmreview.ingest.site_table import read_disc_changes

GROUPINGS = ("disc", "change", "ground")


def import_disc_changes(folder: Path | str, file: Path | str, name: str | None = None) -> str:
    """Take a table of disc changes (time, disc, reason, wear, note) into a drive; says in lines what was done.

    name: of the table, by default the file's name without its suffix; it replaces the table of that name. The
    same content again changes nothing. SiteError names the file and the row that cannot be used.
    """
    folder, file = Path(folder), Path(file)
    drive = StoredDrive(folder)
    table = read_disc_changes(file, drive.setup.drive, drive.setup.machine.disc_count, drive.time_span_us)
    told = f"{len(table)} at {len(np.unique(table['disc']))} positions"
    return keep_table(drive, DISC_CHANGES, (name, file), table, told)


def disc_table(drive: Stated, by: str = "disc", ground: str = MAPPED, name: str | None = None) -> Table:
    """Discs by position, by change or by ground. ground, name: kind and name of the ground table, by default what was
    mapped, the table imported last. UsageError if `by` or the kind is none; DriveError where no table has the name.

    disc: a row a position: disc, radius_m, installed_utc, installed_chainage_m (of the disc that is in);
    revolutions, rolling_km, advance_m, bored_m3 since; track_speed_m_min over that time; changes at the position,
    face_m3_per_disc and face_m3_per_mm, rock of the whole face over its discs that came out; limit_km and where it is from, used_share, left_m (advance
    until it is used up, at the way a metre took so far), due (1 is next).
    change: a row a disc that came out, by time: what it did, wear_mm, km_per_mm, face_m3_per_mm, reason, note.
    ground: a row an interval and one for outside: see ground_rows.
    """
    if by not in GROUPINGS:
        raise UsageError(f"--by {by}: expected one of {', '.join(GROUPINGS)}")
    work = DiscWork(drive)
    if by == "ground":
        return ground_rows(work, ground, name)
    return disc_rows(work) if by == "disc" else change_rows(work)


def disc_rows(work: DiscWork) -> Table:
    """The table by position; see disc_table."""
    lives, axis = work.lives, work.drive.axis
    now = part(lives, np.flatnonzero(lives.change < 0))
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


def _consumed(work: DiscWork) -> dict[str, Column]:
    """By position: changes, rock bored over the changed discs, and over their wear where it is known."""
    lives, count = work.lives, work.machine.disc_count
    ended = part(lives, np.flatnonzero(lives.change >= 0))
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


def _limits(work: DiscWork) -> tuple[Floats, Column]:
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


def change_rows(work: DiscWork) -> Table:
    """The table by change; see disc_table."""
    lives, axis = work.lives, work.drive.axis
    ended = part(lives, np.flatnonzero(lives.change >= 0))
    ended = part(ended, np.lexsort((ended.disc, ended.out_us)))
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


def ground_rows(work: DiscWork, kind: str = MAPPED, name: str | None = None) -> Table:
    """Life of discs by interval of a ground table, along the drive, and one row for what no interval covers.

    A disc that came out is shared out over the ground in which it rolled, by revolutions: discs_used adds up to
    the changes of the drive. changes: those made while the face stood there. m3_per_disc, km_per_disc, m3_per_mm
    count the boring of discs that came out only; those still in have not said yet how long they last. ground_kind,
    ground_name, ground_issued: which table, '' where nothing was mapped.
    """
    ground, which = work.drive.ground(kind, name), which_ground(work.drive, kind, name)
    names = texts([*ground["rock"].tolist(), OUTSIDE])
    pieces, number = pieces_of(work.cells, ground["position_from_m"], ground["position_to_m"])
    count, lives = len(names), work.lives
    segments = len(work.moments_us) + 1
    cross = group_sums(pieces, number * segments + work.segment(pieces), count * segments)
    ended = part(lives, np.flatnonzero(lives.change >= 0))
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
            **_bored(work, sums),
            "changes": _changes_in(work, pieces, number, count),
            "discs_used": used,
            "wear_mm": worn if known.any() else np.full(count, np.nan),
            "m3_per_disc": ratio(volume.sum(axis=0), used),
            "km_per_disc": ratio(way.sum(axis=0), used),
            "m3_per_mm": m3_per_mm(volume[known].sum(axis=0), worn),
            **{column: texts([text] * count) for column, text in which.items()},
        }
    )
    kept = np.flatnonzero(sums["boring_s"] > 0)
    return rows.rows(kept[np.argsort(sums["position_from_m"][kept], kind="stable")])


def _bored(work: DiscWork, sums: Table) -> dict[str, Column]:
    """Where the boring of sums lies, and how much it is."""
    low, high, axis = sums["position_from_m"], sums["position_to_m"], work.drive.axis
    return {
        "position_from_m": low,
        "position_to_m": high,
        "chainage_from_m": axis.chainage_m(low),
        "chainage_to_m": axis.chainage_m(high, ends=True),
        "advance_m": sums["advance_m"],
        "bored_m3": bored_m3(work.machine.bore_diameter_m, sums["advance_m"]),
    }


def _by_life(cross: Floats, lives: Lives) -> Floats:
    """Sums by ground and segment, (g, s), as sums by life and ground, (n, g)."""
    total = np.concatenate([np.zeros((len(cross), 1)), np.cumsum(cross, axis=1)], axis=1)
    by_life: Floats = (total[:, lives.last] - total[:, lives.first]).T
    return by_life


def _changes_in(work: DiscWork, pieces: Table, number: Codes, count: int) -> Floats:
    """Changes made while the face stood in each ground: in that of the last piece bored before, (count,)."""
    order = np.argsort(pieces["end_us"], kind="stable")
    out = work.lives.out_us[work.lives.change >= 0]
    before = np.searchsorted(pieces["end_us"][order], out, side="right") - 1
    of = number[order][np.maximum(before, 0)] if len(order) else np.zeros(0, np.int64)
    return np.bincount(of, minlength=count).astype(np.float64)
