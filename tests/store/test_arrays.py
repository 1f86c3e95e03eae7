"""Numbers go to Arrow and back over the same memory."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tbmreview.store.arrays import to_arrow, to_numpy
from tests.support.small_drive import new_drive, small_log

numbers = st.lists(st.none() | st.floats(allow_nan=False), max_size=40)


@settings(deadline=None)
@given(numbers, st.integers(0, 40), st.integers(0, 40))
def test_missing_numbers_are_null_and_come_back_as_nan(
    given_: list[float | None], start: int, n: int
) -> None:
    values = np.array([np.nan if v is None else v for v in given_])
    array = to_arrow(values, np.isnan(values))
    array.validate(full=True)
    assert array.to_pylist() == given_
    np.testing.assert_array_equal(to_numpy(array.slice(start, n)), values[start : start + n])


@pytest.mark.parametrize("kind", ["f8", "i8", "i1", "i4", "?", "O"])
def test_every_kind_keeps_its_type(kind: str) -> None:
    values = np.array(["0", "1", "ü1", "0", "1"] if kind == "O" else [0, 1, 1, 0, 1]).astype(kind)[::2]
    array = to_arrow(values)
    assert array.equals(pa.array(values))
    assert to_numpy(array).dtype == values.dtype
    np.testing.assert_array_equal(to_numpy(array), values)


def test_adding_a_log_and_reading_it_does_without_pandas(tmp_path: Path) -> None:
    folder, log = new_drive(tmp_path / "east").folder, small_log(tmp_path / "a.csv")
    code = (
        "import sys; from tbmreview.drive.add import add; from tbmreview.drive.opened import open_drive\n"
        f"add({str(folder)!r}, [{str(log)!r}]); assert len(open_drive({str(folder)!r}).samples(0, 2**62)) == 180\n"
        "assert 'pandas' not in sys.modules"
    )
    root = Path(__file__).parents[2]
    subprocess.run([sys.executable, "-c", code], check=True, env={**os.environ, "PYTHONPATH": str(root)})
