"""A drive made and written: logs, setup, ground tables, truth."""

from pathlib import Path

import numpy as np
import pandas as pd

from .crew import Crew
from .cycle import Cycle
from .defects import spoil
from .logs import days_of, english_text, write_german, write_parquet, write_zip
from .options import Options
from .rock import Ground, layout
from .sensors import readings
from .tables import mapped_ground, predicted_ground, write_setup
from .truth import Truth, daily_of, ground_of, periods_of, seconds_of, strokes_of


def make_drive(folder: Path, options: Options) -> Truth:
    """Simulate, and write drive.toml, mapped.csv, predicted.csv and a Parquet log a day."""
    truth, log = simulate(options)
    folder.mkdir(parents=True, exist_ok=True)
    truth.files = [
        write_parquet(rows, folder / f"larkfell_{date}.parquet") for date, rows in days_of(log, options)
    ]
    write_tables(truth, folder)
    return truth


GERMAN_DAYS, SPOILT_DAY = (2, 6), 7  # of the sample, counted from 0


def make_sample(folder: Path, options: Options) -> Truth:
    """The sample: logs/ in three dialects, one day spoilt, setup, ground tables, truth/."""
    truth, log = simulate(options)
    logs = folder / "logs"
    logs.mkdir(parents=True, exist_ok=True)
    for old in logs.glob("larkfell_*"):
        old.unlink()
    for number, (date, rows) in enumerate(days_of(log, options)):
        path = logs / f"larkfell_{date}"
        if number in GERMAN_DAYS:
            truth.files.append(write_german(rows, path.with_suffix(".zip"), options))
        elif number == SPOILT_DAY:
            truth.files.append(_spoilt_day(truth, rows, path.with_suffix(".zip")))
        else:
            truth.files.append(write_parquet(rows, path.with_suffix(".parquet"), level=12))
    write_tables(truth, folder)
    write_truth(truth, folder / "truth")
    return truth


def _spoilt_day(truth: Truth, rows: pd.DataFrame, path: Path) -> Path:
    """The day with defects, what was planted in it, and the truth less what it lost."""
    state = truth.seconds.loc[rows.index, "state"].to_numpy()
    spoilt = spoil(english_text(rows), state, np.random.default_rng(truth.options.seed))
    truth.defects = spoilt.planted
    truth.seconds.loc[rows.index[spoilt.lost], "recorded"] = False
    truth.periods, truth.daily = periods_of(truth.seconds), daily_of(truth.seconds)
    return write_zip(spoilt.text.encode(), path)


def simulate(options: Options) -> tuple[Truth, pd.DataFrame]:
    """(truth, log): the log has a row a logged second in the columns of `sensors.STEPS`."""
    rngs = [np.random.default_rng(s) for s in np.random.SeedSequence(options.seed).spawn(4)]
    ground = Ground(layout(options.days), rngs[0])
    cycle = Cycle(options, ground, rngs[1])
    crew = Crew(cycle)
    crew.run()
    seconds = seconds_of(cycle)
    log = readings(seconds, ground, options, rngs[2])
    kept = _recorded(options, rngs[3])
    seconds["recorded"] = kept
    log = log[kept & (np.arange(len(log)) % options.sample_s == 0)]
    end_m = float(seconds["position_m"].iloc[-1])
    truth = Truth(
        options, seconds, strokes_of(seconds, options.machine), periods_of(seconds), daily_of(seconds),
        _delays(crew, seconds), ground_of(ground, options, end_m),
    )  # fmt: skip
    return truth, log


def write_tables(truth: Truth, folder: Path) -> None:
    """drive.toml and the ground tables beside the logs."""
    truth.folder = folder
    truth.setup = write_setup(truth.options, folder / "drive.toml")
    truth.mapped = _csv(mapped_ground(truth.ground), folder / "mapped.csv")
    truth.predicted = _csv(predicted_ground(truth.options), folder / "predicted.csv")


def write_truth(truth: Truth, folder: Path) -> None:
    """The truth tables as text; what happens second by second stays with the generator."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("strokes", "periods", "daily", "delays", "defects", "ground"):
        _csv(getattr(truth, name), folder / f"{name}.csv")


def _csv(table: pd.DataFrame, path: Path) -> Path:
    out = table.copy()
    for name in out:
        if isinstance(out[name].dtype, pd.DatetimeTZDtype):
            out[name] = out[name].dt.strftime("%Y-%m-%dT%H:%M:%SZ")
        elif out[name].dtype.kind == "f":
            out[name] = out[name].map(lambda v: float(f"{v:.9g}"))
    out.to_csv(path, index=False, lineterminator="\n")
    return path


def _recorded(options: Options, rng: np.random.Generator) -> np.ndarray:
    kept = np.ones(options.seconds, bool)
    seconds, count = options.gaps
    for start in rng.integers(3600, max(3601, options.seconds - seconds - 3600), count):
        kept[start : start + seconds] = False
    return kept


def _delays(crew: Crew, seconds: pd.DataFrame) -> pd.DataFrame:
    rows = [d for d in crew.delays if d[0] < len(seconds)]
    start = pd.Timestamp(seconds.index[0])
    return pd.DataFrame({
        "start_utc": [start + pd.Timedelta(seconds=d[0]) for d in rows],
        "end_utc": [start + pd.Timedelta(seconds=min(d[1], len(seconds))) for d in rows],
        "code": [d[2] for d in rows], "note": [d[3] for d in rows],
    })  # fmt: skip
