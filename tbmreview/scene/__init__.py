"""What to draw, without Qt."""
