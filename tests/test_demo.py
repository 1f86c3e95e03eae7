"""The sample drive as a newcomer meets it: the demo held against truth, and the commands of the README."""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tbmreview.cli import main
from tbmreview.findings import DETECTORS
from tbmreview.findings.detector import DATA
from tbmreview.findings.registry import GROUND_KINDS

ROOT = Path(__file__).parents[1]
TRUTH = ROOT / "sample_logs" / "truth" / "strokes.csv"
README = (ROOT / "README.md").read_text("utf-8")
pytestmark = pytest.mark.usefixtures("qapp")  # commands that draw, in this process


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The folder that the demo wrote into, and what it printed."""
    folder = tmp_path_factory.mktemp("demo")
    done = subprocess.run(
        [sys.executable, "-m", "tbmreview", "demo", str(folder), "--no-window"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return folder, done.stdout


def test_the_demo_comes_as_near_to_truth_as_it_says(demo: tuple[Path, str], tmp_path: Path) -> None:
    folder, said = demo
    main(["table", str(folder / "drive"), "--by", "stroke", "--out", str(tmp_path / "s.csv")])
    ours, truth = pd.read_csv(tmp_path / "s.csv"), pd.read_csv(TRUTH)
    assert len(ours) == len(truth)
    assert f"strokes found in their place: {len(truth)}" in said
    assert ours["advance_m"].sum() == pytest.approx(truth["advance_m"].sum(), rel=1e-3)
    for name in ("advance_m", "specific_energy_MJ_m3", "fpi_kN_per_mm_rev"):
        assert np.abs(ours[name] / truth[name] - 1).max() < 5e-3, name
    net = np.abs(ours["net_fpi_kN_per_mm_rev"] / truth["net_fpi_kN_per_mm_rev"] - 1)
    assert net.median() < 0.01


def test_the_demo_finds_both_faults_and_the_zone_that_nobody_predicted(
    demo: tuple[Path, str], tmp_path: Path
) -> None:
    main(["findings", str(demo[0] / "drive"), "--out", str(tmp_path / "f.csv")])
    told = pd.read_csv(tmp_path / "f.csv")
    every = told[told["kind"].isin(GROUND_KINDS)]
    ground = pd.read_csv(ROOT / "sample_logs" / "mapped.csv")
    zones = ground[ground["Rock"].str.contains("fault|crushed")]
    found = every[every["kind"] == "FPI low"]
    assert len(found) == len(zones)
    assert np.abs(found["chainage_from_m"].to_numpy() - zones["Chainage from [m]"].to_numpy()).max() < 1.5
    assert np.abs(found["chainage_to_m"].to_numpy() - zones["Chainage to [m]"].to_numpy()).max() < 1.5
    in_groups = every["group"].isin(found["group"])
    steps = every[every["kind"] == "step in FPI"]
    assert in_groups.sum() + len(steps) == len(every)
    bounds = ground["Chainage from [m]"].to_numpy()
    for place in steps["chainage_from_m"]:
        assert np.abs(bounds - place).min() < 1.5


def test_the_demo_finds_the_faults_of_the_data_that_were_planted_and_no_other(
    demo: tuple[Path, str], tmp_path: Path
) -> None:
    main(["findings", str(demo[0] / "drive"), "--out", str(tmp_path / "f.csv")])
    told = pd.read_csv(tmp_path / "f.csv")
    kinds = [kind for detector in DETECTORS if detector.family == DATA for kind in detector.kinds]
    found = told[told["kind"].isin(kinds)].set_index("kind")
    assert sorted(found.index) == ["channel stuck", "gap in the record", "readings missing"]
    planted = pd.read_csv(ROOT / "sample_logs" / "truth" / "defects.csv").set_index("kind")
    for kind, true in (
        ("channel stuck", "stuck"),
        ("gap in the record", "gap"),
        ("readings missing", "empty"),
    ):
        off = pd.Timestamp(found["start_utc"][kind]) - pd.Timestamp(
            planted["first_stamp_utc"][true], tz="UTC"
        )
        assert abs(off) < pd.Timedelta("2min")


def test_in_the_held_stretch_gross_fpi_rises_while_net_falls(demo: tuple[Path, str], tmp_path: Path) -> None:
    for name, low, high in (("schist", "4370", "4384"), ("held", "4389", "4397")):
        main(
            [
                "table",
                str(demo[0] / "drive"),
                "--by",
                "drive",
                "--from",
                low,
                "--to",
                high,
                "--out",
                str(tmp_path / f"{name}.csv"),
            ]
        )
    schist, held = (pd.read_csv(tmp_path / f"{name}.csv").iloc[0] for name in ("schist", "held"))
    assert held["fpi_kN_per_mm_rev"] > 1.5 * schist["fpi_kN_per_mm_rev"]
    assert held["net_fpi_kN_per_mm_rev"] < 0.5 * schist["net_fpi_kN_per_mm_rev"]


def test_the_page_tells_the_figures_of_the_tables(demo: tuple[Path, str], tmp_path: Path) -> None:
    folder, said = demo
    main(["table", str(folder / "drive"), "--by", "ground", "--out", str(tmp_path / "g.csv")])
    columns = ["chainage_from_m", "chainage_to_m", "advance_m", "penetration_mm_rev", "net_disc_load_kN"]
    columns += ["fpi_kN_per_mm_rev", "net_fpi_kN_per_mm_rev", "net_specific_energy_MJ_m3", "torque_ratio"]
    ground = pd.read_csv(tmp_path / "g.csv")
    page = said.partition("Mapped ground\n")[2].partition("Noticed\n")[0].splitlines()[3:-1]
    assert len(page) == len(ground)
    for line, (_, row) in zip(page, ground.iterrows(), strict=True):
        assert line.startswith(row["ground"])
        told = [float(text) for text in line.removeprefix(row["ground"]).split()]
        assert told == pytest.approx([*row[columns], row["segment_reacted_share"]], abs=0.0501)


def test_the_page_tells_where_the_segments_bore_the_thrust_and_every_finding(
    demo: tuple[Path, str], tmp_path: Path
) -> None:
    folder, said = demo
    truth = pd.read_csv(TRUTH)
    of_ring = truth[truth["pushing_set"] == "auxiliary"]
    told = re.search(r"off the ring +([\d.]+) % of the advance (.+?)\n\n", said, re.DOTALL)
    assert told
    assert float(told[1]) == pytest.approx(
        100 * of_ring["advance_m"].sum() / truth["advance_m"].sum(), abs=0.2
    )
    strokes = [int(count) for count in re.findall(r"\((\d+)\s+strokes\)", told[2])]
    assert sum(strokes) == len(of_ring)
    main(["findings", str(folder / "drive"), "--out", str(tmp_path / "f.csv")])
    found = pd.read_csv(tmp_path / "f.csv")
    noticed = said.partition("Noticed\n")[2].partition("Against the truth")[0]
    assert re.findall(r"^F\d+ +(.+?): ", noticed, re.MULTILINE) == found["kind"].tolist()
    assert max(map(len, noticed.splitlines())) <= 100


def test_the_demo_writes_sheets_and_a_table(demo: tuple[Path, str]) -> None:
    folder, _ = demo
    assert (folder / "sheet.pdf").read_bytes().startswith(b"%PDF")
    assert b"1:1000" in (folder / "whole.pdf").read_bytes().replace(b"\x00", b"")
    metres = pd.read_csv(folder / "by-metre.csv")
    assert metres["advance_m"].sum() == pytest.approx(pd.read_csv(TRUTH)["advance_m"].sum(), rel=1e-3)


def test_the_demo_again_opens_what_is_there(
    demo: tuple[Path, str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["demo", str(demo[0]), "--no-window"]) == 0
    assert "was there already" in capsys.readouterr().out


def test_the_commands_of_the_readme_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "sample_logs").symlink_to(ROOT / "sample_logs")
    monkeypatch.chdir(tmp_path)
    commands = re.findall(r"^    tbmreview (.+)$", README, re.MULTILINE)
    assert len(commands) >= 9
    for command in commands:
        if command.startswith("view"):
            continue  # the window has tests of its own
        words = shlex.split(command)
        if "sample_logs/logs/*" in words:  # what the shell does
            at = words.index("sample_logs/logs/*")
            words[at : at + 1] = sorted(str(p) for p in Path("sample_logs/logs").iterdir())
        assert main(words) == 0, command
    assert Path("sheet.pdf").is_file()
    notebook = re.search(r"### From a notebook\n\n((?:    .+\n|\n)+)", README)
    assert notebook
    done = subprocess.run(
        [sys.executable, "-c", re.sub(r"^    ", "", notebook[1], flags=re.MULTILINE)],
        env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "net_fpi_kN_per_mm_rev" in done.stdout
