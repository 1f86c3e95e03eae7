"""Detectors: arrays and thresholds in, intervals with evidence out; and their registry."""

from tbmreview.findings.detector import Detector, Profile
from tbmreview.findings.registry import DETECTORS, detect_all

__all__ = ["DETECTORS", "Detector", "Profile", "detect_all"]
