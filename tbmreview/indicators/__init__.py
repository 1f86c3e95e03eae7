"""Indicators: pure functions from sums and the machine to arrays, and their registry."""

from tbmreview.indicators.record import Indicator
from tbmreview.indicators.registry import BY_NAME, INDICATORS, indicator_columns

__all__ = ["BY_NAME", "INDICATORS", "Indicator", "indicator_columns"]
