"""Checks against values from outside the project: each names its source and how sure it is; the guide counts them.

A check is a marker, `@pytest.mark.published(source, tag)`, on the test that makes it. Tags: *read* in the text of the
source; *abstract*, in its abstract or first page; *secondary*, in a text that transcribes it; *memory*, not seen in
print, which proves only that the code is what was meant; *derived*, mathematics or an inference that is spelled out.
"""

import ast
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

TESTS = Path(__file__).parent
GUIDE = TESTS.parent / "DEVELOPERS.md"
TAGS = ("read", "abstract", "secondary", "memory", "derived")
SAID = {"memory": "memory", "secondary": "secondary", "abstract": "abstract"}  # words of a docstring


def checks() -> Iterator[tuple[str, str, str, str]]:
    """(file, source, tag, docstrings of test and file) of each marker in the tests."""
    for path in sorted(TESTS.rglob("test_*.py")):
        tree = ast.parse(path.read_text("utf-8"))
        for node in ast.walk(tree):
            if not isinstance(node, ast.FunctionDef):
                continue
            for mark in node.decorator_list:
                if isinstance(mark, ast.Call) and ast.unparse(mark.func) == "pytest.mark.published":
                    source, tag = (ast.literal_eval(part) for part in mark.args)
                    said = f"{ast.get_docstring(node) or ''} {ast.get_docstring(tree) or ''}"
                    yield str(path.relative_to(TESTS)), source, tag, said


def counted() -> list[tuple[str, ...]]:
    """Rows of the guide's table: what is checked, and how many checks of each tag."""
    of_file: dict[str, Counter[str]] = {}
    for file, _, tag, _ in checks():
        of_file.setdefault(file, Counter())[tag] += 1
    rows = [(f"`{file}`", *(str(count[tag] or "") for tag in TAGS)) for file, count in of_file.items()]
    total = sum(of_file.values(), Counter())
    return [*rows, ("in all", *(str(total[tag]) for tag in TAGS))]


def table() -> str:
    lines = [("checks in `tests`", *TAGS), ("---",) * (len(TAGS) + 1), *counted()]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def test_the_guide_counts_the_checks() -> None:
    section = (
        GUIDE.read_text("utf-8").partition("## Checks against published values\n")[2].partition("\n## ")[0]
    )
    found = re.findall(r"^\|.*\|$", section, re.MULTILINE)
    assert "\n".join(found) == table(), f"the table in DEVELOPERS.md is to be\n{table()}"


def test_each_check_has_a_source_a_tag_and_says_how_sure_it_is() -> None:
    for file, source, tag, said in checks():
        assert source, file
        assert tag in TAGS, (file, source)
        assert SAID.get(tag, "") in said, f"{file}: the test of {source!r} does not say '{SAID[tag]}'"


def test_each_tag_is_used() -> None:
    assert {tag for _, _, tag, _ in checks()} == set(TAGS)
