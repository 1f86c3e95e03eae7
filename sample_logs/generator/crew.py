"""What the crew does with the machine: strokes, rings, stops, and the events of the story."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from .cycle import Cycle
from .options import DOUBLE_SHIELD
from .rock import CRUSHED, FAULT, FAULTS, HELD
from .tape import STANDING

DAY_S = 86_400
GRIP_BEHIND_M = 2.0  # grippers are trusted again so far past a fault


@dataclass
class Crew:
    """Drives a Cycle to the end of the drive and keeps the site's list of delays."""

    cycle: Cycle
    delays: list[tuple[int, int, str, str]] = field(default_factory=list)  # start, end, code, note
    done: set[str] = field(default_factory=set)
    day: int = -1
    day_start_m: float = 0.0
    target_m: float = 30.0
    maintenance: tuple[int, int] | None = None  # due at second, for seconds

    @property
    def haste(self) -> float:
        """Long stops shrink in short drives, so that these too see all their ground."""
        return min(1.0, max(0.3, self.cycle.options.days / 8))

    def run(self) -> None:
        """Until the last second of the drive is on the tape."""
        c = self.cycle
        while c.now < c.options.seconds:
            self._new_day()
            if c.on_ring:
                self._ring_stroke()
            else:
                self._gripper_stroke()

    # -- strokes

    def _gripper_stroke(self) -> None:
        c = self.cycle
        m, rng = c.machine, c.rng
        self._begin_stroke()
        if c.options.kind == DOUBLE_SHIELD and c.aux_m > m.aux_rest_m + 0.8 * m.stroke_m:
            c.build_ring()
        aux_over = c.aux_m - m.aux_rest_m if c.rings else 0.0
        main_over = c.main_m + c.gap_m - m.main_rest_m
        length = float(np.clip(m.stroke_m - aux_over - main_over + rng.normal(0, 0.009), 1.473, 1.527))
        self._advance(c.face_m + length)
        draw = rng.uniform(0.010, 0.040) if rng.random() < 0.45 else 0.0
        discs = rng.poisson(0.022 * c.ground.rock_at(c.face_m - 0.5).cai)
        at_end = draw if discs or rng.random() < 0.6 else 0.0
        if at_end:
            c.draw_back(at_end, rng.uniform(1.0, 2.0))
        c.turn_free(int(rng.integers(20, 60)), starting=False)
        self._between(discs)
        c.stand(c.ring_ready - c.now)
        to_ring = self._fault_near() and c.options.kind == DOUBLE_SHIELD
        rest = m.main_closed_m if to_ring else m.main_rest_m
        c.regrip(rest if to_ring else rest - draw, draw - at_end)
        if to_ring:
            c.on_ring, c.gripper_bar = True, rng.uniform(25, 55)
            c.build_ring()
            c.stand(c.ring_ready - c.now)

    def _ring_stroke(self) -> None:
        c = self.cycle
        m, rng = c.machine, c.rng
        self._begin_stroke()
        over = c.aux_m + c.gap_m - m.aux_rest_m
        length = float(np.clip(m.stroke_m - over + rng.normal(0, 0.009), 1.473, 1.527))
        self._advance(c.face_m + length)
        squeezed = self._held_share(c.face_m) > 0  # such ground pushes the machine back each time
        if rng.random() < (1.0 if squeezed else 0.4):
            c.draw_back(rng.uniform(0.026 if squeezed else 0.010, 0.035), rng.uniform(0.6, 1.2))
        c.turn_free(int(rng.integers(20, 60)), starting=False)
        c.build_ring()
        self._between(0)
        c.stand(c.ring_ready - c.now)
        if c.options.kind == DOUBLE_SHIELD and not self._fault_near():
            bar = float(c.ground.at("gripper_bar", c.face_m)) * 1.05
            c.put(150, STANDING, gripper_bar=np.linspace(c.gripper_bar, bar, 150))
            c.on_ring, c.gripper_bar = False, bar

    def _begin_stroke(self) -> None:
        c = self.cycle
        c.stroke += 1
        c.no_load = float(c.rng.normal(1, 0.015))
        main, rear = c.rng.normal(1120, 140), c.rng.normal(1900, 150)
        c.drag_kN = float(self._ring_drag() if c.on_ring else np.clip(main, 820, 1480))
        held = self._held_share(c.face_m + 9)  # the rear shield feels it before anything else does
        c.rear_drag_kN = float(np.clip(rear, 1500, 2400) + 5200 * held)

    def _ring_drag(self) -> float:
        c = self.cycle
        held = self._held_share(c.face_m)
        if held > 0:
            return 5800 + 6000 * held * c.rng.uniform(0.92, 1.0)
        return float(np.clip(c.rng.normal(3300, 350), 2550, 4450))

    def _held_share(self, x_m: float) -> float:
        """How far the squeezing zone has got hold of the shield: rises, stays, lets go."""
        zone = self.cycle.ground.first(HELD)
        return float(np.interp((x_m - zone.start_m) / (zone.end_m - zone.start_m),
                               [0.0, 0.65, 0.9, 1.25], [0.0, 1.0, 0.9, 0.0]))  # fmt: skip

    def _fault_near(self) -> bool:
        c = self.cycle
        ahead, behind = c.ground.rock_at(c.face_m + 0.4), c.ground.rock_at(max(0.0, c.face_m - GRIP_BEHIND_M))
        return ahead in FAULTS or (c.on_ring and behind in FAULTS)

    # -- boring with its interruptions

    def _advance(self, target_m: float) -> None:
        """Bore to the target, through whatever happens on the way."""
        c, rng = self.cycle, self.cycle.rng
        held = 0.35 * (self._held_share(c.face_m) > 0)
        start_m = c.face_m
        c.turn_free(int(rng.integers(20, 91)))
        c.approach(held)
        for share, event in self._events():
            c.bore(start_m + share * (target_m - start_m) - c.face_m)
            event()
            c.approach(held)
        room = c.machine.main_full_m - 0.002 - c.main_m if not c.on_ring else np.inf
        c.bore(min(target_m - c.face_m, room))

    def _events(self) -> list[tuple[float, Callable[[], None]]]:
        """Share of the stroke at which something stops it, and what."""
        c, rng = self.cycle, self.cycle.rng
        to_fault = c.ground.first(FAULT).start_m - c.face_m
        braced = not c.on_ring
        if braced and c.stroke >= 3 and "pull-back" not in self.done:
            return [(0.45, self._pull_back)]
        if braced and 1.2 < to_fault < 3.6 and c.options.kind == DOUBLE_SHIELD and "slip" not in self.done:
            return [(0.55, self._slip)]
        if c.on_ring and self._held_share(c.face_m) > 0.15 and rng.random() < 0.5:
            return [(rng.uniform(0.3, 0.7), self._held)]
        chance = 1.0 if c.stroke == 2 else 0.2
        return [(rng.uniform(0.15, 0.85), self._interrupt)] if rng.random() < chance else []

    def _interrupt(self) -> None:
        c, rng = self.cycle, self.cycle.rng
        c.turn_free(int(rng.integers(10, 25)), starting=False)
        reason = ("transport", "waiting for muck train") if rng.random() < 0.6 else ("belt", "belt stopped")
        self._delay(int(rng.uniform(2, 22) * 60), *reason)
        c.turn_free(int(rng.integers(20, 91)))

    def _pull_back(self) -> None:
        c, rng = self.cycle, self.cycle.rng
        self.done.add("pull-back")
        c.draw_back(rng.uniform(0.20, 0.26), 2.5)
        c.turn_free(15, starting=False)
        self._delay(int(rng.uniform(25, 40) * 60), "head", "head drawn back and looked at")
        c.turn_free(60)

    def _slip(self) -> None:
        c, rng = self.cycle, self.cycle.rng
        self.done.add("slip")
        c.slip(rng.uniform(0.045, 0.055))
        c.turn_free(15, starting=False)
        self._delay(int(rng.uniform(6, 12) * 60), "grippers", "grippers slipped and were set again")
        c.gripper_bar *= 1.15
        c.turn_free(40)

    def _held(self) -> None:
        c, rng = self.cycle, self.cycle.rng
        c.turn_free(15, starting=False)
        self._delay(int(rng.uniform(15, 45) * 60), "shield", "shield held, overcut cleared by hand")
        c.turn_free(40)
        c.turn_held(int(rng.integers(120, 360)))

    # -- stops

    def _new_day(self) -> None:
        c, rng = self.cycle, self.cycle.rng
        if c.now // DAY_S != self.day:
            self.day, self.day_start_m = c.now // DAY_S, c.face_m
            self.target_m = rng.uniform(30, 35)
            due = self.day * DAY_S + int(rng.uniform(1, 3) * 3600)
            self.maintenance = (due, int(rng.uniform(4.1, 5.4) * 3600))

    def _delay(self, seconds: int, code: str, note: str) -> None:
        self.delays.append((self.cycle.now, self.cycle.now + seconds, code, note))
        self.cycle.stand(seconds)

    def _between(self, discs: int) -> None:
        """What is done between two strokes, the ring going on beside it."""
        c, rng = self.cycle, self.cycle.rng
        for _ in range(discs):
            self._delay(int(rng.uniform(30, 60) * 60), "discs", "disc changed")
        if self.maintenance is not None and c.now >= self.maintenance[0]:
            seconds, self.maintenance = self.maintenance[1], None
            self._delay(seconds, "maintenance", "daily maintenance")
        to_fault = c.ground.first(FAULT).start_m - c.face_m
        if "probing" not in self.done and to_fault < 13:
            self.done.add("probing")
            self._delay(int(rng.uniform(3.2, 4.2) * 3600 * self.haste), "probing", "probe hole, 30 m ahead")
        elif c.ground.rock_at(c.face_m) in FAULTS and rng.random() < 0.65:
            self._delay(
                int(rng.uniform(2.2, 4.6) * 3600 * self.haste**2), "ground", "grouting ahead of the face"
            )
        elif c.ground.rock_at(c.face_m) is CRUSHED and rng.random() < 0.6:
            self._delay(int(rng.uniform(1, 2.6) * 3600 * self.haste**2), "ground", "buckets and head cleared")
        else:
            self._wait_for_transport()

    def _wait_for_transport(self) -> None:
        """Trains, belt, pumps, survey: what keeps a good day at thirty metres."""
        c, rng = self.cycle, self.cycle.rng
        left_s = (self.day + 1) * DAY_S - c.now - (self.maintenance[1] if self.maintenance else 0)
        left_m = max(1.5, self.target_m - (c.face_m - self.day_start_m))
        rock = c.ground.rock_at(c.face_m)
        usual_s = 1500 / (rock.rpm * rock.usual_pen_mm / 60) + 11 * 60
        spare_s = max(90.0, 1.5 * left_s / left_m - max(usual_s, 42 * 60 if c.rings else 0) * 1.04)
        wait_s = int(min(rng.exponential(spare_s), 5400))
        if wait_s > 120:
            self._delay(wait_s, "transport", "waiting for transport")
