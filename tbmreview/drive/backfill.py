"""The annular gap behind the rings against what was pumped there, by ring and cumulated."""

from pathlib import Path

import numpy as np

from tbmreview.domain.site import BACKFILL
from tbmreview.domain.table import Table
from tbmreview.drive.delays import Stated
from tbmreview.drive.export import text_table
from tbmreview.drive.reading import Codes, Floats
from tbmreview.drive.site_tables import keep_table
from tbmreview.drive.stored import StoredDrive
from tbmreview.indicators.balance import filled_m3, gap_m3, voids_m3
from tbmreview.indicators.record import ratio
from tbmreview.ingest.site_table import read_backfill

CAUTION = (
    "A gap filled by volume is no proof of contact: mortar also goes into fissures, over the shield and into the muck. "
    "Contact is proved by grouting pressure, holes and measurement."
)


def import_backfill(folder: Path | str, file: Path | str, name: str | None = None) -> str:
    """Take a table of backfill (ring, mortar, pea gravel, note) into a drive; says in lines what was done. See
    site_tables.keep_table; SiteError names the file and the row that cannot be used."""
    table = read_backfill(file)
    rings = table["ring"]
    volumes = " and ".join(
        f"{np.nansum(table[f'{name}_m3']):.1f} m3 of {name}"
        for name in ("mortar", "gravel")
        if np.isfinite(table[f"{name}_m3"]).any()
    )
    told = f"{len(np.unique(rings))} rings, {rings.min()} to {rings.max()}, {volumes or 'no volumes'}"
    return keep_table(StoredDrive(Path(folder)), BACKFILL, (name, Path(file)), table, told)


def backfill_table(drive: Stated) -> Table:
    """A row a ring that the logs or the backfill know, by number.

    ring, gap_m3 (theoretical, of bore, segment ring and ring length of the setup); mortar_m3, gravel_m3, all rows
    of the ring together; filled_m3 and filled_share of the gap; voids_filled, mortar over the voids of the gravel;
    gap, filled and share cumulated over the rings for which both are known. NaN is not known: a ring without a row
    of backfill is missing, not empty.
    """
    stated, facts = drive.site_table(BACKFILL), drive.setup.drive
    rings = np.unique(np.concatenate([stated["ring"], drive.rings["ring"]]).astype(np.int64))
    at = np.searchsorted(rings, stated["ring"]).astype(np.int64)
    mortar, gravel = (_by_ring(stated[f"{name}_m3"], at, len(rings)) for name in ("mortar", "gravel"))
    pumped = np.isfinite(mortar) | np.isfinite(gravel)
    filled = filled_m3(np.nan_to_num(gravel), np.nan_to_num(mortar), facts.gravel_void_share)
    filled = np.where(pumped, filled, np.nan)
    gap = _gap(drive, len(rings))
    both = np.isfinite(gap) & np.isfinite(filled)
    sums = [np.where(both, np.cumsum(np.where(both, v, 0.0)), np.nan) for v in (gap, filled)]
    return Table(
        {
            "ring": rings.astype(np.float64),
            "gap_m3": gap,
            "mortar_m3": mortar,
            "gravel_m3": gravel,
            "filled_m3": filled,
            "filled_share": ratio(filled, gap),
            "voids_filled": ratio(mortar, voids_m3(gravel, facts.gravel_void_share)),
            "gap_cumulated_m3": sums[0],
            "filled_cumulated_m3": sums[1],
            "filled_cumulated_share": ratio(sums[1], sums[0]),
        }
    )


def _by_ring(values: Floats, at: Codes, count: int) -> Floats:
    """Summed by ring, (count,); NaN where no row of the ring gives a volume."""
    known = np.isfinite(values)
    total, given = np.zeros(count), np.zeros(count, bool)
    np.add.at(total, at[known], values[known])
    given[at[known]] = True
    return np.where(given, total, np.nan)


def _gap(drive: Stated, count: int) -> Floats:
    facts, nothing = drive.setup.drive, np.full(count, np.nan)
    if facts.segment_outer_diameter_m is None or facts.ring_length_m is None:
        return nothing
    length = np.full(count, facts.ring_length_m)
    return gap_m3(drive.setup.machine.bore_diameter_m, facts.segment_outer_diameter_m, length)


def backfill_text(drive: Stated, rows: Table) -> str:
    """The table for a terminal, and what is to be said of it."""
    return "\n".join([text_table(rows, drive.setup.drive.zone, rows.names), *backfill_says(drive, rows)])


def backfill_says(drive: Stated, rows: Table) -> list[str]:
    """In lines: what is missing, how much of the gap is filled over all, and the caution."""
    facts, said = drive.setup.drive, []
    wanted = {
        "segment_outer_diameter_m": facts.segment_outer_diameter_m,
        "ring_length_m": facts.ring_length_m,
    }
    lacking = [key for key, value in wanted.items() if value is None]
    if lacking:
        said.append(f"the gap is missing: [drive] {' and '.join(lacking)} not in drive.toml")
    elif facts.segment_outer_diameter_m >= drive.setup.machine.bore_diameter_m:  # type: ignore[operator]
        said.append("the gap is missing: segment_outer_diameter_m is not smaller than bore_diameter_m")
    if not np.isfinite(rows["filled_m3"]).any():
        said.append("no backfill is stated: tbmreview backfill DRIVE FILE takes a table in")
    known = np.flatnonzero(np.isfinite(rows["filled_cumulated_share"]))
    if len(known):
        last = known[-1]
        said.append(
            f"{len(known)} rings: {rows['filled_cumulated_m3'][last]:.1f} m3 filled of a gap of "
            f"{rows['gap_cumulated_m3'][last]:.1f} m3, {rows['filled_cumulated_share'][last]:.0%}"
        )
    return [*said, CAUTION]
