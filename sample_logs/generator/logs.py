"""Log files in the dialects of the site: headers, units, stamps, encodings."""

import io
import zipfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from .options import Options
from .sensors import STEPS

STAMP = "Time (UTC)"
ENGLISH = {
    "main_kN": "Main thrust [kN]", "aux_kN": "Aux. thrust [kN]", "main_bar": "Main cylinder pressure [bar]",
    "aux_bar": "Aux. cylinder pressure [bar]", "main_mm": "Main stroke [mm]", "aux_mm": "Aux. stroke [mm]",
    "torque_kNm": "Cutterhead torque [kNm]", "rpm": "Cutterhead speed [rpm]",
    "penetration": "Penetration [mm/rev]", "speed": "Advance speed [mm/min]", "power_kW": "Drive power [kW]",
    "gripper_bar": "Gripper pressure [bar]", "chainage": "Chainage [m]", "ring": "Ring no.",
    "belt_t_h": "Belt scale [t/h]", "belt_t": "Belt scale total [t]", "water": "Water inflow [l/min]",
    "pitch": "Pitch [mm/m]", "roll": "Roll [mm/m]", "rpm_set": "Cutterhead speed set-point [rpm]",
    "thrust_set": "Thrust set-point [kN]", "oil_C": "Gearbox oil temperature [°C]",
    "methane": "Methane [%]", "spare": "Spare 7",
}  # fmt: skip
GERMAN = {
    "main_kN": "Vorschubkraft Hauptzylinder [kN]", "aux_kN": "Vorschubkraft Hilfszylinder [kN]",
    "main_bar": "Druck Hauptzylinder [bar]", "aux_bar": "Druck Hilfszylinder [bar]",
    "main_mm": "Hub Hauptzylinder [mm]", "aux_mm": "Hub Hilfszylinder [mm]",
    "torque_kNm": "Bohrkopfdrehmoment [kNm]", "rpm": "Bohrkopfdrehzahl [1/min]",
    "penetration": "Penetration [mm/U]", "speed": "Vorschubgeschwindigkeit [mm/min]",
    "power_kW": "Antriebsleistung [kW]", "gripper_bar": "Gripperdruck [bar]", "chainage": "Tunnelmeter [m]",
    "ring": "Ring Nr.", "belt_t_h": "Bandwaage [t/h]", "belt_t": "Bandwaage Summe [t]",
    "water": "Wasserzufluss [l/min]", "pitch": "Längsneigung [mm/m]", "roll": "Verrollung [mm/m]",
    "rpm_set": "Sollwert Bohrkopfdrehzahl [1/min]", "thrust_set": "Sollwert Vorschubkraft [kN]",
    "oil_C": "Getriebeöltemperatur [°C]", "methane": "Methan [%]", "spare": "Reserve 7",
}  # fmt: skip


def days_of(log: pd.DataFrame, options: Options) -> Iterator[tuple[str, pd.DataFrame]]:
    """(date, rows) of each 24 hours from the first sample; the date is the local one at its start."""
    stamps = _stamps(log)
    seconds = (stamps - stamps[0]).total_seconds().to_numpy()
    for day in range(int(seconds[-1] // 86_400) + 1):
        rows = log[(seconds >= day * 86_400) & (seconds < (day + 1) * 86_400)]
        if len(rows):
            yield _stamps(rows)[0].tz_convert(options.timezone).strftime("%Y-%m-%d"), rows


def write_parquet(log: pd.DataFrame, path: Path, level: int = 1) -> Path:
    """English headers, stamps in UTC, 32-bit numbers; level of compression."""
    stamps = pa.array(_stamps(log).tz_localize(None).to_numpy().astype("datetime64[ms]"))
    wide = {"chainage", "belt_t"}  # need more than 24 bits
    columns = {STAMP: stamps.cast(pa.timestamp("ms", "UTC"))}
    for key in map(str, log):
        kind = np.float64 if key in wide else np.int32 if STEPS[key] == 0 else np.float32
        columns[ENGLISH[key]] = pa.array(log[key].to_numpy().astype(kind))
    pq.write_table(pa.table(columns), path, compression="zstd", compression_level=level)
    return path


def write_german(log: pd.DataFrame, path: Path, options: Options) -> Path:
    """Zipped text: semicolons, decimal comma, local date and time apart, cp1252, CRLF."""
    local = _stamps(log).tz_convert(options.timezone)
    table = _printed(log, GERMAN)
    table.insert(0, "Datum", local.strftime("%d.%m.%Y"))
    table.insert(1, "Uhrzeit", local.strftime("%H:%M:%S"))
    text = table.to_csv(sep=";", decimal=",", index=False, lineterminator="\r\n")
    return write_zip(text.encode("cp1252"), path)


def english_text(log: pd.DataFrame) -> str:
    """Comma text with English headers and stamps in UTC, as one string."""
    table = _printed(log, ENGLISH)
    table.insert(0, STAMP, _stamps(log).strftime("%Y-%m-%d %H:%M:%S"))
    out = io.StringIO()
    table.to_csv(out, index=False, lineterminator="\n")
    return out.getvalue()


def write_zip(data: bytes, path: Path) -> Path:
    """One text file in a zip, dated to nothing so that two runs agree to the byte."""
    entry = zipfile.ZipInfo(f"{path.stem}.csv", (2031, 1, 1, 0, 0, 0))
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(entry, data, zipfile.ZIP_DEFLATED, 9)
    return path


def _stamps(log: pd.DataFrame) -> pd.DatetimeIndex:
    return pd.DatetimeIndex(log.index)


def _printed(log: pd.DataFrame, names: dict[str, str]) -> pd.DataFrame:
    """Numbers as they are printed: whole ones without a point, chainage to 4 decimals."""
    out = {}
    for key in map(str, log):
        values = log[key].to_numpy()
        out[names[key]] = values.astype(np.int64) if STEPS[key] == 0 else np.round(values, STEPS[key] or 4)
    return pd.DataFrame(out)
