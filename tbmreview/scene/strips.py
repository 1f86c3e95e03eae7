"""The strips a picture can show. A new one is a record here; viewer, sheet, command line and help read the list."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from tbmreview.indicators import BY_NAME as INDICATORS

LINE, REACTION = "line", "reaction"
NET, GROSS, SINGLE = "net", "gross", "single"
RECORD = "record"  # the family of what no indicator tells


@dataclass(frozen=True, slots=True)
class Series:
    """A column of the profile and how it is drawn: `net`, `gross` or `single`."""

    column: str
    role: str


@dataclass(frozen=True, slots=True)
class Strip:
    """One plotted row.

    adds: its values add up with the step (m of something), so a coarser step is no level of it.
    limit: key of a [machine] setting drawn as a line where given.
    share: its height in shares of a plain strip. decimals: of a read-out.
    """

    name: str
    label: str
    unit: str
    series: tuple[Series, ...]
    what: str
    kind: str = LINE
    logarithmic: bool = False
    adds: bool = False
    limit: str = ""
    share: float = 1.0
    decimals: int = 1

    @property
    def family(self) -> str:
        """That of its indicator, and its page in tbmreview/help; RECORD where it shows none."""
        found = INDICATORS.get(self.series[0].column)
        return RECORD if found is None else found.family


def _pair(column: str) -> tuple[Series, ...]:
    return (Series(column, GROSS), Series(f"net_{column}", NET))


def _one(column: str) -> tuple[Series, ...]:
    return (Series(column, SINGLE),)


def _of(name: str, label: str, column: str) -> Strip:
    """A strip of one indicator, whose record says the rest."""
    indicator = INDICATORS[column]
    return Strip(
        name, label, indicator.unit or "–", _one(column), indicator.what, decimals=indicator.decimals
    )


def _both(name: str, label: str, column: str) -> Strip:
    """The same with its net twin."""
    return replace(_of(name, label, column), series=_pair(column))


RATES: tuple[Strip, ...] = (
    Strip("penetration", "Penetration", "mm/rev", _one("penetration_mm_rev"), "advance per revolution"),
    Strip(
        "penetration_rate",
        "Penetration rate",
        "m/h",
        _one("penetration_rate_m_h"),
        "advance per hour of boring",
        decimals=2,
    ),
    Strip("head_speed", "Head speed", "rpm", _one("head_speed_rpm"), "speed of the head", decimals=2),
)
LOAD: tuple[Strip, ...] = (
    Strip("thrust", "Thrust", "kN", _pair("thrust_kN"), "force of the pushing set; net of drag", decimals=0),
    Strip(
        "torque",
        "Torque",
        "kNm",
        _pair("torque_kNm"),
        "torque of the head; net of turning free",
        decimals=0,
    ),
    Strip(
        "disc_load",
        "Disc load",
        "kN",
        _pair("disc_load_kN"),
        "thrust over installed rings",
        limit="disc_load_limit_kN",
        decimals=0,
    ),
    _of("thrust_share", "Thrust used", "thrust_share_of_installed"),
    _of("torque_share", "Torque used", "torque_share_of_installed"),
    _of("disc_load_share", "Disc load used", "net_disc_load_share_of_limit"),
)
BOREABILITY: tuple[Strip, ...] = (
    Strip(
        "fpi",
        "FPI",
        "kN/(mm/rev)",
        _pair("fpi_kN_per_mm_rev"),
        "field penetration index: load per disc over penetration",
        logarithmic=True,
    ),
    replace(_both("index_1mm", "Index at 1 mm/rev", "boreability_index_1mm_kN_per_mm_rev"), logarithmic=True),
    Strip(
        "torque_index",
        "Torque index",
        "kNm/(mm/rev)",
        _one("tpi_kNm_per_mm_rev"),
        "torque over penetration",
        logarithmic=True,
    ),
    replace(_of("disc_torque_index", "Disc torque index", "tpi_per_disc_kNm_per_mm_rev"), logarithmic=True),
    _of("torque_coefficient", "Torque over D³", "torque_coefficient_kN_m2"),
    Strip(
        "torque_ratio",
        "Torque ratio",
        "–",
        _one("torque_ratio"),
        "torque over thrust and lever arm",
        decimals=3,
    ),
    _both("rolling", "Rolling coefficient", "rolling_coefficient"),
)
ENERGY: tuple[Strip, ...] = (
    Strip(
        "energy",
        "Specific energy",
        "MJ/m³",
        _pair("specific_energy_MJ_m3"),
        "work per volume of rock",
    ),
    Strip(
        "rotary_energy",
        "Rotary energy",
        "MJ/m³",
        _one("rotary_energy_MJ_m3"),
        "specific energy of rotation, gross",
    ),
    _of("thrust_energy", "Thrust energy", "thrust_energy_MJ_m3"),
    _both("energy_kwh", "Specific energy", "specific_energy_kWh_m3"),
    _of("energy_per_metre", "Energy per metre", "energy_per_metre_MJ_m"),
    _of("head_power", "Head power", "head_power_kW"),
)
EVENNESS: tuple[Strip, ...] = (
    _of("steady_share", "Steady advance", "steady_share"),
    _of("steady_time_share", "Steady time", "steady_time_share"),
    _of("torque_spread", "Torque spread", "torque_spread_kNm"),
    _of("torque_roughness", "Torque roughness", "torque_roughness_kNm"),
    _of("penetration_spread", "Penetr. spread", "penetration_spread_mm_rev"),
    _of("penetration_roughness", "Penetr. rough.", "penetration_roughness_mm_rev"),
)
STRIPS: tuple[Strip, ...] = (
    *RATES,
    *LOAD,
    *BOREABILITY,
    *ENERGY,
    Strip(
        "reaction",
        "Reaction",
        "",
        _one("segment_reacted_share"),
        "where the force of the pushing set goes",
        kind=REACTION,
        share=0.55,
        decimals=2,
    ),
    *EVENNESS,
    Strip(
        "unrecorded",
        "Unrecorded",
        "m per step",
        _one("unrecorded_advance_m"),
        "advance in gaps of the record",
        adds=True,
        decimals=2,
    ),
)

BY_NAME: Mapping[str, Strip] = {strip.name: strip for strip in STRIPS}
DEFAULT = ("penetration", "thrust", "torque", "fpi", "energy", "reaction")


def families() -> dict[str, tuple[Strip, ...]]:
    """The strips of each family, in the order of the list."""
    found: dict[str, tuple[Strip, ...]] = {}
    for strip in STRIPS:
        found[strip.family] = (*found.get(strip.family, ()), strip)
    return found
