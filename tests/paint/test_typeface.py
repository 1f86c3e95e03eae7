"""The shipped typeface is there, has the signs that units need, and is as wide as the layout believes."""

import pytest
from PySide6.QtGui import QRawFont

from tbmreview.domain.errors import TbmReviewError
from tbmreview.paint import typeface
from tbmreview.scene.measure import _WIDTH, text_width

SIGNS = "²³·–−±≥≤…°µ×äöüåøéñß"


def test_the_font_loads_and_is_the_one_used(qapp):
    assert typeface.load_fonts() == typeface.FAMILY
    for bold in (False, True):
        raw = QRawFont.fromFont(typeface.font(20, bold))
        assert raw.familyName() == typeface.FAMILY
        assert (raw.weight() > 500) == bold


def test_it_has_the_signs_of_units_and_names(qapp):
    for bold in (False, True):
        raw = QRawFont.fromFont(typeface.font(20, bold))
        assert [c for c in SIGNS if not raw.supportsCharacter(ord(c))] == []


def test_its_figures_are_of_one_width(qapp):
    for bold in (False, True):
        assert len({typeface.width(figure * 10, 100.0, bold) for figure in "0123456789"}) == 1


def test_the_layout_never_believes_a_text_narrower_than_it_is(qapp):
    for bold in (False, True):
        for char in _WIDTH:
            assert typeface.width(char, 1000.0, bold) <= text_width(char, 1000.0) + 1.0, char
    words = "Specific energy kN/(mm/rev) limit 312 kN 12+345.60 and 3 more quartzite, massive"
    believed = text_width(words, 1000.0)
    assert 0.97 * believed <= typeface.width(words, 1000.0, bold=True) <= believed


def test_without_its_file_loading_fails_with_words(qapp, monkeypatch):
    typeface._load.cache_clear()
    monkeypatch.setattr(typeface, "FILES", ("LICENSE-Apache-2.0.txt",))
    with pytest.raises(TbmReviewError, match="cannot be loaded"):
        typeface.load_fonts()
    monkeypatch.undo()
    assert typeface.load_fonts() == typeface.FAMILY
