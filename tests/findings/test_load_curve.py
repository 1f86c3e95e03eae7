"""What load alone does to FPI, and load that torque does not show."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tbmreview.domain.setup import FindingSettings
from tbmreview.drive.detect import profile_of
from tbmreview.findings.load_curve import by_load
from tbmreview.findings.penetration_index import off_baseline
from tests.support.bored import bored

USUAL = FindingSettings()


@given(st.floats(0.3, 3.0), st.floats(0.34, 0.74), st.floats(50, 400), st.floats(1, 20))
def test_the_same_ground_at_another_load_is_explained(
    share: float, exponent: float, load: float, penetration: float
) -> None:
    alone = by_load((load * share, penetration * share ** (1 / exponent)), (load, penetration), USUAL)
    if abs(np.log(share)) < np.log(USUAL.curve_least_load_ratio):
        assert alone is None
        return
    assert alone is not None
    ratio = share ** (1 - 1 / exponent)
    assert alone.explains(ratio, 1.0)
    assert alone.left_over(ratio) == pytest.approx(1.0)
    beyond = 1.01 * alone.greatest / alone.least
    assert not alone.explains(ratio * beyond, 1.0)
    assert not alone.explains(ratio / beyond, 1.0)


@pytest.mark.parametrize(
    ("inside", "why"),
    [
        ((230.0, 9.0), "load hardly differs"),
        ((150.0, 9.0), "less load and more penetration"),
        ((112.0, 6.5), "FPI falls though load falls"),
        ((-5.0, 9.0), "no load is left"),
    ],
)
def test_load_cannot_do_that(inside: tuple[float, float], why: str) -> None:
    assert by_load(inside, (225.0, 7.0), USUAL) is None, why


def test_words_say_what_was_compared() -> None:
    alone = by_load((112.5, 2.2), (225.0, 7.0), USUAL)
    assert alone is not None
    assert alone.words() == "Load was 0.50 times that beside it, which alone makes FPI 1.26 to 4.08 times."


def test_a_stretch_at_less_thrust_is_no_harder_ground() -> None:
    share = 0.6
    set_anew = (12.0, 225 * share, 7.0 * share ** (1 / 0.45))
    even, harder = (60.0, 225.0, 7.0), (12.0, 225.0, 7.0 * share ** (1 / 0.45 - 1))
    assert off_baseline(profile_of(bored(even, set_anew, even)), USUAL) == []
    assert len(off_baseline(profile_of(bored(even, harder, even)), USUAL)) == 1
    both = (12.0, 225 * 0.9, 2.0)
    (found,) = off_baseline(profile_of(bored(even, both, even)), USUAL)
    assert "Load was 0.90 times that beside it" in found.evidence
    assert found.strength < found.figures["robust_deviations"]


def test_a_drag_that_no_stroke_showed_is_no_harder_ground() -> None:
    """4 MN more thrust at less penetration; the head turns as hard as that penetration needs at the usual load."""
    even, held = (60.0, 225.0, 7.0), (12.0, 325.0, 5.0, 6.0, 180 + 1320 * (5 / 7) ** 0.5)
    assert off_baseline(profile_of(bored(even, held, even)), USUAL) == []
    hard = (12.0, 325.0, 5.0, 6.0, 180 + 1320 * (325 / 225) * (5 / 7) ** 0.5)
    assert len(off_baseline(profile_of(bored(even, hard, even)), USUAL)) == 1
    seen = bored(even, held, even, drags=((60.0, 72.0, 600.0),))
    assert (
        len(off_baseline(profile_of(seen), USUAL)) == 1
    )  # a stroke showed its drag: the load is the ground's
