"""A method note as a page to read: formulas on a plate as they are written, grids with their numbers at the right."""

import re
from collections.abc import Sequence
from html import escape

from tbmreview.help import PAGES, Page, page
from tbmreview.help.blocks import Block, Formula, Grid, Heading, Items, Paragraph, blocks_of
from tbmreview.paint.style import INK, SOFT
from tbmreview.viewer.look import RULE

PLATE = "#f4f5f6"
LINK = "note:"
_NUMBER = re.compile(r"^[-+]?[\d\N{NO-BREAK SPACE}.]+$")
_CELL = "padding:2px 14px 2px 0"


def note_html(shown: Page) -> str:
    """The page, with links to the others at its end."""
    others = " · ".join(_link(name) for name in PAGES if name != shown.name)
    body = "".join(_html(block) for block in blocks_of(shown.markdown))
    return f"{body}<p style='margin-top:24px;color:{SOFT}'>Other notes: {others}</p>"


def contents_html() -> str:
    """Every page with what it tells."""
    rows = "".join(
        f"<tr><td style='{_CELL}'>{_link(name)}</td><td style='{_CELL}'>{_inline(page(name).summary)}</td></tr>"
        for name in PAGES
    )
    return f"<h2>Method notes</h2><table cellspacing='0'>{rows}</table>"


def _link(name: str) -> str:
    return f"<a href='{LINK}{name}' style='color:{INK}'>{escape(page(name).title)}</a>"


def _html(block: Block) -> str:
    match block:
        case Heading(1, text):
            return f"<h2 style='margin:0 0 6px 0'>{_inline(text)}</h2>"
        case Heading(_, text):
            return f"<h4 style='margin:18px 0 4px 0'>{_inline(text)}</h4>"
        case Paragraph(text):
            return f"<p style='margin:0 0 8px 0'>{_inline(text)}</p>"
        case Items(texts):
            items = "".join(f"<li style='margin:0 0 3px 0'>{_inline(text)}</li>" for text in texts)
            return f"<ul style='margin:0 0 8px -24px'>{items}</ul>"
        case Formula(lines):
            return _formula(lines)
        case Grid(rows):
            return _grid(rows)


def _formula(lines: Sequence[str]) -> str:
    written = escape("\n".join(lines))
    return (
        f"<table width='100%' cellspacing='0' cellpadding='8' style='margin:2px 0 8px 0'><tr><td bgcolor='{PLATE}'>"
        f"<pre style='font-size:12px;margin:0'>{written}</pre></td></tr></table>"
    )


def _grid(rows: Sequence[Sequence[str]]) -> str:
    right = [all(_NUMBER.match(row[k]) for row in rows[1:] if row[k]) for k in range(len(rows[0]))]
    body = "".join(_row(row, right, head=not number) for number, row in enumerate(rows))
    return f"<table cellspacing='0' style='margin:2px 0 8px 0;border-collapse:collapse'>{body}</table>"


def _row(row: Sequence[str], right: Sequence[bool], *, head: bool) -> str:
    colour = f";color:{SOFT}" if head else ""
    cells = (
        f"<td align='{'right' if at_right else 'left'}' style='{_CELL};border-bottom:1px solid {RULE}{colour}'>"
        f"{_inline(cell)}</td>"
        for cell, at_right in zip(row, right, strict=True)
    )
    return f"<tr>{''.join(cells)}</tr>"


def _inline(text: str) -> str:
    """Code, stress and emphasis within a line."""
    marked = escape(text, quote=False)
    marked = re.sub(r"`(.+?)`", r"<span style='font-size:12px'>\1</span>", marked)
    marked = re.sub(r"\*\*(?=\S)(.+?)(?<=\S)\*\*", r"<b>\1</b>", marked)
    return re.sub(r"\*(?=\S)(.+?)(?<=\S)\*", r"<i>\1</i>", marked)
