"""Ground as it is: the rocks, where they lie, and what the machine meets along the axis.

The disc load for 1 mm/rev follows from strength and joints, and load from penetration by a power
law (the form of Bruland 1998, from memory); coefficients are invented so that forces come out as on site.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
GRID_M = 0.05
BOUNDARY_M = 0.6  # the head takes so long to cross a boundary
CREW_LAG_M = 0.1
BLENDED = (
    "exponent", "load_limit_kN", "pen_limit_mm", "rpm", "rolling", "thrust_noise", "face_noise", "torque_noise",
    "spikes_per_s", "spike_kNm", "muck", "water_l_min", "gripper_bar",
)  # fmt: skip


@dataclass(frozen=True)
class Rock:
    """One kind of ground: what a geologist states, then what the crew does in it."""

    name: str
    ucs_MPa: float
    bts_MPa: float
    rqd_pct: float
    rmr: float
    jv_per_m3: float
    cai: float
    angle_deg: float
    water_l_min: float
    load_limit_kN: float  # net disc load the crew does not pass
    pen_limit_mm: float  # penetration the crew does not pass
    rpm: float
    rolling: float  # measured over theoretical rolling force
    thrust_noise: float
    face_noise: float  # of the load for 1 mm/rev, from second to second
    torque_noise: float
    spikes_per_s: float = 0.0
    spike_kNm: float = 0.0
    muck: float = 1.0  # belt mass over theoretical mass
    gripper_bar: float = 240.0

    @property
    def load_at_1mm_kN(self) -> float:
        strength: float = self.ucs_MPa**0.55
        return 8.6 * strength * math.exp(-0.045 * self.jv_per_m3)

    @property
    def exponent(self) -> float:
        return 0.39 + 0.0083 * self.jv_per_m3

    @property
    def usual_pen_mm(self) -> float:
        """Penetration at whichever limit is met first."""
        by_load: float = (self.load_limit_kN / self.load_at_1mm_kN) ** (1 / self.exponent)
        return min(self.pen_limit_mm, by_load)


QUARTZITE = Rock(
    "quartzite, massive", 220, 14, 95, 78, 2, 5.2, 65, 5, 273, 5.0, 7.75, 0.58, 0.022, 0.035, 0.03
)
GNEISS = Rock("gneiss", 125, 9.5, 82, 66, 6, 4.1, 50, 15, 224, 8.2, 7.65, 0.58, 0.024, 0.04, 0.03)
SCHIST = Rock(
    "mica schist", 60, 5.5, 62, 52, 11, 2.4, 35, 25, 215, 9.7, 6.85, 0.62, 0.028, 0.05, 0.04, gripper_bar=205
)
CRUSHED = Rock(
    "crushed gneiss", 35, 3.0, 18, 28, 24, 3.2, 40, 120, 120, 11.3, 4.0, 0.62, 0.035, 0.08, 0.24,
    1 / 170, 1500, 1.12, 150,
)  # fmt: skip
FAULT = Rock(
    "fault zone, throttled", 15, 1.2, 8, 18, 26, 1.6, 45, 260, 80, 8.9, 3.0, 0.9, 0.04, 0.10, 0.21,
    1 / 260, 2500, 1.03, 35,
)  # fmt: skip
HELD = Rock(
    "fault zone, squeezing", 16, 1.1, 6, 16, 25, 1.4, 55, 90, 80, 7.2, 2.9, 0.9, 0.04, 0.10, 0.22,
    1 / 260, 2500, 1.0, 40,
)  # fmt: skip
FAULTS = (FAULT, HELD)

# The ten-day drive, in m. Zones shrink less than sound rock when a shorter drive is asked for.
SEQUENCE: tuple[tuple[Rock, float], ...] = (
    (GNEISS, 36), (QUARTZITE, 44), (GNEISS, 30), (FAULT, 13), (GNEISS, 20), (CRUSHED, 9),
    (GNEISS, 22), (SCHIST, 32), (HELD, 12), (SCHIST, 16), (GNEISS, 14),
)  # fmt: skip
ZONES = (FAULT, HELD, CRUSHED)


@dataclass(frozen=True)
class Interval:
    """Ground from one position to another [m]."""

    start_m: float
    end_m: float
    rock: Rock


def layout(days: float) -> list[Interval]:
    """The intervals of a drive of so many days; the last goes on for ever."""
    scale = days / 10
    at, out = 0.0, []
    for rock, length in SEQUENCE:
        size = length * (max(scale, 0.36) if rock in ZONES else scale * min(1.0, 0.72 + 0.28 * scale))
        out.append(Interval(round(at, 1), round(at + size, 1), rock))
        at += size
    out[-1] = Interval(out[-1].start_m, out[-1].end_m + 60 + 20 * days, out[-1].rock)
    return out


class Ground:
    """The intervals on a grid of 5 cm, with the variation that rock has."""

    def __init__(self, intervals: list[Interval], rng: np.random.Generator) -> None:
        self.intervals = intervals
        self.x_m = np.arange(-2.0, intervals[-1].end_m, GRID_M)
        edges = np.array([i.start_m for i in intervals[1:]])
        self._number = np.searchsorted(edges, self.x_m, side="right")
        varied = 0.035 * _wander(rng, len(self.x_m), 1.2) + 0.025 * _wander(rng, len(self.x_m), 8.0)
        blend = {name: _box(self._each(name), BOUNDARY_M) for name in BLENDED}
        self.log_load = _box(np.log(self._each("load_at_1mm_kN")), BOUNDARY_M) + varied
        felt = self.log_load - varied + _box(varied, 0.5)
        kept = np.exp(felt + blend["exponent"] * np.log(blend["pen_limit_mm"]))
        # a limit on load is set by rule and by feel: a little more where the rock is harder
        rule = blend["load_limit_kN"] * np.exp(0.35 * _box(varied, 0.5))
        self._felt = {**blend, "target_kN": _late(np.minimum(rule, kept)), "rpm": _late(blend["rpm"])}

    def _each(self, name: str) -> Floats:
        return np.array([getattr(i.rock, name) for i in self.intervals], float)[self._number]

    def rock_at(self, x_m: float) -> Rock:
        return next((i.rock for i in self.intervals if x_m < i.end_m), self.intervals[-1].rock)

    def first(self, rock: Rock) -> Interval:
        return next(i for i in self.intervals if i.rock is rock)

    def at(self, name: str, x_m: Floats | float) -> Floats:
        """A property along the axis, smoothed as the machine feels it, (n,) float64."""
        values = self.log_load if name == "log_load" else self._felt[name]
        return np.asarray(np.interp(x_m, self.x_m, values), float)


def _late(values: Floats) -> Floats:
    """What the crew sets: it answers the ground a decimetre after meeting it."""
    cells = round(CREW_LAG_M / GRID_M)
    return np.pad(values, (cells, 0), mode="edge")[: len(values)]


def _box(values: Floats, width_m: float) -> Floats:
    """Running mean over a width, ends held."""
    half = max(1, round(width_m / GRID_M / 2))
    padded = np.pad(values, (half + 1, half), mode="edge").cumsum()
    return np.asarray((padded[2 * half + 1 :] - padded[: -2 * half - 1]) / (2 * half + 1), float)


def _wander(rng: np.random.Generator, n: int, length_m: float) -> Floats:
    """Smooth noise of unit spread with about the given length."""
    raw = _box(_box(rng.standard_normal(n), length_m), length_m)
    return np.asarray(raw / raw.std(), float)
