"""Penetration tests at the command line, from a log: found, stated, kept, listed, refused."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tbmreview.cli import main
from tests.support.small_drive import new_drive

CHANNELS = (
    "Time UTC,Main thrust [kN],Torque [kNm],Head speed [rpm],Main stroke [mm],Advance speed [mm/min],"
    "Penetration [mm/rev]"
)
LOADS_KN = ((10_000, 400), (9_000, 150), (11_000, 150), (12_500, 150), (7_500, 150), (10_000, 400))


def log(path: Path) -> Path:
    """A stroke bored at 10 MN with a test in it, p = (F / 4200 kN)^2 mm/rev at 6 rpm; from 08:00 UTC."""
    thrust = np.concatenate([np.full(seconds, kN) for kN, seconds in LOADS_KN])
    p = (thrust / 4200.0) ** 2
    stroke = 100 + np.cumsum(p) / 10
    start = datetime(2030, 5, 2, 8, tzinfo=UTC)
    rows = [
        f"{start + timedelta(seconds=i):%Y-%m-%dT%H:%M:%SZ},{F:.0f},1200,6.00,{s:.2f},{60 * q / 10:.2f},{q:.3f}"
        for i, (F, q, s) in enumerate(zip(thrust, p, stroke, strict=True))
    ]
    path.write_text("\n".join([CHANNELS, *rows]) + "\n", encoding="utf-8")
    return path


def test_a_test_is_found_stated_kept_and_listed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = new_drive(tmp_path / "drive").folder

    def run(*words: object) -> tuple[int, str]:
        code = main([str(word) for word in words])
        said = capsys.readouterr()
        return code, said.out + said.err

    assert run("add", folder, log(tmp_path / "log.csv"))[0] == 0
    code, said = run("penetration-test", folder, "--gross")
    assert code == 0
    assert "found in the samples: 2030-05-02 10:0" in said
    assert "b 2.00 (" in said
    assert "critical load F1 100 kN" in said
    times = "--from-time", "2030-05-02 10:06:40", "--to-time", "2030-05-02 10:16:40"
    code, said = run("penetration-test", folder, *times, "--keep", "May")
    assert (code, "--discs" in said) == (2, True)
    out, loads = tmp_path / "t.csv", tmp_path / "l.csv"
    files = "--out", out, "--loads", loads
    assert run("penetration-test", folder, *times, "--keep", "May", "--discs", "gauge new", *files)[0] == 0
    assert pd.read_csv(out)["slope"][0] == pytest.approx(2.0, abs=0.02)
    assert len(pd.read_csv(loads)) == 4
    said = run("penetration-test", folder)[1]
    assert "May: kept by" in said
    assert "as when kept" in said
    assert "discs: gauge new" in said
    assert run("fit", folder)[1].strip() == "no fit is kept in this drive"
    code, said = run(
        "penetration-test", folder, "--from-time", "2030-05-02 10:00", "--to-time", "2030-05-02 10:06"
    )
    assert (code, "one load was held" in said) == (1, True)
    assert run("penetration-test", folder, "--discs", "new")[0] == 2
