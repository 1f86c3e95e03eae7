"""Where a drive's numbers come from, as facts to print: the same in the window and on every sheet."""

import hashlib
from datetime import datetime
from zoneinfo import ZoneInfo

from tbmreview import __version__
from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.ground import GROUND_KINDS, PREDICTED
from tbmreview.domain.setting import settings_of
from tbmreview.domain.setup import Setup
from tbmreview.drive.opened import Drive
from tbmreview.drive.overrule import counted, in_force
from tbmreview.drive.which_ground import ground_entry, told

Facts = tuple[tuple[str, str], ...]


def facts(drive: Drive, predicted: str = "", span_us: tuple[int, int] | None = None) -> Facts:
    """(name, text) of each thing that a reader needs to recompute or doubt the numbers. predicted: the
    baseline that is drawn, '' for the latest. span_us: the time in which overrules are counted; None is all."""
    return (
        ("logs", logs_text(drive)),
        ("content", fingerprint(drive)),
        ("ground", _ground_text(drive, predicted)),
        ("machine", machine_text(drive.setup)),
        ("detection", _thresholds_text(drive.setup)),
        ("overrules", counted(drive, span_us)),
        ("program", f"tbmreview {__version__}"),
    )


def provenance_line(drive: Drive) -> str:
    """The facts that the window shows at all times."""
    count = len(in_force(drive))
    return (
        f"{drive.setup.drive.name} · {logs_text(drive)} · {count} {'overrule' if count == 1 else 'overrules'}"
    )


def logs_text(drive: Drive) -> str:
    """Files, samples and time span."""
    span = drive.time_span_us
    if span is None:
        return "no samples yet"
    zone = drive.setup.drive.zone
    rows = sum(chunk.rows for chunk in drive.days().values())
    count = drive.source_count()
    files = f"{count} log {'file' if count == 1 else 'files'}"
    samples = f"{rows:,}".replace(",", "\N{NO-BREAK SPACE}")
    return f"{files}, {samples} samples, {stamp(span[0], zone)} to {stamp(span[1], zone)} ({zone.key})"


def stamp(time_us: int, zone: ZoneInfo) -> str:
    """An instant on the site's clock, to the minute."""
    return datetime.fromtimestamp(time_us / 1e6, zone).strftime("%Y-%m-%d %H:%M")


def fingerprint(drive: Drive) -> str:
    """SHA-256 over the content of every day, its first 16 digits; the same samples give the same."""
    whole = hashlib.sha256()
    for day, chunk in sorted(drive.days().items()):
        whole.update(f"{day} {chunk.content_hash}\n".encode())
    return whole.hexdigest()[:16]


def time_of(drive: Drive, low_m: float, high_m: float) -> tuple[int, int] | None:
    """From when to when a stretch of positions was bored; None where nothing was."""
    cells = drive.cells
    inside = (cells["position_to_m"] > low_m) & (cells["position_from_m"] < high_m)
    if not inside.any():
        return None
    return int(cells["start_us"][inside].min()), int(cells["end_us"][inside].max())


def machine_text(setup: Setup) -> str:
    """What of the machine enters the indicators."""
    machine = setup.machine
    size = "" if machine.disc_diameter_mm is None else f" of {machine.disc_diameter_mm:g} mm"
    stated = [
        f"{name} {value:g} {unit}"
        for name, value, unit in (
            ("drag", machine.drag_kN, "kN"),
            ("auxiliary drag", machine.aux_drag_kN, "kN"),
            ("no-load torque", machine.no_load_torque_kNm, "kNm"),
        )
        if value is not None
    ]
    where = f"; where the log shows none: {', '.join(stated)}" if stated else ""
    return f"{machine.kind}, bore {machine.bore_diameter_m:.2f} m, {machine.disc_count} discs{size}{where}"


def _thresholds_text(setup: Setup) -> str:
    """The leading detector's thresholds, those that a person set otherwise, and kinds that are not looked for."""
    f, known = setup.findings, FindingSettings()
    said = [
        f"FPI off its baseline ({f.fpi_window_m:g} m either side) by a factor of {f.fpi_ratio:g} and "
        f"{f.fpi_score:g} robust deviations over {f.fpi_least_m:g} m or more"
    ]
    stated = [
        f"{key} = {getattr(f, key):g}"
        for key in settings_of(FindingSettings)
        if key != "left_out" and not key.startswith("fpi_") and getattr(f, key) != getattr(known, key)
    ]
    said.append(f"set otherwise: {', '.join(stated)}" if stated else "other detectors as they come")
    if f.left_out:
        said.append(f"not looked for: {', '.join(f.left_out)}")
    return "; ".join(said)


def _ground_text(drive: Drive, predicted: str) -> str:
    there = [kind for kind in GROUND_KINDS if drive.ground_entries(kind)]
    entries = [
        (kind, ground_entry(drive, kind, predicted or None if kind == PREDICTED else None)) for kind in there
    ]
    return "; ".join(told(kind, entry.name, entry.issued) for kind, entry in entries) or "none given"
