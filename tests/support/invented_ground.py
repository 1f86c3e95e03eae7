"""What lies along an invented drive and what its crew does there: events at random places, and the ground itself.

All figures are invented; nothing is taken from the package. Ground is not white: its resistance is a slow trend of
tens of metres, a correlated part of a metre and a fine one, multiplied by what the events make of it.
"""

from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

Floats = NDArray[np.float64]
OPEN, SINGLE, DOUBLE = "open gripper", "single shield", "double shield"
GRID_M = 0.005  # of everything that belongs to a place
WEAK, HARD, MASSIVE, BLOCKY, ROCK = (
    "weak zone",
    "hard band",
    "massive ground",
    "blocky ground",
    "change of rock",
)
HELD, ON_RING, UNBRACED = "held shield", "ring-reacted", "loss of bracing"
WATER, MUCK = "water", "muck surplus"
THRUST_SET, SPEED_SET, DISCS, CURVE, RESTART = "thrust set", "speed set", "discs changed", "curve", "restart"
CREW = (THRUST_SET, SPEED_SET, DISCS, CURVE, RESTART)
STROKE_M = 1.5


class Event(NamedTuple):
    """Something at a place. amount: by kind (factor of FPI, of drag a stroke, of load, l/min, share of muck).
    detail: by kind (a second number)."""

    kind: str
    from_m: float
    to_m: float
    amount: float
    detail: float = 0.0


@dataclass(frozen=True)
class Plan:
    """One drive. machine: its figures; events: along the drive; interval_s: of the log."""

    seed: int
    kind: str
    length_m: float
    interval_s: int
    machine: dict[str, float]
    events: tuple[Event, ...] = field(default=())

    def of(self, *kinds: str) -> list[Event]:
        return [event for event in self.events if event.kind in kinds]


def faulty_plan(seed: int) -> Plan:
    """A drive with faults and with what a crew does anyway."""
    rng = np.random.default_rng([seed, 1])
    plan = _bare(seed, rng, rng.uniform(240, 320))
    events = [*_ground_events(rng, plan), *_crew_events(rng, plan, often=70.0)]
    return replace(plan, events=tuple(sorted(events, key=lambda e: e.from_m)))


def quiet_plan(seed: int) -> Plan:
    """A drive without faults, changes of rock or held shield, but with everything a crew does."""
    rng = np.random.default_rng([seed, 2])
    plan = _bare(seed, rng, rng.uniform(230, 300))
    return replace(plan, events=tuple(_crew_events(rng, plan, often=25.0)))


def _bare(seed: int, rng: np.random.Generator, length_m: float) -> Plan:
    kind = (DOUBLE, SINGLE, OPEN)[seed % 3]
    discs = float(rng.integers(36, 52))
    load = rng.uniform(170, 250)
    drag = {DOUBLE: rng.uniform(800, 1500), SINGLE: rng.uniform(2500, 4000), OPEN: rng.uniform(500, 900)}[
        kind
    ]
    machine = {
        "discs": discs, "bore_m": round(rng.uniform(5.6, 7.2), 2), "load_kN": load, "limit_kN": 312.0,
        "fpi": rng.uniform(20, 45), "exponent": rng.uniform(1.15, 1.8), "rpm": rng.uniform(5.5, 7.5),
        "rolling": rng.uniform(0.9, 1.1), "no_load_kNm": rng.uniform(140, 220), "drag_kN": drag,
        "aux_drag_kN": 2.5 * drag, "most_mm_rev": 14.0, "back_mm": rng.uniform(35, 60),
    }  # fmt: skip
    machine["thrust_kN"] = 100 * round((drag + discs * max(1.45 * load, 325.0)) / 100)
    usual = 0.3 * machine["bore_m"] * discs * load * np.sqrt(load / machine["fpi"] / 475)
    machine["torque_kNm"] = 50 * round((machine["no_load_kNm"] + 1.8 * usual) / 50)
    return Plan(seed, kind, float(np.floor(length_m / STROKE_M)) * STROKE_M, (10, 5)[seed // 3 % 2], machine)


def _ground_events(rng: np.random.Generator, plan: Plan) -> list[Event]:
    """One after the other along the drive, 22 m or more apart; water and muck lie over some of them."""
    kinds = [
        WEAK,
        WEAK,
        WEAK,
        WEAK,
        ROCK,
        HARD,
        BLOCKY,
        MASSIVE,
        *([] if plan.kind == OPEN else [HELD, HELD]),
    ]
    kinds += [UNBRACED] if plan.kind != SINGLE else []
    kinds += [ON_RING] if plan.kind == DOUBLE else []
    events: list[Event] = []
    at, held = 28.0 + rng.uniform(0, 8), False
    first = {DOUBLE: (HELD, ON_RING, UNBRACED, HELD), SINGLE: (HELD, BLOCKY), OPEN: (UNBRACED, BLOCKY)}[
        plan.kind
    ]
    order = [WEAK, first[plan.seed // 6 % len(first)], *rng.permutation(kinds)]
    for kind in order:
        if kind == HELD and held:
            continue
        event = _one(rng, str(kind), at)
        if event.to_m > plan.length_m - 24:
            continue
        held |= kind == HELD
        events.append(event)
        at = event.to_m + rng.uniform(22, 42)
    return events + _beside(rng, plan, events)


def _one(rng: np.random.Generator, kind: str, at: float) -> Event:
    strokes = STROKE_M * np.ceil(at / STROKE_M)
    if kind == WEAK:
        return Event(
            kind, at, at + _length(rng), rng.uniform(0.25, 0.65), rng.choice([0.0, rng.uniform(0.7, 0.9)])
        )
    if kind == HARD:
        return Event(kind, at, at + _length(rng), rng.uniform(1.5, 2.4))
    if kind == MASSIVE:
        return Event(kind, at, at + rng.uniform(10, 30), rng.uniform(2.2, 3.2))
    if kind == BLOCKY:
        return Event(kind, at, at + rng.uniform(6, 25), rng.uniform(0.22, 0.4))
    if kind == ROCK:
        return Event(kind, at, at, float(np.exp(rng.choice([-1, 1]) * rng.uniform(0.3, 0.8))))
    if kind == HELD:
        return Event(
            kind, strokes, strokes + STROKE_M * rng.integers(6, 12), rng.uniform(1.18, 1.5), rng.uniform()
        )
    if kind == ON_RING:
        return Event(kind, strokes, strokes + STROKE_M * rng.integers(4, 12), 0.8)
    return Event(UNBRACED, strokes, strokes + STROKE_M * rng.integers(2, 6), rng.uniform(0.45, 0.65))


def _length(rng: np.random.Generator) -> float:
    """3 to 40 m, short ones as often as long ones."""
    return float(np.exp(rng.uniform(np.log(3.0), np.log(40.0))))


def _beside(rng: np.random.Generator, plan: Plan, events: list[Event]) -> list[Event]:
    """Water and muck, with a weak zone or on their own."""
    out = []
    for kind, draw in ((WATER, lambda: rng.uniform(250, 1500)), (MUCK, lambda: rng.uniform(0.25, 0.7))):
        zones = [e for e in events if e.kind == WEAK]
        if rng.random() < 0.5 and zones:
            at = zones[int(rng.integers(len(zones)))].from_m
        else:
            at = rng.uniform(30, plan.length_m - 40)
        out.append(Event(kind, at, at + rng.uniform(5, 18), float(draw())))
    return out


def _crew_events(rng: np.random.Generator, plan: Plan, often: float) -> list[Event]:
    """Set-points anew, discs changed, curves, restarts: each about every so many metres."""
    out: list[Event] = []
    for kind in CREW:
        at = rng.uniform(10, often + 10)
        while at < plan.length_m - 12:
            length = float(rng.uniform(6, 60)) if kind in (THRUST_SET, SPEED_SET, CURVE) else 0.0
            amount = {
                THRUST_SET: rng.uniform(0.72, 1.15), SPEED_SET: rng.uniform(0.72, 1.15),
                DISCS: rng.uniform(0.88, 0.97), CURVE: rng.uniform(1.0, 1.06), RESTART: rng.uniform(2, 14),
            }[kind]  # fmt: skip
            out.append(Event(kind, at, min(at + length, plan.length_m), amount))
            at += length + rng.uniform(0.6, 1.6) * often
    return out


@dataclass(frozen=True)
class Ground:
    """Along the grid (n,): factor of FPI at equal load, spread of torque as a share, load and speed the crew sets
    (factors), muck over what was bored, water [l/min]."""

    place_m: Floats
    resistance: Floats
    torque_spread: Floats
    load: Floats
    speed: Floats
    muck: Floats
    water_l_min: Floats


def ground_of(plan: Plan) -> Ground:
    """The ground of a plan, and what its crew sets."""
    rng = np.random.default_rng([plan.seed, 3])
    place = np.arange(round(plan.length_m / GRID_M)) * GRID_M
    n = len(place)
    rough = rng.uniform(0.7, 1.6)  # ground of one drive is more even than that of another
    logs = rough * (
        correlated(rng, n, 45.0, 0.10) + correlated(rng, n, 1.2, 0.07) + correlated(rng, n, 0.15, 0.05)
    )
    spread, load, speed = np.full(n, 0.04), np.ones(n), np.ones(n)
    muck = 1 + correlated(rng, n, 8.0, 0.03)
    water = rng.uniform(40, 160) * np.exp(correlated(rng, n, 30.0, 0.12))
    for event in plan.events:
        inside = (place >= event.from_m) & (place < event.to_m)
        if event.kind in (WEAK, HARD, MASSIVE):
            logs += np.log(event.amount) * _soft(rng, place, event)
            logs += np.where(inside, correlated(rng, n, 1.0, 0.08), 0.0)
        if event.kind == WEAK and event.detail:
            late = (place >= event.from_m + 0.6) & (place < event.to_m + 0.8)
            load[late] *= event.detail
            speed[late] *= event.detail
        if event.kind == MASSIVE:
            load[inside] = 0.97 * plan.machine["limit_kN"] / plan.machine["load_kN"]
        if event.kind == BLOCKY:
            spread[inside] = event.amount
            logs += np.where(inside, correlated(rng, n, 0.5, 0.10), 0.0)
        if event.kind == ROCK:
            logs += np.where(place >= event.from_m, np.log(event.amount), 0.0)
        if event.kind == MUCK:
            muck[inside] += event.amount
        if event.kind == WATER:
            since = np.clip(place - event.from_m, 0, None)
            water += np.where(inside, event.amount * np.minimum(1, since / 2), 0.0)
            water += np.where(place >= event.to_m, event.amount * np.exp(-(place - event.to_m) / 6), 0.0)
        _crew(event, inside, place, (logs, load, speed))
    wear = _wear(plan, place)
    return Ground(place, np.exp(logs) * wear, spread, load, speed, muck, water)


def _crew(event: Event, inside: NDArray[np.bool_], place: Floats, of: tuple[Floats, Floats, Floats]) -> None:
    logs, load, speed = of
    if event.kind == THRUST_SET:
        load[inside] *= event.amount
    if event.kind == SPEED_SET:
        speed[inside] *= event.amount
    if event.kind == CURVE:  # gauge discs on the inside of a curve, cylinders uneven
        logs[inside] += np.log(event.amount)


def _wear(plan: Plan, place: Floats) -> Floats:
    """FPI creeps up with wear and falls back where discs are changed."""
    creep = 0.0004 * place
    for event in plan.of(DISCS):
        creep += np.where(
            place >= event.from_m, np.log(event.amount) * np.exp(-(place - event.from_m) / 80), 0.0
        )
    factor: Floats = np.exp(creep)
    return factor


def _soft(rng: np.random.Generator, place: Floats, event: Event) -> Floats:
    """1 inside, 0 outside, over a margin of up to 0.8 m centred on each boundary."""
    margins = rng.uniform(0.05, 0.8, 2)
    rise = np.clip((place - event.from_m) / margins[0] + 0.5, 0, 1)
    fall = np.clip((event.to_m - place) / margins[1] + 0.5, 0, 1)
    share: Floats = np.minimum(rise, fall)
    return share


def correlated(rng: np.random.Generator, n: int, length_m: float, deviation: float) -> Floats:
    """First-order noise along the grid with a correlation length and a standard deviation."""
    keep = np.exp(-GRID_M / length_m)
    steps = rng.standard_normal(n) * deviation * np.sqrt(1 - keep**2)
    steps[0] = rng.standard_normal() * deviation
    noise: Floats = lfilter([1.0], [1.0, -keep], steps)
    return noise
