"""Samples and tables: read-only columns of one length."""

import numpy as np
import pytest

from tbmreview.domain.samples import Samples, join
from tbmreview.domain.table import Table, stack


def samples(start: int, count: int, **values: float) -> Samples:
    stamps = np.arange(start, start + count, dtype=np.int64)
    return Samples(stamps, {name: np.full(count, value) for name, value in values.items()})


def test_between_takes_the_first_and_leaves_the_last() -> None:
    assert samples(0, 10, torque_kNm=1.0).between(3, 6).time_us.tolist() == [3, 4, 5]


def test_a_channel_missing_in_one_part_is_not_measured_there() -> None:
    both = join([samples(0, 2, torque_kNm=1.0), samples(2, 1, head_speed_rpm=6.0)])
    np.testing.assert_array_equal(both.get("torque_kNm"), [1.0, 1.0, np.nan])
    np.testing.assert_array_equal(both.get("head_speed_rpm"), [np.nan, np.nan, 6.0])
    assert not both.has("pitch_mm_m")
    assert np.all(np.isnan(both.get("pitch_mm_m")))


def test_columns_of_different_length_are_refused() -> None:
    with pytest.raises(ValueError, match="torque_kNm has 1 values for 2 stamps"):
        Samples(np.array([0, 1]), {"torque_kNm": np.array([1.0])})
    with pytest.raises(ValueError, match="one length"):
        Table({"a": np.zeros(1), "b": np.zeros(2)})


def test_shared_columns_are_read_only() -> None:
    table = Table({"a": np.zeros(2)})
    with pytest.raises(ValueError, match="read-only"):
        table["a"][0] = 1.0


def test_stack_keeps_the_order_of_rows() -> None:
    assert stack([Table({"a": np.array([1, 2])}), Table({"a": np.array([3])})])["a"].tolist() == [1, 2, 3]
