"""A small drive on disk whose detectors notice what a test says."""

from pathlib import Path

import pytest

from tbmreview.cli import main
from tbmreview.domain.findings import Finding
from tbmreview.drive.detect import detect
from tbmreview.drive.opened import Drive, open_drive
from tests.support.small_drive import new_drive, small_log

START_US = 1_903_910_400_000_000  # 2030-05-02T00:00Z, in the middle of the small log


def found(at_m: float, length_m: float = 3.0, kind: str = "FPI low") -> Finding:
    """An invented finding, at the time of the small log."""
    return Finding(
        kind,
        at_m,
        at_m + length_m,
        START_US - 60_000_000,
        START_US + 60_000_000,
        4.2,
        "FPI 8 against 20",
        {"ratio": 0.4},
    )


def noticed(monkeypatch: pytest.MonkeyPatch, findings: list[Finding]) -> None:
    """From now on the detectors notice these."""
    monkeypatch.setattr("tbmreview.drive.detect.detect_all", lambda profile, settings: list(findings))


def judged_drive(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Drive:
    """A drive with two findings, F001 at 10 m and F002 at 50 m."""
    noticed(monkeypatch, [found(10.0), found(50.0)])
    new_drive(folder / "d")
    assert main(["add", str(folder / "d"), str(small_log(folder / "log.csv"))]) == 0
    detect(open_drive(folder / "d"))
    return open_drive(folder / "d")
