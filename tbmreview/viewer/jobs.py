"""Long work beside the window: numbered jobs, one at a time for each kind, late answers dropped.

Work runs in one thread, so that two jobs never touch the drive together. An answer comes back to the
main thread through one receiving object and is handed on only if no newer job of its kind was begun.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QObject, Qt, Signal, Slot

from tbmreview.domain.errors import Cancelled


class Progress:
    """What a job is given: called with (done, total) it tells how far the job is, and ends it with
    Cancelled where it was asked to stop; `stopped` only says whether it was."""

    def __init__(self, tell: Callable[[int, int], None]) -> None:
        self._tell = tell
        self._asked = False

    def __call__(self, done: int, total: int) -> None:
        if self._asked:
            raise Cancelled("stopped; the drive is as it was")
        self._tell(done, total)

    def ask(self) -> None:
        """Ask the job to stop at its next step."""
        self._asked = True

    def stopped(self) -> bool:
        """Whether the job was asked to stop."""
        return self._asked


Work = Callable[[Progress], Any]


@dataclass(frozen=True, slots=True)
class Answer:
    """What a job came to: its result, or its error."""

    number: int
    kind: str
    result: Any = None
    error: BaseException | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """How far a job is."""

    number: int
    kind: str
    done: int
    total: int


class Jobs(QObject):
    """Begin work, hear of it on the main thread."""

    answered = Signal(object)  # Answer
    stepped = Signal(object)  # Step
    _arrived = Signal(object)  # from the working thread

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="tbmreview-job")
        self._count = 0
        self._current: dict[str, tuple[int, Progress]] = {}
        self._arrived.connect(self._receive, Qt.ConnectionType.QueuedConnection)

    def begin(self, kind: str, work: Work) -> int:
        """Run `work(progress)` in the thread; returns the job's number. An older job of the kind is told
        to stop and its answer will be dropped."""
        self.stop(kind)
        self._count += 1
        number = self._count
        progress = Progress(lambda done, total: self._arrived.emit(Step(number, kind, done, total)))
        self._current[kind] = (number, progress)
        self._pool.submit(self._run, number, kind, work, progress)
        return number

    def busy(self, kind: str | None = None) -> bool:
        """Whether a job (of this kind) has not answered yet."""
        return bool(self._current) if kind is None else kind in self._current

    def ask(self, kind: str) -> None:
        """Ask the running job of a kind to stop at its next step; its answer is still heard."""
        if kind in self._current:
            self._current[kind][1].ask()

    def stop(self, kind: str) -> None:
        """Ask the running job of a kind to stop and drop its answer."""
        found = self._current.pop(kind, None)
        if found is not None:
            found[1].ask()

    def close(self) -> None:
        """Stop everything and wait for the thread to end."""
        for kind in list(self._current):
            self.stop(kind)
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _run(self, number: int, kind: str, work: Work, progress: Progress) -> None:
        try:
            if progress.stopped():
                raise Cancelled("stopped before it began")
            answer = Answer(number, kind, result=work(progress))
        except Exception as error:  # noqa: BLE001 - handed to the main thread, which shows it
            answer = Answer(number, kind, error=error)
        self._arrived.emit(answer)

    @Slot(object)
    def _receive(self, message: Answer | Step) -> None:
        current = self._current.get(message.kind)
        if current is None or current[0] != message.number:
            return
        if isinstance(message, Step):
            self.stepped.emit(message)
            return
        del self._current[message.kind]
        self.answered.emit(message)
