"""What people state about a drive: the contents of drive.toml as frozen data.

Each section is a dataclass whose fields carry unit, range, meaning and the source of a default;
the file that ``start`` writes and its checking both follow from them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from tbmreview.domain.errors import SetupError
from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.pads import Pads, check_pads
from tbmreview.domain.setting import OURS, read_section, setting
from tbmreview.domain.station import Axis

OPEN_GRIPPER = "open gripper"
SINGLE_SHIELD = "single shield"
DOUBLE_SHIELD = "double shield"
WIDEST_OVERCUT_M = 0.3  # an overcutter may reach so far beyond the bore with the discs as fitted


@dataclass(frozen=True, slots=True)
class DriveFacts:
    """[drive]"""

    name: str = setting("name on tables and sheets")
    timezone: str = setting("IANA time zone of the site, for shifts and for showing times")
    chainage_start_m: float = setting("chainage of the face at position 0", unit="m", low=-1e7, high=1e7)
    chainage_direction: str = setting(
        "which way chainage runs along the drive", choices=("increasing", "decreasing")
    )
    azimuth_deg: float | None = setting(
        "direction of driving, from north clockwise, for planes that cross the axis; an alignment says it better",
        default=None,
        unit="deg",
        low=0,
        high=360,
    )
    ring_length_m: float | None = setting(
        "length of a ring along the axis", default=None, unit="m", low=0, high=5, above_low=True
    )
    ring_place_offset_m: float | None = setting(
        "from the face back to the front edge of the last ring", default=None, unit="m", low=0, high=100
    )
    guidance_offset_m: float | None = setting(
        "from the face back to the point whose chainage the logs carry; not given: what the logs show at "
        "their beginning",
        default=None,
        unit="m",
        low=0,
        high=200,
    )
    segment_outer_diameter_m: float | None = setting(
        "outer diameter of the segment ring, for the annular gap", default=None, unit="m", low=1, high=20
    )
    rock_density_t_m3: float | None = setting(
        "density of the rock in place, for the mass balance; 2.6 to 2.8 is usual of hard rock",
        default=None,
        unit="t/m3",
        low=1,
        high=5,
    )
    bulking: float | None = setting(
        "loose volume of muck over its volume in place; 1.5 to 1.8 is usual (from memory, no source)",
        default=None,
        low=1,
        high=3,
    )
    gravel_void_share: float = setting(
        "share of pea gravel that is voids, which mortar fills",
        default=0.3,
        low=0,
        high=0.6,
        source="30 % in a published backfilling example (abstract)",
    )
    belt_lag_s: float | None = setting(
        "how far the belt scale is behind the face; not given: found day by day from advance and belt rate",
        default=None,
        unit="s",
        low=0,
        high=10_800,
    )
    belt_lag_most_min: float = setting(
        "longest lag of the belt scale behind the face that is looked for",
        default=30.0,
        unit="min",
        low=1,
        high=180,
        source=OURS,
    )
    water_reach_m: float | None = setting(
        "length of tunnel whose water the logged channel measures; not given: no inflow over 10 m from the logs",
        default=None,
        unit="m",
        low=0,
        high=20_000,
        above_low=True,
    )
    guidance_anchors: bool = setting(
        "whether the chainage in the logs corrects the sum of strokes where no stations were surveyed",
        default=True,
        source=OURS,
    )

    @property
    def axis(self) -> Axis:
        return Axis(self.chainage_start_m, 1 if self.chainage_direction == "increasing" else -1)

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.timezone)


@dataclass(frozen=True, slots=True)
class Machine:
    """[machine]: what is bolted on. None means *not given*: indicators that need it are missing."""

    kind: str = setting("kind of machine", choices=(OPEN_GRIPPER, SINGLE_SHIELD, DOUBLE_SHIELD))
    bore_diameter_m: float = setting("bore diameter with the discs as fitted", unit="m", low=1, high=20)
    disc_count: int = setting("installed rings; a twin centre disc counts as two", low=1, high=300)
    disc_diameter_mm: float | None = setting("disc diameter", default=None, unit="mm", low=200, high=700)
    disc_load_limit_kN: float | None = setting(
        "load a disc may carry, from its maker", default=None, unit="kN", low=10, high=1000
    )
    main_thrust_installed_kN: float | None = setting(
        "thrust that the main set has installed, from the maker",
        default=None,
        unit="kN",
        low=100,
        high=500_000,
    )
    aux_thrust_installed_kN: float | None = setting(
        "thrust that the auxiliary set has installed, from the maker",
        default=None,
        unit="kN",
        low=100,
        high=500_000,
    )
    torque_installed_kNm: float | None = setting(
        "torque of the head that is installed, from the maker; it may depend on head speed",
        default=None,
        unit="kNm",
        low=10,
        high=100_000,
    )
    disc_radii_m: tuple[float, ...] = setting(
        "radius of the track of each disc position, from position 1 on, one for each installed ring; empty: not "
        "known",
        default=(),
        unit="m",
        low=0,
        high=10,
    )
    disc_wear_limit_mm: float | None = setting(
        "wear at which a disc is due", default=None, unit="mm", low=0, high=100, above_low=True
    )
    disc_life_km: float | None = setting(
        "rolling distance at which a disc is due", default=None, unit="km", low=0, high=1e5, above_low=True
    )
    gauge_speed_limit_m_min: float | None = setting(
        "speed along its track that the outermost disc may reach, from its maker",
        default=None,
        unit="m/min",
        low=10,
        high=1000,
    )
    no_load_torque_kNm: float | None = setting(
        "torque of the head turning free, where the log shows none",
        default=None,
        unit="kNm",
        low=0,
        high=5000,
    )
    drag_kN: float | None = setting(
        "force to push the front part without contact, where the log shows none (main set)",
        default=None,
        unit="kN",
        low=0,
        high=50_000,
    )
    aux_drag_kN: float | None = setting(
        "the same for the auxiliary set, which pushes the whole machine",
        default=None,
        unit="kN",
        low=0,
        high=100_000,
    )
    constant_spread: float = setting(
        "assumed standard deviation of no_load_torque_kNm, drag_kN and aux_drag_kN, as a share of each",
        default=0.2,
        low=0,
        high=1,
        source=OURS,
    )
    disc_lever_arm: float = setting(
        "mean lever arm of the discs as a share of the bore diameter, for the torque ratio",
        default=0.3,
        low=0.1,
        high=0.5,
        source="attributed to OENORM B 2203-2 (secondary); others give 0.22 to 0.295",
    )
    stroke_length_m: float | None = setting(
        "full stroke of the main set", default=None, unit="m", low=0.3, high=5
    )


def _systematic(of: str, unit: str = "%", high: float = 50) -> Any:
    what = f"standard deviation of what is off alike in every reading of {of}; it does not average out"
    return setting(what, default=None, unit=unit, low=0, high=high)


def _random(of: str, unit: str = "%", high: float = 50) -> Any:
    what = f"standard deviation of what changes from reading to reading of {of}; it averages out over the samples"
    return setting(what, default=0.0, unit=unit, low=0, high=high, source="no random part")


@dataclass(frozen=True, slots=True)
class Accuracy:
    """[accuracy]: of sensors, as standard deviations; in % of the reading where no other unit is named. Of
    limits that a maker gives, take limits / sqrt(3) (JCGM 100, 4.3.7). None means *not given*: what depends on that sensor has no uncertainty."""

    thrust_systematic_percent: float | None = _systematic("thrust")
    thrust_random_percent: float = _random("thrust")
    torque_systematic_percent: float | None = _systematic("torque")
    torque_random_percent: float = _random("torque")
    head_speed_systematic_percent: float | None = _systematic("head speed")
    head_speed_random_percent: float = _random("head speed")
    stroke_systematic_percent: float | None = _systematic("the length of a stroke")
    stroke_random_mm: float = _random("the stroke", unit="mm", high=50)
    bore_systematic_mm: float | None = _systematic(
        "the bore diameter, gauge wear included", unit="mm", high=200
    )
    belt_systematic_percent: float | None = _systematic("the belt scale")
    density_systematic_percent: float | None = setting(
        "standard deviation of rock_density_t_m3, as a figure for the rock that was bored",
        default=None,
        unit="%",
        low=0,
        high=50,
    )


@dataclass(frozen=True, slots=True)
class ShiftPlan:
    """[shifts]: local starting times. A shift belongs to the date on which it starts."""

    start: tuple[str, ...] = setting("local starting times, HH:MM, rising", default=("06:00",))
    names: tuple[str, ...] = setting("a name for each", default=("day",))
    working: tuple[str, ...] = setting(
        "names of the shifts that are planned to bore, for rates over working shifts; none named: all of them",
        default=(),
    )

    def works(self, name: str) -> bool:
        """Whether a shift is planned to bore."""
        return not self.working or name in self.working


@dataclass(frozen=True, slots=True)
class MotionSettings:
    """[motion]: thresholds of states and strokes."""

    turning_rpm: float = setting(
        "head speed from which the head counts as turning",
        default=0.2,
        unit="rpm",
        low=0.01,
        high=2,
        source=OURS,
    )
    longest_regrip_min: float = setting(
        "grippers released for longer are no regrip; one takes a few minutes (common practice, no source)",
        default=10.0,
        unit="min",
        low=1,
        high=120,
        source=OURS,
    )
    longest_ring_min: float = setting(
        "most of a pause that counts as ring building where the cylinders do not show it; a ring takes 20 to "
        "45 minutes (common practice, no source)",
        default=45.0,
        unit="min",
        low=5,
        high=600,
        source=OURS,
    )
    gap_intervals: float = setting(
        "a sample stands for at most so many nominal intervals; longer is no record",
        default=3.0,
        low=1,
        high=60,
        source=OURS,
    )


@dataclass(frozen=True, slots=True)
class Setup:
    """The whole of drive.toml."""

    drive: DriveFacts
    machine: Machine
    shifts: ShiftPlan = field(default_factory=ShiftPlan)
    motion: MotionSettings = field(default_factory=MotionSettings)
    findings: FindingSettings = field(default_factory=FindingSettings)
    accuracy: Accuracy = field(default_factory=Accuracy)
    pads: Pads = field(default_factory=Pads)


SECTIONS: dict[str, type] = {
    "drive": DriveFacts,
    "machine": Machine,
    "shifts": ShiftPlan,
    "motion": MotionSettings,
    "findings": FindingSettings,
    "accuracy": Accuracy,
    "pads": Pads,
}


def read_setup(data: Mapping[str, Any], source: str) -> Setup:
    """A Setup from parsed TOML; SetupError lists every mistake, each with file, key and value."""
    problems: list[str] = []
    for name, given in data.items():
        if name not in SECTIONS:
            problems.append(f"[{name}]: unknown section; known are {', '.join(SECTIONS)}")
        elif not isinstance(given, Mapping):
            problems.append(f"{name} = {given!r}: expected a section [{name}]")
    parts: dict[str, Any] = {}
    for name, section in SECTIONS.items():
        given = data.get(name, {})
        if isinstance(given, Mapping):
            parts[name] = read_section(section, name, given, problems)
    if not problems:
        _check_zone(parts["drive"], problems)
        _check_shifts(parts["shifts"], problems)
        _check_discs(parts["machine"], problems)
        check_pads(parts["pads"], parts["machine"].bore_diameter_m, problems)
    if problems:
        raise SetupError(f"{source}: " + "; ".join(problems))
    return Setup(**parts)


def _check_zone(drive: Any, problems: list[str]) -> None:
    try:
        ZoneInfo(drive.timezone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        problems.append(f'[drive] timezone = {drive.timezone!r}: expected an IANA name such as "Europe/Oslo"')


def _check_shifts(shifts: Any, problems: list[str]) -> None:
    try:
        minutes = [clock_minutes(text) for text in shifts.start]
    except ValueError:
        problems.append(f'[shifts] start = {list(shifts.start)!r}: expected times such as "06:00"')
        return
    if sorted(set(minutes)) != minutes:
        problems.append(f"[shifts] start = {list(shifts.start)!r}: expected rising times, none twice")
    if len(shifts.names) != len(shifts.start) or len(set(shifts.names)) != len(shifts.names):
        problems.append(
            f"[shifts] names = {list(shifts.names)!r}: expected {len(shifts.start)} different names"
        )
    strange = [name for name in shifts.working if name not in shifts.names]
    if strange:
        problems.append(f"[shifts] working = {strange!r}: expected some of {list(shifts.names)!r}")


def _check_discs(machine: Any, problems: list[str]) -> None:
    radii = machine.disc_radii_m
    if radii and len(radii) != machine.disc_count:
        problems.append(
            f"[machine] disc_radii_m: {len(radii)} radii, expected {machine.disc_count}, one for each ring of disc_count"
        )
    if radii and max(radii) > machine.bore_diameter_m / 2 + WIDEST_OVERCUT_M:
        problems.append(
            f"[machine] disc_radii_m = {max(radii)!r}: expected no more than half of bore_diameter_m, in m"
        )


def clock_minutes(text: str) -> int:
    """'06:30' -> 390; ValueError if it is no time of day."""
    hours, colon, minutes = text.partition(":")
    if not colon or not (hours.isdigit() and minutes.isdigit() and len(minutes) == 2):
        raise ValueError(text)
    if int(hours) > 23 or int(minutes) > 59:
        raise ValueError(text)
    return int(hours) * 60 + int(minutes)
