"""Noise made once for the whole drive and taken by the second."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Noise:
    """Named streams of unit spread: white noise mixed with noise that lasts for seconds."""

    def __init__(
        self, rng: np.random.Generator, n: int, names: tuple[str, ...], lasting_s: float = 9.0
    ) -> None:
        self._streams = {name: _mixed(rng, n, lasting_s) for name in names}

    def take(self, name: str, start: int, n: int) -> Floats:
        """n seconds from second `start` on, (n,) float64; it wraps at the end."""
        stream = self._streams[name]
        return np.take(stream, np.arange(start, start + n), mode="wrap")


def _mixed(rng: np.random.Generator, n: int, lasting_s: float) -> Floats:
    return 0.8 * rng.standard_normal(n) + 0.6 * lasting(rng, n, lasting_s)


def lasting(rng: np.random.Generator, n: int, seconds: float) -> Floats:
    """Noise of unit spread with a memory of some seconds, (n,) float64."""
    keep = np.exp(-1 / seconds)
    gain = np.sqrt((1 + keep) / (1 - keep))
    white = rng.standard_normal(n)
    white[:1] /= gain  # as if it had always been running
    smooth = pd.Series(white).ewm(alpha=1 - keep, adjust=False).mean().to_numpy()
    return np.asarray(gain * smooth, float)
