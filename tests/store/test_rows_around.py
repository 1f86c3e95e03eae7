"""What rules find in the rows around a value follows from the rows alone, whichever files brought them."""

import itertools
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tbmreview.domain.samples import DAY_US, Samples
from tbmreview.store.catalogue import current_chunks, reading
from tbmreview.store.importing import Import, Outcome
from tbmreview.store.rows_around import Marks, Preference, Rules, Scales
from tbmreview.store.samples import read_samples, read_set_aside
from tbmreview.store.spool import Part
from tbmreview.store.verify import chunk_problems
from tbmreview.store.writing import create_catalogue, writing

FAR = 5.0
Row = tuple[int, float]  # stamp, value


def spikes(rows: Samples, scales: Scales) -> Marks:
    """A rule of its own: readings further than FAR from those on both sides."""
    found = {}
    for name, column in rows.values.items():
        measured = np.flatnonzero(~np.isnan(column))
        steps = np.abs(np.diff(column[measured])) > FAR * max(scales.get(name, [1.0]), default=1.0)
        marks = np.zeros(len(rows), bool)
        marks[measured[1:-1]] = steps[1:] & steps[:-1]
        found["spike", name] = marks
    return found


class Drive:
    """A drive without a setup that matters; what its rules told of each file."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        create_catalogue(folder)
        (folder / "drive.toml").write_text("")
        self.told: dict[int, list[int]] = {}

    def add(
        self, files: Sequence[Sequence[Row]], scale: float = 1.0, name: str = "a", *, correct: bool = False
    ) -> Outcome:
        self.told = {}
        rules = Rules(frozenset("a"), 2, spikes, self._told)
        with writing(self.folder, "me") as work:
            importing = Import(work, len(files), rules)
            for origin, rows in enumerate(files):
                stamps, values = (np.array(x) for x in zip(*rows, strict=True))
                importing.put(origin, Samples(stamps, {name: values.astype(float)}), np.arange(len(rows)) + 2)
            scales = [{name: scale}] * len(files)
            return importing.merge(
                Preference(range(len(files)), scales=scales, correct=correct),
                lambda *_: None,
                lambda *_: None,
            )

    def _told(self, part: Part, marks: Marks) -> None:
        lines = [int(line) for some in marks.values() for line in part.lines[some]]
        self.told.setdefault(part.origin, []).extend(lines)

    @property
    def held(self) -> tuple[dict[int, float], dict[int, float], list[str]]:
        """Stamp -> what is stored; stamp -> what is set aside; the hashes of the days."""
        with reading(self.folder) as db:
            chunks = current_chunks(db)
        assert [problem for chunk in chunks for problem in chunk_problems(self.folder, chunk)] == []
        samples = read_samples(self.folder, chunks, 0, 9 * DAY_US)
        stored = {
            t: v for t, v in zip(samples.time_us.tolist(), samples.get("a").tolist(), strict=True) if v == v
        }
        aside = {
            t: v
            for _, _, some in read_set_aside(self.folder, chunks)
            for t, v in zip(some.time_us.tolist(), some.values.tolist(), strict=True)
        }
        return stored, aside, [chunk.content_hash for chunk in chunks]


@pytest.fixture
def drive(tmp_path: Path) -> Drive:
    return Drive(tmp_path)


# Rows about the midnights of three days, most of them there, some of them far off.
STAMPS = [day * DAY_US + row * 1_000_000 for day in (1, 2, 3) for row in range(-2, 3)]
logs = st.lists(st.sampled_from([0.0, 0.0, 10.0, None]), min_size=len(STAMPS), max_size=len(STAMPS))


@settings(max_examples=6, deadline=None)
@given(logs, st.lists(st.integers(1, 14), min_size=1, max_size=3), st.data())
def test_any_split_overlap_and_order_gives_one_store(
    log: list[float | None], cuts: list[int], data: st.DataObject
) -> None:
    rows = [(t, v) for t, v in zip(STAMPS, log, strict=True) if v is not None]
    edges = sorted({0, len(rows), *(cut for cut in cuts if cut < len(rows))})
    files = [rows[max(0, a - data.draw(st.integers(0, 2))) : b] for a, b in itertools.pairwise(edges)]
    files = data.draw(st.permutations(files))
    groups = data.draw(st.sampled_from([[files], [[one] for one in files]]))
    with tempfile.TemporaryDirectory() as place:
        whole, parts = (Drive(Path(tempfile.mkdtemp(dir=place))) for _ in range(2))
        for drive, added in ((whole, [[rows]] if rows else []), (parts, groups)):
            for group in added:
                drive.add(group)
        assert parts.held == whole.held
        stored, aside, _ = whole.held
        assert {**stored, **aside} == dict(rows)


def at(*seconds: int, value: float = 0.0) -> list[Row]:
    return [(DAY_US + second * 1_000_000, value) for second in seconds]


SPIKE = at(0, value=10.0)


def test_a_row_of_the_day_before_judges_the_first_of_a_day(drive: Drive) -> None:
    drive.add([[*SPIKE, *at(1, 2)]])
    assert drive.held[1] == {}
    with reading(drive.folder) as db:
        before = {chunk.utc_day: chunk.path for chunk in current_chunks(db)}
    outcome = drive.add([at(-2, -1)])
    assert drive.held[1] == dict(SPIKE)
    assert (outcome.more, outcome.back, outcome.changed_days) == (1, 0, [0, 1])
    assert drive.told == {0: []}
    with reading(drive.folder) as db:
        after = {chunk.utc_day: chunk.path for chunk in current_chunks(db)}
    assert after[1] != before[1]
    outcome = drive.add([at(-30)])  # too far back to be seen
    with reading(drive.folder) as db:
        assert {chunk.utc_day: chunk.path for chunk in current_chunks(db)}[1] == after[1]
    assert outcome.changed_days == [0]


def test_a_value_that_was_set_aside_is_there_when_it_comes_again(drive: Drive) -> None:
    drive.add([[*at(-1), *SPIKE, *at(1)]])
    outcome = drive.add([[*at(-1), *SPIKE, *at(1)]])
    assert (outcome.kept.tolist(), outcome.duplicates.tolist(), outcome.changed_days) == ([0], [3], [])
    assert drive.told == {0: [3]}
    outcome = drive.add([at(0, value=7.0)])
    assert outcome.conflicts.tolist() == [1]
    assert drive.told == {0: []}


def test_what_proves_to_be_no_spike_comes_back(drive: Drive) -> None:
    drive.add([[*at(-2), *SPIKE, *at(2)]])
    assert drive.held[1] == dict(SPIKE)
    outcome = drive.add([at(1, value=10.0)])
    assert drive.held[1] == {}
    assert (outcome.more, outcome.back) == (0, 1)


def test_a_correction_is_judged_like_any_value(drive: Drive) -> None:
    drive.add([[*at(-1), *SPIKE, *at(1)]])
    drive.add([at(0, value=3.0)], correct=True)
    assert drive.held[:2] == (dict([*at(-1), *at(0, value=3.0), *at(1)]), {})
    drive.add([SPIKE], correct=True)
    assert drive.held[1] == dict(SPIKE)


def test_a_day_that_says_the_same_with_more_set_aside_keeps_the_old_file(drive: Drive) -> None:
    """Who opened the drive before still reads it; the new file has another name."""
    drive.add([[*at(-1), *at(1)], at(0, value=np.nan)])
    with reading(drive.folder) as db:
        old = [chunk.path for chunk in current_chunks(db)]
    before = drive.held
    drive.add([SPIKE])
    assert drive.held == (before[0], dict(SPIKE), before[2])
    with reading(drive.folder) as db:
        new = [chunk.path for chunk in current_chunks(db)]
    assert set(old) & set(new) == set(old[:1])
    assert all((drive.folder / path).is_file() for path in (*old, *new))


def test_the_scales_of_all_sources_are_known(drive: Drive) -> None:
    drive.add([[*at(-1), *SPIKE, *at(1)]])
    drive.add([[*at(-1), *SPIKE, *at(1)]], scale=3.0)
    assert drive.held[1] == {}
    drive.add([at(5)])
    assert drive.held[1] == {}


def test_a_channel_that_no_rule_looks_at_is_left_alone(drive: Drive) -> None:
    drive.add([[*at(-1), *SPIKE, *at(1)]], name="b")
    assert drive.held[1] == {}
