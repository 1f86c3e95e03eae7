"""Models of expectation: what published relations expect of a machine in given ground."""

from tbmreview.indicators.models.record import Input, Model, expected_of, range_of
from tbmreview.indicators.models.registry import BY_NAME, MODELS

__all__ = ["BY_NAME", "MODELS", "Input", "Model", "expected_of", "range_of"]
