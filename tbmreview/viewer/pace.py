"""How far long work is, in words: amount, rate and time left."""

import time
from collections.abc import Callable

FROM_SECONDS = 1.0  # before that a rate says nothing


class Pace:
    """Begins when it is made."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._began = clock()

    def words(self, done: int, total: int) -> str:
        """Of bytes done of a total; '' before there is anything to say."""
        passed = self._clock() - self._began
        if total <= 0 or done <= 0:
            return ""
        amount = f"{_amount(done)} of {_amount(total)}"
        if passed < FROM_SECONDS:
            return amount
        rate = done / passed
        return f"{amount}, {_amount(rate)}/s, {_left((total - done) / rate)} left"


def _amount(count: float) -> str:
    for unit, size in (("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if count >= size:
            return f"{count / size:.3g} {unit}" if count < 1000 * size else f"{count / size:.0f} {unit}"
    return f"{count:.0f} B"


def _left(seconds: float) -> str:
    if seconds >= 90:
        return f"{seconds / 60:.0f} min"
    return f"{max(seconds, 1):.0f} s"
