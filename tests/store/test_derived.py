"""Derived tables: come back as they were, or not at all."""

from pathlib import Path

import numpy as np
import pytest

from tbmreview.domain.table import Table
from tbmreview.store.derived import read_derived, write_derived


def table() -> Table:
    return Table(
        {
            "advance_m": np.array([0.1, np.nan, np.inf]),
            "start_us": np.array([1, 2, 2**62], np.int64),
            "state": np.array([0, 1, 6], np.int8),
            "late": np.array([True, False, True]),
            "drag_source": np.array(["", "stroke", "Öl"], object),
        }
    )


def test_a_table_comes_back_as_it_was(tmp_path: Path) -> None:
    write_derived(tmp_path, "cells", table(), {"fingerprint": "ä1", "carry": ""})
    found = read_derived(tmp_path, "cells")
    assert found is not None
    back, meta = found
    assert meta == {"fingerprint": "ä1", "carry": ""}
    assert back.names == table().names
    for name in back:
        assert back[name].dtype == table()[name].dtype
        np.testing.assert_array_equal(back[name], table()[name])
        assert not back[name].flags.writeable


def test_a_table_without_rows_comes_back(tmp_path: Path) -> None:
    write_derived(tmp_path, "cells", table().rows(slice(0, 0)), {})
    found = read_derived(tmp_path, "cells")
    assert found is not None
    assert len(found[0]) == 0
    assert found[0].names == table().names


def test_a_table_takes_the_place_of_the_one_before(tmp_path: Path) -> None:
    write_derived(tmp_path, "cells", table(), {})
    before = read_derived(tmp_path, "cells")
    write_derived(tmp_path, "cells", table().rows(slice(0, 1)), {"n": "2"})
    after = read_derived(tmp_path, "cells")
    assert before is not None
    assert after is not None
    assert (len(before[0]), len(after[0])) == (3, 1)
    assert before[0]["advance_m"][0] == 0.1  # a map of the old file stays good
    assert [p.name for p in (tmp_path / "derived").iterdir()] == ["cells.arrow"]


@pytest.mark.parametrize("left", [None, b"", b"no table", 10, 200, -1, -30])
def test_a_missing_or_damaged_file_is_as_if_it_were_not_there(
    tmp_path: Path, left: int | bytes | None
) -> None:
    write_derived(tmp_path, "cells", table(), {})
    path = tmp_path / "derived" / "cells.arrow"
    if left is None:
        path.unlink()
    else:
        path.write_bytes(left if isinstance(left, bytes) else path.read_bytes()[:left])
    assert read_derived(tmp_path, "cells") is None
