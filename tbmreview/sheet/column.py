"""Text that flows down a box: headings, paragraphs and rows, wrapped to its width."""

from dataclasses import dataclass, field

import numpy as np

from tbmreview.scene.measure import text_width
from tbmreview.scene.plan import Box, Fill, Item, Label, Segments
from tbmreview.sheet.layout import PAD

BODY, SMALL, HEADING = 250.0, 215.0, 290.0
LEADING = 1.32


def wrap(text: str, height: float, room: float) -> list[str]:
    """The text in lines no wider than `room`; a word wider than that stands alone."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if line and text_width(longer, height) > room:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line] if line else lines


@dataclass(slots=True)
class Column:
    """Fills a box from the top; `left_over` is what is still free below the last line."""

    box: Box
    items: list[Item] = field(default_factory=list)
    used: float = PAD

    @property
    def left_over(self) -> float:
        return self.box.height - self.used - PAD

    @property
    def room(self) -> float:
        return self.box.width - 2 * PAD

    def gap(self, height: float) -> None:
        self.used += height

    def heading(self, text: str) -> None:
        self._line(text, HEADING, "strong", 0.0)
        self.gap(60)

    def rule(self) -> None:
        """A line across the box."""
        self.gap(60)
        left, y = np.array([self.box.left]), np.array([self.box.top + self.used])
        self.items.append(Segments("frame", left, y, left + self.box.width, y))
        self.gap(80)

    def paragraph(self, text: str, height: float = BODY, indent: float = 0.0, role: str = "small") -> None:
        """Wrapped text."""
        for line in wrap(text, height, self.room - indent):
            self._line(line, height, role, indent)

    def row(self, name: str, value: str, *, at: float, height: float = BODY) -> None:
        """A name and, `at` so far to its right, a value that may take several lines."""
        lines = wrap(value, height, self.room - at) or [""]
        for number, line in enumerate(lines):
            if number == 0:
                self._label(name, height, "unit", 0.0, at - 100)
            self._line(line, height, "small", at)

    def swatch(self, fill: Fill, text: str, *, width: float = 900.0, height: float = BODY) -> None:
        """A filled box with its meaning beside it."""
        top = self.box.top + self.used
        box = Box(self.box.left + PAD, top + 20, width, height * LEADING - 40)
        self.items.append(Fill(fill.role, box, fill.hatch))
        self._line(text, height, "small", width + 150)

    def height_of(self, text: str, height: float = BODY, indent: float = 0.0) -> float:
        """What a paragraph would take."""
        return len(wrap(text, height, self.room - indent)) * height * LEADING

    def _line(self, text: str, height: float, role: str, indent: float) -> None:
        self._label(text, height, role, indent, self.room - indent)
        self.used += height * LEADING

    def _label(self, text: str, height: float, role: str, indent: float, room: float) -> None:
        x = self.box.left + PAD + indent
        self.items.append(Label(role, x, self.box.top + self.used + height, text, height, room=room))
