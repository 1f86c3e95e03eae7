"""The channels the program understands, each with its one canonical unit.

A log's other numeric columns are kept in the store as they are, under ``extra:<their name>``.
"""

from dataclasses import dataclass

EXTRA_PREFIX = "extra:"
INFLOW = "water_l_min"


@dataclass(frozen=True, slots=True)
class Channel:
    """One logged quantity.

    low, high: what a measured value of any machine may be; outside it the unit is wrong or the
    sensor is. They are wide on purpose (common practice, no source).
    """

    name: str
    quantity: str
    unit: str
    label: str
    what: str
    low: float
    high: float


CHANNELS: tuple[Channel, ...] = (
    Channel("main_thrust_kN", "force", "kN", "Main thrust", "force of the main cylinders; a log's plain 'thrust' is this", -5_000, 200_000),
    Channel("aux_thrust_kN", "force", "kN", "Auxiliary thrust", "force of the auxiliary cylinders on the ring", -5_000, 200_000),
    Channel("main_pressure_bar", "pressure", "bar", "Main pressure", "pressure of the main cylinders", -10, 700),
    Channel("aux_pressure_bar", "pressure", "bar", "Auxiliary pressure", "pressure of the auxiliary cylinders", -10, 700),
    Channel("main_stroke_mm", "length", "mm", "Main stroke", "mean extension of the main cylinders; a log's plain 'stroke' is this", -100, 5_000),
    Channel("aux_stroke_mm", "length", "mm", "Auxiliary stroke", "mean extension of the auxiliary cylinders", -100, 5_000),
    Channel("torque_kNm", "torque", "kNm", "Torque", "torque at the head, signed for the direction of rotation", -50_000, 50_000),
    Channel("head_speed_rpm", "rotation", "rpm", "Head speed", "speed of rotation of the head", -20, 20),
    Channel("penetration_mm_rev", "penetration", "mm/rev", "Penetration", "advance per revolution as logged", -5, 200),
    Channel("advance_speed_mm_min", "speed", "mm/min", "Advance speed", "speed of advance as logged", -500, 3_000),
    Channel("head_power_kW", "power", "kW", "Head power", "power of the head drive", -500, 20_000),
    Channel("gripper_pressure_bar", "pressure", "bar", "Gripper pressure", "pressure of the gripper cylinders", -10, 700),
    Channel("gripper_force_kN", "force", "kN", "Gripper force", "force of the grippers on the rock", -5_000, 200_000),
    Channel("chainage_m", "station", "m", "Logged chainage", "chainage from the guidance system as logged", -1e7, 1e7),
    Channel("ring_number", "count", "", "Ring", "number of the ring in building or last built", 0, 1e6),
    Channel("belt_rate_t_h", "mass rate", "t/h", "Belt rate", "mass rate on the belt scale", -100, 20_000),
    Channel("belt_total_t", "mass", "t", "Belt total", "running total of the belt scale", 0, 1e9),
    Channel(INFLOW, "flow", "l/min", "Water inflow", "water pumped or measured at the machine", -100, 1e6),
    Channel("pitch_mm_m", "slope", "mm/m", "Pitch", "inclination along the axis", -500, 500),
    Channel("roll_mm_m", "slope", "mm/m", "Roll", "rotation about the axis", -500, 500),
)  # fmt: skip

BY_NAME: dict[str, Channel] = {channel.name: channel for channel in CHANNELS}
