"""A day's log spoilt on purpose, and the list of what was done to it."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from .logs import ENGLISH, STAMP
from .tape import BORING, STANDING

Lines = list[str]


@dataclass
class Spoiler:
    """The lines of a text log while they are spoilt; truth says where the machine stood or bored."""

    frame: pd.DataFrame  # a row a second, printed columns as text
    state: np.ndarray
    rng: np.random.Generator
    planted: list[dict[str, object]]
    lost: np.ndarray

    def note(self, kind: str, rows: int, at: int, what: str) -> None:
        stamp = self.frame[STAMP].iloc[at]
        self.planted.append({"kind": kind, "rows": rows, "first_stamp_utc": stamp, "what": what})

    def run_of(self, state: int, seconds: int, after: int = 0) -> int:
        """Row where the state lasts for so many seconds, somewhere after a row."""
        same = pd.Series(self.state == state).rolling(seconds).sum().to_numpy() == seconds
        ends = np.flatnonzero(same)
        ends = ends[ends > after + seconds]
        return int(ends[0]) - seconds + 1

    def lose(self, rows: Lines, start: int, end: int) -> Lines:
        """Rows emptied in place, so that the others keep their number; empty ones are not written."""
        self.lost[start:end] = True
        return [*rows[:start], *[""] * (end - start), *rows[end:]]


@dataclass(frozen=True)
class Spoilt:
    """The log's text with defects, a row for each one planted, and which seconds no row is left of."""

    text: str
    planted: pd.DataFrame
    lost: np.ndarray


def spoil(text: str, state: np.ndarray, rng: np.random.Generator) -> Spoilt:
    """Plant the defects in a log of a row a second."""
    header, *lines = text.rstrip("\n").split("\n")
    names = header.split(",")
    frame = pd.DataFrame([line.split(",") for line in lines], columns=names)
    spoiler = Spoiler(frame, state, rng, [], np.zeros(len(frame), bool))
    for act in (_sentinels, _dead_sensor, _stuck_sensor, _infinite, _never):
        act(spoiler)
    rows = [",".join(row) for row in frame.to_numpy()]
    for change in (_gap, _holes, _unordered, _duplicates, _torn):
        rows = change(spoiler, rows)
    kept = [row for row in rows if row]
    return Spoilt("\n".join([header, *kept]) + "\n", pd.DataFrame(spoiler.planted), spoiler.lost)


def _sentinels(s: Spoiler) -> None:
    at = s.rng.choice(np.flatnonzero(s.state == BORING), 25, replace=False)
    s.frame.loc[at, ENGLISH["torque_kNm"]] = "-9999"
    s.note("sentinel", len(at), int(at.min()), "torque reads -9999 at single seconds of boring")


def _dead_sensor(s: Spoiler) -> None:
    at = s.run_of(STANDING, 1500)
    s.frame.loc[at : at + 1199, ENGLISH["aux_bar"]] = ""
    s.note("empty", 1200, at, "auxiliary pressure empty for 20 minutes of standing")


def _stuck_sensor(s: Spoiler) -> None:
    at = s.run_of(BORING, 900, after=12_000)
    column = ENGLISH["gripper_bar"]
    s.frame.loc[at : at + 2699, column] = s.frame[column].iloc[at]
    s.note("stuck", 2700, at, "gripper pressure stuck at one value for 45 minutes")


def _infinite(s: Spoiler) -> None:
    at = np.flatnonzero(s.state == STANDING)[200:206]
    s.frame.loc[at, ENGLISH["penetration"]] = "inf"
    s.note("infinite", len(at), int(at[0]), "penetration reads inf while standing")


def _never(s: Spoiler) -> None:
    at = s.run_of(STANDING, 400, after=20_000) + 100
    s.note("never stamp", 4, at, "four rows stamped 1970-01-01 00:00:00")
    s.lost[at : at + 4] = True
    s.frame.loc[at : at + 3, STAMP] = "1970-01-01 00:00:00"


def _gap(s: Spoiler, rows: Lines) -> Lines:
    at = s.run_of(STANDING, 900, after=30_000) + 60
    s.note("gap", 700, at, "700 seconds without a row while standing")
    return s.lose(rows, at, at + 700)


def _holes(s: Spoiler, rows: Lines) -> Lines:
    for at in s.rng.choice(np.flatnonzero(s.state == BORING)[600:-600], 6, replace=False):
        seconds = int(s.rng.integers(2, 9))
        s.note("hole", seconds, int(at), f"{seconds} seconds missing while boring")
        rows = s.lose(rows, int(at), int(at) + seconds)
    return rows


def _unordered(s: Spoiler, rows: Lines) -> Lines:
    at = s.run_of(BORING, 600, after=50_000) + 200
    s.note("unordered", 12, at, "twelve rows written after the twelve that follow them")
    return [*rows[:at], *rows[at + 12 : at + 24], *rows[at : at + 12], *rows[at + 24 :]]


def _duplicates(s: Spoiler, rows: Lines) -> Lines:
    at = s.run_of(BORING, 600, after=60_000) + 100
    s.note("duplicate", 40, at, "forty rows written twice")
    return [*rows[: at + 40], *rows[at : at + 40], *rows[at + 40 :]]


def _torn(s: Spoiler, rows: Lines) -> Lines:
    at = s.run_of(STANDING, 300, after=70_000) + 40
    s.note("torn row", 1, at, "a row cut off in the middle")
    s.lost[at] = True
    place = next(i for i, row in enumerate(rows) if row.startswith(s.frame[STAMP].iloc[at]))
    return [*rows[:place], rows[place][:47], *rows[place + 1 :]]
