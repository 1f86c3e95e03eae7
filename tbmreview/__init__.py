"""tbmreview: review what a hard-rock tunnel boring machine logged, along chainage."""

__version__ = "0.1.0"
