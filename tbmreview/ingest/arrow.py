"""Arrow's arrays for the type checker.

pyarrow-stubs 20 asks for the element type of each array and refuses compute functions on arrays of
unknown type, which a reader of foreign files has by nature; so these names carry no element type.
"""

from typing import Any, TypeAlias

import numpy as np
import pyarrow.compute
import pyarrow.csv
import pyarrow.feather
from numpy.typing import NDArray

ArrowArray: TypeAlias = "pyarrow.Array[Any]"
ArrowColumn: TypeAlias = "pyarrow.ChunkedArray[Any]"
ArrowField: TypeAlias = "pyarrow.Field[Any]"
compute: Any = pyarrow.compute
text_reader: Any = pyarrow.csv
feather: Any = pyarrow.feather


def one_array(column: ArrowColumn) -> ArrowArray:
    """A column as one array."""
    whole = column.combine_chunks()
    return pyarrow.concat_arrays(whole.chunks) if isinstance(whole, pyarrow.ChunkedArray) else whole


def floats(array: ArrowArray) -> NDArray[np.float64]:
    """(n,) numbers of an array of any numeric type, NaN where there is none; perhaps a view, not to be
    written to."""
    array = compute.cast(array, pyarrow.float64(), safe=False)
    values = _numbers(array, np.float64)
    return np.where(_there(array), values, np.nan) if array.null_count else values


def whole_numbers(array: ArrowArray) -> NDArray[np.int64]:
    """(n,) counts of an array of integers or stamps, 0 where there is none."""
    array = compute.cast(array, pyarrow.int64())
    values = _numbers(array, np.int64)
    return np.where(_there(array), values, 0) if array.null_count else values


def flags(array: ArrowArray) -> NDArray[np.bool_]:
    """(n,) an array of booleans; False where there is none."""
    values = _bits(array.buffers()[1], array)
    return values & _there(array) if array.null_count else values


# The library's own ways to numpy, and any scalar, import pandas: a third of a second of every command.
def _numbers(array: ArrowArray, kind: Any) -> Any:
    numbers: Any = array.buffers()[1]
    offset = array.offset * np.dtype(kind).itemsize
    return np.frombuffer(numbers, kind, len(array), offset) if len(array) else np.empty(0, kind)


def _there(array: ArrowArray) -> NDArray[np.bool_]:
    return _bits(array.buffers()[0], array)


def _bits(buffer: Any, array: ArrowArray) -> NDArray[np.bool_]:
    if not len(array):
        return np.empty(0, bool)
    end = array.offset + len(array)
    bits = np.unpackbits(np.frombuffer(buffer, np.uint8), count=end, bitorder="little")
    return bits[array.offset :].astype(bool)
