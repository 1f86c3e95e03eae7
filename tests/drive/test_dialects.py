"""One invented drive as six sites would export it: the same store from each, without a column map."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tbmreview.domain.samples import Samples
from tbmreview.drive.add import add
from tbmreview.drive.columns import columns
from tbmreview.drive.opened import open_drive
from tests.support.logs import ENGLISH, Field, tiny_machine, written
from tests.support.small_drive import new_drive

START = datetime(2030, 5, 1, 6, tzinfo=UTC)
MACHINE = tiny_machine(2400)
UNITS = ("kN", "kNm", "rpm", "mm/rev", "mm/min", "mm", "kW", "bar", "m")
OSLO = ZoneInfo("Europe/Oslo")


def named(text: str, factors: Sequence[float] = (1.0,) * 9) -> tuple[Field, ...]:
    headers = text.split("|")
    return tuple(replace(f, header=h, factor=x) for f, h, x in zip(ENGLISH, headers, factors, strict=True))


BARE = "Thrust|Torque|Cutterhead speed|Penetration|Advance speed|Stroke|Cutterhead power|Gripper pressure|Chainage"
MIXED = (
    "Total thrust (MN)|CH torque (MNm)|CH RPM|Penetration (mm/rot)|Advance rate (m/h)|Stroke (m)|CH power (MW)|"
    "Gripper pressure (MPa)|Station (km)"
)
GERMAN = (
    "Vorschubkraft [kN]|Bohrkopfdrehmoment [kNm]|Bohrkopfdrehzahl [U/min]|Penetration [mm/U]|"
    "Vorschubgeschwindigkeit [cm/min]|Vorschubweg [mm]|Antriebsleistung [kW]|Gripperdruck [bar]|Tunnelmeter [m]"
)
CHINESE = "总推进力(kN)|刀盘扭矩（kN·m）|刀盘转速(r/min)|贯入度(mm/r)|推进速度(mm/min)|推进行程(mm)|刀盘功率(kW)|撑靴压力(bar)|里程(m)"
_MIXED_FACTORS = (1e3, 1e3, 1.0, 1.0, 1000 / 60, 1e3, 1e3, 10.0, 1e3)
_GERMAN_FACTORS = (1.0, 1.0, 1.0, 1.0, 10.0, 1.0, 1.0, 1.0, 1.0)


def stamps(zone: tzinfo, pattern: str) -> dict[str, object]:
    return {"stamp": lambda t: tuple(t.astimezone(zone).strftime(pattern).split("|")), "start": START}


def headers_with_units(path: Path) -> Path:
    path.write_text(written(MACHINE, ENGLISH, **stamps(UTC, "%Y-%m-%dT%H:%M:%SZ")))  # type: ignore[arg-type]
    return path


def unit_row(path: Path) -> Path:
    text = written(MACHINE, named(BARE), unit_row=("", *UNITS), **stamps(UTC, "%Y-%m-%dT%H:%M:%SZ"))  # type: ignore[arg-type]
    path.write_text(text)
    return path


def no_units(path: Path) -> Path:
    path.write_text(written(MACHINE, named(BARE), **stamps(UTC, "%Y-%m-%dT%H:%M:%SZ")))  # type: ignore[arg-type]
    return path


def mixed_units(path: Path) -> Path:
    fields = named(MIXED, _MIXED_FACTORS)
    text = written(
        MACHINE, fields, delimiter="\t", decimals=9, stamp_headers=("Date", "Clock time"),
        **stamps(OSLO, "%d/%m/%Y|%H:%M:%S"),  # type: ignore[arg-type]
    )  # fmt: skip
    path.write_text(text.replace("01/05/2030", "2030-05-01"))
    return path


def german(path: Path) -> Path:
    fields = named(GERMAN, _GERMAN_FACTORS)
    text = written(MACHINE, fields, delimiter=";", decimal=",", stamp_headers=("Datum", "Uhrzeit"),
                   **stamps(OSLO, "%Y-%m-%d|%H:%M:%S"))  # type: ignore[arg-type]  # fmt: skip
    path.write_bytes(text.encode("cp1252"))
    return path


def chinese(path: Path) -> Path:
    text = written(MACHINE, named(CHINESE), stamp_headers=("时间",), **stamps(OSLO, "%Y/%m/%d %H:%M:%S"))  # type: ignore[arg-type]
    path.write_bytes(text.encode("gb18030"))
    return path


def parquet(path: Path) -> Path:
    path = path.with_suffix(".parquet")
    stamp = pa.array([START + timedelta(seconds=int(s)) for s in MACHINE.seconds], pa.timestamp("ms", "UTC"))
    pq.write_table(pa.table({"ts": stamp, **{f.header: MACHINE.values[f.channel] for f in ENGLISH}}), path)
    return path


def stored(folder: Path, file: Path) -> Samples:
    drive = new_drive(folder)
    add(drive.folder, [file])
    start = int(START.timestamp()) * 1_000_000
    return open_drive(drive.folder).samples(start, start + 2400 * 1_000_000)


DIALECTS = (headers_with_units, unit_row, no_units, mixed_units, german, chinese, parquet)


@pytest.mark.parametrize("write", DIALECTS)
def test_every_dialect_gives_the_store_that_the_machine_gave(write, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    file = write(tmp_path / "log.csv")
    samples = stored(tmp_path / "drive", file)
    assert set(samples.values) == set(MACHINE.values)
    assert len(samples) == 2400
    for name, values in MACHINE.values.items():
        np.testing.assert_allclose(samples.values[name], values, rtol=0, atol=2e-5, err_msg=name)


def test_a_map_of_files_in_several_dialects_goes_round(tmp_path: Path) -> None:
    files = [
        headers_with_units(tmp_path / "a.csv"),
        mixed_units(tmp_path / "b.csv"),
        parquet(tmp_path / "c.csv"),
    ]
    seen = columns(files)
    assert seen.questions == ()
    seen.write_map(tmp_path / "map.toml")
    drive = new_drive(tmp_path / "drive")
    add(drive.folder, files, column_map=tmp_path / "map.toml")
    samples = open_drive(drive.folder).samples(0, 2**62)
    assert len(samples) == 2400
    np.testing.assert_allclose(samples.values["torque_kNm"], MACHINE.values["torque_kNm"], atol=2e-5)
