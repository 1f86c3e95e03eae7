"""What an import has read, until it is merged: blocks in memory up to a limit, then in files.

Memory does not grow with the size of the logs: a full buffer is written to the incoming folder as
uncompressed Arrow and read back as maps of a few files at a time. Blocks are put by one thread; afterwards any number may read.
"""

from collections import OrderedDict, defaultdict
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tbmreview.domain.samples import Samples
from tbmreview.store import disk
from tbmreview.store.arrays import to_arrow, to_numpy
from tbmreview.store.chunks import HOURS_A_DAY, hours_of

BUFFER_BYTES = 32 << 20
OPEN_FILES = 4


@dataclass(frozen=True, slots=True)
class Part:
    """Rows of an origin: their samples, sorted by time, and (n,) the lines where they are written."""

    origin: int
    samples: Samples
    lines: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.samples)

    def rows(self, first: int, last: int) -> "Part":
        """Rows first <= i < last, as views."""
        return Part(self.origin, self.samples.rows(first, last), self.lines[first:last])


@dataclass(frozen=True, slots=True)
class _Piece:
    """Rows of one block that lie in one hour."""

    block: int
    first: int
    last: int


class Spool:
    """Blocks of samples by origin, given back hour by hour.

    Within an origin and a stamp, rows come back in the order in which they were put.
    """

    def __init__(self, folder: Path, buffer_bytes: int = BUFFER_BYTES) -> None:
        self._folder = folder
        self._limit = buffer_bytes
        self._held: dict[int, Part] = {}
        self._held_bytes = 0
        self._place: dict[int, tuple[int, Path, int]] = {}
        self._pieces: dict[int, list[_Piece]] = defaultdict(list)
        self._channels: dict[int, set[str]] = defaultdict(set)
        self._maps: OrderedDict[Path, pa.ipc.RecordBatchFileReader] = OrderedDict()
        self._mapping = Lock()

    def put(self, part: Part) -> None:
        """Keep a block; its stamps may be in any order."""
        if not len(part):
            return
        block, number = _sorted(part), len(self._held) + len(self._place)
        values = block.samples.values
        for hour, first, last in hours_of(block.samples.time_us):
            self._pieces[hour].append(_Piece(number, first, last))
            self._channels[hour // HOURS_A_DAY].update(values)
        self._held[number] = block
        self._held_bytes += 2 * block.lines.nbytes + sum(v.nbytes for v in values.values())
        if self._held_bytes > self._limit:
            self._write_held()

    def days(self) -> list[int]:
        """UTC days with samples, rising."""
        return sorted(self._channels)

    def channels(self, utc_day: int) -> set[str]:
        """Channels of any block with rows in the day."""
        return self._channels.get(utc_day, set())

    def hours(self, utc_day: int) -> list[int]:
        """Hours since 1970 of the day that have samples, rising."""
        first = utc_day * HOURS_A_DAY
        return [hour for hour in range(first, first + HOURS_A_DAY) if hour in self._pieces]

    def parts(self, hour: int, hours: int = 1) -> list[Part]:
        """The rows of so many hours from one on, in the order in which they were put."""
        found: dict[int, _Piece] = {}
        for some in range(hour, hour + hours):
            for piece in self._pieces.get(some, ()):
                before = found.get(piece.block, piece)  # the block is sorted: its hours lie side by side
                found[piece.block] = _Piece(piece.block, before.first, piece.last)
        pieces = (found[number] for number in sorted(found))
        return [self._block(p.block).rows(p.first, p.last) for p in pieces]

    def close(self) -> None:
        """Let go of blocks and maps; the files are for the sweep."""
        self._maps.clear()
        self._held.clear()

    def _block(self, number: int) -> Part:
        if number in self._held:
            return self._held[number]
        origin, path, batch_number = self._place[number]
        with self._mapping:
            if path not in self._maps:
                self._maps[path] = pa.ipc.open_file(pa.memory_map(str(path)))
            self._maps.move_to_end(path)
            while len(self._maps) > OPEN_FILES:
                self._maps.popitem(last=False)
            batch = self._maps[path].get_batch(batch_number)
        time_us, lines, *columns = map(to_numpy, batch.columns)
        return Part(origin, Samples(time_us, dict(zip(batch.schema.names[2:], columns, strict=True))), lines)

    def _write_held(self) -> None:
        """One file for each set of channels among the held blocks, a batch a block."""
        alike: dict[tuple[str, ...], list[int]] = defaultdict(list)
        for number, block in self._held.items():
            alike[tuple(block.samples.values)].append(number)
        disk.make_folder(self._folder)
        for names, numbers in alike.items():
            path = self._folder / f"{numbers[0]:08d}.arrow"
            kinds: dict[str, pa.DataType] = dict.fromkeys(names, pa.float64())
            schema = pa.schema({"time_us": pa.int64(), "line": pa.int64(), **kinds})
            with disk.new_file(path, durable=False) as file, pa.ipc.new_file(file, schema) as writer:
                for batch_number, number in enumerate(numbers):
                    block = self._held[number]
                    columns = (block.samples.time_us, block.lines, *block.samples.values.values())
                    writer.write_batch(pa.record_batch(list(map(to_arrow, columns)), schema=schema))
                    self._place[number] = (block.origin, path, batch_number)
        self._held.clear()
        self._held_bytes = 0


def _sorted(part: Part) -> Part:
    time_us = part.samples.time_us
    if np.all(time_us[1:] >= time_us[:-1]):
        return part
    order = np.argsort(time_us, kind="stable")
    values = {name: column[order] for name, column in part.samples.values.items()}
    return Part(part.origin, Samples(time_us[order], values), part.lines[order])
