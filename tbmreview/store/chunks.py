"""A UTC day of canonical samples as one immutable Parquet file, a row group an hour.

Columns: `time_utc` (timestamp in microseconds, UTC), then the channels by name, float64 in the
channel's canonical unit, null where not measured. Rows are sorted by time, no stamp twice.
"""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from tbmreview.domain.errors import DriveError
from tbmreview.domain.samples import Samples
from tbmreview.store import disk

TIME = "time_utc"
HOUR_US = 3_600_000_000
HOURS_A_DAY = 24
_TIME_TYPE = pa.timestamp("us", tz="UTC")


def hours_of(time_us: NDArray[np.int64]) -> list[tuple[int, int, int]]:
    """(hour since 1970, first row, last row + 1) of sorted stamps."""
    hour = np.floor_divide(time_us, HOUR_US)
    starts = np.flatnonzero(np.r_[True, hour[1:] != hour[:-1]]) if len(hour) else np.empty(0, np.int64)
    ends = np.r_[starts[1:], len(hour)]
    return list(zip(hour[starts].tolist(), starts.tolist(), ends.tolist(), strict=True))


class ContentHash:
    """SHA-256 of what a chunk says, whatever wrote it: hour by hour the stamps, then each channel
    with anything measured in that hour, by name."""

    def __init__(self) -> None:
        self._hash = hashlib.sha256()

    def add(self, hour: Samples) -> None:
        self._hash.update(len(hour).to_bytes(8, "little"))
        self._hash.update(np.ascontiguousarray(hour.time_us, "<i8").data)
        for name in sorted(hour.values):
            values = np.array(hour.values[name], "<f8") + 0.0  # -0.0 is 0.0
            missing = np.isnan(values)
            if not missing.all():
                values[missing] = np.nan  # one bit pattern
                self._hash.update(name.encode() + b"\0")
                self._hash.update(values.data)

    def hexdigest(self) -> str:
        return self._hash.hexdigest()


@dataclass(frozen=True, slots=True)
class Written:
    """What a finished chunk file holds."""

    rows: int
    first_us: int
    last_us: int
    channels: tuple[str, ...]
    content_hash: str


class ChunkWriter:
    """Writes a new chunk file hour by hour, in bounded memory; a context manager."""

    def __init__(self, path: Path, channels: Sequence[str]) -> None:
        self._channels = tuple(sorted(channels))
        self._schema = _schema(self._channels)
        self._file = disk.new_file(path)
        self._hash = ContentHash()
        self._rows = 0
        self._span: list[int] = []

    def __enter__(self) -> "ChunkWriter":
        self._writer = pq.ParquetWriter(
            self._file.__enter__(),
            self._schema,
            compression="zstd",
            use_dictionary=list(self._channels),  # type: ignore[arg-type]  # stubs know True and False only
            column_encoding={TIME: "DELTA_BINARY_PACKED"},
        )
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if kind is None:
                self._writer.close()
        except BaseException as failure:
            self._file.__exit__(type(failure), failure, failure.__traceback__)
            raise
        self._file.__exit__(kind, error, trace)

    def add(self, hour: Samples) -> None:
        """Append the samples of one hour, later than all before."""
        values = [pa.array(hour.get(name), from_pandas=True) for name in self._channels]
        columns: list[pa.Array[Any]] = [pa.array(hour.time_us).cast(_TIME_TYPE), *values]
        self._writer.write_table(pa.table(columns, schema=self._schema), row_group_size=max(len(hour), 1))
        self._hash.add(hour)
        self._rows += len(hour)
        self._span = [*self._span[:1], int(hour.time_us[0]), int(hour.time_us[-1])]

    def written(self) -> Written:
        return Written(self._rows, self._span[0], self._span[-1], self._channels, self._hash.hexdigest())


def read_hours(path: Path, channels: Sequence[str] | None = None) -> Iterator[Samples]:
    """The row groups of a chunk in order. DriveError if the file is gone or damaged."""
    with _opened(path) as file:
        for group in range(file.num_row_groups):
            yield _samples(file, [group], channels)


def read_chunk(path: Path, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
    """The chunk's samples with start_us <= time < end_us; only the hours that overlap are read.

    A channel that the chunk does not have is absent. DriveError if the file is gone or damaged.
    """
    with _opened(path) as file:
        groups = [g for g in range(file.num_row_groups) if _overlaps(file, g, start_us, end_us)]
        return _samples(file, groups, channels).between(start_us, end_us)


class _opened:
    """A chunk file open for reading; what is wrong with it is told as a DriveError."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def __enter__(self) -> pq.ParquetFile:
        try:
            self._file = pq.ParquetFile(self._path, memory_map=False)
        except FileNotFoundError as error:
            raise DriveError(
                f"{self._path}: this chunk is gone; open the drive again if another program has just "
                "added to it, else run: tbmreview check"
            ) from error
        except (OSError, pa.ArrowException) as error:
            raise self._damaged(error) from error
        return self._file

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._file.close()
        if isinstance(error, OSError | pa.ArrowException | KeyError):
            raise self._damaged(error) from error

    def _damaged(self, error: Exception) -> DriveError:
        return DriveError(f"{self._path}: this chunk cannot be read ({error}); run: tbmreview check")


def _schema(channels: Sequence[str]) -> pa.Schema:
    fields: list[pa.Field[Any]] = [pa.field(name, pa.float64()) for name in channels]
    return pa.schema([pa.field(TIME, _TIME_TYPE), *fields])


def _overlaps(file: pq.ParquetFile, group: int, start_us: int, end_us: int) -> bool:
    statistics = file.metadata.row_group(group).column(0).statistics
    if statistics is None or not statistics.has_min_max:
        return True
    low, high = statistics.min_raw, statistics.max_raw
    return low is None or high is None or (low < end_us and high >= start_us)


def _samples(file: pq.ParquetFile, groups: list[int], channels: Sequence[str] | None) -> Samples:
    there = file.schema_arrow.names
    names = [n for n in there if n != TIME and (channels is None or n in channels)]
    table = file.read_row_groups(groups, columns=[TIME, *names])
    time_us = table[TIME].cast(pa.int64()).to_numpy()
    return Samples(time_us, {name: table[name].to_numpy() for name in names})
