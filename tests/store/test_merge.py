"""Merging: nothing replaced, nothing lost, the same whatever the order of parts that agree."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tbmreview.domain.samples import Samples
from tbmreview.store.merge import STORED, Merged, merge, print_steps

few = settings(max_examples=25, deadline=None)
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


PRINTED = (1.0, 0.1, 0.001)
REAL = (10.046, 12.961, -3.5, 0.0, 9.9999)


@st.composite
def printed(draw: st.DrawFn) -> list[tuple[float, Samples]]:
    """(print step, samples): one truth as sources print it, all rounded or all cut off."""
    parts, whole = [], draw(st.sampled_from([np.round, np.trunc]))
    for _ in range(draw(st.integers(1, 4))):
        step, stamps = draw(st.sampled_from(PRINTED)), draw(st.sets(st.integers(0, 4), min_size=1))
        truth = np.array([REAL[t] for t in sorted(stamps)])
        values = np.round(whole(truth / step) * step, 3)
        parts.append((step, Samples(np.array(sorted(stamps)), {"a": values})))
    return parts


@few
@given(printed())
def test_sources_that_print_coarsely_agree_and_the_finest_value_stays(
    parts: list[tuple[float, Samples]],
) -> None:
    finest = {
        int(t): min(step for step, part in parts if t in part.time_us) for _, p in parts for t in p.time_us
    }
    for order in itertools.permutations(parts):
        steps = {origin: {"a": [step]} for origin, (step, _) in enumerate(order)}
        merged = merge([(origin, part) for origin, (_, part) in enumerate(order)], len(order), steps)
        assert not merged.conflicts
        for t, value in zip(merged.samples.time_us.tolist(), merged.samples.get("a"), strict=True):
            given = [p.get("a")[p.time_us == t] for step, p in order if step == finest[t] and t in p.time_us]
            assert value in np.concatenate(given)
        assert merged.steps["a"] == set(finest.values())


def _one(value: float) -> Samples:
    return Samples(np.array([5]), {"a": np.array([value])})


@pytest.mark.parametrize(
    ("first", "second", "kept", "conflicts"),
    [
        ((12.0, 1.0), (12.9, 0.1), 12.9, 0),  # cut off
        ((12.9, 0.1), (13.0, 1.0), 12.9, 0),  # rounded
        ((12.0, 1.0), (13.0, 0.1), 12.0, 1),  # apart by the whole step
        ((12.0, 1.0), (13.0, 1.0), 12.0, 1),  # alike printed, so alike or not the same
        ((12.1, 0.1), (12.2, 0.1), 12.1, 1),
        ((12.1, 0.1), (12.100000001, 0.0), 12.1, 0),  # rounding alone
    ],
)
def test_values_within_the_coarser_print_step_are_one(
    first: tuple[float, float], second: tuple[float, float], kept: float, conflicts: int
) -> None:
    parts = [(n, _one(value)) for n, (value, _) in enumerate((first, second))]
    steps = {n: {"a": [step]} for n, (_, step) in enumerate((first, second))}
    merged = merge(parts, 2, steps)
    assert merged.samples.get("a")[0] == pytest.approx(kept, abs=1e-8)
    assert len(merged.conflicts) == conflicts


def test_a_stored_value_has_the_coarsest_step_of_which_it_is_a_multiple() -> None:
    values = np.array([12.0, 12.5, 12.34, np.nan, np.inf, 1e9])
    assert print_steps(values, [0.01, 0.5]).tolist()[:3] == [0.5, 0.5, 0.01]
    assert print_steps(values, [0.1]).tolist() == [0.1] * 6


@few
@given(arbitrary(), arbitrary())
def test_a_correction_wins_over_what_is_stored(old: list[Samples], new: list[Samples]) -> None:
    stored = _all(old).samples
    merged = merge([(STORED, stored), *enumerate(new)], len(new), correct=True)
    assert _content(merged.samples) == _content(stored) | _content(_all(new).samples)
    assert merged.changed == (_content(merged.samples) != _content(stored))
    before = _content(stored)
    news = _slowly(new)
    differ = {t for (t, name), value in news.items() if before.get((t, name), value) != value}
    assert merged.replaced == len(differ)
    for origin, part in enumerate(new):
        conflicts = [c for c in merged.conflicts if c.origin == origin]
        assert merged.kept[origin] + merged.duplicates[origin] + len(conflicts) == len(part)


def test_nothing_merged_is_nothing() -> None:
    assert len(merge([], 0).samples) == 0
