"""Forces of pads in words: the table for a terminal, which column is which pad, what speaks against it, cautions."""

import numpy as np

from tbmreview.domain.cautions import LOCAL, NO_ADVICE
from tbmreview.domain.channels import EXTRA_PREFIX
from tbmreview.domain.setup import SINGLE_SHIELD
from tbmreview.domain.states import State
from tbmreview.domain.table import Column, Table
from tbmreview.drive.delays import texts
from tbmreview.drive.export import text_table
from tbmreview.drive.pad_sums import LoggedPad, PadDrive
from tbmreview.drive.pads import HOLDING, PUSHING, PadForces, pad_forces

OFF_SUM = 0.05  # share by which pads and logged auxiliary thrust may differ unsaid: sensors and friction
CAUTION = f"The limits are the segment designer's. {NO_ADVICE} {LOCAL}"
_LABELS = ("date", "shift", "ring", "stroke")
_SHOWN = (
    *("doing", "chainage_from_m", "chainage_to_m", "all_pads_s", "total_kN", "eccentricity_mm"),
    *("eccentricity_deg", "eccentricity_of_limit", "eccentricity_max_mm", "eccentricity_max_of_limit"),
    *("highest_pad", "highest_kN", "highest_of_limit"),
)


def pads_text(drive: PadDrive, found: PadForces) -> str:
    """The table for a terminal, without what no row has, and what is to be said of it."""
    rows = found.rows
    names = [*(name for name in _LABELS if name in rows), *_SHOWN]
    shown = [n for n in names if rows[n].dtype.kind != "f" or np.isfinite(rows[n]).any()]
    zone = drive.setup.drive.zone
    each = text_table(each_pad(drive, found.pads), zone)
    return "\n".join(
        [text_table(rows, zone, shown), "", "each pad, over the drive", each, "", *pads_says(drive, found)]
    )


def each_pad(drive: PadDrive, pads: tuple[LoggedPad, ...]) -> Table:
    """A row a pad over the drive: pad, angle_deg, and while pushing and while holding its mean by time, its greatest and
    that over the limit; NaN where it did neither or was not measured."""
    rows = pad_forces(drive, "drive").rows
    columns: dict[str, Column] = {
        "pad": texts([pad.label for pad in pads]),
        "angle_deg": np.array([pad.angle_deg for pad in pads]),
    }
    for doing in (PUSHING, HOLDING):
        at = np.flatnonzero(rows["doing"] == doing)
        for end in ("kN", "max_kN", "max_of_limit"):
            of_pads = [rows[f"pad_{pad.label}_{end}"][at[0]] if len(at) else np.nan for pad in pads]
            columns[f"pad_{doing}_{end}"] = np.array(of_pads, np.float64)
    return Table(columns)


def pads_says(drive: PadDrive, found: PadForces) -> list[str]:
    """In lines: which column is which pad, how far they add up to the thrust, what is not logged, limits, cautions."""
    told = "; ".join(_told(pad) for pad in found.pads)
    said = [f"pads, from the crown clockwise, looking in the direction of driving: {told}"]
    said += [
        *_sum_says(found, drive.setup.machine.kind),
        *_missing_says(found),
        *_limit_says(drive, found),
        *_building_says(drive),
    ]
    return [*said, CAUTION]


def _told(pad: LoggedPad) -> str:
    if not pad.name:
        return f"{pad.label} at {pad.angle_deg:g} deg, not logged"
    return f"{pad.label} at {pad.angle_deg:g} deg, {pad.name.removeprefix(EXTRA_PREFIX)!r} in {pad.unit}"


def _sum_says(found: PadForces, kind: str) -> list[str]:
    """How far the pads add up to the logged force of their cylinders."""
    of = "main" if kind == SINGLE_SHIELD else "auxiliary"
    thrust, pads = (float(found.sums[name].sum()) for name in ("thrust_kN_s", "thrust_pads_kN_s"))
    if thrust <= 0:
        return [f"no {of} thrust is logged beside the pads: nothing tests their unit, area and sign"]
    share = pads / thrust
    said = f"the pads add up to {share:.3f} of the logged {of} thrust"
    if abs(share - 1) > OFF_SUM:
        said += "; look at their unit, area and sign, and whether all pads are stated"
    return [said]


def _missing_says(found: PadForces) -> list[str]:
    without = [pad.label for i, pad in enumerate(found.pads) if not found.sums[f"s_{i}"].sum() > 0]
    if without:
        return [f"pads without a value: {', '.join(without)}; so total and eccentricity are missing"]
    any_s = float(np.max([found.sums[f"s_{i}"].sum() for i in range(len(found.pads))], initial=0.0))
    every = float(found.sums["all_s"].sum())
    if any_s > 0 and every < any_s:
        return [
            f"every pad was measured for {every / any_s:.1%} of the time; total and eccentricity are of that time"
        ]
    return []


def _limit_says(drive: PadDrive, found: PadForces) -> list[str]:
    pads, said = drive.setup.pads, []
    for key, column, what in (
        ("force_limit_kN", "highest_of_limit", "greatest force of a pad"),
        ("eccentricity_limit_mm", "eccentricity_of_limit", "greatest eccentricity of a row"),
        ("eccentricity_limit_mm", "eccentricity_max_of_limit", "greatest eccentricity of a sample"),
    ):
        if getattr(pads, key) is None:
            said.append(f"no limit is given: [pads] {key}, from the segment designer")
        elif np.isfinite(found.rows[column]).any():
            over = int(np.count_nonzero(np.nan_to_num(found.rows[column]) > 1))
            most = float(np.nanmax(found.rows[column]))
            said.append(
                f"{what}: {most:.2f} of the limit of {getattr(pads, key):g} ({key}); rows over it: {over}"
            )
    if pads.least_total_kN is None:
        said.append(
            "greatest eccentricity of single samples: not told without [pads] least_total_kN, below which it means little"
        )
    return list(dict.fromkeys(said))


def _building_says(drive: PadDrive) -> list[str]:
    """Pads come back group by group while a ring is built beside boring."""
    periods = drive.periods
    if "ring_building_s" not in periods:
        return []
    beside = periods.rows(periods["state"] == State.BORING)
    hours = float(beside["ring_building_s"].sum()) / 3600
    if hours <= 0:
        return []
    return [
        f"a ring was built for {hours:.1f} h beside boring: pads come back group by group then, which is in the rows of "
        "holding"
    ]
