"""Where things lie on an A3 sheet, in 1/100 mm, and how a stretch is cut into pages."""

import math
from dataclasses import dataclass

from tbmreview.scene.plan import Box

PAGE_WIDTH, PAGE_HEIGHT = 42_000.0, 29_700.0  # ISO 216 A3, landscape
FRAME = Box(2_000, 1_000, 39_000, 27_700)  # 20 mm to file it, 10 mm elsewhere (ISO 5457, from memory)
BAND_HEIGHT = 7_100.0
BAND_TOP = FRAME.top + FRAME.height - BAND_HEIGHT
PICTURE = Box(FRAME.left + 300, FRAME.top + 100, FRAME.width - 600, BAND_TOP - FRAME.top - 200)
FINDINGS = Box(FRAME.left, BAND_TOP, 15_500, BAND_HEIGHT)
LEGEND = Box(FINDINGS.left + FINDINGS.width, BAND_TOP, 7_500, BAND_HEIGHT)
TITLE = Box(LEGEND.left + LEGEND.width, BAND_TOP, FRAME.width - FINDINGS.width - LEGEND.width, BAND_HEIGHT)
PAD = 150.0


@dataclass(frozen=True, slots=True)
class Stretch:
    """A page's part of the axis, in positions [m]."""

    from_m: float
    to_m: float

    @property
    def length_m(self) -> float:
        return self.to_m - self.from_m


def units_per_metre(scale: int) -> float:
    """How long one metre of tunnel is on paper, in 1/100 mm."""
    return 100_000.0 / scale


def cut(from_m: float, to_m: float, scale: int, room: float, origin_m: float = 0.0) -> tuple[Stretch, ...]:
    """The pages of a stretch: each as long as fits into `room` units at 1:scale.

    Pages after the first begin on a round station (position + origin_m), so that two sheets of a drive
    meet at a figure one can read. The last may be shorter.
    """
    longest = room / units_per_metre(scale)
    grain = _round_length(longest)
    pages: list[Stretch] = []
    start = from_m
    while to_m - start > longest * (1 + 1e-9):
        end = math.floor((start + longest + origin_m) / grain + 1e-9) * grain - origin_m
        pages.append(Stretch(start, end))
        start = end
    pages.append(Stretch(start, to_m))
    return tuple(pages)


def _round_length(longest_m: float) -> float:
    """The greatest of 1, 2, 5 x 10^n m that is at most a tenth of a page."""
    tenth = longest_m / 10
    power = 10.0 ** math.floor(math.log10(tenth))
    return float(max(power * k for k in (1, 2, 5) if power * k <= tenth))
