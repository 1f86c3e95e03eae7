"""The one door to a drive: read-only views and the acts that change it."""
