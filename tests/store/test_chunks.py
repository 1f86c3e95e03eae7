"""A day in a file: reads back equal, is found by hour, says what it is by its content."""

from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from tbmreview.domain.errors import DriveError
from tbmreview.domain.samples import DAY_US, Samples
from tbmreview.drive.add import add
from tbmreview.store.chunks import (
    HOUR_US,
    TIME,
    ChunkReader,
    ChunkWriter,
    ContentHash,
    Written,
    group_hours,
    hours_of,
)
from tests.support.small_drive import all_samples, new_drive, small_log

DAY = 20_000 * DAY_US
values = st.floats(allow_nan=True, allow_infinity=True, width=64)


@st.composite
def days(draw: st.DrawFn) -> Samples:
    offsets = sorted(draw(st.sets(st.integers(0, DAY_US - 1), min_size=1, max_size=30)))
    names = draw(st.sets(st.sampled_from(["torque_kNm", "extra:Öl °C", "b", "time"]), min_size=1))
    columns = {name: draw(hnp.arrays(np.float64, len(offsets), elements=values)) for name in names}
    return Samples(np.array(offsets, np.int64) + DAY, columns)


def write(path: Path, samples: Samples) -> Written:
    path.unlink(missing_ok=True)
    with ChunkWriter(path, samples.values) as writer:
        writer.add(samples, {})
    return writer.written()


def read(path: Path, *bounds: int) -> Samples:
    with ChunkReader(path) as reader:
        return reader.read(*(bounds or (DAY, DAY + DAY_US)))


def same(a: Samples, b: Samples) -> bool:
    return (
        np.array_equal(a.time_us, b.time_us)
        and set(a.values) == set(b.values)
        and all(np.array_equal(a.values[name], b.values[name], equal_nan=True) for name in a.values)
    )


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=20, deadline=None)
@given(days())
def test_a_day_reads_back_equal(tmp_path: Path, samples: Samples) -> None:
    told = write(tmp_path / "day.parquet", samples)
    assert same(read(tmp_path / "day.parquet"), samples)
    assert (told.rows, told.first_us, told.last_us) == (len(samples), samples.time_us[0], samples.time_us[-1])


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=20, deadline=None)
@given(days(), st.integers(0, DAY_US), st.integers(0, DAY_US))
def test_an_interval_is_what_lies_between(tmp_path: Path, samples: Samples, start: int, end: int) -> None:
    write(tmp_path / "day.parquet", samples)
    assert same(
        read(tmp_path / "day.parquet", DAY + start, DAY + end),
        samples.between(DAY + start, DAY + max(start, end)),
    )


def test_any_reader_of_parquet_finds_row_groups_nulls_and_utc(tmp_path: Path) -> None:
    time_us = DAY + np.arange(0, 15 * HOUR_US, 600_000_000)
    torque = np.arange(len(time_us), dtype=float)
    torque[4] = np.nan
    write(tmp_path / "day.parquet", Samples(time_us, {"torque_kNm": torque}))
    file = pq.ParquetFile(tmp_path / "day.parquet")
    table = file.read()
    assert file.num_row_groups == 3  # of six hours
    assert str(table.schema.field(TIME).type) == "timestamp[us, tz=UTC]"
    assert table["torque_kNm"].null_count == 1
    assert table["torque_kNm"][4].as_py() is None
    assert file.metadata.row_group(0).column(1).compression == "ZSTD"


def test_only_row_groups_that_overlap_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    time_us = DAY + np.arange(0, DAY_US, 600_000_000)
    write(tmp_path / "day.parquet", Samples(time_us, {"a": np.zeros(len(time_us))}))
    asked: list[list[int]] = []
    whole = pq.ParquetFile.read_row_groups

    def watched(self: pq.ParquetFile, groups: list[int], **more: object) -> object:
        asked.append(groups)
        return whole(self, groups, **more)

    monkeypatch.setattr(pq.ParquetFile, "read_row_groups", watched)
    read(tmp_path / "day.parquet", DAY + 5 * HOUR_US, DAY + 7 * HOUR_US)
    assert asked == [[0, 1]]


def test_a_row_group_holds_fewer_hours_the_more_channels_there_are() -> None:
    hours = [group_hours(channels) for channels in range(2000)]
    assert (hours[24], hours[-1]) == (6, 1)
    assert hours == sorted(hours, reverse=True)
    assert all(24 % h == 0 for h in hours)


def test_the_hash_is_of_the_content_not_of_how_it_is_written() -> None:
    time_us = DAY + np.arange(4, dtype=np.int64)
    told = []
    for b, extra in (([0.0, 1, 2, np.nan], {}), ([-0.0, 1, 2, -np.nan], {"empty": np.full(4, np.nan)})):
        content = ContentHash()
        content.add(Samples(time_us, {**extra, "b": np.array(b), "a": np.ones(4)}))
        told.append(content.hexdigest())
    assert told[0] == told[1]


@pytest.mark.parametrize("change", ["value", "stamp", "name", "missing"])
def test_the_hash_changes_with_the_content(change: str) -> None:
    def digest(time_us: list[int], values: dict[str, list[float]]) -> str:
        content = ContentHash()
        content.add(Samples(np.array(time_us), {name: np.array(v) for name, v in values.items()}))
        return content.hexdigest()

    other = {
        "value": ([1, 2], {"a": [1.0, 2.5]}),
        "stamp": ([1, 3], {"a": [1.0, 2.0]}),
        "name": ([1, 2], {"b": [1.0, 2.0]}),
        "missing": ([1, 2], {"a": [1.0, np.nan]}),
    }
    assert digest(*other[change]) != digest([1, 2], {"a": [1.0, 2.0]})


@pytest.mark.parametrize("left", [0, 100, -10])
def test_a_damaged_file_is_told(tmp_path: Path, left: int) -> None:
    write(tmp_path / "day.parquet", Samples(np.array([DAY]), {"a": np.array([1.0])}))
    (tmp_path / "day.parquet").write_bytes((tmp_path / "day.parquet").read_bytes()[:left])
    with pytest.raises(DriveError, match=r"day\.parquet.*tbmreview check"):
        read(tmp_path / "day.parquet")


def test_a_file_that_is_gone_is_told(tmp_path: Path) -> None:
    with pytest.raises(DriveError, match="gone"):
        read(tmp_path / "day.parquet")


def test_hours_of_nothing() -> None:
    assert hours_of(np.empty(0, np.int64)) == []


def test_a_flipped_byte_is_seen_by_whoever_reads_it(tmp_path: Path) -> None:

    folder = tmp_path / "drive"
    new_drive(folder)
    add(folder, [small_log(tmp_path / "log.csv", range(3000))])
    (chunk,) = (folder / "samples").rglob("*.parquet")
    content = bytearray(chunk.read_bytes())
    for place in range(200, len(content) // 2, 997):  # within the pages, before the footer
        flipped = bytearray(content)
        flipped[place] ^= 0xFF
        chunk.write_bytes(flipped)
        with pytest.raises(DriveError, match="tbmreview check"):
            all_samples(folder)
