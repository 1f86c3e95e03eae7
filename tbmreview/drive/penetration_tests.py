"""Penetration tests: found in the samples or stated by a person, fitted, and kept in the drive."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Protocol

import numpy as np

from tbmreview.domain.errors import DriveError, FitError, TbmReviewError, UsageError
from tbmreview.domain.samples import MICROSECONDS, Samples
from tbmreview.domain.states import Phase, PushingSet, State
from tbmreview.domain.table import Table
from tbmreview.drive.belt import in_time, position_at
from tbmreview.drive.fits import fingerprint_of, plain
from tbmreview.drive.history import person
from tbmreview.drive.penetration_curve import PenetrationCurve, holds_speed, penetration_curve
from tbmreview.drive.progress import Progress
from tbmreview.drive.reading import Codes, Floats, Readable, drag_of_strokes
from tbmreview.drive.stored import StoredDrive
from tbmreview.indicators.held_loads import BIN_S, Boring, Held, held_loads, runs_of_a_test
from tbmreview.indicators.record import ratio
from tbmreview.store.fits import TEST, KeptFit
from tbmreview.store.writing import writing

CHANNELS = (
    *("main_thrust_kN", "aux_thrust_kN", "main_stroke_mm", "aux_stroke_mm"),
    *("head_speed_rpm", "penetration_mm_rev", "advance_speed_mm_min"),
)
FIRST_LOOK = 1.12  # strokes between whose cells the thrust varies less than by this ratio are not looked at
LEAST_CELL_S = 20.0  # a shorter cell is the end of one
EDGE_US = round(3 * BIN_S) * MICROSECONDS  # around a test, so that its loads are found again in its span
FOUND, STATED = "found in the samples", "stated by a person"


class Tested(Readable, Protocol):
    """A drive with its samples."""

    def samples(self, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
        """Samples with start_us <= time < end_us."""


@dataclass(frozen=True, slots=True)
class PenetrationTest:
    """Loads that were held from start_us to end_us (microseconds UTC), and the curve through them.

    loads: a row a load: start_utc, end_utc, chainage_from_m, chainage_to_m, disc_load_kN, net_disc_load_kN,
    head_speed_rpm, revolutions, penetration_mm_rev. gross: the curve is on gross load, since drag is not known or
    it was asked for. curve: None where refused says why. robust: the same by robust regression, None where that
    has no scale. discs: their state, as a person noted it.
    """

    start_us: int
    end_us: int
    origin: str
    loads: Table
    gross: bool
    curve: PenetrationCurve | None
    robust: PenetrationCurve | None = None
    refused: str = ""
    discs: str = ""

    @property
    def load_kN(self) -> Floats:
        """The load that the curve is on, (loads,)."""
        return self.loads["disc_load_kN" if self.gross else "net_disc_load_kN"]

    @property
    def fingerprint(self) -> str:
        return fingerprint_of(self.loads)


def found(
    drive: Tested, gross: bool = False, progress: Progress | None = None
) -> tuple[PenetrationTest, ...]:
    """What looks like a penetration test in the samples, in order of time."""
    strokes = _worth_a_look(drive)
    held: list[tuple[int, Held]] = []
    for done, stroke in enumerate(strokes.tolist(), start=1):
        start, end = (int(drive.strokes[name][stroke]) for name in ("stroke_start_us", "stroke_end_us"))
        held += _held(drive, stroke, start, end, ends_only=True)
        if progress is not None:
            progress(done, len(strokes))
    stroke_of = {id(one): stroke for stroke, one in held}
    runs = runs_of_a_test([one for _, one in held])
    return tuple(_test(drive, [(stroke_of[id(one)], one) for one in run], gross, FOUND) for run in runs)


def stated(
    drive: Tested, start_us: int, end_us: int, discs: str = "", gross: bool = False
) -> PenetrationTest:
    """The test that a person says was done from start_us to before end_us. DriveError where nothing was bored then;
    FitError in words where what was held makes no test."""
    begin, end = drive.strokes["stroke_start_us"], drive.strokes["stroke_end_us"]
    held = [
        one
        for stroke in np.flatnonzero((begin < end_us) & (end > start_us)).tolist()
        for one in _held(drive, stroke, start_us, end_us)
    ]
    if not np.any(_boring_at(drive.periods, drive.samples(start_us, end_us, ()).time_us)):
        raise DriveError("nothing was bored in that time; state when the loads of the test were held")
    test = _test(drive, held, gross, STATED, (start_us, end_us), discs)
    if test.refused:
        raise FitError(test.refused)
    return test


def _worth_a_look(drive: Tested) -> Codes:
    """The strokes, by row, within which the thrust of cells varies, apart from loading and unloading."""
    whole = ~np.isin(drive.cells["phase"], (Phase.LOADING, Phase.UNLOADING))
    cells = drive.cells.rows(whole & (drive.cells["thrust_s"] >= LEAST_CELL_S))
    thrust = ratio(cells["thrust_kN_s"], cells["thrust_s"])
    starts = drive.strokes["stroke_start_us"]
    stroke = np.searchsorted(starts, cells["stroke_start_us"], side="right") - 1
    least, most = np.full(len(starts), np.inf), np.zeros(len(starts))
    np.minimum.at(least, stroke, thrust)
    np.maximum.at(most, stroke, thrust)
    return np.flatnonzero(most >= FIRST_LOOK * least)


def _held(
    drive: Tested, stroke: int, start_us: int, end_us: int, ends_only: bool = False
) -> list[tuple[int, Held]]:
    """(stroke, load) of the loads of gross boring thrust held in a stroke between two instants."""
    start_us = max(start_us, int(drive.strokes["stroke_start_us"][stroke]))
    end_us = min(end_us, int(drive.strokes["stroke_end_us"][stroke]) + MICROSECONDS)
    samples = drive.samples(start_us, end_us, CHANNELS)
    boring = np.flatnonzero(_boring_at(drive.periods, samples.time_us))
    if not len(boring):
        return []
    pushing = "aux" if drive.strokes["pushing_set"][stroke] == PushingSet.AUX else "main"
    speed = np.abs(samples.get("head_speed_rpm"))
    made = ratio(samples.get("advance_speed_mm_min"), speed)
    logged = samples.get("penetration_mm_rev")
    columns = (
        samples.time_us / MICROSECONDS,
        samples.get(f"{pushing}_thrust_kN"),
        speed,
        samples.get(f"{pushing}_stroke_mm"),
        np.where(np.isfinite(logged), logged, made),
    )
    return [(stroke, one) for one in held_loads(Boring(*(c[boring] for c in columns)), ends_only)]


def _boring_at(periods: Table, time_us: Codes) -> Codes:
    """Whether the machine bored at instants, (n,)."""
    if not len(periods):
        return np.zeros(len(time_us), bool)
    at = np.maximum(np.searchsorted(periods["start_us"], time_us, side="right") - 1, 0)
    inside = (time_us >= periods["start_us"][at]) & (time_us < periods["end_us"][at])
    boring: Codes = inside & (periods["state"][at] == State.BORING)
    return boring


def _test(
    drive: Tested,
    held: Sequence[tuple[int, Held]],
    gross: bool,
    origin: str,
    span_us: tuple[int, int] | None = None,
    discs: str = "",
) -> PenetrationTest:
    """Loads as a test; span_us: that was stated, by default somewhat more than that of the loads."""
    loads = _loads(drive, held)
    gross = gross or bool(np.isnan(loads["net_disc_load_kN"]).any())
    if span_us is None:
        span_us = int(loads["start_utc"][0]) - EDGE_US, int(loads["end_utc"][-1]) + EDGE_US
    test = PenetrationTest(*span_us, origin, loads, gross, None, discs=discs)
    try:
        curve = penetration_curve(test.load_kN, loads["penetration_mm_rev"])
        holds_speed(loads["head_speed_rpm"])
    except FitError as error:
        return replace(test, refused=str(error))
    try:
        robust = penetration_curve(test.load_kN, loads["penetration_mm_rev"], robust=True)
    except FitError:  # the loads lie on one line
        robust = None
    return replace(test, curve=curve, robust=robust)


def _loads(drive: Tested, held: Sequence[tuple[int, Held]]) -> Table:
    """A row a load, see PenetrationTest."""
    discs = drive.setup.machine.disc_count
    drag = drag_of_strokes(drive.strokes, drive.setup.machine)

    def of(name: str) -> Floats:
        return np.array([getattr(one, name) for _, one in held], np.float64)

    stroke = np.array([stroke for stroke, _ in held], np.int64)
    start, end = (np.rint(of(name) * MICROSECONDS).astype(np.int64) for name in ("start_s", "end_s"))
    timed = in_time(drive.cells, drive.periods)
    low, high = (position_at(timed, at) for at in (start, end))
    return Table(
        {
            "start_utc": start,
            "end_utc": end,
            "chainage_from_m": drive.axis.chainage_m(low),
            "chainage_to_m": drive.axis.chainage_m(high, ends=True),
            "disc_load_kN": of("load") / discs,
            "net_disc_load_kN": (of("load") - drag[stroke]) / discs,
            "head_speed_rpm": of("head_speed_rpm"),
            "revolutions": of("revolutions"),
            "penetration_mm_rev": of("penetration_mm_rev"),
        }
    )


# --- kept in the drive --------------------------------------------------------------------------


def keep(drive: StoredDrive, test: PenetrationTest, name: str, note: str = "") -> None:
    """Keep a test under a name. A later one of the name takes its place; both stay in the catalogue. UsageError for a
    name that is none or a fit's, and without a word on the discs."""
    if not name.strip() or name != name.strip() or name in {fit.name for fit in drive.kept_fits()}:
        raise UsageError(f"'{name}' will not do as the name of a test: give one that no fit has")
    if not test.discs.strip():
        raise UsageError(
            "a test is kept with the state of its discs: --discs 'new gauge discs, others 5 mm worn'"
        )
    with writing(drive.folder, person()) as work:
        work.add_fit(name, content_of(test), test.fingerprint, note)
        work.record(
            TEST, {"name": name, "start_us": test.start_us, "end_us": test.end_us, "n": len(test.loads)}
        )


def content_of(test: PenetrationTest) -> dict[str, Any]:
    """A test as what JSON can hold; NaN is null."""
    content: dict[str, Any] = {"kind": TEST}
    for name in ("start_us", "end_us", "origin", "gross", "discs"):
        content[name] = getattr(test, name)
    content["loads"] = {name: plain(column) for name, column in test.loads.columns.items()}
    for name in ("curve", "robust"):
        curve = getattr(test, name)
        content[name] = None if curve is None else {n: plain(v) for n, v in asdict(curve).items()}
    return content


def kept_test(kept: KeptFit) -> PenetrationTest:
    """The test that was kept, as it was then."""
    content: dict[str, Any] = {name: value for name, value in kept.content.items() if name != "kind"}
    loads = {
        name: np.array(
            [np.nan if v is None else v for v in values], np.int64 if name.endswith("_utc") else np.float64
        )
        for name, values in content.pop("loads").items()
    }
    curve, robust = (_curve(content.pop(name)) for name in ("curve", "robust"))
    return PenetrationTest(loads=Table(loads), curve=curve, robust=robust, **content)


def _curve(content: Mapping[str, Any] | None) -> PenetrationCurve | None:
    if content is None:
        return None
    known: dict[str, Any] = {name: np.nan if value is None else value for name, value in content.items()}
    return PenetrationCurve(**known)


def data_changed(drive: Tested, kept: KeptFit) -> bool:
    """Whether the same time shows other loads today: the record, a stroke or a state changed since."""
    test = kept_test(kept)
    try:
        return stated(drive, test.start_us, test.end_us, gross=test.gross).fingerprint != kept.fingerprint
    except TbmReviewError:
        return True
