"""An invented drive for pictures: no logs, only tables. Not measured anywhere, made from a seed."""

from dataclasses import dataclass, field, replace

import numpy as np

from tbmreview.domain.findings import AGREED, OPEN, SET_ASIDE, Finding
from tbmreview.domain.ground import GROUND_COLUMNS, GROUND_NUMBERS, MAPPED, PREDICTED, empty_ground
from tbmreview.domain.marks import Mark
from tbmreview.domain.setup import DOUBLE_SHIELD, DriveFacts, Machine, Setup
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table
from tbmreview.drive.classes import classes_of
from tbmreview.indicators.classes import Classed
from tbmreview.scene.source import Band
from tbmreview.scene.strips import STRIPS

# rock, hatch, net disc load kN, penetration mm/rev, head speed rpm, torque MNm, drag MN
ROCKS = (
    ("quartzite", "massive", 265.0, 4.2, 7.8, 1.45, 1.0),
    ("banded gneiss", "foliated", 225.0, 7.0, 7.6, 1.5, 1.1),
    ("mica schist", "schistose", 160.0, 9.8, 6.9, 1.35, 1.2),
    ("crushed gneiss", "crushed", 85.0, 11.5, 4.0, 0.9, 3.5),
    ("fault zone F2", "fault", 48.0, 9.0, 3.0, 0.7, 9.0),
    ("sandstone", "bedded", 190.0, 8.0, 7.0, 1.3, 1.1),
)
RMR, CAI = (85.0, 66.0, 52.0, 31.0, 15.0, 58.0), (5.2, 4.1, 2.5, 3.0, 1.2, 3.4)
DISCS, BORE_M = 42, 6.4


@dataclass
class InventedSource:
    """A Source of `length_m` bored; profiles are cut from one 0.1 m record and kept."""

    length_m: float = 250.0
    seed: int = 7
    falling: bool = False
    finding_count: int = 6
    ground_given: bool = True
    drawn: tuple[Mark, ...] = ()
    setup: Setup = field(init=False)
    _kept: dict = field(default_factory=dict)

    def __post_init__(self) -> None:
        direction = "decreasing" if self.falling else "increasing"
        drive = DriveFacts("Invented drive", "Europe/Oslo", 42_180.4, direction, 1.5)
        self.setup = Setup(drive, Machine(DOUBLE_SHIELD, BORE_M, DISCS, 483.0, 312.0))
        self._rng = np.random.default_rng(self.seed)
        self._ends = self._interval_ends()
        self._rock = self._rng.choice(len(ROCKS), len(self._ends) - 1, p=(0.22, 0.3, 0.22, 0.07, 0.05, 0.14))
        self._findings = self._make_findings()

    @property
    def axis(self) -> Axis:
        return self.setup.drive.axis

    @property
    def span_m(self) -> tuple[float, float]:
        return 0.0, self.length_m

    def profile(self, step_m: float) -> Table:
        if step_m not in self._kept:
            self._kept[step_m] = self._cut(step_m)
        return self._kept[step_m]

    def bands(self, step_m: float, columns: tuple[str, ...]) -> dict[str, Band]:
        """4 % either way, of all but torque, whose sensor nobody knows."""
        if ("bands", step_m) not in self._kept:
            table = self.profile(step_m)
            self._kept["bands", step_m] = {
                name: Band(0.96 * table[name], 1.04 * table[name])
                if "torque" not in name
                else Band(*2 * [np.full(len(table), np.nan)], ("torque",))
                for name in table
                if table[name].dtype.kind == "f"
            }
        return self._kept["bands", step_m]

    def ground(self, kind: str, name: str = "") -> Table:
        if (kind, name) not in self._kept:
            self._kept[kind, name] = self._make_ground(kind, name)
        return self._kept[kind, name]

    def _make_ground(self, kind: str, name: str) -> Table:
        if not self.ground_names(kind):
            return empty_ground()
        shift = 0.0 if kind == MAPPED else 6.0 if name == "tender" else 3.0
        ends = np.clip(self._ends + shift * np.sin(np.arange(len(self._ends))), 0.0, None)
        rows = slice(0, len(ends) - 1)
        chosen = self._rock if kind == MAPPED else np.where(self._rock == 3, 1, self._rock)
        text = {"rock": 0, "hatch": 1}
        columns = {
            n: np.full(
                len(chosen), np.nan if n in GROUND_NUMBERS else "", float if n in GROUND_NUMBERS else object
            )
            for n, _, _ in GROUND_COLUMNS
        }
        columns |= {n: np.array([ROCKS[i][k] for i in chosen], object) for n, k in text.items()}
        columns["rmr"] = np.array([RMR[i] for i in chosen])
        columns["cai"] = np.array([CAI[i] for i in chosen])
        columns["cai_scheme"] = np.full(len(chosen), "ISRM 2014", object)
        return Table(columns | {"position_from_m": ends[rows], "position_to_m": ends[1:]})

    def classes(self, kind: str, name: str = "") -> dict[str, Classed]:
        if ("classes", kind, name) not in self._kept:
            found = classes_of(self.ground(kind, name))
            self._kept["classes", kind, name] = {q.stem: c for q, c in found if (c.text != "").any()}
        return self._kept["classes", kind, name]

    def ground_names(self, kind: str) -> tuple[str, ...]:
        if not self.ground_given:
            return ()
        return {MAPPED: ("mapped",), PREDICTED: ("tender", "design")}.get(kind, ())

    def findings(self) -> tuple[Finding, ...]:
        return self._findings

    def marks(self) -> tuple[Mark, ...]:
        return self.drawn

    def _interval_ends(self) -> np.ndarray:
        inner = np.cumsum(self._rng.gamma(2.0, 18.0, int(self.length_m / 12) + 3))
        return np.r_[0.0, inner[inner < self.length_m - 5], self.length_m]

    def _fine(self) -> dict[str, np.ndarray]:
        """Smooth truth and noise at 0.1 m, as sums would give it."""
        if "fine" in self._kept:
            return self._kept["fine"]
        count = round(self.length_m * 10)
        middle = (np.arange(count) + 0.5) / 10
        facts = np.array([row[2:] for row in ROCKS])[
            self._rock[np.clip(np.searchsorted(self._ends, middle, "right") - 1, 0, len(self._rock) - 1)]
        ]
        noise = np.exp(self._rng.normal(0, 1, (count, 4)) * (0.05, 0.16, 0.02, 0.1))
        drag = facts[:, 4] * 1000 * (1 + 0.15 * np.sin(middle / 3))
        net = facts[:, 0] * DISCS * noise[:, 0]
        out = {
            "net_thrust_kN": net,
            "thrust_kN": net + drag,
            "penetration_mm_rev": facts[:, 1] * noise[:, 1],
            "head_speed_rpm": facts[:, 2] * noise[:, 2],
            "torque_kNm": facts[:, 3] * 1000 * noise[:, 3],
            "segment_reacted_share": np.where(facts[:, 4] > 3, 1.0, 0.0),
            "unrecorded_advance_m": np.where(self._rng.random(count) < 0.01, 0.05, 0.0),
        }
        missing = (middle % 97 > 60) & (middle % 97 < 63)
        for name in ("torque_kNm", "penetration_mm_rev", "segment_reacted_share"):
            out[name] = np.where(missing, np.nan, out[name])
        self._kept["fine"] = out
        return out

    def _cut(self, step_m: float) -> Table:
        fine = self._fine()
        count = len(fine["thrust_kN"])
        size = round(step_m * 10)
        first = np.arange(0, count, size)
        known = {k: np.add.reduceat(np.isfinite(v) * 1.0, first) for k, v in fine.items()}
        whole = {k: np.add.reduceat(np.nan_to_num(v), first) for k, v in fine.items()}
        mean = {k: np.where(known[k] > 0, whole[k] / np.maximum(known[k], 1), np.nan) for k in fine}
        mean["unrecorded_advance_m"] = np.add.reduceat(fine["unrecorded_advance_m"], first)
        p, torque = mean["penetration_mm_rev"], mean["torque_kNm"]
        area = np.pi * BORE_M**2 / 4
        net_torque = torque - 180
        rotary = 2 * np.pi * torque / (area * p)
        columns = mean | {
            "position_from_m": first / 10,
            "position_to_m": np.r_[first[1:], count] / 10,
            "net_torque_kNm": net_torque,
            "penetration_rate_m_h": p * mean["head_speed_rpm"] * 0.06,
            "disc_load_kN": mean["thrust_kN"] / DISCS,
            "net_disc_load_kN": mean["net_thrust_kN"] / DISCS,
            "fpi_kN_per_mm_rev": mean["thrust_kN"] / DISCS / p,
            "net_fpi_kN_per_mm_rev": mean["net_thrust_kN"] / DISCS / p,
            "tpi_kNm_per_mm_rev": torque / p,
            "rotary_energy_MJ_m3": rotary,
            "specific_energy_MJ_m3": rotary + mean["thrust_kN"] / area / 1000,
            "net_specific_energy_MJ_m3": 2 * np.pi * net_torque / (area * p)
            + mean["net_thrust_kN"] / area / 1000,
            "torque_ratio": torque / mean["thrust_kN"] / (0.59 * BORE_M / 2),
        }
        further = [s.column for strip in STRIPS for s in strip.series if s.column not in columns]
        columns |= {name: 0.5 + 0.1 * np.sin(first / 70 + k) for k, name in enumerate(further)}
        start = columns["position_from_m"] % 83
        gap = (start >= 40) & (start + step_m <= 42)
        return Table(columns).rows(~gap)

    def _make_findings(self) -> tuple[Finding, ...]:
        places = np.sort(self._rng.uniform(0.02, 0.96, self.finding_count)) * self.length_m
        verdicts = (OPEN, OPEN, AGREED, SET_ASIDE)
        made = []
        for i, at in enumerate(places.tolist()):
            length = float(self._rng.gamma(2.0, 2.0)) + 0.5
            base = Finding("fpi step", at, at + length, 0, 0, float(self._rng.uniform(1, 8)), "")
            words = f"FPI net {0.3 + i % 3 / 10:.1f} of its baseline over {length:.1f} m"
            made.append(replace(base, evidence=words, verdict=verdicts[i % 4], id=f"F{i + 1}"))
        return tuple(made)
