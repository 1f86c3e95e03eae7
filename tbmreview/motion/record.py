"""The record of a window: the signals that motion works on, made from samples once."""

from dataclasses import dataclass, replace

import numpy as np

from tbmreview.domain.samples import MICROSECONDS, Samples
from tbmreview.domain.setup import DOUBLE_SHIELD, Setup
from tbmreview.domain.shifts import utc_day
from tbmreview.motion.believed import (
    FASTEST_MM_MIN,
    SLOWEST_MM_MIN,
    ByStroke,
    believed_rate,
    believed_turning,
)
from tbmreview.motion.beyond import beyond_limit
from tbmreview.motion.carry import Carry
from tbmreview.motion.credit import Credit, credit, nominal_by_day
from tbmreview.motion.signals import (
    LONG_GAP_S,
    Flags,
    Floats,
    Window,
    Windows,
    filled,
    hysteresis,
    median3,
    middle,
    noise,
)

# The channels that motion reads.
CHANNELS_READ = (
    "main_thrust_kN",
    "aux_thrust_kN",
    "main_stroke_mm",
    "aux_stroke_mm",
    "torque_kNm",
    "head_speed_rpm",
    "penetration_mm_rev",
    "advance_speed_mm_min",
    "gripper_pressure_bar",
    "gripper_force_kN",
    "chainage_m",
    "ring_number",
    "belt_rate_t_h",
    "belt_total_t",
)
STROKES = ("main_stroke_mm", "aux_stroke_mm")
# Short phases (free advance, loading, unloading) last some ten seconds: slower logs do not show them.
RESOLVES_PHASES_S = 5.0
# Below 1 mm/min a stroke of 1.5 m would take more than a day: the head turns without advance.
# A held shield is reported to creep at 2.7 mm/min (Wang S. et al. 2025), which is still boring.
START_MM_MIN = 1.2
STOP_MM_MIN = 0.6
FINE_S = 2.0  # a slower log hides more than a millimetre or two of advance in an interval
SLOPE_S = (20.0, 60.0)  # windows of a slope
CLEAR_MM_MIN = 0.4  # deviation of a slope at which advance of 1 mm/min is still told from none
CHAINAGE_S, CHAINAGE_STEP_MM = 120.0, 4.0  # a guidance chainage speaks seldom, in steps of millimetres
# Extending at the speeds of boring for so long tells whether the guidance target goes with the head.
ENOUGH_M, STAYS_BEHIND = 1.0, 0.5
FELT_S = 10.0  # smoothing of a logged speed: a turn of the head takes 8 to 20 s


@dataclass(frozen=True, slots=True)
class Extension:
    """A set's stroke: measured (n,) mm with spikes and missing values bridged, smoothed, and its slope.

    noise_mm: standard deviation of a single reading; slope_noise_mm_min: what it makes of the slope.
    beyond: samples (n,) at which the set goes on beyond its sensor's limit; None: at none.
    """

    mm: Floats
    smooth_mm: Floats
    slope_mm_min: Floats
    noise_mm: float
    slope_noise_mm_min: float
    beyond: Flags | None = None

    @property
    def unclear_mm(self) -> float:
        """A change of the stroke that noise alone does not make: four deviations, at least 5 mm."""
        return max(5.0, 4.0 * self.noise_mm)


@dataclass(frozen=True, slots=True)
class Record:
    """Aligned signals of n samples. What the log lacks is None; missing values are NaN.

    rate_mm_min: speed of advance as logged, or penetration times head speed, or None; where the stroke refutes both,
    its own.
    turning, speed_rpm: of the head; where torque and stroke refute a head at rest it turns, at a speed not known.
    travel: of a log without any stroke, the logged chainage as an extension that is never reset.
    logged_position_m: position of the head by the guidance chainage, whichever shield its target is on.
    torque_kNm: magnitude; clear: without single spikes; felt: mean over the window `felt`.
    after_gap: samples after a gap so long that the stroke, not the speed, says how far the head went.
    nominal_s: usual nominal interval of the window.
    """

    samples: Samples
    seconds: Floats
    credit: Credit
    after_gap: Flags
    turning: Flags | None
    speed_rpm: Floats
    torque_kNm: Floats
    clear_torque_kNm: Floats
    felt_torque_kNm: Floats
    main: Extension | None
    aux: Extension | None
    travel: Extension | None
    rate_mm_min: Floats | None
    logged_position_m: Floats | None
    gripper: Floats | None
    windows: Windows
    felt: Window
    nominal_s: float

    def __len__(self) -> int:
        return len(self.seconds)

    @property
    def shows_phases(self) -> bool:
        return self.nominal_s <= RESOLVES_PHASES_S

    @property
    def is_fine(self) -> bool:
        return self.nominal_s <= FINE_S

    def goes_on(self, sample: int) -> bool:
        """A sample follows the one before it without a long gap."""
        return sample > 0 and not self.after_gap[sample]

    def readings(self, seconds: float, least: int = 3, most: int = 31) -> int:
        """How many samples make up so many seconds."""
        return min(max(round(seconds / self.nominal_s), least), most)


def record_of(samples: Samples, carry: Carry, setup: Setup) -> Record:
    """The record of samples (n >= 1)."""
    time_us = samples.time_us
    seconds = (time_us - time_us[0]) / MICROSECONDS
    known_day = int(utc_day(np.array([carry.resume_us]))[0])
    nominal = nominal_by_day(time_us, known_day, carry.nominal_us)
    typical_s = middle(nominal.astype(np.float64)) / MICROSECONDS
    windows = Windows(seconds)
    felt = windows.window(max(FELT_S, 2 * typical_s))
    speed, torque = np.abs(samples.get("head_speed_rpm")), np.abs(samples.get("torque_kNm"))
    main, aux = (_extension(samples.get(name), windows, typical_s) for name in STROKES)
    shown = _by_stroke(main, aux, windows, (setup.machine.kind, felt))
    turning = _turning(samples, speed, setup)
    if turning is not None:
        turning, speed = believed_turning((turning, speed), torque, shown)
    speeds = (samples.get("advance_speed_mm_min"), samples.get("penetration_mm_rev") * speed)
    rate = believed_rate(speeds, shown, turning)
    made_mm = _made_mm(samples, windows, (rate, turning), setup)
    main, aux = (_beyond(extension, made_mm, windows, typical_s) for extension in (main, aux))
    station = _logged_position(samples, main, setup)
    credited = credit(time_us, nominal, setup.motion.gap_intervals, carry.quiet_us)
    long_gap_s = max(LONG_GAP_S, 5 * typical_s)
    return Record(
        samples=samples,
        seconds=seconds,
        credit=credited,
        after_gap=np.r_[False, (np.diff(seconds) > long_gap_s) & (credited.gap_us[:-1] > 0)],
        turning=turning,
        speed_rpm=speed,
        torque_kNm=torque,
        clear_torque_kNm=_clear(torque, typical_s),
        felt_torque_kNm=felt.mean(torque),
        main=main,
        aux=aux,
        travel=_travel(station, rate, windows, typical_s) if main is None and aux is None else None,
        rate_mm_min=rate,
        logged_position_m=station,
        gripper=_first_known(samples, ("gripper_pressure_bar", "gripper_force_kN")),
        windows=windows,
        felt=felt,
        nominal_s=typical_s,
    )


def _made_mm(
    samples: Samples, windows: Windows, known: tuple[Floats | None, Flags | None], setup: Setup
) -> Floats | None:
    """What the head advances from each sample to the next (n,) mm, by the speed, else by the chainage."""
    rate, turning = known
    seconds = windows.seconds
    step_s = np.minimum(np.diff(seconds, append=seconds[-1:]), LONG_GAP_S)
    if rate is not None:
        speed = np.maximum(np.nan_to_num(rate), 0.0) / 60
        made: Floats = (speed + np.append(speed[1:], 0.0)) / 2 * step_s
        return made
    position = filled(1000 * setup.drive.axis.position_m(samples.get("chainage_m")), seconds)
    if position is None or turning is None:
        return None
    even = windows.window(SLOPE_S[0] + 2 * float(np.median(step_s))).mean(position)
    step = np.diff(even, append=even[-1:])
    return np.where(turning & (step > 0) & (step < FASTEST_MM_MIN / 60 * step_s), step, 0.0)


def _extension(mm: Floats, windows: Windows, nominal_s: float) -> Extension | None:
    known = filled(mm, windows.seconds)
    if known is None:
        return None
    return _smoothed(_clear(known, nominal_s), noise(known), windows, nominal_s)


def _smoothed(mm: Floats, deviation: float, windows: Windows, nominal_s: float) -> Extension:
    # the shorter window sees beginnings and ends nearer; a noisy sensor needs the longer one
    for width_s in SLOPE_S:
        width = max(width_s, 6 * nominal_s)
        slope_noise = 60 * deviation * 4 / width * np.sqrt(max(nominal_s, 1e-3) / width)
        if slope_noise <= CLEAR_MM_MIN:
            break
    rise = windows.slope(width).of(mm) * 60
    felt = windows.window(max(FELT_S, 2 * nominal_s))
    return Extension(mm, felt.mean(mm), rise, deviation, slope_noise)


def _beyond(
    extension: Extension | None, made_mm: Floats | None, windows: Windows, nominal_s: float
) -> Extension | None:
    """The extension that goes on beyond its sensor's limit."""
    if extension is None or made_mm is None:
        return extension
    mm, beyond = beyond_limit(extension.mm, made_mm, windows.seconds)
    if mm is not extension.mm:
        extension = _smoothed(mm, extension.noise_mm, windows, nominal_s)
    return replace(extension, beyond=beyond)


def _by_stroke(
    main: Extension | None, aux: Extension | None, windows: Windows, known: tuple[str, Window]
) -> ByStroke | None:
    """What the set that pushes shows of the advance. known: kind of machine, window of smoothing."""
    kind, felt = known
    used = [e for e in (main, aux if kind == DOUBLE_SHIELD else None) if e is not None]
    if not used:
        return None
    noises = (max(e.noise_mm for e in used), max(e.slope_noise_mm_min for e in used))
    return ByStroke(np.nan_to_num(set_rate(main, aux, kind)), *noises, windows.seconds, felt)


def set_rate(main: Extension | None, aux: Extension | None, kind: str) -> Floats:
    """Speed of the set that pushes (n,) mm/min, one of which is there; NaN at an edge of the record."""
    by_main = main.slope_mm_min if main is not None else None
    if kind != DOUBLE_SHIELD or aux is None:
        return by_main if by_main is not None else np.zeros(len(aux.mm) if aux is not None else 0)
    if main is None or by_main is None:
        return aux.slope_mm_min
    still = np.abs(by_main) < max(START_MM_MIN, 4 * main.slope_noise_mm_min)
    return np.where(still, aux.slope_mm_min, by_main)


def _travel(
    position_m: Floats | None, rate: Floats | None, windows: Windows, nominal_s: float
) -> Extension | None:
    """Coarse and late: smoothed over a minute. None if it stands where the head is said to advance."""
    seconds = windows.seconds
    known = filled(position_m * 1000, seconds) if position_m is not None else None
    if known is None:
        return None
    width_s = max(CHAINAGE_S, 6 * nominal_s)
    if rate is not None:
        going = rate > SLOWEST_MM_MIN
        inside = going[1:] & going[:-1]
        made = float(np.nansum(np.where(inside, rate[:-1] * np.diff(seconds), 0.0))) / 60
        if np.diff(known)[inside].sum() < STAYS_BEHIND * made:
            return None
    smooth = windows.window(width_s).mean(known)
    return Extension(
        known, smooth, windows.slope(width_s).of(smooth) * 60, CHAINAGE_STEP_MM / 2, CHAINAGE_STEP_MM
    )


def _clear(x: Floats, nominal_s: float) -> Floats:
    """Without single spikes. In a slow log a single reading may be all that is seen of a peak or of a
    short phase: there it is none."""
    return median3(x) if nominal_s <= FINE_S else x


def _turning(samples: Samples, speed: Floats, setup: Setup) -> Flags | None:
    if not np.isfinite(speed).any():
        return None
    return hysteresis(speed, setup.motion.turning_rpm, setup.motion.turning_rpm / 2)


def _logged_position(samples: Samples, main: Extension | None, setup: Setup) -> Floats | None:
    """A target on the rear shield stands while the mains extend; their stroke brings it to the head."""
    chainage = samples.get("chainage_m")
    if not np.isfinite(chainage).any():
        return None
    position = setup.drive.axis.position_m(chainage)
    if main is None or setup.machine.kind != DOUBLE_SHIELD:
        return position
    boring = (main.slope_mm_min > SLOWEST_MM_MIN) & (main.slope_mm_min < FASTEST_MM_MIN)
    inside = boring[1:] & boring[:-1]
    extended_m = float(np.diff(main.smooth_mm)[inside].sum()) / 1000
    gone_m = float(np.nansum(np.diff(position)[inside]))
    on_rear = extended_m > ENOUGH_M and gone_m < STAYS_BEHIND * extended_m
    return position + main.smooth_mm / 1000 if on_rear else position


def _first_known(samples: Samples, names: tuple[str, ...]) -> Floats | None:
    for name in names:
        found = samples.get(name)
        if np.isfinite(found).any():
            return found
    return None
