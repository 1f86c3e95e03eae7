"""Colours that must be told apart can be: by lightness on a grey printer, and by hue and weight."""

import itertools

import pytest

from tbmreview.paint.style import ACCENT, FILLS, PAGE, STROKES, TYPES
from tbmreview.scene.class_rows import TONES


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (WCAG 2.2, definition of relative luminance; from memory)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours (WCAG 2.2; from memory)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("role", TYPES)
def test_text_can_be_read_on_the_page(role):
    assert contrast(TYPES[role].colour, PAGE) >= 4.5


def test_net_and_gross_differ_in_lightness_and_weight():
    net, gross = STROKES["line-net"], STROKES["line-gross"]
    assert contrast(net.colour, gross.colour) > 2.5
    assert net.width >= 2 * gross.width
    assert contrast(STROKES["range-net"].colour, STROKES["line-net"].colour) > 3


def test_classes_step_down_in_lightness_under_readable_letters():
    tones = [FILLS[f"class-{step}"] for step in range(TONES)]
    assert f"class-{TONES}" not in FILLS
    for lighter, darker in itertools.pairwise(tones):
        assert contrast(lighter, darker) > 1.05
        assert luminance(lighter) > luminance(darker)
    assert min(contrast(TYPES["ground"].colour, tone) for tone in tones) > 4.5


def test_a_band_is_quieter_than_the_values_and_more_than_paper():
    band, edge = FILLS["band"], STROKES["band-edge"].colour
    assert contrast(band, PAGE) > 1.2
    assert contrast(edge, band) > 1.5
    for role in ("line-net", "line-gross", "line-single"):
        assert contrast(STROKES[role].colour, band) > 2.5
        assert STROKES[role].width > STROKES["band-edge"].width


def test_reactions_differ_on_a_grey_printer():
    levels = [luminance(FILLS[f"reaction-{r}"]) for r in ("grippers", "part-ring", "ring")]
    assert all(a / b > 1.4 for a, b in itertools.pairwise(levels))


def test_the_accent_is_for_findings_alone():
    assert {role for role, stroke in STROKES.items() if stroke.colour == ACCENT} <= {
        "finding-open",
        "finding-agreed",
        "finding-selected",
    }
    assert not [role for role, colour in FILLS.items() if colour == ACCENT]
