"""Drive folders for a study, made once: invented drives taken in as a user would, kept beside what is true of them.

A folder is kept in the system's folder for temporary files under the hash of the generator's sources, so that work
on detectors reads the same drives again and again and a change of the generator makes them anew.
"""

import hashlib
import json
import tempfile
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pa_csv
from numpy.typing import NDArray

from tbmreview.domain.errors import ColumnsOpen
from tbmreview.drive.add import add
from tbmreview.drive.columns import columns_for
from tbmreview.drive.discs import import_disc_changes
from tbmreview.drive.start import start
from tbmreview.ingest.column_map import ColumnMap, Entry
from tests.support import invented_faults, invented_ground, invented_log, invented_rows
from tests.support.invented_faults import CLOCK, HOUR_US, SensorFault, with_faults
from tests.support.invented_ground import (
    DISCS,
    HARD,
    MASSIVE,
    WEAK,
    Event,
    Floats,
    Plan,
    faulty_plan,
    quiet_plan,
)  # fmt: skip
from tests.support.invented_log import Log, make_log

SOURCES = (invented_ground, invented_log, invented_rows, invented_faults)
BESIDE_M = 20.0  # of ground either side that a contrast is taken against
DAY_US = 24 * HOUR_US
CHANNELS = {
    "Main thrust": ("main_thrust_kN", "kN"), "Main stroke": ("main_stroke_mm", "mm"), "Torque": ("torque_kNm", "kNm"),
    "Head speed": ("head_speed_rpm", "rpm"), "Penetration": ("penetration_mm_rev", "mm/rev"),
    "Advance speed": ("advance_speed_mm_min", "mm/min"), "Head power": ("head_power_kW", "kW"),
    "Chainage": ("chainage_m", "m"), "Belt rate": ("belt_rate_t_h", "t/h"), "Water inflow": ("water_l_min", "l/min"),
    "Aux. thrust": ("aux_thrust_kN", "kN"), "Aux. stroke": ("aux_stroke_mm", "mm"),
    "Gripper pressure": ("gripper_pressure_bar", "bar"), "Ring no.": ("ring_number", ""),
}  # fmt: skip


@dataclass(frozen=True)
class Truth:
    """Something that is so: of the ground, of the machine or of a sensor. contrast: FPI inside over the nearer side
    beside, as it was bored (NaN: none). channel: of a sensor."""

    kind: str
    from_m: float
    to_m: float
    start_us: int
    end_us: int
    contrast: float = float("nan")
    channel: str = ""


@dataclass(frozen=True)
class Case:
    """A drive of the study. asked: what the import asked a person ('' nothing)."""

    name: str
    folder: Path
    kind: str
    quiet: bool
    length_m: float
    bore_m: float
    asked: str
    truths: tuple[Truth, ...]


def version() -> str:
    """The hash of the generator's sources and of this file."""
    found = hashlib.sha256()
    for path in sorted([__file__, *(str(module.__file__) for module in SOURCES)]):
        found.update(Path(path).read_bytes())
    return found.hexdigest()[:12]


def cases_folder() -> Path:
    """Where the drives of this version lie."""
    here = Path(tempfile.gettempdir()) / "tbmreview-study" / version()
    here.mkdir(parents=True, exist_ok=True)
    return here


def case(seed: int, quiet: bool) -> Case:
    """The drive of a seed, made where it is not there yet."""
    name = f"{'quiet' if quiet else 'faulty'}-{seed}"
    home = cases_folder() / name
    told = home / "truth.json"
    if not told.exists():
        with tempfile.TemporaryDirectory(dir=cases_folder()) as aside:
            _make(seed, quiet, Path(aside) / name)
            with suppress(OSError):  # another run has made it meanwhile
                (Path(aside) / name).rename(home)
    facts = json.loads(told.read_text("utf-8"))
    truths = tuple(Truth(**one) for one in facts.pop("truths"))
    return Case(name=name, folder=home / "drive", truths=truths, **facts)


def _make(seed: int, quiet: bool, home: Path) -> None:
    log = make_log(quiet_plan(seed) if quiet else faulty_plan(seed))
    time_us, rows, faults = (log.time_us, log.rows, []) if quiet else with_faults(log)
    home.mkdir(parents=True)
    files = _files(home, time_us, rows)
    (home / "drive.toml").write_text(_setup(log.plan, seed), encoding="utf-8")
    start(home / "drive", home / "drive.toml")
    asked = _take_in(home / "drive", files)
    for file in files:
        file.unlink()
    _discs(home, log)
    facts = {
        "kind": log.plan.kind, "quiet": quiet, "length_m": log.plan.length_m, "bore_m": log.plan.machine["bore_m"],
        "asked": asked, "truths": [asdict(one) for one in truths_of(log, faults)],
    }  # fmt: skip
    (home / "truth.json").write_text(json.dumps(facts, indent=1), encoding="utf-8")


def _take_in(folder: Path, files: list[Path]) -> str:
    """Add the files; where the import asks, its question, and the files with their headers stated to be right."""
    try:
        add(folder, files)
    except ColumnsOpen as asked:
        seen = columns_for(folder, files)
        headers = {column.header for column in seen.columns}
        stated = {
            h: Entry(*CHANNELS[h.partition(" [")[0]]) for h in headers if h.partition(" [")[0] in CHANNELS
        }
        add(folder, files, ColumnMap(stated))
        return str(asked)
    return ""


def _files(home: Path, time_us: NDArray[np.int64], rows: dict[str, Floats]) -> list[Path]:
    """A file for each 24 hours of the recorder's rows, in the order in which it wrote them."""
    day = np.maximum.accumulate((time_us - time_us[0]) // DAY_US)
    files = []
    for k in np.unique(day).tolist():
        part = day == k
        stamp = pa.array(time_us[part] // 1_000_000 * 1_000_000, pa.timestamp("us", "UTC")).cast(
            pa.timestamp("s", "UTC")
        )
        columns = {"Time (UTC)": stamp.cast(pa.timestamp("s")).cast(pa.string())}
        columns |= {name: pa.array(values[part], from_pandas=True) for name, values in rows.items()}
        files.append(home / f"log-{k:03d}.csv")
        pa_csv.write_csv(pa.table(columns), files[-1])
    return files


def _setup(plan: Plan, seed: int) -> str:
    m = plan.machine
    lines = [
        "[drive]", f'name = "Invented drive {seed}"', 'timezone = "UTC"', "chainage_start_m = 4180.0",
        'chainage_direction = "increasing"', "rock_density_t_m3 = 2.7", "water_reach_m = 50",
        *([] if plan.kind == invented_ground.OPEN else ["ring_length_m = 1.5", "ring_place_offset_m = 11.5"]),
        "[machine]", f'kind = "{plan.kind}"', f"bore_diameter_m = {m['bore_m']}", f"disc_count = {m['discs']:.0f}",
        "disc_diameter_mm = 483", f"disc_load_limit_kN = {m['limit_kN']}", "stroke_length_m = 1.6",
        f"main_thrust_installed_kN = {m['thrust_kN']:.0f}", f"torque_installed_kNm = {m['torque_kNm']:.0f}",
        f"no_load_torque_kNm = {m['no_load_kNm']:.0f}", f"drag_kN = {m['drag_kN']:.0f}",
    ]  # fmt: skip
    if plan.kind == invented_ground.DOUBLE:
        lines += [
            f"aux_thrust_installed_kN = {1.3 * m['thrust_kN']:.0f}",
            f"aux_drag_kN = {m['aux_drag_kN']:.0f}",
        ]
    return "\n".join(lines) + "\n"


def _discs(home: Path, log: Log) -> None:
    """The site's list of disc changes."""
    rng = np.random.default_rng([log.plan.seed, 9])
    lines = ["time,disc,reason"]
    for event in log.plan.of(DISCS):
        at = _time_at(log, stroke_end_m(event)) - 2 * HOUR_US
        stamp = np.datetime64(at, "us").astype("datetime64[m]")
        discs = sorted(rng.permutation(int(log.plan.machine["discs"]))[:4].tolist())
        lines += [f"{str(stamp).replace('T', ' ')},{disc + 1},wear" for disc in discs]
    if len(lines) > 1:
        (home / "discs.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
        import_disc_changes(home / "drive", home / "discs.csv")


def stroke_end_m(event: Event) -> float:
    """The place at which a change of discs happens: between two strokes."""
    return round(event.from_m / invented_ground.STROKE_M) * invented_ground.STROKE_M


def truths_of(log: Log, faults: list[SensorFault]) -> list[Truth]:
    """What is so in a drive, by the recorder's clock."""
    place, fpi = log.fpi()
    steps = [fault for fault in faults if fault.kind == CLOCK]

    def stamp(time_us: int) -> int:
        return time_us + sum(int(1e6 * f.amount) for f in steps if time_us >= f.start_us)

    out = []
    for event in log.plan.events:
        zone = event.kind in (WEAK, HARD, MASSIVE)
        contrast = _contrast(place, fpi, event) if zone else float("nan")
        ends = event.from_m, max(event.to_m, event.from_m + 0.01)
        times = tuple(stamp(_time_at(log, place_m)) for place_m in ends)
        out.append(Truth(event.kind, float(event.from_m), float(event.to_m), times[0], times[1], contrast))
    for fault in faults:
        at = np.searchsorted(log.time_us, (fault.start_us, fault.end_us)).clip(0, len(log.head_m) - 1)
        low, high = log.head_m[at].tolist()
        out.append(
            Truth(
                fault.kind, low, high, stamp(fault.start_us), stamp(fault.end_us), float("nan"), fault.channel
            )
        )
    return out


def _contrast(place: Floats, fpi: Floats, event: Event) -> float:
    """FPI inside over that of the side beside it that it is more like."""
    inside = np.median(fpi[(place > event.from_m) & (place < event.to_m)])
    before = fpi[(place < event.from_m) & (place > event.from_m - BESIDE_M)]
    behind = fpi[(place > event.to_m) & (place < event.to_m + BESIDE_M)]
    ratios = [float(inside / np.median(side)) for side in (before, behind) if len(side)]
    return min(ratios, key=lambda ratio: abs(np.log(ratio)))


def _time_at(log: Log, place_m: float) -> int:
    return int(log.time_us[min(np.searchsorted(log.head_m, place_m), len(log.time_us) - 1)])
