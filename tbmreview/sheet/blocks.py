"""The blocks below the picture of a sheet: findings, legend, title with provenance and cautions."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from tbmreview.domain.cautions import CAUTIONS
from tbmreview.domain.findings import Finding
from tbmreview.domain.marks import Mark
from tbmreview.domain.station import Axis, format_chainage
from tbmreview.scene.plan import Box, Fill, Item, Label, Segments
from tbmreview.scene.strips import GROSS, NET
from tbmreview.scene.ticks import nice_step
from tbmreview.sheet.column import BODY, SMALL, Column
from tbmreview.sheet.layout import PAD, units_per_metre
from tbmreview.sheet.provenance import Facts

NO_FINDINGS = "None on this stretch. That does not mean safe ground."
REACTIONS = (("grippers", "grippers"), ("part-ring", "part ring"), ("ring", "ring"), ("unknown", "not known"))
LINES = (
    ("finding-open", "finding, open"),
    ("finding-agreed", "agreed"),
    ("finding-set-aside", "set aside"),
    ("limit", "limit stated for the machine"),
)
SWATCHES = (
    ("mark", "mark, drawn by a person; line at an end: how sure"),
    ("band", "95 % uncertainty, from the accuracy of the sensors"),
)
RAISED = 0.33  # of a letter's height: the middle of a line of text above its baseline


@dataclass(frozen=True, slots=True)
class Title:
    """What the title block says."""

    drive: str
    stretch: str
    scale: int
    written: str
    page: int
    pages: int


def findings_block(
    findings: Sequence[Finding],
    box: Box,
    axis: Axis,
    heading: str = "Findings",
    marks: Sequence[Mark] = (),
) -> tuple[list[Item], Sequence[Finding]]:
    """The marks in a line each, then the findings that fit with their evidence, and those that do not."""
    column = Column(box)
    if marks:
        column.heading("Marks")
        for number, mark in enumerate(marks):
            if number and column.left_over < box.height / 2:
                column.paragraph(f"{len(marks) - number} more: tbmreview marks")
                break
            column.paragraph(mark_text(mark, axis), BODY)
        column.gap(60)
    column.heading(heading)
    if not findings:
        column.paragraph(NO_FINDINGS)
    for number, finding in enumerate(findings):
        title, body = finding_texts(finding, axis)
        spare = 0.0 if number == len(findings) - 1 else BODY * 1.5
        need = column.height_of(title) + column.height_of(body, BODY, 300.0) + spare + 40
        if need > column.left_over and number:
            column.paragraph(f"{len(findings) - number} more on a further page.")
            return column.items, findings[number:]
        column.paragraph(title, role="strong")
        column.paragraph(body, BODY, 300.0)
        column.gap(40)
    return column.items, ()


def mark_text(mark: Mark, axis: Axis) -> str:
    """'M1 fault zone, 4+290.50 to 4+302.00, probable; F001; gouge (Ida)'"""
    ends = axis.chainage_at(mark.position_from_m), axis.chainage_at(mark.position_to_m, ends=True)
    low, high = (f"{format_chainage(float(c), 2)} {c.side}".rstrip() for c in ends)
    sure = [f"± {u:.1f} m" if u == u else "" for u in (mark.from_u95_m, mark.to_u95_m)]
    place = f"{low} {sure[0]}".rstrip() + (f" to {high} {sure[1]}".rstrip() if mark.length_m else "")
    rest = "; ".join(part for part in (" ".join(mark.findings), mark.ground, mark.note) if part)
    parts = [f"{mark.id} {mark.kind}, {place}", mark.confidence]
    text = ", ".join(part for part in parts if part)
    return f"{text}{f'; {rest}' if rest else ''} ({mark.decided_by})"


def finding_texts(finding: Finding, axis: Axis) -> tuple[str, str]:
    """A finding's title and its evidence with verdict and note."""
    ends = [
        format_chainage(float(axis.chainage_m(p)), 1)
        for p in (finding.position_from_m, finding.position_to_m)
    ]
    title = f"{finding.id}  {ends[0]} to {ends[1]}  {finding.kind}, strength {finding.strength:.1f}, {finding.verdict}"
    decided = f" {finding.verdict.capitalize()} by {finding.decided_by}." if finding.decided_by else ""
    note = f" {finding.note}" if finding.note else ""
    return title.strip(), f"{finding.evidence}{decided}{note}"


def legend_block(rocks: Iterable[tuple[str, str]], roles: frozenset[str], box: Box) -> list[Item]:
    """What hatches, lines and colours on this page mean; `roles` are those that it uses."""
    column = Column(box)
    column.heading("Legend")
    for hatch, rock in rocks:
        column.swatch(Fill(f"ground-{hatch}", box, hatch), rock or hatch)
    column.gap(60)
    for kind, text in ((NET, "net of drag and no-load torque"), (GROSS, "gross, as measured")):
        if {f"line-{kind}", f"range-{kind}"} & roles:
            _line(column, f"line-{kind}", text)
    for role, text in LINES:
        if role in roles:
            _line(column, role, text)
    for role, text in SWATCHES:
        if role in roles:
            column.swatch(Fill(role, box), text)
    if any(role.startswith("class-") for role in roles):
        column.swatch(Fill("class-4", box), "class: darker is less favourable")
    shown = [(f"reaction-{name}", text) for name, text in REACTIONS if f"reaction-{name}" in roles]
    for role, text in shown:
        column.swatch(Fill(role, box), f"reaction: {text}")
    return column.items


def _line(column: Column, role: str, text: str, width: float = 900.0) -> None:
    left = column.box.left + PAD
    y = np.array([column.box.top + column.used + BODY * (1 - RAISED)])
    column.items.append(Segments(role, np.array([left]), y, np.array([left + width]), y))
    column.paragraph(text, BODY, width + 150)


def title_block(title: Title, facts: Facts, box: Box) -> list[Item]:
    """Drive, stretch, scale, date, page; where it comes from; cautions."""
    column = Column(box)
    column.heading(title.drive)
    column.row("stretch", title.stretch, at=1_500)
    column.row("scale", f"along the axis 1:{title.scale} on A3", at=1_500)
    column.row("written", title.written, at=1_500)
    column.row("page", f"{title.page} of {title.pages}", at=1_500)
    column.rule()
    for name, text in facts:
        column.row(name, text, at=1_500, height=SMALL)
    column.rule()
    column.paragraph(" ".join(CAUTIONS), SMALL)
    return column.items


def scale_bar(scale: int, box: Box) -> list[Item]:
    """A bar of round length in m at the foot of a box, true to the scale of the page."""
    units = units_per_metre(scale)
    longest = (box.width - 2 * PAD - 1_200) / units
    part_m = nice_step(longest / 5)
    count = max(int(longest // part_m), 1)
    x = box.left + PAD + np.arange(count + 1, dtype=np.float64) * (part_m * units)
    base = np.full(count + 1, box.top + box.height - PAD - 100)
    ends = np.array([x[0]]), np.array([base[0]]), np.array([x[-1]]), np.array([base[0]])
    items: list[Item] = [Segments("tick", *ends), Segments("tick", x, base - 150, x, base)]
    for at, number in ((x[0], 0), (x[-1], count)):
        unit = " m" if number else ""
        items.append(
            Label("small", float(at), float(base[0]) - 220, f"{number * part_m:g}{unit}", SMALL, "centre")
        )
    words = Label("small", float(x[-1]) + 200, float(base[0]), f"1:{scale}", SMALL)
    return [*items, words]
