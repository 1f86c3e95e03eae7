"""Every column, strip, model and kind of finding leads to a page that tells of it."""

import pytest

from tbmreview.domain.errors import UsageError
from tbmreview.drive.columns_of_pads import PAD_COLUMNS
from tbmreview.drive.columns_on_request import ON_REQUEST
from tbmreview.drive.columns_text import (
    BY_NAME,
    FINDINGS_COLUMNS,
    TABLE_COLUMNS,
    TIME_COLUMNS,
)
from tbmreview.findings.registry import DETECTORS
from tbmreview.help import PAGES, page, page_of_column, page_of_strip, page_of_topic
from tbmreview.help.topics import COLUMNS
from tbmreview.indicators import INDICATORS
from tbmreview.indicators.models import MODELS
from tbmreview.scene.strips import STRIPS


def test_every_column_of_every_table_has_its_page() -> None:
    told = {*TABLE_COLUMNS, *TIME_COLUMNS, *FINDINGS_COLUMNS, *BY_NAME, *ON_REQUEST, *PAD_COLUMNS}
    assert {column for column in told if page_of_column(column) not in PAGES} == set()
    assert page_of_column("an_extra_channel_of_a_log") == ""
    assert page_of_column("pad_3_max_kN") == "pads"


def test_a_column_is_given_to_one_page_and_is_there() -> None:
    listed = [column for columns in COLUMNS.values() for column in columns]
    assert len(set(listed)) == len(listed)
    known = {*BY_NAME, *ON_REQUEST, *PAD_COLUMNS, "unexplained_h", "code"}
    assert {column for column in listed if column not in known} == set()
    assert not {i.name for i in INDICATORS} & set(listed)


def test_every_family_of_indicators_has_a_page_that_names_each_of_its_columns() -> None:
    for indicator in INDICATORS:
        assert f"`{indicator.name}`" in page(indicator.family).markdown
        assert page_of_column(indicator.name) == indicator.family


@pytest.mark.parametrize("strip", STRIPS, ids=lambda s: s.name)
def test_every_strip_has_the_page_of_what_it_shows(strip: object) -> None:
    assert page_of_strip(strip.name) == page_of_column(strip.series[0].column) != ""  # type: ignore[attr-defined]


def test_rows_of_the_picture_have_their_pages() -> None:
    rows = ("mapped", "predicted", "findings", "marks", "")
    assert [page_of_strip(row) for row in rows] == ["ground", "ground", "findings", "marks", ""]


def test_models_and_findings_are_told_on_their_pages() -> None:
    expected, findings = page("expected").markdown, page("findings").markdown
    for model in MODELS:
        assert expected.count(f"`{model.name}`") >= 2, model.name  # its source and its example
        assert model.label in expected
    for kind in (kind for detector in DETECTORS for kind in detector.kinds):
        assert kind in findings
        assert page_of_topic(kind) == "findings"


@pytest.mark.parametrize(
    ("asked", "name"),
    [
        ("load", "load"),
        ("energy", "energy"),  # a page before the strip of the same name
        ("NET_FPI_kN_per_mm_rev", "boreability"),
        ("net_fpi_kN_per_mm_rev_u95", "uncertainty"),
        ("Disc load", "load"),
        ("q-tbm", "expected"),
        ("regrip_h", "states"),
    ],
)
def test_a_topic_leads_to_its_page(asked: str, name: str) -> None:
    assert page_of_topic(asked) == name


def test_an_unknown_topic_is_told_what_is_near_and_what_there_is() -> None:
    with pytest.raises(UsageError, match=r"torq.*did you mean torque\?.*Notes: logs, states, .*wear"):
        page_of_topic("torq")
