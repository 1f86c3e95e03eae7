"""A shift gathered, and its sheet as text: what an engineer checks line by line before signing."""

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tbmreview.cli import main
from tbmreview.domain.errors import DriveError, UsageError
from tbmreview.domain.site import DELAYS
from tbmreview.domain.states import State
from tbmreview.drive.check import check
from tbmreview.drive.columns_text import TIME_COLUMNS
from tbmreview.drive.delays import contradictions, import_delays
from tbmreview.drive.opened import Drive, open_drive
from tbmreview.drive.overrule import overrule
from tbmreview.drive.shift_review import adding_up, chosen_reviews, lasted, reviews
from tbmreview.drive.shift_text import shifts_text, sums_text
from tbmreview.drive.time import time_table
from tbmreview.ingest.site_table import read_delays
from tests.support.cells import drive_of
from tests.support.samplegen import make_drive


@pytest.fixture(scope="module")
def drive(tmp_path_factory: pytest.TempPathFactory) -> Drive:
    """A day and a half of the invented machine, with delays and an overrule."""
    folder = tmp_path_factory.mktemp("review")
    truth = make_drive(folder / "made", seed=43, days=1)
    assert main(["start", str(folder / "drive"), "--setup", str(truth.setup)]) == 0
    assert main(["add", str(folder / "drive"), *map(str, truth.files)]) == 0
    opened = open_drive(folder / "drive")
    review = reviews(opened)[0]
    day = review.day.isoformat()
    truth.delays.to_csv(folder / "truth.csv", index=False)
    (folder / "d.csv").write_text(f"start,end,code,note\n{day} 07:00,{day} 12:00,belt,splice\n")
    import_delays(folder / "drive", folder / "d.csv")
    overrule(opened, "delay", "crane", (f"{day} 07:00", f"{day} 07:30"), "the crane stood", "Ingrid")
    return open_drive(folder / "drive")


def test_reviews_hold_what_tables_hold(drive: Drive) -> None:
    found = reviews(drive)
    assert sum(r.figures["advance_m"] for r in found) == pytest.approx(drive.cells["advance_m"].sum())
    for review in found:
        assert sum(review.hours.values()) == pytest.approx(review.figures["total_h"], abs=1e-9)
        assert review.turning_h >= review.hours[State.BORING] - 1e-6
    assert sum(begun for _, begun in (r.strokes for r in found)) == len(drive.strokes)
    first = found[0]
    assert dict(first.delays)["crane"] == pytest.approx(0.5)
    assert dict(first.delays)["belt"] == pytest.approx(4.5)
    assert len(first.overrules) == 1
    assert found[-1].overrules == ()


def test_a_sheet_names_shift_hours_rates_and_what_people_said(drive: Drive) -> None:
    text = shifts_text(drive).split("\n\n\n")[0]
    first = reviews(drive)[0]
    for words in (
        f"{first.name} shift, {first.day:%A} {first.day.day} {first.day:%B %Y}, 06:00 to 14:00",
        f"{first.figures['advance_m']:.2f} m, chainage 4+180.00 to",
        f"{first.hours[State.BORING]:.2f} h",
        "of the calendar (8.00 h)",
        "m/h of boring",
        "belt 4.50 h; crane 0.50 h; unexplained",
        "the log shows boring for",
        "O1 delay 'crane' by Ingrid: the crane stood",
        "does not mean safe ground",
        "signed",
    ):
        assert words in text, words


def test_days_and_lost_hours_tell_contradictions_too(drive: Drive) -> None:
    assert "m/h recorded" in sums_text(drive, "day")
    for by in ("day", "drive", "delay"):
        assert "contradiction: 'belt' from" in sums_text(drive, by)
        assert "overrules: 1 by people (O1 delay)" in sums_text(drive, by)


def test_true_delays_leave_next_to_nothing_unexplained_and_contradict_nothing(drive: Drive) -> None:
    """The generator's own list of what its crew did, laid over states found in the log."""
    stated = read_delays(drive.folder.parent / "truth.csv", drive.setup.drive.zone, drive.time_span_us)
    true = drive_of(drive.setup, drive.cells, periods=drive.periods, stated={DELAYS: stated})
    row = time_table(true, "drive")
    named = [column for column in row if column not in TIME_COLUMNS and column != "unexplained_h"]
    assert sum(float(row[column][0]) for column in named) > 1.0
    recorded = row["total_h"][0] - row["no_record_h"][0]
    assert row["unexplained_h"][0] - row["no_record_h"][0] < 0.02 * recorded
    assert len(contradictions(true)) == 0


def test_the_guidance_does_not_bring_back_what_a_person_overruled(drive: Drive, tmp_path: Path) -> None:
    shutil.copytree(drive.folder, tmp_path / "d")
    periods = drive.periods
    lengths = (periods["end_us"] - periods["start_us"]) * (periods["state"] == State.BORING)
    middle_us = int(periods["start_us"][lengths.argmax()] + lengths.max() // 2)
    start, end = (
        f"{datetime.fromtimestamp((middle_us + s * 300e6) / 1e6, UTC):%Y-%m-%dT%H:%M:%SZ}" for s in (-1, 1)
    )
    before = open_drive(tmp_path / "d")
    bored = before.periods["advance_m"][lengths.argmax()] * 600e6 / lengths.max()
    overrule(before, "state", "standing", (start, end), "a test of the head")
    after = open_drive(tmp_path / "d")
    fell = before.cells["advance_m"].sum() - after.cells["advance_m"].sum()
    assert fell == pytest.approx(bored, rel=0.15)
    assert check(tmp_path / "d").problems == ()


def test_check_notes_what_the_log_speaks_against(drive: Drive) -> None:
    report = check(drive.folder)
    assert report.problems == ()
    assert [note for note in report.notes if note.startswith("contradiction: 'belt' from")]
    assert drive.contradictions()["code"].tolist() == ["belt"] * len(drive.contradictions())


def test_shifts_are_found_by_date_and_name(drive: Drive) -> None:
    found = reviews(drive)
    first = found[0]
    assert chosen_reviews(drive, first.day.isoformat(), first.name) == [first]
    assert chosen_reviews(drive, first.day.isoformat()) == [r for r in found if r.day == first.day]
    assert chosen_reviews(drive) == [r for r in found if r.day == found[-1].day]
    with pytest.raises(UsageError, match="noon"):
        chosen_reviews(drive, None, "noon")
    with pytest.raises(UsageError, match="2030-05-02"):
        chosen_reviews(drive, "yesterday")
    with pytest.raises(DriveError, match="there is"):
        chosen_reviews(drive, "2001-01-01")


def test_parts_in_whole_units_add_up_to_their_sum() -> None:
    assert adding_up([2.5, 2.5, 3.99], 1.0) == [3, 2, 4]
    assert adding_up([100 / 3] * 3, 1.0) == [34, 33, 33]
    assert adding_up([0.0, 0.0], 0.01) == [0, 0]


def test_hours_in_words() -> None:
    assert [lasted(h) for h in (0, 65, 480)] == ["0 h 00 min", "1 h 05 min", "8 h 00 min"]
