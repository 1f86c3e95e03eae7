"""A progress line with rate and time left: at a terminal only, and only for work over two seconds."""

import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

Progress = Callable[[int, int], None]


class ProgressLine:
    """Called with (done, total); `stage` begins the next part of the work under a name of its own."""

    def __init__(self, what: str, unit: str = "B") -> None:
        self._seen = sys.stderr.isatty()
        self._bar: Any = None
        self.stage(what, unit)

    def stage(self, what: str, unit: str) -> None:
        """From here on `what` is done, counted in `unit`: bytes ('B') or things."""
        self.close()
        self._what, self._unit = what, unit

    def __call__(self, done: int, total: int) -> None:
        if not self._seen:
            return
        if self._bar is None:
            from tqdm import tqdm

            counted = {"unit": "B", "unit_scale": True} if self._unit == "B" else {"unit": f" {self._unit}"}
            self._bar = tqdm(desc=self._what, initial=done, total=total, delay=2, leave=False, **counted)
        self._bar.total = total
        self._bar.update(done - self._bar.n)

    def close(self) -> None:
        """Take the line away."""
        if self._bar is not None:
            self._bar.close()
            self._bar = None


@contextmanager
def progress_bar(what: str, unit: str = "B") -> Iterator[ProgressLine]:
    """Yields `progress(done, total)`; quiet when not at a terminal."""
    line = ProgressLine(what, unit)
    try:
        yield line
    finally:
        line.close()


@contextmanager
def interruptible() -> Iterator[Callable[[], bool]]:
    """Yields a function that says whether Ctrl-C was pressed, which work asks where it can stop cleanly.

    Pressed a second time it stops the work at once.
    """
    pressed = threading.Event()

    def press(number: int, frame: FrameType | None) -> None:
        if pressed.is_set():
            raise KeyboardInterrupt
        pressed.set()

    before = signal.signal(signal.SIGINT, press)
    try:
        yield pressed.is_set
    finally:
        signal.signal(signal.SIGINT, before)


def say_at_terminal(text: str) -> None:
    """A line for whoever sits at the terminal; nothing where nobody does."""
    if sys.stderr.isatty():
        print(f"tbmreview: {text}", file=sys.stderr, flush=True)
