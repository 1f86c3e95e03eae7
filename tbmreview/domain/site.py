"""What the site states beside the logs, as tables: surveyed stations, chainage equations, delays, disc changes,
backfill, water, the alignment."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.station import Axis, Equation
from tbmreview.domain.table import Table

FOR_EVER_US = int(np.iinfo(np.int64).max)
ANCHORS, EQUATIONS, DELAYS = "anchors", "equations", "delays"
DISC_CHANGES, BACKFILL, WATER = "disc changes", "backfill", "water"
ALIGNMENT = "alignment"
STATED, OF_GROUND, LOGGED = "site", "mapped ground", "log"  # where an inflow over 10 m is from

# kind -> its columns: (name, kind of number, unit, what it is). Text is '' and numbers NaN where not given;
# instants are always given.
SITE_COLUMNS: dict[str, tuple[tuple[str, type, str, str], ...]] = {
    ANCHORS: (
        ("time_us", np.int64, "us", "instant to which the station belongs, microseconds UTC"),
        ("chainage_m", np.float64, "m", "surveyed chainage, as the table states it"),
        ("offset_m", np.float64, "m", "how far behind the face the surveyed point lies"),
        ("sd_m", np.float64, "m", "standard deviation of the survey"),
        ("note", object, "", "free text"),
    ),
    EQUATIONS: (
        ("time_us", np.int64, "us", "instant from which it is in force, microseconds UTC"),
        ("back_m", np.float64, "m", "chainage of the place as counted from lower chainage"),
        ("ahead_m", np.float64, "m", "chainage of the same place as counted from there on upwards"),
        ("note", object, "", "free text"),
    ),
    DELAYS: (
        ("start_us", np.int64, "us", "when it began, microseconds UTC"),
        ("end_us", np.int64, "us", "when it ended, microseconds UTC"),
        ("code", object, "", "the site's code"),
        ("note", object, "", "free text"),
    ),
    DISC_CHANGES: (
        ("time_us", np.int64, "us", "when the disc was changed, microseconds UTC"),
        ("disc", np.int64, "", "number of its position, from 1"),
        ("reason", object, "", "why, as written"),
        ("wear_mm", np.float64, "mm", "wear of the disc that came out"),
        ("note", object, "", "free text"),
    ),
    BACKFILL: (
        ("ring", np.int64, "", "number of the ring behind which it was pumped"),
        ("mortar_m3", np.float64, "m3", "mortar or grout"),
        ("gravel_m3", np.float64, "m3", "pea gravel, loose"),
        ("note", object, "", "free text"),
    ),
    WATER: (
        ("chainage_from_m", np.float64, "m", "chainage at which the measured stretch begins, as written"),
        ("chainage_to_m", np.float64, "m", "chainage at which it ends"),
        ("inflow_l_min", np.float64, "l/min", "inflow over the whole stretch"),
        ("note", object, "", "free text"),
    ),
    ALIGNMENT: (
        ("chainage_m", np.float64, "m", "chainage of a point of the axis, as written"),
        ("east_m", np.float64, "m", "its east coordinate"),
        ("north_m", np.float64, "m", "its north coordinate"),
        ("elevation_m", np.float64, "m", "its elevation"),
        ("crs", object, "", "coordinate reference system of east and north, as stated: EPSG:25832 say"),
    ),
}


def axis_with(base: Axis, equations: Table, time_us: int) -> Axis:
    """The axis with the chainage equations of a table that are in force at an instant."""
    rows = equations.rows(equations["time_us"] <= time_us)
    pairs = zip(rows["back_m"].tolist(), rows["ahead_m"].tolist(), strict=True)
    return base.with_equations(Equation(back, ahead) for back, ahead in dict.fromkeys(pairs))


def empty_site_table(kind: str) -> Table:
    """A table of the kind without rows."""
    return Table({name: np.empty(0, of) for name, of, _, _ in SITE_COLUMNS[kind]})


def site_column(kind: str, name: str, values: list[Any]) -> NDArray[Any]:
    """Values of a column as JSON keeps them (None: not given) in the column's kind, (n,)."""
    of = next(of for known, of, _, _ in SITE_COLUMNS[kind] if known == name)
    if of is object:
        out: NDArray[Any] = np.empty(len(values), object)
        out[:] = values
        return out
    return np.array([np.nan if value is None else value for value in values], of)
