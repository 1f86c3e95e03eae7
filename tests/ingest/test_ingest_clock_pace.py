"""How often rows come, which end of their interval stamps mark, clocks that disagree."""

from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tbmreview.domain.errors import LogError
from tbmreview.domain.samples import Samples, join
from tbmreview.ingest.column_map import ColumnMap, parse_column_map
from tbmreview.ingest.pace import pace_of
from tbmreview.ingest.read import LogReader, understand
from tbmreview.ingest.report import FileReport, mixed_rates
from tbmreview.ingest.two_clocks import compare_clocks
from tests.support.logs import tiny_machine, written

OSLO = ZoneInfo("Europe/Oslo")
MACHINE = tiny_machine()


def to_the_minute(t: datetime) -> tuple[str, ...]:
    return (t.strftime("%Y-%m-%d %H:%M"),)


def read(path: Path, given: ColumnMap | None = None) -> tuple[Samples, FileReport]:
    reader = LogReader(understand(path, OSLO, None, given))
    samples = join([block.samples for block in reader])
    return samples, reader.report


def test_coarse_stamps_are_spread_alike_in_any_blocks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "log.csv"
    path.write_text(written(MACHINE, stamp=to_the_minute, start=datetime(2024, 3, 5, 6, 0, 20)))
    whole, report = read(path)
    assert np.all(np.diff(whole.time_us) == 1_000_000)
    monkeypatch.setattr("tbmreview.ingest.read_text.text_blocks.__defaults__", (7_000,))
    parts, same = read(path)
    np.testing.assert_array_equal(parts.time_us, whole.time_us)
    assert same == report


def test_a_coarse_log_cut_within_a_minute_keeps_its_stamps(tmp_path: Path) -> None:
    lines = written(MACHINE, stamp=to_the_minute).splitlines()
    pieces = []
    for name, part in (("a.csv", lines[1:280]), ("b.csv", lines[280:])):
        (tmp_path / name).write_text("\n".join([lines[0], *part]) + "\n")
        pieces.append(read(tmp_path / name)[0].time_us)
    assert np.all(np.diff(np.concatenate(pieces)) == 1_000_000)


def test_rows_that_only_repeat_are_not_spread() -> None:
    stamps = np.repeat(np.arange(100.0), 2)
    assert pace_of([stamps], [{1: np.repeat(np.arange(100.0), 2)}]).rows_per_stamp == 1
    assert pace_of([stamps], [{1: np.arange(200.0)}]).rows_per_stamp == 2
    assert pace_of([stamps], [{1: np.arange(200.0)}]).interval_s == 0.5


def test_stamps_that_end_their_interval(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(written(MACHINE))
    start, _ = read(path)
    end, report = read(path, parse_column_map('[clock]\nstamp_marks = "end"\n', "map"))
    np.testing.assert_array_equal(start.time_us - end.time_us, 1_000_000)
    assert "stamps mark the end of their interval by the map" in report.clock
    again = understand(path, OSLO, None, ColumnMap(stamp_marks="end")).as_map()
    assert parse_column_map(again.as_toml(), "map").stamp_marks == "end"
    with pytest.raises(LogError, match="expected start or end"):
        parse_column_map('[clock]\nstamp_marks = "middle"\n', "map")


def test_two_rates_in_one_file_are_told(tmp_path: Path) -> None:
    seconds = np.r_[np.arange(0, 40_000), np.arange(40_000, 400_000, 10)]
    rows = [f"{datetime(2024, 3, 5) + timedelta(seconds=int(s))},{s % 97}" for s in seconds]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["Time,Thrust [kN]", *rows]) + "\n")
    log = understand(path, OSLO, None)
    assert "rows come every 1 s and every 10 s" in log.notes


def test_two_rates_in_a_set_of_files_are_told(tmp_path: Path) -> None:
    lines = written(MACHINE).splitlines()
    reports = []
    for name, rows in (("fast.csv", lines[1:]), ("slow.csv", lines[1::10])):
        (tmp_path / name).write_text("\n".join([lines[0], *rows]) + "\n")
        reports.append(read(tmp_path / name)[1])
    assert mixed_rates(reports[:1]) == ()
    [note] = mixed_rates(reports)
    assert "fast.csv has a row every 1 s, slow.csv every 10 s" in note


def test_clocks_that_agree_or_stand_still_say_nothing() -> None:
    t = np.arange(1_000.0)
    assert compare_clocks([t], [t + 7], "b") == ()
    assert compare_clocks([t], [np.zeros(1_000)], "b") == ()
    assert compare_clocks([t], [np.full(1_000, np.nan)], "b") == ()
    [step] = compare_clocks([t], [np.where(t > 500, t - 90, t)], "b")
    assert "first by -90 s at 1970-01-01T00:08:21 UTC" in step
