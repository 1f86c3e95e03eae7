"""A month of logs at 1 Hz, 24 channels (2.6 M rows, some 430 MB of CSV), taken into a drive.

The peer is pyarrow reading that CSV with all its threads and writing it as zstd Parquet, in the same run.
Goals: at most 1.25 times the peer for the clean file, 1.75 times for its twin in cp1252 with
decimal comma and split local time. What follows from the samples (cells, strokes) is timed beside it. The
most memory that a process of its own takes: under 500 MB and flat in the size of the file, under 1 GB at
1 000 columns: 0.4 and 4 GB are added for that. TBMREVIEW_BENCH_DAYS=7 makes the race a quarter of the month.

The log is written from one invented day of 24 hours that differ; only the stamps go on.
"""

import os
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path

import pyarrow.csv as pa_csv
import pyarrow.parquet as pq
import pytest

from tbmreview.drive import add as adding
from tbmreview.drive.opened import open_drive
from tests.bench.conftest import Race
from tests.support.logs import ENGLISH, GERMAN, Field, TinyMachine, tiny_machine, written
from tests.support.small_drive import new_drive

DAYS = int(os.environ.get("TBMREVIEW_BENCH_DAYS", "30"))
CHANNELS = 24
FIRST = date(2030, 5, 2)


def _day(fields: tuple[Field, ...], columns: int, *, german: bool) -> tuple[str, list[str]]:
    """(header, 86 400 rows without their stamps) of hours of boring with a regrip in each; extras fill up.

    The chainage, which would have to go on from day to day, is left out.
    """
    fields = tuple(f for f in fields if f.channel != "chainage_m")
    rows: list[str] = []
    for seed in range(24):
        machine = tiny_machine(3600, seed)
        values = dict(machine.values)
        names = list(machine.values)
        extras = [Field(f"Sensor {k}", f"sensor {k}") for k in range(columns - len(fields))]
        for k, extra in enumerate(extras):
            values[extra.channel] = (machine.values[names[k % 3]] * (1 + k / 7) / 10).round(1)
        header, *hour = written(
            TinyMachine(machine.seconds, values),
            (*fields, *extras),
            stamp_headers=(),
            stamp=lambda _: (),
            delimiter=";" if german else ",",
            decimal="," if german else ".",
            decimals=4 if german else 3,
        ).splitlines()
        rows += hour
    return header, rows


def _second(second: int) -> str:
    return f"{second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d}"


def write_clean(path: Path, days: int, columns: int = CHANNELS) -> Path:
    """Comma, point, UTC."""
    header, rows = _day(ENGLISH, columns, german=False)
    day = "".join(f"@T{_second(s)}Z,{rows[s]}\n" for s in range(86_400))
    with path.open("w", encoding="utf-8") as file:
        file.write(f"Time UTC,{header}\n")
        for number in range(days):
            file.write(day.replace("@", f"{FIRST + timedelta(number)}"))
    return path


def write_german(path: Path, days: int) -> Path:
    """cp1252, semicolon, decimal comma, date and local time in two columns."""
    header, rows = _day(GERMAN, CHANNELS, german=True)
    day = "".join(f"@;{_second(s)};{rows[s]}\n" for s in range(86_400))
    with path.open("w", encoding="cp1252") as file:
        file.write(f"Datum;Uhrzeit;{header}\n")
        for number in range(days):
            file.write(day.replace("@", f"{FIRST + timedelta(number):%d.%m.%Y}"))
    return path


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("import")


@pytest.fixture
def without_cells(monkeypatch: pytest.MonkeyPatch) -> None:
    """What follows from the samples is left for later."""
    monkeypatch.setattr(adding, "_brought_up_to_date", lambda *_: ())


def _adds(place: Path, log: Path) -> Iterator[Callable[[], Path]]:
    count = 0

    def add() -> Path:
        nonlocal count
        count += 1
        folder = new_drive(place / f"{log.stem}{count}").folder
        adding.add(folder, [log])
        return folder

    yield add


def _convert(log: Path, delimiter: str, decimal: str, encoding: str) -> None:
    table = pa_csv.read_csv(
        log,
        pa_csv.ReadOptions(encoding=encoding),
        pa_csv.ParseOptions(delimiter=delimiter),
        pa_csv.ConvertOptions(decimal_point=decimal),
    )
    pq.write_table(table, log.with_suffix(".parquet"), compression="zstd")


@pytest.mark.usefixtures("without_cells")
def test_a_clean_month(race: Race, place: Path) -> None:
    log = write_clean(place / "clean.csv", DAYS)
    print(f"\n{log.stat().st_size / 1e6:.0f} MB, {DAYS * 86_400} rows")
    (add,) = _adds(place, log)
    race("clean", ours=add, peer=lambda: _convert(log, ",", ".", "utf8"), at_most=1.25, rounds=3)
    _say_size_and_cells(place / "clean1", log)


@pytest.mark.usefixtures("without_cells")
def test_its_german_twin(race: Race, place: Path) -> None:
    log = write_german(place / "german.csv", DAYS)
    print(f"\n{log.stat().st_size / 1e6:.0f} MB")
    (add,) = _adds(place, log)
    race("German twin", ours=add, peer=lambda: _convert(log, ";", ",", "cp1252"), at_most=1.75, rounds=3)


def _say_size_and_cells(folder: Path, log: Path) -> None:
    stored = sum(p.stat().st_size for p in (folder / "samples").rglob("*.parquet"))
    start = time.perf_counter()
    _ = open_drive(folder).cells
    took = time.perf_counter() - start
    peer = log.with_suffix(".parquet").stat().st_size
    print(f"stored {stored / 1e6:.0f} MB, the peer {peer / 1e6:.0f} MB; cells after it {took:.1f} s")


@pytest.mark.parametrize(
    ("days", "columns", "most_MB"), [(23, CHANNELS, 500), (230, CHANNELS, 500), (1, 1000, 1000)]
)
def test_memory(place: Path, days: int, columns: int, most_MB: int) -> None:
    log = write_clean(place / f"memory-{days}-{columns}.csv", days, columns)
    folder = new_drive(place / log.stem).folder
    done = subprocess.run(
        [sys.executable, __file__, folder, log],
        check=True,
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )
    peak_MB = int(done.stdout) / 1000
    print(
        f"\n{log.stat().st_size / 1e6:.0f} MB, {columns} columns: at most {peak_MB:.0f} MB (goal {most_MB})"
    )
    log.unlink()
    assert peak_MB < most_MB


def main(folder: str, log: str) -> None:
    """Add a log; print the most memory taken, in kB."""
    adding._brought_up_to_date = lambda *_: ()
    adding.add(folder, [log])
    # not getrusage: what it tells has the peak of the process that began this one in it
    print(re.search(r"VmHWM:\s*(\d+)", Path("/proc/self/status").read_text())[1])


if __name__ == "__main__":
    main(*sys.argv[1:])
