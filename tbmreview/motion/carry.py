"""What is carried from one day to the next: where to start from, and what was known there."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from itertools import count, takewhile
from statistics import median
from typing import Any

import numpy as np

REMEMBERED = 5  # strokes that a rolling baseline looks back on


@dataclass(frozen=True, slots=True)
class Baseline:
    """The last few measured values of one quantity, oldest first."""

    values: tuple[float, ...] = ()

    def with_value(self, value: float) -> "Baseline":
        """The baseline after one more measurement; NaN is none."""
        return self if np.isnan(value) else Baseline((*self.values, value)[-REMEMBERED:])

    @property
    def value(self) -> float:
        """Median of the remembered values; NaN if there is none."""
        return float(median(self.values)) if self.values else float("nan")

    @property
    def spread(self) -> float:
        """Standard deviation of the remembered values; NaN for fewer than two."""
        return float(np.std(self.values, ddof=1)) if len(self.values) > 1 else float("nan")


@dataclass(frozen=True, slots=True)
class Baselines:
    """Rolling values: no-load torque and torque while boring [kNm]; no-load torque of the last strokes in a row that
    contradict the first."""

    no_load_torque_kNm: Baseline = Baseline()
    boring_torque_kNm: Baseline = Baseline()
    other_no_load_kNm: Baseline = Baseline()


@dataclass(frozen=True, slots=True)
class Carry:
    """The place to start from, and what was known there.

    resume_us: start of the open stroke, at a reset of the pushing set; 0 at the start of the drive.
    position_m: the face there; NaN where the drive has no sample yet.
    nominal_us: nominal interval of the whole UTC day that resume_us lies in; 0 is not known.
    regrip_until_us: end of the regrip that goes on there; 0 is none.
    ring_until_us: how far the pause that it lies in is taken for ring building; 0 is not.
    quiet_us: stretches (from, to) after resume_us in which the machine only stood: their samples need not
    be read again, so that a long stop within a stroke does not make windows grow.
    ring, ring_from_m, ring_start_us: the current ring, and where and when it began; ring -1 is none.
    """

    resume_us: int = 0
    position_m: float = float("nan")
    nominal_us: int = 0
    regrip_until_us: int = 0
    ring_until_us: int = 0
    ring: int = -1
    ring_from_m: float = float("nan")
    ring_start_us: int = 0
    quiet_us: tuple[tuple[int, int], ...] = ()
    baselines: Baselines = field(default_factory=Baselines)

    def numbers(self) -> dict[str, float]:
        """A flat record of numbers: JSON keeps it exactly; missing values are left out."""
        out = {name: getattr(self, name) for name in PLAIN if getattr(self, name) == getattr(self, name)}
        for i, (start, end) in enumerate(self.quiet_us):
            out |= {f"quiet_from.{i}": start, f"quiet_to.{i}": end}
        for spec in fields(self.baselines):
            for i, value in enumerate(getattr(self.baselines, spec.name).values):
                out[f"{spec.name}.{i}"] = value
        return out


def carry_from(numbers: Mapping[str, float]) -> Carry:
    """The carry that `Carry.numbers` wrote."""
    plain: dict[str, Any] = {
        name: int(numbers[name]) if name in WHOLE else numbers[name] for name in PLAIN if name in numbers
    }
    quiet = zip(_listed(numbers, "quiet_from"), _listed(numbers, "quiet_to"), strict=True)
    kept = {spec.name: Baseline(_listed(numbers, spec.name)) for spec in fields(Baselines)}
    return Carry(**plain, quiet_us=tuple((int(a), int(b)) for a, b in quiet), baselines=Baselines(**kept))


def _listed(numbers: Mapping[str, float], name: str) -> tuple[float, ...]:
    return tuple(numbers[f"{name}.{i}"] for i in takewhile(lambda i: f"{name}.{i}" in numbers, count()))


WHOLE = ("resume_us", "nominal_us", "regrip_until_us", "ring_until_us", "ring", "ring_start_us")
PLAIN = (*WHOLE, "position_m", "ring_from_m")
