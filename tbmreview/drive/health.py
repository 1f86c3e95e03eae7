"""The health of a drive's data, kept hour by hour."""

import json
from functools import partial

from tbmreview.domain.channels import BY_NAME, CHANNELS
from tbmreview.domain.samples import Samples
from tbmreview.domain.setup import DOUBLE_SHIELD, Machine, Setup
from tbmreview.domain.table import Table
from tbmreview.drive.by_day import OfDays, Sampled, by_day
from tbmreview.drive.progress import Progress
from tbmreview.findings.health import HEALTH_COLUMNS, METHOD, empty_health, health_of, stamps_of
from tbmreview.ingest.ranges import TYPICAL
from tbmreview.motion.credit import LONE_SAMPLE_US, nominal_interval_us

NAMES = tuple(channel.name for channel in CHANNELS)
BEYOND = 1.2  # a reading so far over the most that a machine usually gives, or over what is installed


def health(drive: Sampled, progress: Progress | None = None) -> Table:
    """A row an hour and series in HEALTH_COLUMNS, by time; computes what is not kept. progress: called with (days
    done, days in all)."""
    of = OfDays("health", settings_read(drive.setup), NAMES, partial(_of_day, drive.setup), empty_health())
    return by_day(drive, of, progress)[0]


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


def _of_day(setup: Setup, day: int, samples: Samples) -> Table:
    nominal = nominal_interval_us(samples.time_us) or LONE_SAMPLE_US
    stamps = stamps_of(samples.time_us, nominal, setup.motion.gap_intervals)
    alone = setup.machine.kind != DOUBLE_SHIELD
    return health_of(stamps, samples.values, limits(setup.machine), alone=alone)
