"""Jobs: numbered, answered on the main thread, late answers dropped."""

import threading
from collections.abc import Callable, Iterator

import pytest
from PySide6.QtCore import QThread
from pytestqt.qtbot import QtBot

from tbmreview.domain.errors import Cancelled, LogError
from tbmreview.viewer.jobs import Answer, Jobs, Progress, Step


@pytest.fixture
def jobs(qtbot: QtBot) -> Iterator[Jobs]:
    made = Jobs()
    yield made
    made.close()


class Heard:
    """Keeps what it is told, and on which thread."""

    def __init__(self, jobs: Jobs) -> None:
        self.answers: list[Answer] = []
        self.steps: list[Step] = []
        self.threads: set[object] = set()
        jobs.answered.connect(self.answer)
        jobs.stepped.connect(self.steps.append)

    def answer(self, answer: Answer) -> None:
        self.answers.append(answer)
        self.threads.add(QThread.currentThread())


def test_an_answer_arrives_on_the_main_thread(jobs: Jobs, qtbot: QtBot) -> None:
    heard = Heard(jobs)
    worked_in: list[int] = []

    def work(progress: Callable[[int, int], None]) -> str:
        worked_in.append(threading.get_ident())
        progress(3_000_000_000, 6_000_000_000)
        return "done"

    number = jobs.begin("read", work)
    assert jobs.busy("read")
    qtbot.waitUntil(lambda: bool(heard.answers))
    assert (heard.answers[0].number, heard.answers[0].result) == (number, "done")
    assert heard.threads == {QThread.currentThread()}
    assert worked_in != [threading.get_ident()]
    assert [(s.done, s.total) for s in heard.steps] == [(3_000_000_000, 6_000_000_000)]
    assert not jobs.busy()


def test_a_late_answer_is_dropped(jobs: Jobs, qtbot: QtBot) -> None:
    heard, gate = Heard(jobs), threading.Event()

    def slow(progress: object) -> str:
        gate.wait(5)
        return "late"

    jobs.begin("read", slow)
    second = jobs.begin("read", lambda progress: "new")
    gate.set()
    qtbot.waitUntil(lambda: not jobs.busy())
    qtbot.wait(20)
    assert [(a.number, a.result) for a in heard.answers] == [(second, "new")]


def test_kinds_do_not_disturb_each_other(jobs: Jobs, qtbot: QtBot) -> None:
    heard = Heard(jobs)
    jobs.begin("read", lambda progress: 1)
    jobs.begin("write", lambda progress: 2)
    qtbot.waitUntil(lambda: len(heard.answers) == 2)
    assert {(a.kind, a.result) for a in heard.answers} == {("read", 1), ("write", 2)}


def test_an_error_is_the_answer(jobs: Jobs, qtbot: QtBot) -> None:
    heard, error = Heard(jobs), LogError("monday.csv: no log")

    def failing(progress: object) -> None:
        raise error

    jobs.begin("read", failing)
    qtbot.waitUntil(lambda: bool(heard.answers))
    assert heard.answers[0].error is error


def test_a_job_that_is_asked_to_stop_is_still_heard(jobs: Jobs, qtbot: QtBot) -> None:
    heard, gate = Heard(jobs), threading.Event()

    def work(progress: Progress) -> str:
        gate.wait(5)
        return "too late to stop" if progress.stopped() else "never asked"

    jobs.begin("add", work)
    jobs.ask("add")
    gate.set()
    qtbot.waitUntil(lambda: bool(heard.answers))
    assert heard.answers[0].result == "too late to stop"


def test_a_stopped_job_ends_at_its_next_step_and_says_nothing(jobs: Jobs, qtbot: QtBot) -> None:
    heard, gate, ended = Heard(jobs), threading.Event(), []

    def work(progress: Callable[[int, int], None]) -> str:
        gate.wait(5)
        try:
            progress(1, 2)
        except Cancelled:
            ended.append("stopped")
            raise
        return "done"

    jobs.begin("read", work)
    jobs.stop("read")
    gate.set()
    qtbot.waitUntil(lambda: bool(ended) or not jobs.busy())
    jobs.close()
    qtbot.wait(20)
    assert heard.answers == []
