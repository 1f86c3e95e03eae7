"""What rules set aside is kept exactly, and puts a day together again."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tbmreview.domain.samples import Samples
from tbmreview.store.aside import Aside, SetAside, from_text, places, put_back, same, taken_out, to_text

numbers = st.floats(allow_nan=False, width=64)


@st.composite
def days(draw: st.DrawFn) -> tuple[Samples, SetAside]:
    """A measured day, and some of its values as two rules set them aside."""
    stamps = np.array(sorted(draw(st.sets(st.integers(-5, 30), max_size=12))), np.int64) * 1_000_000
    values = {name: np.array([draw(numbers) for _ in stamps]) for name in ("a", "extra:b")}
    aside: dict[tuple[str, str], Aside] = {}
    for name, column in values.items():
        rule = np.array([draw(st.integers(0, 3)) for _ in stamps], int)
        for number, told in ((1, "far off"), (2, "stück")):
            if (rule == number).any():
                aside[told, name] = Aside(stamps[rule == number], column[rule == number])
    return Samples(stamps, values), aside


@settings(max_examples=25, deadline=None)
@given(days())
def test_a_day_is_put_together_again(day: tuple[Samples, SetAside]) -> None:
    measured, aside = day
    kept = from_text(to_text(aside))
    assert same(kept, aside)
    stored = taken_out(measured, kept)
    missing = sum(int(np.isnan(column).sum()) for column in stored.values.values())
    assert missing == sum(len(some) for some in aside.values())
    again = put_back(stored, kept)
    for name, column in measured.values.items():
        np.testing.assert_array_equal(again.values[name], column)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(0, 9)), st.sets(st.integers(0, 9)))
def test_rows_of_one_stamp_are_found(rows: list[int], some: set[int]) -> None:
    time_us, of = np.array(sorted(rows), np.int64), np.array(sorted(some), np.int64)
    at, which = places(time_us, of)
    assert at.tolist() == [i for i, t in enumerate(sorted(rows)) if t in some]
    np.testing.assert_array_equal(of[which], time_us[at])


def test_another_value_or_another_rule_is_not_the_same() -> None:
    one = {("far off", "a"): Aside(np.array([1]), np.array([2.0]))}
    assert not same(one, {("far off", "a"): Aside(np.array([1]), np.array([3.0]))})
    assert not same(one, {("stuck", "a"): one["far off", "a"]})
    assert not same(one, {})


@pytest.mark.parametrize(
    "text", ["{", "[3]", '[{"rule": "a"}]', to_text({("r", "a"): Aside(np.array([1]), np.array([2.0, 3.0]))})]
)
def test_what_cannot_be_read_is_told(text: str) -> None:
    with pytest.raises(ValueError, match="set aside cannot be read"):
        from_text(text)
