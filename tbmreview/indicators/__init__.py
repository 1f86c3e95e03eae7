"""Indicators: pure functions from sums and the machine to arrays, and their registry."""

from tbmreview.indicators.record import Indicator
from tbmreview.indicators.registry import BY_NAME, FURTHER, INDICATORS, INTERVALS, indicator_columns

__all__ = ["BY_NAME", "FURTHER", "INDICATORS", "INTERVALS", "Indicator", "indicator_columns"]
