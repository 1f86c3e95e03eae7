"""The columns that a table has on request only, as columns_text has the others."""

from tbmreview.drive.columns_text import TEXT, WHOLE, TextColumn
from tbmreview.indicators import INDICATORS, INTERVALS, Indicator

_RESPONSE = (
    TextColumn("response_slope", "slope p on Fn", "log-log"),
    TextColumn("response_slope_low", "from", "log-log"),
    TextColumn("response_slope_high", "to", "log-log"),
    TextColumn("critical_load_kN", "critical load", "kN", decimals=0),
    TextColumn("critical_load_low_kN", "from", "kN", decimals=0),
    TextColumn("critical_load_high_kN", "to", "kN", decimals=0),
    TextColumn("response_points", "points", kind=WHOLE),
    TextColumn("response_refused", "why none", kind=TEXT),
    TextColumn("response_control", "control", kind=TEXT),
)
RESPONSE_COLUMNS: tuple[str, ...] = tuple(column.name for column in _RESPONSE)


def _banded(indicator: Indicator) -> tuple[TextColumn, TextColumn]:
    unit, decimals = indicator.unit, indicator.decimals
    return (
        TextColumn(f"{indicator.name}_u95", f"{indicator.short} ±", unit, decimals=decimals),
        TextColumn(f"{indicator.name}_u95_random", f"{indicator.short} ± random", unit, decimals=decimals),
    )


ON_REQUEST: dict[str, TextColumn] = {
    column.name: column
    for column in (*_RESPONSE, *(one for i in INDICATORS if i not in INTERVALS for one in _banded(i)))
}
