"""Blocks come back hour by hour, from memory or from files, in the order in which they were put."""

from pathlib import Path

import numpy as np
import pytest

from tbmreview.domain.samples import DAY_US, Samples
from tbmreview.store.chunks import HOUR_US
from tbmreview.store.spool import Part, Spool

DAY = 20_000 * DAY_US


def blocks(seed: int) -> list[Part]:
    """Unsorted blocks of three files with different channels over two days."""
    random = np.random.default_rng(seed)
    made = []
    for number in range(12):
        time_us = DAY + random.integers(0, 2 * DAY_US, 500)
        names = [("a",), ("a", "b"), ("c",)][number % 3]
        samples = Samples(time_us, {name: random.normal(size=500) for name in names})
        made.append(Part(number % 3, samples, np.arange(500) + 500 * number))
    return made


def rows(parts: list[Part]) -> list[tuple[float, ...]]:
    return [
        (p.origin, int(t), p.lines[i], *(p.samples.values[name][i] for name in sorted(p.samples.values)))
        for p in parts
        for i, t in enumerate(p.samples.time_us)
    ]


@pytest.mark.parametrize("buffer_bytes", [0, 10_000, 1 << 30])
def test_every_row_comes_back_once_in_its_hour(tmp_path: Path, buffer_bytes: int) -> None:
    spool, put = Spool(tmp_path / "incoming", buffer_bytes), blocks(7)
    for part in put:
        spool.put(part)
    assert spool.days() == [20_000, 20_001]
    assert spool.channels(20_000) == {"a", "b", "c"}
    back = []
    for hour in range(20_000 * 24, 20_002 * 24):
        parts = spool.parts(hour)
        assert all(np.all(p.samples.time_us // HOUR_US == hour) for p in parts)
        back += rows(parts)
    assert sorted(back) == sorted(rows(put))
    assert (tmp_path / "incoming").exists() == (buffer_bytes < 1 << 30)


@pytest.mark.parametrize("buffer_bytes", [0, 1 << 30])
def test_rows_of_one_stamp_keep_their_order(tmp_path: Path, buffer_bytes: int) -> None:
    spool = Spool(tmp_path / "incoming", buffer_bytes)
    stamps = DAY + np.random.default_rng(1).integers(0, 3, 400)
    for block in (0, 1):
        values = np.arange(400.0) + 400 * block
        spool.put(Part(0, Samples(stamps, {"a": values}), np.arange(400)))
    found = [
        (int(t), v)
        for p in spool.parts(DAY // HOUR_US)
        for t, v in zip(p.samples.time_us, p.samples.values["a"], strict=True)
    ]
    for stamp in (DAY, DAY + 1, DAY + 2):
        values = [v for t, v in found if t == stamp]
        assert values == sorted(values)


def test_an_empty_block_is_nothing(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "incoming")
    spool.put(Part(0, Samples(np.empty(0, np.int64), {"a": np.empty(0)}), np.empty(0, np.int64)))
    assert spool.days() == []
