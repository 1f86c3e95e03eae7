"""The pages: all there, built whole, wrapped for a terminal, and never with a figure written by hand."""

import re
from dataclasses import replace
from importlib.resources import files

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tbmreview.help import PAGES, page, text_of
from tbmreview.help import examples as worked
from tbmreview.help.blocks import FORMULA, Formula, Grid, Heading, Items, Paragraph, blocks_of
from tbmreview.help.pages import COMPUTED, places, written
from tbmreview.indicators import INDICATORS

WIDEST_FORMULA = 78  # characters that the panel of the window shows in one line
SECTIONS = {"Definitions", "Source", "What breaks it"}


def test_the_pages_are_the_files() -> None:
    kept = {
        name.name.removesuffix(".md") for name in files("tbmreview.help").iterdir() if name.name[-3:] == ".md"
    }
    assert set(PAGES) == kept
    assert len(PAGES) == len(kept)


@pytest.mark.parametrize("name", PAGES)
def test_a_page_says_what_it_is_its_definitions_source_and_what_breaks_it(name: str) -> None:
    built = page(name)
    blocks = blocks_of(built.markdown)
    assert blocks[0] == Heading(1, built.title)
    assert blocks[1] == Paragraph(built.summary)
    headings = {block.text for block in blocks if isinstance(block, Heading)}
    assert headings >= SECTIONS
    assert "{" not in built.markdown


def test_everything_that_is_computed_stands_on_a_page_and_no_page_asks_for_more() -> None:
    asked = [place for name in PAGES for place in places(written(name))]
    assert sorted(asked) == sorted(COMPUTED)


@pytest.mark.parametrize("name", PAGES)
def test_a_worked_example_is_computed_and_not_written(name: str) -> None:
    _, heading, example = written(name).partition("## Worked example\n")
    assert not heading or re.fullmatch(r"\n\{example of \w+\}\n", example)


def test_a_page_follows_the_code(monkeypatch: pytest.MonkeyPatch) -> None:
    """With an index that is twice as large, the page shows twice as much."""
    doubled = tuple(
        replace(i, function=lambda sums, machine, of=i.function: 2 * of(sums, machine))
        if i.name == "fpi_kN_per_mm_rev"
        else i
        for i in INDICATORS
    )
    monkeypatch.setattr(worked, "INDICATORS", doubled)
    now = worked.of_family("boreability")
    assert "| `fpi_kN_per_mm_rev` | 62.5 |" in now
    assert "| `net_fpi_kN_per_mm_rev` | 29.4 |" in now


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("width", [60, 80, 100])
def test_no_line_is_wider_than_the_terminal(name: str, width: int) -> None:
    formulas = {
        line for block in blocks_of(page(name).markdown) if isinstance(block, Formula) for line in block.lines
    }
    assert max(map(len, formulas), default=0) <= WIDEST_FORMULA
    for line in text_of(page(name), width).split("\n"):
        assert len(line) <= width or line.removeprefix(FORMULA) in formulas, line


def test_blocks_of_every_kind() -> None:
    text = "# One\n\na `b`\nc\n\n    x = 1\n\n    y = 2\n\n- one\n  two\n- three\n\n| a | b |\n|---|---|\n| c | 1.5 |\n"
    assert blocks_of(text) == (
        Heading(1, "One"),
        Paragraph("a `b` c"),
        Formula(("x = 1", "", "y = 2")),
        Items(("one two", "three")),
        Grid((("a", "b"), ("c", "1.5"))),
    )


CELLS = st.lists(st.sampled_from(["a", "rock", "penetration", "of", "baseline"]), min_size=1, max_size=9)


@given(st.lists(st.tuples(CELLS, CELLS, CELLS), min_size=2, max_size=5))
@settings(max_examples=30)
def test_wrapping_a_grid_loses_no_word(rows: list[tuple[list[str], ...]]) -> None:
    markdown = "\n".join(f"| {' | '.join(map(' '.join, row))} |" for row in rows)
    made = replace(page("rates"), markdown=markdown)
    shown = text_of(made, 60).split("\n")
    assert max(map(len, shown)) <= 60
    words = [word for row in rows for cell in row for word in cell]
    assert sorted(re.findall(r"[a-z]+", "\n".join(shown))) == sorted(words)
