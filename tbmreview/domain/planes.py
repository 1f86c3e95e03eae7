"""A plane through the axis and the face of the machine: when the face first and last touches it.

Azimuths in degrees from north, clockwise; dip in degrees below the horizontal; plunge of the axis in degrees,
positive downwards in the direction of driving. Geometry of a plane and a disc, no source needed.
"""

import math

FLATTEST_DEG = 1.0  # between plane and axis: below it the contact runs along the drive for 57 bores and more


def between_deg(
    dip_deg: float, dip_direction_deg: float, azimuth_deg: float, plunge_deg: float = 0.0
) -> float:
    """Angle between a plane and the axis, 0 (along it) to 90 (across it) degrees; NaN where an angle is NaN."""
    normal = _pole(dip_deg, dip_direction_deg)
    axis = _line(azimuth_deg, plunge_deg)
    cosine = abs(sum(a * b for a, b in zip(normal, axis, strict=True)))
    return math.degrees(math.asin(min(1.0, cosine))) if cosine == cosine else math.nan


def reach_m(between: float, bore_diameter_m: float) -> float:
    """How far before its intersection with the axis the face first touches a plane, and how far behind it last
    does, in m: half the bore over the tangent of the angle between plane and axis [degrees].

    NaN where the angle is NaN or below FLATTEST_DEG: there the figure means nothing.
    """
    if not between >= FLATTEST_DEG:
        return math.nan
    return bore_diameter_m / 2 / math.tan(math.radians(between))


def _line(azimuth_deg: float, plunge_deg: float) -> tuple[float, float, float]:
    """Unit vector east, north, up."""
    azimuth, plunge = math.radians(azimuth_deg), math.radians(plunge_deg)
    flat = math.cos(plunge)
    return flat * math.sin(azimuth), flat * math.cos(azimuth), -math.sin(plunge)


def _pole(dip_deg: float, dip_direction_deg: float) -> tuple[float, float, float]:
    """Unit vector at right angles to a plane, pointing up."""
    dip, direction = math.radians(dip_deg), math.radians(dip_direction_deg)
    flat = math.sin(dip)
    return flat * math.sin(direction), flat * math.cos(direction), math.cos(dip)
