"""Values that rules made missing, kept as they were measured: a day can always be put together again.

They lie in the metadata of the day's chunk, outside its content, so that rules which look at the rows around a
value can be asked anew whenever a file brings other rows to stand there.
"""

import base64
import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.samples import Samples


@dataclass(frozen=True, slots=True)
class Aside:
    """Values of one channel that one rule made missing: (k,) stamps, rising, and (k,) values in its unit."""

    time_us: NDArray[np.int64]
    values: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.time_us)


SetAside = Mapping[tuple[str, str], Aside]  # (rule, channel) -> what it set aside; no value twice


def same(one: SetAside, other: SetAside) -> bool:
    """Whether the same values are set aside by the same rules."""
    return one.keys() == other.keys() and all(
        np.array_equal(a.time_us, other[key].time_us) and np.array_equal(a.values, other[key].values)
        for key, a in one.items()
    )


def put_back(samples: Samples, aside: SetAside) -> Samples:
    """The samples as they were measured."""
    return _with(samples, aside, put=True)


def taken_out(samples: Samples, aside: SetAside) -> Samples:
    """Measured samples without what is set aside."""
    return _with(samples, aside, put=False)


def _with(samples: Samples, aside: SetAside, *, put: bool) -> Samples:
    values = dict(samples.values)
    for (_, channel), some in aside.items():
        if channel not in values:
            continue
        rows, which = places(samples.time_us, some.time_us)
        if len(rows):
            column = values[channel].copy()
            column[rows] = some.values[which] if put else np.nan
            values[channel] = column
    return Samples(samples.time_us, values)


def places(time_us: NDArray[np.int64], of: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(rows of time_us, rows of `of`) that have the same stamp; `of` rises, no stamp twice, time_us rises."""
    if not len(of) or not len(time_us):
        return np.empty(0, np.int64), np.empty(0, np.int64)
    first, end = np.searchsorted(time_us, of[0]), np.searchsorted(time_us, of[-1], "right")
    at = np.searchsorted(of, time_us[first:end])
    hit = np.flatnonzero(of[np.minimum(at, len(of) - 1)] == time_us[first:end])
    return hit + first, at[hit]


def to_text(aside: SetAside) -> str:
    """JSON; the arrays packed: steps of the stamps and values, little-endian, by zlib, in base 64."""
    told = [
        {
            "rule": rule,
            "channel": channel,
            "count": len(some),
            "stamp_steps_us": _packed(np.diff(some.time_us, prepend=0).astype("<i8")),
            "values": _packed(some.values.astype("<f8")),
        }
        for (rule, channel), some in sorted(aside.items())
    ]
    return json.dumps(told)


def from_text(text: str) -> dict[tuple[str, str], Aside]:
    """What `to_text` wrote; ValueError where it is something else."""
    try:
        return {(one["rule"], one["channel"]): _read(one) for one in json.loads(text)}
    except (KeyError, TypeError, ValueError, zlib.error) as error:
        raise ValueError(f"what was set aside cannot be read: {error!r}") from error


def _read(one: Mapping[str, Any]) -> Aside:
    steps, values = _unpacked(one["stamp_steps_us"], "<i8"), _unpacked(one["values"], "<f8")
    if not len(steps) == len(values) == one["count"]:
        raise ValueError(f"{one['count']} values, but {len(steps)} stamps and {len(values)} values are there")
    return Aside(np.cumsum(steps, dtype=np.int64), values)


def _packed(array: NDArray[Any]) -> str:
    return base64.b64encode(zlib.compress(array.tobytes())).decode()


def _unpacked(text: str, kind: str) -> NDArray[Any]:
    array = np.frombuffer(zlib.decompress(base64.b64decode(text)), kind)
    return array.astype(array.dtype.newbyteorder("="))
