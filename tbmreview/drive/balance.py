"""The balance: rock bored against the mass on the belt scale, by ring, shift or mapped ground, and cumulated.

It indicates, it never proves: a surplus may be a cavity, and so may a balance within tolerance hide one.
"""

import hashlib
import json
from contextlib import suppress
from datetime import UTC, datetime

import numpy as np

from tbmreview.domain.errors import UsageError
from tbmreview.domain.ground import MAPPED, OUTSIDE
from tbmreview.domain.samples import DAY_US
from tbmreview.domain.shifts import shifts_covering
from tbmreview.domain.station import format_chainage
from tbmreview.domain.sums import group_sums
from tbmreview.domain.table import Column, Table
from tbmreview.drive.belt import Belt, Logged, belt_of, idle_t, with_belt
from tbmreview.drive.delays import texts
from tbmreview.drive.export import text_table
from tbmreview.drive.progress import Progress
from tbmreview.drive.reading import NO_TIME, Codes, Floats
from tbmreview.drive.ring_places import known_rings, numbered
from tbmreview.drive.table import pieces_of
from tbmreview.drive.which_ground import by_told, which_ground
from tbmreview.indicators.balance import (
    flagged,
    loose_m3,
    mass_t,
    runs,
    surplus_pct,
    surplus_share_u95,
)
from tbmreview.indicators.record import ratio
from tbmreview.indicators.wear import bored_m3
from tbmreview.store.derived import read_derived, write_derived

GROUPINGS = ("ring", "shift", "ground")
STRETCH_M = 1.5  # a ring's usual length, for drives that build none
LEAST_MEASURED = 0.98  # of the boring time: a row of which less was weighed has no balance
WORTH_TELLING = 0.005  # share of the mass that an empty belt's reading may make up unsaid
CAUTION = (
    "A balance indicates, it never proves. A surplus may be a cavity, or the scale, the density, water on the belt or "
    "muck held back before; a balance within tolerance excludes no cavity."
)
METHOD = 1  # raised with any change of this part that changes what is kept
KEPT = "balance"
_PERIODS = ("state", "start_us", "end_us")
_RINGS = ("ring", "position_from_m", "position_to_m", "nominal")
_PLACE = ("position_from_m", "position_to_m", "start_us", "end_us")
_SUMS = ("boring_s", "advance_m", "unrecorded_advance_m", "belt_t", "belt_s", *_PLACE)


def balance(drive: Logged, by: str = "ring", progress: Progress | None = None) -> tuple[Table, list[str]]:
    """(the balance by ring, shift or ground along the drive, what is to be said of it in lines).

    Columns: ring, ring_source | date, shift | ground; position_from_m to chainage_to_m, start_utc, end_utc,
    advance_m; bored_m3 [m3] and bored_t [t], of recorded advance; loose_m3 where [drive] bulking is given;
    belt_t [t] that the scale saw of it, later by the lag; belt_measured, share of the boring time weighed;
    belt_t_m3, scale over volume [t/m3]; surplus_t [t], surplus_pct [%]; the same four cumulated over the rows
    that have them; by ring also flag; half-widths of the 95 % interval of both surpluses in %, from [accuracy] of the
    setup, systematic parts alone. Missing is NaN: without rock_density_t_m3 the bored mass, without a clear
    lag or with less than 98 % weighed the scale's. UsageError if `by` is none; DriveError by ring if none is known.
    """
    if by not in GROUPINGS:
        raise UsageError(f"--by {by}: expected one of {', '.join(GROUPINGS)}")
    belt = belt_of(drive, progress)
    rows = _grouped(drive, belt, by)
    if by == "ring":
        rows = _flagged(drive, rows)
    rows = rows.with_columns(_uncertain(drive, rows))
    which = [by_told(*which_ground(drive, MAPPED, None).values())] if by == "ground" else []
    return rows, [*which, *_says(drive, belt, rows)]


def flagged_balance(drive: Logged) -> Table:
    """The balance by ring with its flag, of a drive without rings by stretches of 1.5 m; no rows where no log carries
    a belt scale. See `balance`. Kept until anything that it follows from changes."""
    made_from = _made_from(drive)
    kept = read_derived(drive.folder, KEPT)
    if kept is not None and kept[1].get("made_from") == made_from:
        return kept[0]
    belt = belt_of(drive)
    if belt is None:
        return Table({})
    rows = _flagged(drive, _grouped(drive, belt, "ring" if len(drive.rings) else "stretch"))
    with suppress(OSError):  # disposable: where the folder cannot be written it is made again
        write_derived(drive.folder, KEPT, rows, {"made_from": made_from})
    return rows


def _made_from(drive: Logged) -> str:
    """Fingerprint of all that the flagged balance follows from."""
    facts, setup = drive.setup.drive, drive.setup
    read = {
        "method": METHOD,
        "days": {day: chunk.content_hash for day, chunk in drive.days().items()},
        "facts": [facts.rock_density_t_m3, facts.bulking, facts.belt_lag_s, facts.belt_lag_most_min],
        "axis": repr(drive.axis),
        "bore_m": setup.machine.bore_diameter_m,
        "beyond": [setup.findings.muck_tolerance_percent, setup.findings.muck_least_rings],
        "gap_intervals": setup.motion.gap_intervals,
    }
    found = hashlib.blake2b(json.dumps(read, sort_keys=True).encode())
    for table, names in ((drive.cells, _SUMS), (drive.periods, _PERIODS), (drive.rings, _RINGS)):
        for name in names:
            if name in table:
                found.update(np.ascontiguousarray(table[name]).tobytes())
    return found.hexdigest()


def _grouped(drive: Logged, belt: Belt | None, by: str) -> Table:
    cells = drive.cells
    if belt is None:
        cells = cells.with_columns({"belt_t": np.full(len(cells), np.nan), "belt_s": np.zeros(len(cells))})
    else:
        cells = with_belt(cells, drive.periods, belt)
    cells = Table({name: cells[name] for name in (*_SUMS, "shift_start_us")})
    pieces, number, labels = _GROUPED[by](drive, cells)
    return _rows(drive, group_sums(pieces, number, len(next(iter(labels.values())))), labels)


def _flagged(drive: Logged, rows: Table) -> Table:
    beyond = drive.setup.findings
    flags = flagged(
        rows["surplus_pct"], _follows(rows), beyond.muck_tolerance_percent, beyond.muck_least_rings
    )
    return rows.with_columns({"flag": flags})


def _uncertain(drive: Logged, rows: Table) -> dict[str, Column]:
    """<name>_u95 of the surpluses in per cent."""
    share = surplus_share_u95(drive.setup.machine.bore_diameter_m, drive.setup.accuracy)
    return {f"{name}_u95": share * (100 + rows[name]) for name in ("surplus_pct", "surplus_cumulated_pct")}


def _by_ring(drive: Logged, cells: Table) -> tuple[Table, Codes, dict[str, Column]]:
    rings = known_rings(drive, "shift and --by ground")
    return *pieces_of(cells, rings["position_from_m"], rings["position_to_m"]), numbered(rings)


def _by_stretch(drive: Logged, cells: Table) -> tuple[Table, Codes, dict[str, Column]]:
    low = np.arange(0.0, np.nanmax(cells["position_to_m"], initial=0.0), STRETCH_M)
    labels: dict[str, Column] = {"ring": np.append(np.arange(1.0, len(low) + 1), np.nan)}
    return *pieces_of(cells, low, low + STRETCH_M), labels


def _by_ground(drive: Logged, cells: Table) -> tuple[Table, Codes, dict[str, Column]]:
    ground = drive.ground(MAPPED)
    labels: dict[str, Column] = {"ground": texts([*ground["rock"].tolist(), OUTSIDE])}
    return *pieces_of(cells, ground["position_from_m"], ground["position_to_m"]), labels


def _by_shift(drive: Logged, cells: Table) -> tuple[Table, Codes, dict[str, Column]]:
    starts, number = np.unique(cells["shift_start_us"], return_inverse=True)
    if not len(starts):
        return cells, number.astype(np.int64), {"date": texts([]), "shift": texts([])}
    shifts = shifts_covering(drive.setup, int(starts[0]), int(starts[-1]))
    at = shifts.index(starts).tolist()
    labels: dict[str, Column] = {
        "date": texts([shifts.dates[i].isoformat() for i in at]),
        "shift": texts([shifts.names[i] for i in at]),
    }
    return cells, number.astype(np.int64), labels


_GROUPED = {"ring": _by_ring, "shift": _by_shift, "ground": _by_ground, "stretch": _by_stretch}


def _rows(drive: Logged, sums: Table, labels: dict[str, Column]) -> Table:
    kept = np.flatnonzero((sums["boring_s"] > 0) | (sums["advance_m"] > 0))
    kept = kept[np.argsort(sums["position_from_m"][kept], kind="stable")]
    sums, labels = sums.rows(kept), {name: values[kept] for name, values in labels.items()}
    facts, low, high = drive.setup.drive, sums["position_from_m"], sums["position_to_m"]
    volume = bored_m3(drive.setup.machine.bore_diameter_m, sums["advance_m"] - sums["unrecorded_advance_m"])
    measured = ratio(sums["belt_s"], sums["boring_s"])
    columns: dict[str, Column] = {
        **labels,
        "position_from_m": low,
        "position_to_m": high,
        "chainage_from_m": drive.axis.chainage_m(low),
        "chainage_to_m": drive.axis.chainage_m(high, ends=True),
        "start_utc": np.where(sums["start_us"] > 0, sums["start_us"], NO_TIME),
        "end_utc": np.where(sums["end_us"] > 0, sums["end_us"], NO_TIME),
        "advance_m": sums["advance_m"],
        "bored_m3": volume,
    }
    if facts.bulking is not None:
        columns["loose_m3"] = loose_m3(volume, facts.bulking)
    density = np.nan if facts.rock_density_t_m3 is None else facts.rock_density_t_m3
    scale = np.where(measured >= LEAST_MEASURED, sums["belt_t"], np.nan)
    columns |= _masses(mass_t(volume, density), scale, volume)
    columns["belt_measured"] = measured
    return Table(columns)


def _masses(bored: Floats, scale: Floats, volume: Floats) -> dict[str, Column]:
    both = np.isfinite(bored) & np.isfinite(scale)
    bored_sum, scale_sum = (np.cumsum(np.where(both, values, 0.0)) for values in (bored, scale))
    shown = [np.where(both, values, np.nan) for values in (bored_sum, scale_sum)]
    return {
        "bored_t": bored,
        "belt_t": scale,
        "belt_t_m3": ratio(scale, volume),
        "surplus_t": scale - bored,
        "surplus_pct": surplus_pct(scale, bored),
        "bored_cumulated_t": shown[0],
        "belt_cumulated_t": shown[1],
        "surplus_cumulated_t": shown[1] - shown[0],
        "surplus_cumulated_pct": surplus_pct(shown[1], shown[0]),
    }


def _follows(rows: Table) -> Column:
    """Whether each ring comes right after the row before it; the row of no ring follows none."""
    known = np.isfinite(rows["ring"])
    near = np.abs(rows["position_from_m"][1:] - rows["position_to_m"][:-1]) < 0.1
    follows: Column = np.r_[False, known[1:] & known[:-1] & near][: len(rows)]
    return follows


# --- in words -----------------------------------------------------------------------------------


def balance_text(drive: Logged, rows: Table, says: list[str]) -> str:
    """The balance for a terminal, and what is to be said of it."""
    left = ("position_from_m", "position_to_m", "end_utc", "ring_source", "belt_measured", "loose_m3")
    begun = ("bored_cum", "belt_cum")
    shown = [n for n in rows if n not in left and not n.startswith(begun) and not n.endswith("_u95")]
    return "\n".join([text_table(rows, drive.setup.drive.zone, shown), *says])


def _says(drive: Logged, belt: Belt | None, rows: Table) -> list[str]:
    said = _lag_says(belt)
    if drive.setup.drive.rock_density_t_m3 is None:
        said.append(
            "bored mass and surplus are missing: state [drive] rock_density_t_m3 in drive.toml (hard rock: 2.6 to "
            "2.8 t/m3)"
        )
    weighed = np.isfinite(rows["belt_t"])
    volume, mass = rows["bored_m3"][weighed].sum(), rows["belt_t"][weighed].sum()
    if volume > 0:
        said.append(
            f"the scale saw {mass:.0f} t of {volume:.0f} m3 bored: {mass / volume:.2f} t/m3; where "
            "that is far from the density of the rock in place, look at the scale first"
        )
    lost = int(np.count_nonzero(~weighed))
    if belt is not None and lost and weighed.any():
        said.append(
            f"{lost} rows have no balance: less than {LEAST_MEASURED:.0%} of their boring was weighed"
        )
    return [*said, *_idle_says(belt), *_flag_says(drive, rows), CAUTION]


def _lag_says(belt: Belt | None) -> list[str]:
    if belt is None:
        return [
            "no log carries a belt scale (belt_rate_t_h or belt_total_t): there is nothing to hold the rock against"
        ]
    clear = [lag for lag in belt.lags if not lag.why]
    if not clear:
        best = max(belt.lags, key=lambda lag: np.nan_to_num(lag.strength, nan=-1.0))
        return [
            f"lag of the belt: refused, no day shows it clearly; at best {best.why}. State [drive] belt_lag_s in "
            "drive.toml if you know it"
        ]
    lags, strengths = np.array([lag.lag_s for lag in clear]), np.array([lag.strength for lag in clear])
    if np.isnan(strengths).all():
        return [f"lag of the belt: {lags[0]:.0f} s, as drive.toml states ([drive] belt_lag_s)"]
    said = (
        f"lag of the belt behind the face: {np.median(lags):.0f} s (by day {lags.min():.0f} to {lags.max():.0f} s), "
        f"correlation of advance and belt rate {np.median(strengths):.2f}, clear on {len(clear)} of "
        f"{len(belt.lags)} days"
    )
    unclear = [
        f"  {datetime.fromtimestamp(day * DAY_US / 1e6, UTC):%Y-%m-%d}: {lag.why}; the nearest clear day's lag is used"
        for day, lag in zip(belt.day.tolist(), belt.lags, strict=True)
        if lag.why
    ]
    return [said, *unclear]


def _idle_says(belt: Belt | None) -> list[str]:
    if belt is None:
        return []
    mass, hours = idle_t(belt)
    total = float(belt.mass_t.sum())
    if hours <= 0 or abs(mass) <= WORTH_TELLING * abs(total):
        return []
    return [
        f"the scale reads {mass / hours:.1f} t/h while the belt is empty: {mass:.0f} t in {hours:.0f} h, "
        f"{100 * mass / total:.1f} % of all, counted to the rows before; have its zero checked"
    ]


def _flag_says(drive: Logged, rows: Table) -> list[str]:
    if "flag" not in rows:
        return []
    flag, beyond = rows["flag"], drive.setup.findings
    begins = np.r_[True, (flag[1:] != flag[:-1]) | ~_follows(rows)[1:]][: len(flag)]
    said = []
    for start, end in runs(begins):
        if flag[start]:
            part = slice(start, end)
            much = surplus_pct(
                rows["belt_t"][part].sum(keepdims=True), rows["bored_t"][part].sum(keepdims=True)
            )
            ends = [rows["chainage_from_m"][start], rows["chainage_to_m"][end - 1]]
            said.append(
                f"{flag[start]} of {abs(much[0]):.0f} % over {end - start} rings, {rows['ring'][start]:.0f} to "
                f"{rows['ring'][end - 1]:.0f}, chainage {' to '.join(format_chainage(float(c)) for c in ends)}: each "
                f"more than {beyond.muck_tolerance_percent:g} % off. This indicates, it does not prove, a void or a fault of the scale"
            )
    if not said and np.isfinite(rows["surplus_pct"]).any():
        said.append(
            f"no {beyond.muck_least_rings} rings in a row are each more than {beyond.muck_tolerance_percent:g} % off; this excludes no void"
        )
    return said
