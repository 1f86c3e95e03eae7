"""Samples for motion: from the sample generator's log, without the importer between."""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from tbmreview.domain.overrules import Overrule
from tbmreview.domain.samples import DAY_US, Samples, join
from tbmreview.domain.setup import Setup, read_setup
from tbmreview.domain.shifts import utc_day

CHANNEL_OF: Mapping[str, str] = {
    "main_kN": "main_thrust_kN",
    "aux_kN": "aux_thrust_kN",
    "main_mm": "main_stroke_mm",
    "aux_mm": "aux_stroke_mm",
    "torque_kNm": "torque_kNm",
    "rpm": "head_speed_rpm",
    "penetration": "penetration_mm_rev",
    "speed": "advance_speed_mm_min",
    "gripper_bar": "gripper_pressure_bar",
    "chainage": "chainage_m",
    "ring": "ring_number",
    "belt_t_h": "belt_rate_t_h",
    "belt_t": "belt_total_t",
}


def samples_of(log: pd.DataFrame) -> Samples:
    """The generator's log as canonical samples."""
    time_us = log.index.tz_convert(None).to_numpy().astype("datetime64[us]").astype(np.int64)
    values = {name: log[key].to_numpy(np.float64) for key, name in CHANNEL_OF.items() if key in log}
    return Samples(time_us, values)


def setup_of(options: object, **machine: object) -> Setup:
    """The setup of a generated drive; machine: keys of [machine] to change, None to leave out."""
    m = options.machine  # type: ignore[attr-defined]
    kind = options.kind  # type: ignore[attr-defined]
    facts = {
        "kind": kind,
        "bore_diameter_m": m.bore_m,
        "disc_count": m.discs,
        "no_load_torque_kNm": 180.0,
        "drag_kN": 3300.0 if kind == "single shield" else 1100.0,
        "aux_drag_kN": 3300.0 if kind == "double shield" else None,
        "stroke_length_m": m.main_full_m,
    }
    facts = {k: v for k, v in {**facts, **machine}.items() if v is not None}
    drive: dict[str, object] = {
        "name": "invented",
        "timezone": options.timezone,  # type: ignore[attr-defined]
        "chainage_start_m": options.chainage_m,  # type: ignore[attr-defined]
        "chainage_direction": "increasing" if options.direction > 0 else "decreasing",  # type: ignore[attr-defined]
    }
    if kind != "open gripper":
        drive["ring_length_m"] = 1.5
    shifts = {"start": ["06:00", "14:00", "22:00"], "names": ["early", "late", "night"]}
    return read_setup({"drive": drive, "machine": facts, "shifts": shifts}, "invented")


@dataclass(frozen=True)
class Day:
    """The stored samples of a UTC day, as far as the reduction asks."""

    content_hash: str


class MemoryDrive:
    """A drive whose samples are held in memory; `keep` shows only some of its UTC days."""

    def __init__(self, folder: Path, setup: Setup, samples: Samples) -> None:
        self.folder, self.setup, self.all = folder, setup, samples
        self.read: list[int] = []  # the UTC days whose windows were asked for
        self.rows_read: list[int] = []  # how many were read for each of these
        self._rows = 0
        self.kept: set[int] | None = None
        self.said: tuple[Overrule, ...] = ()
        folder.mkdir(parents=True, exist_ok=True)

    def keep(self, days: Iterable[int]) -> "MemoryDrive":
        self.kept = set(days)
        return self

    def every_day(self) -> list[int]:
        return np.unique(utc_day(self.all.time_us)).tolist()

    def days(self) -> dict[int, Day]:
        shown = [day for day in self.every_day() if self.kept is None or day in self.kept]
        return {day: Day(self._hash(day)) for day in shown}

    def samples(self, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
        parts = [
            self.all.between(max(start_us, day * DAY_US), min(end_us, (day + 1) * DAY_US))
            for day in self.days()
            if (day + 1) * DAY_US > start_us and day * DAY_US < end_us
        ]
        whole = join(parts)
        self._rows += len(whole)
        day, to_its_end = divmod(end_us, DAY_US)
        # a window's own day is asked for whole, before the days that the window reaches back to
        if not to_its_end and start_us == end_us - DAY_US and day - 1 > max(self.read, default=-1):
            self.read.append(day - 1)
            self.rows_read.append(self._rows)
            self._rows = 0
        return Samples(
            whole.time_us, {n: v for n, v in whole.values.items() if channels is None or n in channels}
        )

    def overrules(self) -> tuple[Overrule, ...]:
        return self.said

    def _hash(self, day: int) -> str:
        part = self.all.between(day * DAY_US, (day + 1) * DAY_US)
        digest = hashlib.sha256(part.time_us.tobytes())
        for name in sorted(part.values):
            digest.update(name.encode() + part.values[name].tobytes())
        return digest.hexdigest()
