"""What people state against the program: results follow, sums agree, and nothing else moves."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.motion_signals import MemoryDrive
from support.sketch import START_US, Sketch, sketch_setup

from tbmreview.domain.overrules import Overrule
from tbmreview.domain.samples import Samples
from tbmreview.domain.states import REACTION_LABELS, STATE_LABELS, Reaction, State
from tbmreview.drive.check import total_problems
from tbmreview.drive.reduce import NAMES, reduced
from tbmreview.motion.carry import Carry
from tbmreview.motion.reduce import Reduced, reduce_window

SETUP = sketch_setup("double shield")
STANDING, BORING = STATE_LABELS[State.STANDING], STATE_LABELS[State.BORING]


def us(second: float) -> int:
    return START_US + round(second * 1e6)


def said(what: str, value: str, start: float, end: float) -> Overrule:
    return Overrule(what, us(start), us(end), value, "seen by the shift")


@dataclass(frozen=True)
class Log:
    """Two strokes of 800 and 640 mm at 0.8 mm/s: boring from 180 to 1180 s and from 1530 to 2330 s."""

    samples: Samples

    def reduced(self, *overrules: Overrule) -> Reduced:
        result = reduce_window(self.samples, Carry(), SETUP, overrules)
        assert total_problems(result.cells, result.strokes, result.periods) == []
        return result


@pytest.fixture(scope="module")
def log() -> Log:
    sketch = Sketch().add(120).turn(60).bore(800).turn(20).add(60).regrip(800).turn(60).bore(640).turn(20)
    return Log(sketch.add(600).samples())


def advance_mm(result: Reduced) -> float:
    return 1000 * float(result.cells["advance_m"].sum())


def hours_of(result: Reduced, state: State) -> float:
    periods = result.periods
    mine = periods["state"] == state
    return float((periods["end_us"] - periods["start_us"])[mine].sum()) / 1e6


def test_boring_overruled_to_standing_does_not_advance_the_face(log: Log) -> None:
    before, after = log.reduced(), log.reduced(said("state", STANDING, 400, 600))
    assert advance_mm(before) == pytest.approx(1440, abs=2)
    assert advance_mm(after) == pytest.approx(1440 - 160, abs=3)
    assert hours_of(after, State.STANDING) == pytest.approx(hours_of(before, State.STANDING) + 200, abs=1)
    assert len(after.strokes) == 2
    assert after.strokes["advance_m"][1] == pytest.approx(before.strokes["advance_m"][1])


def test_what_is_overruled_to_boring_advances_by_what_the_set_extends() -> None:
    """Too slow for the program (0.72 mm/min for forty minutes); the shift knows that it bored."""
    sketch = Sketch().add(120).turn(60).bore(400).add(60)
    slow = {"head_speed_rpm": 7.5, "torque_kNm": 900.0, "advance_speed_mm_min": 0.72}
    sketch.add(2400, main=0.012, head=0.012, main_thrust_kN=8000.0, **slow).add(60).bore(200).add(60)
    log = Log(sketch.samples())
    before = log.reduced()
    stated = said("state", BORING, 740, 740 + 2400)
    after = log.reduced(stated)
    assert hours_of(after, State.BORING) == pytest.approx(hours_of(before, State.BORING) + 2400, abs=15)
    inside = (after.periods["start_us"] >= us(730)) & (after.periods["end_us"] <= us(3200))
    bored = inside & (after.periods["state"] == State.BORING)
    assert 1000 * after.periods["advance_m"][bored].sum() == pytest.approx(28.8, abs=2)
    assert advance_mm(after) == pytest.approx(628.8, abs=3)


def test_boring_where_nothing_extends_is_boring_without_advance(log: Log) -> None:
    before, after = log.reduced(), log.reduced(said("state", BORING, 20, 80))
    assert advance_mm(after) == pytest.approx(advance_mm(before), abs=1)
    assert hours_of(after, State.BORING) == pytest.approx(hours_of(before, State.BORING) + 60, abs=1)


def test_a_reaction_as_stated(log: Log) -> None:
    after = log.reduced(said("reaction", REACTION_LABELS[Reaction.MIXED], 180, 380))
    mixed = after.cells["reaction"] == Reaction.MIXED
    assert 1000 * after.cells["advance_m"][mixed].sum() == pytest.approx(160, abs=2)


def test_a_boundary_that_is_none_and_one_that_is(log: Log) -> None:
    before = log.reduced()
    second = (int(before.strokes["stroke_start_us"][1]) - START_US) / 1e6
    one = log.reduced(said("stroke", "goes on", second - 30, second + 30))
    assert len(one.strokes) == 1  # the set came back, so the head goes free until it is where it was
    assert advance_mm(one) == pytest.approx(800, abs=3)
    three = log.reduced(said("stroke", "begins", 700, 760))
    assert (three.strokes["stroke_start_us"] == us(700)).sum() == 1
    assert len(three.strokes) == 3
    assert advance_mm(three) == pytest.approx(advance_mm(before), abs=2)


def test_a_ring_as_stated(log: Log) -> None:
    ring = np.where(log.samples.time_us < us(1300), 7.0, 8.0)
    numbered = Log(Samples(log.samples.time_us, {**log.samples.values, "ring_number": ring}))
    after = numbered.reduced(said("ring", "9", 1300, 4000))
    assert after.rings["ring"].tolist() == [7, 9]
    assert after.strokes["ring"].tolist() == [7, 9]


def test_the_later_statement_counts(log: Log) -> None:
    loaded = said("state", STATE_LABELS[State.TURNING_LOADED], 400, 600)
    after = log.reduced(loaded, said("state", BORING, 400, 600))
    assert advance_mm(after) == pytest.approx(advance_mm(log.reduced()), abs=3)


values = st.sampled_from(
    [("state", label) for state, label in STATE_LABELS.items() if state != State.NO_RECORD]
    + [("stroke", "begins"), ("stroke", "goes on"), ("reaction", "ring"), ("ring", "4")]
)


@given(st.lists(st.tuples(values, st.integers(0, 2800), st.integers(1, 900)), max_size=4))
@settings(max_examples=12, deadline=None)
def test_whatever_is_stated_sums_agree_and_time_is_kept(
    log: Log, told: list[tuple[tuple[str, str], int, int]]
) -> None:
    before = log.reduced()
    after = log.reduced(*(said(*what, start, start + length) for what, start, length in told))
    assert after.periods["start_us"][0] == before.periods["start_us"][0]
    assert after.periods["end_us"][-1] == before.periods["end_us"][-1]
    assert after.periods["start_us"][1:].tolist() == after.periods["end_us"][:-1].tolist()
    ends = after.strokes["position_to_m"]
    assert np.all(np.diff(ends) >= -1e-9)


def test_an_overrule_rebuilds_only_the_days_that_it_touches(log: Log, tmp_path: object) -> None:
    sketch = Sketch()
    for _ in range(4):
        sketch.add(3600).turn(60).bore(1500).turn(20).add(17_000).regrip(1500).turn(30)
    samples = sketch.samples()
    drive = MemoryDrive(tmp_path / "drive", SETUP, samples)  # type: ignore[operator]
    days = drive.every_day()
    before = reduced(drive)
    start = (int(samples.time_us[-1]) - START_US) / 1e6 - 24_000
    drive.said = (said("state", STANDING, start, start + 30_000),)
    drive.read.clear()
    after = reduced(drive)
    assert days[0] not in drive.read
    assert after.cells["advance_m"].sum() < before.cells["advance_m"].sum()
    fresh = MemoryDrive(tmp_path / "fresh", SETUP, samples)  # type: ignore[operator]
    fresh.said = drive.said
    once = reduced(fresh)
    for name in NAMES:
        one, other = getattr(after, name), getattr(once, name)
        for column in one:
            assert np.array_equal(one[column], other[column], equal_nan=one[column].dtype.kind == "f")
    drive.said = (Overrule("delay", us(0), us(9000), "belt", "no matter here"),)
    again = reduced(drive)  # withdrawn, and a delay is not read here
    assert np.array_equal(again.cells["advance_m"], before.cells["advance_m"])
