"""Sizes of a picture, in units: in the window, on paper. What things look like lives in `paint`."""

from dataclasses import dataclass

PX = 2540 / 96  # a window's pixel in units


@dataclass(frozen=True, slots=True)
class Look:
    """column: width of a pixel column. text, small: type sizes. gutter: room left of the plot for
    names and values. class_row: height of a row of classes, 0 for none; mark_row: of a lane of marks. pad: a small distance. key: whether the rocks' key stands below."""

    column: float
    text: float
    small: float
    gutter: float
    margin: float
    ground_row: float
    class_row: float
    finding_row: float
    mark_row: float
    axis_row: float
    gap: float
    pad: float
    key: bool = True


WINDOW = Look(
    column=PX,
    text=13 * PX,
    small=11 * PX,
    gutter=152 * PX,
    margin=14 * PX,
    ground_row=24 * PX,
    class_row=15 * PX,
    finding_row=26 * PX,
    mark_row=18 * PX,
    axis_row=40 * PX,
    gap=6 * PX,
    pad=4 * PX,
)

PAPER = Look(
    column=15.0,
    text=270.0,
    small=220.0,
    gutter=3_300.0,
    margin=300.0,
    ground_row=600.0,
    class_row=360.0,
    finding_row=600.0,
    mark_row=400.0,
    axis_row=900.0,
    gap=150.0,
    pad=90.0,
)
