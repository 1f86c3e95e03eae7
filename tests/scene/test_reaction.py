"""The reaction band says what was known, and never calls an unknown or divided stretch by one name."""

import numpy as np
import pytest

from tbmreview.scene import reaction

NAN = float("nan")


@pytest.mark.parametrize(
    ("low", "high", "bored", "code"),
    [
        (NAN, NAN, False, 0),
        (NAN, NAN, True, 1),
        (0.0, 0.0, True, 2),
        (0.0, 1.0, True, 3),
        (0.4, 0.4, True, 3),
        (1.0, 1.0, True, 4),
    ],
)
def test_codes(low, high, bored, code):
    assert reaction.codes_of(np.array([low]), np.array([high]), np.array([bored])).tolist() == [code]


def test_words_of_a_step():
    assert [reaction.word(s) for s in (0.0, 0.5, 1.0, NAN)] == ["grippers", "part ring", "ring", "not known"]
