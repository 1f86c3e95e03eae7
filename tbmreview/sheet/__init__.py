"""Pages for reports."""
