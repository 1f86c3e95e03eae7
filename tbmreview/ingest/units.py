"""Unit spellings of real logs -> quantity and factor to the canonical unit of domain.channels.

A spelling that is not listed here is not guessed: the column becomes a question or an extra channel.
"""

import math
import re
import unicodedata
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.channels import Channel

STANDARD_GRAVITY = 9.80665  # m/s2, exact by definition (CGPM 1901)
_LBF_KN = 0.45359237 * STANDARD_GRAVITY / 1000  # pound exact by definition (1959)
_FOOT_MM, _INCH_MM = 304.8, 25.4  # exact by definition (1959)


@dataclass(frozen=True, slots=True)
class Unit:
    """`factor` canonical units of `quantity` in one of this unit; `tangent`: an angle read as slope."""

    name: str
    quantity: str
    factor: float
    tangent: bool = False

    def convert(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Values in the canonical unit, (n,). NaN stays NaN."""
        if self.tangent:
            return np.asarray(1000.0 * np.tan(values * self.factor))
        return values if self.factor == 1.0 else np.asarray(values * self.factor)


_TURN = (
    "rev",
    "r",
    "rot",
    "u",
    "umdr",
    "umd",
    "tr",
    "tour",
    "giro",
    "omdr",
    "vuelta",
    "vta",
    "转",
    "回転",
    "rad",
)
_RPM = (
    "1/min min-1 min^-1 min- /min u/min upm umdr/min rev/min revs/min r/min rot/min tr/min tours/min "
    "giri/min omdr/min o/min vueltas/min rev./min 转/分 转/分钟 转/min r/分 回転/分 回/分"
)


def _per_turn(length: str) -> str:
    return " ".join(f"{length}/{turn}" for turn in _TURN if turn != "rad")


# (name, quantity, factor to the canonical unit, other spellings separated by blanks)
_ROWS: tuple[tuple[str, str, float, str], ...] = (
    ("kN", "force", 1.0, "kilonewton 千牛"),
    ("MN", "force", 1e3, "meganewton"),
    ("N", "force", 1e-3, "newton"),
    ("t", "force", STANDARD_GRAVITY, "tf tonf tonnes tonne to 吨 吨力 トン"),
    ("kgf", "force", STANDARD_GRAVITY / 1000, "kg kp 公斤"),
    ("lbf", "force", _LBF_KN, "lb lbs"),
    ("kip", "force", 1000 * _LBF_KN, "kips klbf"),
    ("bar", "pressure", 1.0, "bars bar(g) barg 巴"),
    ("mbar", "pressure", 1e-3, ""),
    ("MPa", "pressure", 10.0, "n/mm2 兆帕"),
    ("kPa", "pressure", 0.01, "kn/m2"),
    ("Pa", "pressure", 1e-5, ""),
    ("psi", "pressure", _LBF_KN * 1e4 / (_INCH_MM**2), "lbf/in2 psig"),
    ("kgf/cm2", "pressure", STANDARD_GRAVITY / 10, "kg/cm2 kp/cm2"),
    ("kNm", "torque", 1.0, "千牛米"),
    ("MNm", "torque", 1e3, ""),
    ("Nm", "torque", 1e-3, ""),
    ("tm", "torque", STANDARD_GRAVITY, "tfm tonfm"),
    ("ft-lbf", "torque", _LBF_KN * _FOOT_MM / 1000, "ftlb lbfft lbft"),
    ("kip-ft", "torque", _LBF_KN * _FOOT_MM, "ftkip ftkips kipsft kft"),
    ("mm", "length", 1.0, "毫米 millimeter"),
    ("cm", "length", 10.0, "厘米"),
    ("dm", "length", 100.0, ""),
    ("m", "length", 1e3, "米 meter metre mtr"),
    ("km", "length", 1e6, "公里"),
    ("in", "length", _INCH_MM, "inch inches"),
    ("ft", "length", _FOOT_MM, "feet foot"),
    ("rpm", "rotation", 1.0, _RPM),
    ("rps", "rotation", 60.0, "1/s s-1 s^-1 hz rev/s r/s u/s"),
    ("rad/s", "rotation", 30 / math.pi, ""),
    ("deg/s", "rotation", 1 / 6, "°/s"),
    ("mm/rev", "penetration", 1.0, _per_turn("mm") + " mm/rmp mm/rpm"),
    ("cm/rev", "penetration", 10.0, _per_turn("cm")),
    ("m/rev", "penetration", 1e3, _per_turn("m")),
    ("in/rev", "penetration", _INCH_MM, _per_turn("in")),
    ("mm/min", "speed", 1.0, "mm/minute mmpm mm/分 毫米/分 mm/分钟"),
    ("cm/min", "speed", 10.0, "cm/分 厘米/分"),
    ("m/min", "speed", 1e3, "m/分"),
    ("m/h", "speed", 1000 / 60, "m/hr m/hour m/std m/時 米/小时 m/hora"),
    ("mm/s", "speed", 60.0, "mm/sec"),
    ("cm/h", "speed", 1 / 6, "cm/hr"),
    ("mm/h", "speed", 1 / 60, "mm/hr"),
    ("m/s", "speed", 6e4, ""),
    ("m/d", "speed", 1000 / 1440, "m/day m/tag"),
    ("ft/h", "speed", _FOOT_MM / 60, "ft/hr fph"),
    ("in/min", "speed", _INCH_MM, "ipm"),
    ("kW", "power", 1.0, "千瓦 kilowatt"),
    ("MW", "power", 1e3, ""),
    ("W", "power", 1e-3, "watt"),
    ("hp", "power", 0.55 * _LBF_KN * _FOOT_MM, ""),
    ("PS", "power", 0.075 * STANDARD_GRAVITY, "cv ch"),
    ("t/h", "mass rate", 1.0, "tph t/hr to/h t/std 吨/小时 t/時"),
    ("kg/s", "mass rate", 3.6, ""),
    ("kg/h", "mass rate", 1e-3, ""),
    ("kg/min", "mass rate", 0.06, ""),
    ("t/min", "mass rate", 60.0, ""),
    ("t", "mass", 1.0, "to tonnes tonne 吨 トン"),
    ("kg", "mass", 1e-3, "公斤"),
    ("l/min", "flow", 1.0, "lpm l/分 lt/min ltr/min 升/分"),
    ("l/s", "flow", 60.0, "l/sec ls-1"),
    ("m3/h", "flow", 1000 / 60, "cbm/h m3/hr m^3/h"),
    ("m3/min", "flow", 1e3, "m^3/min"),
    ("l/h", "flow", 1 / 60, ""),
    ("gpm", "flow", 3.785411784, "gal/min"),
    ("mm/m", "slope", 1.0, "‰ permille promille"),
    ("%", "slope", 10.0, "pct percent"),
    ("%", "share", 1.0, "pct percent"),
    ("A", "current", 1.0, "amp ampere"),
    ("deg C", "temperature", 1.0, "°c c degc ℃"),
    ("s", "time", 1.0, "sec seconds sek"),
    ("min", "time", 60.0, "minutes"),
    ("h", "time", 3600.0, "hours hrs std"),
    ("m3", "volume", 1.0, "cbm m^3"),
    ("l", "volume", 1e-3, "ltr liter"),
    ("V", "voltage", 1.0, "volt"),
    ("kWh", "energy", 1.0, "kwh"),
    ("MWh", "energy", 1e3, ""),
    ("MJ", "energy", 1 / 3.6, ""),
)


_ANGLES = (
    Unit("deg", "slope", math.pi / 180, tangent=True),
    Unit("rad", "slope", 1.0, tangent=True),
)
_ANGLE_SPELLINGS = {"deg": 0, "°": 0, "degree": 0, "degrees": 0, "grad": 0, "度": 0, "rad": 1}
_NUMBER = re.compile(r"(?:x|×|\*)?(?P<over>1/)?(?P<number>\d+(?:[.,]\d+)?)(?:\*|x|×)?(?=[^\d/^-])")


_PER = re.compile(
    r"(?<![^\W_])(mm|cm|m|km|in|ft|t|kg|l|m3)[\s_]+per[\s_]+"
    r"(revolution|rev|rot|minute|min|hour|hr|h|second|sec|s|day|d|m)(?![^\W_])",
    re.I,
)
_SHORT = {"revolution": "rev", "minute": "min", "hour": "h", "second": "s"}


def with_strokes(text: str) -> str:
    """'mm per min' and 'mm_per_min' as 'mm/min'."""
    return _PER.sub(lambda m: f"{m[1]}/{_SHORT.get(m[2].casefold(), m[2])}", text)


def folded(text: str) -> str:
    """A spelling without case, width, blanks and brackets: ' [kN・m] ' -> 'kn・m'."""
    text = (
        unicodedata.normalize("NFKC", with_strokes(text))
        .replace("\u2212", "-")
        .replace("\u200b", "")
        .casefold()
    )
    return re.sub(r"\s+", "", text).strip("[](){}<>\"'")


def _bare(text: str) -> str:
    """Without the mark of a product: 'kn·m', 'kn?m', 'kn-m' -> 'knm'."""
    return re.sub(r"[·・•⋅∙*×.?\ufffd_\-]", "", text)


def _table() -> dict[str, tuple[Unit, ...]]:
    table: dict[str, tuple[Unit, ...]] = {}
    for name, quantity, factor, more in _ROWS:
        unit = Unit(name, quantity, factor)
        for spelling in (name, *more.split()):
            for key in (
                {folded(spelling), _bare(folded(spelling))} if len(spelling) > 1 else {folded(spelling)}
            ):
                known = table.get(key, ())
                if quantity not in {u.quantity for u in known}:
                    table[key] = (*known, unit)
    for spelling, which in _ANGLE_SPELLINGS.items():
        table[spelling] = (*table.get(spelling, ()), _ANGLES[which])
    table["min"] = tuple(u for u in table["min"] if u.quantity == "time")
    return table


_UNITS = _table()


def parse_unit(text: str) -> tuple[Unit, ...]:
    """What a spelling may mean, one unit a quantity ('t' is a mass and a force); () if not known.

    A leading number or share scales: '0.1 mm/rev' is a tenth of mm/rev, '1/154 rpm' the speed of a motor
    behind a gear.
    """
    key = folded(text)
    found = _UNITS.get(key) or _UNITS.get(_bare(key))
    if found:
        return found
    number = _NUMBER.match(key)
    if number is None:
        return ()
    scale = float(number["number"].replace(",", "."))
    rest = _UNITS.get(key[number.end() :]) or _UNITS.get(_bare(key[number.end() :])) or ()
    if scale <= 0:
        return ()
    factor, said = (1 / scale, f"1/{scale:g}") if number["over"] else (scale, f"{scale:g}")
    return tuple(replace(u, name=f"{said} {u.name}", factor=u.factor * factor) for u in rest)


def for_channel(units: tuple[Unit, ...], channel: Channel) -> Unit | None:
    """The reading of a unit that measures this channel's quantity, scaled to the channel's unit.

    A length stands for a station, and for a penetration: logs write its mm/rev as plain mm.
    """
    for unit in units:
        if unit.quantity == channel.quantity:
            return unit
        if unit.quantity == "length" and channel.quantity == "station":
            return replace(unit, factor=unit.factor / 1000)
        if unit.quantity == "length" and channel.quantity == "penetration":
            return replace(unit, name=f"{unit.name}/rev", quantity="penetration")
    return None


def canonical(channel: Channel) -> Unit:
    """The channel's own unit."""
    return Unit(channel.unit, channel.quantity, 1.0)


# What a log without units may have meant, by quantity: each is tested against the data. Units that
# only a log of another trade or country writes (psi, kip) are never assumed where they are not stated.
PLAUSIBLE: dict[str, tuple[str, ...]] = {
    "force": ("kN", "MN", "t", "N"),
    "pressure": ("bar", "MPa"),
    "length": ("mm", "m", "cm"),
    "torque": ("kNm", "MNm", "Nm"),
    "rotation": ("rpm", "rps"),
    "penetration": ("mm/rev", "0.1 mm/rev", "cm/rev", "m/rev"),
    "speed": ("mm/min", "m/h", "cm/min", "mm/s", "m/min"),
    "power": ("kW", "MW", "W"),
    "station": ("m", "km", "mm"),
    "mass rate": ("t/h", "kg/s"),
    "mass": ("t", "kg"),
    "flow": ("l/min", "l/s", "m3/h"),
    "slope": ("mm/m", "deg", "%"),
}


def plausible_units(channel: Channel) -> tuple[Unit, ...]:
    """The units in which logs write this channel, canonical first."""
    found = (for_channel(parse_unit(name), channel) for name in PLAUSIBLE.get(channel.quantity, ()))
    return tuple(unit for unit in found if unit is not None)
