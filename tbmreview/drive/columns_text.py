"""The columns of tables: their order (which scripts rely on), and how each is written for people."""

from dataclasses import dataclass

from tbmreview.domain.classes import QUANTITIES
from tbmreview.indicators import FURTHER, INDICATORS, INTERVALS, Indicator
from tbmreview.indicators.conversions import OF_GROUND

NUMBER, WHOLE, TIME, TEXT = "number", "whole", "time", "text"


@dataclass(frozen=True, slots=True)
class TextColumn:
    """A column: heading and unit for people, kind of value, decimals in text.

    A WHOLE column is float64 with NaN for missing inside, and written without decimals; a TIME column is
    int64 microseconds UTC (drive.reading.NO_TIME is missing).
    """

    name: str
    heading: str
    unit: str = ""
    kind: str = NUMBER
    decimals: int = 2


def _of(indicator: Indicator) -> TextColumn:
    return TextColumn(indicator.name, indicator.short, indicator.unit, decimals=indicator.decimals)


_PLACE = (
    TextColumn("position_from_m", "position from", "m"),
    TextColumn("position_to_m", "to", "m"),
    TextColumn("chainage_from_m", "chainage from", "m"),
    TextColumn("chainage_to_m", "to", "m"),
    TextColumn("start_utc", "start", "UTC", TIME),
    TextColumn("end_utc", "end", "UTC", TIME),
)
_TABLE = (
    *_PLACE,
    TextColumn("stroke", "stroke", kind=WHOLE),
    TextColumn("ring", "ring", kind=WHOLE),
    TextColumn("shift", "shift", kind=TEXT),
    TextColumn("advance_m", "advance", "m"),
    TextColumn("boring_s", "boring", "s", decimals=0),
    TextColumn("revolutions", "revolutions", "rev", decimals=0),
    *(_of(i) for i in INDICATORS if i not in (*INTERVALS, *FURTHER)),
    TextColumn("unrecorded_advance_m", "unrecorded", "m"),
    TextColumn("drag_source", "drag from", kind=TEXT),
    *(_of(i) for i in INTERVALS),
    TextColumn("counted", "counted", kind=TEXT),
    *(_of(i) for i in FURTHER),
)
_TIME = (
    TextColumn("shift_start_utc", "shift start", "UTC", TIME),
    TextColumn("shift", "shift", kind=TEXT),
    TextColumn("boring_h", "boring", "h"),
    TextColumn("turning_free_h", "turning free", "h"),
    TextColumn("turning_loaded_h", "turning loaded", "h"),
    TextColumn("regrip_h", "regrip", "h"),
    TextColumn("ring_build_h", "ring build", "h"),
    TextColumn("standing_h", "standing", "h"),
    TextColumn("no_record_h", "no record", "h"),
    TextColumn("total_h", "total", "h"),
    TextColumn("advance_m", "advance", "m"),
    TextColumn("utilisation_calendar", "utilisation", "of calendar", decimals=3),
    TextColumn("penetration_rate_m_h", "PR", "m/h"),
    TextColumn("advance_rate_m_h", "advance rate", "m/h"),
)
# Beside the hours: rates over other denominators, lost hours by delay, overrules.
_BESIDE_HOURS = (
    TextColumn("recorded_h", "recorded", "h"),
    TextColumn("working_h", "working shifts", "h"),
    TextColumn("utilisation_recorded", "utilisation", "of recorded", decimals=3),
    TextColumn("utilisation_working", "utilisation", "of working", decimals=3),
    TextColumn("advance_rate_recorded_m_h", "advance rate", "m/h recorded"),
    TextColumn("advance_rate_working_m_h", "advance rate", "m/h working"),
    TextColumn("count", "count", kind=WHOLE),
    TextColumn("hours", "lost", "h"),
    TextColumn("while_boring_h", "while boring", "h"),
    TextColumn("share", "share", decimals=3),
    TextColumn("cumulated_share", "cumulated", decimals=3),
    TextColumn("withdrawn_by", "withdrawn by", kind=TEXT),
    TextColumn("withdrawn_utc", "withdrawn", "UTC", TIME),
)
_CRITICAL = (
    TextColumn("shift_start_utc", "shift start", "UTC", TIME),
    TextColumn("shift", "shift", kind=TEXT),
    TextColumn("boring_h", "boring", "h"),
    TextColumn("ring_h", "ring", "h"),
    TextColumn("regrip_h", "regrip", "h"),
    TextColumn("ring_wait_h", "ring wait", "h"),
    TextColumn("other_h", "other", "h"),
    TextColumn("total_h", "total", "h"),
    TextColumn("ring_while_boring_h", "ring beside", "h"),
    TextColumn("held_by", "held by", kind=TEXT),
)
_FINDINGS = (
    TextColumn("id", "id", kind=TEXT),
    TextColumn("kind", "kind", kind=TEXT),
    *_PLACE,
    TextColumn("strength", "strength", decimals=1),
    TextColumn("evidence", "evidence", kind=TEXT),
    TextColumn("verdict", "verdict", kind=TEXT),
    TextColumn("decided_by", "decided by", kind=TEXT),
    TextColumn("decided_utc", "decided", "UTC", TIME),
    TextColumn("note", "note", kind=TEXT),
    TextColumn("group", "group", kind=TEXT),
)
_MARKS = (
    TextColumn("id", "id", kind=TEXT),
    TextColumn("kind", "kind", kind=TEXT),
    *(c for c in _PLACE if c.kind == NUMBER),
    TextColumn("length_m", "length", "m"),
    TextColumn("from_u95_m", "from ±", "m"),
    TextColumn("to_u95_m", "to ±", "m"),
    TextColumn("dip_deg", "dip", "deg", decimals=0),
    TextColumn("dip_direction_deg", "dip direction", "deg", decimals=0),
    TextColumn("axis_angle_deg", "to axis", "deg", decimals=0),
    TextColumn("first_contact_chainage_m", "first at face", "m"),
    TextColumn("last_contact_chainage_m", "last at face", "m"),
    TextColumn("confidence", "confidence", kind=TEXT),
    TextColumn("findings", "findings", kind=TEXT),
    TextColumn("ground", "ground", kind=TEXT),
    TextColumn("photos", "photos", kind=TEXT),
    TextColumn("note", "note", kind=TEXT),
    TextColumn("decided_by", "decided by", kind=TEXT),
    TextColumn("decided_utc", "decided", "UTC", TIME),
    TextColumn("version", "version", kind=WHOLE),
    TextColumn("withdrawn", "withdrawn", kind=TEXT),
)
_CONTRAST = (
    TextColumn("id", "id", kind=TEXT),
    TextColumn("kind", "kind", kind=TEXT),
    TextColumn("indicator", "indicator", kind=TEXT),
    TextColumn("unit", "unit", kind=TEXT),
    TextColumn("inside", "inside"),
    TextColumn("beside", "beside"),
    TextColumn("inside_over_beside", "ratio"),
    TextColumn("inside_median", "median inside"),
    TextColumn("beside_median", "median beside"),
    TextColumn("inside_n", "n inside", kind=WHOLE),
    TextColumn("beside_n", "n beside", kind=WHOLE),
    TextColumn("dominance", "dominance"),
    TextColumn("separability", "separability"),
    TextColumn("between", "value between"),
    TextColumn("wrong_share", "wrong", "share", decimals=3),
)
_MATCHES = (
    TextColumn("outcome", "outcome", kind=TEXT),
    TextColumn("mark", "mark", kind=TEXT),
    TextColumn("kind", "kind", kind=TEXT),
    TextColumn("ground", "ground", kind=TEXT),
    TextColumn("mark_from_m", "marked from", "m"),
    TextColumn("mark_to_m", "to", "m"),
    TextColumn("ground_from_m", "ground from", "m"),
    TextColumn("ground_to_m", "to", "m"),
    TextColumn("from_shift_m", "start shifted", "m", decimals=1),
    TextColumn("to_shift_m", "end shifted", "m", decimals=1),
    TextColumn("overlap_m", "overlap", "m", decimals=1),
    TextColumn("compared_with", "compared with", kind=TEXT),
)
_CLASS_MATCH = (
    TextColumn("quantity", "of", kind=TEXT),
    *(c for c in _PLACE if c.kind == NUMBER),
    TextColumn("length_m", "length", "m", decimals=1),
    TextColumn("mapped_class", "mapped", kind=TEXT),
    TextColumn("mapped_scheme", "scheme", kind=TEXT),
    TextColumn("predicted_class", "predicted", kind=TEXT),
    TextColumn("predicted_scheme", "scheme", kind=TEXT),
    TextColumn("outcome", "outcome", kind=TEXT),
    TextColumn("classes_off", "mapped off", "classes", kind=WHOLE),
    TextColumn("compared_by", "compared by", kind=TEXT),
    TextColumn("mapped_name", "mapped table", kind=TEXT),
    TextColumn("mapped_issued", "issued", kind=TEXT),
    TextColumn("predicted_name", "predicted table", kind=TEXT),
    TextColumn("predicted_issued", "issued", kind=TEXT),
)
_CLASS_CROSS = (
    *(c for c in _CLASS_MATCH if c.name in ("quantity", "predicted_class", "predicted_scheme")),
    *(c for c in _CLASS_MATCH if c.name in ("mapped_class", "mapped_scheme", "outcome", "classes_off")),
    TextColumn("length_m", "length", "m", decimals=1),
    TextColumn("share", "share", decimals=3),
    TextColumn("agreed_share", "agreed", "of compared", decimals=3),
    *(c for c in _CLASS_MATCH if c.name.endswith(("_name", "_issued"))),
)
_SIGNED = (
    TextColumn("shift_start_utc", "shift start", "UTC", TIME),
    TextColumn("shift", "shift", kind=TEXT),
    TextColumn("open", "open then", kind=TEXT),
    TextColumn("changed", "changed since", kind=TEXT),
    TextColumn("number", "number", kind=WHOLE),
    TextColumn("undoes", "takes back", kind=WHOLE),
)
_ANCHORS = (
    TextColumn("time_utc", "time", "UTC", TIME),
    TextColumn("source", "source", kind=TEXT),
    TextColumn("chainage_m", "face", "m", decimals=3),
    TextColumn("stroke_chainage_m", "by strokes", "m", decimals=3),
    TextColumn("ahead_mm", "ahead", "mm", decimals=0),
    TextColumn("over_m", "over", "m"),
    TextColumn("misclosure_mm", "misclosure", "mm", decimals=0),
    TextColumn("misclosure_permille", "", "per mille", decimals=1),
    TextColumn("used", "used", kind=TEXT),
    TextColumn("why", "why not", kind=TEXT),
    TextColumn("note", "note", kind=TEXT),
)
_EXPECTED = (
    *(c for c in _PLACE if c.kind == NUMBER),
    TextColumn("ground", "ground", kind=TEXT),
    TextColumn("advance_m", "advance", "m"),
    TextColumn("model", "model", kind=TEXT),
    TextColumn("quantity", "quantity", kind=TEXT),
    TextColumn("unit", "unit", kind=TEXT),
    TextColumn("observed", "observed"),
    TextColumn("expected", "expected"),
    TextColumn("observed_over_expected", "observed/expected"),
    TextColumn("range", "range", kind=TEXT),
    TextColumn("missing", "missing", kind=TEXT),
    TextColumn("stated", "stated", kind=TEXT),
    TextColumn("ground_kind", "ground table", kind=TEXT),
    TextColumn("ground_name", "named", kind=TEXT),
    TextColumn("ground_issued", "issued", kind=TEXT),
    TextColumn("source", "source", kind=TEXT),
    TextColumn("label", "label", kind=TEXT),
)
_LABELS = (
    TextColumn("ground", "ground", kind=TEXT),
    TextColumn("mark", "mark", kind=TEXT),
    TextColumn("ring_source", "ring by", kind=TEXT),
    TextColumn("date", "date", kind=TEXT),
)
# The balance of masses, the gap behind the rings, water, and the wear of discs.
_WORK = (
    TextColumn("bored_m3", "bored", "m3", decimals=1),
    TextColumn("loose_m3", "loose", "m3", decimals=1),
    TextColumn("bored_t", "bored", "t", decimals=1),
    TextColumn("belt_t", "belt", "t", decimals=1),
    TextColumn("belt_measured", "weighed", "of boring", decimals=3),
    TextColumn("belt_t_m3", "belt", "t/m3"),
    TextColumn("surplus_t", "surplus", "t", decimals=1),
    TextColumn("surplus_pct", "surplus", "%", decimals=1),
    TextColumn("bored_cumulated_t", "bored, cum.", "t", decimals=0),
    TextColumn("belt_cumulated_t", "belt, cum.", "t", decimals=0),
    TextColumn("surplus_cumulated_t", "surplus, cum.", "t", decimals=0),
    TextColumn("surplus_cumulated_pct", "surplus, cum.", "%", decimals=1),
    TextColumn("flag", "flag", kind=TEXT),
    TextColumn("gap_m3", "gap", "m3"),
    TextColumn("mortar_m3", "mortar", "m3"),
    TextColumn("gravel_m3", "gravel", "m3"),
    TextColumn("filled_m3", "filled", "m3"),
    TextColumn("filled_share", "filled", "of gap"),
    TextColumn("voids_filled", "mortar", "of voids"),
    TextColumn("gap_cumulated_m3", "gap, cum.", "m3", decimals=1),
    TextColumn("filled_cumulated_m3", "filled, cum.", "m3", decimals=1),
    TextColumn("filled_cumulated_share", "filled, cum.", "of gap"),
    TextColumn("length_m", "length", "m", decimals=1),
    TextColumn("inflow_l_min", "inflow", "l/min", decimals=1),
    TextColumn("inflow_10m_l_min", "over 10 m", "l/min", decimals=1),
    TextColumn("disc", "disc", kind=WHOLE),
    TextColumn("radius_m", "radius", "m", decimals=3),
    TextColumn("installed_utc", "installed", "UTC", TIME),
    TextColumn("installed_chainage_m", "at", "m"),
    TextColumn("changed_utc", "changed", "UTC", TIME),
    TextColumn("changed_chainage_m", "at", "m"),
    TextColumn("rolling_km", "rolled", "km", decimals=1),
    TextColumn("track_speed_m_min", "track speed", "m/min", decimals=1),
    TextColumn("changes", "changes", kind=WHOLE),
    TextColumn("m3_per_disc", "bored", "m3/disc", decimals=0),
    TextColumn("face_m3_per_disc", "face bored", "m3/disc", decimals=0),
    TextColumn("face_m3_per_mm", "face bored", "m3/mm", decimals=0),
    TextColumn("km_per_disc", "rolled", "km/disc", decimals=0),
    TextColumn("wear_mm", "wear", "mm", decimals=1),
    TextColumn("m3_per_mm", "bored", "m3/mm", decimals=1),
    TextColumn("km_per_mm", "rolled", "km/mm", decimals=1),
    TextColumn("limit_km", "limit", "km", decimals=0),
    TextColumn("limit_source", "limit from", kind=TEXT),
    TextColumn("used_share", "used", "of limit"),
    TextColumn("left_m", "left", "m bored", decimals=0),
    TextColumn("due", "due", kind=WHOLE),
    TextColumn("discs_used", "discs used", decimals=1),
)

# What a ground table says: numbers with their classes, and how it was seen.
_GROUND = (
    *(TextColumn(q.column, q.label, q.unit) for q in QUANTITIES if q.column),
    *(TextColumn(f"{q.stem}_class", f"{q.label} class", kind=TEXT) for q in QUANTITIES),
    *(TextColumn(f"{q.stem}_scheme", f"{q.label} scheme", kind=TEXT) for q in QUANTITIES),
    TextColumn("boreability_class", "boreability", kind=TEXT),
    TextColumn("boreability_scheme", "boreability scheme", kind=TEXT),
    TextColumn("seen_how", "seen in", kind=TEXT),
    TextColumn("seen_when", "seen", kind=TEXT),
    *(TextColumn(name, name.replace("_", " ")) for name in OF_GROUND),
)
CLASS_LABELS: tuple[str, ...] = tuple(f"{q.stem}_class" for q in QUANTITIES)

# By stroke: what the table of strokes says.
_OF_STROKE = (
    TextColumn("pushing_set", "pushing set", kind=TEXT),
    TextColumn("reaction", "reaction", kind=TEXT),
    TextColumn("interruptions", "interruptions", kind=WHOLE),
    TextColumn("drag_kN", "drag", "kN", decimals=0),
    TextColumn("drag_sd_kN", "drag sd", "kN", decimals=0),
    TextColumn("drag_n", "drag n", kind=WHOLE),
    TextColumn("no_load_torque_kNm", "no-load torque", "kNm", decimals=0),
    TextColumn("no_load_sd_kNm", "no-load sd", "kNm", decimals=0),
    TextColumn("no_load_n", "no-load n", kind=WHOLE),
    TextColumn("no_load_source", "no-load from", kind=TEXT),
    TextColumn("no_load_speed_rpm", "no-load at", "rpm"),
    TextColumn("regrip_force_kN", "regrip force", "kN", decimals=0),
    TextColumn("start_thrust_kN", "start thrust", "kN", decimals=0),
    TextColumn("going_on_kN", "going on", "kN", decimals=0),
    TextColumn("free_thrust_kN", "free thrust", "kN", decimals=0),
)
STROKE_LABELS: tuple[str, ...] = tuple(c.name for c in _OF_STROKE)

_LEFT_OUT = (
    TextColumn("line", "line", kind=WHOLE),
    TextColumn("time_utc", "time", "UTC", TIME),
)
TABLE_COLUMNS: tuple[str, ...] = tuple(c.name for c in _TABLE)
TIME_COLUMNS: tuple[str, ...] = tuple(c.name for c in _TIME)
CRITICAL_COLUMNS: tuple[str, ...] = tuple(c.name for c in _CRITICAL)
FINDINGS_COLUMNS: tuple[str, ...] = tuple(c.name for c in _FINDINGS)

MARK_COLUMNS: tuple[str, ...] = tuple(c.name for c in _MARKS)
CONTRAST_COLUMNS: tuple[str, ...] = tuple(c.name for c in _CONTRAST)
MATCH_COLUMNS: tuple[str, ...] = tuple(c.name for c in _MATCHES)
CLASS_MATCH_COLUMNS: tuple[str, ...] = tuple(c.name for c in _CLASS_MATCH)
CLASS_CROSS_COLUMNS: tuple[str, ...] = tuple(c.name for c in _CLASS_CROSS)
EXPECTED_COLUMNS: tuple[str, ...] = tuple(c.name for c in _EXPECTED)
ANCHOR_COLUMNS: tuple[str, ...] = tuple(c.name for c in _ANCHORS)

BY_NAME: dict[str, TextColumn] = {
    c.name: c
    for c in (
        *_LEFT_OUT,
        *_SIGNED,
        *_CLASS_CROSS,
        *_CLASS_MATCH,
        *_MATCHES,
        *_CONTRAST,
        *_MARKS,
        *_EXPECTED,
        *_ANCHORS,
        *_OF_STROKE,
        *_CRITICAL,
        *_LABELS,
        *_WORK,
        *_GROUND,
        *_FINDINGS,
        *_TIME,
        *_BESIDE_HOURS,
        *_TABLE,
    )
}

# What a terminal shows of a table, in this order; a label column that is mostly empty is left out.
TERMINAL_COLUMNS: tuple[str, ...] = (
    "date",
    "ground",
    "mark",
    "stroke",
    "ring",
    "ring_source",
    "shift",
    "chainage_from_m",
    "chainage_to_m",
    "start_utc",
    "advance_m",
    "penetration_mm_rev",
    "penetration_rate_m_h",
    "thrust_kN",
    "net_disc_load_kN",
    "torque_kNm",
    "fpi_kN_per_mm_rev",
    "net_fpi_kN_per_mm_rev",
    "specific_energy_MJ_m3",
    "net_specific_energy_MJ_m3",
    "segment_reacted_share",
    *CLASS_LABELS,
    *OF_GROUND,
)
LABEL_COLUMNS = ("date", "ground", "mark", "stroke", "ring", "shift", *CLASS_LABELS)
