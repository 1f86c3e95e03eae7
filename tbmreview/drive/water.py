"""Water inflow over 10 m of tunnel and its class: as the site measured it, as mapped, and as logged."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from tbmreview.domain.channels import INFLOW
from tbmreview.domain.ground import MAPPED
from tbmreview.domain.samples import DAY_US, MICROSECONDS
from tbmreview.domain.site import LOGGED, OF_GROUND, STATED, WATER
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table, stack
from tbmreview.drive.belt import Logged, in_time, position_at
from tbmreview.drive.delays import Stated, texts
from tbmreview.drive.export import text_table
from tbmreview.drive.reading import Floats
from tbmreview.drive.site_tables import keep_table
from tbmreview.drive.stored import StoredDrive
from tbmreview.indicators.balance import inflow_over_10_m
from tbmreview.indicators.classes import WATER_INFLOW, classed, limits_text, water_class
from tbmreview.ingest.site_table import read_water
from tbmreview.motion.credit import credit, nominal_by_day, nominal_interval_us

STRETCH_M = 10.0


def import_water(folder: Path | str, file: Path | str, name: str | None = None) -> str:
    """Take a table of water inflow (chainage from, to, inflow, note) into a drive; says in lines what was done. See
    site_tables.keep_table; SiteError names the file and the row that cannot be used."""
    table = read_water(file)
    told = f"{len(table)} stretches, {table['inflow_l_min'].sum():.0f} l/min"
    return keep_table(StoredDrive(Path(folder)), WATER, (name, Path(file)), table, told)


def water_table(drive: Logged) -> Table:
    """Rows by source, along the drive: source (site, mapped ground, log), chainage_from_m, chainage_to_m, length_m,
    inflow_l_min over the length, inflow_10m_l_min, water_class and water_scheme, note.

    The logged inflow is its time-mean while the face was in each 10 m of the drive; it is that of 10 m only where
    the setup says over what length the channel measures ([drive] water_reach_m).
    """
    return stack([_stated(drive), _mapped(drive), _logged(drive)])


def placed_water(drive: Stated, hours: tuple[Floats, Floats]) -> Table:
    """The rows of `water_table` with position_from_m and position_to_m, without a sample being read: those logged are
    from hourly means. hours: (position of the face [m], mean of the channel [l/min]), (n,) each. A stretch whose
    chainage the axis does not have, or has twice, is left out."""
    place, mean = hours
    seen = np.isfinite(place) & np.isfinite(mean)
    number = np.maximum(place[seen] / STRETCH_M, 0.0).astype(np.int64)
    count = int(number.max(initial=-1)) + 1
    amount, weight = (np.zeros(count) for _ in range(2))
    np.add.at(amount, number, mean[seen])
    np.add.at(weight, number, 1.0)
    logged = _by_stretch(drive, amount, weight)
    rows = stack([_stated(drive), _mapped(drive), logged])
    ends = np.array([_places(drive.axis, rows[f"chainage_{end}_m"]) for end in ("from", "to")])
    rows = rows.with_columns({"position_from_m": ends.min(axis=0), "position_to_m": ends.max(axis=0)})
    return rows.rows(np.isfinite(ends).all(axis=0))


def _places(axis: Axis, chainage_m: Floats) -> Floats:
    """Positions of chainages, (n,); NaN where there is none or more than one."""
    if not axis.zones:
        return axis.position_m(chainage_m)
    found = [axis.positions_m(chainage) for chainage in chainage_m.tolist()]
    return np.array([places[0] if len(places) == 1 else np.nan for places in found], np.float64)


def _rows(
    source: str, ends_m: tuple[Floats, Floats], inflow: tuple[Floats, Floats], notes: Sequence[str]
) -> Table:
    """inflow: (over the length, over 10 m) [l/min]."""
    classes = water_class(inflow[1])
    return Table(
        {
            "source": texts([source] * len(notes)),
            "chainage_from_m": ends_m[0],
            "chainage_to_m": ends_m[1],
            "length_m": np.abs(ends_m[1] - ends_m[0]),
            "inflow_l_min": inflow[0],
            "inflow_10m_l_min": inflow[1],
            "water_class": classes,
            "water_scheme": np.where(classes == "", "", WATER_INFLOW.name).astype(object),
            "note": texts(notes),
        }
    )


def _stated(drive: Stated) -> Table:
    table = drive.site_table(WATER)
    table = table.rows(np.argsort(drive.axis.direction * table["chainage_from_m"], kind="stable"))
    ends = table["chainage_from_m"], table["chainage_to_m"]
    inflow = table["inflow_l_min"]
    return _rows(
        STATED, ends, (inflow, inflow_over_10_m(inflow, np.abs(ends[1] - ends[0]))), table["note"].tolist()
    )


def _mapped(drive: Stated) -> Table:
    ground = drive.ground(MAPPED)
    stated = ground["water_class"] != ""
    ground = ground.rows(np.isfinite(ground["water_l_min"]) | stated)
    found = classed("water", *(ground[name] for name in ("water_l_min", "water_class", "water_scheme")))
    low, high = ground["position_from_m"], ground["position_to_m"]
    ends = drive.axis.chainage_m(low), drive.axis.chainage_m(high, ends=True)
    over_10 = ground["water_l_min"]
    rows = _rows(OF_GROUND, ends, (over_10 * (high - low) / STRETCH_M, over_10), ground["rock"].tolist())
    return rows.with_columns({"water_class": found.text, "water_scheme": found.scheme})


def _logged(drive: Logged) -> Table:
    cells = drive.cells
    last = float(cells["position_to_m"].max()) if len(cells) else 0.0
    count = int(np.ceil(last / STRETCH_M - 1e-9))
    amount, seconds = np.zeros(count), np.zeros(count)
    timed = in_time(cells, drive.periods)
    for day in sorted(drive.days()) if count else []:
        samples = drive.samples(day * DAY_US, (day + 1) * DAY_US, (INFLOW,))
        known = np.isfinite(samples.get(INFLOW))
        if not known.any():
            continue
        nominal = nominal_by_day(samples.time_us, day, nominal_interval_us(samples.time_us))
        credited = credit(samples.time_us, nominal, drive.setup.motion.gap_intervals).credit_us / MICROSECONDS
        place = position_at(timed, samples.time_us[known])
        at = np.clip((place / STRETCH_M).astype(np.int64), 0, count - 1)
        amount += np.bincount(at, (samples.get(INFLOW) * credited)[known], count)
        seconds += np.bincount(at, credited[known], count)
    return _by_stretch(drive, amount, seconds)


def _by_stretch(drive: Stated, amount: Floats, weight: Floats) -> Table:
    """Rows of the logged inflow by 10 m: the sum of its values, weighed, over the weight, where there is any."""
    seen = np.flatnonzero(weight > 0)
    cells = drive.cells
    last = float(cells["position_to_m"].max()) if len(cells) else 0.0
    low: Floats = seen.astype(np.float64) * STRETCH_M
    high: Floats = np.minimum(low + STRETCH_M, last)
    ends = drive.axis.chainage_m(low), drive.axis.chainage_m(high, ends=True)
    mean = amount[seen] / weight[seen]
    reach = drive.setup.drive.water_reach_m
    over_10 = (
        np.full(len(seen), np.nan) if reach is None else inflow_over_10_m(mean, np.full(len(seen), reach))
    )
    return _rows(LOGGED, ends, (mean, over_10), [""] * len(seen))


def water_text(drive: Logged, rows: Table) -> str:
    """The table for a terminal, and what is to be said of it."""
    return "\n".join([text_table(rows, drive.setup.drive.zone, rows.names), *water_says(drive, rows)])


def water_says(drive: Logged, rows: Table) -> list[str]:
    """In lines: the scheme, and what is missing."""
    said = [f"classes: {WATER_INFLOW.name}, l/min over 10 m: {limits_text(WATER_INFLOW)}"]
    if LOGGED in rows["source"].tolist() and drive.setup.drive.water_reach_m is None:
        said.append(
            "the logged inflow has no class: it is what the channel measured while the face was there; state [drive] "
            "water_reach_m, the length of tunnel whose water it measures"
        )
    if not len(rows):
        said.append("no inflow is known: tbmreview water DRIVE FILE takes a table in")
    return [*said, "Water is watched on site; what is shown here is hours old."]
