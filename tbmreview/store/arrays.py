"""Numpy's arrays to Arrow's and back, numbers over the same memory.

The library's own ways between them import pandas, a third of a second of every command.
"""

from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

# Kinds that lie in memory in the same way on both sides.
_PLAIN: dict[Any, type] = {
    pa.float64(): np.float64,
    pa.float32(): np.float32,
    pa.int64(): np.int64,
    pa.int16(): np.int16,
    pa.int8(): np.int8,
}


def to_arrow(values: NDArray[Any], missing: NDArray[np.bool_] | None = None) -> "pa.Array[Any]":
    """An array of numbers, truths or (dtype object) texts, (n,), as it is; null where `missing`."""
    there = None if missing is None else _buffer(_packed(~missing))
    if values.dtype == object:
        texts = [text.encode() for text in values.tolist()]
        ends = np.cumsum([0, *map(len, texts)]).astype(np.int32)
        return pa.Array.from_buffers(
            pa.string(), len(values), [there, _buffer(ends), _buffer(b"".join(texts))]
        )
    numbers = _packed(values) if values.dtype == bool else np.ascontiguousarray(values)
    kind = pa.from_numpy_dtype(values.dtype)
    return pa.Array.from_buffers(kind, len(values), [there, _buffer(numbers)])


def to_numpy(array: "pa.Array[Any]") -> NDArray[Any]:
    """(n,) numbers, truths or texts of an array, numbers perhaps as a view, not to be written to.

    Missing numbers are NaN.
    """
    if pa.types.is_string(array.type):
        return np.array(array.to_pylist(), dtype=object)
    buffers: Any = array.buffers()
    if pa.types.is_boolean(array.type) and not array.null_count:
        return _unpacked(buffers[1], array)
    kind = _PLAIN.get(array.type)
    if kind is None or not len(array):
        return array.to_numpy(zero_copy_only=False)
    values: NDArray[Any] = np.frombuffer(buffers[1], kind, len(array), array.offset * np.dtype(kind).itemsize)
    return np.where(_unpacked(buffers[0], array), values, np.nan) if array.null_count else values


def _buffer(data: Any) -> pa.Buffer:
    return pa.py_buffer(data)


def _packed(truths: NDArray[np.bool_]) -> NDArray[np.uint8]:
    return np.packbits(truths, bitorder="little")


def _unpacked(bits: Any, array: "pa.Array[Any]") -> NDArray[np.bool_]:
    if not len(array):
        return np.empty(0, bool)
    end = array.offset + len(array)
    flags = np.unpackbits(np.frombuffer(bits, np.uint8), count=end, bitorder="little")
    return flags[array.offset :].astype(bool)
