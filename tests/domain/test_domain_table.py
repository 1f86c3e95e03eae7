"""Rows of a table, by mask, number and slice."""

import numpy as np
import pytest

from tbmreview.domain.table import Table

SECONDS = np.array([1.0, 2.0, 3.0])
TABLE = Table({"boring_s": SECONDS, "thrust_s": SECONDS, "code": np.array([4, 5, 6], np.int8)})


@pytest.mark.parametrize("chosen", [np.array([True, False, True]), np.array([0, 2]), slice(0, 3, 2)])
def test_rows_are_those_chosen_and_columns_that_are_one_stay_one(chosen: np.ndarray | slice) -> None:
    rows = TABLE.rows(chosen)
    assert rows["boring_s"].tolist() == [1.0, 3.0]
    assert rows["code"].tolist() == [4, 6]
    assert rows["thrust_s"] is rows["boring_s"]
    assert rows.names == TABLE.names


@pytest.mark.parametrize("count", [2, 4])
def test_a_mask_of_another_length_is_an_error(count: int) -> None:
    with pytest.raises(IndexError, match=f"a mask of {count} for a table of 3 rows"):
        TABLE.rows(np.ones(count, bool))
