"""Loads that were held: found where they were, to the bin; what normal boring looks like is no test."""

import numpy as np
import pytest

from tbmreview.indicators.held_loads import Boring, Held, distinct, held_loads, runs_of_a_test

RPM = 6.0


def boring(
    *holds: tuple[float, float],
    noise: float = 0.02,
    step_s: float = 1.0,
    rpm: float = RPM,
    logged: bool = False,
) -> Boring:
    """Loads (kN, seconds) one after the other, p = (load / 100)^2 mm/rev; readings of the stroke off by 1 mm."""
    rng = np.random.default_rng(4)
    load = np.concatenate([np.full(round(s / step_s), kN) for kN, s in holds])
    seconds = np.arange(len(load)) * step_s
    p = (load / 100) ** 2
    stroke = np.concatenate([[0.0], np.cumsum(p * rpm / 60 * step_s)])[:-1]
    nothing = np.full(len(load), np.nan)
    return Boring(
        seconds,
        load * (1 + noise * rng.standard_normal(len(load))),
        np.full(len(load), rpm),
        nothing if logged else stroke + rng.standard_normal(len(load)),
        p if logged else nothing,
    )


@pytest.mark.parametrize("step_s", [0.5, 1.0, 10.0])
@pytest.mark.parametrize("logged", [False, True])
def test_every_load_is_found_with_its_penetration(step_s: float, logged: bool) -> None:
    kept = held_loads(boring((180, 150), (210, 150), (240, 150), (160, 150), step_s=step_s, logged=logged))
    assert len(kept) == 4
    for one, (load, begin) in zip(kept, ((180, 0), (210, 150), (240, 300), (160, 450)), strict=True):
        assert begin <= one.start_s
        assert one.end_s <= begin + 150
        assert one.seconds >= 100
        assert one.load == pytest.approx(load, rel=0.01)
        assert one.penetration_mm_rev == pytest.approx((load / 100) ** 2, rel=0.03 if step_s < 10 else 0.06)
        assert one.revolutions == pytest.approx(one.seconds * RPM / 60, rel=1e-6)
    assert runs_of_a_test(kept) == (kept,)


def test_one_load_for_a_whole_stroke_is_one_load_and_no_test() -> None:
    kept = held_loads(boring((200, 1800)))
    assert [round(one.load) for one in kept] == [200]
    assert runs_of_a_test(kept) == ()


def test_a_load_that_drifts_or_swings_is_no_test() -> None:
    drift = boring((200, 1800))
    drifting = Boring(drift.seconds, drift.load * np.linspace(1, 1.5, 1800), *_rest(drift))
    swinging = Boring(drift.seconds, drift.load * (1 + 0.2 * np.sin(drift.seconds / 40)), *_rest(drift))
    for one in (drifting, swinging):
        assert runs_of_a_test(held_loads(one, ends_only=True)) == ()


def _rest(one: Boring) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return one.head_speed_rpm, one.stroke_mm, one.penetration_mm_rev


def test_of_normal_boring_around_a_test_three_minutes_count() -> None:
    kept = held_loads(boring((200, 900), (180, 150), (220, 150), (240, 150), (200, 900)), ends_only=True)
    (test,) = runs_of_a_test(kept)
    assert [round(one.load, -1) for one in test] == [200, 180, 220, 240, 200]
    assert test[0].seconds == pytest.approx(180, abs=1)
    assert test[0].end_s > 880
    assert test[-1].start_s < 1380


def test_another_head_speed_a_long_pause_or_three_loads_are_none() -> None:
    loads = (180.0, 210.0, 240.0, 160.0)

    def run(speeds: tuple[float, ...] = (RPM,) * 4, pause_s: float = 0.0) -> list[Held]:
        late = (0.0, 0.0, pause_s, pause_s)
        return [
            Held(150.0 * i + late[i], 150.0 * i + 130 + late[i], loads[i], speeds[i], 13.0, 4.0)
            for i in range(4)
        ]

    assert len(runs_of_a_test(run())) == 1
    assert runs_of_a_test(run(speeds=(6.0, 6.0, 6.5, 6.0))) == ()
    assert runs_of_a_test(run(pause_s=1800.0)) == ()
    assert runs_of_a_test(run()[:3]) == ()


def test_loads_that_are_two_are_five_per_cent_apart() -> None:
    assert distinct(np.array([100.0, 104.9, 105.0, 200.0])) == 3


def test_without_penetration_or_samples_there_is_nothing() -> None:
    one = boring((180, 150), (210, 150))
    nothing = np.full(len(one.seconds), np.nan)
    assert held_loads(Boring(one.seconds, one.load, one.head_speed_rpm, nothing, nothing)) == ()
    assert held_loads(one.between(0, 1)) == ()
    assert held_loads(boring((180, 600), step_s=30.0)) == (), "too slow a log to show that a load was held"
