"""One small invented file per oddity of real logs, each with the rows, channels and units expected."""

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

from tbmreview.domain.samples import Samples, join
from tbmreview.domain.setup import Machine
from tbmreview.ingest.read import FileUnderstanding, LogReader, understand
from tbmreview.ingest.report import FileReport
from tests.support.logs import ENGLISH, GERMAN, Field, tiny_machine, written

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
    """A file and what must come of it. span: greatest relative error of any channel."""

    name: str
    write: Callable[[Path], Path]
    channels: Sequence[str] = ALL
    rows: int = len(MACHINE.seconds)
    start: datetime = LOCAL_START
    units: dict[str, str] = field(default_factory=dict)


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


def read(path: Path, zone: ZoneInfo | None = OSLO) -> tuple[FileUnderstanding, Samples, FileReport]:
    log = understand(path, zone, ROCK_MACHINE)
    reader = LogReader(log)
    samples = join([block.samples for block in reader])
    report = reader.report
    assert report.rows_read == report.kept + report.duplicates + report.quarantined_rows
    return log, samples, report


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
def test_dialect_is_read_in_full(case: Case, tmp_path: Path) -> None:
    log, samples, report = read(case.write(tmp_path))
    assert log.questions == ()
    assert set(log.channels) == set(case.channels)
    assert report.rows_read == report.kept == case.rows
    expected = int(case.start.timestamp()) * 1_000_000 + MACHINE.seconds * 1_000_000
    np.testing.assert_array_equal(samples.time_us, expected)
    for name in case.channels:
        np.testing.assert_allclose(
            samples.values[name], MACHINE.values[name], rtol=2e-5, atol=2e-3, err_msg=name
        )
    units = {c.name: c.unit for c in log.columns}
    assert {name: units[name] for name in case.units} == case.units
