"""The health of a drive's data, kept hour by hour; only days that are new or changed are read."""

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np

from tbmreview.domain.channels import BY_NAME, CHANNELS
from tbmreview.domain.samples import DAY_US, Samples
from tbmreview.domain.setup import DOUBLE_SHIELD, Machine, Setup
from tbmreview.domain.table import Table, stack
from tbmreview.drive.progress import Progress
from tbmreview.drive.reduce import Chunk
from tbmreview.findings.health import HEALTH_COLUMNS, METHOD, empty_health, health_of, stamps_of
from tbmreview.ingest.ranges import TYPICAL
from tbmreview.motion.credit import LONE_SAMPLE_US, nominal_interval_us
from tbmreview.store.derived import read_derived, write_derived

NAME = "health"
NAMES = tuple(channel.name for channel in CHANNELS)
BEYOND = 1.2  # a reading so far over the most that a machine usually gives, or over what is installed


class Sampled(Protocol):
    """What the health of the data needs of a drive."""

    @property
    def folder(self) -> Path:
        """Where it lies."""

    @property
    def setup(self) -> Setup:
        """What people stated."""

    def days(self) -> Mapping[int, Chunk]:
        """UTC day since 1970 -> its chunk."""

    def samples(self, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
        """Samples with start_us <= time < end_us."""


@dataclass(frozen=True, slots=True)
class _Kept:
    """days: UTC day -> hash of the samples that its rows were made from."""

    days: Mapping[int, str]
    table: Table


def health(drive: Sampled, progress: Progress | None = None) -> Table:
    """A row an hour and series in HEALTH_COLUMNS, by time; computes what is not kept, and keeps it where the
    folder can be written. progress: called with (days done, days in all)."""
    days = {day: chunk.content_hash for day, chunk in sorted(drive.days().items())}
    settings = settings_read(drive.setup)
    kept = _read(drive.folder, settings)
    if days == kept.days:
        return kept.table
    of_day = kept.table["hour_us"] // DAY_US
    parts = [empty_health()]
    for number, (day, content) in enumerate(days.items()):
        if kept.days.get(day) == content:
            first, last = np.searchsorted(of_day, (day, day + 1))
            parts.append(kept.table.rows(slice(first, last)))
        else:
            parts.append(_of_day(drive, day))
        if progress is not None:
            progress(number + 1, len(days))
    table = stack(parts)
    meta = {"settings": settings, "days": json.dumps(list(days.items()))}
    with suppress(OSError):  # disposable: where the folder cannot be written the results live in memory
        write_derived(drive.folder, NAME, table, meta)
    return table


def settings_read(setup: Setup) -> str:
    """What decides, beside the samples, whether kept rows hold, as JSON."""
    read = {
        "method": METHOD,
        "columns": list(HEALTH_COLUMNS),
        "limits": limits(setup.machine),
        "kind": setup.machine.kind,
        "gap_intervals": setup.motion.gap_intervals,
    }
    return json.dumps(read, sort_keys=True)


def limits(machine: Machine) -> dict[str, tuple[float, float]]:
    """Channel -> magnitudes that this machine can give while it bores: what its maker installed, else what
    machines usually give, a fifth more; common practice, no source."""
    most = {name: BEYOND * high for name, (_, high) in TYPICAL.items()}
    most |= {
        "torque_kNm": BEYOND * 60 * machine.bore_diameter_m**3,
        "head_speed_rpm": BEYOND * min(16.0, 100 / machine.bore_diameter_m),
        "main_thrust_kN": BEYOND * 700 * machine.disc_count,
    }
    stated = {
        "torque_kNm": machine.torque_installed_kNm,
        "main_thrust_kN": machine.main_thrust_installed_kN,
        "aux_thrust_kN": machine.aux_thrust_installed_kN,
        "main_stroke_mm": None if machine.stroke_length_m is None else 1000 * machine.stroke_length_m,
    }
    most |= {name: BEYOND * value for name, value in stated.items() if value is not None}
    return {name: (0.0, min(high, BY_NAME[name].high)) for name, high in sorted(most.items())}


def _of_day(drive: Sampled, day: int) -> Table:
    samples = drive.samples(day * DAY_US, (day + 1) * DAY_US, NAMES)
    nominal = nominal_interval_us(samples.time_us) or LONE_SAMPLE_US
    stamps = stamps_of(samples.time_us, nominal, drive.setup.motion.gap_intervals)
    alone = drive.setup.machine.kind != DOUBLE_SHIELD
    return health_of(stamps, samples.values, limits(drive.setup.machine), alone=alone)


def _read(folder: Path, settings: str) -> _Kept:
    """What was kept under the same settings; nothing if there is none."""
    read = read_derived(folder, NAME)
    if read is None or read[1].get("settings") != settings:
        return _Kept({}, empty_health())
    return _Kept(dict(json.loads(read[1]["days"])), read[0])
