"""Reading samples across the chunks of a drive."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from tbmreview.domain.samples import Samples, join
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
