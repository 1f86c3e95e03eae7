"""Units against pint and scipy.constants (CODATA / SI definitions)."""

import numpy as np
import pint
import pytest
from scipy import constants

from tbmreview.domain.channels import BY_NAME, CHANNELS
from tbmreview.ingest.units import PLAUSIBLE, for_channel, parse_unit, plausible_units

REGISTRY = pint.UnitRegistry()
PINT = {
    "force": "kilonewton",
    "pressure": "bar",
    "length": "mm",
    "torque": "kilonewton * meter",
    "rotation": "revolutions_per_minute",
    "penetration": "mm / revolution",
    "speed": "mm / minute",
    "power": "kilowatt",
    "mass rate": "tonne / hour",
    "mass": "tonne",
    "flow": "liter / minute",
    "energy": "kilowatt_hour",
}


@pytest.mark.parametrize(
    ("spelling", "quantity", "expression"),
    [
        ("MN", "force", "meganewton"),
        ("N", "force", "newton"),
        ("t", "force", "metric_ton * standard_gravity"),
        ("tf", "force", "metric_ton * standard_gravity"),
        ("kp", "force", "kilogram_force"),
        ("lbf", "force", "pound_force"),
        ("kip", "force", "kip"),
        ("MPa", "pressure", "megapascal"),
        ("kPa", "pressure", "kilopascal"),
        ("psi", "pressure", "psi"),
        ("N/mm²", "pressure", "newton / mm**2"),
        ("kgf/cm²", "pressure", "kilogram_force / cm**2"),
        ("MNm", "torque", "meganewton * meter"),
        ("Nm", "torque", "newton * meter"),
        ("ft-lbf", "torque", "foot * pound_force"),
        ("m", "length", "meter"),
        ("cm", "length", "cm"),
        ("km", "length", "km"),
        ("in", "length", "inch"),
        ("ft", "length", "foot"),
        ("rps", "rotation", "revolution / second"),
        ("rad/s", "rotation", "radian / second"),
        ("°/s", "rotation", "degree / second"),
        ("m/h", "speed", "meter / hour"),
        ("cm/min", "speed", "cm / minute"),
        ("mm/s", "speed", "mm / second"),
        ("ft/hr", "speed", "foot / hour"),
        ("MW", "power", "megawatt"),
        ("W", "power", "watt"),
        ("hp", "power", "horsepower"),
        ("PS", "power", "metric_horsepower"),
        ("kg/s", "mass rate", "kg / second"),
        ("kg", "mass", "kg"),
        ("l/s", "flow", "liter / second"),
        ("m³/h", "flow", "meter**3 / hour"),
        ("gpm", "flow", "gallon / minute"),
        ("MJ", "energy", "megajoule"),
    ],
)
def test_factor_is_pints(spelling: str, quantity: str, expression: str) -> None:
    unit = next(u for u in parse_unit(spelling) if u.quantity == quantity)
    expected = REGISTRY.Quantity(1.0, expression).to(PINT[quantity]).magnitude
    assert unit.factor == pytest.approx(expected, rel=1e-9)


def test_constants_are_scipys() -> None:
    assert parse_unit("t")[0].factor == pytest.approx(constants.g)
    assert parse_unit("psi")[0].factor == pytest.approx(constants.psi / constants.bar)
    assert parse_unit("lbf")[0].factor == pytest.approx(constants.lbf / 1000)
    assert parse_unit("hp")[0].factor == pytest.approx(constants.hp / 1000)


@pytest.mark.parametrize(
    ("name", "spellings"),
    [
        ("kNm", "kNm|kN·m|kN・m|kN?m|kN m|kN.m|kN-m|KNM|[kNm]|（kN・m）|千牛米"),
        ("rpm", "rpm|RPM|1/min|min-1|min⁻¹|min^-1|min-|U/min|r/min|rev/min|tr/min|giri/min|o/min|转/分"),
        ("mm/rev", "mm/rev|mm/rot|mm/U|mm/r|mm/rmp|mm/tr|mm/giro|mm/omdr|mm/转|mm / U"),
        ("mm/min", "mm/min|MM/MIN|mm/分|毫米/分"),
        ("t/h", "t/h|tph|T/H|吨/小时"),
        ("deg", "deg|°|度|degrees"),
        ("0.1 mm/rev", "0.1 mm/rev|0,1mm/U"),
    ],
)
def test_spellings_met_in_logs(name: str, spellings: str) -> None:
    for spelling in spellings.split("|"):
        assert [u.name for u in parse_unit(spelling)] == [name], spelling


@pytest.mark.parametrize("spelling", ["", "-", "xyz", "min.", "kN/bar", "rot", "12", "0 mm", "Mp", "ring"])
def test_what_is_not_known_is_not_guessed(spelling: str) -> None:
    assert not [u for u in parse_unit(spelling) if u.quantity not in ("time",)]


def test_percent_is_a_slope_or_a_share_and_tonnes_a_mass_or_a_force() -> None:
    assert {u.quantity for u in parse_unit("%")} == {"slope", "share"}
    assert {u.quantity for u in parse_unit("t")} == {"mass", "force"}


def test_an_angle_becomes_a_slope_by_its_tangent() -> None:
    unit = for_channel(parse_unit("°"), BY_NAME["pitch_mm_m"])
    assert unit is not None
    values = unit.convert(np.array([0.0, 1.0, -3.0, 45.0, np.nan]))
    np.testing.assert_allclose(values[:4], 1000 * np.tan(np.deg2rad([0, 1, -3, 45])))
    assert np.isnan(values[4])


def test_a_station_is_in_metres_and_a_penetration_may_be_written_as_a_length() -> None:
    km = for_channel(parse_unit("km"), BY_NAME["chainage_m"])
    mm = for_channel(parse_unit("mm"), BY_NAME["penetration_mm_rev"])
    assert km is not None
    assert mm is not None
    assert km.factor == 1000.0
    assert (mm.name, mm.factor) == ("mm/rev", 1.0)
    assert for_channel(parse_unit("bar"), BY_NAME["torque_kNm"]) is None


def test_every_channel_with_a_unit_can_be_written_in_it() -> None:
    for channel in CHANNELS:
        if channel.unit:
            unit = for_channel(parse_unit(channel.unit), channel)
            assert unit is not None, channel.name
            assert unit.factor == pytest.approx(1.0)
            assert plausible_units(channel)[0].factor == pytest.approx(1.0)
            assert len(plausible_units(channel)) == len(PLAUSIBLE[channel.quantity])
