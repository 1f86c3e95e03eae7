"""The quantities of a drive worked out plainly: slow, one stroke after the other, nothing of the package.

For logs of ordinary drives that have thrust, torque, head speed, advance speed and stroke. It knows nothing
of gaps, dead sensors or overruled states, and its limits are round numbers that suit such drives.

    energy     = thrust x advance + torque x 2 pi x revolutions
    advance    = what the pushing cylinders extend by while the head cuts
    time       = a row stands for the time to the next, but for three usual intervals at most
"""

import math
from itertools import pairwise
from typing import NamedTuple, TypedDict

import pandas as pd

TURNS_RPM = 0.3
LOADED = 1.25  # times the no-load torque: the head is in the rock
MOVES_MM_MIN = 0.2
RESTS_MM_MIN = 0.05
PAUSE_S = 30  # boring that goes on after so short a pause never stopped
SHORTEST_S = 60
RESET = 0.2  # of the stroke's length: a set that went back by more began a new stroke
SLIP_MM = 12  # what the mains extend by in a minute before it is asked whether the face goes with them
BESIDE_S = 50  # about a bout: where the reading of a set at rest is looked for
NOISE = 4.0  # times what one reading at rest usually differs from the next: that far off, the set has moved

SETS = {"main": ("main_stroke_mm", "main_thrust_kN"), "aux": ("aux_stroke_mm", "aux_thrust_kN")}
SUMS = [
    "advance_m",
    "boring_s",
    "revolutions",
    "thrust_work_kJ",
    "torque_work_kJ",
    "thrust_kN_s",
    "torque_kNm_s",
]


class Machine(TypedDict):
    """no_load_kNm: torque of the head turning free. direction: of the chainage along the drive, 1 or -1.
    target_on_rear: whether the guidance follows the rear shield."""

    kind: str
    direction: int
    target_on_rear: bool
    bore_m: float
    discs: int
    no_load_kNm: float
    stroke_m: float


class Bout(NamedTuple):
    """Boring without a stop: its rows, the set that pushes, its stroke [mm] before and after."""

    rows: pd.DataFrame
    which: str
    from_mm: float
    to_mm: float


def work(log: pd.DataFrame, machine: Machine) -> tuple[pd.DataFrame, pd.Series]:
    """(a row a stroke, the drive): SUMS and indicators. log: canonical channels over time."""
    log = with_seconds(log)
    log["slips"] = slips(log, machine)
    log["bores"] = bores(log, machine)
    strokes: list[list[Bout]] = []
    for rows in bouts_of(log):
        bout = bout_of(log, rows)
        if not strokes or is_reset(strokes[-1][-1], bout, machine):
            strokes.append([])
        strokes[-1].append(bout)
    table = pd.DataFrame([with_indicators(work_stroke(log, stroke), machine) for stroke in strokes])
    table["set"] = [stroke[0].which for stroke in strokes]
    return table, with_indicators(table[SUMS].sum(), machine)


def with_seconds(log: pd.DataFrame) -> pd.DataFrame:
    """The log with the seconds that each row stands for."""
    to_next = -log.index.to_series().diff(-1).dt.total_seconds()
    usual = to_next.mode().iloc[0]
    return log.assign(s=to_next.fillna(usual).clip(upper=3 * usual))


def bores(log: pd.DataFrame, machine: Machine) -> pd.Series:
    """Rows at which the head turns, is loaded and goes forward, and the grippers hold."""
    turns = log["head_speed_rpm"] > TURNS_RPM
    loaded = log["torque_kNm"].abs() > LOADED * machine["no_load_kNm"]
    moves = log["advance_speed_mm_min"] > MOVES_MM_MIN
    return turns & loaded & moves & ~log["slips"]


def slips(log: pd.DataFrame, machine: Machine) -> pd.Series:
    """Rows about which the mains extend for a minute and the face does not go forward by half as much: the
    grippers let go, and the rear shield goes back."""
    if machine["kind"] != "double shield":
        return pd.Series(False, log.index)
    main_mm = log["main_stroke_mm"].rolling("10s").median()
    face_mm = 1000 * machine["direction"] * log["chainage_m"]
    if machine["target_on_rear"]:
        face_mm = face_mm + main_mm
    rows = max(1, round(30 / log["s"].median()))
    extends, goes = (way.shift(-rows) - way.shift(rows) for way in (main_mm, face_mm))
    return (extends > SLIP_MM) & (goes < extends / 2)


def bouts_of(log: pd.DataFrame) -> list[pd.DataFrame]:
    """Rows of each bout of boring."""
    cutting = log[log["bores"]]
    pause = cutting.index.to_series().diff().dt.total_seconds() > PAUSE_S + 1.5 * log["s"].median()
    bouts = [rows for _, rows in cutting.groupby(pause.cumsum())]
    return [rows for rows in bouts if rows["s"].sum() >= SHORTEST_S]


def bout_of(log: pd.DataFrame, rows: pd.DataFrame) -> Bout:
    """The bout, pushed by the set that extends more."""
    sets = [name for name in SETS if SETS[name][0] in log]
    ends = {name: [level(log, rows, SETS[name][0], side) for side in ("before", "after")] for name in sets}
    which = max(sets, key=lambda name: ends[name][1] - ends[name][0])
    return Bout(rows, which, *ends[which])


def is_reset(before: Bout, bout: Bout, machine: Machine) -> bool:
    """Whether a new stroke began between two bouts."""
    went_back = before.to_mm - bout.from_mm > RESET * 1000 * machine["stroke_m"]
    return bout.which != before.which or went_back


def work_stroke(log: pd.DataFrame, bouts: list[Bout]) -> pd.Series:
    """SUMS of a stroke. Its length is from end to end, less what the set slipped between bouts; a head that was
    drawn back comes to where it had been. Within the stroke it is shared out as the advance speed has it."""
    way_mm = bouts[-1].to_mm - bouts[0].from_mm
    for one, other in pairwise(bouts):
        if log["slips"][one.rows.index[-1] : other.rows.index[0]].any():
            way_mm -= other.from_mm - one.to_mm
    rows = pd.concat([bout.rows for bout in bouts])
    run = rows["advance_speed_mm_min"] * rows["s"]
    advance_m = run / run.sum() * way_mm / 1000
    thrust, torque = rows[SETS[bouts[0].which][1]], rows["torque_kNm"].abs()
    turns = rows["head_speed_rpm"] / 60 * rows["s"]
    return pd.Series(
        {
            "advance_m": advance_m.sum(),
            "boring_s": rows["s"].sum(),
            "revolutions": turns.sum(),
            "thrust_work_kJ": (thrust * advance_m).sum(),
            "torque_work_kJ": (torque * 2 * math.pi * turns).sum(),
            "thrust_kN_s": (thrust * rows["s"]).sum(),
            "torque_kNm_s": (torque * rows["s"]).sum(),
        }
    )


def level(log: pd.DataFrame, bout: pd.DataFrame, channel: str, side: str) -> float:
    """Reading of a set's stroke [mm] where a bout begins or ends: the median of the rows beside it in which
    the set rests, else of the bout's own next to the end, less what it moved in them."""
    minute = pd.Timedelta(seconds=max(BESIDE_S, 1.5 * log["s"].median()))
    step_mm = bout["advance_speed_mm_min"] / 60 * bout["s"]
    if side == "before":
        beside = log[bout.index[0] - minute : bout.index[0]].iloc[:-1].iloc[::-1]
        own = bout[channel].iloc[:5] - step_mm.iloc[:5].cumsum().shift(1, fill_value=0.0)
    else:
        beside = log[bout.index[-1] : bout.index[-1] + minute].iloc[1:]
        own = bout[channel].iloc[-5:] + step_mm.iloc[-5:][::-1].cumsum()[::-1]
    noise_mm = log[channel].diff().abs()[log["head_speed_rpm"] < TURNS_RPM].median()
    near = (beside[channel] - beside[channel].iloc[:1].sum()).abs() <= NOISE * noise_mm
    at_rest = near & (beside["advance_speed_mm_min"] < RESTS_MM_MIN)
    rest = beside[channel][at_rest.cumprod().astype(bool)]
    if not len(rest):
        return float(own.median())
    drawn_back = side == "after" and len(rest) < 3  # it rested so shortly that it may not have rested at all
    return max(rest.median(), bout[channel].iloc[-1]) if drawn_back else rest.median()


def with_indicators(sums: pd.Series, machine: Machine) -> pd.Series:
    """The sums with means and ratios of them."""
    face_m2 = math.pi / 4 * machine["bore_m"] ** 2
    thrust, torque = sums["thrust_kN_s"] / sums["boring_s"], sums["torque_kNm_s"] / sums["boring_s"]
    penetration = 1000 * sums["advance_m"] / sums["revolutions"]
    energy_MJ = (sums["thrust_work_kJ"] + sums["torque_work_kJ"]) / 1000
    more = {
        "thrust_kN": thrust,
        "torque_kNm": torque,
        "penetration_mm_rev": penetration,
        "fpi_kN_per_mm_rev": thrust / machine["discs"] / penetration,
        "specific_energy_MJ_m3": energy_MJ / (face_m2 * sums["advance_m"]),
    }
    return pd.concat([sums, pd.Series(more)])
