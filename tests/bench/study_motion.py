"""How near motion comes to the truth: every machine, rate and set of channels, over several seeds.

    python -m tests.bench.study_motion [WORD in the name of a set of channels]...

Prints, for each, the mean and the worst share of advance and of boring seconds off the truth, and how many strokes
too many (+) or too few; then the table of DEVELOPERS.md. Goals: advance within 0.1 % with stroke channels and 2 % without; boring seconds within 1 %,
at 30 s within 3 %; strokes exact. 2 mm of noise on the stroke; ten strokes a drive, forty at 30 s with the same
events over again, since a reading or two at rest are all that such a log shows of an end: noise alone makes 0.15 %
of ten strokes. Takes some minutes.
"""

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.truth import DOUBLE, OPEN, SINGLE, Event, Plan, make_truth
from support.truth_log import Sensors

from tbmreview.motion.carry import Carry
from tbmreview.motion.reduce import reduce_window

SPEED, PENETRATION, CHAINAGE = "advance_speed_mm_min", "penetration_mm_rev", "chainage_m"
MAIN, AUX, TORQUE, GRIPPER = "main_stroke_mm", "aux_stroke_mm", "torque_kNm", "gripper_pressure_bar"
SEEDS, STROKES, OVER_AGAIN = 5, 10, {30: 4}
RATES_S = (1, 5, 10, 30)

USUAL = (
    Event(0, "stop", 900), Event(1, "pull_back", 160), Event(1, "back", 36), Event(2, "held", 900),
    Event(2, "creep", 20), Event(3, "stop", -600), Event(5, "short", 400), Event(6, "stop", 7000),
    Event(7, "back", 24),
)  # fmt: skip
EVENTS = {
    OPEN: USUAL,
    SINGLE: tuple(event for event in USUAL if event.stroke != 3),
    DOUBLE: (
        Event(0, "stop", 900), Event(1, "slip", 60), Event(1, "back", 36), Event(2, "on_ring"), Event(3, "on_ring"),
        Event(3, "stop", 600), Event(5, "short", 300), Event(6, "stop", 7000), Event(7, "back", 40),
        Event(7, "pull_back", 120),
    ),
}  # fmt: skip
WITHOUT: dict[str, tuple[str, ...]] = {
    "every channel": (),
    "no gripper": (GRIPPER,),
    "no chainage": (CHAINAGE,),
    "stroke alone": (SPEED, PENETRATION, CHAINAGE, GRIPPER),
    "no torque": (TORQUE,),
    "stroke alone, no torque": (SPEED, PENETRATION, CHAINAGE, GRIPPER, TORQUE),
    "speed alone": (MAIN, AUX, PENETRATION, CHAINAGE),
    "penetration alone": (MAIN, AUX, SPEED, CHAINAGE),
    "speed and chainage": (MAIN, AUX, PENETRATION),
    "chainage alone": (MAIN, AUX, SPEED, PENETRATION),
}
SENSORS: dict[str, dict[str, object]] = {
    "every channel, saturating": {"saturates_mm": 1150.0},
    "every channel, chainage 2 % long": {"chainage_factor": 1.02},
    "every channel, guidance creeps and jumps": {"creep_mm": 8.0, "jumps": 5},
    "every channel, 5 % of rows lost": {"lost": 0.05},
    "every channel, gaps": {"gaps": ((2, "bore"), (4, "reset"))},
}


def off(kind: str, sample_s: int, seed: int, sensors: dict[str, object]) -> tuple[float, float, int]:
    """Of one drive: advance and boring seconds [%] off the truth, strokes too many."""
    times = OVER_AGAIN.get(sample_s, 1)
    events = tuple(e._replace(stroke=e.stroke + STROKES * k) for k in range(times) for e in EVENTS[kind])
    plan = Plan(
        kind, times * STROKES, seed, 1200 + 100 * (seed % 3 if "saturates_mm" not in sensors else 0), events,
        ring="pads" if seed % 2 else "still",
    )  # fmt: skip
    truth = make_truth(plan, Sensors(sample_s, direction=1 - 2 * (seed % 2), **sensors))  # type: ignore[arg-type]
    result = reduce_window(truth.samples, Carry(), truth.setup)
    advance, boring = result.cells["advance_m"].sum(), result.cells["boring_s"].sum()
    shares = (100 * (advance / truth.advance_m - 1), 100 * (boring / truth.boring_s - 1))
    return (*shares, len(result.strokes) - len(truth.strokes))


def main(words: list[str]) -> None:
    """A line for each set of channels, machine and rate, then the worst of each set of channels as a table."""
    cases = {**{name: {"without": channels} for name, channels in WITHOUT.items()}, **SENSORS}
    rows = []
    for name, sensors in cases.items():
        if words and not any(word in name for word in words):
            continue
        worst: dict[bool, list[NDArray[np.float64]]] = {False: [], True: []}
        for kind in (OPEN, SINGLE, DOUBLE):
            for sample_s in RATES_S:
                found = np.array([off(kind, sample_s, seed, sensors) for seed in range(SEEDS)])
                print(f"{name:42s} {kind:14s} {sample_s:2d} s  {_line(found)}", flush=True)
                worst[sample_s == RATES_S[-1]].append(np.abs(found).max(axis=0))
        fine, slow = (np.max(worst[is_slow], axis=0) for is_slow in (False, True))
        figures = [f"{fine[0]:.2f}", f"{slow[0]:.2f}", f"{fine[1]:.1f}", f"{slow[1]:.1f}"]
        rows.append(f"| {name} | {' | '.join(figures)} | {max(fine[2], slow[2]):.0f} |")
    print(
        "\n| logged | advance, 1 to 10 s | at 30 s | boring, 1 to 10 s | at 30 s | strokes |\n|---|---|---|---|---|---|"
    )
    print("\n".join(rows))


def _line(found: NDArray[np.float64]) -> str:
    worst = found[np.abs(found).argmax(axis=0), np.arange(3)]
    mean = found.mean(axis=0)
    return (
        f"advance {mean[0]:+.3f} worst {worst[0]:+.3f} %  boring {mean[1]:+.2f} worst {worst[1]:+.2f} %  "
        f"strokes {found[:, 2].astype(int).tolist()}"
    )


if __name__ == "__main__":
    main(sys.argv[1:])
