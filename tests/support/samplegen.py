"""Drives made on the spot by the sample generator, which lies outside the package and knows nothing of it."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

SOURCE = Path(__file__).parents[2] / "sample_logs" / "generator" / "__init__.py"
NAME = "larkfell_generator"


def generator() -> ModuleType:
    """The generator's package, loaded from its path."""
    if NAME not in sys.modules:
        spec = importlib.util.spec_from_file_location(
            NAME, SOURCE, submodule_search_locations=[str(SOURCE.parent)]
        )
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[NAME] = module
        spec.loader.exec_module(module)
    return sys.modules[NAME]


def make_drive(folder: Path, seed: int, days: float = 2, **options: Any) -> Any:
    """A drive in `folder`: drive.toml, mapped.csv, predicted.csv and a Parquet log a day.

    options: fields of the generator's `Options`. Returns its `Truth`: frames `seconds`, `strokes`,
    `periods`, `daily`, `delays`, `ground`, and the paths `files`, `setup`, `mapped`, `predicted`.
    """
    made = generator()
    return made.make_drive(folder, made.Options(seed=seed, days=days, **options))


def simulate(seed: int, days: float = 2, **options: Any) -> Any:
    """(truth, log) of a drive without writing a file; the log's columns are the generator's keys."""
    made = generator()
    return made.simulate(made.Options(seed=seed, days=days, **options))
