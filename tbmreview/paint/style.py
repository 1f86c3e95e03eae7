"""What each role looks like: colours, pens, hatches, type. Nothing else in the program names a colour.

Ink on white with one accent, kept for findings. Net and gross differ in weight and lightness, ground in
hatch, so that everything survives a grey printer; the blue and the accent differ for colour-blind
readers too (professional judgement; lightness checked in the tests).
"""

import math
from dataclasses import dataclass

from tbmreview.scene.look import PX

INK = "#1d2733"
SOFT = "#5b6673"
ACCENT = "#b3390f"


@dataclass(frozen=True, slots=True)
class Stroke:
    """A pen: colour, width in units (1/100 mm), dash and gap in units (none: solid)."""

    colour: str
    width: float = 18.0
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Type:
    """How a text looks."""

    colour: str = INK
    bold: bool = False


@dataclass(frozen=True, slots=True)
class Family:
    """Parallel lines of a hatch: direction in degrees (0 level, rising to the right), distance between
    lines, and dash and gap along them, in units; dashes of every second line are set off by `shift`."""

    angle: float
    apart: float
    dash: float = 0.0
    gap: float = 0.0
    shift: float = 0.0


PAGE = "#ffffff"

FILLS: dict[str, str] = {
    "selected": "#f8e6dc",
    "plate": "#ffffff",
    "band": "#dfe8ef",
    "ground-none": "#ffffff",
    "ground-massive": "#eef0f2",
    "ground-foliated": "#e3ebe4",
    "ground-schistose": "#d8e3ea",
    "ground-bedded": "#f3ecd6",
    "ground-crushed": "#e6d9c6",
    "ground-fault": "#cfc3c0",
    "ground-other": "#f6f6f4",
    "mark": "#e9e7f2",
    "mark-selected": "#f8e6dc",
    "class-0": "#fbfbfa",
    "class-1": "#f0f1f0",
    "class-2": "#e3e6e7",
    "class-3": "#d4d8db",
    "class-4": "#c3c9cd",
    "class-5": "#b0b8be",
    "reaction-unknown": "#6b757f",
    "reaction-grippers": "#b4c6d6",
    "reaction-part-ring": "#7796b3",
    "reaction-ring": "#2f5d8a",
    "state-boring": "#123f6d",
    "state-turning": "#7796b3",
    "state-cycle": "#7f8a95",
    "state-loaded": "#3d4854",
    "state-standing": "#c3c9cf",
    "state-missing": "#ffffff",
    "state-flag": "#9fb3c6",
    "state-delay": "#efe6d2",
}

STROKES: dict[str, Stroke] = {
    "grid": Stroke("#e4e7ea", 10),
    "frame": Stroke("#8a949e", 15),
    "tick": Stroke(SOFT, 15),
    "ground-edge": Stroke("#6b757f", 12),
    "hatch": Stroke("#77818b", 10),
    "line-net": Stroke("#123f6d", 40),
    "line-single": Stroke("#123f6d", 40),
    "line-gross": Stroke("#7f8a95", 18),
    "range-net": Stroke("#a9c1d8", 26),
    "range-single": Stroke("#a9c1d8", 26),
    "range-gross": Stroke("#d9dde1", 26),
    "band-edge": Stroke("#a3b1bd", 10),
    "limit": Stroke(INK, 18, (120, 60)),
    "off-scale": Stroke(INK, 60),
    "finding-open": Stroke(ACCENT, 40),
    "finding-agreed": Stroke(ACCENT, 80),
    "finding-set-aside": Stroke("#c9a496", 18),
    "finding-selected": Stroke(ACCENT, 110),
    "finding-edge": Stroke("#e9b8a3", 12),
    "mark-frame": Stroke("#4b4668", 18),
    "mark-end": Stroke("#8d88a8", 14, (90, 60)),
}

TYPES: dict[str, Type] = {
    "strong": Type(INK, bold=True),
    "unit": Type(SOFT),
    "small": Type(INK),
    "ground": Type(INK),
    "limit": Type(INK),
    "notice": Type(SOFT),
    "finding-id": Type(ACCENT),
    "mark-name": Type(INK),
    "finding-id-selected": Type(ACCENT, bold=True),
}


def _level(pixels: float, angle: float) -> float:
    """Distance of lines that stand so many window pixels apart along the level."""
    return pixels * PX * math.sin(math.radians(angle))


# Slopes 1:3, 1:1 and 2:1, and distances of whole pixels, so that a sharp hairline repeats evenly.
GENTLE, HALF, STEEP = (math.degrees(math.atan(slope)) for slope in (1 / 3, 1, 2))

HATCHES: dict[str, tuple[Family, ...]] = {
    "massive": (Family(0, 10 * PX, 4 * PX, 12 * PX, 8 * PX), Family(90, 8 * PX, 3 * PX, 17 * PX, 10 * PX)),
    "foliated": (Family(GENTLE, _level(18, GENTLE), 420, 120, 270),),
    "schistose": (Family(STEEP, _level(5, STEEP)),),
    "bedded": (Family(0, 5 * PX),),
    "crushed": (
        Family(HALF, _level(9, HALF), 140, 110, 125),
        Family(180 - HALF, _level(9, HALF), 140, 110, 125),
    ),
    "fault": (Family(HALF, _level(5, HALF)), Family(180 - HALF, _level(5, HALF))),
    "other": (Family(90, 16 * PX, 30, 240, 135),),
}
