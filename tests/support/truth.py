"""Small drives with their truth, for tests of motion: drawn second by second, with plain physics of its own.

A drive is a row of strokes with `Event`s in them; the log is what a recorder with `Sensors` shows of it.
Nothing here is taken from the package but the shape of samples and of the setup. All figures are invented.
"""

from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from support.truth_log import Sensors, logged

from tbmreview.domain.samples import Samples
from tbmreview.domain.setup import Setup, read_setup
from tbmreview.domain.states import PushingSet, Reaction, State
from tbmreview.domain.table import Table

Floats = NDArray[np.float64]
OPEN, SINGLE, DOUBLE = "open gripper", "single shield", "double shield"
PLAIN_DAY = 1_930_003_200_000_000  # 2031-02-28 00:00 UTC
AUTUMN = 1_919_275_200_000_000  # 2030-10-26 20:00 UTC: clocks go back the night after, in Oslo
SPRING = 1_932_580_800_000_000  # 2031-03-29 20:00 UTC: clocks go on the night after
FREE_KNM, DRAG_KN, AUX_DRAG_KN, DISCS, BORE_M = 170.0, 1000.0, 2600.0, 40, 6.0
RESTING_KN, HOLDING_KN, BRACED_BAR = 300.0, 1100.0, 240.0
CLOSED_MM, AUX_CLOSED_MM = 8.0, 150.0


class Event(NamedTuple):
    """Something that happens in a stroke (counted from 0); several of one stroke come in order, spread over it.

    what (amount): stop (seconds at rest; a negative amount does not turn free before it goes on), held
    (seconds turning loaded without advance), creep (mm bored at 2.7 mm/min), pull_back (mm that the head is
    drawn back with the grippers braced), slip (mm; double shield), short (mm that the stroke falls short),
    back (mm that the head is drawn back in the reset before the stroke), on_ring (pushed on the ring).
    """

    stroke: int
    what: str
    amount: float = 0.0


@dataclass(frozen=True)
class Plan:
    """What the machine does. ring: 'pads' (group by group) or 'still' (all at once, long
    after the work began)."""

    kind: str = OPEN
    strokes: int = 4
    seed: int = 1
    stroke_mm: float = 1200.0
    events: tuple[Event, ...] = ()
    ring: str = "pads"
    start_us: int = PLAIN_DAY
    speed_mm_min: float = 48.0


@dataclass(frozen=True)
class Truth:
    """seconds: what was true at each second: time_us, state, face_m (furthest the head has been), head_m,
    main_mm, aux_mm, stroke, pushing_set, reaction, turning, building, speed_rpm, torque_kNm, thrust_kN (of the
    pushing set), recorded. strokes: one row each. samples: the log. setup: of the drive."""

    plan: Plan
    seconds: dict[str, NDArray[Any]]
    strokes: Table
    samples: Samples
    setup: Setup

    @property
    def advance_m(self) -> float:
        return float(self.strokes["advance_m"].sum())

    @property
    def boring_s(self) -> float:
        """Recorded seconds of boring."""
        return float(self.seconds["recorded"][self.seconds["state"] == State.BORING].sum())

    def stations(self, every_s: int, shift_m: float = 0.0) -> tuple[NDArray[np.int64], Floats]:
        """What a surveyor would find: (times [us], positions of the face [m]), every so many seconds."""
        return self.seconds["time_us"][::every_s], self.seconds["face_m"][::every_s] + shift_m


def make_truth(plan: Plan, sensors: Sensors | None = None, **machine: object) -> Truth:
    """A drive and its log. machine: keys of [machine] to change; None leaves one out."""
    sensors = sensors or Sensors()
    tape = _Tape(plan)
    for k in range(plan.strokes):
        tape.stroke(k)
    seconds = tape.seconds()
    samples, seconds["recorded"] = logged(seconds, plan.kind, sensors, plan.seed)
    return Truth(plan, seconds, _strokes(seconds), samples, _setup(plan, sensors, machine))


def _setup(plan: Plan, sensors: Sensors, machine: dict[str, object]) -> Setup:
    facts = {
        "kind": plan.kind,
        "bore_diameter_m": BORE_M,
        "disc_count": DISCS,
        "no_load_torque_kNm": FREE_KNM,
        "drag_kN": DRAG_KN,
        "stroke_length_m": plan.stroke_mm / 1000 + 0.05,
        **machine,
    }
    drive = {
        "name": "invented",
        "timezone": "Europe/Oslo",
        "chainage_start_m": sensors.chainage_m,
        "chainage_direction": "increasing" if sensors.direction > 0 else "decreasing",
        **({} if plan.kind == OPEN else {"ring_length_m": plan.stroke_mm / 1000}),
    }
    shifts = {"start": ["06:00", "14:00", "22:00"], "names": ["early", "late", "night"]}
    return read_setup(
        {"drive": drive, "machine": {k: v for k, v in facts.items() if v is not None}, "shifts": shifts},
        "invented",
    )


def _strokes(s: dict[str, NDArray[Any]]) -> Table:
    """Sums over the boring seconds of each stroke; advance over all of it."""
    boring = s["state"] == State.BORING
    way = np.diff(s["face_m"], append=s["face_m"][-1:])
    count = int(s["stroke"].max()) + 1
    first = np.searchsorted(s["stroke"], np.arange(count))

    def total(x: NDArray[Any]) -> Floats:
        return np.bincount(s["stroke"], np.where(boring, x, 0.0), minlength=count)

    turns = s["speed_rpm"] / 60
    rows = {
        "advance_m": np.bincount(s["stroke"], way, minlength=count),
        "boring_s": total(np.ones(len(way))),
        "recorded_boring_s": total(s["recorded"].astype(float)),
        "revolutions": total(turns),
        "thrust_kN_s": total(s["thrust_kN"]),
        "thrust_work_kJ": total(s["thrust_kN"] * way),
        "torque_work_kJ": total(s["torque_kNm"] * 2 * np.pi * turns),
        "pushing_set": s["pushing_set"][first],
        "drag_kN": np.where(s["pushing_set"][first] == PushingSet.AUX, AUX_DRAG_KN, DRAG_KN),
        "start_us": s["time_us"][first],
    }
    rows["fpi_kN_per_mm_rev"] = (rows["thrust_kN_s"] / rows["boring_s"] / DISCS) / (
        1000 * rows["advance_m"] / rows["revolutions"]
    )
    energy_kJ = rows["thrust_work_kJ"] + rows["torque_work_kJ"]
    rows["specific_energy_MJ_m3"] = energy_kJ / 1000 / (np.pi / 4 * BORE_M**2 * rows["advance_m"])
    return Table(rows)


@dataclass
class _Tape:
    """Stretches of seconds, one after the other. A value stands at its second; movement follows it."""

    plan: Plan
    parts: list[dict[str, NDArray[Any]]] = field(default_factory=list)
    main: float = CLOSED_MM
    aux: float = AUX_CLOSED_MM
    head: float = 0.0  # mm
    ring: int = 10
    k: int = 0
    push: PushingSet = PushingSet.MAIN
    gripper: float = BRACED_BAR

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.plan.seed)
        self.aux = AUX_CLOSED_MM + (self.plan.stroke_mm if self.plan.kind == DOUBLE else 0.0)

    def seconds(self) -> dict[str, NDArray[Any]]:
        out = {name: np.concatenate([part[name] for part in self.parts]) for name in self.parts[0]}
        out["time_us"] = self.plan.start_us + 1_000_000 * np.arange(len(out["state"]))
        out["face_m"] = np.maximum.accumulate(out["head_m"])
        aux = out["pushing_set"] == PushingSet.AUX
        out["thrust_kN"] = np.where(aux, out["aux_kN"], out["main_kN"])
        return out

    def add(self, n: int, state: State, **given: Any) -> None:
        """n seconds. main, aux, head: mm moved in each second (a number or (n,)); the rest: values."""
        if n <= 0:
            return
        at = {name: given.pop(name, 0.0) * np.ones(n) for name in ("main", "aux", "head")}
        way = {name: np.cumsum(steps) - steps for name, steps in at.items()}
        usual = Reaction.GRIPPERS if self.plan.kind != SINGLE and not self.on_ring else Reaction.RING
        values = {
            "state": int(state), "stroke": self.k, "pushing_set": int(self.push), "reaction": int(usual),
            "speed_rpm": 0.0, "torque_kNm": 0.0, "main_kN": RESTING_KN, "aux_kN": HOLDING_KN,
            "gripper_bar": self.gripper, "building": False, "ring": self.ring, **given,
        }  # fmt: skip
        part = {name: np.broadcast_to(np.asarray(value), (n,)) for name, value in values.items()}
        part |= {"main_mm": self.main + way["main"], "aux_mm": self.aux + way["aux"]}
        part |= {"head_m": (self.head + way["head"]) / 1000}
        part.setdefault("speed_mm_min", 60 * at["head"])
        part["turning"] = part["speed_rpm"] > 0
        self.parts.append(part)
        self.main, self.aux, self.head = (
            getattr(self, name) + float(at[name].sum()) for name in ("main", "aux", "head")
        )

    @property
    def on_ring(self) -> bool:
        return self.push == PushingSet.AUX

    @property
    def rpm(self) -> float:
        return 4.0 if self.on_ring else 7.5

    def forward(self, steps: Floats) -> dict[str, Floats]:
        return {"aux" if self.on_ring else "main": steps, "head": steps}

    def force(self, kN: Any) -> dict[str, Any]:
        return {"aux_kN": kN, "main_kN": 900.0} if self.on_ring else {"main_kN": kN}

    def free_torque(self, n: int) -> Floats:
        return FREE_KNM + self.rng.normal(0, 5, n)

    def turn(self, n: int) -> None:
        up = np.minimum(1, (np.arange(n) + 1) / 6)
        torque = self.free_torque(n) * np.where(up < 1, 1.6, 1.0)
        self.add(n, State.TURNING_FREE, speed_rpm=self.rpm * up, torque_kNm=torque)

    def approach(self, mm: float) -> None:
        """Free advance at 75 mm/min."""
        n = round(mm / 1.25)
        if n:
            kN = (AUX_DRAG_KN if self.on_ring else DRAG_KN) + self.rng.normal(0, 15, n)
            self.add(
                n, State.TURNING_FREE, speed_rpm=self.rpm, torque_kNm=self.free_torque(n),
                **self.force(kN), **self.forward(np.full(n, mm / n)),
            )  # fmt: skip

    def bore(self, mm: float, usual_mm_min: float | None = None) -> None:
        """Loading over some 40 s, steady with the roughness of rock, unloading over some 8 s."""
        aim = (usual_mm_min or self.plan.speed_mm_min) / 60
        most = int(1.6 * mm / aim) + 120
        rough = np.convolve(self.rng.normal(0, 0.25, most + 20), np.exp(-np.arange(20) / 6) / 6, "valid")
        rock = 1 + 0.3 * np.sin(self.head / 700 + np.arange(most) * aim / 700)
        ramp = np.minimum(1, (np.arange(most) + 5) / 40) if usual_mm_min is None else np.ones(most)
        speed = aim * rock[:most] * np.maximum(0.1, 1 + rough[:most]) * ramp
        n = int(np.searchsorted(np.cumsum(speed), mm)) + 1
        fall = np.ones(n)
        fall[-min(8, n) :] = np.linspace(1, 0.4, min(8, n))
        speed = speed[:n] * fall
        speed *= mm / speed.sum()
        load = np.minimum(ramp[:n], fall)
        per_disc = (210 + 60 * (1.3 - rock[:n])) * (0.25 + 0.75 * load)
        drag = AUX_DRAG_KN if self.on_ring else DRAG_KN
        kN = drag + DISCS * per_disc * (0.5 if self.on_ring else 1) * (1 + self.rng.normal(0, 0.02, n))
        torque = FREE_KNM + 1300 * (0.1 + 0.9 * load) * (1 + 0.5 * rough[:n] + self.rng.normal(0, 0.04, n))
        first = len(self.parts)
        self.add(
            n, State.BORING, speed_rpm=self.rpm, torque_kNm=torque, **self.force(kN), **self.forward(speed)
        )
        if first < len(self.parts) and self.plan.kind == DOUBLE and not self.on_ring:
            self._ring_beside(self.parts[first])

    def _ring_beside(self, part: dict[str, NDArray[Any]]) -> None:
        """A ring built while the mains push: pads come in group by group, and out onto the segment."""
        to_go = self.aux - AUX_CLOSED_MM
        n = len(part["state"])
        if to_go < 50 or n < 300:
            return
        gone, t = np.zeros(n), np.arange(n)
        groups = 6 if self.plan.ring == "pads" else 1
        for g in range(groups):
            at = (60 + g * max(40, (n - 120) // 6)) if groups > 1 else n - 120
            gone += (to_go / groups + 12) * np.clip((t - at) / 20, 0, 1)
            gone -= 12 * np.clip((t - at - 30) / 6, 0, 1)
        part["building"] = (t >= 60) & (t < at + 40)
        part["aux_mm"] = part["aux_mm"] - gone
        part["ring"] = self.ring + (t > n - 60)
        self.ring += 1
        self.aux = AUX_CLOSED_MM

    def stroke(self, k: int) -> None:
        events = [event for event in self.plan.events if event.stroke == k]
        what = {event.what: event.amount for event in events}
        self.k = k
        pushes = PushingSet.AUX if "on_ring" in what else PushingSet.MAIN
        if k:
            self.reset(pushes, what.get("back", 0.0))
        self.push = pushes
        self.gripper = 0.0 if self.plan.kind == SINGLE else 20.0 if self.on_ring else BRACED_BAR
        if k == 0:
            self.aux = AUX_CLOSED_MM if self.on_ring else self.aux
            self.add(120, State.STANDING)
        self.turn(int(self.rng.integers(30, 70)))
        self.approach(what.get("back", 0.0) if k else 0.0)
        length = self.plan.stroke_mm * self.rng.uniform(0.97, 1.0) - what.get("short", 0.0)
        within = [event for event in events if hasattr(self, f"_{event.what}")]
        creeps = sum(event.amount for event in within if event.what == "creep")
        for event in within:
            self.bore((length - creeps) / (len(within) + 1))
            getattr(self, f"_{event.what}")(event.amount)
        self.bore((length - creeps) / (len(within) + 1))
        self.turn_out()

    def turn_out(self) -> None:
        self.add(12, State.TURNING_FREE, speed_rpm=self.rpm, torque_kNm=self.free_torque(12))
        self.add(40, State.STANDING)

    def _stop(self, seconds: float) -> None:
        self.turn_out()
        self.add(int(abs(seconds)), State.STANDING)
        self.turn(25 if seconds > 0 else 0)

    def _held(self, seconds: float) -> None:
        n = int(seconds)
        torque = 900 + self.rng.normal(0, 30, n)
        self.add(n, State.TURNING_LOADED, speed_rpm=0.6 * self.rpm, torque_kNm=torque, **self.force(11_000.0))

    def _creep(self, mm: float) -> None:
        self.bore(mm, usual_mm_min=2.7)

    def _pull_back(self, mm: float) -> None:
        n = round(mm / 4)
        self.add(
            n, State.TURNING_FREE, speed_rpm=self.rpm, torque_kNm=self.free_torque(n),
            **self.force(-400.0), **self.forward(np.full(n, -mm / n)),
        )  # fmt: skip
        self.add(300, State.STANDING)
        self.turn(25)
        self.approach(mm)

    def _slip(self, mm: float) -> None:
        """Mains extend in vain, and with them the speed that the machine makes of it; the rear shield goes back
        onto the ring. Then the grippers are braced anew."""
        n = round(mm / 0.6)
        self.add(
            n, State.TURNING_LOADED, main=mm / n, aux=-mm / n, speed_rpm=7.5, gripper_bar=150.0,
            torque_kNm=330 + self.rng.normal(0, 15, n), main_kN=3300.0, aux_kN=2300.0,
            reaction=int(Reaction.MIXED), speed_mm_min=36.0,
        )  # fmt: skip
        self._stop(500)

    def reset(self, pushes: PushingSet, back: float) -> None:
        """What comes before the next stroke: a regrip, a ring, or both. back: mm that the head comes back."""
        if self.plan.kind == SINGLE:
            self.build("main", back)
        elif self.plan.kind == OPEN or not self.on_ring:
            self.regrip(back)
        if self.plan.kind == DOUBLE and (self.on_ring or pushes == PushingSet.AUX):
            came_back = 0.0 if not self.on_ring else back  # in the regrip already
            self.push = PushingSet.AUX
            self.build("aux", came_back)

    def regrip(self, back: float) -> None:
        n, way = int(self.rng.integers(90, 160)), self.main - CLOSED_MM
        self.add(20, State.REGRIP, gripper_bar=10.0)
        aux = (way - back) / n if self.plan.kind == DOUBLE else 0.0
        self.add(
            n, State.REGRIP, main=-way / n, aux=aux, head=-back / n, gripper_bar=10.0,
            main_kN=-150.0, aux_kN=4000.0,
        )  # fmt: skip
        self.add(40, State.REGRIP, gripper_bar=np.linspace(60, BRACED_BAR, 40))
        self.add(int(self.rng.integers(30, 200)), State.STANDING)

    def build(self, which: str, back: float) -> None:
        """A ring with the head still: the set makes room group by group, or shows it in one ramp."""
        way = self.main - CLOSED_MM if which == "main" else self.aux - AUX_CLOSED_MM
        ring = {"building": True, "state": State.RING_BUILD}
        if self.plan.ring == "pads":
            for _ in range(6):
                self.add(20, **ring, **{which: -(way / 6 + 12) / 20}, head=-back / 120)
                self.add(180, **ring)
                self.add(6, **ring, **{which: 2.0})
        else:
            self.add(600, **ring)
            self.add(120, **ring, **{which: -way / 120}, head=-back / 120)
            self.add(500, **ring)
        self.ring += 1
        self.add(30, State.STANDING)
