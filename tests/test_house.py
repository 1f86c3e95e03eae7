"""The house stays in order: what lies where, how long things may grow, what is declared and what is said."""

import ast
import importlib.metadata
import re
import sys
import tomllib
from collections.abc import Iterator
from fnmatch import fnmatch
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "tbmreview"
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
IGNORED = [
    line.strip("/")
    for line in (ROOT / ".gitignore").read_text("utf-8").splitlines()
    if line[:1] not in ("", "#")
]

LONGEST_FILE = 500
LONGEST_FUNCTION = 60
TEXT = {".md", ".py", ".sh", ".sql", ".toml", ".txt", ".csv", ".cfg", ""}


def ignored(path: Path) -> bool:
    """Whether a build, a tool or the demo left this behind (.gitignore names it)."""
    return any(fnmatch(part, pattern) for part in path.relative_to(ROOT).parts for pattern in IGNORED)


def files(folder: Path) -> Iterator[Path]:
    return (path for path in sorted(folder.rglob("*")) if path.is_file() and not ignored(path))


def modules() -> Iterator[tuple[str, ast.Module]]:
    """The modules of the program: place and syntax tree."""
    for path in files(PACKAGE):
        if path.suffix == ".py":
            yield str(path.relative_to(ROOT)), ast.parse(path.read_text("utf-8"))


def requirements() -> list[Requirement]:
    """What a user's environment needs."""
    return [Requirement(text) for text in PYPROJECT["project"]["dependencies"]]


def developers_requirements() -> list[Requirement]:
    return [Requirement(text) for text in PYPROJECT["project"]["optional-dependencies"]["dev"]]


def pins() -> dict[str, str]:
    lines = (ROOT / "packaging" / "constraints.txt").read_text("utf-8").splitlines()
    pairs = (line.split("==") for line in lines if line and not line.startswith("#"))
    return {canonicalize_name(name): version for name, version in pairs}


def test_the_top_level_is_what_the_design_says() -> None:
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".") and not ignored(path)}
    assert found == {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "tbmreview",
        "tests",
        "sample_logs",
        "packaging",
    }


def test_no_module_is_a_drawer_for_odds_and_ends() -> None:
    drawers = {"util", "utils", "common", "helper", "helpers", "misc", "tools"}
    assert not [str(path) for path in files(ROOT / "tbmreview") if drawers & {path.stem, *path.parts}]


def test_files_stay_short() -> None:
    long = {
        place: tree.body[-1].end_lineno
        for place, tree in modules()
        if tree.body and (tree.body[-1].end_lineno or 0) > LONGEST_FILE
    }
    assert not long, f"longer than {LONGEST_FILE} lines"


def test_functions_stay_short() -> None:
    long = {
        f"{place}:{node.lineno} {node.name}": length
        for place, tree in modules()
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and (length := (node.end_lineno or 0) - node.lineno + 1) > LONGEST_FUNCTION
    }
    assert not long, f"longer than {LONGEST_FUNCTION} lines"


def test_every_module_says_what_it_is() -> None:
    assert not [place for place, tree in modules() if not ast.get_docstring(tree)]


def test_nothing_names_a_registry_or_a_folder_of_one_machine() -> None:
    hosts = [("pypi", "org"), ("pythonhosted", "org"), ("debian", "org"), ("ubuntu", "com"), ("npmjs", "org")]
    names = [r"\.".join(host) for host in hosts] + [f"/{folder}/" for folder in ("work", "root", "home")]
    pattern = re.compile("|".join(names))
    told = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()}"
        for folder in ("tbmreview", "tests", "sample_logs", "packaging", ".ci")
        for path in files(ROOT / folder)
        if path.suffix in TEXT and path.stat().st_size < 1_000_000
        for number, line in enumerate(path.read_text("utf-8", errors="replace").splitlines(), 1)
        if pattern.search(line)
    ]
    for name in ("README.md", "DEVELOPERS.md", "pyproject.toml"):
        assert not pattern.search((ROOT / name).read_text("utf-8")), name
    assert not told


def test_the_sample_generator_shares_no_code_with_the_program() -> None:
    scripts = [path for path in files(ROOT / "sample_logs") if path.suffix == ".py"]
    assert scripts
    assert not [path.name for path in scripts if "tbmreview" in imported(ast.parse(path.read_text("utf-8")))]


def imported(tree: ast.AST) -> set[str]:
    """The top-level packages that a module imports, wherever in it."""
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.add(node.module.split(".")[0])
    return names


def test_what_the_program_imports_is_what_it_declares() -> None:
    needed = {package for _, tree in modules() for package in imported(tree)}
    needed -= sys.stdlib_module_names | {"tbmreview"}
    owners = importlib.metadata.packages_distributions()
    imports = {canonicalize_name(owners[package][0]) for package in needed}
    imports -= {"shiboken6"}  # PySide6 under another name: it brings shiboken6 of its own release
    declared = {canonicalize_name(one.name) for one in requirements()}
    assert imports == declared - {"tzdata"}, "tzdata is data that zoneinfo reads"


def test_every_dependency_has_its_reason_in_the_developers_guide() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    # Stubs of types are told together.
    names = [
        one.name
        for one in requirements() + developers_requirements()
        if not re.search("stubs|^types-", one.name)
    ]
    assert not [name for name in names if not re.search(rf"(?<![\w-]){re.escape(name)}(?![\w-])", guide)]


def test_every_release_of_the_environment_is_pinned_within_the_bounds() -> None:
    pinned, direct = pins(), requirements() + developers_requirements()
    assert not needed_by(direct) - pinned.keys(), "not pinned"
    outside = [str(one) for one in direct if pinned[canonicalize_name(one.name)] not in one.specifier]
    assert not outside, "pinned outside the bounds"


def needed_by(roots: list[Requirement]) -> set[str]:
    """The distributions that these requirements bring in, theirs included, as installed here."""
    seen: set[tuple[str, frozenset[str]]] = set()
    stack = list(roots)
    while stack:
        one = stack.pop()
        key = (canonicalize_name(one.name), frozenset(one.extras))
        if key in seen:
            continue
        seen.add(key)
        for text in importlib.metadata.requires(one.name) or []:
            further = Requirement(text)
            extras = [{"extra": extra} for extra in ("", *one.extras)]
            if further.marker is None or any(further.marker.evaluate(extra) for extra in extras):
                stack.append(further)
    return {name for name, _ in seen}


def test_data_files_of_the_package_are_shipped() -> None:
    shipped = PYPROJECT["tool"]["setuptools"]["package-data"]["tbmreview"]
    data = [path.relative_to(PACKAGE).as_posix() for path in files(PACKAGE) if path.suffix != ".py"]
    assert data
    assert not [name for name in data if not any(fnmatch(name, pattern) for pattern in shipped)]
    assert not [pattern for pattern in shipped if not any(fnmatch(name, pattern) for name in data)]
