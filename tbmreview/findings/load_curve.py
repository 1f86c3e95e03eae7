"""What a change of load alone does to penetration: the more thrust, the lower FPI in the same ground.

Load rises with a power of penetration, F = F1 p^e, in the same ground (the form of Bruland 1998, from memory), so
FPI follows load as F^(1 - 1/e) and penetration as F^(1/e). The exponent is the ground's own; the settings give
the range that is taken for possible.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tbmreview.domain.finding_settings import FindingSettings


@dataclass(frozen=True, slots=True)
class ByLoad:
    """What load alone would do: load inside over load beside, and FPI at the same ratio, its least and greatest."""

    load_ratio: float
    least: float
    greatest: float

    def explains(self, ratio: float, tolerance: float) -> bool:
        """Whether an FPI inside over that beside is what load alone does, within a factor."""
        return self.least / tolerance <= ratio <= self.greatest * tolerance

    def left_over(self, ratio: float) -> float:
        """The part of a ratio of FPI that load does not explain at best, as a ratio."""
        return ratio / float(np.clip(ratio, self.least, self.greatest))

    def words(self) -> str:
        """In a sentence."""
        return (
            f"Load was {self.load_ratio:.2f} times that beside it, which alone makes FPI {self.least:.2f} to "
            f"{self.greatest:.2f} times."
        )


def by_load(
    inside: tuple[float, float], beside: tuple[float, float], settings: FindingSettings
) -> ByLoad | None:
    """What load alone would have done to FPI; None where load hardly differs, or where penetration or FPI went the
    other way, which load cannot do.

    inside, beside: (disc load [kN], penetration [mm/rev]) of an interval and of the ground beside it.
    """
    if not min(*inside, *beside) > 0:
        return None
    load, penetration = (a / b for a, b in zip(inside, beside, strict=True))
    if abs(np.log(load)) < np.log(settings.curve_least_load_ratio) or (penetration > 1) != (load > 1):
        return None
    if (load / penetration > 1) == (load > 1):
        return None
    ends = sorted(
        load ** (1 - 1 / e) for e in (settings.curve_least_exponent, settings.curve_greatest_exponent)
    )
    return ByLoad(load, ends[0], ends[1])


def by_load_of(figures: Mapping[str, float], settings: FindingSettings) -> ByLoad | None:
    """`by_load` of figures that hold disc_load_kN and penetration_mm_rev, and both as baseline_…"""
    names = ("disc_load_kN", "penetration_mm_rev")
    inside, beside = ([figures[f"{side}{name}"] for name in names] for side in ("", "baseline_"))
    return by_load((inside[0], inside[1]), (beside[0], beside[1]), settings)
