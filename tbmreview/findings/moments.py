"""Words for when and where of findings that are bound to time: sensors, recorders, muck, water, discs."""

from datetime import UTC, datetime

import numpy as np

from tbmreview.domain.channels import BY_NAME
from tbmreview.domain.findings import Finding
from tbmreview.findings.detector import Profile
from tbmreview.findings.of_rows import known
from tbmreview.findings.words import at_chainage


def moment(profile: Profile, time_us: int) -> str:
    """An instant in the drive's zone: 2031-02-10 13:19."""
    return f"{datetime.fromtimestamp(time_us / 1e6, UTC).astimezone(profile.zone):%Y-%m-%d %H:%M}"


def between(profile: Profile, start_us: int, end_us: int) -> str:
    """from 2031-02-10 13:19 to 14:04, the second date only where it is another; at 2031-02-10 13:19 for an instant."""
    start, end = moment(profile, start_us), moment(profile, end_us)
    if start == end:
        return f"at {start}"
    return f"from {start} to {end[11:] if end[:10] == start[:10] else end}"


def duration(seconds: float) -> str:
    """45 min, 3.5 h, 2.1 days"""
    if seconds < 5400:
        return f"{seconds / 60:.0f} min" if seconds >= 60 else f"{seconds:.0f} s"
    return f"{seconds / 3600:.1f} h" if seconds < 172_800 else f"{seconds / 86_400:.1f} days"


def face(profile: Profile, start_us: int, end_us: int) -> tuple[tuple[float, float], str]:
    """Positions of the face at two instants [m], and in words; NaN and '' where it is not known."""
    low, high = (float(x) for x in profile.position_at(np.array([start_us, end_us], np.int64)))
    if np.isnan(low) or np.isnan(high):
        return (low, high), ""
    names = [at_chainage(profile.axis, position) for position in (low, high)]
    words = f"face at {names[0]}" if names[0] == names[1] else f"face from {names[0]} to {names[1]}"
    return (low, high), words


def label(channel: str) -> str:
    """Main thrust"""
    return BY_NAME[channel].label


def reading(channel: str, value: float) -> str:
    """1420 kNm: four digits, more only before the point."""
    decimals = 3 if value == 0 else max(0, 3 - int(np.floor(np.log10(abs(value)))))
    number = f"{value:.{decimals}f}"
    number = number.rstrip("0").rstrip(".") if "." in number else number
    return f"{number} {BY_NAME[channel].unit}".rstrip()


def in_time(
    profile: Profile, kind: str, span_us: tuple[int, int], strength: float, told: tuple[str, dict[str, float]]
) -> Finding:
    """A finding of an interval of time, placed where the face was. told: evidence, in which {where} stands for the
    times and the face, and figures."""
    (low, high), seen = face(profile, *span_us)
    where = between(profile, *span_us) + (f" ({seen})" if seen else "")
    text, figures = told
    return Finding(
        kind=kind,
        position_from_m=0.0 if np.isnan(low) else low,
        position_to_m=0.0 if np.isnan(high) else high,
        start_us=span_us[0],
        end_us=span_us[1],
        strength=strength,
        evidence=text.replace("{where}", where),
        figures=known(figures),
    )
