"""Samples for motion: from the sample generator's log, without the importer between."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from tbmreview.domain.samples import Samples
from tbmreview.domain.setup import Setup, read_setup

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
        "drag_kN": 1100.0,
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
