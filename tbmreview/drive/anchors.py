"""Taking surveyed stations and chainage equations into a drive, and showing how the strokes close on them."""

import hashlib
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from tbmreview.domain.errors import ChainageError, SiteError
from tbmreview.domain.ground import GROUND_KINDS
from tbmreview.domain.setup import Setup
from tbmreview.domain.site import ANCHORS, EQUATIONS, FOR_EVER_US, axis_with
from tbmreview.domain.station import Axis, Equation, format_chainage
from tbmreview.domain.table import Column, Table, stack
from tbmreview.drive.closing import Closing, named
from tbmreview.drive.columns_text import ANCHOR_COLUMNS
from tbmreview.drive.course import SURVEYED, Anchor, OddStroke
from tbmreview.drive.export import text_table
from tbmreview.drive.history import person
from tbmreview.drive.stored import StoredDrive
from tbmreview.ingest.site_table import read_equations, read_stations
from tbmreview.store.writing import writing


def import_stations(folder: Path | str, file: Path | str, name: str | None = None) -> str:
    """Take a table of surveyed stations into a drive; says in a line what was done. `station_warnings` says
    what speaks against them.

    name: of the table, by default the file's name without its suffix; it replaces the table of that name.
    The same again changes nothing. SiteError names the file and the row that cannot be used.
    """
    folder, file = Path(folder), Path(file)
    drive = StoredDrive(folder)
    table = read_stations(file, drive.setup.drive, drive.time_span_us)
    name = name or file.stem
    ends = [format_chainage(float(c)) for c in (table["chainage_m"].min(), table["chainage_m"].max())]
    told = f"stations '{name}': {len(table)}, chainage {ends[0]} to {ends[1]}"
    return _kept(drive, ANCHORS, (name, file), table, told)


def station_warnings(closed: Closing, axis: Axis, zone: ZoneInfo) -> list[str]:
    """In lines: which surveyed stations are not used and why, what speaks against the others, and what a person
    who knows better can do."""
    mine = [a for a in closed.anchors if a.why and a.source == SURVEYED]
    lines = [f"{named(a, axis, zone)} is not used: {a.why}" for a in mine] + [*closed.doubts]
    hint = "if it is right: tbmreview overrule DRIVE anchor used --start TIME --end TIME --reason TEXT"
    return [f"warning: {line}" for line in lines] + ([hint] if mine else [])


def import_equations(folder: Path | str, file: Path | str, name: str | None = None) -> str:
    """Take a table of chainage equations into a drive; says in lines what was done. See import_stations."""
    folder, file = Path(folder), Path(file)
    drive = StoredDrive(folder)
    table = read_equations(file, drive.setup.drive.zone, drive.time_span_us)
    name = name or file.stem
    others = [drive.site_table(EQUATIONS, e.name) for e in drive.site_entries(EQUATIONS) if e.name != name]
    try:
        axis = axis_with(drive.setup.drive.axis, stack([*others, table]), FOR_EVER_US)
    except ChainageError as error:
        raise SiteError(f"{file}: {error}") from error
    told = [f"chainage equations '{name}': {len(table)}", *_places(axis, table)]
    if any(drive.ground_names(kind) for kind in GROUND_KINDS):
        told.append(
            "ground tables keep the places that their chainages had when they were imported; import again those "
            "that are written in the new chainage"
        )
    return _kept(drive, EQUATIONS, (name, file), table, "\n".join(told))


def _places(axis: Axis, table: Table) -> list[str]:
    """Where each equation is met along the drive."""
    said = []
    for back, ahead in zip(table["back_m"].tolist(), table["ahead_m"].tolist(), strict=True):
        equation = Equation(back, ahead)
        leaves = ahead if axis.direction > 0 else back
        met = [zone for zone in axis.zones if zone.chainage_m == leaves]
        where = (
            f"{met[0].from_m:.2f} m from the drive's start"
            if met
            else "behind the drive's start, so of no effect"
        )
        said.append(
            f"  {format_chainage(equation.back_m)} back = {format_chainage(equation.ahead_m)} ahead: {where}"
        )
    return said


def _kept(drive: StoredDrive, kind: str, of: tuple[str, Path], table: Table, told: str) -> str:
    """Keep a table unless it is there; what is to be said."""
    name, file = of
    known = drive.site_table(kind, name)
    if len(known) == len(table) and all(_same(known[n], table[n]) for n in known):
        return f"{told.split(':')[0]}: in the drive already, nothing changed"
    sha256 = hashlib.sha256(file.read_bytes()).hexdigest()
    with writing(drive.folder, person()) as work:
        work.add_site_table(kind, name, (file.name, sha256), table)
        work.record(kind, {"name": name, "file": file.name, "rows": len(table)})
    return told


def _same(one: Column, other: Column) -> bool:
    return bool(np.array_equal(one, other, equal_nan=one.dtype.kind == "f"))


# --- showing ------------------------------------------------------------------------------------


def anchor_table(closed: Closing, axis: Axis) -> Table:
    """A row for each anchor, by time: where it is by survey (or by the logs' chainage) and by
    strokes. ahead_mm: how far the survey is ahead of the strokes; misclosure_mm, misclosure_permille: how much
    of that arose since the used anchor before it, over_m away by strokes; NaN for the first."""
    rows = []
    before: Anchor | None = None
    for a in closed.anchors:
        over = a.strokes_m - before.strokes_m if before else np.nan
        moved = a.misclosure_m - before.misclosure_m if before else np.nan
        rows.append(
            {
                "time_utc": a.time_us,
                "source": a.source,
                "chainage_m": float(axis.chainage_m(a.position_m)),
                "stroke_chainage_m": float(axis.chainage_m(a.strokes_m)),
                "ahead_mm": 1000 * a.misclosure_m,
                "over_m": over,
                "misclosure_mm": 1000 * moved,
                "misclosure_permille": 1000 * moved / over if over > 0 else np.nan,
                "used": "" if a.why else "yes",
                "why": a.why,
                "note": a.note,
            }
        )
        before = before if a.why else a
    kinds = {"time_utc": np.int64, **dict.fromkeys(("source", "used", "why", "note"), object)}
    return Table(
        {name: np.array([r[name] for r in rows], kinds.get(name, np.float64)) for name in ANCHOR_COLUMNS}
    )


def anchors_text(closed: Closing, axis: Axis, setup: Setup) -> str:
    """What a surveyor wants to see: the anchors, the odd strokes, what places the strokes."""
    lines = [text_table(anchor_table(closed, axis), setup.drive.zone)] if closed.anchors else []
    doubts = [f"warning: {line}" for line in closed.doubts]
    return "\n".join([*lines, *odd_lines(closed, axis), *closed.says, *doubts])


def anchor_notes(closed: Closing, axis: Axis, zone: ZoneInfo) -> list[str]:
    """In lines: what places the strokes, which anchors are left out and why, what speaks against the others,
    which strokes are odd."""
    left = [f"{named(a, axis, zone)} is not used: {a.why}" for a in closed.anchors if a.why]
    return [*closed.says, *left, *closed.doubts, *odd_lines(closed, axis)]


def odd_lines(closed: Closing, axis: Axis) -> list[str]:
    """A line for each stroke off by more than its neighbours, and for each jump of the guidance."""
    return [_odd_line(o, closed, axis) for o in closed.odd]


def _odd_line(o: OddStroke, closed: Closing, axis: Axis) -> str:
    ends = np.array([o.from_m, o.to_m])
    if closed.course is not None:
        ends = closed.course.position(ends)
    chainages = " to ".join(format_chainage(float(c)) for c in axis.chainage_m(ends))
    done = "corrected in this stroke alone" if o.applied else "not corrected"
    return f"stroke at {chainages}: off by {1000 * o.off_m:+.0f} mm against its neighbours: {o.why}; {done}"
