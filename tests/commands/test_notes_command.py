"""`tbmreview help`: the list of notes, a note by what it tells of, and what there is where it knows none."""

import pytest

from tbmreview.cli import main
from tbmreview.help import PAGES, page


@pytest.fixture(autouse=True)
def narrow(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "72")


def test_without_a_topic_every_note_is_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["help"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines if line[:1].strip()][: len(PAGES)] == list(PAGES)
    assert max(map(len, lines)) <= 72


@pytest.mark.parametrize(
    ("topic", "name"), [("net_fpi_kN_per_mm_rev", "boreability"), ("Torque", "load"), ("FPI low", "findings")]
)
def test_a_column_a_strip_or_a_finding_leads_to_its_note(
    topic: str, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["help", topic]) == 0
    said = capsys.readouterr().out
    assert said.startswith(page(name).title)
    assert "What breaks it" in said
    assert "|" not in said.partition("Source")[2].partition("What breaks")[0]


def test_an_unknown_topic_is_wrong_usage(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["help", "penetratoin"]) == 2
    assert "did you mean penetration" in capsys.readouterr().err
