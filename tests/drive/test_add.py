"""Taking logs in: all or none, nothing twice, every row accounted for."""

import itertools
import os
import signal
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path
from threading import Event

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tbmreview import __main__
from tbmreview.cli import main
from tbmreview.domain.errors import Cancelled, ColumnsOpen, DriveBusy, DriveError, LogError, TbmReviewError
from tbmreview.drive.add import AddReport, add
from tbmreview.drive.left_out import CONFLICT
from tbmreview.drive.opened import open_drive
from tbmreview.drive.progress import ProgressLine
from tbmreview.drive.start import start
from tbmreview.store import disk
from tbmreview.store.catalogue import reading
from tbmreview.store.writing import writing
from tests.support.logs import TinyMachine, tiny_machine, written
from tests.support.small_drive import (
    MIDNIGHT,
    SETUP,
    all_samples,
    bytes_of,
    full_disk_at,
    new_drive,
    row,
    small_log,
    state_of,
    write_log,
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return new_drive(tmp_path / "east").folder


def told(report: AddReport) -> list[tuple[int, int, int, dict[str, int]]]:
    """(read, kept, duplicates, quarantined) of each file; the account must balance."""
    for report_of_file in (file.report for file in report.files):
        assert report_of_file.rows_read == (
            report_of_file.kept + report_of_file.duplicates + report_of_file.quarantined_rows
        )
    return [
        (f.report.rows_read, f.report.kept, f.report.duplicates, dict(f.report.quarantined))
        for f in report.files
    ]


def test_samples_come_back_as_they_were_logged(folder: Path, tmp_path: Path) -> None:
    report = add(folder, [small_log(tmp_path / "a.csv")])
    assert told(report) == [(180, 180, 0, {})]
    drive = open_drive(folder)
    midnight = int(MIDNIGHT.timestamp()) * 1_000_000
    assert drive.time_span_us == (midnight - 90_000_000, midnight + 89_000_000)
    assert [chunk.rows for chunk in drive.days().values()] == [90, 90]
    samples = drive.samples(midnight - 2_000_000, midnight + 2_000_000)
    assert samples.time_us.tolist() == [midnight + s * 1_000_000 for s in (-2, -1, 0, 1)]
    assert samples.get("main_stroke_mm").tolist() == [1998.0, 1999.0, 500.0, 501.0]
    assert list(drive.samples(midnight, midnight + 1, ["torque_kNm", "no such"]).values) == ["torque_kNm"]
    assert [entry.what for entry in drive.history()] == ["start", "add"]


def never_stamped(path: Path) -> Path:
    """A log with one row that cannot be used and one that differs from small_log."""
    rows = [row(second) for second in range(60)]
    rows[10] = rows[10].replace("2030-05-02T00:00:10Z", "1970-01-01T00:00:00Z")
    rows[20] = row(20, thrust="8000")
    return write_log(path, rows)


def test_the_same_files_twice_change_nothing(folder: Path, tmp_path: Path) -> None:
    logs = [small_log(tmp_path / "a.csv", range(-90, 20)), small_log(tmp_path / "b.csv", range(90))]
    add(folder, logs)
    add(folder, [never_stamped(tmp_path / "c.csv")])
    before = bytes_of(folder)
    report = add(folder, [*logs[::-1], tmp_path / "c.csv"])
    (b, a, (*c, quarantined)) = told(report)
    assert (a, b) == ((110, 0, 110, {}), (90, 0, 90, {}))
    assert c == [60, 0, 58]
    assert quarantined[CONFLICT] == 1
    assert report.changed_days == ()
    assert "nothing new" in report.text()
    assert bytes_of(folder) == before


def test_a_known_file_beside_a_new_one_is_not_recorded_again(folder: Path, tmp_path: Path) -> None:
    add(folder, [small_log(tmp_path / "a.csv", range(60))])
    add(folder, [never_stamped(tmp_path / "c.csv")])
    before = state_of(folder)
    add(folder, [tmp_path / "c.csv", small_log(tmp_path / "b.csv", range(60, 90))])
    _, sources, quarantine, conflicts, *_ = state_of(folder)
    assert len(sources) == 3  # type: ignore[arg-type]
    assert (quarantine, conflicts) == before[2:4]


def test_the_same_rows_in_another_file_are_noted_but_make_no_chunk(folder: Path, tmp_path: Path) -> None:
    add(folder, [small_log(tmp_path / "a.csv")])
    before = state_of(folder)
    add(folder, [small_log(tmp_path / "part.csv", range(50))])
    after = state_of(folder)
    assert after[0] == before[0]
    assert len(after[1]) == 2  # type: ignore[arg-type]  # two sources


def test_a_late_file_in_the_middle_and_an_overlap(folder: Path, tmp_path: Path) -> None:
    add(
        folder, [small_log(tmp_path / "a.csv", range(-90, -30)), small_log(tmp_path / "c.csv", range(30, 90))]
    )
    report = add(folder, [small_log(tmp_path / "b.csv", range(-40, 40))])
    assert told(report) == [(80, 60, 20, {})]
    whole = new_drive(folder.with_name("whole")).folder
    add(whole, [small_log(tmp_path / "all.csv")])
    assert all_samples(folder) == all_samples(whole)
    assert {d: c.content_hash for d, c in open_drive(folder).days().items()} == {
        d: c.content_hash for d, c in open_drive(whole).days().items()
    }


def test_hours_before_and_after_the_new_ones_stay(folder: Path, tmp_path: Path) -> None:
    hours = {name: range(3600 * h, 3600 * h + 60) for name, h in (("a.csv", 2), ("c.csv", 9), ("b.csv", 5))}
    add(folder, [small_log(tmp_path / name, hours[name]) for name in ("a.csv", "c.csv")])
    add(folder, [small_log(tmp_path / "b.csv", hours["b.csv"])])
    midnight = int(MIDNIGHT.timestamp())
    expected = [midnight + second for name in sorted(hours) for second in hours[name]]
    assert [t // 1_000_000 for t in all_samples(folder)["time_us"]] == sorted(expected)


def test_files_that_differ_conflict_the_same_whatever_their_order(tmp_path: Path) -> None:
    rows = [row(second) for second in range(60)]
    a = write_log(tmp_path / "a.csv", rows)
    b = write_log(tmp_path / "b.csv", [row(5, thrust="1000"), *rows[6:20], row(20, thrust="2000")])
    found = []
    for name, logs in (("one", [a, b]), ("other", [b, a])):
        folder = new_drive(tmp_path / name).folder
        report = add(folder, logs)
        assert sorted(f.report.quarantined.get(CONFLICT, 0) for f in report.files) == [0, 2]
        with reading(folder) as db:
            listed = db.execute("SELECT time_us, channel, kept, offered, channels FROM conflict ORDER BY 1")
            found.append((all_samples(folder), listed.fetchall()))
    assert found[0] == found[1]
    _, listed = found[0]
    assert [(channel, channels) for _, channel, _, _, channels in listed] == [("main_thrust_kN", 1)] * 2
    assert [{*pair[2:4]} for pair in listed] == [{1000.0, 9050.0}, {2000.0, 9060.0}]


def test_what_is_stored_stays_where_a_later_file_differs(folder: Path, tmp_path: Path) -> None:
    add(folder, [small_log(tmp_path / "a.csv")])
    before = all_samples(folder)
    report = add(folder, [write_log(tmp_path / "b.csv", [row(s, thrust="8000") for s in range(50)])])
    assert told(report) == [(50, 0, 0, {CONFLICT: 50})]
    assert all_samples(folder) == before
    with reading(folder) as db:
        assert db.execute("SELECT count(*), min(kept), max(offered) FROM conflict").fetchone() == (
            50,
            9000.0,
            8000.0,
        )


def test_files_that_correct_replace_what_they_contradict_and_no_more(folder: Path, tmp_path: Path) -> None:
    add(folder, [small_log(tmp_path / "a.csv")])
    before, days = all_samples(folder), open_drive(folder).days()
    rows = [row(s, thrust="8000") if s in (50, 51) else row(s) for s in range(40, 60)]
    corrected = write_log(tmp_path / "b.csv", rows)
    assert told(add(folder, [corrected])) == [(20, 0, 18, {CONFLICT: 2})]
    report = add(folder, [corrected], replace=True)
    assert (told(report), report.replaced) == ([(20, 2, 18, {})], 2)
    assert "replaced by values of these files: 2" in report.text()
    after = all_samples(folder)
    thrust = before["main_thrust_kN"]
    assert after == {**before, "main_thrust_kN": [*thrust[:140], 8000.0, 8000.0, *thrust[142:]]}
    changed = [day for day, chunk in open_drive(folder).days().items() if chunk != days[day]]
    assert tuple(changed) == report.changed_days == (max(days),)
    assert open_drive(folder).history()[-1].details["replaced_rows"] == 2
    state = state_of(folder)
    assert add(folder, [corrected], replace=True).changed_days == ()
    assert state_of(folder) == state


@pytest.mark.parametrize("coarse_first", [True, False])
@pytest.mark.parametrize("at_once", [True, False])
def test_the_same_rows_printed_coarsely_are_duplicates(
    tmp_path: Path, coarse_first: bool, at_once: bool
) -> None:
    strokes = [500 + second * 0.9371 for second in range(60)]
    logs = [
        write_log(tmp_path / f"{n}.csv", [row(s, stroke=f"{mm:.{n}f}") for s, mm in enumerate(strokes)])
        for n in ((0, 2) if coarse_first else (2, 0))
    ]
    folder = new_drive(tmp_path / "east").folder
    reports = [add(folder, logs)] if at_once else [add(folder, [log]) for log in logs]
    assert {reason for r in reports for f in r.files for reason in f.report.quarantined} == set()
    assert all_samples(folder)["main_stroke_mm"] == [round(mm, 2) for mm in strokes]


STRETCH = tiny_machine(600, 4).values
SPOILT = {name: column.copy() for name, column in STRETCH.items()}
for channel, first, last, number in (
    ("torque_kNm", 40, 240, 1_537.0),
    ("gripper_pressure_bar", 350, 375, -1.0),
    ("main_thrust_kN", 400, 401, 95_000.0),
    ("main_stroke_mm", 450, 453, 3_000.0),
):
    SPOILT[channel][first:last] = number
SPOILT_ROWS = written(
    TinyMachine(np.arange(600), SPOILT), start=datetime(2030, 5, 2, 1, 57, 30), decimals=3
).splitlines()


def spoilt_log(path: Path, first: int, last: int) -> Path:
    """Rows of a machine whose torque is stuck across midnight UTC, with a gauge without reading and two jumps."""
    path.write_text("\n".join([SPOILT_ROWS[0], *SPOILT_ROWS[1 + first : 1 + last]]) + "\n")
    return path


@pytest.fixture(scope="module")
def spoilt_whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = new_drive(tmp_path_factory.mktemp("spoilt") / "whole").folder
    add(folder, [spoilt_log(folder.with_name("whole.csv"), 0, 600)])
    return folder


def stored(folder: Path) -> tuple[str, ...]:
    """Every value, what is set aside, and the hash of each day, to be compared."""
    listed = open_drive(folder).set_aside()
    aside = [listed[name].tolist() for name in listed.columns]
    hashes = [chunk.content_hash for chunk in open_drive(folder).days().values()]
    return tuple(map(repr, (all_samples(folder), aside, hashes)))


def test_what_rules_set_aside_is_kept_and_listed(spoilt_whole: Path) -> None:
    listed = open_drive(spoilt_whole).set_aside()
    rows = {name: (listed["channel"] == name) for name in SPOILT}
    assert {name: int(some.sum()) for name, some in rows.items() if some.any()} == {
        "torque_kNm": 199,
        "gripper_pressure_bar": 25,
        "main_thrust_kN": 1,
        "main_stroke_mm": 3,
    }
    assert {float(v) for v in listed["value"]} == {1_537.0, -1.0, 95_000.0, 3_000.0}
    out = spoilt_whole.with_name("aside.csv")
    assert main(["check", str(spoilt_whole), "--set-aside", str(out)]) == 0
    assert out.read_text().splitlines()[:2] == [
        "time_utc,channel,value,rule",
        "2030-05-01T23:58:11Z,torque_kNm,1537.0,stuck: repeats to the last digit while the machine bores",
    ]


def test_values_of_the_drive_that_a_new_file_shows_to_be_stuck_are_told(folder: Path, tmp_path: Path) -> None:
    add(folder, [spoilt_log(tmp_path / "a.csv", 0, 150)])
    assert len(open_drive(folder).set_aside()) == 0
    report = add(folder, [spoilt_log(tmp_path / "b.csv", 150, 600)])
    assert report.notes == (
        "of the values that the drive had before, 109 are made missing by rules that look at the rows around a "
        "value",
    )
    repairs = {r.column: (r.count, r.first_line) for r in report.files[0].report.repairs}
    assert repairs["Cutterhead torque [kNm]"] == (90, 2)
    assert len(report.changed_days) == 2


@settings(max_examples=3, deadline=None)
@example([60, 150], [2, 0, 1], 1, 0)
@example([300, 360, 401], [1, 3, 0, 2], 4, 30)
@given(
    st.lists(
        st.sampled_from([40, 41, 60, 150, 239, 300, 350, 360, 400, 401, 451, 452]), min_size=1, max_size=3
    ),
    st.permutations(range(4)),
    st.integers(1, 4),
    st.sampled_from([0, 1, 30]),
)
def test_any_split_overlap_and_order_even_within_what_is_set_aside_gives_one_store(
    spoilt_whole: Path, cuts: list[int], order: list[int], at_once: int, overlap: int
) -> None:
    edges = [0, *sorted(set(cuts)), 600]
    spans = [(a, min(b + overlap, 600)) for a, b in itertools.pairwise(edges)]
    spans = [spans[i] for i in order if i < len(spans)]
    with tempfile.TemporaryDirectory() as place:
        folder = new_drive(Path(place) / "east").folder
        logs = [spoilt_log(Path(place) / f"{n}.csv", *span) for n, span in enumerate(spans)]
        for group in (logs[:at_once], logs[at_once:]):
            if group:
                told(add(folder, group))
        assert stored(folder) == stored(spoilt_whole)


def test_every_row_left_out_is_listed(folder: Path, tmp_path: Path) -> None:
    add(folder, [small_log(tmp_path / "a.csv")])
    report = add(folder, [never_stamped(tmp_path / "c.csv")])
    opened = open_drive(folder)
    listed, clashes = opened.quarantine(), opened.conflicts()
    assert len(listed) == sum(f.report.quarantined_rows for f in report.files) == 2
    assert listed["file"].tolist() == ["c.csv"] * 2
    assert listed["line"][0] == 12
    assert np.isnan(listed["line"][1])
    assert set(listed["reason"]) == set(report.files[0].report.quarantined)
    assert listed["text"][1] == "2030-05-02T00:00:20Z: main_thrust_kN 8000, kept 9060"
    assert (clashes["channel"].tolist(), clashes["kept"].tolist(), clashes["offered"].tolist()) == (
        ["main_thrust_kN"],
        [9060.0],
        [8000.0],
    )
    out = tmp_path / "out.csv"
    assert main(["check", str(folder), "--quarantine", str(out), "--conflicts", str(tmp_path / "k.csv")]) == 0
    assert [line.split(",")[:2] for line in out.read_text().splitlines()] == [
        ["file", "line"],
        ["c.csv", "12"],
        ["c.csv", ""],
    ]
    assert (
        (tmp_path / "k.csv").read_text().splitlines()[1].startswith("c.csv,2030-05-02T00:00:20Z,main_thrust")
    )


def test_quarantined_rows_are_kept_with_line_and_reason(folder: Path, tmp_path: Path) -> None:
    report = add(folder, [never_stamped(tmp_path / "a.csv")])
    ((read, kept, _, quarantined),) = told(report)
    assert (read, kept, sum(quarantined.values())) == (60, 59, 1)
    with reading(folder) as db:
        ((line, reason, text),) = db.execute("SELECT line, reason, text FROM quarantine").fetchall()
    assert (line, text) == (12, row(10).replace("2030-05-02T00:00:10Z", "1970-01-01T00:00:00Z"))
    assert reason in quarantined


@pytest.mark.parametrize("bad", ["missing", "empty", "no log", "open question"])
def test_one_bad_file_and_none_is_taken(folder: Path, tmp_path: Path, bad: str) -> None:
    path = tmp_path / "bad.csv"
    if bad == "empty":
        path.write_bytes(b"")
    if bad == "no log":
        path.write_text("Dear colleagues,\nhere is the report.\n")
    if bad == "open question":
        write_log(path, [row(s, stroke=f"{90_000 + s}") for s in range(60)])
    before = bytes_of(folder)
    with pytest.raises(TbmReviewError, match=r"bad\.csv") as error:
        add(folder, [small_log(tmp_path / "good.csv"), path])
    assert isinstance(error.value, ColumnsOpen if bad == "open question" else LogError)
    assert "\n" not in str(error.value)
    assert bytes_of(folder) == before


@pytest.mark.parametrize("stop", ["cancelled", "interrupted"])
def test_whoever_stops_it_leaves_the_drive_as_it_was(folder: Path, tmp_path: Path, stop: str) -> None:
    log, before = small_log(tmp_path / "a.csv"), bytes_of(folder)

    def interrupt(done: int, total: int) -> None:
        raise KeyboardInterrupt

    if stop == "cancelled":
        with pytest.raises(Cancelled):
            add(folder, [log], cancelled=lambda: True)
    else:
        with pytest.raises(KeyboardInterrupt):
            add(folder, [log], progress=interrupt)
    assert bytes_of(folder) == before
    add(folder, [log])


def test_progress_counts_the_bytes_of_all_files(folder: Path, tmp_path: Path) -> None:
    logs = [small_log(tmp_path / "a.csv", range(-90, 0)), small_log(tmp_path / "b.csv", range(90))]
    seen: list[tuple[int, int]] = []
    add(folder, logs, progress=lambda done, total: seen.append((done, total)))
    size = sum(path.stat().st_size for path in logs)
    assert seen == sorted(seen)
    assert {total for _, total in seen} == {size}
    assert {size // 2, size} < {done for done, _ in seen}  # all read; all merged
    assert seen[-1] == (size, size)


class Line(ProgressLine):
    """Notes what a person would see: (what is done, unit, done, total)."""

    def __init__(self) -> None:
        super().__init__("", "")
        self.seen: list[tuple[str, str, int, int]] = []

    def __call__(self, done: int, total: int) -> None:
        self.seen.append((self._what, self._unit, done, total))


def test_each_part_of_the_work_is_named_while_it_is_done(folder: Path, tmp_path: Path) -> None:
    line, log = Line(), small_log(tmp_path / "a.csv")
    add(folder, [log], progress=line)
    size = log.stat().st_size
    assert list(dict.fromkeys(what for what, *_ in line.seen)) == ["reading", "merging", "reducing"]
    last = {what: rest for what, *rest in line.seen}
    days = len(open_drive(folder).days())
    assert last == {
        "reading": ["B", size // 2, size],
        "merging": ["B", size, size],
        "reducing": ["days", days, days],
    }


def _pressing_at(at: int, seen: list[str]) -> disk.Watch:
    def watch(operation: str, path: Path) -> None:
        seen.append(operation)
        if len(seen) == at + 1:
            signal.raise_signal(signal.SIGINT)

    return watch


def test_ctrl_c_at_any_operation_leaves_the_old_drive_or_the_whole_new_one(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    log, before = small_log(tmp_path / "a.csv"), bytes_of(folder)
    for at in itertools.count(0, 3):
        seen: list[str] = []
        monkeypatch.setattr(disk, "before", _pressing_at(at, seen))
        code = main(["add", str(folder), str(log)])
        said = capsys.readouterr()
        if code == 0:
            break
        assert (code, bytes_of(folder)) == (1, before)
        assert said.err == "tbmreview: cancelled; the drive is as it was\n"
    other = new_drive(tmp_path / "other").folder
    monkeypatch.setattr(
        disk, "before", lambda what, _: what == "commit" and signal.raise_signal(signal.SIGINT)
    )
    assert main(["add", str(other), str(log)]) == 0  # too late to stop it; what follows from it waits
    assert "(stopped)" in capsys.readouterr().out
    assert all_samples(other) == all_samples(folder)


def test_ctrl_c_while_the_program_loads_ends_it_with_the_same_code(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupt() -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr("tbmreview.cli.main", interrupt)
    assert __main__.main() == 1
    assert capsys.readouterr().err == "tbmreview: stopped; the drive is as it was\n"


def test_a_second_writer_waits_for_the_first(folder: Path, tmp_path: Path) -> None:
    log, waited = small_log(tmp_path / "a.csv"), Event()

    def cancelled() -> bool:
        waited.set()  # asked while it waits
        return False

    with ThreadPoolExecutor(1) as pool:
        with writing(folder, "someone") as work:
            second = pool.submit(add, folder, [log], cancelled=cancelled)
            assert waited.wait(20)
            work.record("first", {})
        assert told(second.result()) == [(180, 180, 0, {})]
    assert [entry.what for entry in open_drive(folder).history()] == ["start", "first", "add"]


def test_a_second_writer_is_told(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tbmreview.store.writing.LOCK_WAIT_S", 0.05)
    log = small_log(tmp_path / "a.csv")
    with writing(folder, "someone") as work:
        with pytest.raises(DriveBusy, match="another program is writing"):
            add(folder, [log])
        assert open_drive(folder).days() == {}  # reading goes on
        work.discard()
    assert told(add(folder, [log])) == [(180, 180, 0, {})]


def test_who_opened_before_reads_on_until_the_next_write(folder: Path, tmp_path: Path) -> None:
    add(folder, [small_log(tmp_path / "a.csv", range(-90, 0))])
    opened = open_drive(folder)
    before = all_samples(folder)
    add(folder, [small_log(tmp_path / "b.csv", range(-100, 0))])
    assert opened.samples(0, 2**62).time_us.tolist() == before["time_us"]
    add(folder, [small_log(tmp_path / "c.csv", range(-110, 0))])
    with pytest.raises(DriveError, match="open the drive again"):
        opened.samples(0, 2**62)


def test_a_full_disk_at_any_operation_leaves_the_old_drive(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    add(folder, [small_log(tmp_path / "a.csv", range(-90, 0))])
    log, before = small_log(tmp_path / "b.csv", range(-100, 90)), bytes_of(folder)
    done: list[str] = []
    monkeypatch.setattr(disk, "before", lambda operation, path: done.append(operation))
    with pytest.raises(Cancelled), writing(folder, "me"):
        raise Cancelled
    lock = done.index("lock")
    for failed in itertools.count():
        monkeypatch.setattr(disk, "before", full_disk_at(lock + failed))
        try:
            add(folder, [log])
            break
        except DriveError as error:
            said = str(error)
        assert said.endswith("the disk is full; the drive is as it was")
        assert bytes_of(folder) == before, failed
    assert failed > 10
    assert open_drive(folder).samples(0, 2**62).time_us.size == 190


LIMITED = """
import resource, signal, sys
from tbmreview.cli import main
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
import tbmreview.drive.add, tbmreview.drive.opened
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]), resource.RLIM_INFINITY))
sys.exit(main(["add", *sys.argv[2:]]))
"""


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such limit")
@pytest.mark.parametrize(("limit", "rows", "where"), [(0, 60, "parquet"), (20_000, 60, "catalogue")])
def test_a_disk_that_takes_no_more_is_told_in_one_line(
    folder: Path, tmp_path: Path, limit: int, rows: int, where: str
) -> None:
    """A file may grow to `limit` bytes: the first chunk fails, or the catalogue."""
    before = bytes_of(folder)
    log = write_log(tmp_path / "a.csv", [row(s, thrust=f"{9000 + s * 7919 % 1000}") for s in range(rows)])
    run = subprocess.run(
        [sys.executable, "-c", LIMITED, str(limit), str(folder), str(log)],
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(__file__).parents[2],
    )
    assert (run.returncode, run.stdout, run.stderr.count("\n")) == (1, "", 1)
    assert "the disk is full" in run.stderr or "is the disk full?" in run.stderr
    assert where in run.stderr
    assert bytes_of(folder) == before


def test_a_folder_that_is_no_drive_is_told(tmp_path: Path) -> None:
    with pytest.raises(DriveError, match="tbmreview start"):
        add(tmp_path, [small_log(tmp_path / "a.csv")])


def test_a_setup_edited_since_is_kept_beside_the_first(folder: Path, tmp_path: Path) -> None:
    path = folder / "drive.toml"
    path.write_text(path.read_text().replace("Larkfell, east drive", "Larkfell"))
    add(folder, [small_log(tmp_path / "a.csv")])
    with reading(folder) as db:
        texts = [text for (text,) in db.execute("SELECT text FROM setup ORDER BY first_used_us")]
    assert len(texts) == 2
    assert texts[1] == path.read_text()


def test_local_time_follows_the_zone_of_the_drive(tmp_path: Path) -> None:
    folders = []
    for zone, name in (("Europe/Oslo", "oslo"), ("Asia/Tokyo", "tokyo")):
        setup = tmp_path / f"{name}.toml"
        setup.write_text(SETUP.replace("Europe/Oslo", zone))
        folders.append(start(tmp_path / name, setup).folder)
    log = write_log(tmp_path / "a.csv", [row(s).replace("Z,", ",") for s in range(60)])
    log.write_text(log.read_text().replace("Time UTC", "Time"))
    for folder in folders:
        add(folder, [log])
    oslo, tokyo = (open_drive(folder).time_span_us for folder in folders)
    assert oslo is not None
    assert tokyo is not None
    assert oslo[0] - tokyo[0] == 7 * 3_600_000_000
