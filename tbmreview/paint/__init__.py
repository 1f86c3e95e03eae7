"""Draws a plan on any QPainter; the one home of colours, pens, hatches and type."""
