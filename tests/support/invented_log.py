"""The log of an invented drive: how machine and crew bore through the ground of a plan, and what the recorder shows.

Penetration follows the load by a power law of the drive's own exponent over the ground's resistance; torque follows
rolling resistance of the discs plus the head's own; both have noise that belongs to the place. A boring set pushes
drag and discs together, up to what is installed. Nothing is taken from the package.
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.support.invented_ground import (
    DISCS,
    DOUBLE,
    GRID_M,
    HELD,
    ON_RING,
    RESTART,
    SINGLE,
    STROKE_M,
    UNBRACED,
    Floats,
    Ground,
    Plan,
    correlated,
    ground_of,
)  # fmt: skip

CLOSED_MM, AUX_CLOSED_MM, START_US = 10.0, 150.0, 1_930_000_000_000_000
DISC_MM, DENSITY, BRACED_BAR, APPROACH_MM_MIN, BELT_LAG_S = 483.0, 2.7, 240.0, 75.0, 120
HELD_STARTS, USUAL_STARTS = (1.25, 1.6), (1.0, 1.15)  # thrust to break away over that to go on, from .. to
AUX_INSTALLED = 1.3  # times the main thrust
RAMP_M = 0.03  # a bout loads up over so much advance


@dataclass(frozen=True)
class Cut:
    """Boring along the grid (n,): load a disc without ramps, load, penetration, speeds, torque; seconds at the end of
    each step; stroke of each step; drag [kN] and whether the auxiliaries push, by stroke; how held, by stroke (1: not)."""

    steady_kN: Floats
    load_kN: Floats
    mm_rev: Floats
    rpm: Floats
    torque_kNm: Floats
    after_s: Floats
    stroke: NDArray[np.int64]
    drag_kN: Floats
    by_aux: NDArray[np.bool_]
    held: Floats


@dataclass
class Log:
    """rows: channel -> (n,) values at time_us (n,); head_m: true place of the face. ground, cut: what is true."""

    plan: Plan
    ground: Ground
    cut: Cut
    time_us: NDArray[np.int64]
    rows: dict[str, Floats]
    head_m: Floats

    def fpi(self) -> tuple[Floats, Floats]:
        """(place [m], net FPI in truth) by 0.1 m, without the loading of strokes."""
        n = len(self.cut.load_kN) // 20 * 20
        load, p = (x[:n].reshape(-1, 20) for x in (self.cut.steady_kN, self._steady_mm_rev()))
        return self.ground.place_m[:n:20] + 0.05, load.mean(axis=1) / p.mean(axis=1)

    def _steady_mm_rev(self) -> Floats:
        machine = self.plan.machine
        return penetration(machine, self.cut.steady_kN, self.ground.resistance)


def penetration(machine: dict[str, float], load_kN: Floats, resistance: Floats) -> Floats:
    """mm/rev at a load a disc."""
    usual = machine["load_kN"] / machine["fpi"]
    p: Floats = usual * (np.maximum(load_kN, 1.0) / machine["load_kN"]) ** machine["exponent"] / resistance
    return p


def make_log(plan: Plan) -> Log:
    """The log of a plan, before any sensor goes wrong."""
    ground = ground_of(plan)
    stops = _stops(plan)
    cut = _cut(plan, ground, stops)
    tape = _Tape(plan, ground, cut, stops)
    for k in range(int(cut.stroke[-1]) + 1):
        tape.stroke(k)
    return tape.log()


def _stops(plan: Plan) -> dict[int, float]:
    """Grid step before which the machine stands, and for how long [s]; within strokes."""
    rng = np.random.default_rng([plan.seed, 4])
    stops = {}
    for k in range(round(plan.length_m / STROKE_M)):
        if rng.random() < 0.15:
            stops[round((k + rng.uniform(0.2, 0.8)) * STROKE_M / GRID_M)] = float(rng.uniform(300, 3000))
    for event in plan.of(RESTART):
        stops[round(event.from_m / GRID_M)] = 3600 * event.amount
    for event in plan.of(HELD):  # the crew stands over a shift while the shield is held
        stops[round((event.from_m + 2.4 * STROKE_M) / GRID_M)] = 3600 * (3 + 4 * event.detail)
    return stops


def _cut(plan: Plan, ground: Ground, stops: dict[int, float]) -> Cut:
    rng, machine = np.random.default_rng([plan.seed, 5]), plan.machine
    n, discs = len(ground.place_m), machine["discs"]
    stroke = (np.arange(n) * GRID_M / STROKE_M + 1e-9).astype(np.int64)
    drag, by_aux, held = _drag(plan, rng, int(stroke[-1]) + 1)
    room = (0.97 * machine["thrust_kN"] * np.where(by_aux, AUX_INSTALLED, 1.0) - drag)[stroke] / discs
    steady = machine["load_kN"] * ground.load * (1 + correlated(rng, n, 0.4, 0.015))
    steady = np.minimum(steady, np.maximum(room, 20.0))
    steady = np.minimum(steady, machine["limit_kN"])
    fast = penetration(machine, steady, ground.resistance) / machine["most_mm_rev"]
    steady = steady * np.minimum(1, fast ** (-1 / machine["exponent"]))
    since = np.arange(n) - _bout_starts(stroke, stops)[1]
    ramp = np.clip(0.35 + 0.65 * since * GRID_M / RAMP_M, 0, 1)
    steady *= _within_torque(machine, steady, ground)
    load = steady * ramp
    p = penetration(machine, load, ground.resistance)
    rough = np.where(
        ground.torque_spread > 0.1, correlated(rng, n, 0.008, 1.0), correlated(rng, n, 0.02, 1.0)
    )
    rolling = machine["rolling"] * np.sqrt(p / (DISC_MM - p)) * (1 + correlated(rng, n, 2.0, 0.02))
    torque = (
        0.3 * machine["bore_m"] * discs * load * rolling * np.maximum(0.15, 1 + ground.torque_spread * rough)
    )
    rpm = machine["rpm"] * ground.speed * np.where(by_aux[stroke], 0.8, 1.0)
    torque += machine["no_load_kNm"]
    after = np.cumsum(1000 * GRID_M / (p * rpm / 60))
    return Cut(steady, load, p, rpm, torque, after, stroke, drag, by_aux, held)


def _within_torque(machine: dict[str, float], load_kN: Floats, ground: Ground) -> Floats:
    """What the load is lowered by so that torque stays below what is installed."""
    p = penetration(machine, load_kN, ground.resistance)
    needs = (
        0.3 * machine["bore_m"] * machine["discs"] * load_kN * machine["rolling"] * np.sqrt(p / (DISC_MM - p))
    )
    over = needs / (0.92 * machine["torque_kNm"] - machine["no_load_kNm"])
    lowered: Floats = np.where(over > 1, over ** (-1 / (1 + machine["exponent"] / 2)), 1.0)
    return lowered


def _bout_starts(stroke: NDArray[np.int64], stops: dict[int, float]) -> tuple[list[int], NDArray[np.int64]]:
    """(first steps of bouts, the first step of each step's own bout)."""
    first = sorted(
        {0, *(np.flatnonzero(np.diff(stroke)) + 1).tolist(), *(s for s in stops if s < len(stroke))}
    )
    which = np.searchsorted(first, np.arange(len(stroke)), side="right") - 1
    return first, np.array(first)[which]


def _drag(plan: Plan, rng: np.random.Generator, strokes: int) -> tuple[Floats, NDArray[np.bool_], Floats]:
    """(drag [kN], whether the auxiliaries push, factor of a held shield) by stroke."""
    at = np.arange(strokes) * STROKE_M
    machine, by_aux, held = plan.machine, np.zeros(strokes, bool), np.ones(strokes)
    wander = 1 + 0.05 * np.sin(at / 30 + rng.uniform(0, 6)) + rng.normal(0, 0.05, strokes)
    for event in plan.of(ON_RING):
        by_aux |= (at >= event.from_m - 1e-6) & (at < event.to_m - 1e-6)
    for event in plan.of(HELD):
        inside = (at >= event.from_m - 1e-6) & (at < event.to_m - 1e-6)
        count = np.cumsum(inside) * inside
        most = (
            0.75 * (machine["thrust_kN"] - 0.3 * machine["discs"] * machine["load_kN"]) / machine["drag_kN"]
        )
        held = np.where(inside, np.minimum(event.amount**count, max(most, 1.5)), held)
        if plan.kind == DOUBLE and event.detail > 0.6:
            by_aux |= inside & (count > 3)
    usual = np.where(by_aux, machine["aux_drag_kN"], machine["drag_kN"])
    installed = 0.97 * machine["thrust_kN"] * np.where(by_aux, AUX_INSTALLED, 1.0)
    most_kN = (
        installed - 0.25 * machine["discs"] * machine["load_kN"]
    )  # with less on the discs a crew would stop
    return np.minimum(usual * wander * held, most_kN), by_aux, held


@dataclass
class _Tape:
    """The shift's work as segments: (seconds from .. to, what, values)."""

    plan: Plan
    ground: Ground
    cut: Cut
    stops: dict[int, float]
    segments: list[tuple[float, float, dict[str, Any]]] = field(default_factory=list)
    t: float = 0.0
    main: float = CLOSED_MM
    aux: float = AUX_CLOSED_MM
    back: float = 0.0
    ring: int = 100
    gripper: float = BRACED_BAR

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng([self.plan.seed, 6])
        self.first_steps = _bout_starts(self.cut.stroke, self.stops)[0]
        self.unbraced = {
            k: e.amount for e in self.plan.of(UNBRACED)
            for k in range(round(e.from_m / STROKE_M), round(e.to_m / STROKE_M))
        }  # fmt: skip
        self.discs = {round(event.from_m / STROKE_M) for event in self.plan.of(DISCS)}
        if self.plan.kind == DOUBLE:
            self.aux += 1000 * STROKE_M

    def add(self, seconds: float, *, main: float = 0.0, aux: float = 0.0, **values: Any) -> None:
        """main, aux: mm moved, evenly; values: of the channels."""
        values |= {
            "gripper": values.get("gripper", self.gripper), "ring": self.ring,
            "main": (self.main, self.main + main), "aux": (self.aux, self.aux + aux),
        }  # fmt: skip
        self.segments.append((self.t, self.t + seconds, values))
        self.t, self.main, self.aux = self.t + seconds, self.main + main, self.aux + aux

    def stroke(self, k: int) -> None:
        aux = bool(self.cut.by_aux[k])
        before_aux = bool(self.cut.by_aux[k - 1]) if k else aux
        if k:
            self.reset(k, before_aux, aux)
        elif aux:
            self.aux = AUX_CLOSED_MM
        braced = BRACED_BAR * self.unbraced.get(k, 1.0)
        self.gripper = 0.0 if self.plan.kind == SINGLE else 20.0 if aux else braced
        self.turn(float(self.rng.uniform(50, 85)), k)
        if self.back:
            self.approach(k, aux)
        self.bores(k, aux)
        self.turn(12, k)
        self.add(40)

    def bores(self, k: int, aux: bool) -> None:
        first, last = (
            round(k * STROKE_M / GRID_M),
            min(round((k + 1) * STROKE_M / GRID_M), len(self.cut.load_kN)),
        )
        starts = [s for s in self.first_steps if first <= s < last]
        to_go = self.aux - AUX_CLOSED_MM if self.plan.kind == DOUBLE and not aux else 0.0
        whole = float(self.cut.after_s[last - 1] - (self.cut.after_s[first - 1] if first else 0.0))
        for i, (a, b) in enumerate(zip(starts, [*starts[1:], last], strict=True)):
            if i:
                self.turn(12, k)
                self.add(self.stops[a])
                self.turn(float(self.rng.uniform(25, 45)), k)
                self.breaks(k, a)
            begin, end = (float(self.cut.after_s[s - 1]) if s else 0.0 for s in (a, b))
            done = float(self.cut.after_s[first - 1]) if first else 0.0
            mm = 1000 * GRID_M * (b - a)
            self.add(
                end - begin, steps=(a, b), k=k, by_aux=aux, beside=(to_go, begin - done, whole),
                **({"aux": mm} if aux else {"main": mm}),
            )  # fmt: skip
        if k in self.unbraced and self.plan.kind == DOUBLE:
            self.slips(k)
        self.aux -= to_go
        self.ring += to_go > 0
        if self.cut.held[k] > 1.8:
            n = float(self.rng.uniform(240, 1500))
            kN = 0.96 * self.plan.machine["thrust_kN"] * (AUX_INSTALLED if aux else 1.0)
            self.add(
                n,
                rpm=0.6 * self.cut.rpm[last - 1],
                torque=2.5 * self.plan.machine["no_load_kNm"],
                push=(aux, kN),
            )

    def breaks(self, k: int, step: int) -> None:
        """The head is on the face and starts again: more thrust than boring takes where the shield is held."""
        held, machine = bool(self.cut.held[k] > 1), self.plan.machine
        running = self.cut.drag_kN[k] + machine["discs"] * self.cut.steady_kN[step]
        more = self.cut.drag_kN[k] * (self.rng.uniform(*(HELD_STARTS if held else USUAL_STARTS)) - 1)
        kN = min(running + more, machine["thrust_kN"]) if held else 0.5 * running
        aux = bool(self.cut.by_aux[k])
        self.add(15 if held else 5, rpm=machine["rpm"], torque=1.3 * machine["no_load_kNm"], push=(aux, kN))

    def turn(self, seconds: float, k: int) -> None:
        step = min(round(k * STROKE_M / GRID_M), len(self.cut.rpm) - 1)
        self.add(seconds, rpm=self.cut.rpm[step], torque=self.plan.machine["no_load_kNm"])

    def approach(self, k: int, aux: bool) -> None:
        held = bool(self.cut.held[k] > 1)
        seconds, kN = 60 * self.back / APPROACH_MM_MIN, self.cut.drag_kN[k]
        way = {"aux": self.back} if aux else {"main": self.back}
        step = round(k * STROKE_M / GRID_M)
        self.add(
            seconds, rpm=self.cut.rpm[step], torque=self.plan.machine["no_load_kNm"], push=(aux, kN),
            starts=kN * self.rng.uniform(*(HELD_STARTS if held else USUAL_STARTS)), forward=APPROACH_MM_MIN, head=self.back, **way,
        )  # fmt: skip
        self.back = 0.0

    def slips(self, k: int) -> None:
        mm = float(self.rng.uniform(40, 90))
        step = round(k * STROKE_M / GRID_M)
        self.add(
            mm / 0.6, main=mm, aux=-mm, rpm=self.cut.rpm[step], torque=1.8 * self.plan.machine["no_load_kNm"],
            push=(False, 0.5 * self.plan.machine["thrust_kN"]), forward=36.0, gripper=0.6 * self.gripper,
        )  # fmt: skip
        self.add(400)

    def reset(self, k: int, before_aux: bool, aux: bool) -> None:
        if k in self.discs:
            self.add(float(self.rng.uniform(3, 8)) * 3600)
        if self.rng.random() < 0.04:
            self.add(float(self.rng.uniform(1, 4)) * 3600)
        self.back = self.plan.machine["back_mm"] if self.rng.random() < 0.8 else 0.0
        if self.plan.kind == SINGLE:
            return self.build("main", self.back)
        if not before_aux:
            self.regrip(k, 0.0 if aux else self.back)
        if self.plan.kind == DOUBLE and (before_aux or aux):
            self.build("aux", self.back if before_aux else 0.0)
            if aux and not before_aux:
                self.back = 0.0
        return None

    def regrip(self, k: int, back: float) -> None:
        n, way = float(self.rng.uniform(90, 160)), self.main - CLOSED_MM
        kN = (0.6 + 0.4 * self.cut.held[k - 1]) * 1.5 * self.plan.machine["aux_drag_kN"]
        kN *= self.rng.lognormal(0, 0.06)
        self.add(20, gripper=10.0)
        aux = way - back if self.plan.kind == DOUBLE else 0.0
        self.add(n, main=-way, aux=aux, gripper=10.0, head=-back, drawn=kN)
        self.add(40, gripper=BRACED_BAR * 0.6)
        self.add(float(self.rng.uniform(60, 240)))

    def build(self, which: str, back: float) -> None:
        way = self.main - CLOSED_MM if which == "main" else self.aux - AUX_CLOSED_MM
        for _ in range(6):
            self.add(20, **{which: -(way / 6 + 12)}, head=-back / 6)
            self.add(150)
            self.add(6, **{which: 12.0})
        self.ring += 1
        self.add(float(self.rng.uniform(60, 400)))

    def log(self) -> "Log":
        from tests.support.invented_rows import rows_of

        return rows_of(self)
