"""Cells as they are read: with what *net* subtracts, shares of the key, and stroke numbers.

Cells do not depend on drag, so a better drag figure rebuilds nothing: it is applied here.
"""

from collections.abc import Callable, Mapping
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.marks import Mark
from tbmreview.domain.setup import Machine, Setup
from tbmreview.domain.states import Phase, PushingSet, Reaction
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Column, Table
from tbmreview.motion.net_forces import SEEN_SETUP
from tbmreview.store.catalogue import GroundEntry

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

NO_TIME = int(np.iinfo(np.int64).min)  # a missing instant in an int64 column of microseconds
NO_STROKE = 0  # strokes are numbered from 1
READ = (
    "thrust_s",
    "thrust_advance_m",
    "torque_s",
    "torque_revolutions",
    "advance_m",
)  # sums that net is made of


class Readable(Protocol):
    """What tables and findings read of a drive; all of it read-only."""

    @property
    def setup(self) -> Setup:
        """What people stated."""

    @property
    def axis(self) -> Axis:
        """From position to chainage."""

    @property
    def cells(self) -> Table:
        """KEYS and SUMS of domain.sums."""

    @property
    def strokes(self) -> Table:
        """A row a stroke, by time: stroke_start_us, drag_kN, drag_source, no_load_torque_kNm,
        no_load_source, …; NaN where neither the log nor the setup tells."""

    @property
    def periods(self) -> Table:
        """Runs of one state: state, start_us, end_us, …"""

    @property
    def rings(self) -> Table:
        """A row a ring: ring, position_from_m, position_to_m, …"""

    def ground(self, kind: str, name: str | None = None) -> Table:
        """Ground of a kind (domain.ground)."""

    def ground_entries(self, kind: str) -> tuple[GroundEntry, ...]:
        """The ground tables of a kind, the one imported last at the end."""

    def marks(self) -> tuple[Mark, ...]:
        """The marks in force, along position."""


def by_run(values: Codes, told: Callable[[Codes], Column]) -> Column:
    """What `told` says of each value, (n,); it is asked once for values alike that follow each other."""
    begins = np.ones(len(values), bool)
    np.not_equal(values[1:], values[:-1], out=begins[1:])
    starts = np.flatnonzero(begins)
    return np.repeat(told(values[starts]), np.diff(starts, append=len(values)))


class Sources:
    """Drag sources as bits of an integer, so that a group's sources are the bits of its cells."""

    def __init__(self, names: tuple[str, ...]) -> None:
        self.names = names

    def code(self, name: str) -> int:
        """The bit of a source; 0 for '' (not known) and for a source that no stroke names."""
        return 1 << self.names.index(name) if name in self.names else 0

    def text(self, codes: Codes) -> NDArray[np.object_]:
        """Names of each set of bits, joined by '+', (n,); '' where none."""

        def words(of_runs: Codes) -> Column:
            distinct, which = np.unique(of_runs, return_inverse=True)
            named = [
                "+".join(n for i, n in enumerate(self.names) if code >> i & 1) for code in distinct.tolist()
            ]
            return np.array([*named, ""], dtype=object)[which]

        return by_run(codes, words)


def sources_of(strokes: Table) -> Sources:
    """Every source of drag that a cell of these strokes may name."""
    return Sources(tuple(sorted({*strokes["drag_source"].tolist(), SEEN_SETUP} - {""})))


def reading(cells: Table, strokes: Table, machine: Machine) -> Table:
    """Cells with READING_SUMS, `stroke` (number from 1, int64) and `drag_code` (see Sources).

    Cells that still tell phases apart get the sums of `with_phases` too. Drag and no-load torque are those that the log showed for the stroke, else the setup's constants as they
    are now (drag by pushing set), else unknown: then what depends on them is NaN wherever thrust
    (torque) was measured.
    """
    stroke = _stroke_numbers(cells, strokes)
    drag, drag_sd, codes = _drag_of_strokes(strokes, machine)
    pushing = cells["pushing_set"]
    cell_drag, cell_sd = drag[stroke, pushing], drag_sd[stroke, pushing]
    variance = np.concatenate([[np.nan], strokes["thrust_var_kN2_s"]])[stroke]
    no_load, no_load_sd = (column[stroke] for column in _no_load_of_strokes(strokes, machine))
    reaction, advance = cells["reaction"], cells["advance_m"]
    more: Mapping[str, NDArray[np.generic]] = {
        "ring_reacted_advance_m": np.where(reaction == Reaction.RING, advance, 0.0),
        "known_reaction_advance_m": np.where(reaction != Reaction.UNKNOWN, advance, 0.0),
        "drag_kN_s": _times(cell_drag, cells["thrust_s"]),
        "drag_work_kJ": _times(cell_drag, cells["thrust_advance_m"]),
        "no_load_kNm_s": _times(no_load, cells["torque_s"]),
        "no_load_work_kJ": _times(no_load, 2 * np.pi * cells["torque_revolutions"]),
        "drag_sd_kN_s": _times(cell_sd, cells["thrust_s"]),
        "thrust_var_kN2_s2": _times(np.nan_to_num(variance), cells["thrust_s"]),
        "no_load_sd_kNm_s": _times(no_load_sd, cells["torque_s"]),
        "thrust_installed_kN_s": _times(_installed_kN(machine)[pushing], cells["thrust_s"]),
        "stroke": stroke,
        "drag_code": np.where(cells["thrust_s"] > 0, codes[stroke, pushing], 0),
    }
    cells = cells.with_columns(more)
    return with_phases(cells) if "phase" in cells else cells


def with_phases(cells: Table) -> Table:
    """Cells with seconds and recorded advance of steady boring, and of boring whose phase is known."""
    steady, phased = cells["phase"] == Phase.STEADY, cells["phase"] != Phase.NONE
    return cells.with_columns(
        {
            "steady_s": cells["boring_s"] * steady,
            "phased_s": cells["boring_s"] * phased,
            "steady_advance_m": cells["advance_m"] * steady,
            "phased_advance_m": cells["advance_m"] * phased,
        }
    )


def _times(constant: Floats, measured: Floats) -> Floats:
    """constant * measured, and 0 where nothing was measured even if the constant is unknown."""
    product: Floats = constant * measured
    product[measured == 0] = 0.0
    return product


def _stroke_numbers(cells: Table, strokes: Table) -> Codes:
    starts = strokes["stroke_start_us"]

    def numbers(own: Codes) -> Codes:
        at: Codes = np.searchsorted(starts, own, side="right").astype(np.int64)
        known = at > 0
        known[known] = starts[at[known] - 1] == own[known]
        return np.where(known, at, NO_STROKE)

    return by_run(cells["stroke_start_us"], numbers)


def _drag_of_strokes(strokes: Table, machine: Machine) -> tuple[Floats, Floats, Codes]:
    """(drag [kN], its standard deviation [kN], source code), each of shape (strokes + 1, pushing sets);
    row 0 is *no stroke*."""
    sources = sources_of(strokes)
    drag = np.full((len(strokes) + 1, len(PushingSet)), np.nan)
    deviation, codes = drag.copy(), np.zeros(drag.shape, np.int64)
    constants = {PushingSet.MAIN: machine.drag_kN, PushingSet.AUX: machine.aux_drag_kN}
    for pushing, constant in constants.items():
        if constant is not None:
            drag[:, pushing], codes[:, pushing] = constant, sources.code(SEEN_SETUP)
            deviation[:, pushing] = machine.constant_spread * constant
    own = np.flatnonzero(np.isfinite(strokes["drag_kN"]) & (strokes["drag_source"] != SEEN_SETUP))
    drag[own + 1] = strokes["drag_kN"][own, None]
    deviation[own + 1] = strokes["drag_sd_kN"][own, None]
    own_codes = [sources.code(name) for name in strokes["drag_source"][own].tolist()]
    codes[own + 1] = np.array(own_codes, np.int64)[:, None]
    return drag, deviation, codes


def drag_of_strokes(strokes: Table, machine: Machine) -> Floats:
    """Drag of the set that pushed in each stroke, (strokes,) [kN]; NaN where neither log nor setup tells."""
    drag, _, _ = _drag_of_strokes(strokes, machine)
    own: Floats = drag[np.arange(1, len(strokes) + 1), strokes["pushing_set"]]
    return own


def _no_load_of_strokes(strokes: Table, machine: Machine) -> tuple[Floats, Floats]:
    """(no-load torque [kNm], its standard deviation [kNm]), (strokes + 1,) each; row 0 is *no stroke*."""
    constant = np.nan if machine.no_load_torque_kNm is None else machine.no_load_torque_kNm
    own, own_sd = strokes["no_load_torque_kNm"], strokes["no_load_sd_kNm"]
    measured = np.isfinite(own) & (strokes["no_load_source"] != SEEN_SETUP)
    spread = machine.constant_spread * constant
    torque = np.concatenate([[constant], np.where(measured, own, constant)])
    return torque, np.concatenate([[spread], np.where(measured, own_sd, spread)])


def _installed_kN(machine: Machine) -> Floats:
    """Installed thrust by pushing set [kN]; NaN where not given."""
    given = {
        PushingSet.MAIN: machine.main_thrust_installed_kN,
        PushingSet.AUX: machine.aux_thrust_installed_kN,
    }
    return np.array([np.nan if given.get(s) is None else given[s] for s in PushingSet], np.float64)
