"""Any run of imports, some stopped by a failing disk: the drive holds what a plain dict would hold."""

import contextlib
import shutil
import tempfile
from pathlib import Path

import numpy as np
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from tbmreview.domain.errors import DriveError
from tbmreview.domain.samples import DAY_US, Samples
from tbmreview.store import disk
from tbmreview.store.catalogue import current_chunks, reading
from tbmreview.store.importing import Import
from tbmreview.store.rows_around import Preference
from tbmreview.store.samples import read_samples
from tbmreview.store.verify import chunk_problems, file_problems
from tbmreview.store.writing import create_catalogue, writing
from tests.support.small_drive import full_disk_at

Rows = list[tuple[int, str, float]]

# Stamps in a few hours of three days; values of which some are equal, so that rows agree and conflict.
stamps = st.builds(
    lambda day, hour, s: day * DAY_US + (hour * 3600 + s) * 1_000_000, *[st.integers(0, 2)] * 3
)
rows = st.lists(st.tuples(stamps, st.sampled_from("ab"), st.sampled_from([0.0, 1.0])), min_size=1, max_size=6)


class Drives(RuleBasedStateMachine):
    """A drive beside a model of it: (stamp, channel) -> value."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        create_catalogue(self.folder)
        (self.folder / "drive.toml").write_text("")
        self.model: dict[tuple[int, str], float] = {}

    def teardown(self) -> None:
        shutil.rmtree(self.folder)

    def _add(self, blocks: list[Rows], buffer_bytes: int) -> None:
        with writing(self.folder, "me") as work:
            importing = Import(work, len(blocks), buffer_bytes=buffer_bytes)
            for origin, block in enumerate(blocks):
                for time_us, name, value in block:
                    samples = Samples(np.array([time_us]), {name: np.array([value])})
                    importing.put(origin, samples, np.array([1]))
            importing.merge(Preference(range(len(blocks))), lambda *_: None, lambda *_: None)
        for block in blocks:
            for time_us, name, value in block:
                self.model.setdefault((time_us, name), value)

    @rule(blocks=st.lists(rows, min_size=1, max_size=2), buffer_bytes=st.sampled_from([0, 1 << 20]))
    def add(self, blocks: list[Rows], buffer_bytes: int) -> None:
        self._add(blocks, buffer_bytes)

    @rule(blocks=st.lists(rows, min_size=1, max_size=2), at=st.integers(0, 40))
    def add_with_a_disk_that_fills(self, blocks: list[Rows], at: int) -> None:
        disk.before = full_disk_at(at)
        try:
            with contextlib.suppress(DriveError):
                self._add(blocks, 0)
        finally:
            disk.before = disk.unwatched

    @invariant()
    def the_drive_holds_what_the_model_holds(self) -> None:
        with reading(self.folder) as db:
            chunks = current_chunks(db)
        samples = read_samples(self.folder, chunks, 0, 9 * DAY_US)
        held = {
            (t, name): v
            for name, column in samples.values.items()
            for t, v in zip(samples.time_us.tolist(), column.tolist(), strict=True)
            if v == v
        }
        assert held == self.model
        assert [problem for chunk in chunks for problem in chunk_problems(self.folder, chunk)] == []
        replaced = {
            p.relative_to(self.folder).as_posix() for p in (self.folder / "samples").rglob("*.parquet")
        }
        assert file_problems(self.folder, chunks, replaced) == ([], [])


TestDrives = Drives.TestCase
TestDrives.settings = settings(max_examples=6, stateful_step_count=6, deadline=None)
