"""Reading samples across the chunks of a drive, and what rules set aside of them."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pyarrow as pa

from tbmreview.domain.samples import Samples, join
from tbmreview.store.aside import Aside
from tbmreview.store.catalogue import Chunk
from tbmreview.store.chunks import ChunkReader


def read_samples(
    folder: Path,
    chunks: Sequence[Chunk],
    start_us: int,
    end_us: int,
    channels: Sequence[str] | None = None,
) -> Samples:
    """Samples with start_us <= time < end_us, of the named channels or all.

    chunks: in order of time. Only chunks and hours that overlap are read. NaN is not measured; a
    channel that no chunk read has is absent. DriveError if a chunk is gone or damaged.
    """
    wanted = [chunk for chunk in chunks if chunk.first_us < end_us and chunk.last_us >= start_us]
    parts = []
    for chunk in wanted:
        with ChunkReader(folder / chunk.path) as reader:
            parts.append(reader.read(start_us, end_us, channels))
    if len(parts) == 1:
        return parts[0]
    return join(parts) if parts else Samples(np.empty(0, np.int64), {})


def give_back() -> None:
    """Give back the memory that chunks were decoded in, 10 to 40 MB, which is else kept for the next one: for who reads
    many days in a row; the next reading takes a third longer."""
    pa.default_memory_pool().release_unused()


def read_set_aside(folder: Path, chunks: Sequence[Chunk]) -> list[tuple[str, str, Aside]]:
    """(rule, channel, values) of what was measured and is not among the samples, in the order of the chunks.

    DriveError if a chunk is gone or damaged.
    """
    found = []
    for chunk in chunks:
        with ChunkReader(folder / chunk.path) as reader:
            found += [(rule, channel, some) for (rule, channel), some in reader.set_aside.items()]
    return found
