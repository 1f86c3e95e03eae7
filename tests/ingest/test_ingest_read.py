"""Rows: every one is kept, a duplicate or quarantined with its line and reason."""

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tbmreview.domain.errors import ColumnsOpen, LogError
from tbmreview.domain.samples import join
from tbmreview.ingest.dialect import sniff
from tbmreview.ingest.read import LogReader, understand
from tbmreview.ingest.read_text import TextPlan, parse_rows, parse_slowly
from tbmreview.ingest.report import FileReport
from tbmreview.ingest.settle import SAME_STAMP, Block
from tests.support.logs import GERMAN, tiny_machine, written

OSLO = ZoneInfo("Europe/Oslo")
LINES = written(tiny_machine()).splitlines()


def read(path: Path) -> tuple[list[Block], FileReport]:
    reader = LogReader(understand(path, OSLO, None))
    blocks = list(reader)
    report = reader.report
    assert report.rows_read == report.kept + report.duplicates + report.quarantined_rows
    assert sum(len(b.samples) for b in blocks) == report.kept
    assert sum(len(b.quarantined) for b in blocks) == report.quarantined_rows
    return blocks, report


def log(folder: Path, lines: Sequence[str | bytes], end: bytes = b"\n") -> Path:
    path = folder / "log.csv"
    path.write_bytes(b"\n".join(x if isinstance(x, bytes) else x.encode() for x in lines) + end)
    return path


def changed(line: int, change: Callable[[str], str | bytes]) -> list[str | bytes]:
    """LINES with the file's line number `line` (from 1) replaced."""
    out: list[str | bytes] = list(LINES)
    out[line - 1] = change(LINES[line - 1])
    return out


@pytest.mark.parametrize(
    ("lines", "line", "reason"),
    [
        (changed(100, lambda r: r[: len(r) // 2]), 100, "torn row: 5 of 10 fields"),
        (changed(100, lambda r: r + ",7,8"), 100, "torn row: 12 of 10 fields"),
        (changed(100, lambda r: r.encode()[:30] + b"\0\0\0" + r.encode()[33:]), 100, "torn row: NUL bytes"),
        (changed(100, lambda r: r.replace(",", ',"', 1)), 100, "torn row: quotes do not match"),
        (changed(100, lambda r: ",,,,,,,,,"), 100, "no valid stamp"),
        (changed(100, lambda r: "n/a" + r[19:]), 100, "no valid stamp"),
        (changed(100, lambda r: "2024-02-31 06:00:00" + r[19:]), 100, "no valid stamp"),
        (changed(100, lambda r: "1970-01-01 00:00:00" + r[19:]), 100, "a stamp that means 'never'"),
        (changed(100, lambda r: "1899-12-30 00:00:00" + r[19:]), 100, "a stamp that means 'never'"),
        (changed(100, lambda r: "1999-12-30 00:00:00" + r[19:]), 100, "a stamp that means 'never'"),
        (changed(100, lambda r: LINES[98][:19] + r[19:]), 100, SAME_STAMP),
    ],
    ids=lambda x: str(x)[:30] if isinstance(x, str) else "",
)
def test_a_bad_row_costs_itself_only(
    lines: list[str | bytes], line: int, reason: str, tmp_path: Path
) -> None:
    blocks, report = read(log(tmp_path, lines))
    assert [(q.line, q.reason) for b in blocks for q in b.quarantined] == [(line, reason)]
    assert report.rows_read == 600
    assert report.kept == 599


def test_the_quarantined_row_is_kept_as_written(tmp_path: Path) -> None:
    blocks, _ = read(log(tmp_path, changed(100, lambda r: "never" + r[19:])))
    assert blocks[0].quarantined[0].text == "never" + LINES[99][19:]


def test_truncated_last_line(tmp_path: Path) -> None:
    blocks, report = read(log(tmp_path, [*LINES[:-1], LINES[-1][:40]], end=b""))
    assert report.kept == 599
    assert [q.line for q in blocks[-1].quarantined] == [601]


def test_blank_lines_are_no_rows(tmp_path: Path) -> None:
    _, report = read(log(tmp_path, [*LINES[:300], "", "  ", *LINES[300:]], end=b"\n\n\n"))
    assert report.rows_read == report.kept == 600


def test_duplicates_and_unordered_rows(tmp_path: Path) -> None:
    rows = LINES[1:]
    shuffled = [LINES[0], *rows[300:], *rows[:300], *rows[10:14]]
    blocks, report = read(log(tmp_path, shuffled))
    assert (report.rows_read, report.kept, report.duplicates) == (604, 600, 4)
    assert any(n.startswith("stamps fall back 2 times, first at line 302 by 599 s") for n in report.notes)
    straight, _ = read(log(tmp_path, LINES))
    np.testing.assert_array_equal(blocks[0].samples.time_us, straight[0].samples.time_us)
    for name, column in straight[0].samples.values.items():
        np.testing.assert_array_equal(blocks[0].samples.values[name], column)


def test_values_that_are_no_measurement_are_missing_and_counted(tmp_path: Path) -> None:
    def cell(k: int, text: str) -> Callable[[str], str]:
        return lambda r: ",".join(text if i == k else c for i, c in enumerate(r.split(",")))

    lines = list(LINES)
    for line, (k, text) in {
        50: (1, "-9999"),
        51: (1, "-999.25"),
        52: (2, "inf"),
        53: (3, "900"),
        54: (4, "Bad input"),
        55: (8, ""),
        56: (8, "NaN"),
    }.items():
        lines[line - 1] = cell(k, text)(lines[line - 1])
    blocks, report = read(log(tmp_path, lines))
    assert report.kept == 600
    values = blocks[0].samples.values
    for name, line in {
        "main_thrust_kN": 50,
        "torque_kNm": 52,
        "head_speed_rpm": 53,
        "penetration_mm_rev": 54,
        "gripper_pressure_bar": 55,
    }.items():
        assert np.isnan(values[name][line - 2]), name
    found = {(r.rule, r.column): (r.count, r.first_line) for r in report.repairs}
    assert found["sentinel for no reading", "Thrust force [kN]"] == (2, 50)
    assert found["infinite", "Cutterhead torque [kNm]"] == (1, 52)
    assert found["outside what a machine reads", "Cutterhead speed [rpm]"] == (1, 53)
    assert found["text where a number belongs", "Penetration [mm/rev]"] == (1, 54)


def test_text_that_recurs_in_a_number_column_is_missing(tmp_path: Path) -> None:
    lines = [r if i == 0 or i % 3 else r.rsplit(",", 1)[0] + ",no signal" for i, r in enumerate(LINES)]
    blocks, report = read(log(tmp_path, lines))
    assert report.kept == 600
    assert np.isnan(blocks[0].samples.values["chainage_m"]).sum() == 200
    assert any("no signal" in note for note in report.notes)


def test_thousands_marks(tmp_path: Path) -> None:
    lines = written(tiny_machine(), GERMAN[:1], delimiter=";", decimal=",", decimals=3).splitlines()
    grouped = [lines[0], *(r.replace(";11,", ";11.011,").replace(";10,", ";10.010,") for r in lines[1:])]
    grouped[0] = grouped[0].replace("[MN]", "[kN]")
    blocks, _ = read(log(tmp_path, grouped))
    thrust = blocks[0].samples.values["main_thrust_kN"]
    assert np.nanmax(thrust) > 11_000
    assert np.nanmedian(thrust) > 10_000


def test_extra_columns_are_kept_under_their_name(tmp_path: Path) -> None:
    lines = [LINES[0] + ",Oil temperature [degC],Mode,Oil temperature [degC],Spare"]
    lines += [f"{r},{40 + i % 7},auto,{i % 5},0" for i, r in enumerate(LINES[1:])]
    blocks, report = read(log(tmp_path, lines))
    extras = {n for n in blocks[0].samples.values if n.startswith("extra:")}
    assert extras == {"extra:Oil temperature [degC]", "extra:Oil temperature [degC] (2)", "extra:Spare"}
    reasons = {c.header: c.reason for c in report.columns}
    assert reasons["Mode"] == "text"
    assert "constant 0" in reasons["Spare"]


def test_progress_reaches_the_end(tmp_path: Path) -> None:
    seen: list[tuple[int, int]] = []
    path = log(tmp_path, LINES)
    list(LogReader(understand(path, OSLO, None), lambda done, total: seen.append((done, total))))
    assert seen[-1] == (path.stat().st_size, path.stat().st_size)


def test_many_blocks_are_one_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole, report = read(log(tmp_path, changed(400, lambda r: "never" + r[19:])))
    monkeypatch.setattr("tbmreview.ingest.read_text.text_blocks.__defaults__", (5000,))
    parts, report_of_parts = read(log(tmp_path, changed(400, lambda r: "never" + r[19:])))
    assert len(parts) > 5
    one = join([b.samples for b in parts])
    np.testing.assert_array_equal(one.time_us, whole[0].samples.time_us)
    for name, column in whole[0].samples.values.items():
        np.testing.assert_array_equal(one.values[name], column)
    assert [q.line for b in parts for q in b.quarantined] == [400]
    assert report_of_parts.kept == report.kept


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"hello", "expected"),
        (b"just\nsome\nwords, and\nmore\n", "expected"),
        (bytes(range(256)) * 40, "expected"),
        (b"PK\x03\x04rubbish", "zip cannot be read"),
        (b"PAR1 no parquet", "cannot be read as parquet"),
        (b"ARROW1 no feather", "cannot be read as feather"),
    ],
)
def test_what_is_no_log_is_refused_in_one_line(content: bytes, said: str, tmp_path: Path) -> None:
    path = tmp_path / "odd.csv"
    path.write_bytes(content)
    with pytest.raises(LogError, match=said) as error:
        understand(path, OSLO, None)
    assert str(path) in str(error.value)
    assert "\n" not in str(error.value)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="no such file"):
        understand(tmp_path / "none.csv", OSLO, None)


def test_local_stamps_without_a_zone_are_not_guessed(tmp_path: Path) -> None:
    path = log(tmp_path, LINES)
    with pytest.raises(ColumnsOpen, match="zone"):
        LogReader(understand(path, None, None))


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    data=st.one_of(
        st.binary(max_size=400), st.text(alphabet="0123456789.,;:\t\n\"'-/ aTkN\r\0", max_size=400)
    )
)
def test_arbitrary_bytes_never_crash(data: bytes | str, tmp_path: Path) -> None:
    path = tmp_path / "any.csv"
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    try:
        reader = LogReader(understand(path, OSLO, None))
    except (LogError, ColumnsOpen):
        return
    list(reader)
    report = reader.report
    assert report.rows_read == report.kept + report.duplicates + report.quarantined_rows


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    at=st.lists(st.tuples(st.integers(0, 60_000), st.binary(min_size=1, max_size=12)), min_size=1, max_size=5)
)
def test_damage_anywhere_loses_no_row(at: list[tuple[int, bytes]], tmp_path: Path) -> None:
    data = bytearray("\n".join(LINES).encode() + b"\n")
    for place, noise in at:
        data[place : place + len(noise)] = noise
    path = tmp_path / "damaged.csv"
    path.write_bytes(bytes(data))
    try:
        _, report = read(path)
    except (LogError, ColumnsOpen):
        return
    assert report.kept >= 600 - 14 * len(at)


_CELL = st.one_of(
    st.floats(-1e6, 1e6).map(lambda x: f"{x:.6g}"),
    st.integers(-99999, 99999).map(str),
    st.sampled_from(["", "NaN", "-9999", "1e3", "  7.5", ".5", "5.", "-", "n/a", "inf", '"3.5"', "+4", "x"]),
)


@settings(max_examples=60, deadline=None)
@given(rows=st.lists(st.lists(_CELL, min_size=3, max_size=3), min_size=1, max_size=30), bad=st.integers(0, 3))
def test_fast_reader_equals_the_slow_one(rows: list[list[str]], bad: int) -> None:
    lines = [f"2024-03-05 06:{i:02d}:00," + ",".join(r) for i, r in enumerate(rows)]
    lines += ["torn,row"] * bad
    data = ("\n".join(lines) + "\n").encode()
    plan = TextPlan(sniff(b"t,a,b,c\n" + b"2024-03-05 06:00:00,1,2.5,3\n" * 3, "x"), (0,), (1, 2, 3))
    fast, slow = parse_rows(data, 2, plan), parse_slowly(data, 2, plan)
    np.testing.assert_array_equal(fast.lines, slow.lines)
    assert fast.stamps[0].to_pylist() == slow.stamps[0].to_pylist()
    for k in plan.numbers:
        np.testing.assert_array_equal(fast.numbers[k], slow.numbers[k])
    assert fast.torn == slow.torn
    assert fast.bad == slow.bad
    assert [fast.row_text(i) for i in range(len(fast))] == [slow.row_text(i) for i in range(len(slow))]


def test_a_clean_file_takes_the_fast_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise AssertionError("the slow reader was asked")

    path = log(tmp_path, LINES)
    reader = LogReader(understand(path, OSLO, None))
    monkeypatch.setattr("tbmreview.ingest.read_text.parse_slowly", refuse)
    assert sum(len(b.samples) for b in reader) == 600


def test_rows_of_local_midnight_days_join(tmp_path: Path) -> None:
    path = tmp_path / "night.csv"
    path.write_text(written(tiny_machine(), start=datetime(2024, 3, 5, 23, 55)))
    blocks, report = read(path)
    assert report.kept == 600
    assert np.all(np.diff(blocks[0].samples.time_us) == 1_000_000)
