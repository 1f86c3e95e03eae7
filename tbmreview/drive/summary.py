"""A drive on a page of numbers: what was bored, in which hours and ground, off what, and what was noticed."""

import re
import textwrap
from collections.abc import Iterator
from datetime import datetime

import numpy as np

from tbmreview.domain.ground import MAPPED
from tbmreview.domain.setup import OPEN_GRIPPER
from tbmreview.domain.station import format_chainage
from tbmreview.domain.table import Table
from tbmreview.drive.export import text_table
from tbmreview.drive.opened import Drive

WIDTH = 100
NAME_WIDTH = 14
OFF_THE_RING = 0.5  # share of a stroke's advance from which it counts as pushed off the ring
ADJOINING_M = 0.05  # strokes whose ends lie nearer to each other follow each other
OF_DAYS = (
    *("shift_start_utc", "advance_m", "boring_h", "regrip_h", "ring_build_h", "standing_h", "no_record_h"),
    *("utilisation_calendar", "penetration_rate_m_h", "advance_rate_m_h"),
)
OF_GROUND = (
    *("ground", "chainage_from_m", "chainage_to_m", "advance_m", "penetration_mm_rev", "net_disc_load_kN"),
    *("fpi_kN_per_mm_rev", "net_fpi_kN_per_mm_rev", "net_specific_energy_MJ_m3", "torque_ratio"),
    "segment_reacted_share",
)


def summary_text(drive: Drive) -> str:
    """The page. A drive without samples has its heading and says so."""
    heading = [drive.setup.drive.name, "=" * len(drive.setup.drive.name)]
    if drive.time_span_us is None:
        return "\n".join([*heading, "no samples yet"])
    lines = [*heading, *(_named(name, text) for name, text in facts(drive))]
    for title, text in (
        ("Days", text_table(drive.time("day"), drive.setup.drive.zone, OF_DAYS)),
        ("Mapped ground", _ground_text(drive)),
        ("Noticed", findings_sentences(drive)),
    ):
        lines += ["", title, "-" * len(title), text]
    return "\n".join(lines)


def _named(name: str, text: str) -> str:
    return textwrap.fill(
        f"{name:<{NAME_WIDTH}}{text}", WIDTH, subsequent_indent=" " * NAME_WIDTH, break_on_hyphens=False
    )


def facts(drive: Drive) -> Iterator[tuple[str, str]]:
    """What there is to tell in a line each: (name, text)."""
    machine = drive.setup.machine
    discs = f", {machine.disc_count} disc rings"
    of_discs = f" of {machine.disc_diameter_mm:.0f} mm" if machine.disc_diameter_mm else ""
    yield "machine", f"{machine.kind}, bore {machine.bore_diameter_m:.2f} m{discs}{of_discs}"
    whole, hours, strokes = drive.table("drive"), drive.time("drive"), drive.table("stroke")
    yield "advance", f"{_places(whole, 0)}: {whole['advance_m'][0]:.2f} m{_unrecorded(whole)}"
    yield "time", _time_words(drive, hours)
    yield "strokes", _stroke_words(strokes)
    if machine.kind != OPEN_GRIPPER and len(drive.rings):
        rings = drive.rings["ring"]
        yield "rings", f"{int(rings.min())} to {int(rings.max())}"
    yield (
        "boring",
        f"{hours['boring_h'][0]:.1f} h, utilisation {hours['utilisation_calendar'][0]:.3f} of the calendar; "
        f"{hours['penetration_rate_m_h'][0]:.2f} m/h while boring, {hours['advance_rate_m_h'][0]:.2f} m/h in all",
    )
    yield "best day", _day_words(drive)
    if np.isfinite(whole["net_disc_load_kN"][0]):
        yield "disc load", _load_words(drive, whole)
    yield "off the ring", _ring_words(strokes, whole)


def _places(rows: Table, row: int) -> str:
    ends = (format_chainage(float(rows[name][row])) for name in ("chainage_from_m", "chainage_to_m"))
    return " to ".join(ends)


def _unrecorded(whole: Table) -> str:
    lost = float(whole["unrecorded_advance_m"][0])
    return f", {lost:.2f} m of it in gaps of the record" if lost >= 0.005 else ", all of it recorded"


def _time_words(drive: Drive, hours: Table) -> str:
    zone, span = drive.setup.drive.zone, drive.time_span_us
    assert span is not None  # told before
    first, last = (datetime.fromtimestamp(us / 1e6, zone).strftime("%Y-%m-%d %H:%M") for us in span)
    total, lost = float(hours["total_h"][0]), float(hours["no_record_h"][0])
    return f"{first} to {last} ({zone.key}); {total:.0f} h of shifts, {lost:.1f} h of them without record"


def _stroke_words(strokes: Table) -> str:
    lengths = strokes["advance_m"]
    said = f"{len(strokes)}, {np.median(lengths):.2f} m in the median" if len(strokes) else "none"
    sets = sorted(set(strokes["pushing_set"].tolist())) if len(strokes) else []
    counts = [f"{int(np.sum(strokes['pushing_set'] == name))} by the {name} set" for name in sets if name]
    return ", ".join([said, *counts])


def _day_words(drive: Drive) -> str:
    days = drive.time("day")
    best = int(np.argmax(days["advance_m"]))
    date = datetime.fromtimestamp(int(days["shift_start_utc"][best]) / 1e6, drive.setup.drive.zone)
    mean = float(np.mean(days["advance_m"]))
    return f"{days['advance_m'][best]:.1f} m on {date:%Y-%m-%d}; {mean:.1f} m a day over {len(days)} days"


def _load_words(drive: Drive, whole: Table) -> str:
    metres = drive.table("step", 1.0)
    most = int(np.nanargmax(metres["net_disc_load_kN"]))
    limit = drive.setup.machine.disc_load_limit_kN
    allowed = "no limit is stated" if limit is None else f"{limit:.0f} kN are allowed"
    return (
        f"net {whole['net_disc_load_kN'][0]:.0f} kN in the mean, at most {metres['net_disc_load_kN'][most]:.0f} kN "
        f"over a metre ({_places(metres, most)}); {allowed}"
    )


def _ring_words(strokes: Table, whole: Table) -> str:
    """How much of the advance the segments bore, and where."""
    share = float(whole["segment_reacted_share"][0])
    if np.isnan(share):
        return "the reaction is not known"
    stretches = [_stretch(strokes, rows) for rows in ring_stretches(strokes)]
    where = f": {'; '.join(stretches)}" if stretches else ""
    return f"{100 * share:.1f} % of the advance pushed off the segments{where}"


def ring_stretches(strokes: Table) -> list[tuple[int, int]]:
    """Runs of strokes that were pushed off the ring, as (first row, last row) of the table by stroke."""
    rows = np.flatnonzero(np.nan_to_num(strokes["segment_reacted_share"]) >= OFF_THE_RING)
    low, high = strokes["position_from_m"], strokes["position_to_m"]
    breaks = [k for k in range(1, len(rows)) if low[rows[k]] - high[rows[k - 1]] > ADJOINING_M]
    parts = np.split(rows, breaks) if len(rows) else []
    return [(int(part[0]), int(part[-1])) for part in parts]


def _stretch(strokes: Table, rows: tuple[int, int]) -> str:
    low, high = strokes["chainage_from_m"][rows[0]], strokes["chainage_to_m"][rows[1]]
    ends = " to ".join(format_chainage(float(place), 1) for place in (low, high))
    return f"{ends} ({rows[1] - rows[0] + 1} strokes)"


def _ground_text(drive: Drive) -> str:
    if not drive.ground_names(MAPPED):
        return "no ground was mapped"
    return text_table(drive.table("ground"), drive.setup.drive.zone, OF_GROUND)


def findings_sentences(drive: Drive) -> str:
    """Each finding in the first sentence of its evidence; neighbours that may have one cause stand together."""
    lines: list[str] = []
    group = ""
    for finding in drive.findings:
        apart = bool(lines) and (not finding.group or finding.group != group)
        group = finding.group
        said = f"{finding.id:<6}{finding.kind}: {_first_sentence(finding.evidence)}"
        lines += [""] * apart + [textwrap.fill(said, WIDTH, subsequent_indent=" " * 6)]
    return "\n".join(lines) or "no findings; that does not mean safe ground"


def _first_sentence(text: str) -> str:
    return re.split(r"(?<=\.)\s", text, maxsplit=1)[0]
