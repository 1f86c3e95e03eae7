"""What computes runs without Qt, and the command line starts without what a command does not need."""

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
CONTRACTS = {
    contract["name"]: contract
    for contract in tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"][
        "contracts"
    ]
}

IMPORT_ALL = """
import importlib, pkgutil, sys
forbidden, packages = sys.argv[1].split(), sys.argv[2].split()
for name in packages:
    package = importlib.import_module(name)
    for module in pkgutil.walk_packages(getattr(package, "__path__", []), name + "."):
        importlib.import_module(module.name)
        came = [one for one in forbidden if one in sys.modules]
        if came:
            sys.exit(f"{module.name} brings in {came}")
    came = [one for one in forbidden if one in sys.modules]
    if came:
        sys.exit(f"{name} brings in {came}")
print(len([one for one in sys.modules if one.startswith("tbmreview")]))
"""


def import_all(packages: list[str], without: list[str]) -> int:
    """Import every module of `packages` in a fresh interpreter; the number of modules of ours then loaded."""
    done = subprocess.run(
        [sys.executable, "-c", IMPORT_ALL, " ".join(without), " ".join(packages)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return int(done.stdout)


@pytest.mark.parametrize("name", ["no Qt below paint", "the computing core knows arrays only"])
def test_importing_all_of_it_brings_in_nothing_forbidden(name: str) -> None:
    contract = CONTRACTS[name]
    files = [
        path for part in contract["source_modules"] for path in (ROOT / part.replace(".", "/")).rglob("*.py")
    ]
    assert import_all(contract["source_modules"], without=contract["forbidden_modules"]) >= len(files) > 20


def test_the_command_line_starts_light() -> None:
    """``tbmreview --help`` waits for no Qt and no tables; each command imports what it needs."""
    import_all(["tbmreview.cli"], without=["PySide6", "pyqtgraph", "pandas", "pyarrow"])
