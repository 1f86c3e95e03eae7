"""Parquet and Feather logs in blocks of rows."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from tbmreview.domain.errors import LogError
from tbmreview.ingest.arrow import ArrowArray, feather, flags, floats
from tbmreview.ingest.arrow import compute as pc
from tbmreview.ingest.raw import RawBlock
from tbmreview.ingest.source import PARQUET, Source

BLOCK_VALUES = 4_000_000
_NUMBER = r"^\s*[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?\s*$"


@dataclass(frozen=True, slots=True)
class TypedPlan:
    """Which columns are wanted, by index in the file's schema."""

    stamps: tuple[int, ...]
    numbers: tuple[int, ...]


@contextmanager
def opened(source: Source) -> Iterator[tuple[pa.Schema, int, Iterator[pa.RecordBatch]]]:
    """(schema, rows, batches) of a file; LogError where it is damaged."""
    try:
        with source.open() as stream:
            if source.kind == PARQUET:
                file = pq.ParquetFile(stream)
                schema = file.schema_arrow
                size = max(1024, BLOCK_VALUES // max(1, len(schema)))
                yield schema, file.metadata.num_rows, _guarded(file.iter_batches(batch_size=size), source)
            else:
                table = _feather(source)
                size = max(1024, BLOCK_VALUES // max(1, table.num_columns))
                yield (
                    table.schema,
                    table.num_rows,
                    _guarded(iter(table.to_batches(max_chunksize=size)), source),
                )
    except (pa.ArrowException, OSError) as error:
        raise LogError(f"{source.path}: cannot be read as {source.kind} ({_line(error)})") from error


def _feather(source: Source) -> pa.Table:
    """The table behind a Feather file; mapped into memory, so it costs nothing until it is read."""
    if source.member:
        with source.open() as stream:
            table: pa.Table = feather.read_table(pa.BufferReader(stream.read()))
    else:
        table = feather.read_table(str(source.path), memory_map=True)
    return table


def _guarded(batches: Iterator[pa.RecordBatch], source: Source) -> Iterator[pa.RecordBatch]:
    try:
        yield from batches
    except (pa.ArrowException, OSError) as error:
        raise LogError(f"{source.path}: is damaged as {source.kind} ({_line(error)})") from error


def _line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0]


def is_numeric(kind: pa.DataType) -> bool:
    """A type whose values are numbers (booleans are 0 and 1)."""
    return bool(
        pa.types.is_integer(kind)
        or pa.types.is_floating(kind)
        or pa.types.is_decimal(kind)
        or pa.types.is_boolean(kind)
    )


def is_text(kind: pa.DataType) -> bool:
    """A type that holds text, plain or by dictionary."""
    inner = kind.value_type if pa.types.is_dictionary(kind) else kind
    return bool(pa.types.is_string(inner) or pa.types.is_large_string(inner))


def batch_block(batch: pa.RecordBatch, first_row: int, plan: TypedPlan) -> RawBlock:
    """One batch as a block; rows are numbered from 1."""
    lines = np.arange(first_row, first_row + batch.num_rows, dtype=np.int64)
    bad: dict[int, tuple[int, int]] = {}
    numbers = {k: _floats(batch.column(k), k, lines, bad) for k in plan.numbers}
    stamps = tuple(_stamps(batch.column(k)) for k in plan.stamps)

    def row_text(i: int) -> str:
        return ";".join("" if v is None else str(v) for v in (c[i].as_py() for c in batch.columns))[:2000]

    return RawBlock(lines, stamps, numbers, (), bad, row_text)


def _stamps(array: ArrowArray) -> ArrowArray:
    array = _plain(array)
    return array.cast(pa.string()) if pa.types.is_large_string(array.type) else array


def _plain(array: Any) -> Any:
    """Without its dictionary."""
    return array.dictionary_decode() if pa.types.is_dictionary(array.type) else array


def _floats(
    array: ArrowArray, k: int, lines: NDArray[np.int64], bad: dict[int, tuple[int, int]]
) -> NDArray[np.float64]:
    array = _plain(array)
    if is_text(array.type):
        text = pc.replace_substring(array.cast(pa.string()), ",", ".")
        good = pc.fill_null(pc.match_substring_regex(text, _NUMBER), False)
        filled = pc.fill_null(pc.not_equal(pc.utf8_trim_whitespace(text), ""), False)
        strange = np.flatnonzero(flags(pc.and_not(filled, good)))
        if len(strange):
            bad[k] = (len(strange), int(lines[strange[0]]))
        array = pc.utf8_trim_whitespace(pc.if_else(good, text, None))
    return floats(array)
