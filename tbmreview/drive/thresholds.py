"""The thresholds in use for a drive, as a table."""

from dataclasses import fields

import numpy as np

from tbmreview.domain.table import Column, Table
from tbmreview.drive.reading import Readable
from tbmreview.motion.thresholds import Threshold, thresholds_of


def thresholds(drive: Readable) -> Table:
    """A row a threshold: name, value, unit, source (drive.toml, machine, log, fixed), reason."""
    rows = thresholds_of(drive.setup, drive.strokes)
    columns: dict[str, Column] = {}
    for spec in fields(Threshold):
        values = [getattr(row, spec.name) for row in rows]
        columns[spec.name] = np.array(values, float if spec.name == "value" else object)
    return Table(columns)
