"""A progress line with rate and time left: at a terminal only, and only for work over two seconds."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Progress = Callable[[int, int], None]


@contextmanager
def progress_bar(what: str) -> Iterator[Progress]:
    """Yields `progress(done, total)` in bytes; quiet when not at a terminal."""
    if not sys.stderr.isatty():
        yield _quiet
        return
    from tqdm import tqdm

    with tqdm(desc=what, unit="B", unit_scale=True, delay=2, leave=False) as bar:

        def progress(done: int, total: int) -> None:
            bar.total = total
            bar.update(done - bar.n)

        yield progress


def say_at_terminal(text: str) -> None:
    """A line for whoever sits at the terminal; nothing where nobody does."""
    if sys.stderr.isatty():
        print(f"tbmreview: {text}", file=sys.stderr, flush=True)


def _quiet(done: int, total: int) -> None:
    """Not at a terminal: nothing is drawn."""
