"""drive.toml and the ground tables as people would have written them."""

from pathlib import Path

import pandas as pd

from .options import OPEN_GRIPPER, SINGLE_SHIELD, Options
from .rock import CRUSHED, FAULT, HELD, Rock, layout

TOML = """\
# The Larkfell drive is invented: place, machine, ground, dates and figures.

[drive]
name = "Larkfell water tunnel, east drive (invented)"
timezone = "{timezone}"
chainage_start_m = {chainage}
chainage_direction = "{direction}"
{rings}
[machine]
kind = "{kind}"
bore_diameter_m = {m.bore_m:.2f}
disc_count = {m.discs}
disc_diameter_mm = {m.disc_mm:.0f}
disc_load_limit_kN = 312
no_load_torque_kNm = 180      # at 7.5 rpm
drag_kN = {drag}
{aux}stroke_length_m = {m.main_full_m:.1f}

[shifts]
start = ["06:00", "14:00", "22:00"]
names = ["early", "late", "night"]
"""


def write_setup(options: Options, path: Path) -> Path:
    """A setup file with the keys of the program's drive.toml."""
    rings = "" if options.kind == OPEN_GRIPPER else "ring_length_m = 1.5\nring_place_offset_m = 11.5\n"
    on_ring = options.kind == SINGLE_SHIELD
    text = TOML.format(
        timezone=options.timezone, chainage=options.chainage_m, kind=options.kind, m=options.machine,
        direction="increasing" if options.direction > 0 else "decreasing", rings=rings,
        drag=3300 if on_ring else 1100, aux="aux_drag_kN = 3300\n" if options.kind == "double shield" else "",
    )  # fmt: skip
    path.write_text(text, encoding="utf-8")
    return path


COLUMNS = {
    "chainage_from_m": "Chainage from [m]", "chainage_to_m": "Chainage to [m]", "rock": "Rock",
    "ucs_MPa": "UCS [MPa]", "bts_MPa": "BTS [MPa]", "rqd_pct": "RQD [%]", "rmr": "RMR",
    "jv_per_m3": "Jv [1/m3]", "cai": "CAI (ISRM 2014)", "angle_deg": "Angle [deg]", "water_l_min": "Water [l/min]",
    "note": "Note",
}  # fmt: skip
NOTES = {
    "quartzite, massive": "few joints, dry", "gneiss": "two joint sets", "mica schist": "foliation near the axis",
    "crushed gneiss": "open joints, blocks up to 0.3 m", "fault zone, throttled": "gouge and blocks, seen in windows",
    "fault zone, squeezing": "soft gouge, closes on the shield",
}  # fmt: skip


def mapped_ground(ground: pd.DataFrame) -> pd.DataFrame:
    """What the geologist mapped: the truth to the nearest half metre, from windows and muck."""
    out = ground.copy()
    for name in ("chainage_from_m", "chainage_to_m"):
        inner = out[name].where(out[name] != ground["chainage_from_m"].iloc[0])
        out[name] = (inner * 2).round().div(2).fillna(out[name])
    out["rock"] = out["rock"].str.replace(", throttled", "").str.replace(", squeezing", "")
    out["note"] = ground["rock"].map(NOTES)
    return out.rename(columns=COLUMNS)


PREDICTED_OFF_M = 25.0  # the first fault was expected so far before its place in the ten-day drive


def predicted_ground(options: Options) -> pd.DataFrame:
    """What was predicted: the first fault 25 m early, the crushed zone unknown, the rest close."""
    known = [i for i in layout(options.days) if i.rock is not CRUSHED]
    off_m = -PREDICTED_OFF_M * min(1.0, options.days / 10)
    rows: list[dict[str, object]] = []
    starts: list[int] = []
    for at, i in enumerate(known):
        before = known[max(0, at - 1)].rock
        if at and before is i.rock:  # the crushed zone that nobody predicted lay between
            continue
        beside = [off for rock, off in ((FAULT, off_m), (HELD, 2.0)) if rock in (i.rock, before)]
        start = round(i.start_m + (beside or [-3.0 if at else 0.0])[0])
        starts.append(max([start, *(before_m + 1 for before_m in starts[-1:])]))
        rows.append(_stated(i.rock))
    ends = [*starts[1:], round(known[-1].end_m - 30 - 10 * options.days)]
    for row, start, end in zip(rows, starts, ends, strict=True):
        row["chainage_from_m"] = options.chainage_m + options.direction * start
        row["chainage_to_m"] = options.chainage_m + options.direction * end
    return pd.DataFrame(rows)[list(COLUMNS)].rename(columns=COLUMNS)


def _stated(rock: Rock) -> dict[str, object]:
    """Strengths before the drive: from boreholes, rounded, a little hopeful."""
    return {
        "rock": rock.name.split(",")[0], "ucs_MPa": 5 * round(rock.ucs_MPa * 1.08 / 5),
        "bts_MPa": round(rock.bts_MPa), "rqd_pct": 5 * round(min(95, rock.rqd_pct + 6) / 5),
        "rmr": 5 * round(rock.rmr / 5), "jv_per_m3": round(rock.jv_per_m3 * 0.85), "cai": round(rock.cai * 2) / 2,
        "angle_deg": 10 * round(rock.angle_deg / 10), "water_l_min": 10 * round(rock.water_l_min / 10),
        "note": "tender design",
    }  # fmt: skip
