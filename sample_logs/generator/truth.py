"""Truth from the tape: what was bored, by which forces, and how each second was spent."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from .cycle import Cycle
from .options import SINGLE_SHIELD, Machine, Options
from .rock import Ground
from .tape import BORING, MAIN, NO_RECORD, REACTIONS, RING_BUILD, SETS, STANDING, STATES

SLOT_MOVE_S, SLOT_SET_S = 25, 20  # a pad group lets go; it comes out again onto the new segment


@dataclass
class Truth:
    """What is true of a drive.

    seconds: a row a second, UTC index `time`; codes as in `tape` (state, pushing_set, reaction,
        phase), flags, positions [m], rates [mm/s], forces as the machine had them; `recorded` is
        false where the logs have no row (state says what the machine did even so).
    strokes, periods, daily, delays, ground, defects: tables as written to truth/.
    files: the logs written, in order of time. setup: drive.toml.
    """

    options: Options
    seconds: pd.DataFrame
    strokes: pd.DataFrame
    periods: pd.DataFrame
    daily: pd.DataFrame
    delays: pd.DataFrame
    ground: pd.DataFrame
    defects: pd.DataFrame = field(default_factory=pd.DataFrame)
    folder: Path | None = None
    setup: Path | None = None
    mapped: Path | None = None
    predicted: Path | None = None
    files: list[Path] = field(default_factory=list)


def seconds_of(cycle: Cycle) -> pd.DataFrame:
    """Each second of the drive, rings laid over what the machine did."""
    options, n = cycle.options, cycle.options.seconds
    out = pd.DataFrame(cycle.tape.columns, copy=False)
    out.index = pd.to_datetime(options.start_utc_s + np.arange(n), unit="s", utc=True)
    out.index.name = "time"
    out["main_m"] = _travelled(out["main_mm_s"], cycle.machine.main_rest_m)
    out["rear_m"] = _travelled(out["rear_mm_s"], -cycle.machine.main_rest_m)
    out["head_m"] = out["rear_m"] + out["main_m"]
    out["position_m"] = _travelled(out["face_mm_s"], 0.0)
    edge, contact, ring = _ring_edge(cycle, n)
    out["aux_m"] = out["rear_m"] - edge
    out["contact"], out["ring"] = contact, ring
    out["ring_building"] = _building(cycle, n)
    out["head_turning"] = out["rpm"] > 0.2
    waiting = (out["state"] == STANDING) & out["ring_building"]
    out["state"] = out["state"].where(~waiting, RING_BUILD).astype(np.int8)
    if options.kind == SINGLE_SHIELD:  # its only set is its main set, and pushes on the ring
        out["pushing_set"] = np.int8(MAIN)
    out["recorded"] = True
    return out


def _travelled(rate_mm_s: pd.Series, start_m: float) -> np.ndarray:
    rate = rate_mm_s.to_numpy()
    return start_m + np.concatenate([[0.0], rate.cumsum()[:-1]]) / 1000


def _ring_edge(cycle: Cycle, n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean place of the pads [m], share of pads on the ring, ring number, each (n,)."""
    m, total = cycle.machine, n + 10_000
    rate, contact, ring = np.zeros(total), np.ones(total), np.zeros(total, np.int64)
    for start, seconds, length in cycle.rings:
        slot = seconds // m.pad_groups
        ring[start:] += 1
        for k in range(m.pad_groups):
            a, b = start + k * slot, start + (k + 1) * slot
            rate[a : a + SLOT_MOVE_S] += (length + m.pad_clearance_m) / m.pad_groups / SLOT_MOVE_S
            rate[b - SLOT_SET_S : b] -= m.pad_clearance_m / m.pad_groups / SLOT_SET_S
            contact[a:b] -= 1 / m.pad_groups
    base = cycle.first_edge_m
    edge = base + np.concatenate([[0.0], rate.cumsum()[:-1]])
    return edge[:n], contact[:n], cycle.machine.first_ring + ring[:n]


def _building(cycle: Cycle, n: int) -> np.ndarray:
    out = np.zeros(n + 10_000, bool)
    for start, seconds, _ in cycle.rings:
        out[start : start + seconds] = True
    return out[:n]


def strokes_of(seconds: pd.DataFrame, machine: Machine) -> pd.DataFrame:
    """A row a stroke: sums over its boring seconds, and indicators that follow from the sums."""
    b = seconds[seconds["state"] == BORING]
    advance = b["face_mm_s"] / 1000
    push = b["main_kN"].fillna(b["aux_kN"])  # one set pushes, the other's force is not on the tape
    turn = 2 * np.pi / 60 * b["rpm"] * b["torque_kNm"] / 1000
    sums = pd.DataFrame({
        "stroke": b["stroke"], "advance_m": advance, "boring_s": 1, "revolutions": b["rpm"] / 60,
        "thrust_energy_MJ": push * advance / 1000, "rotary_energy_MJ": turn, "thrust_kN_s": push,
        "torque_kNm_s": b["torque_kNm"], "drag_kN_s": b["drag_kN"], "no_load_kNm_s": b["no_load_kNm"],
    }).groupby("stroke").sum()  # fmt: skip
    group = b.groupby("stroke")
    out = pd.DataFrame({
        "start_utc": group.apply(lambda g: g.index[0]),
        "end_utc": group.apply(lambda g: g.index[-1] + pd.Timedelta(seconds=1)),
        "position_from_m": group["position_m"].first(),
        "pushing_set": group["pushing_set"].first().map(lambda k: SETS[k]),
        "reaction": group["reaction"].first().map(lambda k: REACTIONS[k]),
    })  # fmt: skip
    return _indicators(out.join(sums).reset_index(), machine)


def _indicators(t: pd.DataFrame, machine: Machine) -> pd.DataFrame:
    s, p_mm = t["boring_s"], 1000 * t["advance_m"] / t["revolutions"]
    t["thrust_kN"] = t.pop("thrust_kN_s") / s
    t["torque_kNm"] = t.pop("torque_kNm_s") / s
    t["drag_kN"] = t.pop("drag_kN_s") / s
    t["no_load_torque_kNm"] = t.pop("no_load_kNm_s") / s
    t["head_speed_rpm"] = 60 * t["revolutions"] / s
    t["penetration_mm_rev"] = p_mm
    t["net_disc_load_kN"] = (t["thrust_kN"] - t["drag_kN"]) / machine.discs
    t["fpi_kN_per_mm_rev"] = t["thrust_kN"] / machine.discs / p_mm
    t["net_fpi_kN_per_mm_rev"] = t["net_disc_load_kN"] / p_mm
    volume = machine.face_m2 * t["advance_m"]
    t["specific_energy_MJ_m3"] = (t["thrust_energy_MJ"] + t["rotary_energy_MJ"]) / volume
    return t


def logged_state(seconds: pd.DataFrame) -> np.ndarray:
    """State of each second as the best reader of the log can know it: no record where none was kept."""
    return seconds["state"].where(seconds["recorded"], NO_RECORD).to_numpy()


def periods_of(seconds: pd.DataFrame) -> pd.DataFrame:
    """Runs of one state, with where the face stood and what pushed."""
    state = logged_state(seconds)
    first = np.flatnonzero(np.r_[True, state[1:] != state[:-1]])
    last = np.r_[first[1:], len(state)] - 1
    return pd.DataFrame({
        "start_utc": seconds.index[first], "end_utc": seconds.index[last] + pd.Timedelta(seconds=1),
        "state": [STATES[k] for k in state[first]], "seconds": last - first + 1,
        "position_from_m": seconds["position_m"].to_numpy()[first],
        "position_to_m": seconds["position_m"].to_numpy()[last],
        "reaction": [REACTIONS[k] for k in seconds["reaction"].to_numpy()[first]],
    })  # fmt: skip


def daily_of(seconds: pd.DataFrame) -> pd.DataFrame:
    """A row a day of the drive (24 hours from its first shift): metres and hours by state."""
    day = np.arange(len(seconds)) // 86_400
    count = np.bincount(day * len(STATES) + logged_state(seconds), minlength=(day[-1] + 1) * len(STATES))
    hours = pd.DataFrame(count.reshape(-1, len(STATES)) / 3600, columns=[f"{s} h" for s in STATES])
    totals = pd.DataFrame({
        "start_utc": seconds.index[::86_400],
        "advance_m": (seconds["face_mm_s"] / 1000).groupby(day).sum().to_numpy(),
    })  # fmt: skip
    totals["rings"] = (seconds["ring"].groupby(day).last() - seconds["ring"].groupby(day).first()).to_numpy()
    return totals.join(hours)


def ground_of(ground: Ground, options: Options, end_m: float) -> pd.DataFrame:
    """Ground as it is, as far as it was bored."""
    rows = [{
        "chainage_from_m": options.chainage_m + options.direction * i.start_m,
        "chainage_to_m": round(options.chainage_m + options.direction * min(i.end_m, end_m), 2),
        "rock": i.rock.name, "ucs_MPa": i.rock.ucs_MPa, "bts_MPa": i.rock.bts_MPa,
        "rqd_pct": i.rock.rqd_pct, "rmr": i.rock.rmr, "jv_per_m3": i.rock.jv_per_m3, "cai": i.rock.cai,
        "angle_deg": i.rock.angle_deg, "water_l_min": i.rock.water_l_min,
    } for i in ground.intervals if i.start_m < end_m]  # fmt: skip
    return pd.DataFrame(rows)
