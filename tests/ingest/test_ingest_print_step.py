"""Print steps: the last decimal a log shows, in the channel's unit."""

import numpy as np
import pytest

from tbmreview.ingest.print_step import PrintSteps
from tbmreview.ingest.report import CHANNEL, LEFT_OUT, Column
from tbmreview.ingest.units import Unit


def steps_of(
    values: list[float], cells: list[str], unit: Unit | None = None, mark: str = "."
) -> dict[str, float]:
    seen = PrintSteps([Column(0, "Time", LEFT_OUT), Column(1, "A", CHANNEL, "a", conversion=unit)])
    seen.see_texts([["06:00:00", cell] for cell in cells], mark)
    seen.see({"a": np.array(values)})
    return seen.steps()


@pytest.mark.parametrize(
    ("values", "cells", "step"),
    [
        ([1.0, 2.0], ["1", "2"], 1.0),
        ([1.0, 2.0], ["1.00", "2.00"], 0.01),  # only the text shows trailing zeros
        ([1.0, 2.25], ["1.0"], 0.01),  # only the values show what the few texts lack
        ([4180.123, np.nan, np.inf], ["", "-"], 0.001),
        ([0.1 + 0.2], ["0.30000000000000004"], None),  # written in full
        ([1 / 3], [], None),
    ],
)
def test_the_last_decimal_is_found(values: list[float], cells: list[str], step: float | None) -> None:
    assert steps_of(values, cells) == ({} if step is None else {"a": step})


def test_a_step_is_in_the_unit_of_the_channel() -> None:
    meganewton = Unit("MN", "force", 1000.0)
    assert steps_of([11_382.0], ["11,3820"], meganewton, ",") == {"a": 0.1}


def test_an_angle_read_as_a_slope_has_no_even_step() -> None:
    assert steps_of([1.0], ["1.0"], Unit("deg", "slope", 0.01745, tangent=True)) == {}
