"""A log drawn by hand, stretch by stretch: for tests that need one thing to happen and nothing else."""

from dataclasses import dataclass, field, replace

import numpy as np

from tbmreview.domain.samples import Samples
from tbmreview.domain.setup import Setup, read_setup
from tbmreview.motion.carry import Carry
from tbmreview.motion.reduce import Reduced, reduce_window

START_US = 1_930_000_000_000_000
FREE_KNM, BORING_KNM, DRAG_KN, BORING_KN = 180.0, 1400.0, 1100.0, 9000.0


@dataclass
class Sketch:
    """Signals at 1 Hz. A rate holds from its sample to the next; head_mm is what the guidance follows."""

    main_mm: float = 40.0
    aux_mm: float = 1400.0
    head_mm: float = 0.0
    columns: dict[str, list[float]] = field(default_factory=dict)

    def add(
        self, seconds: int, *, main: float = 0, aux: float = 0, head: float = 0, **values: float
    ) -> "Sketch":
        """main, aux, head: mm/s. values: channels; what is not named rests."""
        rest = {
            "main_thrust_kN": 50.0,
            "aux_thrust_kN": 1200.0,
            "torque_kNm": -60.0,
            "head_speed_rpm": 0.0,
            "advance_speed_mm_min": 0.0,
            "gripper_pressure_bar": 240.0,
        }
        for k in range(seconds):
            moving = {
                "main_stroke_mm": self.main_mm + main * k,
                "aux_stroke_mm": self.aux_mm + aux * k,
                "chainage_m": 4180.0 + (self.head_mm + head * k) / 1000,
            }
            for name, value in {**rest, **values, **moving}.items():
                self.columns.setdefault(name, []).append(value)
        self.main_mm += main * seconds
        self.aux_mm += aux * seconds
        self.head_mm += head * seconds
        return self

    def turn(self, seconds: int) -> "Sketch":
        return self.add(seconds, head_speed_rpm=7.5, torque_kNm=FREE_KNM)

    def approach(self, mm: float) -> "Sketch":
        """The head goes forward without contact at 1.25 mm/s."""
        return self.add(
            round(mm / 1.25), main=1.25, head=1.25, head_speed_rpm=7.5, torque_kNm=FREE_KNM,
            main_thrust_kN=DRAG_KN, advance_speed_mm_min=75.0,
        )  # fmt: skip

    def bore(self, mm: float, rate: float = 0.8, sign: float = 1.0) -> "Sketch":
        return self.add(
            round(mm / rate), main=rate, head=rate, head_speed_rpm=7.5, torque_kNm=sign * BORING_KNM,
            main_thrust_kN=BORING_KN, advance_speed_mm_min=60 * rate,
        )  # fmt: skip

    def bore_on_ring(self, mm: float, rate: float = 0.8) -> "Sketch":
        return self.add(
            round(mm / rate), aux=rate, head=rate, head_speed_rpm=4.0, torque_kNm=800.0, main_thrust_kN=1700.0,
            aux_thrust_kN=6000.0, advance_speed_mm_min=60 * rate, gripper_pressure_bar=30.0,
        )  # fmt: skip

    def draw_back(self, mm: float) -> "Sketch":
        return self.add(round(mm / 2), main=-2, head=-2, head_speed_rpm=7.5, torque_kNm=FREE_KNM)

    def regrip(self, mm: float) -> "Sketch":
        """Mains close and auxiliaries open by as much, over two minutes; grippers released."""
        self.add(30, gripper_pressure_bar=6.0)
        self.add(120, main=-mm / 120, aux=mm / 120, gripper_pressure_bar=6.0, aux_thrust_kN=1900.0)
        return self.add(60, gripper_pressure_bar=200.0)

    def build_ring(self, mm: float) -> "Sketch":
        """Auxiliaries come back in six groups of pads."""
        for _ in range(6):
            self.add(20, aux=-mm / 120).add(230)
        return self

    def samples(self, without: tuple[str, ...] = (), noise_mm: float = 0.0) -> Samples:
        columns = {n: np.array(v) for n, v in self.columns.items() if n not in without}
        rng = np.random.default_rng(7)
        for name in ("main_stroke_mm", "aux_stroke_mm"):
            if name in columns:
                columns[name] = columns[name] + noise_mm * rng.standard_normal(len(columns[name]))
        n = len(next(iter(columns.values())))
        return Samples(START_US + 1_000_000 * np.arange(n), columns)


def sketch_setup(kind: str, **machine: object) -> Setup:
    """The setup of a drawn log."""
    drive = {
        "name": "invented",
        "timezone": "Europe/Oslo",
        "chainage_start_m": 4180.0,
        "chainage_direction": "increasing",
    }
    facts = {"kind": kind, "bore_diameter_m": 6.4, "disc_count": 42, **machine}
    return read_setup({"drive": drive, "machine": facts}, "invented")


def reduced_sketch(
    sketch: Sketch, kind: str, without: tuple[str, ...] = (), noise_mm: float = 0.0
) -> Reduced:
    """A drawn log reduced in one window."""
    return reduce_window(sketch.samples(without, noise_mm), Carry(), sketch_setup(kind))


def without_rows(samples: Samples, first: int, stop: int) -> Samples:
    """The samples less those first..stop-1."""
    kept = np.r_[0:first, stop : len(samples)]
    return replace(
        samples, time_us=samples.time_us[kept], values={n: v[kept] for n, v in samples.values.items()}
    )
