"""Small invented logs for tests: a machine that bores two strokes, written in any dialect."""

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TinyMachine:
    """Invented samples: time [s from start] and canonical channels, (n,) each; physics holds exactly."""

    seconds: NDArray[np.int64]
    values: Mapping[str, Values]


def tiny_machine(n: int = 600, seed: int = 1) -> TinyMachine:
    """n samples at 1 Hz: boring with a regrip in the middle; v = n p, P = 2 pi n T / 60, ds = v dt."""
    rng = np.random.default_rng(seed)
    t = np.arange(n)
    pause = (t > n * 0.45) & (t < n * 0.55)
    rpm = np.where(pause, 0.0, np.round(rng.normal(6.5, 0.05, n), 2))
    p = np.where(pause, 0.0, np.round(rng.normal(7.0, 0.4, n), 2))
    v = rpm * p
    torque = np.where(pause, 0.0, np.round(rng.normal(1500, 60, n)))
    thrust = np.where(pause, 1200.0, np.round(rng.normal(11000, 250, n)))
    stroke = 200 + np.cumsum(np.r_[0.0, v[:-1] / 60])
    half = n // 2
    stroke[half:] -= stroke[half] - 200
    values = {
        "main_thrust_kN": thrust,
        "torque_kNm": torque,
        "head_speed_rpm": rpm,
        "penetration_mm_rev": p,
        "advance_speed_mm_min": v,
        "main_stroke_mm": stroke,
        "head_power_kW": 2 * np.pi * rpm * torque / 60,
        "gripper_pressure_bar": np.where(pause, 20.0, np.round(rng.normal(240, 3, n), 1)),
        "chainage_m": 4180.0 + np.cumsum(np.r_[0.0, v[:-1] / 60]) / 1000,
    }
    return TinyMachine(t, values)


@dataclass(frozen=True, slots=True)
class Field:
    """One column of a written log: header, channel and the number its canonical value is divided by."""

    header: str
    channel: str
    factor: float = 1.0
    unit: str = ""


ENGLISH = (
    Field("Thrust force [kN]", "main_thrust_kN"),
    Field("Cutterhead torque [kNm]", "torque_kNm"),
    Field("Cutterhead speed [rpm]", "head_speed_rpm"),
    Field("Penetration [mm/rev]", "penetration_mm_rev"),
    Field("Advance speed [mm/min]", "advance_speed_mm_min"),
    Field("Thrust cylinder stroke [mm]", "main_stroke_mm"),
    Field("Cutterhead power [kW]", "head_power_kW"),
    Field("Gripper pressure [bar]", "gripper_pressure_bar"),
    Field("Chainage [m]", "chainage_m"),
)
GERMAN = (
    Field("Vorschubkraft [MN]", "main_thrust_kN", 1e3),
    Field("Bohrkopfdrehmoment [MNm]", "torque_kNm", 1e3),
    Field("Bohrkopfdrehzahl [1/min]", "head_speed_rpm"),
    Field("Penetration [mm/U]", "penetration_mm_rev"),
    Field("Vorschubgeschwindigkeit [m/h]", "advance_speed_mm_min", 1000 / 60),
    Field("Vorschubweg [m]", "main_stroke_mm", 1e3),
    Field("Antriebsleistung [kW]", "head_power_kW"),
    Field("Druck Gripper für Verspannung [bar]", "gripper_pressure_bar"),
    Field("Tunnelmeter [m]", "chainage_m"),
)

Stamp = Callable[[datetime], Sequence[str]]


def written(
    machine: TinyMachine,
    fields: Sequence[Field] = ENGLISH,
    *,
    start: datetime = datetime(2024, 3, 5, 6, 0, 0),
    stamp_headers: Sequence[str] = ("Time",),
    stamp: Stamp = lambda t: (t.strftime("%Y-%m-%d %H:%M:%S"),),
    delimiter: str = ",",
    decimal: str = ".",
    unit_row: Sequence[str] = (),
    decimals: int = 6,
) -> str:
    """The machine's samples as text with a header row."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\n")
    if stamp_headers or fields:
        writer.writerow([*stamp_headers, *(f.header for f in fields)])
    if unit_row:
        writer.writerow(unit_row)
    for i, second in enumerate(machine.seconds.tolist()):
        cells = list(stamp(start + timedelta(seconds=second)))
        for field in fields:
            text = f"{machine.values[field.channel][i] / field.factor:.{decimals}f}"
            cells.append(text.replace(".", decimal))
        writer.writerow(cells)
    return out.getvalue()
