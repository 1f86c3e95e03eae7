"""Measurements on demand: ``packaging/bench.sh`` runs them all, ``packaging/bench.sh tests/bench/bench_x.py`` one.

A measurement is a function ``test_<what>`` in a file ``bench_<part>.py`` (so that the test suite, which looks
for ``test_*.py``, never meets it). The file's docstring says what is measured on which input, who the peer
is, and the goal. Speed is stated as a ratio to the peer, both timed in turn in the same run, since seconds
of one machine say little on another; where the goal is a time a person waits, it is stated in seconds.

    def test_import(race: Race) -> None:
        race("import of a month", ours=add_month, peer=convert_month, at_most=1.25)
"""

import gc
import statistics
import time
from collections.abc import Callable
from typing import Protocol

import pytest


class Race(Protocol):
    """Times two ways to do a thing in turn, prints both, and fails where ours misses the goal."""

    def __call__(
        self,
        what: str,
        *,
        ours: Callable[[], object],
        peer: Callable[[], object],
        at_most: float,
        rounds: int = 5,
    ) -> float: ...


class Wait(Protocol):
    """Times one thing, prints its median, and fails where it takes longer than a person should wait."""

    def __call__(
        self, what: str, work: Callable[[], object], *, at_most_s: float, rounds: int = 5
    ) -> float: ...


@pytest.fixture
def race() -> Race:
    def run(
        what: str,
        *,
        ours: Callable[[], object],
        peer: Callable[[], object],
        at_most: float,
        rounds: int = 5,
    ) -> float:
        pairs = [(_seconds(ours), _seconds(peer)) for _ in range(rounds)]
        mine, theirs = (statistics.median(times) for times in zip(*pairs, strict=True))
        ratio = statistics.median(one / other for one, other in pairs)
        print(f"\n{what}: {ratio:.2f} x the peer (goal {at_most:g}); {mine:.3g} s against {theirs:.3g} s")
        assert ratio <= at_most, f"{what}: {ratio:.2f} x the peer, the goal is {at_most:g}"
        return ratio

    return run


@pytest.fixture
def wait() -> Wait:
    def run(what: str, work: Callable[[], object], *, at_most_s: float, rounds: int = 5) -> float:
        taken = statistics.median(_seconds(work) for _ in range(rounds))
        print(f"\n{what}: {taken * 1000:.3g} ms (goal {at_most_s * 1000:g})")
        assert taken <= at_most_s, f"{what}: {taken:.3g} s, the goal is {at_most_s:g} s"
        return taken

    return run


def _seconds(work: Callable[[], object]) -> float:
    gc.collect()
    start = time.perf_counter()
    work()
    return time.perf_counter() - start
