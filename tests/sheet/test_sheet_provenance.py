"""Where the numbers come from, in words."""

from dataclasses import dataclass

from tbmreview.sheet.provenance import facts, fingerprint, logs_text, provenance_line, time_of
from tests.support.drives import InventedChunk, InventedDrive, invented_overrules


def test_the_baseline_that_is_drawn_is_named() -> None:
    drive = InventedDrive()
    assert "predicted ground 'design', issued 2030-05-01" in dict(facts(drive))["ground"]
    assert "predicted ground 'tender'" in dict(facts(drive, "tender"))["ground"]
    assert "design" not in dict(facts(drive, "tender"))["ground"]


def test_the_fingerprint_follows_content_and_day_only() -> None:
    @dataclass
    class Other(InventedDrive):
        chunks: tuple[tuple[int, str], ...] = ()

        def days(self) -> dict[int, InventedChunk]:
            return {day: InventedChunk(1, content) for day, content in self.chunks}

    whole = fingerprint(InventedDrive())
    assert fingerprint(Other(chunks=((2, "two"), (1, "one")))) == whole
    assert fingerprint(Other(chunks=((1, "one"), (2, "other")))) != whole
    assert fingerprint(Other(chunks=((1, "one"), (3, "two")))) != whole


def test_times_are_on_the_clock_of_the_site() -> None:
    # 1 900 000 000 s after 1970 is 2030-03-17 17:46:40 UTC, in Oslo (winter time) an hour later.
    assert "2030-03-17 18:46 to 2030-03-27 18:46 (Europe/Oslo)" in logs_text(InventedDrive())


def test_one_overrule_is_one() -> None:
    assert provenance_line(InventedDrive(said=invented_overrules(1))).endswith("1 overrule")
    assert provenance_line(InventedDrive()).endswith("0 overrules")


def test_overrules_are_counted_in_the_time_of_the_stretch() -> None:
    drive = InventedDrive(said=invented_overrules(2))
    start, end = drive.time_span_us
    assert time_of(drive, 0.0, 10.0) == (start, end)
    assert time_of(drive, 5_000.0, 6_000.0) is None
    assert dict(facts(drive, span_us=(start, end)))["overrules"] == "2 by people (O1 state, O2 state)"
    assert dict(facts(drive, span_us=(end, end + 1)))["overrules"] == "0 by people"
