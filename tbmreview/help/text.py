"""A page as text for a terminal: wrapped to its width, grids in columns, formulas as written."""

import re
import textwrap

from tbmreview.help.blocks import FORMULA, Block, Formula, Grid, Heading, Items, Paragraph, blocks_of
from tbmreview.help.pages import Page

LEAST_WIDTH, MOST_WIDTH = 60, 100
_GAP = "  "
_NUMBER = re.compile(r"^[-+]?[\d\N{NO-BREAK SPACE}.]+( %)?$")


def text_of(page: Page, width: int = MOST_WIDTH) -> str:
    """The page as lines of at most `width` characters, but for formulas, which stay as they are written."""
    width = min(max(width, LEAST_WIDTH), MOST_WIDTH)
    return "\n\n".join(_text(block, width) for block in blocks_of(page.markdown)) + "\n"


def _text(block: Block, width: int) -> str:
    match block:
        case Heading(level, text):
            return f"{text}\n{('=' if level == 1 else '-') * len(text)}"
        case Paragraph(text):
            return _wrapped(text, width)
        case Formula(lines):
            return "\n".join(FORMULA + line if line else "" for line in lines)
        case Items(texts):
            return "\n".join(_wrapped(text, width, "- ", "  ") for text in texts)
        case Grid(rows):
            return _grid([[_plain(cell) for cell in row] for row in rows], width)


def _wrapped(text: str, width: int, first: str = "", rest: str = "") -> str:
    return textwrap.fill(
        _plain(text), width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def _plain(text: str) -> str:
    """Without the marks for code, stress and emphasis."""
    return re.sub(r"\*{1,3}(?=\S)(.+?)(?<=\S)\*{1,3}", r"\1", text.replace("`", ""))


def _grid(rows: list[list[str]], width: int) -> str:
    """Columns as wide as they need; where they would be wider than the page, the widest ones are wrapped."""
    wide = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    room = width - len(_GAP) * (len(wide) - 1)
    while sum(wide) > room:
        widest = wide.index(max(wide))
        wide[widest] -= 1
    right = [all(_NUMBER.match(row[k]) for row in rows[1:] if row[k]) for k in range(len(wide))]
    lines: list[str] = []
    for number, row in enumerate(rows):
        cells = [textwrap.wrap(cell, size) or [""] for cell, size in zip(row, wide, strict=True)]
        for k in range(max(len(cell) for cell in cells)):
            parts = (cell[k] if k < len(cell) else "" for cell in cells)
            aligned = (
                part.rjust(size) if at_right else part.ljust(size)
                for part, size, at_right in zip(parts, wide, right, strict=True)
            )
            lines.append(_GAP.join(aligned).rstrip())
        if number == 0:
            lines.append(_GAP.join("-" * size for size in wide))
    return "\n".join(lines)
