"""Arrow's arrays for the type checker.

pyarrow-stubs 20 asks for the element type of each array and refuses compute functions on arrays of
unknown type, which a reader of foreign files has by nature; so these names carry no element type.
"""

from typing import Any, TypeAlias

import pyarrow.compute
import pyarrow.csv
import pyarrow.feather

ArrowArray: TypeAlias = "pyarrow.Array[Any]"
ArrowColumn: TypeAlias = "pyarrow.ChunkedArray[Any]"
ArrowField: TypeAlias = "pyarrow.Field[Any]"
compute: Any = pyarrow.compute
text_reader: Any = pyarrow.csv
feather: Any = pyarrow.feather
