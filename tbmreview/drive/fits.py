"""Relations of the site's own: an observed quantity on columns of a ground table, fitted, judged and kept."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from tbmreview.domain.errors import FitError, TbmReviewError, UsageError
from tbmreview.domain.ground import GROUND_COLUMNS, GROUND_KINDS, MAPPED, empty_ground
from tbmreview.domain.sums import SAME_M
from tbmreview.domain.table import Column, Table
from tbmreview.drive.bored_ground import BoredGround, bored_ground
from tbmreview.drive.history import person
from tbmreview.drive.reading import Floats, Readable
from tbmreview.drive.regression import Regression, regress
from tbmreview.drive.stored import StoredDrive
from tbmreview.indicators.models import BY_NAME
from tbmreview.indicators.models.quantities import FPI, PENETRATION, Quantity
from tbmreview.store.fits import KeptFit
from tbmreview.store.writing import writing

QUANTITIES: Mapping[str, Quantity] = {"fpi": FPI, "penetration": PENETRATION}
LINEAR, EXPONENTIAL, POWER = "linear", "exponential", "power"
FORMS: Mapping[str, str] = {
    LINEAR: "y = c0 + c1 x1 + …",
    EXPONENTIAL: "ln y = c0 + c1 x1 + …",
    POWER: "ln y = c0 + c1 ln x1 + …",
}
COLUMNS = tuple(n for n, _, _ in GROUND_COLUMNS[2:] if empty_ground()[n].dtype.kind == "f")
LEAST_PER_TERM = 3  # intervals for each coefficient: fewer fit anything (professional judgement)
LEAST_DISTINCT = 3  # values of a column: through two, any curve is a line (professional judgement)
LEAST_BORED_M = 1.0  # of an interval: less is the end of one, not its ground (professional judgement)
TOLD_APART = (
    30.0  # condition number; above it coefficients are not told apart (Belsley et al. 1980, from memory)
)
_DIGITS = 9  # to which data are compared: less than rounding of sums, more than anything measured


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is fitted. of: a name in QUANTITIES; on: columns of the ground table; form: one of FORMS. ground, name:
    kind and name of the table, by default the one imported last. gross: with drag, where it is not known."""

    of: str
    on: tuple[str, ...]
    form: str = LINEAR
    robust: bool = False
    ground: str = MAPPED
    name: str | None = None
    gross: bool = False

    @property
    def quantity(self) -> Quantity:
        return QUANTITIES[self.of]

    @property
    def terms(self) -> tuple[str, ...]:
        """What each coefficient stands by."""
        return ("constant", *(f"ln {name}" if self.form == POWER else name for name in self.on))


@dataclass(frozen=True, slots=True)
class Fit:
    """A fit: what was wanted (with the table's name), its intervals and what came out.

    rows: a row an interval, with the columns in use, observed, fitted and its 95 % band, the band of a further
    interval, residual, and left_out: what the fit to the others tells of it; all in the quantity's unit.
    left_out_error: root mean square of observed less left_out. issued: of the ground table. passed_over: bored
    intervals that were not used, and why. fingerprint: of the data.
    """

    wanted: Wanted
    issued: str
    rows: Table
    values: Floats
    standard_errors: Floats
    low: Floats
    high: Floats
    residual_sd: float
    r_squared: float
    condition: float
    left_out_error: float
    passed_over: tuple[str, ...]
    fingerprint: str

    def __len__(self) -> int:
        return len(self.rows)


def wanted_of(of: str, on: Sequence[str], form: str = LINEAR, **more: Any) -> Wanted:
    """Wanted from words: a column may be named by its beginning (ucs). UsageError for what is none."""
    if of not in QUANTITIES:
        raise UsageError(f"'{of}' cannot be fitted; expected one of {', '.join(QUANTITIES)}")
    if form not in FORMS:
        raise UsageError(f"form '{form}': expected one of {', '.join(FORMS)}")
    columns = tuple(_column(word) for word in on)
    if not columns or len(set(columns)) < len(columns):
        raise UsageError("name one or more columns of the ground table, each once")
    return Wanted(of, columns, form, **more)


def _column(word: str) -> str:
    found = [n for n in COLUMNS if n == word or n.split("_")[0] == word.casefold()]
    if len(found) != 1:
        raise UsageError(f"'{word}' is no column with numbers; expected one of {', '.join(COLUMNS)}")
    return found[0]


def fit(drive: Readable, wanted: Wanted) -> Fit:
    """Fit the bored intervals of a ground table. FitError where they will not bear it, in words."""
    bored = bored_ground(drive, wanted.ground, wanted.name)
    wanted = Wanted(**{**asdict(wanted), "name": bored.entry.name})
    data, passed_over = _data(drive, bored, wanted)
    x, y = np.column_stack([data[name] for name in wanted.on]), data["observed"]
    _bears(wanted, x, y, passed_over)
    if wanted.form == POWER:
        x = np.log(x)
    result = regress(x, y if wanted.form == LINEAR else np.log(y), wanted.robust)
    rows = _with_bands(data, result, wanted.form)
    error = float(np.sqrt(np.mean((y - rows["left_out"]) ** 2)))
    return Fit(
        *(wanted, bored.entry.issued, rows, result.values, result.standard_errors, result.low, result.high),
        *(result.residual_sd, result.r_squared, result.condition, error),
        *(passed_over, fingerprint_of(data)),
    )


def _data(drive: Readable, bored: BoredGround, wanted: Wanted) -> tuple[Table, tuple[str, ...]]:
    """(the intervals that can be used, what was passed over and why)."""
    low, high = bored.sums["position_from_m"], bored.sums["position_to_m"]
    columns: dict[str, Column] = {
        "position_from_m": low,
        "position_to_m": high,
        "chainage_from_m": drive.axis.chainage_m(low),
        "chainage_to_m": drive.axis.chainage_m(high, ends=True),
        "ground": bored.ground["rock"],
        "advance_m": bored.sums["advance_m"],
        **{name: bored.ground[name] for name in wanted.on},
        "observed": wanted.quantity.observed(bored.sums.columns, drive.setup.machine, wanted.gross),
    }
    data = Table(columns)
    rules = [(data["advance_m"] >= LEAST_BORED_M - SAME_M, f"bored for less than {LEAST_BORED_M:g} m")]
    rules += [(np.isfinite(data[n]), f"without {n}") for n in wanted.on]
    rules += [(np.isfinite(data["observed"]), f"without {wanted.quantity.name(wanted.gross)}")]
    positive = {LINEAR: (), EXPONENTIAL: ("observed",), POWER: (*wanted.on, "observed")}[wanted.form]
    rules += [(data[n] > 0, f"{n} not above 0, so it has no logarithm") for n in positive]
    kept, said = np.ones(len(data), bool), []
    for good, why in rules:
        gone = int(np.count_nonzero(kept & ~good))
        said += [f"{gone} {why}"] if gone else []
        kept &= good
    return data.rows(kept), tuple(said)


def _bears(wanted: Wanted, x: Floats, y: Floats, passed_over: tuple[str, ...]) -> None:
    """FitError where there are too few intervals, or a column or what was observed hardly varies."""
    need = LEAST_PER_TERM * len(wanted.terms)
    if len(y) < need:
        why = f" (passed over: {', '.join(passed_over)})" if passed_over else ""
        raise FitError(
            f"{len(y)} intervals can be used{why}; {len(wanted.on)} columns need {need} or more, {LEAST_PER_TERM} for "
            "each coefficient"
        )
    for name, values in zip(wanted.on, x.T, strict=True):
        distinct = np.unique(values)
        if len(distinct) < LEAST_DISTINCT:
            told = " and ".join(f"{value:g}" for value in distinct)
            raise FitError(
                f"{name} is {told} in all {len(y)} intervals: without spread it explains nothing; leave it out"
            )
    if np.ptp(y) <= 1e-9 * np.abs(y).max():
        raise FitError(
            f"{wanted.quantity.name(wanted.gross)} is the same in all {len(y)} intervals: nothing to explain"
        )


def _with_bands(data: Table, result: Regression, form: str) -> Table:
    """The intervals with what the fit says of each, in the quantity's unit."""
    back = np.asarray if form == LINEAR else np.exp
    names = ("fitted", "fitted_low", "fitted_high", "new_low", "new_high", "left_out")
    with np.errstate(over="ignore"):
        told = {name: back(getattr(result, name)) for name in names}
    return data.with_columns({**told, "residual": data["observed"] - told["fitted"]})


def fingerprint_of(data: Table) -> str:
    """SHA-256 of the data of a fit: which intervals, what was observed and what the ground table says."""
    rows = [
        [value if isinstance(value, str) else f"{value:.{_DIGITS}g}" for value in column.tolist()]
        for column in (data[name] for name in data)
    ]
    text = json.dumps([list(data), rows], ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


# --- kept in the drive --------------------------------------------------------------------------


def keep(drive: StoredDrive, found: Fit, name: str, note: str = "") -> None:
    """Keep a fit in the drive under a name. A later one of the name takes its place; both stay in the catalogue.
    UsageError for a name that is none, or a published model's."""
    if not name.strip() or name != name.strip() or name in BY_NAME or _named(drive.kept_tests(), name):
        raise UsageError(f"'{name}' will not do as the name of a fit: give one that no model and no test has")
    with writing(drive.folder, person()) as work:
        work.add_fit(name, content_of(found), found.fingerprint, note)
        work.record(
            "fit", {"name": name, "of": found.wanted.of, "on": list(found.wanted.on), "n": len(found)}
        )


def _named(several: Sequence[KeptFit], name: str) -> bool:
    return name in {one.name for one in several}


def content_of(found: Fit) -> dict[str, Any]:
    """A fit as what JSON can hold; NaN is null."""
    content = {name: getattr(found, name) for name in Fit.__slots__ if name not in ("rows", "fingerprint")}
    content["wanted"] = asdict(found.wanted)
    content["rows"] = {name: plain(column) for name, column in found.rows.columns.items()}
    return {name: plain(value) for name, value in content.items()}


def plain(value: Any) -> Any:
    """An array or number as what JSON can hold; NaN is null."""
    if isinstance(value, np.ndarray):
        return [plain(one) for one in value.tolist()]
    return None if isinstance(value, float) and not np.isfinite(value) else value


def fit_of(kept: KeptFit) -> Fit:
    """The fit that was kept, as it was then."""
    content: dict[str, Any] = {n: np.nan if v is None else v for n, v in kept.content.items()}
    wanted = {**content.pop("wanted"), "on": tuple(kept.content["wanted"]["on"])}
    rows = {name: _array(values) for name, values in content.pop("rows").items()}
    for name in ("values", "standard_errors", "low", "high"):
        content[name] = _array(content[name])
    content["passed_over"] = tuple(content["passed_over"])
    return Fit(wanted=Wanted(**wanted), rows=Table(rows), fingerprint=kept.fingerprint, **content)


def _array(values: list[Any]) -> Column:
    if any(isinstance(value, str) for value in values):
        return np.array(values, object)
    return np.array([np.nan if value is None else value for value in values], np.float64)


def data_changed(drive: Readable, kept: KeptFit) -> bool:
    """Whether the same fit would take other data today: more was bored, the ground table or the record changed."""
    wanted = fit_of(kept).wanted
    if wanted.ground not in GROUND_KINDS:
        return True
    try:
        data, _ = _data(drive, bored_ground(drive, wanted.ground, wanted.name), wanted)
    except TbmReviewError:
        return True
    return fingerprint_of(data) != kept.fingerprint
