"""A UTC day of canonical samples as one immutable Parquet file, a row group for some whole hours.

Columns: `time_utc` (timestamp in microseconds, UTC), then the channels by name, float64 in the
channel's canonical unit, null where not measured. Rows are sorted by time, no stamp twice. The file's
metadata tells the print steps of the sources of each channel, the scales in which they write it, and what
rules set aside; they are no part of the content.
"""

import hashlib
import json
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from tbmreview.domain.errors import DriveError
from tbmreview.domain.samples import Samples
from tbmreview.store import aside, disk
from tbmreview.store.arrays import to_arrow, to_numpy
from tbmreview.store.aside import Aside, SetAside

TIME = "time_utc"
PRINT_STEPS, SCALES, SET_ASIDE = "print_steps", "scales", "set_aside"
HOUR_US = 3_600_000_000
HOURS_A_DAY = 24
GROUP_VALUES = 1 << 20  # of a row group at 1 Hz, about: larger ones are written faster, but held in memory
_TIME_TYPE = pa.timestamp("us", tz="UTC")


def hours_of(time_us: NDArray[np.int64], hours: int = 1) -> list[tuple[int, int, int]]:
    """(number since 1970, first row, last row + 1) of each stretch of so many hours that sorted stamps have."""
    width = hours * HOUR_US
    if not len(time_us):
        return []
    low, high = int(time_us[0]) // width, int(time_us[-1]) // width
    if high - low > len(time_us):
        there = np.unique(np.floor_divide(time_us, width))
    else:
        there = np.arange(low, high + 1)
    bounds = np.searchsorted(time_us, np.r_[there, there[-1] + 1] * width).tolist()
    spans = zip(there.tolist(), pairwise(bounds), strict=True)
    return [(number, first, last) for number, (first, last) in spans if first < last]


def group_hours(channels: int) -> int:
    """The hours of a row group, of which a day has a whole number."""
    return next((hours for hours in (6, 4, 3, 2) if hours * 3600 * channels <= GROUP_VALUES), 1)


class ContentHash:
    """SHA-256 of what a chunk says, whatever wrote it: hour by hour the stamps, then each channel
    with anything measured in that hour, by name."""

    def __init__(self) -> None:
        self._hash = hashlib.sha256()

    def add(self, samples: Samples) -> None:
        """Samples of whole hours, later than all before."""
        for _, first, last in hours_of(samples.time_us):
            self._add_hour(samples.rows(first, last))

    def _add_hour(self, hour: Samples) -> None:
        self._hash.update(len(hour).to_bytes(8, "little"))
        self._hash.update(np.ascontiguousarray(hour.time_us, "<i8").data)
        for name in sorted(hour.values):
            values = np.asarray(hour.values[name], "<f8") + 0.0  # -0.0 is 0.0; a copy
            missing = np.isnan(values)
            if missing.any():
                values[missing] = np.nan  # one bit pattern
            if not missing.all():
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
    """Writes a new chunk file some hours at a time, in bounded memory; a context manager."""

    def __init__(self, path: Path, channels: Iterable[str]) -> None:
        self._channels = tuple(sorted(channels))
        self._schema = _schema(self._channels)
        self._file = disk.new_file(path)
        self._hash = ContentHash()
        self._rows = 0
        self._span: list[int] = []
        self._steps: dict[str, set[float]] = {}
        self._beside: dict[str, str] = {}

    def __enter__(self) -> "ChunkWriter":
        self._writer = pq.ParquetWriter(
            self._file.__enter__(),
            self._schema,
            compression="zstd",
            use_dictionary=False,  # a dictionary for so few rows costs more than it saves
            column_encoding=dict.fromkeys(self._channels, "BYTE_STREAM_SPLIT")
            | {TIME: "DELTA_BINARY_PACKED"},
            write_statistics=[TIME],
            write_page_checksum=True,
        )
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if kind is None:
                steps = {name: sorted(found) for name, found in sorted(self._steps.items()) if found != {0.0}}
                self._writer.add_key_value_metadata({PRINT_STEPS: json.dumps(steps), **self._beside})
                self._writer.close()
        except BaseException as failure:
            self._file.__exit__(type(failure), failure, failure.__traceback__)
            raise
        self._file.__exit__(kind, error, trace)

    def tell(self, scales: Mapping[str, Iterable[float]], set_aside: SetAside) -> None:
        """Note beside the content: channel -> canonical units in one as written, of each source; what is not
        among the samples although it was measured."""
        told = {name: sorted(found) for name, found in sorted(scales.items())}
        self._beside = {SCALES: json.dumps(told)} if told else {}
        if set_aside:
            self._beside[SET_ASIDE] = aside.to_text(set_aside)

    def add(self, samples: Samples, steps: Mapping[str, Iterable[float]]) -> None:
        """Append samples of whole hours, later than all before; steps: channel -> print steps of its sources."""
        for name, found in steps.items():
            self._steps.setdefault(name, set()).update(found)
        for _, first, last in hours_of(samples.time_us, group_hours(len(self._channels))):
            self._add_group(samples.rows(first, last))

    def _add_group(self, group: Samples) -> None:
        columns = [to_arrow(group.time_us).cast(_TIME_TYPE)]
        for name in self._channels:
            values = group.get(name)
            missing = np.isnan(values)
            columns.append(to_arrow(values, missing if missing.any() else None))
        self._writer.write_table(pa.table(columns, schema=self._schema), row_group_size=len(group))
        self._hash.add(group)
        self._rows += len(group)
        self._span = [*self._span[:1], int(group.time_us[0]), int(group.time_us[-1])]

    def written(self) -> Written:
        return Written(self._rows, self._span[0], self._span[-1], self._channels, self._hash.hexdigest())


class ChunkReader:
    """A chunk file open for reading; a context manager.

    DriveError where the file is gone or damaged.
    """

    def __init__(self, path: Path) -> None:
        self._path = path

    def __enter__(self) -> "ChunkReader":
        try:
            self._file = pq.ParquetFile(self._path, page_checksum_verification=True)
        except FileNotFoundError as error:
            raise DriveError(
                f"{self._path}: this chunk is gone; open the drive again if another program has just "
                "added to it, else run: tbmreview check"
            ) from error
        except (OSError, pa.ArrowException) as error:
            raise self._damaged(error) from error
        groups = [self._file.metadata.row_group(g) for g in range(self._file.num_row_groups)]
        self._spans = [_span(group.column(0).statistics) for group in groups]
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    @property
    def print_steps(self) -> dict[str, list[float]]:
        """Channel -> the print steps of the sources of its values, in its unit; a channel that is not
        listed was written in full."""
        found: dict[str, list[float]] = json.loads(self._told(PRINT_STEPS) or "{}")
        return found

    @property
    def scales(self) -> dict[str, list[float]]:
        """Channel -> canonical units in one of those that its sources write."""
        found: dict[str, list[float]] = json.loads(self._told(SCALES) or "{}")
        return found

    @property
    def set_aside(self) -> dict[tuple[str, str], Aside]:
        """(rule, channel) -> what was measured and is not among the samples."""
        try:
            return aside.from_text(self._told(SET_ASIDE) or "[]")
        except ValueError as error:
            raise self._damaged(error) from error

    def _told(self, key: str) -> str:
        return (self._file.metadata.metadata or {}).get(key.encode(), b"").decode()

    def read(self, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
        """Samples with start_us <= time < end_us; only the row groups that overlap are read.

        A channel that the chunk does not have is absent.
        """
        groups = [g for g, (low, high) in enumerate(self._spans) if low < end_us and high >= start_us]
        return self._samples(groups, channels).between(start_us, end_us)

    def day(self, channels: Collection[str]) -> Samples:
        """All samples of the named channels."""
        return self._samples(list(range(len(self._spans))), channels)

    def row_groups(self) -> Iterator[Samples]:
        """The row groups in order."""
        for group in range(len(self._spans)):
            yield self._samples([group], None)

    def _samples(self, groups: list[int], channels: Collection[str] | None) -> Samples:
        names = [
            n for n in self._file.schema_arrow.names if n != TIME and (channels is None or n in channels)
        ]
        try:
            table = self._file.read_row_groups(groups, columns=[TIME, *names])
            time_us = _whole(table[TIME].cast(pa.int64()))
            return Samples(time_us, {name: _whole(table[name]) for name in names})
        except (OSError, pa.ArrowException, KeyError, ValueError) as error:
            raise self._damaged(error) from error

    def _damaged(self, error: Exception) -> DriveError:
        return DriveError(f"{self._path}: this chunk cannot be read ({error}); run: tbmreview check")


def _span(statistics: pq.Statistics | None) -> tuple[int, int]:
    """First and last stamp of a row group; everything where its footer does not say."""
    low, high = (None, None) if statistics is None else (statistics.min_raw, statistics.max_raw)
    return (-(2**63), 2**63) if low is None or high is None else (low, high)


def _whole(column: "pa.ChunkedArray[Any]") -> NDArray[Any]:
    return np.concatenate([np.empty(0, column.type.to_pandas_dtype()), *map(to_numpy, column.chunks)])


def _schema(channels: Sequence[str]) -> pa.Schema:
    fields: list[pa.Field[Any]] = [pa.field(name, pa.float64()) for name in channels]
    return pa.schema([pa.field(TIME, _TIME_TYPE), *fields])
