"""Merging: nothing replaced, nothing lost, the same whatever the order of parts that agree."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tbmreview.domain.samples import Samples
from tbmreview.store.merge import STORED, Merged, merge

few = settings(max_examples=50, deadline=None)
NAN = float("nan")
CHANNELS = ("a", "b", "extra:c")

# A truth at few stamps, and views of it in which values are missing: parts that agree.
times = st.lists(st.integers(0, 6), min_size=0, max_size=8)


@st.composite
def agreeing(draw: st.DrawFn) -> list[Samples]:
    parts = []
    for _ in range(draw(st.integers(1, 4))):
        stamps = draw(times)
        names = draw(st.sets(st.sampled_from(CHANNELS)))
        values = {
            name: np.array([_truth(name, t) if draw(st.booleans()) else NAN for t in stamps], float)
            for name in names
        }
        parts.append(Samples(np.array(stamps, np.int64), values))
    return parts


@st.composite
def arbitrary(draw: st.DrawFn) -> list[Samples]:
    number = st.sampled_from([NAN, 0.0, -0.0, 1.0, 2.0, float("inf")])
    parts = []
    for _ in range(draw(st.integers(1, 4))):
        stamps = draw(times)
        names = draw(st.sets(st.sampled_from(CHANNELS)))
        values = {name: np.array([draw(number) for _ in stamps], float) for name in names}
        parts.append(Samples(np.array(stamps, np.int64), values))
    return parts


def _truth(name: str, t: int) -> float:
    return 10.0 * t + CHANNELS.index(name)


def _all(parts: list[Samples]) -> Merged:
    return merge(list(enumerate(parts)), len(parts))


def _content(samples: Samples) -> dict[tuple[int, str], float]:
    """What is measured: (stamp, channel) -> value; and every stamp."""
    rows = {(int(t), ""): 0.0 for t in samples.time_us}
    for name, column in samples.values.items():
        rows |= {(int(t), name): float(v) for t, v in zip(samples.time_us, column, strict=True) if v == v}
    return rows


def _slowly(parts: list[Samples]) -> dict[tuple[int, str], float]:
    """The same by hand: each value goes where nothing is yet."""
    found: dict[tuple[int, str], float] = {}
    for part in parts:
        for i, t in enumerate(part.time_us.tolist()):
            found[t, ""] = 0.0
            for name, column in part.values.items():
                if not np.isnan(column[i]):
                    found.setdefault((t, name), float(column[i]))
    return found


@few
@given(arbitrary())
def test_the_first_measured_value_wins(parts: list[Samples]) -> None:
    merged = _all(parts).samples
    assert _content(merged) == _slowly(parts)
    assert np.all(np.diff(merged.time_us) > 0)


@few
@given(arbitrary())
def test_every_row_is_kept_or_duplicate_or_in_conflict(parts: list[Samples]) -> None:
    merged = _all(parts)
    for origin, part in enumerate(parts):
        conflicts = [c for c in merged.conflicts if c.origin == origin]
        assert merged.kept[origin] + merged.duplicates[origin] + len(conflicts) == len(part)


@few
@given(arbitrary())
def test_a_conflict_names_what_was_kept_and_what_was_offered(parts: list[Samples]) -> None:
    merged = _all(parts)
    content = _content(merged.samples)
    for c in merged.conflicts:
        offered = [
            (name, float(v))
            for name, column in sorted(parts[c.origin].values.items())
            for t, v in zip(parts[c.origin].time_us, column, strict=True)
            if t == c.time_us
        ]
        assert content[c.time_us, c.channel] == c.kept != c.offered
        assert (c.channel, c.offered) in offered


@few
@given(agreeing())
def test_parts_that_agree_give_one_result_in_any_order(parts: list[Samples]) -> None:
    first = _all(parts)
    assert not first.conflicts
    for order in itertools.permutations(parts):
        again = _all(list(order))
        assert not again.conflicts
        assert _content(again.samples) == _content(first.samples)


@few
@given(arbitrary())
def test_the_same_rows_again_change_nothing(parts: list[Samples]) -> None:
    stored = _all(parts)
    again = merge([(STORED, stored.samples), *enumerate(parts)], len(parts))
    assert not again.changed
    assert _content(again.samples) == _content(stored.samples)
    assert not again.kept.any()


@few
@given(agreeing(), agreeing())
def test_changed_says_whether_something_new_is_there(old: list[Samples], new: list[Samples]) -> None:
    stored = _all(old).samples
    merged = merge([(STORED, stored), *enumerate(new)], len(new))
    assert merged.changed == (_content(merged.samples) != _content(stored))


def test_a_value_that_differs_by_the_rounding_of_a_unit_is_the_same() -> None:
    kilonewtons, meganewtons = 12_345.6, 12.3456 * 1000  # 12345.599999999999
    assert kilonewtons != meganewtons
    merged = _all([Samples(np.array([5]), {"a": np.array([v])}) for v in (kilonewtons, meganewtons)])
    assert merged.duplicates.tolist() == [0, 1]
    assert merged.samples.get("a").tolist() == [kilonewtons]


@pytest.mark.parametrize("other", [12_345.7, -12_345.6, float("inf"), 0.0])
def test_a_value_that_differs_by_more_is_in_conflict(other: float) -> None:
    merged = _all([Samples(np.array([5]), {"a": np.array([v])}) for v in (12_345.6, other)])
    assert [(c.origin, c.channel, c.kept, c.offered, c.channels) for c in merged.conflicts] == [
        (1, "a", 12_345.6, other, 1)
    ]


def test_what_is_stored_wins_and_is_counted_nowhere() -> None:
    stored = Samples(np.array([1, 2]), {"a": np.array([1.0, NAN])})
    new = Samples(np.array([1, 2, 3]), {"a": np.array([9.0, 2.0, 3.0]), "b": np.array([7.0, NAN, NAN])})
    merged = merge([(STORED, stored), (0, new)], 1)
    assert merged.samples.get("a").tolist() == [1.0, 2.0, 3.0]
    assert merged.samples.get("b")[0] == 7.0  # missing there, so filled although the row conflicts
    assert (merged.kept.tolist(), merged.duplicates.tolist(), len(merged.conflicts)) == ([2], [0], 1)


def test_nothing_merged_is_nothing() -> None:
    assert len(merge([], 0).samples) == 0
