"""The layers of the house: the tree keeps every contract, and every contract sees a planted violation."""

import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
LINTER = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]
CONTRACTS = {contract["name"] for contract in LINTER["contracts"]}

LAYERS = "layers from the command line down to the nouns"
NO_QT = "no Qt below paint"
NO_PYQTGRAPH = "no pyqtgraph below viewer"
ARRAYS_ONLY = "the computing core knows arrays only"
NO_CYCLES = "no import cycles between the parts"


@dataclass(frozen=True)
class Plant:
    """Lines written into modules of an otherwise empty house, and the contract that they break."""

    what: str
    contract: str
    modules: dict[str, str]


UPWARDS = (
    ("commands", "cli"),
    ("viewer", "commands"),
    ("sheet", "viewer"),
    ("paint", "sheet"),
    ("help", "paint"),
    ("scene", "help"),
    ("drive", "scene"),
    ("store", "drive"),
    ("domain", "motion"),
)
SIDEWAYS = (("ingest", "store"), ("motion", "ingest"), ("indicators", "motion"), ("findings", "indicators"))
PLANTS = (
    *(
        Plant(f"{low} imports {high}", LAYERS, {f"{low}/planted": f"import tbmreview.{high}"})
        for low, high in (*UPWARDS, *SIDEWAYS)
    ),
    Plant("a module that is no layer", LAYERS, {"stray": ""}),
    Plant(
        "an import for type checking only",
        LAYERS,
        {"domain/planted": "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    import tbmreview.drive"},
    ),
    *(
        Plant(
            f"Qt in {layer}", NO_QT, {f"{layer}/planted": "def late():\n    from PySide6.QtGui import QImage"}
        )
        for layer in (
            "domain",
            "ingest",
            "store",
            "motion",
            "indicators",
            "findings",
            "drive",
            "scene",
            "help",
        )
    ),
    Plant("pyqtgraph in scene", NO_QT, {"scene/planted": "import pyqtgraph"}),
    Plant("pyqtgraph in paint", NO_PYQTGRAPH, {"paint/planted": "from pyqtgraph import mkPen"}),
    Plant("pyqtgraph in sheet", NO_PYQTGRAPH, {"sheet/planted": "import pyqtgraph.exporters"}),
    *(
        Plant(f"{package} in {layer}", ARRAYS_ONLY, {f"{layer}/planted": f"import {package}"})
        for layer, package in (
            ("domain", "pyarrow"),
            ("motion", "pandas"),
            ("indicators", "pyarrow.compute"),
            ("findings", "pandas"),
        )
    ),
    Plant(
        "two modules of a layer that need each other",
        NO_CYCLES,
        {
            "store/one": "from tbmreview.store import two",
            "store/two": "def late():\n    import tbmreview.store.one",
        },
    ),
)


LINT_EACH = """
import os, sys
from importlinter.cli import lint_imports
for folder in sys.argv[2:]:
    os.chdir(folder)
    print("FOLDER", folder, flush=True)
    lint_imports(config_filename=sys.argv[1], no_cache=True, no_logo=True)
"""


def broken_contracts(folders: Sequence[Path]) -> list[set[str]]:
    """For the package in each folder, the names of the contracts of pyproject.toml that it breaks."""
    done = subprocess.run(
        [sys.executable, "-c", LINT_EACH, str(ROOT / "pyproject.toml"), *map(str, folders)],
        env={**os.environ, "COLUMNS": "200"},
        capture_output=True,
        text=True,
        check=True,
    )
    _, *reports = done.stdout.split("FOLDER ")
    assert len(reports) == len(folders)
    broken = []
    for report in reports:
        verdicts = dict(re.findall(r"^(.+) (KEPT|BROKEN)$", report, re.MULTILINE))
        assert verdicts.keys() == CONTRACTS, f"not every contract was checked:\n{report}"
        broken.append({name for name, verdict in verdicts.items() if verdict == "BROKEN"})
    return broken


def build_house(folder: Path, plant: Plant | None = None) -> Path:
    """The parts of the package, all of them empty but for the plant."""
    for part in (ROOT / "tbmreview").iterdir():
        home = folder / "tbmreview" / part.name
        home = home if part.suffix == ".py" else home / "__init__.py"
        if part.suffix == ".py" or (part / "__init__.py").exists():
            home.parent.mkdir(parents=True, exist_ok=True)
            home.touch()
    for module, lines in plant.modules.items() if plant else ():
        (folder / "tbmreview" / f"{module}.py").write_text(lines, "utf-8")
    return folder


def test_the_tree_and_an_empty_house_keep_every_contract(tmp_path: Path) -> None:
    assert broken_contracts([ROOT, build_house(tmp_path)]) == [set(), set()]


@pytest.fixture(scope="module")
def broken_by(tmp_path_factory: pytest.TempPathFactory) -> dict[str, set[str]]:
    """What each plant breaks, by what it is; all linted by one process, which takes most of its time to start."""
    houses = [build_house(tmp_path_factory.mktemp("house"), plant) for plant in PLANTS]
    return dict(zip((plant.what for plant in PLANTS), broken_contracts(houses), strict=True))


@pytest.mark.parametrize("plant", PLANTS, ids=lambda plant: plant.what)
def test_a_planted_violation_breaks_its_contract(broken_by: dict[str, set[str]], plant: Plant) -> None:
    assert broken_by[plant.what] == {plant.contract}


def test_every_contract_has_its_plant() -> None:
    assert {plant.contract for plant in PLANTS} == CONTRACTS


def ruff_forbids(module: str, lines: str) -> bool:
    """Whether ruff reports a banned import in `lines`, were they the text of `module`."""
    done = subprocess.run(
        [sys.executable, "-m", "ruff", "check", "--no-cache", "--stdin-filename", module, "-"],
        cwd=ROOT,
        input=lines,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode in (0, 1), done.stderr
    return "TID251" in done.stdout


@pytest.mark.parametrize(
    "lines",
    [
        "from PySide6 import QtWidgets\n",
        "from PySide6.QtWidgets import QLabel\n",
        "import PySide6.QtWidgets\n",
        "def late():\n    from PySide6.QtSvgWidgets import QSvgWidget\n",
    ],
)
def test_widgets_are_forbidden_outside_viewer(lines: str) -> None:
    forbidden = {
        part: ruff_forbids(f"tbmreview/{part}.py", lines)
        for part in ("cli", "sheet/planted", "paint/planted")
    }
    assert all(forbidden.values()), forbidden
    assert not ruff_forbids("tbmreview/viewer/planted.py", lines)


def test_gui_without_widgets_is_allowed_on_paper() -> None:
    assert not ruff_forbids("tbmreview/sheet/planted.py", "from PySide6.QtGui import QPdfWriter\n")
