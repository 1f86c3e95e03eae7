"""Text that flows down a box stays inside it."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from tbmreview.scene.measure import text_width
from tbmreview.scene.plan import Box, Label
from tbmreview.sheet.column import Column, wrap

words = st.lists(st.text("abcdefghij", min_size=1, max_size=12), max_size=60)


@given(words)
def test_wrapping_loses_no_word_and_keeps_to_the_room(given_words: list[str]) -> None:
    lines = wrap(" ".join(given_words), 250.0, 3_000.0)
    assert " ".join(lines).split() == given_words
    assert all(text_width(line, 250.0) <= 3_000.0 or " " not in line for line in lines)


def test_a_row_puts_its_value_beside_its_name_and_wraps_it_there() -> None:
    column = Column(Box(1_000, 2_000, 6_000, 4_000))
    column.row("logs", "one two three four five six seven eight nine ten eleven twelve", at=1_500)
    name, *lines = [item for item in column.items if isinstance(item, Label)]
    assert name.text == "logs"
    assert len(lines) > 1
    assert {line.x for line in lines} == {name.x + 1_500}
    assert lines[0].y == name.y
    assert all(line.y < other.y for line, other in pairwise(lines))


def test_what_is_left_over_shrinks_by_what_is_written() -> None:
    column = Column(Box(0, 0, 5_000, 3_000))
    before = column.left_over
    text = "some words that take more than one line of this rather narrow box, surely"
    need = column.height_of(text)
    column.paragraph(text)
    assert before - column.left_over == need
