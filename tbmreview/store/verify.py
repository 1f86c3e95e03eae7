"""Whether what lies on the disk is what the catalogue says."""

import hashlib
import sqlite3
from pathlib import Path

import numpy as np

from tbmreview.domain.errors import DriveError
from tbmreview.store.aside import places
from tbmreview.store.catalogue import Chunk
from tbmreview.store.chunks import HOUR_US, HOURS_A_DAY, ChunkReader, ContentHash
from tbmreview.store.layout import Layout
from tbmreview.store.writing import sweepable


def catalogue_problems(db: sqlite3.Connection) -> list[str]:
    """What SQLite finds wrong in the catalogue's own structure."""
    found = [text for (text,) in db.execute("PRAGMA integrity_check(10)")]
    return [] if found == ["ok"] else [f"catalogue.sqlite: {text}" for text in found]


def chunk_problems(folder: Path, chunk: Chunk) -> list[str]:
    """What is wrong with a chunk, each a line that names the file."""
    path = folder / chunk.path
    if not path.is_file():
        return [f"{chunk.path}: the file is missing"]
    with path.open("rb") as file:
        if hashlib.file_digest(file, "sha256").hexdigest() != chunk.file_sha256:
            return [f"{chunk.path}: the file is not the one that was written (its SHA-256 differs)"]
    try:
        return _content_problems(path, chunk)
    except DriveError as error:
        return [str(error)]


def _content_problems(path: Path, chunk: Chunk) -> list[str]:
    problems: list[str] = []
    content, rows, last_us = ContentHash(), 0, chunk.utc_day * HOURS_A_DAY * HOUR_US - 1
    first_us = last_us
    with ChunkReader(path) as reader:
        aside = reader.set_aside
        missing = dict.fromkeys(aside, 0)
        for hour in reader.row_groups():
            for key, some in aside.items():
                at, _ = places(hour.time_us, some.time_us)
                missing[key] += int(np.isnan(hour.get(key[1])[at]).sum())
            if np.any(np.diff(hour.time_us, prepend=last_us) <= 0):
                problems.append(f"{chunk.path}: its stamps do not rise, or are not of its day")
            content.add(hour)
            first_us = int(hour.time_us[0]) if not rows else first_us
            rows, last_us = rows + len(hour), int(hour.time_us[-1])
    if last_us >= (chunk.utc_day + 1) * HOURS_A_DAY * HOUR_US:
        problems.append(f"{chunk.path}: it has stamps of a later day")
    if (rows, first_us, last_us) != (chunk.rows, chunk.first_us, chunk.last_us):
        problems.append(f"{chunk.path}: {rows} rows, the catalogue says {chunk.rows}, or its span differs")
    problems += [
        f"{chunk.path}: what a rule set aside of {channel} is not missing among its rows ({rule})"
        for (rule, channel), some in aside.items()
        if missing[rule, channel] != len(some)
    ]
    if content.hexdigest() != chunk.content_hash:
        problems.append(f"{chunk.path}: its content is not what was imported (content hash differs)")
    return problems


def file_problems(folder: Path, chunks: tuple[Chunk, ...], replaced: set[str]) -> tuple[list[str], list[str]]:
    """(files under samples/ that are none of the drive's, what a stopped writer has left over).

    replaced: paths of chunks that stay until the next write, for those who opened the drive before.
    """
    named = {chunk.path for chunk in chunks}
    leftovers = sweepable(folder, named | replaced)
    known = {folder / path for path in named | replaced} | set(leftovers)
    strangers = [p for p in Layout(folder).samples.rglob("*") if p.is_file() and p not in known]
    return (
        [f"{p.relative_to(folder).as_posix()}: no file of the drive" for p in sorted(strangers)],
        [f"{p.relative_to(folder).as_posix()}: left over, goes with the next write" for p in leftovers],
    )
