"""A month at 1 Hz of an invented drive reduced: samples in the store to cells, strokes, periods and rings.

The peer is DuckDB's plain group-by of the same sums (by 0.1 m of the logged chainage and by shift) over the same
Parquet chunks, with as many threads as it likes; what a state, a stroke or a reaction is, it does not know.
Goal: at most five times its time. Sixty days are reduced in a process of their own: under 400 MB.
TBMREVIEW_BENCH_DAYS=7 makes a week of the month.
"""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

from tbmreview.drive import add as adding
from tbmreview.drive.opened import open_drive
from tbmreview.drive.start import start
from tests.bench.conftest import Race
from tests.support.samplegen import make_drive

DAYS = int(os.environ.get("TBMREVIEW_BENCH_DAYS", "30"))
MOST_MB = 400

# Every sum of a cell that a group-by can state; changes from one sample to the next would need a window besides.
SUMS = """
    WITH boring AS (
        SELECT CAST(floor(chainage_m * 10) AS BIGINT) AS step,
            CAST(epoch_us(time_utc) / 28800000000 AS BIGINT) AS shift, time_utc, chainage_m,
            1.0 AS s, advance_speed_mm_min / 60000 AS advance, head_speed_rpm / 60 AS revolutions,
            main_thrust_kN AS thrust, abs(torque_kNm) AS torque, penetration_mm_rev AS penetration,
            gripper_pressure_bar AS gripper, belt_rate_t_h / 3600 AS belt
        FROM read_parquet('{}') WHERE advance_speed_mm_min > 1
    )
    SELECT step, shift,
        sum(s), sum(advance), sum(revolutions),
        sum(CASE WHEN revolutions IS NOT NULL THEN s END), sum(CASE WHEN revolutions IS NOT NULL THEN advance END),
        sum(thrust * s), sum(CASE WHEN thrust IS NOT NULL THEN s END), sum(thrust * advance),
        sum(CASE WHEN thrust IS NOT NULL THEN advance END),
        sum(torque * s), sum(CASE WHEN torque IS NOT NULL THEN s END), sum(torque * revolutions * 2 * pi()),
        sum(CASE WHEN torque IS NOT NULL AND revolutions IS NOT NULL THEN advance END),
        sum(CASE WHEN torque IS NOT NULL THEN revolutions END),
        sum(CASE WHEN torque IS NOT NULL AND revolutions IS NOT NULL THEN s END), sum(torque * torque * s),
        sum(penetration * s), sum(CASE WHEN penetration IS NOT NULL THEN s END), sum(penetration * penetration * s),
        count(*), sum(gripper * s), sum(CASE WHEN gripper IS NOT NULL THEN s END),
        sum(belt * s), sum(CASE WHEN belt IS NOT NULL THEN s END),
        min(thrust), max(thrust), min(torque), max(torque),
        min(chainage_m), max(chainage_m), min(time_utc), max(time_utc)
    FROM boring GROUP BY step, shift ORDER BY step, shift
"""


def _drive(place: Path, days: int) -> Path:
    """A drive with so many days in its store and nothing reduced."""
    made = make_drive(place / "logs", 5, days)
    folder = place / "drive"
    start(folder, made.setup)
    adding.add(folder, made.files)
    return folder


def _reduce(folder: Path) -> int:
    shutil.rmtree(folder / "derived", ignore_errors=True)
    return len(open_drive(folder).cells)


def test_a_month(race: Race, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(adding, "_brought_up_to_date", lambda *_: ())
    folder = _drive(tmp_path, DAYS)
    query = SUMS.format(folder / "samples" / "*" / "*" / "*.parquet")
    race(
        f"{DAYS} days reduced",
        ours=lambda: _reduce(folder),
        peer=lambda: duckdb.sql(query).fetchnumpy(),
        at_most=5.0,
        rounds=3,
    )


def test_memory_of_sixty_days(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(adding, "_brought_up_to_date", lambda *_: ())
    folder = _drive(tmp_path, 2 * DAYS)
    done = subprocess.run(
        [sys.executable, __file__, folder],
        check=True,
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )
    peak_MB = int(done.stdout) / 1000
    print(f"\n{2 * DAYS} days reduced: at most {peak_MB:.0f} MB (goal {MOST_MB})")
    assert peak_MB < MOST_MB


if __name__ == "__main__":
    _reduce(Path(sys.argv[1]))
    # not getrusage: what it tells has the peak of the process that began this one in it
    print(re.search(r"VmHWM:\s*(\d+)", Path("/proc/self/status").read_text())[1])
