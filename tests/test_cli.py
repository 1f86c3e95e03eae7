"""The command line as a script sees it: names, exit codes, one clear line, the drive as before."""

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tbmreview.cli import main
from tbmreview.drive.columns_text import FINDINGS_COLUMNS, TABLE_COLUMNS, TIME_COLUMNS
from tests.support.samplegen import make_drive
from tests.support.small_drive import SETUP, bytes_of, small_log

# The columns that scripts rely on, as agreed; the program's own lists are held against them.
TABLE = (
    "position_from_m, position_to_m, chainage_from_m, chainage_to_m, start_utc, end_utc, stroke, ring, shift, "
    "advance_m, boring_s, revolutions, head_speed_rpm, penetration_mm_rev, penetration_rate_m_h, thrust_kN, "
    "net_thrust_kN, torque_kNm, net_torque_kNm, disc_load_kN, net_disc_load_kN, fpi_kN_per_mm_rev, "
    "net_fpi_kN_per_mm_rev, tpi_kNm_per_mm_rev, specific_energy_MJ_m3, thrust_energy_MJ_m3, rotary_energy_MJ_m3, "
    "net_specific_energy_MJ_m3, torque_ratio, segment_reacted_share, unrecorded_advance_m, drag_source, "
    "net_thrust_low_kN, net_thrust_high_kN, counted"
)
TIME = (
    "shift_start_utc, shift, boring_h, turning_free_h, turning_loaded_h, regrip_h, ring_build_h, standing_h, "
    "no_record_h, total_h, advance_m, utilisation_calendar, penetration_rate_m_h, advance_rate_m_h"
)
FINDINGS = (
    "id, kind, position_from_m, position_to_m, chainage_from_m, chainage_to_m, start_utc, end_utc, strength, "
    "evidence, verdict, decided_by, decided_utc, note, group"
)
COMMANDS = (
    "demo",
    "start",
    "columns",
    "add",
    "ground",
    "anchors",
    "delays",
    "overrule",
    "table",
    "time",
    "findings",
    "verdict",
    "marks",
    "mark",
    "sign-off",
    "alignment",
    "balance",
    "backfill",
    "water",
    "discs",
    "pads",
    "classes",
    "expect",
    "fit",
    "penetration-test",
    "sheet",
    "shift",
    "check",
    "view",
    "help",
)
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """(exit code, standard output, standard error) of a command."""

    def command(*words: object) -> tuple[int, str, str]:
        try:
            code = main([str(word) for word in words])
        except SystemExit as stop:  # argparse: wrong usage, --help
            code = int(stop.code or 0)
        said = capsys.readouterr()
        return code, said.out, said.err

    return command


@pytest.fixture(scope="session")
def two_days(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A drive of two invented days with its ground."""
    folder = tmp_path_factory.mktemp("cli")
    truth = make_drive(folder / "made", seed=41, days=2)
    drive = folder / "drive"
    assert main(["start", str(drive), "--setup", str(truth.setup)]) == 0
    assert main(["add", str(drive), *map(str, truth.files)]) == 0
    assert main(["ground", str(drive), str(truth.mapped), "--as", "mapped"]) == 0
    assert main(["ground", str(drive), str(truth.predicted), "--as", "predicted", "--name", "tender"]) == 0
    return drive


@pytest.fixture
def small(tmp_path: Path, run: Run) -> Path:
    """A drive without samples."""
    (tmp_path / "setup.toml").write_text(SETUP, encoding="utf-8")
    assert run("start", tmp_path / "drive", "--setup", tmp_path / "setup.toml")[0] == 0
    return tmp_path / "drive"


def test_the_columns_are_those_agreed() -> None:
    assert ", ".join(TABLE_COLUMNS).startswith(TABLE + ", ")  # further indicators come after them
    assert ", ".join(TIME_COLUMNS) == TIME
    assert ", ".join(FINDINGS_COLUMNS) == FINDINGS


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself_with_an_example(command: str, run: Run) -> None:
    code, out, _ = run(command, "--help")
    assert code == 0
    assert f"example:\n  tbmreview {command} " in out


def test_help_lists_every_command(run: Run) -> None:
    _, out, _ = run("--help")
    assert re.findall(r"^    ([\w-]+)(?: |$)", out, re.MULTILINE) == list(COMMANDS)


@pytest.mark.parametrize(
    ("by", "rows"),
    [("step", None), ("stroke", None), ("ring", None), ("shift", None), ("day", None), ("drive", 1)],
)
def test_every_grouping_holds_the_whole_advance(
    by: str, rows: int | None, two_days: Path, run: Run, tmp_path: Path
) -> None:
    out = tmp_path / "t.csv"
    code, said, _ = run("table", two_days, "--by", by, "--out", out)
    assert code == 0
    assert str(out) in said
    table = pd.read_csv(out)
    whole = tmp_path / "whole.csv"
    run("table", two_days, "--by", "drive", "--out", whole)
    assert tuple(table.columns)[: len(TABLE_COLUMNS)] == TABLE_COLUMNS
    assert table["advance_m"].sum() == pytest.approx(pd.read_csv(whole)["advance_m"].sum(), rel=1e-9)
    assert rows is None or len(table) == rows


def test_ground_that_covers_a_part_leaves_an_outside_so_that_totals_hold(
    two_days: Path, run: Run, tmp_path: Path
) -> None:
    shutil.copytree(two_days, tmp_path / "drive")
    (tmp_path / "part.csv").write_text("from,to,rock\n4185,4190,gneiss\n4190,4195,schist\n", encoding="utf-8")
    assert run("ground", tmp_path / "drive", tmp_path / "part.csv", "--as", "mapped")[0] == 0
    run("table", tmp_path / "drive", "--by", "ground", "--out", tmp_path / "g.csv")
    run("table", tmp_path / "drive", "--by", "drive", "--out", tmp_path / "d.csv")
    advance = pd.read_csv(tmp_path / "g.csv").groupby("ground")["advance_m"].sum()
    assert advance["gneiss"] == pytest.approx(5.0, abs=1e-6)
    assert advance["schist"] == pytest.approx(5.0, abs=1e-6)
    assert advance.sum() == pytest.approx(pd.read_csv(tmp_path / "d.csv")["advance_m"].sum(), rel=1e-9)
    assert advance["outside"] == pytest.approx(advance.sum() - 10.0, abs=1e-6)


def test_a_stretch_by_chainage_in_either_order(two_days: Path, run: Run, tmp_path: Path) -> None:
    for name, ends in (("a", ("4+190", "4+200")), ("b", ("4200.0", "4190.0"))):
        run(
            "table",
            two_days,
            "--by",
            "step",
            "--from",
            ends[0],
            "--to",
            ends[1],
            "--out",
            tmp_path / f"{name}.csv",
        )
    one, other = pd.read_csv(tmp_path / "a.csv"), pd.read_csv(tmp_path / "b.csv")
    pd.testing.assert_frame_equal(one, other)
    assert one["chainage_from_m"].min() == 4190.0
    assert one["chainage_to_m"].max() == 4200.0
    assert one["advance_m"].sum() == pytest.approx(10.0, abs=1e-6)


def test_hours_of_every_shift_add_up(two_days: Path, run: Run, tmp_path: Path) -> None:
    run("time", two_days, "--by", "shift", "--out", tmp_path / "t.csv")
    hours = pd.read_csv(tmp_path / "t.csv")
    states = hours[
        [
            "boring_h",
            "turning_free_h",
            "turning_loaded_h",
            "regrip_h",
            "ring_build_h",
            "standing_h",
            "no_record_h",
        ]
    ]
    assert (states.sum(axis=1) - hours["total_h"]).abs().max() < 1e-9
    assert (hours["total_h"] == 8.0).all()


@pytest.mark.parametrize("suffix", [".csv", ".parquet", ".xlsx"])
def test_findings_in_every_format(suffix: str, two_days: Path, run: Run, tmp_path: Path) -> None:
    code, *_ = run("findings", two_days, "--out", tmp_path / f"f{suffix}")
    assert code == 0
    assert (tmp_path / f"f{suffix}").stat().st_size > 0


def test_text_at_the_terminal_has_units_and_the_caution(two_days: Path, run: Run) -> None:
    assert "MJ/m³" in run("table", two_days, "--by", "stroke")[1]
    code, said, warned = run("table", two_days, "--by", "stroke", "--uncertainty", "--response")
    assert (code, "critical load" in said, "no accuracy is given" in warned) == (0, True, True)
    assert "no finding does not mean safe ground" in run("findings", two_days)[1]


def test_observed_against_expected_names_the_ground_it_used(two_days: Path, run: Run, tmp_path: Path) -> None:
    words = ("expect", two_days, "--model", "hassanpour-2011", "--ground", "predicted", "--name", "tender")
    assert run(*words, "--out", tmp_path / "e.csv")[0] == 0
    rows = pd.read_csv(tmp_path / "e.csv")
    assert set(rows["ground_name"]) == {"tender"}
    assert set(rows["label"]) == {"coefficients from memory, unconfirmed"}
    np.testing.assert_allclose(rows["observed"] / rows["expected"], rows["observed_over_expected"])
    code, out, _ = run(*words)
    assert code == 0
    assert "coefficients from memory, unconfirmed" in out
    for wrong in (("--model", "oracle"), ("--stated", "disc_tip_mm"), ("--stated", "x=1")):
        assert run("expect", two_days, *wrong)[0] == 2


def test_a_fit_is_refused_in_words_or_kept(two_days: Path, run: Run, tmp_path: Path) -> None:
    drive = tmp_path / "drive"
    shutil.copytree(two_days, drive)
    assert run("fit", drive)[1].strip() == "no fit is kept in this drive"
    code, _, err = run("fit", drive, "--on", "gsi")
    assert code == 1
    assert "0 intervals can be used" in err
    assert run("fit", drive, "--on", "colour")[0] == run("fit", drive, "--keep", "x")[0] == 2
    rows = "".join(f"{4180 + i},{4181 + i},gneiss,{90 + i % 7 * 10}\n" for i in range(12))
    (tmp_path / "metres.csv").write_text(f"from,to,rock,UCS [MPa]\n{rows}", encoding="utf-8")
    assert run("ground", drive, tmp_path / "metres.csv", "--as", "mapped")[0] == 0
    files = "--out", tmp_path / "c.csv", "--intervals", tmp_path / "i.parquet"
    code, out, _ = run("fit", drive, "--on", "ucs", "--robust", "--keep", "metres", *files)
    assert code == 0
    assert "kept: 'metres'" in out
    assert pd.read_csv(tmp_path / "c.csv")["term"].tolist() == ["constant", "ucs_MPa"]
    assert len(pd.read_parquet(tmp_path / "i.parquet")) == 12
    assert "as when kept" in run("fit", drive)[1]
    assert "site fit, 12 intervals" in run("expect", drive, "--model", "metres")[1]
    (tmp_path / "metres.csv").write_text(
        f"from,to,rock,UCS [MPa]\n{rows}4195,4197,schist,60\n", encoding="utf-8"
    )
    assert run("ground", drive, tmp_path / "metres.csv", "--as", "mapped")[0] == 0
    assert "data changed since" in run("fit", drive)[1]


def test_check_of_a_sound_drive(two_days: Path, run: Run) -> None:
    assert run("check", two_days)[0] == 0


def test_the_same_files_twice_change_nothing(small: Path, run: Run, tmp_path: Path) -> None:
    log = small_log(tmp_path / "log.csv")
    assert run("add", small, log)[0] == 0
    before = run("table", small, "--by", "drive")[1]
    code, said, _ = run("add", small, log)
    assert code == 0
    assert "180" in said
    assert run("table", small, "--by", "drive")[1] == before


# What a person may get wrong: the words after `tbmreview`, the exit code, and what the line must say.
WRONG = [
    (("add", "{drive}", "nowhere.csv"), 1, "nowhere.csv"),
    (("add", "{drive}", "{empty}"), 1, "empty.csv"),
    (("add", "{drive}", "{novel}"), 1, "novel.txt"),
    (("add", "{drive}", "{picture}"), 1, "picture.csv"),
    (("add", "{drive}", "{good}", "{novel}"), 1, "novel.txt"),
    (("add", "{folder}", "{good}"), 1, "no drive"),
    (("table", "{folder}", "--by", "drive"), 1, "no drive"),
    (("check", "{folder}"), 1, "no drive"),
    (("view", "nowhere"), 1, "nowhere"),
    (("ground", "{drive}", "{novel}", "--as", "mapped"), 1, "novel.txt"),
    (("ground", "{drive}", "nowhere.csv", "--as", "mapped"), 1, "nowhere.csv"),
    (("start", "{drive}", "--setup", "{setup}"), 1, "in the way"),
    (("start", "new", "--setup", "nowhere.toml"), 1, "nowhere.toml"),
    (("table", "{drive}", "--by", "week"), 2, "week"),
    (("table", "{drive}", "--by", "step", "--step", "0.25"), 2, "multiple of 0.1"),
    (("table", "{drive}", "--by", "step", "--step", "0"), 2, "multiple of 0.1"),
    (("table", "{drive}", "--by", "step", "--from", "four"), 2, "four"),
    (("table", "{drive}", "--by", "step", "--from", "nan"), 2, "no chainage"),
    (("table", "{drive}", "--by", "step", "--from", "1e400"), 2, "no chainage"),
    (("sheet", "{drive}", "--from", "nan", "--to", "4190", "--out", "s.pdf"), 2, "no chainage"),
    (("table", "{drive}", "--by", "step", "--step", "1e9"), 2, "up to"),
    (("table", "{drive}", "--by", "drive", "--out", "x.docx"), 2, ".csv"),
    (("table", "{drive}", "--by", "drive", "--out", "nowhere/x.csv"), 1, "nowhere"),
    (("sheet", "{drive}", "--from", "4180", "--to", "4190", "--scale", "big", "--out", "s.pdf"), 2, "big"),
    (("fly", "{drive}"), 2, "fly"),
    ((), 2, "COMMAND"),
]


@pytest.mark.parametrize(
    ("words", "code", "says"), WRONG, ids=[" ".join(w) or "nothing" for w, _, _ in WRONG]
)
def test_a_mistake_is_one_clear_line_and_changes_nothing(
    words: tuple[str, ...],
    code: int,
    says: str,
    small: Path,
    run: Run,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "empty.csv").write_bytes(b"")
    (tmp_path / "novel.txt").write_text(
        "It was a bright cold day in the tunnel,\nand the clocks were striking.\n" * 40
    )
    (tmp_path / "picture.csv").write_bytes(bytes(range(256)) * 64)
    (tmp_path / "folder").mkdir()
    places = {
        "drive": small,
        "folder": tmp_path / "folder",
        "setup": tmp_path / "setup.toml",
        "good": small_log(tmp_path / "good.csv"),
    }
    places |= {
        name: tmp_path / file
        for name, file in (("empty", "empty.csv"), ("novel", "novel.txt"), ("picture", "picture.csv"))
    }
    before = bytes_of(small)
    got, _, err = run(*(word.format(**places) for word in words))
    assert got == code
    assert says in err
    assert "Traceback" not in err
    if code == 1:
        assert len(err.strip().splitlines()) == 1
    assert bytes_of(small) == before
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ("bore_diameter_m = -6\n", "bore_diameter_m"),
        ("colour = 3\n", "colour"),
        ("disc_count = 41.5\n", "disc_count"),
        ('kind = "mole"\n', "open gripper"),
        ("][\n", "setup.toml"),
    ],
)
def test_a_wrong_setup_names_file_key_and_what_was_expected(
    wrong: str, says: str, run: Run, tmp_path: Path
) -> None:
    key = wrong.split(" =")[0]
    kept = "\n".join(line for line in SETUP.splitlines() if not line.startswith(key))
    (tmp_path / "setup.toml").write_text(kept + "\n" + wrong, encoding="utf-8")
    code, _, err = run("start", tmp_path / "drive", "--setup", tmp_path / "setup.toml")
    assert code == 1
    assert says in err
    assert "setup.toml" in err
    assert len(err.strip().splitlines()) == 1
    assert not (tmp_path / "drive").exists()
