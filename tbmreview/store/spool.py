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

from tbmreview.domain.samples import Samples
from tbmreview.store import disk
from tbmreview.store.arrays import to_arrow, to_numpy
from tbmreview.store.chunks import HOURS_A_DAY, hours_of

BUFFER_BYTES = 32 << 20
OPEN_FILES = 4


@dataclass(frozen=True, slots=True)
class _Piece:
    """Rows of one block that lie in one hour."""

    origin: int
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
        self._held: dict[int, Samples] = {}
        self._held_bytes = 0
        self._place: dict[int, tuple[Path, int]] = {}
        self._pieces: dict[int, list[_Piece]] = defaultdict(list)
        self._channels: dict[int, set[str]] = defaultdict(set)
        self._maps: OrderedDict[Path, pa.ipc.RecordBatchFileReader] = OrderedDict()
        self._mapping = Lock()

    def put(self, origin: int, samples: Samples) -> None:
        """Keep a block; its stamps may be in any order."""
        if not len(samples):
            return
        block, number = _sorted(samples), len(self._held) + len(self._place)
        for hour, first, last in hours_of(block.time_us):
            self._pieces[hour].append(_Piece(origin, number, first, last))
            self._channels[hour // HOURS_A_DAY].update(block.values)
        self._held[number] = block
        self._held_bytes += block.time_us.nbytes + sum(v.nbytes for v in block.values.values())
        if self._held_bytes > self._limit:
            self._write_held()

    def days(self) -> list[int]:
        """UTC days with samples, rising."""
        return sorted(self._channels)

    def channels(self, utc_day: int) -> set[str]:
        """Channels of any block with rows in the day."""
        return self._channels[utc_day]

    def hours(self, utc_day: int) -> list[int]:
        """Hours since 1970 of the day that have samples, rising."""
        first = utc_day * HOURS_A_DAY
        return [hour for hour in range(first, first + HOURS_A_DAY) if hour in self._pieces]

    def parts(self, hour: int, hours: int = 1) -> list[tuple[int, Samples]]:
        """(origin, samples) of so many hours from one on, in the order in which they were put."""
        found: dict[int, _Piece] = {}
        for some in range(hour, hour + hours):
            for piece in self._pieces.get(some, ()):
                before = found.get(piece.block, piece)  # the block is sorted: its hours lie side by side
                found[piece.block] = _Piece(piece.origin, piece.block, before.first, piece.last)
        pieces = (found[number] for number in sorted(found))
        return [(p.origin, self._block(p.block).rows(p.first, p.last)) for p in pieces]

    def close(self) -> None:
        """Let go of blocks and maps; the files are for the sweep."""
        self._maps.clear()
        self._held.clear()

    def _block(self, number: int) -> Samples:
        if number in self._held:
            return self._held[number]
        path, batch_number = self._place[number]
        with self._mapping:
            if path not in self._maps:
                self._maps[path] = pa.ipc.open_file(pa.memory_map(str(path)))
            self._maps.move_to_end(path)
            while len(self._maps) > OPEN_FILES:
                self._maps.popitem(last=False)
            batch = self._maps[path].get_batch(batch_number)
        time_us, *columns = map(to_numpy, batch.columns)
        return Samples(time_us, dict(zip(batch.schema.names[1:], columns, strict=True)))

    def _write_held(self) -> None:
        """One file for each set of channels among the held blocks, a batch a block."""
        alike: dict[tuple[str, ...], list[int]] = defaultdict(list)
        for number, block in self._held.items():
            alike[tuple(block.values)].append(number)
        disk.make_folder(self._folder)
        for names, numbers in alike.items():
            path = self._folder / f"{numbers[0]:08d}.arrow"
            kinds: dict[str, pa.DataType] = dict.fromkeys(names, pa.float64())
            schema = pa.schema({"time_us": pa.int64(), **kinds})
            with disk.new_file(path, durable=False) as file, pa.ipc.new_file(file, schema) as writer:
                for batch_number, number in enumerate(numbers):
                    block = self._held[number]
                    arrays = [to_arrow(block.time_us), *(to_arrow(block.values[name]) for name in names)]
                    writer.write_batch(pa.record_batch(arrays, schema=schema))
                    self._place[number] = (path, batch_number)
        self._held.clear()
        self._held_bytes = 0


def _sorted(samples: Samples) -> Samples:
    time_us = samples.time_us
    if np.all(time_us[1:] >= time_us[:-1]):
        return samples
    order = np.argsort(time_us, kind="stable")
    return Samples(time_us[order], {name: values[order] for name, values in samples.values.items()})
