"""[pads] of drive.toml: the pads through which cylinders push on the last ring."""

from dataclasses import dataclass
from itertools import pairwise

from tbmreview.domain.setting import setting

POSITIVE, NEGATIVE = "positive", "negative"
SAME_DEG = 1e-6  # pads nearer to each other are stated twice


@dataclass(frozen=True, slots=True)
class Pads:
    """[pads]: where each pad pushes on the ring, and the segment designer's limits. None means *not given*."""

    angles_deg: tuple[float, ...] = setting(
        "where each pad pushes: from the crown clockwise, looking in the direction of driving; one for each pad, in the "
        "order of their numbers or letters; empty: no pads",
        default=(),
        unit="deg",
        low=-360,
        high=360,
    )
    radius_m: float | None = setting(
        "radius of the circle on which the pads push", default=None, unit="m", low=0.3, high=10
    )
    pushes: str | None = setting(
        "sign of the logged value while a pad pushes on the ring", default=None, choices=(POSITIVE, NEGATIVE)
    )
    columns: tuple[str, ...] = setting(
        'headings of the pads\' columns in the logs, one for each angle, "" for a pad that is not logged; empty: found by '
        "their words and numbers",
        default=(),
    )
    unit: str | None = setting(
        "unit of these columns, where their headings state none",
        default=None,
        choices=("kN", "MN", "bar", "MPa"),
    )
    area_m2: float | None = setting(
        "area of the pistons that push on one pad together, where pressures are logged",
        default=None,
        unit="m2",
        low=0,
        high=2,
        above_low=True,
    )
    force_limit_kN: float | None = setting(
        "force that one pad may put on the ring, from the segment designer",
        default=None,
        unit="kN",
        low=0,
        high=100_000,
        above_low=True,
    )
    eccentricity_limit_mm: float | None = setting(
        "how far the centre of thrust may lie off the axis of the ring, from the segment designer",
        default=None,
        unit="mm",
        low=0,
        high=10_000,
        above_low=True,
    )
    least_total_kN: float | None = setting(
        "force of all pads from which the eccentricity of a single sample counts; not given: no greatest eccentricity",
        default=None,
        unit="kN",
        low=0,
        high=500_000,
        above_low=True,
    )


def check_pads(pads: Pads, bore_diameter_m: float, problems: list[str]) -> None:
    """Add what is wrong between the keys, one line each."""
    count = len(pads.angles_deg)
    if not count:
        if pads != Pads():
            problems.append(
                "[pads] angles_deg: missing; expected an angle for each pad, from the crown clockwise"
            )
        return
    if count < 2:
        problems.append(f"[pads] angles_deg = {list(pads.angles_deg)!r}: expected two pads or more")
    turned = sorted(angle % 360 for angle in pads.angles_deg)
    if any(high - low < SAME_DEG for low, high in pairwise([*turned, turned[0] + 360])) and count > 1:
        problems.append(f"[pads] angles_deg = {list(pads.angles_deg)!r}: expected each place once (360 is 0)")
    if pads.radius_m is None:
        problems.append(
            "[pads] radius_m: missing; expected the radius of the circle on which the pads push, in m"
        )
    elif pads.radius_m > bore_diameter_m / 2:
        problems.append(
            f"[pads] radius_m = {pads.radius_m!r}: expected no more than half of bore_diameter_m, in m"
        )
    if pads.pushes is None:
        problems.append(
            f'[pads] pushes: missing; expected "{POSITIVE}" or "{NEGATIVE}", the sign of a push in the logs'
        )
    if pads.columns and len(pads.columns) != count:
        problems.append(
            f"[pads] columns: {len(pads.columns)} headings, expected {count}, one for each of angles_deg"
        )
    logged = [heading for heading in pads.columns if heading]
    if len(set(logged)) < len(logged) or (pads.columns and not logged):
        problems.append(f"[pads] columns = {list(pads.columns)!r}: expected different headings, one at least")
