"""What is carried from one day to the next: where to start from, and what was known there."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields

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
        return float(np.median(self.values)) if self.values else float("nan")

    @property
    def spread(self) -> float:
        """Standard deviation of the remembered values; NaN for fewer than two."""
        return float(np.std(self.values, ddof=1)) if len(self.values) > 1 else float("nan")


@dataclass(frozen=True, slots=True)
class Baselines:
    """Rolling values: drag of each set [kN], no-load torque and torque while boring [kNm]."""

    main_drag_kN: Baseline = Baseline()
    aux_drag_kN: Baseline = Baseline()
    no_load_torque_kNm: Baseline = Baseline()
    boring_torque_kNm: Baseline = Baseline()


@dataclass(frozen=True, slots=True)
class Carry:
    """The place to start from, and what was known there.

    resume_us: start of the open stroke, at a reset of the pushing set; 0 at the start of the drive.
    position_m: the face there; NaN where the drive has no sample yet.
    nominal_us: nominal interval of the whole UTC day that resume_us lies in; 0 is not known.
    regrip_until_us: end of the regrip that goes on there; 0 is none.
    ring, ring_from_m, ring_start_us: the current ring, and where and when it began; ring -1 is none.
    """

    resume_us: int = 0
    position_m: float = float("nan")
    nominal_us: int = 0
    regrip_until_us: int = 0
    ring: int = -1
    ring_from_m: float = float("nan")
    ring_start_us: int = 0
    baselines: Baselines = field(default_factory=Baselines)

    def numbers(self) -> dict[str, float]:
        """A flat record of numbers: JSON keeps it exactly; missing values are left out."""
        out: dict[str, float] = {}
        for spec in fields(self):
            value = getattr(self, spec.name)
            if spec.name != "baselines" and value == value:
                out[spec.name] = value
        for spec in fields(self.baselines):
            for i, value in enumerate(getattr(self.baselines, spec.name).values):
                out[f"{spec.name}.{i}"] = value
        return out


def carry_from(numbers: Mapping[str, float]) -> Carry:
    """The carry that `Carry.numbers` wrote."""
    plain = {spec.name: numbers[spec.name] for spec in fields(Carry) if spec.name in numbers}
    whole = {"resume_us", "nominal_us", "regrip_until_us", "ring", "ring_start_us"}
    kept = {
        spec.name: Baseline(
            tuple(numbers[f"{spec.name}.{i}"] for i in range(REMEMBERED) if f"{spec.name}.{i}" in numbers)
        )
        for spec in fields(Baselines)
    }
    given = {name: int(value) if name in whole else value for name, value in plain.items()}
    return Carry(**given, baselines=Baselines(**kept))  # type: ignore[arg-type]
