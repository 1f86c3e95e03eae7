"""Which page tells of what: every column of a table, every strip of a picture, every model and kind of finding."""

import difflib
from collections.abc import Mapping

from tbmreview.domain.errors import UsageError
from tbmreview.drive.classes import BOREABILITY_COLUMNS, CLASS_COLUMNS, SEEN_COLUMNS
from tbmreview.drive.columns_of_pads import PAD_COLUMNS, pad_column
from tbmreview.findings.registry import DETECTORS
from tbmreview.help.pages import PAGES
from tbmreview.indicators import INDICATORS
from tbmreview.indicators.conversions import OF_GROUND
from tbmreview.indicators.models import MODELS
from tbmreview.scene.class_list import CLASSES_BY_NAME
from tbmreview.scene.strips import STRIPS

# Columns that are no indicators, by page. An indicator's page is its family.
COLUMNS: Mapping[str, tuple[str, ...]] = {
    "rates": ("advance_m", "boring_s", "revolutions", "unrecorded_advance_m"),
    "load": (
        *(
            "drag_source",
            "drag_kN",
            "drag_sd_kN",
            "drag_n",
            "regrip_force_kN",
            "start_thrust_kN",
            "going_on_kN",
            "free_thrust_kN",
        ),
        *("no_load_torque_kNm", "no_load_sd_kNm", "no_load_n", "no_load_source", "no_load_speed_rpm"),
    ),
    "position": (
        *("position_from_m", "position_to_m", "chainage_from_m", "chainage_to_m", "chainage_m"),
        *("time_utc", "stroke_chainage_m", "ahead_mm", "over_m", "misclosure_mm", "misclosure_permille"),
        *("used", "why"),
    ),
    "states": (
        *("stroke", "ring", "ring_source", "counted", "pushing_set", "reaction", "interruptions"),
        *("boring_h", "turning_free_h", "turning_loaded_h", "regrip_h", "ring_build_h", "standing_h"),
        *("no_record_h", "ring_h", "ring_wait_h", "other_h", "ring_while_boring_h", "held_by"),
    ),
    "time": (
        *("start_utc", "end_utc", "date", "shift", "shift_start_utc", "total_h", "recorded_h", "working_h"),
        *("utilisation_calendar", "utilisation_recorded", "utilisation_working", "advance_rate_m_h"),
        *(
            "advance_rate_recorded_m_h",
            "advance_rate_working_m_h",
            "code",
            "count",
            "hours",
            "while_boring_h",
        ),
        *("share", "cumulated_share", "unexplained_h", "withdrawn_by", "withdrawn_utc"),
    ),
    "response": (
        *("response_slope", "response_slope_low", "response_slope_high", "response_points"),
        *("critical_load_kN", "critical_load_low_kN", "critical_load_high_kN", "response_refused"),
        "response_control",
    ),
    "expected": (
        *("model", "quantity", "unit", "observed", "expected", "observed_over_expected", "range", "missing"),
        *("stated", "source", "label"),
    ),
    "logs": ("line",),
    "findings": (
        *("id", "kind", "strength", "evidence", "verdict", "decided_by", "decided_utc", "note", "group"),
    ),
    "marks": (
        *("from_u95_m", "to_u95_m", "dip_deg", "dip_direction_deg", "axis_angle_deg", "confidence"),
        *(
            "first_contact_chainage_m",
            "last_contact_chainage_m",
            "findings",
            "photos",
            "version",
            "withdrawn",
        ),
        *("indicator", "inside", "beside", "inside_over_beside", "inside_median", "beside_median"),
        *("inside_n", "beside_n", "dominance", "separability", "between", "wrong_share", "outcome"),
        *("mark_from_m", "mark_to_m", "ground_from_m", "ground_to_m", "from_shift_m", "to_shift_m"),
        *("overlap_m", "compared_with", "open", "changed", "number", "undoes"),
    ),
    "ground": ("ground", "mark", "ground_kind", "ground_name", "ground_issued", *SEEN_COLUMNS),
    "classes": (
        *(
            *CLASS_COLUMNS,
            *BOREABILITY_COLUMNS,
            *OF_GROUND,
            "mapped_class",
            "mapped_scheme",
            "predicted_class",
        ),
        *("predicted_scheme", "classes_off", "compared_by", "mapped_name", "mapped_issued", "predicted_name"),
        *("predicted_issued", "agreed_share"),
    ),
    "balance": (
        *("bored_m3", "loose_m3", "bored_t", "belt_t", "belt_measured", "belt_t_m3", "surplus_t"),
        *("surplus_pct", "bored_cumulated_t", "belt_cumulated_t", "surplus_cumulated_t"),
        *("surplus_cumulated_pct", "flag", "gap_m3", "mortar_m3", "gravel_m3", "filled_m3", "filled_share"),
        *("voids_filled", "gap_cumulated_m3", "filled_cumulated_m3", "filled_cumulated_share", "length_m"),
        *("inflow_l_min", "inflow_10m_l_min"),
    ),
    "wear": (
        *("disc", "radius_m", "installed_utc", "installed_chainage_m", "changed_utc", "changed_chainage_m"),
        *("rolling_km", "track_speed_m_min", "changes", "m3_per_disc", "face_m3_per_disc"),
        *("face_m3_per_mm", "km_per_disc", "wear_mm", "m3_per_mm", "km_per_mm", "limit_km"),
        *("limit_source", "used_share", "left_m", "due", "discs_used"),
    ),
    "pads": tuple(PAD_COLUMNS),
}
UNCERTAINTY = ("_u95", "_u95_random")
OF_COLUMN: Mapping[str, str] = {
    **{column: name for name, columns in COLUMNS.items() for column in columns},
    **{f"{i.name}{end}": "uncertainty" for i in INDICATORS for end in UNCERTAINTY},
    **{i.name: i.family for i in INDICATORS},
}
OF_STRIP: Mapping[str, str] = {strip.name: OF_COLUMN[strip.series[0].column] for strip in STRIPS}
# As a person may ask: a page first, then a column, a strip, a model, a kind of finding.
OF_TOPIC: Mapping[str, str] = {
    **{kind.lower(): "findings" for detector in DETECTORS for kind in detector.kinds},
    **{model.name: "expected" for model in MODELS},
    **OF_STRIP,
    **{strip.label.lower(): OF_STRIP[strip.name] for strip in STRIPS},
    **{column.lower(): name for column, name in OF_COLUMN.items()},
    **{name: name for name in PAGES},
}
ROWS = ("findings", "marks")  # rows of the picture that have pages of their own names
CLOSE = 3  # names offered for one that is not known


def page_of_column(column: str) -> str:
    """Name of the page that tells of a column, '' where none does (an extra channel, a delay code's hours)."""
    return OF_COLUMN.get(column, "pads" if pad_column(column) else "")


def page_of_strip(strip: str) -> str:
    """Name of the page that tells of a strip or a row of the picture, '' beside them."""
    if strip in CLASSES_BY_NAME:
        return "classes"
    if strip in ROWS:
        return strip
    return OF_STRIP.get(strip, "ground" if strip else "")


def page_of_topic(topic: str) -> str:
    """Name of the page for what a person asks: a page, column, strip, model or kind of finding. UsageError."""
    asked = topic.strip().lower()
    if asked in OF_TOPIC:
        return OF_TOPIC[asked]
    near = difflib.get_close_matches(asked, OF_TOPIC, CLOSE)
    meant = f"; did you mean {', '.join(near)}?" if near else ""
    raise UsageError(f"no method note tells of {topic!r}{meant} Notes: {', '.join(PAGES)}")
