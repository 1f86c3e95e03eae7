"""Columns of forces of pads on the ring, for people: those of all pads, and those of each."""

from collections.abc import Mapping

from tbmreview.drive.columns_text import TEXT, TextColumn

_ALL = (
    TextColumn("pad", "pad", kind=TEXT),
    TextColumn("angle_deg", "at", "deg", decimals=0),
    TextColumn("doing", "doing", kind=TEXT),
    TextColumn("all_pads_s", "all pads", "s", decimals=0),
    TextColumn("total_kN", "total", "kN", decimals=0),
    TextColumn("eccentricity_right_mm", "to the right", "mm", decimals=0),
    TextColumn("eccentricity_up_mm", "up", "mm", decimals=0),
    TextColumn("eccentricity_mm", "eccentricity", "mm", decimals=0),
    TextColumn("eccentricity_deg", "towards", "deg", decimals=0),
    TextColumn("eccentricity_of_limit", "eccentricity", "of limit"),
    TextColumn("eccentricity_max_mm", "greatest", "mm", decimals=0),
    TextColumn("eccentricity_max_of_limit", "greatest", "of limit"),
    TextColumn("highest_pad", "highest pad", kind=TEXT),
    TextColumn("highest_kN", "its force", "kN", decimals=0),
    TextColumn("highest_of_limit", "its force", "of limit"),
)
PAD_COLUMNS: Mapping[str, TextColumn] = {column.name: column for column in _ALL}
_OF_PAD = (
    ("_max_of_limit", " greatest", "of limit", 2),
    ("_max_kN", " greatest", "kN", 0),
    ("_kN", "", "kN", 0),
)


def pad_column(name: str) -> TextColumn | None:
    """A column of PAD_COLUMNS or of a single pad, such as pad_3_kN; None for another name."""
    for end, heading, unit, decimals in _OF_PAD:
        if name.startswith("pad_") and name.endswith(end):
            label = name.removeprefix("pad_").removesuffix(end)
            return TextColumn(name, f"pad {label}{heading}", unit, decimals=decimals)
    return PAD_COLUMNS.get(name)
