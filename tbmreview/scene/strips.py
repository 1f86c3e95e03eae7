"""The strips a picture can show. A new one is a record here; viewer, sheet and help read the list."""

from dataclasses import dataclass

LINE, REACTION = "line", "reaction"
NET, GROSS, SINGLE = "net", "gross", "single"


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


def _pair(column: str) -> tuple[Series, ...]:
    return (Series(column, GROSS), Series(f"net_{column}", NET))


def _one(column: str) -> tuple[Series, ...]:
    return (Series(column, SINGLE),)


STRIPS: tuple[Strip, ...] = (
    Strip("penetration", "Penetration", "mm/rev", _one("penetration_mm_rev"), "advance per revolution"),
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
        "fpi",
        "FPI",
        "kN/(mm/rev)",
        _pair("fpi_kN_per_mm_rev"),
        "field penetration index: load per disc over penetration",
        logarithmic=True,
    ),
    Strip(
        "energy",
        "Specific energy",
        "MJ/m³",
        _pair("specific_energy_MJ_m3"),
        "work per volume of rock",
    ),
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
    Strip(
        "disc_load",
        "Disc load",
        "kN",
        _pair("disc_load_kN"),
        "thrust over installed rings",
        limit="disc_load_limit_kN",
        decimals=0,
    ),
    Strip("head_speed", "Head speed", "rpm", _one("head_speed_rpm"), "speed of the head", decimals=2),
    Strip(
        "penetration_rate",
        "Penetration rate",
        "m/h",
        _one("penetration_rate_m_h"),
        "advance per hour of boring",
        decimals=2,
    ),
    Strip(
        "torque_index",
        "Torque index",
        "kNm/(mm/rev)",
        _one("tpi_kNm_per_mm_rev"),
        "torque over penetration",
        logarithmic=True,
    ),
    Strip(
        "torque_ratio",
        "Torque ratio",
        "–",
        _one("torque_ratio"),
        "torque over thrust and lever arm",
        decimals=3,
    ),
    Strip(
        "rotary_energy",
        "Rotary energy",
        "MJ/m³",
        _one("rotary_energy_MJ_m3"),
        "specific energy of rotation, gross",
    ),
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

BY_NAME: dict[str, Strip] = {strip.name: strip for strip in STRIPS}
DEFAULT = ("penetration", "thrust", "torque", "fpi", "energy", "reaction")
