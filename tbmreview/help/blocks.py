"""A page as blocks: the little of Markdown that the pages use, read once for terminal and window.

Blocks stand apart by an empty line: a heading, a paragraph, formulas (indented by four spaces), items
(each begins with '- '), or a grid (rows of '| … | … |' under a heading and a rule).
"""

import re
from dataclasses import dataclass

FORMULA = "    "
_RULE = re.compile(r"^\|[-|: ]+\|$")


@dataclass(frozen=True, slots=True)
class Heading:
    level: int
    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    text: str


@dataclass(frozen=True, slots=True)
class Formula:
    """Lines as written."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Items:
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """The first row is the heading."""

    rows: tuple[tuple[str, ...], ...]


Block = Heading | Paragraph | Formula | Items | Grid


def blocks_of(markdown: str) -> tuple[Block, ...]:
    """The blocks of a page, in order."""
    parts = re.split(r"\n(?: *\n)+", markdown.strip("\n"))
    found: list[Block] = []
    for part in parts:
        block = _block(part.split("\n"))
        if isinstance(block, Formula) and found and isinstance(found[-1], Formula):
            block = Formula((*found.pop().lines, "", *block.lines))  # type: ignore[union-attr]
        found.append(block)
    return tuple(found)


def _block(lines: list[str]) -> Block:
    first = lines[0]
    if first.startswith("#"):
        marks, _, text = first.partition(" ")
        return Heading(len(marks), text)
    if first.startswith(FORMULA):
        return Formula(tuple(line.removeprefix(FORMULA) for line in lines))
    if first.startswith("- "):
        return Items(tuple(_joined(item) for item in re.split(r"(?:^|\n)- ", "\n".join(lines))[1:]))
    if first.startswith("|"):
        return Grid(tuple(_cells(line) for line in lines if not _RULE.match(line)))
    return Paragraph(_joined("\n".join(lines)))


def _joined(text: str) -> str:
    return " ".join(text.split("\n")) if "\n " not in text else " ".join(text.split())


def _cells(line: str) -> tuple[str, ...]:
    return tuple(cell.strip() for cell in line.strip().strip("|").split("|"))
