"""What the machine can do, one phase at a time: turn, approach, bore, draw back, regrip, slip.

The front shield is where the rear shield is plus the main extension; the auxiliaries reach from
the ring to the rear shield. The face is the furthest that the head has been.
"""

import numpy as np
from numpy.typing import NDArray

from .cutting import STREAMS, Cut, bore, usual_no_load_kNm
from .noise import Noise
from .options import SINGLE_SHIELD, Options
from .rock import Ground
from .tape import (
    AUX,
    BORING,
    FREE_ADVANCE,
    FREE_ROTATION,
    GRIPPERS,
    MAIN,
    MIXED,
    REGRIP,
    RING,
    STANDING,
    TURNING_FREE,
    TURNING_LOADED,
    Tape,
)  # fmt: skip

Floats = NDArray[np.float64]


class Cycle:
    """The machine's stand at the end of the tape, and the phases that carry it on."""

    def __init__(self, options: Options, ground: Ground, rng: np.random.Generator) -> None:
        self.options, self.machine, self.ground, self.rng = options, options.machine, ground, rng
        self.tape = Tape(options.seconds)
        self.noise = Noise(rng, options.seconds + 20_000, STREAMS)
        self.main_m = self.machine.main_rest_m
        self.rear_m = -self.main_m  # of the rear shield, so that the head starts at 0
        self.face_m = 0.0
        self.on_ring = options.kind == SINGLE_SHIELD  # segment-reacted
        room_m = 0.0 if self.on_ring else self.machine.stroke_m  # for the first ring
        self.ring_edge_m = self.rear_m - self.machine.aux_rest_m - room_m
        self.first_edge_m = self.ring_edge_m
        self.ring_ready = 0  # second at which the ring in building is done
        self.rings: list[tuple[int, int, float]] = []  # start, seconds, length [m]
        self.stroke = 0
        self.drag_kN, self.no_load, self.rear_drag_kN = 1000.0, 1.0, 1800.0
        self.gripper_bar = 240.0

    # -- where things are

    @property
    def now(self) -> int:
        return self.tape.length

    @property
    def gap_m(self) -> float:
        """From the head to the face."""
        return self.face_m - self.rear_m - self.main_m

    @property
    def aux_m(self) -> float:
        """Mean extension of the auxiliaries once the ring in building is done."""
        return self.rear_m - self.ring_edge_m

    def put(self, n: int, state: int, **values: float | NDArray[np.generic]) -> None:
        """n seconds in a state; the machine moves by their rates."""
        usual = {
            "stroke": self.stroke, "gripper_bar": self.gripper_bar,
            "pushing_set": AUX if self.on_ring else MAIN, "reaction": RING if self.on_ring else GRIPPERS,
        }  # fmt: skip
        self.tape.put(n, state=state, **{**usual, **values})
        moved = {k: float(np.sum(np.broadcast_to(values.get(k, 0.0), (n,)))) / 1000
                 for k in ("main_mm_s", "rear_mm_s", "face_mm_s")}  # fmt: skip
        self.main_m += moved["main_mm_s"]
        self.rear_m += moved["rear_mm_s"]
        self.face_m += moved["face_mm_s"]

    def push(self, force_kN: Floats, rate_mm_s: Floats) -> dict[str, Floats]:
        """Force and movement of the set that pushes, as channels."""
        if self.on_ring:
            return {"aux_kN": force_kN, "rear_mm_s": rate_mm_s}
        return {"main_kN": force_kN, "main_mm_s": rate_mm_s}

    # -- phases

    def stand(self, n: int) -> None:
        self.put(max(0, int(n)), STANDING)

    def turn_free(self, n: int, *, starting: bool = True) -> None:
        """The head turns off its load; starting up costs torque, stopping takes some seconds."""
        rpm_set = round(float(self.ground.at("rpm", self.face_m + 0.1)), 1)
        ramp = np.ones(n)
        if starting:
            ramp[:8] = np.arange(1, 9) / 8
        else:
            ramp[-5:] = np.arange(5, 0, -1) / 6
        rpm = rpm_set * ramp * (1 + 0.004 * self.noise.take("rpm", self.now, n))
        no_load = usual_no_load_kNm(rpm) * self.no_load
        torque = no_load * (1 + 0.035 * self.noise.take("torque", self.now, n))
        if starting:
            torque[:8] += 260 * np.sin(np.pi * np.arange(8) / 8)
        self.put(n, TURNING_FREE, rpm=rpm, torque_kNm=torque, no_load_kNm=no_load, rpm_set=rpm_set,
                 phase=FREE_ROTATION if starting else 0)  # fmt: skip

    def approach(self, held: float = 0.0) -> None:
        """Close the gap that the head was drawn back by. held: breaking away, as a share of drag."""
        if self.gap_m < 1e-4:
            return
        n = max(6, round(self.gap_m * 1000 / self.rng.uniform(0.9, 1.6)))
        rate = np.full(n, self.gap_m * 1000 / n)
        rpm_set = round(float(self.ground.at("rpm", self.face_m + 0.1)), 1)
        rpm = rpm_set * (1 + 0.004 * self.noise.take("rpm", self.now, n))
        no_load = usual_no_load_kNm(rpm) * self.no_load
        torque = no_load * (1 + 0.035 * self.noise.take("torque", self.now, n))
        drag = self.drag_kN * (1 + 0.03 * self.noise.take("drag", self.now, n))
        drag *= 1 + held * np.exp(-np.arange(n) / 2)
        self.put(n, TURNING_FREE, rpm=rpm, torque_kNm=torque, no_load_kNm=no_load, drag_kN=drag,
                 rpm_set=rpm_set, phase=FREE_ADVANCE, **self.push(drag, rate))  # fmt: skip

    def bore(self, length_m: float) -> None:
        """Into the face by about length_m, from loading to unloading."""
        cut = Cut(
            self.now, self.face_m, length_m, self.drag_kN, self.no_load,
            int(self.rng.integers(30, 121)), int(self.rng.integers(5, 16)),
        )  # fmt: skip
        out = bore(self.machine, self.ground, self.noise, self.rng, cut)
        force = out.pop("push_kN")
        self.put(len(force), BORING, **out, **self.push(force, out["face_mm_s"]))

    def draw_back(self, distance_m: float, rate_mm_s: float = 2.0) -> None:
        """The turning head comes off the face: the mains close, or the machine creeps back."""
        n = max(4, round(distance_m * 1000 / rate_mm_s))
        rpm_set = round(float(self.ground.at("rpm", self.face_m + 0.1)), 1)
        rpm = rpm_set * (1 + 0.004 * self.noise.take("rpm", self.now, n))
        no_load = usual_no_load_kNm(rpm) * self.no_load
        rate = np.full(n, -distance_m * 1000 / n)
        moved = {"rear_mm_s": rate} if self.on_ring else {"main_mm_s": rate}
        self.put(n, TURNING_FREE, rpm=rpm, no_load_kNm=no_load, rpm_set=rpm_set, **moved,
                 torque_kNm=no_load * (1 + 0.035 * self.noise.take("torque", self.now, n)))  # fmt: skip

    def regrip(self, main_to_m: float, draw_m: float = 0.0) -> None:
        """Grippers go, mains close, auxiliaries open by as much (less what the head comes back)."""
        rng = self.rng
        ramp, ease, set_up = int(rng.integers(90, 181)), int(rng.integers(25, 50)), int(rng.integers(65, 125))
        n = ease + ramp + set_up
        shape = np.minimum(1.0, np.minimum(np.arange(1, ramp + 1), np.arange(ramp, 0, -1)) / 12)
        shape /= shape.sum()
        main, rear, aux = np.zeros(n), np.zeros(n), np.full(n, np.nan)
        closing_mm = (self.main_m - main_to_m) * 1000
        moving = slice(ease, ease + ramp)
        main[moving] = -closing_mm * shape
        rear[moving] = (closing_mm - 1000 * draw_m) * shape
        aux[moving] = self.rear_drag_kN * (1 + 0.03 * self.noise.take("drag", self.now, ramp))
        new_bar = float(self.ground.at("gripper_bar", max(0.0, self.face_m - 2))) * rng.normal(1, 0.03)
        bar = np.full(n, 6.0)
        bar[:ease] = np.linspace(self.gripper_bar, 6, ease)
        bar[ease + ramp :] = 6 + (new_bar - 6) * np.minimum(1, np.arange(set_up) / 40)
        self.put(n, REGRIP, main_mm_s=main, rear_mm_s=rear, aux_kN=aux, gripper_bar=bar, stroke=0)
        self.gripper_bar = new_bar

    def build_ring(self) -> None:
        """Start a ring: it goes on beside whatever the machine does next."""
        seconds = int(self.rng.uniform(25, 40) * 60)
        length_m = self.machine.stroke_m + self.rng.normal(0, 0.0008)
        self.rings.append((self.now, seconds, length_m))
        self.ring_ready = self.now + seconds
        self.ring_edge_m += length_m

    def slip(self, distance_m: float) -> None:
        """The grippers give: mains extend, the rear shield goes back on the ring, the head stays."""
        n = int(self.rng.integers(75, 110))
        rpm = float(self.ground.at("rpm", self.face_m)) * (1 + 0.004 * self.noise.take("rpm", self.now, n))
        rate = np.full(n, distance_m * 1000 / n)
        no_load = usual_no_load_kNm(rpm) * self.no_load
        force = 3300 * (1 + 0.04 * self.noise.take("thrust", self.now, n))
        self.put(n, TURNING_LOADED, reaction=MIXED, main_mm_s=rate, rear_mm_s=-rate, main_kN=force,
                 aux_kN=1500 + 900 * np.linspace(0, 1, n), rpm=rpm, no_load_kNm=no_load,
                 torque_kNm=no_load + 130 * (1 + 0.2 * self.noise.take("torque", self.now, n)),
                 gripper_bar=np.linspace(0.72, 0.6, n) * self.gripper_bar, rpm_set=np.round(rpm, 1))  # fmt: skip

    def turn_held(self, n: int) -> None:
        """The head turns under load and nothing moves: the shield is held."""
        rpm = float(self.ground.at("rpm", self.face_m)) * (1 + 0.004 * self.noise.take("rpm", self.now, n))
        no_load = usual_no_load_kNm(rpm) * self.no_load
        force = self.drag_kN * np.linspace(0.7, 1.25, n) * (1 + 0.02 * self.noise.take("drag", self.now, n))
        self.put(n, TURNING_LOADED, rpm=rpm, no_load_kNm=no_load, rpm_set=np.round(rpm, 1),
                 torque_kNm=no_load + 160 * (1 + 0.25 * self.noise.take("torque", self.now, n)),
                 **self.push(force, np.zeros(n)))  # fmt: skip
