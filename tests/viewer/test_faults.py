"""Errors nobody caught become one sentence; the hooks are given back."""

import errno
import sys
import threading

import pytest
from pytestqt.qtbot import QtBot

from tbmreview.domain.errors import SetupError
from tbmreview.viewer.faults import Faults, sentence


def test_a_known_error_speaks_for_itself_in_one_line() -> None:
    assert sentence(SetupError("drive.toml:\n  bore -6 m")) == "drive.toml: bore -6 m"


def test_an_error_of_the_disk_names_the_file() -> None:
    error = OSError(errno.ENOSPC, "No space left on device", "out.pdf")
    assert sentence(error) == "out.pdf: No space left on device"


def test_an_error_of_the_program_says_so() -> None:
    assert "error of its own (KeyError" in sentence(KeyError("x"))


def test_hooks_tell_and_are_given_back(qtbot: QtBot, capsys: pytest.CaptureFixture[str]) -> None:
    before = sys.excepthook, threading.excepthook
    faults, told = Faults(), []
    faults.met.connect(told.append)
    faults.install()
    try:
        error = SetupError("no such key")
        sys.excepthook(SetupError, error, None)
        threading.excepthook(threading.ExceptHookArgs((SetupError, error, None, None)))
    finally:
        faults.remove()
    assert told == ["no such key", "no such key"]
    assert "SetupError: no such key" in capsys.readouterr().err
    assert (sys.excepthook, threading.excepthook) == before
