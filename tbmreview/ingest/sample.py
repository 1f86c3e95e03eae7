"""A bounded sample of a log: rows from places spread over the file, enough to tell what columns are."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.errors import LogError
from tbmreview.ingest.arrow import ArrowField
from tbmreview.ingest.dialect import HEAD_BYTES, Dialect, is_missing, is_number, sniff
from tbmreview.ingest.find_clock import StampSample
from tbmreview.ingest.headers import Header, parse_header
from tbmreview.ingest.raw import RawBlock
from tbmreview.ingest.read_text import TextPlan, column_texts, parse_rows, sample_pieces
from tbmreview.ingest.read_typed import TypedPlan, batch_block, is_numeric, is_text, opened
from tbmreview.ingest.source import TEXT, Source
from tbmreview.ingest.stamp_text import looks_like_stamp

PIECES, PIECE_ROWS, TEXT_ROWS = 24, 900, 200
_MAX_BYTES = 1 << 24
_RECURS = 5  # times a word must stand among numbers to be one for *missing*
_NUMBERS_FROM = 0.2  # share of numbers from which a column is one of numbers with words for *missing*
NUMBER, WORDS, EMPTY = "number", "text", "empty"


@dataclass(frozen=True, slots=True)
class LogSample:
    """headers, kinds (NUMBER, WORDS, EMPTY), stamps: one a column.

    nulls: words that stand for *missing* in number columns. whole: the sample is the whole file.
    """

    source: Source
    dialect: Dialect | None
    headers: tuple[Header, ...]
    kinds: tuple[str, ...]
    stamps: tuple[StampSample, ...]
    nulls: tuple[str, ...]
    whole: bool
    notes: tuple[str, ...]


def take_sample(source: Source) -> LogSample:
    """Headers and the kinds of the columns; LogError where the file is no table."""
    return _text_sample(source) if source.kind == TEXT else _typed_sample(source)


def _text_sample(source: Source) -> LogSample:
    with source.open() as stream:
        head = stream.read(HEAD_BYTES)
    dialect = sniff(head, str(source.path))
    plan = TextPlan(dialect, (), ())
    rows: list[list[str]] = []
    size = piece_bytes(source, dialect, head)
    for _, data in sample_pieces(source, dialect, 3, size):
        rows += column_texts(data, plan, TEXT_ROWS)
    headers = tuple(parse_header(n, u) for n, u in zip(dialect.names, dialect.units, strict=True))
    texts = [[r[k].strip() for r in rows if not is_missing(r[k])] for k in range(dialect.width)]
    kinds = tuple(_kind(column) for column in texts)
    stamps = tuple(StampSample(k, headers[k], texts[k]) for k in range(dialect.width))
    nulls, whole = _null_words(texts, kinds), source.size <= PIECES * size
    return LogSample(source, dialect, headers, kinds, stamps, nulls, whole, dialect.notes)


def piece_bytes(source: Source, dialect: Dialect, head: bytes) -> int:
    """Size of a piece that holds PIECE_ROWS rows, even, bounded so that all pieces stay small."""
    lines = max(2, head.count(b"\n"))
    row = max(8, len(head) // lines)
    return min(row * PIECE_ROWS, _MAX_BYTES // PIECES) // 2 * 2


def _kind(texts: Sequence[str]) -> str:
    if not texts:
        return EMPTY
    numbers = sum(is_number(t) and not (looks_like_stamp(t) and not t.isdigit()) for t in texts)
    return NUMBER if numbers > _NUMBERS_FROM * len(texts) else WORDS


def _null_words(texts: Sequence[Sequence[str]], kinds: Sequence[str]) -> tuple[str, ...]:
    """Words that recur in number columns: further spellings of *missing*. A single one is a bad value."""
    words: Counter[str] = Counter()
    for column, kind in zip(texts, kinds, strict=True):
        if kind == NUMBER:
            words.update(t for t in column if not is_number(t) and len(t) <= 16)
    return tuple(word for word, count in words.most_common(20) if count >= _RECURS)


def _typed_sample(source: Source) -> LogSample:
    with opened(source) as (schema, rows, batches):
        if not rows or not len(schema):
            raise LogError(f"{source.path}: holds no rows; expected a table with a row for each instant")
        first = next(batches)
    headers = tuple(parse_header(f.name, _unit_of(f)) for f in schema)
    kinds, stamps = [], []
    for k, field in enumerate(schema):
        column = first.column(k).slice(0, TEXT_ROWS)
        texts = [str(v).strip() for v in column.to_pylist() if v is not None and not is_missing(str(v))]
        nested = not (is_numeric(field.type) or is_text(field.type))
        kinds.append(NUMBER if is_numeric(field.type) else WORDS if nested else _kind(texts))
        stamps.append(StampSample(k, headers[k], texts, field.type))
    return LogSample(source, None, headers, tuple(kinds), tuple(stamps), (), rows <= PIECE_ROWS, ())


def _unit_of(field: ArrowField) -> str:
    """A unit in the field's metadata, '' where there is none."""
    for key, value in (field.metadata or {}).items():
        if key.lower() in (b"unit", b"units", b"uom"):
            return str(value.decode("utf-8", "replace"))
    return ""


def sample_blocks(sample: LogSample, stamps: tuple[int, ...]) -> list[RawBlock]:
    """The sample's rows with all number columns, a block for each place in the file."""
    numbers = tuple(k for k, kind in enumerate(sample.kinds) if kind != WORDS and k not in stamps)
    if sample.dialect is None:
        return _typed_blocks(sample, TypedPlan(stamps, numbers))
    plan = TextPlan(sample.dialect, stamps, numbers, sample.nulls)
    with sample.source.open() as stream:
        size = piece_bytes(sample.source, sample.dialect, stream.read(HEAD_BYTES))
    return [
        parse_rows(data, 1, plan) for _, data in sample_pieces(sample.source, sample.dialect, PIECES, size)
    ]


def _typed_blocks(sample: LogSample, plan: TypedPlan) -> list[RawBlock]:
    with opened(sample.source) as (_, rows, batches):
        blocks: list[RawBlock] = []
        seen, every = 0, max(1, rows // (PIECES * PIECE_ROWS))
        for batch in batches:
            step = max(PIECE_ROWS, PIECE_ROWS * every)
            for at in range(0, batch.num_rows, step):
                blocks.append(batch_block(batch.slice(at, PIECE_ROWS), seen + at + 1, plan))
            seen += batch.num_rows
    return blocks


def joined(blocks: Sequence[RawBlock], k: int) -> NDArray[np.float64]:
    """A number column over all blocks of a sample, (n,)."""
    return np.concatenate([np.empty(0), *(block.numbers[k] for block in blocks)])
