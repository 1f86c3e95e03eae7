"""Arrow's arrays and numpy's over the same memory.

The library's own ways between them import pandas, a third of a second of every command.
"""

from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

# Kinds that lie in memory in the same way on both sides; others go by the library's way.
_PLAIN: dict[Any, type] = {pa.float64(): np.float64, pa.int64(): np.int64, pa.int8(): np.int8}


def to_arrow(values: NDArray[Any], missing: NDArray[np.bool_] | None = None) -> "pa.Array[Any]":
    """An array of numbers, (n,), as it is; null where `missing`."""
    if values.dtype.type not in _PLAIN.values():
        found: pa.Array[Any] = pa.array(values)
        return found
    numbers: Any = np.ascontiguousarray(values)
    there: Any = None if missing is None else np.packbits(~missing, bitorder="little")
    buffers = [None if there is None else pa.py_buffer(there), pa.py_buffer(numbers)]
    return pa.Array.from_buffers(pa.from_numpy_dtype(values.dtype), len(values), buffers)


def to_numpy(array: "pa.Array[Any]") -> NDArray[Any]:
    """(n,) numbers of an array, perhaps a view, not to be written to. Missing numbers are NaN."""
    kind = _PLAIN.get(array.type)
    if kind is None or not len(array):
        return array.to_numpy(zero_copy_only=False)
    buffers: Any = array.buffers()
    values: NDArray[Any] = np.frombuffer(buffers[1], kind, len(array), array.offset * np.dtype(kind).itemsize)
    if not array.null_count:
        return values
    end = array.offset + len(array)
    there = np.unpackbits(np.frombuffer(buffers[0], np.uint8), count=end, bitorder="little")[array.offset :]
    return np.where(there, values, np.nan)
