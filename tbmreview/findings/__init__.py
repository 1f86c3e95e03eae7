"""Detectors: arrays and thresholds in, intervals with evidence out; and their registry."""
