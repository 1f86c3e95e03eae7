"""Tables kept day by day: only what is new or changed is read; what is kept may be lost or damaged."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pytest

from tbmreview.domain.samples import DAY_US, Samples
from tbmreview.domain.setup import Setup
from tbmreview.domain.table import Table
from tbmreview.drive.by_day import OfDays, by_day
from tbmreview.drive.health import health, limits, settings_read
from tests.support.cells import MACHINE, setup_of
from tests.support.sensors import hours_of

FIRST = 21_990


@dataclass(frozen=True)
class Chunk:
    content_hash: str


@dataclass
class DayDrive:
    """Days of one value each; remembers which were read."""

    folder: Path
    contents: dict[int, str]
    setup: Setup = field(default_factory=setup_of)
    read: list[int] = field(default_factory=list)

    def days(self) -> dict[int, Chunk]:
        return {day: Chunk(content) for day, content in self.contents.items()}

    def samples(self, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
        day = start_us // DAY_US
        self.read.append(day)
        values = {name: v[: 8640 // 24] for name, v in hours_of(2, seed=len(self.contents[day])).items()}
        time_us = start_us + np.arange(360) * 10_000_000
        return Samples(time_us, {name: values[name].copy() for name in channels or values if name in values})


def of_days(settings: str = "one") -> OfDays:
    def of_day(day: int, samples: Samples) -> Table:
        rows = day - FIRST  # the first day has none
        return Table({"day": np.full(rows, day), "rows": np.full(rows, len(samples))})

    return OfDays(
        "days", settings, ("torque_kNm",), of_day, Table({n: np.empty(0, np.int64) for n in ("day", "rows")})
    )


@pytest.fixture
def drive(tmp_path: Path) -> DayDrive:
    return DayDrive(tmp_path, {FIRST + i: "a" * (i + 1) for i in range(3)})


def test_the_rows_of_each_day_in_order(drive: DayDrive) -> None:
    table, rows = by_day(drive, of_days())
    assert table["day"].tolist() == [FIRST + 1, FIRST + 2, FIRST + 2]
    assert [table["day"][part].tolist() for part in rows.values()] == [[], [FIRST + 1], [FIRST + 2] * 2]


def test_a_day_whose_rows_follow_from_something_else_too_is_made_anew_with_it(drive: DayDrive) -> None:
    by_day(drive, of_days())
    drive.read.clear()
    by_day(drive, replace(of_days(), beside=lambda day: "moved" if day == FIRST + 1 else ""))
    assert drive.read == [FIRST + 1]


def test_only_new_and_changed_days_are_read(drive: DayDrive) -> None:
    by_day(drive, of_days())
    drive.read.clear()
    again, _ = by_day(drive, of_days())
    assert drive.read == []
    drive.contents |= {FIRST + 1: "other", FIRST + 3: "new"}
    del drive.contents[FIRST]
    changed, rows = by_day(drive, of_days())
    assert drive.read == [FIRST + 1, FIRST + 3]
    assert changed["day"].tolist() == again["day"].tolist() + [FIRST + 3] * 3
    assert list(rows) == [FIRST + 1, FIRST + 2, FIRST + 3]


def test_other_settings_or_a_damaged_file_make_all_anew(drive: DayDrive) -> None:
    by_day(drive, of_days())
    drive.read.clear()
    by_day(drive, of_days("two"))
    assert len(drive.read) == 3
    (kept,) = (drive.folder / "derived").iterdir()
    kept.write_bytes(kept.read_bytes()[:100])
    by_day(drive, of_days("two"))
    assert len(drive.read) == 6


def test_a_folder_that_cannot_be_written_gives_the_same(drive: DayDrive, tmp_path: Path) -> None:
    good, _ = by_day(drive, of_days())
    (tmp_path / "file").write_text("")
    nowhere = DayDrive(tmp_path / "file", drive.contents)
    table, _ = by_day(nowhere, of_days())
    assert table["day"].tolist() == good["day"].tolist()


def test_progress_counts_days(drive: DayDrive) -> None:
    seen: list[tuple[int, int]] = []
    by_day(drive, of_days(), lambda done, of: seen.append((done, of)))
    assert seen == [(1, 3), (2, 3), (3, 3)]


# --- health -------------------------------------------------------------------------------------


def test_health_is_kept_and_equals_health_in_one_go(drive: DayDrive, tmp_path: Path) -> None:
    two = DayDrive(tmp_path / "two", dict(list(drive.contents.items())[:2]))
    health(two)
    two.contents = drive.contents
    two.read.clear()
    later = health(two)
    assert two.read == [FIRST + 2]
    once = health(drive)
    for name in once:
        np.testing.assert_array_equal(later[name], once[name])


def test_what_a_machine_can_give_follows_what_is_installed() -> None:
    from dataclasses import replace

    assert limits(MACHINE)["main_thrust_kN"] == (0.0, pytest.approx(1.2 * 700 * MACHINE.disc_count))
    stated = replace(MACHINE, main_thrust_installed_kN=20_000.0)
    assert limits(stated)["main_thrust_kN"] == (0.0, pytest.approx(24_000))
    assert settings_read(setup_of(machine=stated)) != settings_read(setup_of())
    assert settings_read(setup_of(start_m=9.0)) == settings_read(setup_of())
