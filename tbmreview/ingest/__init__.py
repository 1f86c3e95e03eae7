"""Foreign logs to canonical samples, one stage a file."""
