"""The invented sample drive: built from sample_logs, and held against the truth written beside it."""

import csv
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from tbmreview.domain.errors import DriveError
from tbmreview.domain.station import format_chainage
from tbmreview.domain.table import Column, Table
from tbmreview.drive.add import add
from tbmreview.drive.detect import detect
from tbmreview.drive.ground import import_ground
from tbmreview.drive.opened import Drive, open_drive
from tbmreview.drive.progress import Progress
from tbmreview.drive.start import start
from tbmreview.drive.summary import summary_text

SAMPLE_LOGS = Path(__file__).parents[2] / "sample_logs"
COMPARED = ("advance_m", "specific_energy_MJ_m3", "fpi_kN_per_mm_rev", "net_fpi_kN_per_mm_rev")


@dataclass(frozen=True, slots=True)
class Demo:
    """The sample drive, what its import said, and its strokes beside their truth."""

    drive: Drive
    import_text: str
    strokes: Table
    truth: Table

    @property
    def stretch_m(self) -> tuple[float, float]:
        """Chainage of its first and last metre."""
        whole = self.drive.table("drive")
        return float(whole["chainage_from_m"][0]), float(whole["chainage_to_m"][0])


def build(folder: Path, progress: Progress | None = None, samples: Path = SAMPLE_LOGS) -> Demo:
    """Build the sample drive in `folder`/drive, or open the one that is there already."""
    if not (samples / "drive.toml").is_file():
        raise DriveError(
            f"{samples}: the sample logs are not there; run the demo from a checkout of the project"
        )
    place, text = folder / "drive", "the sample drive was there already"
    if not place.exists():
        place.parent.mkdir(parents=True, exist_ok=True)
        start(place, samples / "drive.toml")
    if not open_drive(place).days():
        text = add(place, sorted((samples / "logs").iterdir()), progress=progress).text()
    drive = open_drive(place)
    if not drive.ground_names("mapped"):
        import_ground(place, samples / "mapped.csv", "mapped")
    if not drive.ground_names("predicted"):
        import_ground(place, samples / "predicted.csv", "predicted", name="tender", issued="2030-05-01")
    drive = open_drive(place)
    detect(drive)
    return Demo(drive, text, drive.table("stroke"), read_truth(samples / "truth" / "strokes.csv"))


def read_truth(path: Path) -> Table:
    """Strokes as they were: start_us and the compared figures."""
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    columns: dict[str, Column] = {name: np.array([float(row[name]) for row in rows]) for name in COMPARED}
    columns["start_us"] = np.array([_microseconds(row["start_utc"]) for row in rows], np.int64)
    columns["aux"] = np.array([row["pushing_set"] == "auxiliary" for row in rows])
    return Table(columns)


def _microseconds(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1e6)


def report_text(demo: Demo) -> str:
    """What the demo prints: the drive on a page, and how near truth it came."""
    title = "Against the truth of the invented drive"
    parts = (
        summary_text(demo.drive),
        "\n".join([title, "-" * len(title), *comparison(demo.strokes, demo.truth)]),
        f"import: {demo.import_text.splitlines()[-1]}",
    )
    return "\n\n".join(parts)


def comparison(strokes: Table, truth: Table) -> list[str]:
    """Lines that say how near the strokes come to their truth."""
    advance, true_advance = float(np.sum(strokes["advance_m"])), float(np.sum(truth["advance_m"]))
    lines = [
        f"advance {advance:.3f} m, truth {true_advance:.3f} m: off by {100 * (advance / true_advance - 1):+.3f} %",
        f"strokes {len(strokes)}, truth {len(truth)}",
    ]
    pairs = matched(strokes["start_utc"], truth["start_us"])
    lines.append(f"strokes found in their place: {len(pairs)}")
    for name in COMPARED:
        ours, true = strokes[name][pairs[:, 0]], truth[name][pairs[:, 1]]
        off = np.abs(ours / true - 1) * 100
        worst = int(np.argmax(off))
        place = format_chainage(float(strokes["chainage_from_m"][pairs[worst, 0]]))
        lines.append(
            f"{name} of each stroke: off by {np.median(off):.3f} % in the median, "
            f"{off[worst]:.3f} % at worst (at {place})"
        )
    return lines


def matched(start_us: Column, true_start_us: Column, within_s: float = 300.0) -> Column:
    """Pairs (ours, truth) of strokes that begin within so many seconds of each other, (k, 2)."""
    nearest = np.searchsorted((true_start_us[1:] + true_start_us[:-1]) / 2, start_us)
    apart = np.abs(start_us - true_start_us[nearest]) <= within_s * 1e6
    first = np.unique(nearest[apart], return_index=True)[1]
    ours = np.flatnonzero(apart)[first]
    return np.column_stack([ours, nearest[ours]])
