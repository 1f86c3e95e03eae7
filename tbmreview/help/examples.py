"""The worked examples: each calls the functions that tables call, on stated figures, when its page is built."""

from collections.abc import Callable, Mapping
from dataclasses import asdict
from functools import partial

import numpy as np

from tbmreview.domain.planes import between_deg, reach_m
from tbmreview.domain.setup import Accuracy
from tbmreview.domain.states import State
from tbmreview.drive.course import Anchor, course_through
from tbmreview.drive.penetration_curve import penetration_curve
from tbmreview.drive.time import STATE_COLUMNS, hours_of
from tbmreview.findings.contrast import separability
from tbmreview.help import stated
from tbmreview.help.grid import grid, number, sentence, with_unit
from tbmreview.indicators import INDICATORS, balance, pads, wear
from tbmreview.indicators.models import MODELS, expected_of
from tbmreview.indicators.record import Floats
from tbmreview.indicators.response import response
from tbmreview.indicators.uncertainty import PIECES, uncertainties

# What the figures of each family depend on.
CUTTING = ("thrust_kN", "drag_kN", "torque_kNm", "no_load_kNm", "penetration_mm_rev")
OF_FAMILY: Mapping[str, tuple[str, ...]] = {
    "rates": ("head_speed_rpm", "penetration_mm_rev"),
    "load": (
        *("disc_count", "thrust_kN", "drag_kN", "drag_sd_kN", "torque_kNm", "no_load_kNm", "ring_share"),
        *("thrust_installed_kN", "torque_installed_kNm", "disc_load_limit_kN"),
    ),
    "energy": ("bore_diameter_m", *CUTTING, "head_speed_rpm"),
    "boreability": ("bore_diameter_m", "disc_count", "disc_diameter_mm", *CUTTING),
    "evenness": ("torque_spread_kNm", "penetration_spread_mm_rev", "steady"),
}
ACCURACY = Accuracy(
    thrust_systematic_percent=1.0,
    thrust_random_percent=3.0,
    torque_systematic_percent=1.5,
    torque_random_percent=4.0,
    head_speed_systematic_percent=0.5,
    head_speed_random_percent=2.0,
    stroke_systematic_percent=0.3,
    stroke_random_mm=2.0,
    bore_systematic_mm=15.0,
)
HOURS: Mapping[State, float] = {
    State.BORING: 4.0,
    State.TURNING_FREE: 0.25,
    State.REGRIP: 0.5,
    State.RING_BUILD: 1.75,
    State.STANDING: 3.5,
}
GROUND: Mapping[str, float] = {
    "ucs_MPa": 125.0,
    "bts_MPa": 9.5,
    "brittleness": 125 / 9.5,
    "rqd_pct": 82.0,
    "jv_per_m3": 6.0,
    "angle_deg": 50.0,
    "q": 12.0,
    "cai": 3.0,
    "joint_condition": 20.0,
    "rsr": 65.0,
    "rock_type_code": 3.0,
    "rqd_code": 2.0,
    "weathering_grade": 1.0,
    "inflow_l_s": 2.0,
    "peak_slope_kN_mm": 30.0,
    "plane_spacing_m": 0.3,
    "density_t_m3": 2.7,
    "cutter_life_index": 10.0,
    "quartz_pct": 25.0,
    "face_stress_MPa": 10.0,
    "bore_diameter_m": 6.0,
    "disc_count": 40.0,
    "disc_lever_arm": 0.3,
    "disc_diameter_mm": 483.0,
    "disc_tip_mm": 19.0,
    "disc_spacing_mm": 75.0,
    "pressure_exponent": 0.0,
    "disc_load_kN": 250.0,
    "penetration_mm_rev": 8.0,
    "critical_load_kN": 110.0,
    "load_exponent": 2.5,
    "disc_diameter_factor": 1.0,
    "disc_spacing_factor": 1.0,
    "cutting_constant": 0.034,
    "head_power_kW": 940.0,
    "power_share": 0.85,
    "cutting_energy_kWh_m3": 7.0,
}


def one(value: float) -> Floats:
    """A figure as the functions take it, (1,)."""
    return np.array([value], np.float64)


def of_family(family: str) -> str:
    """Every indicator of a family for the interval of `stated`."""
    sums, machine = stated.sums_of(), stated.machine_of()
    rows = [
        (i.label, f"`{i.name}`", number(float(i.function(sums, machine)[0]), i.decimals), i.unit or "–")
        for i in INDICATORS
        if i.family == family
    ]
    return f"{_given(OF_FAMILY[family])}\n\n{grid(('figure', 'column', 'value', 'unit'), rows)}"


def _given(names: tuple[str, ...]) -> str:
    of = [stated.BY_NAME[name] for name in names]
    return sentence([f"{g.what} {with_unit(g.value, g.unit, g.decimals)}" for g in of])


def _of_penetration_test() -> str:
    """Five loads whose penetrations scatter about a power law."""
    loads, critical, slope = np.array([170.0, 200.0, 230.0, 260.0, 185.0]), 150.0, 2.0
    points = (loads / critical) ** slope * np.array([1.03, 0.98, 1.01, 0.99, 0.99])
    found = penetration_curve(loads, points)
    shown = zip(loads, points, found.penetration(loads), strict=True)
    at = [(number(load), number(p, 2), number(fitted, 2)) for load, p, fitted in shown]
    ends = [(found.slope_low, found.slope_high), (found.critical_load_low_kN, found.critical_load_high_kN)]
    rows = (
        ("`slope`", number(found.slope, 2), " to ".join(number(end, 2) for end in ends[0]), "–"),
        (
            "`critical_load_kN`",
            number(found.critical_load_kN),
            " to ".join(number(end) for end in ends[1]),
            "kN",
        ),
    )
    return (
        "A penetration test of five loads, invented.\n\n"
        f"{grid(('net disc load, kN', 'penetration, mm/rev', 'fitted, mm/rev'), at)}\n\n"
        f"{grid(('column', 'value', '95 %', 'unit'), rows)}"
    )


def of_response() -> str:
    """A penetration test; points of normal boring on a power law."""
    loads, critical, slope = np.linspace(160.0, 260.0, 21), 150.0, 2.0
    found = response(loads, (loads / critical) ** slope)
    rows = (
        ("`response_slope`", number(found.slope, 2), "–"),
        ("`critical_load_kN`", number(found.critical_load_kN), "kN"),
        ("`response_points`", number(found.points), "–"),
    )
    said = (
        f"Normal boring: loads of {loads[0]:.0f}, {loads[1]:.0f}, … {loads[-1]:.0f} kN and penetrations of "
        f"(Fn net / {critical:.0f} kN)^{slope:g} mm/rev."
    )
    return f"{_of_penetration_test()}\n\n{said}\n\n{grid(('column', 'value', 'unit'), rows)}"


def of_uncertainty() -> str:
    """Half-widths of a few indicators for sensors of ACCURACY."""
    sums = {**stated.sums_of(), PIECES: one(1.0)}
    found = uncertainties(sums, stated.machine_of(), ACCURACY)
    rows = []
    for i in INDICATORS:
        if i.name in ("net_thrust_kN", "net_fpi_kN_per_mm_rev", "net_specific_energy_MJ_m3"):
            both = (found[i.name].u95[0], found[i.name].u95_random[0])
            rows.append((f"`{i.name}_u95`", *(number(float(u), i.decimals + 1) for u in both), i.unit))
    names = [g.name for g in stated.GIVEN if g.name in _UNCERTAIN]
    sensors = sentence([f"`{key} = {value:g}`" for key, value in _stated_accuracy()])
    heading = ("column", "value", "of it random", "unit")
    return f"{_given(tuple(names))}\n\nSensors: {sensors}\n\n{grid(heading, rows)}"


_UNCERTAIN = {
    *("bore_diameter_m", "disc_count", *CUTTING, "drag_sd_kN", "no_load_sd_kNm", "head_speed_rpm"),
    *("revolutions", "samples"),
}


def _stated_accuracy() -> list[tuple[str, float]]:
    return [(key, value) for key, value in asdict(ACCURACY).items() if value is not None]


def of_models() -> str:
    """Every model, in one ground and for one machine."""
    inputs = {i.name: i for model in MODELS for i in model.inputs}
    values = {name: one(value) for name, value in GROUND.items()}
    given = [(i.what, f"`{i.name}`", f"{GROUND[i.name]:.4g}", i.unit or "–") for i in inputs.values()]
    rows = [
        (
            f"`{m.name}`",
            number(float(expected_of(m, values)[0]), 2),
            m.quantity.unit,
            f"`{m.quantity.net}`",
        )
        for m in MODELS
    ]
    heading = ("model", "expects", "unit", "compared with")
    return f"{grid(('given', 'name', 'value', 'unit'), given)}\n\n{grid(heading, rows)}"


def of_wear() -> str:
    """Way, speed and rock of a head of 6 m."""
    bore, p, rpm, length, worn, inner = 6.0, 8.0, 8.0, 100.0, 84.0, 1.8
    gauge = bore / 2
    turns, volume = one(length * 1000 / p), wear.bored_m3(bore, one(length))
    rows = (
        ("outermost disc, a metre bored", wear.rolling_m_per_m(one(gauge), one(p)), 1, "m/m"),
        (f"disc at r {inner} m, a metre bored", wear.rolling_m_per_m(one(inner), one(p)), 1, "m/m"),
        (f"outermost disc over {length:.0f} m", wear.rolling_km(one(gauge), turns), 1, "km"),
        ("gauge speed", wear.track_speed_m_min(one(gauge), one(rpm)), 1, "m/min"),
        ("head speed at a gauge speed of 150 m/min", wear.head_speed_at_rpm(one(gauge), one(150)), 2, "rpm"),
        ("bored", volume, 1, "m3"),
        ("rock per millimetre", wear.m3_per_mm(volume, one(worn)), 2, "m3/mm"),
    )
    said = (
        f"Bore {bore} m, {p:g} mm/rev, {rpm:g} rpm; {length:.0f} m bored with {worn:.0f} mm of wear on all "
        "discs together."
    )
    return f"{said}\n\n{_measured(rows)}"


def of_pads() -> str:
    """Four pads, one of which pushes twice as much as the others."""
    angles, radius, limit = np.array([0.0, 90.0, 180.0, 270.0]), 2.6, 2500.0
    forces = np.array([[1000.0, 2000.0, 1000.0, 1000.0]])
    right, up = pads.centre_of_thrust_mm(forces, angles, radius)
    rows = (
        ("total", forces.sum(axis=1), 0, "kN"),
        ("to the right", right, 0, "mm"),
        ("up", np.abs(up), 0, "mm"),
        ("eccentricity", pads.eccentricity_mm(right, up), 0, "mm"),
        ("direction", pads.direction_deg(right, up), 0, "deg"),
        ("highest pad", pads.of_limit(forces.max(axis=1), limit), 2, "of limit"),
        ("force of a pad at 300 bar and 0.06 m2", pads.pad_force_kN(one(300.0), 0.06), 0, "kN"),
    )
    given = sentence(
        [f"{force:.0f} kN at {angle:.0f} deg" for force, angle in zip(forces[0], angles, strict=True)]
    )
    return f"{given} Radius {radius} m; a limit of {limit:.0f} kN, invented.\n\n{_measured(rows)}"


def of_balance() -> str:
    """A ring's mass, the gap behind it, and water."""
    volume, bulking, scale = wear.bored_m3(6.0, one(1.5)), 1.65, 125.0
    mass, inflow = balance.mass_t(volume, 2.7), balance.inflow_over_10_m(one(30.0), one(20.0))
    rows = (
        ("bored", volume, 2, "m3"),
        ("bored mass", mass, 2, "t"),
        ("loose", balance.loose_m3(volume, bulking), 2, "m3"),
        ("surplus", balance.surplus_pct(one(scale), mass), 2, "%"),
        ("gap", balance.gap_m3(6.30, 6.00, one(1.5)), 2, "m3"),
        ("voids of the gravel", balance.voids_m3(one(3.23), 0.3), 2, "m3"),
        ("filled", balance.filled_m3(one(3.23), one(1.2), 0.3), 2, "m3"),
        ("inflow over 10 m", inflow, 1, "l/min"),
    )
    said = (
        f"Bore 6.0 m, a ring of 1.5 m, 2.7 t/m3, bulking {bulking}; the scale saw {scale:.0f} t. Gap: bore 6.30 m, "
        "segments 6.00 m, ring 1.5 m; 3.23 m3 of gravel with 30 % voids and 1.20 m3 of mortar. Water: 30 l/min "
        "over 20 m."
    )
    return f"{said}\n\n{_measured(rows)}"


def _measured(rows: tuple[tuple[str, Floats, int, str], ...]) -> str:
    cells = [(what, number(float(value[0]), decimals), unit) for what, value, decimals, unit in rows]
    return grid(("what", "value", "unit"), cells)


def of_position() -> str:
    """Two stations, and what lies between them."""
    known, strokes, stroke = 40.0, 39.216, (20.0, 21.48)
    anchors = [
        Anchor(0, 0.0, 0.0, at, place, np.nan, "survey") for at, place in ((0.0, 0.0), (strokes, known))
    ]
    course = course_through(anchors)
    assert course is not None  # two anchors make one
    low, high = course.position(np.array(stroke))
    rows = (
        ("misclosure", number(1000 * (known - strokes)), "mm"),
        ("gain", number(1000 * course.gain, 1), "per mille"),
        (f"a stroke of {stroke[1] - stroke[0]:.3f} m counts", number(high - low, 3), "m"),
    )
    said = f"By survey {known:.3f} m from station to station, by strokes {strokes:.3f} m."
    return f"{said}\n\n{grid(('what', 'value', 'unit'), rows)}"


def of_time() -> str:
    """A shift of ten hours."""
    hour, total, rate = 3.6e9, sum(HOURS.values()), 2.88
    sums = {STATE_COLUMNS[state]: one(HOURS.get(state, 0.0) * hour) for state in STATE_COLUMNS}
    advance = one(rate * HOURS[State.BORING])
    sums |= {"total": one(total * hour), "advance_m": advance, "unrecorded_advance_m": one(0.0)}
    row = hours_of(np.zeros(1, np.int64), np.array(["early"], object), sums)
    shown = (
        ("utilisation_calendar", 3, "–"),
        ("penetration_rate_m_h", 2, "m/h"),
        ("advance_rate_m_h", 3, "m/h"),
    )
    cells = [(f"`{name}`", number(float(row[name][0]), d), unit) for name, d, unit in shown]
    said = sentence(
        [
            f"a shift of {total:g} h",
            *(f"{STATE_COLUMNS[s].removesuffix('_h').replace('_', ' ')} {h:g} h" for s, h in HOURS.items()),
            f"advance {with_unit(float(advance[0]), 'm', 2)}",
        ]
    )
    return f"{said}\n\n{grid(('column', 'value', 'unit'), cells)}"


def of_marks() -> str:
    """Two populations of torque, and a plane before the face."""
    jammed, usual, bore, dip, direction, azimuth = (789.18, 207.19), (1938.08, 587.47), 6.0, 60.0, 100.0, 70.0
    beta, between, wrong = separability(jammed, usual)
    angle = between_deg(dip, direction, azimuth)
    rows = (
        ("separability", number(beta, 2), "–"),
        ("value between", number(between), "kNm"),
        ("share misjudged there", number(100 * wrong, 1), "%"),
        ("angle between plane and axis", number(angle, 1), "deg"),
        ("reach before and behind", number(reach_m(angle, bore), 2), "m"),
    )
    said = sentence(
        [
            f"torque {jammed[0]:.0f} kNm with a standard deviation of {jammed[1]:.0f} kNm against "
            f"{usual[0]:.0f} with {usual[1]:.0f} kNm (of a published table)",
            f"a plane that dips {dip:.0f} deg towards {direction:.0f}, axis towards {azimuth:.0f} and level, "
            f"bore {bore:g} m",
        ]
    )
    return f"{said}\n\n{grid(('what', 'value', 'unit'), rows)}"


COMPUTED: Mapping[str, Callable[[], str]] = {
    **{f"example of {family}": partial(of_family, family) for family in OF_FAMILY},
    "example of response": of_response,
    "example of uncertainty": of_uncertainty,
    "example of models": of_models,
    "example of wear": of_wear,
    "example of balance": of_balance,
    "example of pads": of_pads,
    "example of position": of_position,
    "example of time": of_time,
    "example of marks": of_marks,
}
