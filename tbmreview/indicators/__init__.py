"""Pure functions of sums, a physical family a file, and their registry."""
