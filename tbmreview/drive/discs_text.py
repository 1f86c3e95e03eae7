"""Disc wear in words: the tables for a terminal, what counts, what is left out, what is due next."""

import numpy as np

from tbmreview.domain.states import State
from tbmreview.domain.table import Table
from tbmreview.drive.delays import Stated
from tbmreview.drive.disc_lives import DiscWork
from tbmreview.drive.discs import disc_rows
from tbmreview.drive.export import text_table
from tbmreview.drive.reading import NO_TIME
from tbmreview.drive.which_ground import which_says
from tbmreview.indicators.record import ratio
from tbmreview.indicators.wear import head_speed_at_rpm, track_speed_m_min

NEXT = 5  # discs that are named as due next
LEAST_TURNED = 0.99  # of the boring time; less, and the missing revolutions are told


def discs_text(drive: Stated, rows: Table) -> str:
    """A table of drive.discs for a terminal, and what is to be said of it."""
    by_ground = "ground" in rows
    left = (
        ("position_from_m", "position_to_m", "bored_m3", "ground_kind", "ground_name", "ground_issued")
        if by_ground
        else ("track_speed_m_min", "bored_m3")
    )
    shown = [name for name in rows if name not in left]
    return "\n".join([text_table(rows, drive.setup.drive.zone, shown), *disc_says(drive, rows)])


def disc_says(drive: Stated, rows: Table | None = None) -> list[str]:
    """In lines: which ground the rows are by, what counts, what is left out, how fast the gauge runs, what is due
    next."""
    work = DiscWork(drive)
    by_ground = which_says(rows) if rows is not None and "ground_kind" in rows else []
    said = [*by_ground, *_count_says(work), *_turning_says(work), *_gauge_says(work), *_due_says(work)]
    return [
        *said,
        "Wear is measured in the head, by those permitted to enter it; nothing here says a disc is sound.",
    ]


def _count_says(work: DiscWork) -> list[str]:
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


def _turning_says(work: DiscWork) -> list[str]:
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


def _gauge_says(work: DiscWork) -> list[str]:
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


def _due_says(work: DiscWork) -> list[str]:
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
