"""What a mark holds against what lies beside it: each indicator inside, and in the ground on either side."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.marks import Mark
from tbmreview.domain.table import Column, Table
from tbmreview.drive.columns_text import CONTRAST_COLUMNS
from tbmreview.drive.delays import texts
from tbmreview.drive.detect import profile_of
from tbmreview.drive.export import text_table
from tbmreview.drive.marks import span_text
from tbmreview.drive.opened import Drive
from tbmreview.findings import Profile
from tbmreview.findings.beside import LEAST_ADVANCE_M, middle_m
from tbmreview.findings.contrast import contrast
from tbmreview.indicators import INDICATORS, INTERVALS, Indicator

BESIDE_M = 20.0  # of ground on either side
COMPARED: tuple[Indicator, ...] = tuple(i for i in INDICATORS if i not in INTERVALS)
SHOWN = (
    "net_fpi_kN_per_mm_rev", "fpi_kN_per_mm_rev", "penetration_mm_rev", "penetration_rate_m_h",
    "net_specific_energy_MJ_m3", "torque_ratio", "net_disc_load_kN", "thrust_kN", "torque_kNm", "head_speed_rpm",
    "torque_spread", "segment_reacted_share",
)  # fmt: skip
HOW = (
    "inside and beside: of the sums over the stretch. Medians, dominance (share of pairs larger inside, less the share "
    "smaller: -1 to 1), separability and the share judged wrongly at the value between are of its 0.1 m steps, which "
    "follow each other, so no test of significance is made of them."
)


def mark_contrast(drive: Drive, marks: Sequence[Mark], beside_m: float = BESIDE_M) -> Table:
    """Each indicator of each mark against the ground within beside_m on either side, in CONTRAST_COLUMNS.

    Loading and unloading of strokes are left out, and beside a mark what other marks cover. An indicator that
    is missing on both sides has no row. Of a mark without length (a change of rock) `inside` is the ground within
    beside_m before it, and `beside` that after it.
    """
    profile, every = profile_of(drive), drive.marks()
    rows = [
        row for mark in marks for row in _rows(profile, mark, [m for m in every if m.id != mark.id], beside_m)
    ]
    columns: dict[str, Column] = {}
    for name in CONTRAST_COLUMNS:
        values = [row[name] for row in rows]
        text = name in ("id", "kind", "indicator", "unit")
        columns[name] = texts([str(v) for v in values]) if text else np.array(values, np.float64)
    return Table(columns)


def _rows(profile: Profile, mark: Mark, others: Sequence[Mark], beside_m: float) -> list[dict[str, object]]:
    at = middle_m(profile)
    near = (at >= mark.position_from_m - beside_m) & (at < mark.position_to_m + beside_m)
    inside = (at >= mark.position_from_m) & (at < mark.position_to_m)
    if not mark.length_m:
        inside = near & (at < mark.position_from_m)
    beside = near & ~inside
    for other in others:
        beside &= ~((at >= other.position_from_m) & (at < other.position_to_m))
    whole = [_whole(profile, mask) for mask in (inside, beside)]
    solid = profile.rows["advance_m"] >= LEAST_ADVANCE_M
    out: list[dict[str, object]] = []
    for indicator in COMPARED:
        within, outside = (figures.get(indicator.name, np.nan) for figures in whole)
        if np.isnan(within) and np.isnan(outside):
            continue
        values = profile.rows[indicator.name]
        apart = contrast(values[inside & solid], values[beside & solid])
        out.append(
            {
                "id": mark.id, "kind": mark.kind, "indicator": indicator.name, "unit": indicator.unit,
                "inside": within, "beside": outside, "inside_over_beside": within / outside if outside else np.nan,
                "inside_median": apart.inside, "beside_median": apart.outside,
                "inside_n": apart.inside_n, "beside_n": apart.outside_n, "dominance": apart.dominance,
                "separability": apart.separability, "between": apart.between, "wrong_share": apart.wrong_share,
            }
        )  # fmt: skip
    return out


def _whole(profile: Profile, mask: NDArray[np.bool_]) -> dict[str, float]:
    return dict(profile.over(mask)) if mask.any() else {}


def _short(rows: Table, mark: Mark, beside_m: float) -> list[str]:
    """That the ground beside is less than was asked for, where it is."""
    wanted = 2 * beside_m if mark.length_m else beside_m
    seen = float(np.nanmax(rows["beside_n"])) / 10 if len(rows) else wanted  # of 0.1 m steps
    if seen >= 0.9 * wanted:
        return []
    return [f"beside it {seen:.0f} m of {wanted:g} m: the rest is not bored, or other marks cover it"]


def contrast_text(drive: Drive, marks: Sequence[Mark], beside_m: float = BESIDE_M) -> str:
    """For a terminal: each mark's place, then its indicators inside against beside."""
    rows = mark_contrast(drive, marks, beside_m)
    said = []
    for mark in marks:
        mine = rows.rows((rows["id"] == mark.id) & np.isin(rows["indicator"], SHOWN))
        how = (
            f"against {beside_m:g} m on either side"
            if mark.length_m
            else f"{beside_m:g} m before it (inside) against as much after it (beside)"
        )
        head = f"{mark.id} {mark.kind}, {span_text(drive, mark)}, {how}"
        columns = tuple(name for name in CONTRAST_COLUMNS if name not in ("id", "kind"))
        body = text_table(mine, drive.setup.drive.zone, columns) if len(mine) else "nothing was bored in it"
        said += [head, body, *_short(mine, mark, beside_m), ""]
    return "\n".join([*said, HOW])
