"""Findings of a drive: they follow the data, and keep id and verdict with their ground."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import AGREED, Finding
from tbmreview.domain.states import Phase
from tbmreview.drive.detect import _with_ids, detect, findings, findings_table, findings_text, profile_of
from tbmreview.drive.opened import open_drive
from tbmreview.drive.reading import NO_TIME
from tbmreview.findings import DETECTORS
from tests.support.cells import START_US, TableDrive, drive_of, setup_of, steady
from tests.support.small_drive import new_drive

OTHERS = tuple(kind for d in DETECTORS for kind in d.kinds if not kind.startswith("FPI"))
FPI_ONLY = FindingSettings(left_out=OTHERS)
SETUP = setup_of(findings=FPI_ONLY)
COLUMNS = (
    "id",
    "kind",
    "position_from_m",
    "position_to_m",
    "chainage_from_m",
    "chainage_to_m",
    "start_utc",
    "end_utc",
    "strength",
    "evidence",
    "verdict",
    "decided_by",
    "decided_utc",
    "note",
    "group",
)


def drive(*soft_m: tuple[float, float], length_m: float = 150.0, setup=SETUP) -> TableDrive:  # type: ignore[no-untyped-def]
    """Even ground with a tenth of the thrust at the given positions."""
    cells = steady(setup.drive.axis, (0.0, length_m))
    middle = (cells["position_from_m"] + cells["position_to_m"]) / 2
    factor = np.where(
        np.any([(middle > low) & (middle < high) for low, high in soft_m] or [[False]], axis=0), 0.1, 1.0
    )
    return drive_of(
        setup, cells.with_columns({n: cells[n] * factor for n in ("thrust_kN_s", "thrust_work_kJ")})
    )


def test_ids_run_along_the_drive() -> None:
    found = findings(drive((100.0, 104.0), (40.0, 46.0)))
    assert [(f.id, round(f.position_from_m)) for f in found] == [("F001", 40), ("F002", 100)]
    assert {f.verdict for f in found} == {"open"}


def test_a_finding_keeps_id_and_verdict_when_the_data_change() -> None:
    first, second = findings(drive((40.0, 46.0), (100.0, 104.0)))
    judged = replace(second, verdict=AGREED, decided_by="A. Moen", decided_us=5, note="seen at the face")
    more = drive((10.0, 13.0), (40.5, 47.0), (99.0, 104.0))
    again = findings(replace(more, stored=(first, judged)))
    assert [f.id for f in again] == ["F003", "F001", "F002"]
    assert (again[2].verdict, again[2].decided_by, again[2].decided_us, again[2].note) == (
        AGREED,
        "A. Moen",
        5,
        "seen at the face",
    )
    assert again[2].position_from_m == pytest.approx(99.0)


def test_a_finding_that_is_no_longer_noticed_is_gone_and_its_id_is_not_given_again() -> None:
    stored = findings(drive((40.0, 46.0), (100.0, 104.0)))
    again = findings(replace(drive((40.0, 46.0), (120.0, 124.0)), stored=stored))
    assert [f.id for f in again] == ["F001", "F003"]


def test_another_kind_at_the_place_is_another_finding() -> None:
    (low,) = findings(drive((40.0, 46.0)))
    (again,) = findings(replace(drive((40.0, 46.0)), stored=(replace(low, kind="FPI high", verdict=AGREED),)))
    assert (again.id, again.verdict) == ("F002", "open")


def test_each_stored_finding_is_followed_by_one_only() -> None:
    (whole,) = findings(drive((40.0, 50.0)))
    parts = findings(replace(drive((40.0, 43.0), (45.0, 50.0)), stored=(whole,)))
    assert [f.id for f in parts] == ["F002", "F001"]  # the longer overlap keeps the id


def test_findings_of_one_group_name_its_first_by_id() -> None:
    bored = drive((40.0, 46.0), (100.0, 104.0), setup=setup_of())
    found = findings(bored)
    of = {f.id: f.group for f in found}
    assert set(of.values()) == {"F001", next(f.id for f in found if f.position_from_m > 90)}
    later = findings(replace(bored, stored=tuple(replace(f, id=f"F{90 - f.number:03d}") for f in found)))
    assert [f.group for f in later] == [f"F{90 - int(f.group[1:]):03d}" for f in found]


def of_sensor(start_s: int, channel: float, **more: object) -> Finding:
    """A stuck channel while the face stood at 40 m."""
    start_us = START_US + start_s * 1_000_000
    figures = {"series": channel}
    return Finding("channel stuck", 40.0, 40.0, start_us, start_us + 10**9, 1.0, "", figures, **more)  # type: ignore[arg-type]


def test_a_finding_of_a_standing_face_keeps_its_verdict_by_time_and_channel() -> None:
    stored = (of_sensor(0, 3.0, id="F001", verdict=AGREED), of_sensor(0, 6.0, id="F002"))
    again = _with_ids([of_sensor(100, 6.0), of_sensor(100, 3.0), of_sensor(5000, 3.0)], stored, 2)
    assert [(f.id, f.verdict) for f in again] == [("F002", "open"), ("F001", AGREED), ("F003", "open")]


def test_table_of_findings() -> None:
    setup = setup_of(start_m=4500.0, direction="decreasing", findings=FPI_ONLY)
    bored = drive((40.0, 46.0), setup=setup)
    rows = findings_table(bored, findings(bored))
    assert rows.names == COLUMNS
    assert rows["chainage_from_m"][0] == pytest.approx(4460.0)
    assert rows["chainage_to_m"][0] == pytest.approx(4454.0)
    assert rows["start_utc"][0] > START_US
    assert rows["decided_utc"].tolist() == [NO_TIME]
    empty = findings_table(drive(), ())
    assert empty.names == COLUMNS
    assert len(empty) == 0


def test_text_of_findings_gives_the_evidence_in_full() -> None:
    bored = drive((40.0, 46.0))
    (found,) = findings(bored)
    text = findings_text(bored, [found])
    assert f"F001: {found.evidence}" in text
    assert findings_text(drive(), ()) == "no findings"


def test_profile_has_a_row_for_each_step_and_reaction_without_stroke_ends() -> None:
    even = drive(length_m=3.0)
    phase = even.cells["phase"].copy()
    phase[:5] = Phase.LOADING
    rows = profile_of(replace(even, cells=even.cells.with_columns({"phase": phase}))).rows
    assert len(rows) == 25
    assert rows["position_from_m"][0] == pytest.approx(0.5)


def test_figures_over_rows_come_from_their_sums() -> None:
    profile = profile_of(drive((0.0, 2.0), length_m=4.0))
    over = profile.over(np.ones(len(profile.rows), bool))
    assert over["thrust_kN"] == pytest.approx((1000 + 10_000) / 2)
    nothing = profile.over(np.zeros(len(profile.rows), bool))
    assert np.isnan(nothing["thrust_kN"])
    assert dict(profile.over(np.arange(len(profile.rows)))) == pytest.approx(dict(over), nan_ok=True)
    one = profile.over(np.array([3]))
    assert one == pytest.approx({name: profile.rows[name][3] for name in one}, nan_ok=True)


def test_detect_stores_ids_for_good(tmp_path: Path) -> None:
    """On a real drive folder: stored once, and the same again writes nothing."""
    from tbmreview.drive.start import start

    setup = tmp_path / "drive.toml"
    setup.write_text(
        '[drive]\nname = "Larkfell, test"\ntimezone = "Europe/Oslo"\nchainage_start_m = 4180.0\n'
        'chainage_direction = "increasing"\n[machine]\nkind = "double shield"\nbore_diameter_m = 6.0\n'
        "disc_count = 40\n",
        encoding="utf-8",
    )
    opened = start(tmp_path / "drive", setup)
    bored = replace(drive((40.0, 46.0)), folder=opened.folder)
    found = detect(bored)
    stored: tuple[Finding, ...] = open_drive(opened.folder).stored_findings()
    assert stored == found
    before = (opened.folder / "catalogue.sqlite").read_bytes()
    assert detect(replace(bored, stored=stored)) == found
    assert (opened.folder / "catalogue.sqlite").read_bytes() == before


def test_an_id_is_never_given_twice(tmp_path: Path) -> None:
    """A finding that vanished keeps its number, whatever is found later."""
    opened = new_drive(tmp_path / "drive")
    two = replace(drive((20.0, 26.0)), folder=opened.folder)
    first = detect(replace(two, highest=0))
    assert [f.id for f in first] == ["F001"]
    detect(replace(drive(), folder=opened.folder, stored=first, highest=1))  # nothing found
    assert open_drive(opened.folder).stored_findings() == ()
    assert open_drive(opened.folder).highest_finding() == 1
    again = detect(replace(two, highest=open_drive(opened.folder).highest_finding()))
    assert [f.id for f in again] == ["F002"]


def test_profile_says_where_a_stroke_showed_its_own_drag() -> None:
    bored = drive(length_m=3.0)
    for source, seen in (("stroke", True), ("nearby strokes", False), ("", False)):
        drag = np.full(1, 700.0 if source else np.nan)
        own = {"drag_kN": drag, "drag_source": np.array([source], dtype=object)}
        rows = profile_of(replace(bored, strokes=bored.strokes.with_columns(own))).rows
        assert set(rows["drag_seen"].tolist()) == {seen}
