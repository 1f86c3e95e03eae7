"""An invented drive as sums of strokes that do not close, with the true places; no samples."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from support.cells import setup_of, steady, strokes_of

from tbmreview.domain.overrules import Overrule
from tbmreview.domain.samples import Samples
from tbmreview.domain.setup import Setup
from tbmreview.domain.site import ANCHORS, EQUATIONS, FOR_EVER_US, axis_with, empty_site_table, site_column
from tbmreview.domain.states import State
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table, stack
from tbmreview.drive.reduce import Reduced
from tbmreview.motion.guidance import empty_guidance
from tbmreview.motion.rings import empty_rings

Floats = NDArray[np.float64]
PAUSE_US = 1_200_000_000


@dataclass
class Traverse:
    """n strokes of some 1.5 m. gain: true advance over the strokes' less 1, at each stroke or everywhere.
    lost: stroke -> m that its sensor did not show. guidance_mm: noise of the logged chainage of a stroke; None: it
    is not logged. jumps: stroke -> m by which the guidance jumps before it, for good. offset_m: target behind the
    face; on_rear: on the rear shield. factor: of the logged chainage."""

    n: int = 60
    gain: float | Floats = 0.015
    lost: Mapping[int, float] = field(default_factory=dict)
    guidance_mm: float | None = 2.0
    jumps: Mapping[int, float] = field(default_factory=dict)
    offset_m: float = 0.0
    on_rear: bool = False
    factor: float = 1.0
    direction: str = "increasing"
    seed: int = 1
    drive: Mapping[str, float] = field(default_factory=dict)
    stated: dict[str, Table] = field(default_factory=dict)
    said: tuple[Overrule, ...] = ()
    folder: Path = Path("nowhere")

    def __post_init__(self) -> None:
        self.setup: Setup = setup_of(direction=self.direction, **self.drive)
        rng = np.random.default_rng(self.seed)
        lost = np.array([self.lost.get(k, 0.0) for k in range(self.n)])
        true_m = rng.uniform(1.44, 1.5, self.n)
        shown_m = true_m / (1 + self.gain * np.ones(self.n)) - lost
        self.true_m, self.shown_m = (np.r_[0.0, np.cumsum(x)] for x in (true_m, shown_m))
        base, clock, parts = self.setup.drive.axis, 1_900_000_000_000_000, []
        for k in range(self.n):
            part = steady(base, (self.shown_m[k], self.shown_m[k + 1]), start_us=clock)
            parts.append(part)
            clock = int(part["end_us"][-1]) + PAUSE_US
        self.cells = stack(parts)
        self.tables = Reduced(
            self.cells,
            self._strokes(),
            self._periods(),
            empty_rings(),
            self._guidance(rng, true_m, shown_m),
            "",
        )

    @property
    def axis(self) -> Axis:
        return self.axis_at(FOR_EVER_US)

    def axis_at(self, time_us: int) -> Axis:
        return axis_with(self.setup.drive.axis, self.site_table(EQUATIONS), time_us)

    def site_table(self, kind: str) -> Table:
        return self.stated.get(kind, empty_site_table(kind))

    def overrules(self) -> tuple[Overrule, ...]:
        return self.said

    def days(self) -> Mapping[int, object]:
        return {}

    def samples(self, *_: object) -> Samples:
        raise AssertionError("a late station reads no samples")

    def when(self, true_m: Floats) -> NDArray[np.int64]:
        """When the face was at true positions, microseconds UTC."""
        shown = np.interp(true_m, self.true_m, self.shown_m)
        place, clock = (
            np.column_stack([self.cells[a], self.cells[b]]).ravel()
            for a, b in (("position_from_m", "position_to_m"), ("start_us", "end_us"))
        )
        return np.interp(shown, place, clock).astype(np.int64)

    def survey(self, true_m: Floats, off_m: Floats | float = 0.0, offset_m: float = 0.0) -> "Traverse":
        """Stations where the face was at true positions, each off by so much; the point lies behind the face."""
        n = len(true_m)
        chainage = [
            float(self.axis_at(t).chainage_m(p - offset_m))
            for t, p in zip(self.when(true_m).tolist(), (true_m + off_m).tolist(), strict=True)
        ]
        values = {
            "time_us": self.when(true_m).tolist(),
            "chainage_m": chainage,
            "offset_m": [offset_m] * n,
            "sd_m": [None] * n,
            "note": [""] * n,
        }
        self.stated[ANCHORS] = Table({c: site_column(ANCHORS, c, column) for c, column in values.items()})
        return self

    def _strokes(self) -> Table:
        starts, first = np.unique(self.cells["stroke_start_us"], return_index=True)
        last = np.r_[first[1:], len(self.cells)] - 1
        return strokes_of(self.cells).with_columns(
            {
                "stroke_start_us": starts,
                "stroke_end_us": self.cells["end_us"][last],
                "position_from_m": self.shown_m[:-1],
                "position_to_m": self.shown_m[1:],
                "advance_m": np.diff(self.shown_m),
            }
        )

    def _periods(self) -> Table:
        strokes = self._strokes()
        start, end = strokes["stroke_start_us"], strokes["stroke_end_us"]
        edges = np.column_stack([start, end]).ravel()
        state = np.tile([State.BORING, State.STANDING], self.n)[:-1].astype(np.int8)
        advance = np.where(state == State.BORING, np.repeat(np.diff(self.shown_m), 2)[:-1], 0.0)
        return Table(
            {
                "start_us": edges[:-1],
                "end_us": edges[1:],
                "state": state,
                "shift_start_us": edges[:-1],
                "position_m": np.r_[0.0, np.cumsum(advance)[:-1]],
                "advance_m": advance,
            }
        )

    def _guidance(self, rng: np.random.Generator, true_m: Floats, shown_m: Floats) -> Table:
        if self.guidance_mm is None:
            return empty_guidance()
        middle = (self.shown_m[:-1] + self.shown_m[1:]) / 2
        # a target on the rear shield shows the sensor's own way within a stroke
        within = shown_m / 2 if self.on_rear else true_m / 2
        leap = np.array([self.jumps.get(k, 0.0) for k in range(self.n)])
        logged = self.factor * (self.true_m[:-1] + within) - self.offset_m + np.cumsum(leap)
        logged += rng.normal(0, self.guidance_mm / 1000, self.n)
        strokes = self._strokes()
        return Table(
            {
                "stroke_start_us": strokes["stroke_start_us"],
                "time_us": (strokes["stroke_start_us"] + strokes["stroke_end_us"]) // 2,
                "position_m": middle,
                "ahead_m": logged - middle,
                "sd_m": np.full(self.n, self.guidance_mm / 1000),
                "n": np.full(self.n, 100),
                "gain_m": np.zeros(self.n) if self.on_rear else self.factor * true_m - shown_m,
                "leap_m": leap,
                "leap_after_m": np.zeros(self.n),
            }
        )
