"""Stamps: the hour that comes twice, the one that does not come, orders, epochs."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tbmreview.ingest.clock import NEVER, SKIPPED_HOUR, Clock, StampReader
from tbmreview.ingest.find_clock import SMALL_NUMBER, StampSample, find_clock, tick_us
from tbmreview.ingest.headers import parse_header
from tbmreview.ingest.stamp_text import GOOD, NO_STAMP, is_dated, is_time_of_day, parse_text

OSLO = ZoneInfo("Europe/Oslo")


def us(when: datetime) -> int:
    return round(when.timestamp() * 1_000_000)


def local_reader() -> StampReader:
    return StampReader(Clock((0,), "text", "ymd"), OSLO)


@pytest.mark.parametrize("blocks", [1, 2, 7])
def test_the_doubled_hour_is_resolved_by_order_over_blocks(blocks: int) -> None:
    start = datetime(2024, 10, 27, 0, 30, tzinfo=UTC) - timedelta(hours=1)  # 01:30 local, summer time
    instants = [start + timedelta(seconds=20 * i) for i in range(720)]
    texts = [t.astimezone(OSLO).strftime("%Y-%m-%d %H:%M:%S") for t in instants]
    reader = local_reader()
    found = [
        reader.read([pa.array(part)]) for part in (list(x) for x in np.array_split(np.array(texts), blocks))
    ]
    assert np.concatenate([time for time, _ in found]).tolist() == [us(t) for t in instants]
    assert reader.doubled == 360


def test_a_stamp_in_the_skipped_hour_is_a_fault_of_the_clock() -> None:
    texts = ["2024-03-31 01:59:59", "2024-03-31 02:00:00", "2024-03-31 02:59:59", "2024-03-31 03:00:00"]
    time, status = local_reader().read([pa.array(texts)])
    assert status.tolist() == [GOOD, SKIPPED_HOUR, SKIPPED_HOUR, GOOD]
    assert time[3] - time[0] == 1_000_000


@pytest.mark.parametrize("blocks", [1, 2, 9])
@pytest.mark.parametrize(
    ("start", "zone", "asked"),
    [
        (datetime(2024, 3, 30, 23, 30), "drive", "state zone = '+01:00' or zone = '+02:00'"),
        (datetime(2024, 10, 26, 23, 30), "drive", "that Europe/Oslo has twice"),
        (datetime(2024, 3, 30, 23, 30), "Europe/Oslo", ""),
        (datetime(2024, 3, 30, 23, 30), "+01:00", ""),
        (datetime(2024, 3, 29, 23, 30), "drive", ""),
    ],
)
def test_a_recorder_that_does_not_change_its_clock_is_asked_about(
    blocks: int, start: datetime, zone: str, asked: str
) -> None:
    texts = [(start + timedelta(seconds=60 * i)).isoformat(sep=" ") for i in range(300)]
    reader = StampReader(Clock((0,), "text", zone=zone), OSLO)
    for part in np.array_split(np.array(texts), blocks):
        reader.read([pa.array(part.tolist())])
    assert bool(reader.question) == bool(asked)
    assert asked in reader.question


def test_a_recorder_that_does_change_its_clock_is_not() -> None:
    for start in (datetime(2024, 3, 30, 23, 30, tzinfo=UTC), datetime(2024, 10, 26, 23, 30, tzinfo=UTC)):
        instants = [start + timedelta(seconds=60 * i) for i in range(300)]
        reader = local_reader()
        reader.read([pa.array([t.astimezone(OSLO).strftime("%Y-%m-%d %H:%M:%S") for t in instants])])
        assert reader.question == ""


@settings(max_examples=30, deadline=None)
@given(st.lists(st.datetimes(datetime(2016, 1, 1), datetime(2030, 1, 1)), min_size=1, max_size=30))
def test_local_time_is_pythons_outside_the_odd_hours(when: list[datetime]) -> None:
    plain = [
        t
        for t in when
        if t.replace(tzinfo=OSLO, fold=0).utcoffset() == t.replace(tzinfo=OSLO, fold=1).utcoffset()
    ]
    texts = [t.isoformat(sep=" ", timespec="microseconds") for t in plain]
    if texts:
        time, status = local_reader().read([pa.array(texts)])
        assert np.all(status == GOOD)
        assert time.tolist() == [us(t.replace(tzinfo=OSLO)) for t in plain]


@settings(max_examples=50, deadline=None)
@given(st.from_regex(SMALL_NUMBER, fullmatch=True))
def test_a_small_number_is_no_stamp(text: str) -> None:
    """So that columns of readings need no closer look."""
    assert not is_dated(text)
    assert not is_time_of_day(text)
    assert tick_us(float(text.replace(",", ".").strip())) is None


@settings(max_examples=40, deadline=None)
@given(
    st.datetimes(datetime(1990, 1, 1), datetime(2099, 1, 1)),
    st.sampled_from(["ymd", "dmy", "mdy"]),
    st.data(),
)
def test_text_reads_back_in_every_order(when: datetime, order: str, data: st.DataObject) -> None:
    separator = data.draw(st.sampled_from("-./"))
    parts = {"y": f"{when.year:04d}", "m": f"{when.month:02d}", "d": f"{when.day:02d}"}
    text = separator.join(parts[x] for x in order) + when.strftime(" %H:%M:%S.%f")
    time, status, aware = parse_text(pa.array([text, "", None, "junk", text]), order)
    assert status.tolist() == [GOOD, NO_STAMP, NO_STAMP, NO_STAMP, GOOD]
    assert time[0] == time[4] == us(when.replace(tzinfo=UTC))
    assert not aware.any()


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("5.3.2024 6:07", datetime(2024, 3, 5, 6, 7)),
        ("05.03.24 06:07:08,5", datetime(2024, 3, 5, 6, 7, 8, 500_000)),
        ("5/3/2024 12:00:01 AM", datetime(2024, 3, 5, 0, 0, 1)),
        ("5/3/2024 12:00:01 pm", datetime(2024, 3, 5, 12, 0, 1)),
        ("05-März-2024 06:07:08", datetime(2024, 3, 5, 6, 7, 8)),
        ("Tue 05.03.2024 06:07:08", datetime(2024, 3, 5, 6, 7, 8)),
        ("2024-03-05T06:07:08+02:00", datetime(2024, 3, 5, 4, 7, 8)),
        ("2024-03-05T06:07:08.123456789Z", datetime(2024, 3, 5, 6, 7, 8, 123457)),
        ("20240305060708", datetime(2024, 3, 5, 6, 7, 8)),
        ("05.03.2024 24:00:00", datetime(2024, 3, 6)),
    ],
)
def test_shapes_of_stamps(text: str, expected: datetime) -> None:
    time, status, _ = parse_text(pa.array([text]), "dmy")
    assert status[0] == GOOD
    assert time[0] == us(expected.replace(tzinfo=UTC))


@pytest.mark.parametrize(
    "text",
    ["31.02.2024 06:00:00", "05.13.2024 06:00:00", "05.03.2024 25:00:00", "05.03.2024 06:61:00", "6:00", "7"],
)
def test_no_such_instant(text: str) -> None:
    assert parse_text(pa.array([text]), "dmy")[1][0] == NO_STAMP


@pytest.mark.parametrize("count", [0, 86_399, -2_209_161_600])
def test_epochs_that_mean_never(count: int) -> None:
    reader = StampReader(Clock((0,), "epoch", tick_us=1e6, zone="UTC"), None)
    assert reader.read([pa.array([count, 1_700_000_000])])[1].tolist() == [NEVER, GOOD]


def test_serial_days() -> None:
    reader = StampReader(Clock((0,), "serial"), OSLO)  # 45356.25 is 2024-03-05 06:00 in spreadsheets
    days = [45356.25, 45356.250058, 45356.25000521]  # the third is 0.45 s past six
    after_six = reader.read([pa.array(days)])[0] - us(datetime(2024, 3, 5, 6, tzinfo=OSLO))
    assert after_six.tolist() == [0, 5_000_000, 450_000]


def found(*columns: tuple[str, list[str]], name: str = "log.csv") -> tuple[str, str]:
    """(order or kind, question) of the clock in columns of (header, texts)."""
    clock = find_clock([StampSample(k, parse_header(h), t) for k, (h, t) in enumerate(columns)], name)
    kind = (
        "" if clock.clock is None else clock.clock.order if clock.clock.kind == "text" else clock.clock.kind
    )
    return kind, clock.question


def test_orders_are_decided_or_asked() -> None:
    assert found(("Time", ["05/03/2024 06:00", "13/03/2024 06:00"])) == ("dmy", "")
    assert found(("Time", ["05/03/2024 06:00", "05/13/2024 06:00"])) == ("mdy", "")
    assert found(("Time", ["05.03.2024 06:00"])) == ("dmy", "")
    assert found(("Time", ["25/07/17 06:00"]), name="log_2025-07-17.csv") == ("ymd", "")
    assert found(("Date YY/MM/DD", ["25/07/17"]), ("Clock time", ["06:00:00"])) == ("ymd", "")
    assert "year first or day first" in found(("Time", ["25/07/17 06:00"]))[1]
    assert "day first or month first" in found(("Time", ["05/03/2024 06:00"]))[1]


def test_numbers_are_no_stamps_unless_they_rise_as_one() -> None:
    assert found(("Counter", ["1", "2", "3"])) == ("", "")
    assert found(("Pressure", ["20240305", "20240305"])) == ("", "")
    assert found(("ts", ["1709618400", "1709618401"])) == ("epoch", "")
    assert found(("Time", ["60000", "60005"])) == ("serial", "")
    hours = ("Operating time", ["45000", "45001"])
    assert found(("Date", ["05.03.2024"]), ("Time", ["06:00:00"]), hours) == ("dmy", "")
    assert found(("timestamp", ["1709618400000", "0", "1709618401000", "1709618402000"])) == ("epoch", "")
