"""Ground: geology by interval of chainage."""

import numpy as np

from tbmreview.domain.classes import QUANTITIES
from tbmreview.domain.table import Table

MAPPED, PREDICTED, PROBED = "mapped", "predicted", "probed"
GROUND_KINDS = (MAPPED, PREDICTED, PROBED)

FACE, WINDOW, MUCK, INFERRED = "face", "window", "muck", "inferred"
SEEN_WORDS = {
    FACE: "seen at the face",
    WINDOW: "seen in a window",
    MUCK: "seen in muck",
    INFERRED: "inferred",
}
SEEN_HOW = tuple(SEEN_WORDS)  # from what an interval was mapped

# Columns of a ground table, in the order of the axis. Text is '' and numbers NaN where not given.
# position_from_m < position_to_m whichever way the source wrote its interval.
GROUND_COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("position_from_m", "m", "where the interval begins along the drive"),
    ("position_to_m", "m", "where it ends"),
    ("rock", "", "rock or zone, as written"),
    ("hatch", "", "one of HATCHES: how it is drawn"),
    ("ucs_MPa", "MPa", "uniaxial compressive strength"),
    ("bts_MPa", "MPa", "Brazilian tensile strength"),
    ("rqd_pct", "%", "rock quality designation"),
    ("rmr", "", "rock mass rating (Bieniawski 1989)"),
    ("q", "", "Q value (Barton)"),
    ("gsi", "", "geological strength index"),
    ("jv_per_m3", "1/m3", "volumetric joint count"),
    ("cai", "", "CERCHAR abrasivity index"),
    ("angle_deg", "deg", "angle between tunnel axis and plane of weakness"),
    ("water_l_min", "l/min", "inflow over 10 m"),
    ("note", "", "free text"),
    *(
        column
        for q in QUANTITIES
        for column in (
            (f"{q.stem}_class", "", f"class of {q.label}, as the table gives it"),
            (f"{q.stem}_scheme", "", "scheme of that class, or of the number (domain.classes)"),
        )
    ),
    ("seen_how", "", "one of SEEN_HOW"),
    (
        "seen_when",
        "",
        "when it was seen: a date of the site (2031-03-02) or an instant (2031-03-02T06:30:00Z)",
    ),
)
GROUND_NUMBERS: tuple[str, ...] = tuple(
    name
    for name, _, _ in GROUND_COLUMNS
    if name not in ("rock", "hatch", "note")
    and not name.endswith(("_class", "_scheme"))
    and name[:5] != "seen_"
)

HATCHES = ("massive", "foliated", "schistose", "bedded", "crushed", "fault", "other")

OUTSIDE = "outside"  # the row of `--by ground` for what no interval covers


def empty_ground() -> Table:
    """A ground table without rows."""
    return Table(
        {n: np.empty(0, np.float64 if n in GROUND_NUMBERS else object) for n, _, _ in GROUND_COLUMNS}
    )
