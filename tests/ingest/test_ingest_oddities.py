"""One small invented file per oddity of real logs, each with the rows, channels and units expected."""

import re
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.feather
import pyarrow.parquet as pq
import pytest

from tbmreview.domain.errors import LogError
from tbmreview.domain.samples import Samples
from tbmreview.domain.setup import Machine
from tbmreview.ingest.column_map import ColumnMap
from tbmreview.ingest.read import FileUnderstanding, LogReader, understand
from tbmreview.ingest.report import FileReport
from tests.support.logs import ENGLISH, GERMAN, Field, tiny_machine, written
from tests.support.whole_log import whole_log

OSLO = ZoneInfo("Europe/Oslo")
MACHINE = tiny_machine()
ROCK_MACHINE = Machine("double shield", bore_diameter_m=6.4, disc_count=42)
START = datetime(2024, 3, 5, 6, 0, 0)
LOCAL_START = START.replace(tzinfo=OSLO)
ALL = tuple(MACHINE.values)


def plain(fields: Sequence[Field], headers: str) -> tuple[Field, ...]:
    """The same columns under other headers."""
    return tuple(replace(f, header=h) for f, h in zip(fields, headers.split("|"), strict=True))


def german_stamp(t: datetime) -> tuple[str, ...]:
    return t.strftime("%d.%m.%Y"), t.strftime("%H:%M:%S")


CHINESE = plain(
    ENGLISH,
    "[21]总推进力（kN）|[22]刀盘扭矩(kN・m)|刀盘转速（rpm）|贯入度(mm/r)|推进速度(mm/min)|推进位移(mm)|刀盘功率(kW)|撑靴压力(bar)|里程(m)",
)
JAPANESE = plain(
    ENGLISH,
    "総推力(kN)|カッタートルク(kN・m)|カッター回転数(min-1)|切込み量(mm/rev)|掘進速度(mm/min)|ジャッキストローク(mm)|カッター電力(kW)|グリッパ圧力(bar)|距離程(m)",
)
FRENCH = plain(
    ENGLISH,
    "Poussée totale (kN)|Couple tête de coupe (kN.m)|Vitesse de rotation tête (tr/min)|Pénétration (mm/tr)|Vitesse d'avancement (mm/min)|Course vérins de poussée (mm)|Puissance tête (kW)|Pression grippeurs (bar)|Point kilométrique (m)",
)
SPANISH = plain(
    ENGLISH,
    "Empuje total [kN]|Par de la cabeza [kNm]|Velocidad de giro de la cabeza [rpm]|Penetración [mm/rev]|Velocidad de avance [mm/min]|Carrera cilindros de empuje [mm]|Potencia cabeza de corte [kW]|Presión grippers [bar]|PK [m]",
)
ITALIAN = plain(
    ENGLISH,
    "Spinta totale [kN]|Coppia testa [kNm]|Velocità di rotazione testa [giri/min]|Penetrazione [mm/giro]|Velocità di avanzamento [mm/min]|Corsa cilindri di spinta [mm]|Potenza testa [kW]|Pressione gripper [bar]|Progressiva [m]",
)
NORWEGIAN = plain(
    ENGLISH,
    "Matekraft [kN]|Dreiemoment borhode [kNm]|Borhode turtall [o/min]|Penetrasjon [mm/omdr]|Fremdriftshastighet [mm/min]|Slaglengde matesylinder [mm]|Effekt borhode [kW]|Trykk gripper [bar]|Pel [m]",
)
BARE = plain(
    ENGLISH,
    "Thrust|Cutterhead torque|Cutterhead speed|Penetration|Advance speed|Stroke|Cutterhead power|Gripper pressure|Chainage [m]",
)
MIXED = (
    Field("thrust_t", "main_thrust_kN", 9.80665),
    Field("Torque [Nm]", "torque_kNm", 1e-3),
    Field("RPM", "head_speed_rpm"),
    Field("Penetration, cm/rev", "penetration_mm_rev", 10.0),
    Field("ADV_SPEED_CM_MIN", "advance_speed_mm_min", 10.0),
    Field("Thrust cyl. extension / m", "main_stroke_mm", 1e3),
    Field("Main drive power MW", "head_power_kW", 1e3),
    Field("Gripper pressure in MPa", "gripper_pressure_bar", 10.0),
    Field("Station (km)", "chainage_m", 1e3),
)


@dataclass(frozen=True)
class Case:
    """A file and what must come of it.

    kept: indices of the machine's samples that are kept, all where None. missing: channel -> indices of
    samples whose value is made missing. quarantined: reason -> (rows, line of the first). repairs: rule
    -> (channel, count, first line). notes: words of the report's notes or of its clock.
    """

    name: str
    write: Callable[[Path], Path]
    channels: Sequence[str] = ALL
    rows: int = len(MACHINE.seconds)
    start: datetime = LOCAL_START
    units: dict[str, str] = field(default_factory=dict)
    kept: Sequence[int] | None = None
    missing: dict[str, Sequence[int]] = field(default_factory=dict)
    duplicates: int = 0
    quarantined: dict[str, tuple[int, int]] = field(default_factory=dict)
    repairs: dict[str, tuple[str, int, int]] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def text(name: str, content: str, encoding: str = "utf-8", newline: str = "\n") -> Callable[[Path], Path]:
    def write(folder: Path) -> Path:
        path = folder / name
        path.write_bytes(content.replace("\n", newline).encode(encoding))
        return path

    return write


def zipped(content: str, encoding: str) -> Callable[[Path], Path]:
    def write(folder: Path) -> Path:
        path = folder / "day.zip"
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("day.csv", content.encode(encoding))
        return path

    return write


def table(kind: str, stamps: pa.Array, name: str = "time", **more: pa.Array) -> Callable[[Path], Path]:
    def write(folder: Path) -> Path:
        columns = {name: stamps, **{k: pa.array(v) for k, v in MACHINE.values.items()}, **more}
        path = folder / f"log.{kind}"
        if kind == "parquet":
            pq.write_table(pa.table(columns), path)
        else:
            pyarrow.feather.write_feather(pa.table(columns), str(path))
        return path

    return write


def micros(start: datetime) -> list[int]:
    return [int(start.timestamp()) * 1_000_000 + int(s) * 1_000_000 for s in MACHINE.seconds]


def epoch_beside_local(t: datetime) -> tuple[str, ...]:
    """Local text eight hours ahead of the epoch, as met in logs."""
    return str(int(t.replace(tzinfo=UTC).timestamp() * 1000)), (t + timedelta(hours=8)).strftime(
        "%Y/%m/%d %H:%M:%S"
    )


english = written(MACHINE)
german = written(
    MACHINE, GERMAN, stamp_headers=("Datum", "Uhrzeit"), stamp=german_stamp, delimiter=";", decimal=","
)
UTC_START = START.replace(tzinfo=UTC)

CASES = (
    Case("plain", text("a.csv", english)),
    Case("crlf", text("a.csv", english, newline="\r\n")),
    Case("byte order mark", text("a.csv", english, "utf-8-sig")),
    Case("utf-16", text("a.txt", english, "utf-16")),
    Case("tabs", text("a.txt", english.replace(",", "\t"))),
    Case("bars", text("a.txt", english.replace(",", "|"))),
    Case("delimiter at the end", text("a.csv", english.replace("\n", ",\n"))),
    Case("delimiter at the end of data only", text("a.csv", english.replace("\n", ",\n").replace(",\n", "\n", 1))),
    Case("index column", text("a.csv", "\n".join(f"{i - 1 if i else ''},{r}" for i, r in enumerate(english.splitlines())) + "\n")),
    Case("preamble", text("a.csv", "Data export\nMachine;invented\n\nfrom 05.03.2024 to 06.03.2024\n\n" + english)),
    Case("german", text("a.csv", german, "cp1252"), units={"main_thrust_kN": "MN", "advance_speed_mm_min": "m/h"}),
    Case("german zipped", zipped(german, "cp1252")),
    Case("german, quoted", text("a.csv", written(MACHINE, GERMAN, stamp_headers=('"Datum', 'Uhr\nzeit'), stamp=german_stamp, delimiter=";", decimal=","), "cp1252")),
    Case("chinese gb18030", text("a.csv", written(MACHINE, CHINESE, stamp_headers=("时间",), stamp=lambda t: (t.strftime("%Y/%m/%d %H:%M:%S"),)), "gb18030")),
    Case("chinese date", text("a.csv", written(MACHINE, CHINESE, stamp_headers=("时间",), stamp=lambda t: (t.strftime("%Y年%m月%d日 %H时%M分%S秒"),)), "utf-8")),
    Case("japanese cp932", text("a.csv", written(MACHINE, JAPANESE, stamp_headers=("日時",)), "cp932")),
    Case("french", text("a.csv", written(MACHINE, FRENCH, delimiter=";", decimal=",", stamp_headers=("Horodatage",)), "cp1252")),
    Case("spanish", text("a.csv", written(MACHINE, SPANISH, stamp_headers=("Fecha", "Hora"), stamp=german_stamp), "cp1252")),
    Case("italian", text("a.csv", written(MACHINE, ITALIAN, stamp_headers=("Data", "Ora"), stamp=german_stamp), "cp1252")),
    Case("norwegian", text("a.csv", written(MACHINE, NORWEGIAN, stamp_headers=("Tidspunkt",)), "utf-8")),
    Case("unit row", text("a.csv", written(MACHINE, BARE, unit_row=["", "kN", "kNm", "1/min", "mm/U", "mm/min", "mm", "kW", "bar", "m"]))),
    Case("no units", text("a.csv", written(MACHINE, BARE))),
    Case("no units, large ones", text("a.csv", written(MACHINE, tuple(replace(f, factor=g) for f, g in zip(BARE, (1e3, 1e3, 1, 1, 1000 / 60, 1e3, 1, 10, 1), strict=True)), decimals=9)), units={"main_thrust_kN": "MN", "torque_kNm": "MNm", "advance_speed_mm_min": "m/h", "main_stroke_mm": "m"}),
    Case("mixed units", text("a.csv", written(MACHINE, MIXED, decimals=9)), units={"main_thrust_kN": "t", "torque_kNm": "Nm"}),
    Case("epoch ms beside local time", text("a.csv", written(MACHINE, stamp_headers=("timestamp", "local time"), stamp=epoch_beside_local)), start=UTC_START),
    Case("epoch s", text("a.csv", written(MACHINE, stamp_headers=("ts",), stamp=lambda t: (str(int(t.replace(tzinfo=UTC).timestamp())),))), start=UTC_START),
    Case("utc by name", text("a.csv", written(MACHINE, stamp_headers=("Time (UTC)",))), start=UTC_START),
    Case("offset by name", text("a.csv", written(MACHINE, stamp_headers=("Time UTC+8",))), start=START.replace(tzinfo=UTC) - timedelta(hours=8)),
    Case("iso with offset", text("a.csv", written(MACHINE, stamp=lambda t: (t.strftime("%Y-%m-%dT%H:%M:%S.000+08:00"),))), start=UTC_START - timedelta(hours=8)),
    Case("iso z", text("a.csv", written(MACHINE, stamp=lambda t: (t.strftime("%Y-%m-%dT%H:%M:%SZ"),))), start=UTC_START),
    Case("whole-number date and time", text("a.csv", written(MACHINE, stamp_headers=("Date", "Time"), stamp=lambda t: (t.strftime("%Y%m%d"), t.strftime("%H:%M:%S"))))),
    Case("whole-number time without its zeros", text("a.csv", written(MACHINE, stamp_headers=("DATE", "TIME"), stamp=lambda t: (t.strftime("%Y%m%d"), str(int(t.strftime("%H%M%S"))))))),
    Case("dots in the time of day", text("a.csv", written(MACHINE, stamp_headers=("Data", "Ora"), stamp=lambda t: (t.strftime("%Y-%m-%d"), t.strftime("%H.%M.%S"))))),
    Case("letters in the time of day", text("a.csv", written(MACHINE, stamp_headers=("Date", "Heure"), stamp=lambda t: (t.strftime("%Y-%m-%d"), t.strftime("%Hh%Mm%S"))))),
    Case("compact", text("a.csv", written(MACHINE, stamp=lambda t: (t.strftime("%Y%m%d%H%M%S"),)))),
    Case("month first, pm", text("a.csv", written(MACHINE, start=datetime(2024, 3, 25, 18), stamp=lambda t: (t.strftime("%m/%d/%Y %I:%M:%S %p"),))), start=datetime(2024, 3, 25, 18, tzinfo=OSLO)),
    Case("two-digit year first", text("log_20250717.csv", written(MACHINE, start=datetime(2025, 7, 17, 20, 41), stamp_headers=("date", "time"), stamp=lambda t: (t.strftime("%y/%m/%d"), t.strftime("%H:%M:%S")))), start=datetime(2025, 7, 17, 20, 41, tzinfo=OSLO)),
    Case("date stated in header", text("a.csv", written(MACHINE, stamp_headers=("Date (dd/mm/yyyy)", "Time"), stamp=lambda t: (t.strftime("%d/%m/%Y"), t.strftime("%H:%M:%S"))))),
    Case("month in words", text("a.csv", written(MACHINE, stamp=lambda t: (t.strftime("%d-%b-%Y %H:%M:%S"),)))),
    Case("date with midnight and time", text("a.csv", written(MACHINE, stamp_headers=("Date", "Time"), stamp=lambda t: (t.strftime("%d.%m.%Y 00:00:00"), t.strftime("%H:%M:%S"))))),
    Case("parquet aware", table("parquet", pa.array(micros(UTC_START), pa.timestamp("us", "UTC"))), start=UTC_START),
    Case("parquet naive", table("parquet", pa.array(micros(UTC_START), pa.timestamp("us")))),
    Case("parquet naive named utc", table("parquet", pa.array(micros(UTC_START), pa.timestamp("us")), "time_utc"), start=UTC_START),
    Case("parquet ns", table("parquet", pa.array([m * 1000 for m in micros(UTC_START)], pa.timestamp("ns", "UTC"))), start=UTC_START),
    Case("parquet text stamps", table("parquet", pa.array([(START + timedelta(seconds=int(s))).isoformat() for s in MACHINE.seconds]).dictionary_encode())),
    Case("parquet epoch ms", table("parquet", pa.array([m // 1000 for m in micros(UTC_START)]), "timestamp"), start=UTC_START),
    Case("feather", table("feather", pa.array(micros(UTC_START), pa.timestamp("us", "UTC"))), start=UTC_START),
)  # fmt: skip


HEADERS = {f.channel: f.header for f in ENGLISH}
PLACE = {"time": 0} | {f.channel: k for k, f in enumerate(ENGLISH, start=1)}
LINES = english.splitlines()
NUMBERS = range(len(MACHINE.seconds))


def lines(rows: Sequence[str], end: str = "\n") -> Callable[[Path], Path]:
    return text("a.csv", "\n".join(rows) + end)


def cell(row: str, place: int, content: str) -> str:
    return ",".join(content if k == place else c for k, c in enumerate(row.split(",")))


def with_cells(channel: str, content: str, rows: Sequence[int]) -> list[str]:
    """The English log with one content in a channel at these samples; sample i stands in line i + 2."""
    return [
        LINES[0],
        *(cell(r, PLACE[channel], content) if i in rows else r for i, r in enumerate(LINES[1:])),
    ]


def without(*rows: int) -> Sequence[int]:
    return [i for i in NUMBERS if i not in rows]


def in_blanks(*, stamp: str, gap: str, headers: bool = True) -> str:
    """The log in columns parted by blanks, the stamp as written."""
    names = ["Time", *(f.header.replace(" ", "_") for f in ENGLISH)]
    rows = [
        [r.split(",")[0].replace(" ", stamp), *(c.rjust(12) for c in r.split(",")[1:])] for r in LINES[1:]
    ]
    return "\n".join(gap.join(r) for r in ([names] if headers else []) + rows) + "\n"


def never(content: str) -> list[str]:
    """Blocks of four rows without a stamp that repeat the row before, after every hundredth sample."""
    return [
        x for i, r in enumerate(LINES) for x in [r, *[cell(r, 0, content)] * (4 if i and i % 100 == 0 else 0)]
    ]


def second_clock(apart: Callable[[int], float]) -> Callable[[Path], Path]:
    """A log with two columns of local stamps, the second ahead by apart(second)."""

    def stamp(t: datetime) -> tuple[str, ...]:
        second = round((t - START).total_seconds())
        return str(t), str(t + timedelta(seconds=round(apart(second))))

    return text("a.csv", written(MACHINE, stamp_headers=("Time", "Server time"), stamp=stamp))


NEVER = "a stamp that means 'never'"
NO_READING = "a number that stands for no reading"
JUMP = "a jump that no machine makes"
STUCK = "stuck: repeats to the last digit while the machine bores"
MANY = range(100, 140)
SOME = range(10, 600, 20)

DAMAGE = (
    Case("nul bytes", lines([*LINES[:50], LINES[50][:30] + "\0\0" + LINES[50][32:], *LINES[51:]]), kept=without(49), quarantined={"torn row: NUL bytes": (1, 51)}),
    Case("truncated last line", lines([*LINES[:-1], LINES[-1][:40]], end=""), kept=without(599), quarantined={"torn row: 3 of 10 fields": (1, 601)}),
    Case("no end of line at the end", lines(LINES, end="")),
    Case("torn in the middle", lines([*LINES[:50], LINES[50][:40], *LINES[51:]]), kept=without(49), quarantined={"torn row: 3 of 10 fields": (1, 51)}),
    Case("stamped 0 by fours", lines(never("0")), rows=624, quarantined={NEVER: (24, 102)}),
    Case("stamped zeros by fours", lines(never("0000-00-00 00:00:00")), rows=624, quarantined={NEVER: (24, 102)}),
    Case("stamped 1970 by fours", lines(never("1970-01-01 00:00:00")), rows=624, quarantined={NEVER: (24, 102)}),
    Case("stamped twenty years ahead", lines(with_cells("time", "2044-03-05 06:00:00", MANY)), kept=without(*MANY), quarantined={"clock fault: a stamp more than a year from the rest of the log": (40, 102)}),
    Case("rows twice", lines([LINES[0], *(r for row in LINES[1:] for r in (row, row))]), rows=1200, duplicates=600),
    Case("the same stamp, other values", lines([*LINES[:50], cell(LINES[50], 0, LINES[49][:19]), *LINES[51:]]), kept=without(49), quarantined={"the same stamp with other values (the first is kept)": (1, 51)}),
    Case("out of order", lines([LINES[0], *LINES[301:], *LINES[1:301]]), notes=("stamps fall back once, first at line 302 by 599 s",)),
    Case("blanks part the columns", text("a.txt", in_blanks(stamp="T", gap=" ")), notes=("blanks part the columns",)),
    Case("a blank within the stamp", text("a.txt", in_blanks(stamp=" ", gap="  "))),
    Case("blanks, crlf, byte order mark", text("a.txt", in_blanks(stamp="_", gap="   "), "utf-8-sig", "\r\n")),
    Case("preamble, unit row, trailing delimiter, crlf", text("a.csv", "Export;;;\nMachine: invented\n\n" + written(MACHINE, BARE, delimiter=";", decimal=",", unit_row=["", "kN", "kNm", "1/min", "mm/U", "mm/min", "mm", "kW", "bar", "m"]).replace("\n", ";\n"), "utf-8-sig", "\r\n")),
    Case("line breaks and commas in quoted names", text("a.csv", english.replace("Thrust force [kN]", '"Thrust\nforce\n[kN]"').replace("Cutterhead power [kW]", '"Cutterhead power, mean [kW]"'))),
    Case("zero-width space and blanks in names", text("a.csv", english.replace("Thrust f", "\u200bThrust f").replace("[bar]", "[bar] "))),
    Case("a name twice", lines([f"{r},{r.split(',')[5] if i else 'Advance speed [mm/min].1'}" for i, r in enumerate(LINES)])),
    Case("names with an index, half of them empty", lines([",".join(["Time", *(f"[{20 + k}]{f.header}" for k, f in enumerate(ENGLISH)), "[40]", "[41]"]), *(r + ",3,4" for r in LINES[1:])])),
    Case("a unit damaged by its encoding", text("a.csv", english.replace("kNm", "kN?m")), units={"torque_kNm": "kNm"}),
    Case("thousands by points", text("a.csv", re.sub(r"(?<=;)(\d{1,2})(\d{3}),(\d+)", r"\1.\2,\3", written(MACHINE, delimiter=";", decimal=",")))),
    Case("thousands by commas in quotes", text("a.csv", re.sub(r"(?<=,)(\d{1,2})(\d{3})\.(\d+)", r'"\1,\2.\3"', english))),
    Case("thousands by apostrophes", text("a.csv", written(MACHINE, delimiter=";").replace(";4180.", ";4'180."))),
    Case("thousands by blanks", text("a.csv", written(MACHINE, delimiter=";", decimal=",").replace(";4180,", ";4\u00a0180,"))),
    Case("decimal commas in quotes", lines([LINES[0], *(re.sub(r"(?<=,)(-?\d+)\.(\d+)", r'"\1,\2"', r) for r in LINES[1:])])),
    Case("text among numbers", lines(with_cells("torque_kNm", "fault", [100])), missing={"torque_kNm": [100]}, repairs={"text where a number belongs": ("torque_kNm", 1, 102)}),
    Case("a recurring word among numbers", lines(with_cells("torque_kNm", "offline", range(0, 600, 2))), missing={"torque_kNm": range(0, 600, 2)}, notes=("'offline'",)),
    Case("infinite", lines(with_cells("torque_kNm", "inf", [100])), missing={"torque_kNm": [100]}, repairs={"infinite": ("torque_kNm", 1, 102)}),
    Case("-9999", lines(with_cells("torque_kNm", "-9999", MANY)), missing={"torque_kNm": MANY}, repairs={"sentinel for no reading": ("torque_kNm", 40, 102)}),
    Case("-999.25", lines(with_cells("chainage_m", "-999.25", MANY)), missing={"chainage_m": MANY}, repairs={"sentinel for no reading": ("chainage_m", 40, 102)}),
    Case("-1 for a sensor that drops out", lines(with_cells("gripper_pressure_bar", "-1", MANY)), missing={"gripper_pressure_bar": MANY}, repairs={NO_READING: ("gripper_pressure_bar", 40, 102)}),
    Case("-1 while the machine bores", lines(with_cells("torque_kNm", "-1", range(100))), missing={"torque_kNm": range(100)}, repairs={NO_READING: ("torque_kNm", 100, 2)}),
    Case("a sentinel at rest as at work", lines(with_cells("gripper_pressure_bar", "-1", SOME)), missing={"gripper_pressure_bar": SOME}, repairs={NO_READING: ("gripper_pressure_bar", 30, 12)}),
    Case("a signed register's end", lines(with_cells("main_thrust_kN", "32767", MANY)), missing={"main_thrust_kN": MANY}, repairs={NO_READING: ("main_thrust_kN", 40, 102)}),
    Case("a register's end", lines(with_cells("chainage_m", "65535", MANY)), missing={"chainage_m": MANY}, repairs={NO_READING: ("chainage_m", 40, 102)}),
    Case("a register's end to the end", lines(with_cells("chainage_m", "65535", range(400, 600))), missing={"chainage_m": range(400, 600)}, repairs={NO_READING: ("chainage_m", 200, 402)}),
    Case("a stroke that jumps and is back", lines(with_cells("main_stroke_mm", "3000", [100])), missing={"main_stroke_mm": [100]}, repairs={JUMP: ("main_stroke_mm", 1, 102)}),
    Case("a chainage that jumps and is back", lines(with_cells("chainage_m", "4311.5", [100, 101])), missing={"chainage_m": [100, 101]}, repairs={JUMP: ("chainage_m", 2, 102)}),
    Case("a thrust far outside", lines(with_cells("main_thrust_kN", "95000", [100])), missing={"main_thrust_kN": [100]}, repairs={JUMP: ("main_thrust_kN", 1, 102)}),
    Case("a stuck torque", lines(with_cells("torque_kNm", "1537", range(50, 250))), missing={"torque_kNm": range(51, 250)}, repairs={STUCK: ("torque_kNm", 199, 53)}),
    Case("to the minute only", text("a.csv", written(MACHINE, stamp=lambda t: (t.strftime("%d.%m.%Y %H:%M"),))), notes=("the rows of a minute are spread evenly",)),
    Case("to the minute, from within one", text("a.csv", written(MACHINE, start=START + timedelta(seconds=37), stamp=lambda t: (t.strftime("%d.%m.%Y"), t.strftime("%H:%M")), stamp_headers=("Date", "Time"))), start=LOCAL_START + timedelta(seconds=37)),
    Case("a second clock that was set", second_clock(lambda s: 120 if s > 299 else 0), notes=("'Server time' steps 1 times", "+120 s at 2024-03-05T05:05:00 UTC")),
    Case("a second clock that drifts", second_clock(lambda s: s * 0.1), notes=("a clock drifts: 'Server time' moves +54 s in",)),
    Case("utc against the drive's zone", text("a.csv", written(MACHINE, stamp_headers=("Time UTC", "Local time"), stamp=lambda t: (str(t), str(t + timedelta(hours=8))))), start=UTC_START, notes=("'Local time' runs at UTC+08:00, the drive's zone Europe/Oslo at UTC+01:00",)),
    Case("marked as the start", lines(LINES), notes=("stamps mark the start of their interval",)),
)  # fmt: skip


def read(path: Path, zone: ZoneInfo | None = OSLO) -> tuple[FileUnderstanding, Samples, FileReport]:
    log = understand(path, zone, ROCK_MACHINE)
    reader = LogReader(log)
    samples = whole_log(reader)
    report = reader.report
    assert report.rows_read == report.kept + report.duplicates + report.quarantined_rows
    return log, samples, report


@pytest.mark.parametrize("case", [*CASES, *DAMAGE], ids=lambda c: c.name)
def test_dialect_is_read_in_full(case: Case, tmp_path: Path) -> None:
    log, samples, report = read(case.write(tmp_path))
    assert log.questions == ()
    assert set(log.channels) == set(case.channels)
    assert report.rows_read == case.rows
    assert report.duplicates == case.duplicates
    rows = np.array(NUMBERS if case.kept is None else case.kept)
    expected = int(case.start.timestamp()) * 1_000_000 + MACHINE.seconds[rows] * 1_000_000
    np.testing.assert_array_equal(samples.time_us, expected)
    for name in case.channels:
        values = MACHINE.values[name].copy()
        values[list(case.missing.get(name, ()))] = np.nan
        np.testing.assert_allclose(samples.values[name], values[rows], rtol=2e-5, atol=2e-3, err_msg=name)
    units = {c.name: c.unit for c in log.columns}
    assert {name: units[name] for name in case.units} == case.units
    told(case, report)


def told(case: Case, report: FileReport) -> None:
    """What the report says of the rows set aside and of the values made missing: this and no more."""
    assert report.quarantined == {reason: count for reason, (count, _) in case.quarantined.items()}
    assert {(r.rule, r.column, r.count, r.first_line) for r in report.repairs} == {
        (rule, HEADERS[channel], count, line) for rule, (channel, count, line) in case.repairs.items()
    }
    said = [report.clock, *report.notes]
    assert [note for note in case.notes if not any(note in line for line in said)] == []


@pytest.mark.parametrize(
    ("name", "header", "row", "why"),
    [
        ("strokes", "Time", lambda i: f"2024-03-05 {6 + i:02d}:1{i % 6}:00", "61 min apart"),
        ("dated rings", "Date", lambda i: f"0{1 + i // 4}.03.2024", "nearly every row is another ring"),
        ("rings", "No.", str, "nearly every row is another ring"),
    ],
)
def test_one_row_a_stroke_or_a_ring_is_no_log(
    name: str, header: str, row: Callable[[int], str], why: str, tmp_path: Path
) -> None:
    rows = [f"{row(i)},{100 + i},{11_000 + 7 * i},{1_500 + 3 * i},{4_180 + 1.5 * i}" for i in range(12)]
    path = lines([f"{header},Ring no.,Thrust [kN],Torque [kNm],Chainage [m]", *rows])(tmp_path)
    with pytest.raises(LogError, match=why) as refused:
        understand(path, OSLO, ROCK_MACHINE)
    assert "export the machine's log with a row every 1 to 60 s" in str(refused.value)


@pytest.mark.parametrize(("direction", "asked"), [(1, 0), (0, 0), (-1, 1)])
def test_a_chainage_that_runs_against_the_setup_is_asked(direction: int, asked: int, tmp_path: Path) -> None:
    machine = tiny_machine(1800)
    log = understand(text("a.csv", written(machine))(tmp_path), OSLO, ROCK_MACHINE, None, direction)
    assert len(log.questions) == asked
    assert all("chainage rises by" in q and "the setup says decreasing" in q for q in log.questions)


def test_what_the_map_names_as_stamps_and_cannot_be_read_is_shown(tmp_path: Path) -> None:
    given = ColumnMap(stamps=("Thrust force [kN]",))
    log = understand(text("a.csv", english)(tmp_path), OSLO, ROCK_MACHINE, given)
    assert "takes date and time from 'Thrust force [kN]' ('" in log.clock_question
