"""What the page of classes lists and works out: schemes with their limits, conversions, an example."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from tbmreview.domain.classes import BY_STEM, SCHEMES, Scheme, schemes_of
from tbmreview.domain.ground import MAPPED, PREDICTED, empty_ground
from tbmreview.domain.table import Table
from tbmreview.drive.class_match import agreed_share, filled, quantity_rows
from tbmreview.help.grid import grid, number, sentence
from tbmreview.indicators import conversions
from tbmreview.indicators.classes import class_texts, limits_text
from tbmreview.indicators.record import Floats

VALUES: Mapping[str, float] = {
    "rmr": 66.0,
    "q": 3.0,
    "gsi": 55.0,
    "ucs": 125.0,
    "rqd": 82.0,
    "cai": 2.5,
    "water": 30.0,
}


def schemes() -> str:
    """Each scheme with its source and how sure it is, then the value that each of its classes begins at."""
    rows = [(_label(s.quantity), s.name, s.source, s.label) for s in SCHEMES]
    limits = "\n".join(f"- {_label(s.quantity)}, {s.name}: {_told(s)}" for s in SCHEMES)
    return f"{grid(('of', 'scheme', 'source', 'how sure'), rows)}\n\n{limits}"


def _told(scheme: Scheme) -> str:
    return f"{limits_text(scheme)}. {sentence([scheme.note])}" if scheme.note else f"{limits_text(scheme)}."


def _label(stem: str) -> str:
    return BY_STEM[stem].label if stem in BY_STEM else stem


def formulas() -> str:
    """Each conversion with its source and how sure it is."""
    rows = [(f"`{c.name}`", c.formula, c.source, c.label) for c in conversions.CONVERSIONS]
    return grid(("conversion", "formula", "source", "how sure"), rows)


def example() -> str:
    """The same values by every scheme; a few conversions."""
    rows = [
        (scheme.name, f"{VALUES[stem]:g}", class_texts(scheme, one(VALUES[stem]))[0])
        for stem in VALUES
        for scheme in schemes_of(stem)
    ]
    q = conversions.q_value(one(90), (one(9), one(1.5), one(2)), one(1), one(2.5))
    worked = (
        ("Q of RQD 90, Jn 9, Jr 1.5, Ja 2, Jw 1, SRF 2.5", q, 2),
        ("RMR of that Q", conversions.rmr_of_q(q), 1),
        ("Qc of Q 10 and 150 MPa", conversions.qc(one(10), one(150)), 1),
        ("GSI of RMR' 76", conversions.gsi_of_rmr(one(76)), 0),
        ("GSI of JCond89 20 and RQD 70", conversions.gsi_of_joints(one(20), one(70)), 0),
        ("CAI of a saw-cut 2.5", conversions.cai_of_saw_cut(one(2.5)), 2),
        *((f"RQD of Jv 10 by {f}", conversions.rqd_of_jv(one(10), f), 0) for f in conversions.RQD_OF_JV),
    )
    figures = [(what, number(float(value[0]), decimals)) for what, value, decimals in worked]
    tables = (grid(("scheme", "value", "class"), rows), grid(("conversion", "value"), figures), compared())
    return "\n\n".join(tables)


def compared() -> str:
    """Forty metres in one class and sixty in others, mapped against predicted."""
    mapped, predicted, metres = (66.0, 48.0, 15.0), (72.0, 66.0, 48.0), (40.0, 35.0, 25.0)
    sides = {MAPPED: filled(_by_rmr(mapped), ()), PREDICTED: filled(_by_rmr(predicted), ())}
    row, ends = np.arange(len(metres)), np.cumsum(metres)
    bored = {"position_from_m": ends - metres, "position_to_m": ends, "advance_m": np.array(metres)}
    rows = quantity_rows(Table({**bored, MAPPED: row, PREDICTED: row}), sides, "rmr")
    columns = ("length_m", "predicted_class", "mapped_class", "outcome", "classes_off")
    cells = zip(*(rows[column].tolist() for column in columns), strict=True)
    shown = [(number(m), *words, number(off)) for m, *words, off in cells]
    given = sentence([f"RMR predicted {p:g}, mapped {m:g}" for p, m in zip(predicted, mapped, strict=True)])
    agreed = f"`agreed_share` = {number(agreed_share(rows), 2)}"
    return f"{given}\n\n{grid(('length, m', 'predicted', 'mapped', 'outcome', 'off'), shown)}\n\n{agreed}"


def _by_rmr(values: Sequence[float]) -> Table:
    blank = empty_ground()
    columns = {
        n: np.full(len(values), "" if c.dtype == object else np.nan, c.dtype)
        for n, c in blank.columns.items()
    }
    return Table({**columns, "rmr": np.array(values)})


def one(value: float) -> Floats:
    """A figure as the functions take it, (1,)."""
    return np.array([value], np.float64)


COMPUTED: Mapping[str, Callable[[], str]] = {
    "schemes of classes": schemes,
    "conversions": formulas,
    "example of classes": example,
}
