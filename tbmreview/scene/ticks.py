"""Where ticks stand and what they say."""

import math

import numpy as np

from tbmreview.domain.station import Axis, format_chainage
from tbmreview.scene.plan import Floats


def nice_step(least: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is at least `least` (> 0)."""
    power = 10.0 ** math.floor(math.log10(least))
    for factor in (1.0, 2.0, 5.0):
        if factor * power >= least * (1 - 1e-12):
            return factor * power
    return 10.0 * power


def multiples(low: float, high: float, step: float) -> Floats:
    """Multiples of `step` in low..high, rising; exact zero where it is one of them."""
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return np.arange(first, last + 1, dtype=np.float64) * step


def value_ticks(low: float, high: float, apart: float) -> Floats:
    """Round values of a linear scale, as many as stand at least `apart` (share of its height) apart."""
    return multiples(low, high, nice_step((high - low) * apart))


def log_ticks(low: float, high: float, apart: float) -> Floats:
    """Values 1, 2, 5 x 10^k of a logarithmic scale (low > 0), or 1, 3, or 1, or every second decade
    and so on: the most that stand at least `apart` (share of its height) apart."""
    decades = math.log10(high / low)
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    for factors, gap in (((1, 2, 5), 0.3), ((1, 3), 0.47)):
        if gap >= apart * decades:
            return _between(low, high, [f * 10.0**k for k in range(first, last + 1) for f in factors])
    every = max(math.ceil(apart * decades), 1)
    return _between(low, high, [10.0**k for k in range(first, last + 1) if k % every == 0])


def _between(low: float, high: float, candidates: list[float]) -> Floats:
    return np.array([v for v in candidates if low * (1 - 1e-9) <= v <= high * (1 + 1e-9)])


def value_text(value: float) -> str:
    """A tick's value: no more decimals than it has; thousands set apart by a thin gap."""
    text = f"{value:,.10f}".rstrip("0").rstrip(".").replace(",", "\N{NO-BREAK SPACE}")
    return "0" if text == "-0" else text.replace("-", "\N{MINUS SIGN}")


def chainage_ticks(
    axis: Axis, view_m: tuple[float, float], least_m: float
) -> tuple[Floats, list[str], Floats]:
    """Positions and texts of the ticks of a view, at least `least_m` apart, and positions of the
    fine ticks between. They stand on round chainage, whichever way the drive runs, on either side of a
    chainage equation."""
    step = nice_step(least_m)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    ticks, texts, fine = [np.empty(0)], [], [np.empty(0)]
    for low_m, high_m, plain in axis.parts(*view_m):
        low, high = sorted(plain.chainage_m(np.array([low_m, high_m])).tolist())
        chainages = multiples(low, high, step)
        ticks.append(plain.position_m(chainages))
        texts += [format_chainage(float(c), decimals) for c in chainages]
        fine.append(plain.position_m(multiples(low, high, step / 5)))
    return np.concatenate(ticks), texts, np.concatenate(fine)
