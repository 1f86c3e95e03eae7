"""Builds the pages: what lies beside this module as Markdown, with what is computed put in its place.

A line `{name}` in a page stands for what the function of that name in COMPUTED gives, so no figure of a
worked example is written by hand.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from tbmreview.help.classed import COMPUTED as CLASSED
from tbmreview.help.examples import COMPUTED as EXAMPLES
from tbmreview.help.listed import COMPUTED as LISTED

# In the order of the contents.
PAGES: tuple[str, ...] = (
    "logs",
    "states",
    "position",
    "time",
    "rates",
    "load",
    "energy",
    "boreability",
    "evenness",
    "response",
    "uncertainty",
    "expected",
    "findings",
    "marks",
    "ground",
    "classes",
    "balance",
    "wear",
    "pads",
)
COMPUTED: Mapping[str, Callable[[], str]] = {**EXAMPLES, **LISTED, **CLASSED}
_PLACE = re.compile(r"^\{(.+)\}$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Page:
    """A built page. markdown: its text, headed by its title; summary: its first paragraph, in one line."""

    name: str
    title: str
    summary: str
    markdown: str


def written(name: str) -> str:
    """A page as it is kept, with the places of what is computed."""
    return (files("tbmreview.help") / f"{name}.md").read_text(encoding="utf-8")


def places(text: str) -> tuple[str, ...]:
    """What a page leaves to be computed, by name."""
    return tuple(_PLACE.findall(text))


@cache
def page(name: str) -> Page:
    """The page of a name in PAGES."""
    markdown = _PLACE.sub(lambda found: COMPUTED[found[1]](), written(name))
    title, _, rest = markdown.partition("\n")
    summary = " ".join(rest.strip().partition("\n\n")[0].split())
    return Page(name, title.removeprefix("# "), summary, markdown)
