"""Derived tables: one mapped Arrow file each under derived/, swapped by rename, disposable.

Whatever is wrong with such a file, it is as if it were not there: it can be computed again.
"""

import os
from collections.abc import Mapping
from pathlib import Path

import pyarrow as pa

from tbmreview.domain.table import Table
from tbmreview.store import disk
from tbmreview.store.arrays import to_arrow, to_numpy
from tbmreview.store.layout import Layout


def write_derived(folder: Path, name: str, table: Table, meta: Mapping[str, str]) -> None:
    """Put a table in the place of the one of that name. Text columns hold str only."""
    target = Layout(folder).derived_file(name)
    arrays = [to_arrow(values) for values in table.columns.values()]
    schema = pa.schema(
        [pa.field(n, a.type) for n, a in zip(table, arrays, strict=True)],
        dict(meta.items()),
    )
    disk.make_folder(target.parent)
    passing = target.with_name(f".{name}.{os.getpid()}.passing")
    disk.remove(passing)
    with disk.new_file(passing) as file, pa.ipc.new_file(file, schema) as writer:
        writer.write_batch(pa.record_batch(arrays, schema=schema))
    disk.rename(passing, target)


def read_derived(folder: Path, name: str) -> tuple[Table, dict[str, str]] | None:
    """(table, meta) as they were written, number columns mapped from the file; None if there is no
    such file or it is damaged."""
    try:
        reader = pa.ipc.open_file(pa.memory_map(str(Layout(folder).derived_file(name))))
        batch = reader.get_batch(0)
        columns = {n: to_numpy(a) for n, a in zip(batch.schema.names, batch.columns, strict=True)}
        meta = batch.schema.metadata or {}
        return Table(columns), {key.decode(): value.decode() for key, value in meta.items()}
    except (OSError, pa.ArrowException, UnicodeDecodeError):
        return None
