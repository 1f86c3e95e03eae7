"""States, strokes, position, cells and periods from samples: arrays in, arrays out."""
