"""Moves what a plan draws to its place on a page."""

from dataclasses import replace

from tbmreview.scene.plan import Box, Boxes, Fill, Item, Label, Segments


def moved_box(box: Box, dx: float, dy: float) -> Box:
    """The box, `dx` to the right and `dy` down."""
    return Box(box.left + dx, box.top + dy, box.width, box.height)


def moved(item: Item, dx: float, dy: float) -> Item:
    """The same item, `dx` to the right and `dy` down, in units."""
    if isinstance(item, Label):
        return replace(item, x=item.x + dx, y=item.y + dy)
    if isinstance(item, Fill):
        return replace(item, box=moved_box(item.box, dx, dy), anchor=item.anchor + dx)
    if isinstance(item, Boxes):
        return replace(
            item,
            left=item.left + dx,
            top=item.top + dy,
            right=item.right + dx,
            bottom=item.bottom + dy,
            anchor=None if item.anchor is None else item.anchor + dx,
        )
    clip = None if item.clip is None else moved_box(item.clip, dx, dy)
    return Segments(item.role, item.x1 + dx, item.y1 + dy, item.x2 + dx, item.y2 + dy, clip)
