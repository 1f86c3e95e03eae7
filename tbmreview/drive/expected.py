"""Observed against expected: what models expect in the ground of a table, beside what was bored in it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from tbmreview.domain.errors import UsageError
from tbmreview.domain.ground import GROUND_COLUMNS, MAPPED
from tbmreview.domain.setup import Machine
from tbmreview.domain.table import Column, Table, stack
from tbmreview.drive.bored_ground import BoredGround, bored_ground
from tbmreview.drive.columns_text import EXPECTED_COLUMNS
from tbmreview.drive.export import text_table
from tbmreview.drive.fits_text import Keeping, model_of
from tbmreview.drive.reading import Floats, Readable
from tbmreview.indicators.energy import head_power_kW
from tbmreview.indicators.models import BY_NAME, MODELS, Model, expected_of, range_of
from tbmreview.indicators.models.csm import track_spacing_mm
from tbmreview.indicators.models.quantities import DISC_LOAD, PENETRATION
from tbmreview.indicators.models.record import BORED
from tbmreview.indicators.record import ratio

NOTHING_STATED: Mapping[str, float] = MappingProxyType({})
CAUTION = (
    "a ratio off 1 says that ground, machine or model are not as assumed, not which of them; no model replaces the "
    "judgement of the responsible engineer"
)
_SHOWN = (
    *("chainage_from_m", "chainage_to_m", "ground", "advance_m", "observed", "expected"),
    *("observed_over_expected", "flag"),
)


@dataclass(frozen=True, slots=True)
class Asked:
    """What is compared.

    model: the name of a model or of a kept fit; None: every one that has its inputs somewhere. ground, name: kind and name of the
    ground table, by default the one imported last. stated: input -> value where neither the table nor the setup
    has one. gross: with drag and no-load torque, where they are not known.
    """

    model: str | None = None
    ground: str = MAPPED
    name: str | None = None
    stated: Mapping[str, float] = field(default_factory=lambda: NOTHING_STATED)
    gross: bool = False


def expected(drive: Keeping, asked: Asked) -> Table:
    """A row for each bored interval of the ground table and each model, along the drive, in EXPECTED_COLUMNS.

    observed is net unless asked otherwise, and NaN where drag is not known. expected is NaN where an input is
    missing; the column `missing` names it. range: 'within', 'outside: …', or which inputs' ranges are not known.
    UsageError for a model or an input that is none; DriveError where there is no such ground table.
    """
    models = _models(drive, asked)
    bored = bored_ground(drive, asked.ground, asked.name)
    values = inputs_of(bored, drive.setup.machine, asked)
    parts = [_rows(drive, bored, model, values, asked) for model in models]
    if asked.model is None:
        parts = [part for part in parts if np.isfinite(part["expected"]).any()]
    if not parts:
        return _rows(drive, bored, MODELS[0], values, asked).rows(slice(0, 0))
    rows = stack(parts)
    return rows.rows(np.argsort(rows["position_from_m"], kind="stable"))


def _models(drive: Keeping, asked: Asked) -> Sequence[Model]:
    """The models that are asked for; the site's kept fits come after those published."""
    known = {**BY_NAME, **{kept.name: model_of(kept) for kept in drive.kept_fits()}}
    if asked.model is not None and asked.model not in known:
        raise UsageError(f"model '{asked.model}': expected one of {', '.join(known)}")
    models = tuple(known.values()) if asked.model is None else (known[asked.model],)
    may_be = {i.name for model in models for i in model.inputs if i.origin != BORED}
    for name in asked.stated:
        if name not in may_be:
            raise UsageError(
                f"'{name}' is no input that can be stated; expected one of {', '.join(sorted(may_be))}"
            )
    return models


def inputs_of(bored: BoredGround, machine: Machine, asked: Asked) -> dict[str, Floats]:
    """Input name -> (n,) for each bored interval: from the ground table, the setup and the sums; what is stated
    fills what they lack, and what follows from others comes last."""
    count = len(bored)
    numbers = [n for n, _, _ in GROUND_COLUMNS[2:] if bored.ground[n].dtype.kind == "f"]
    values: dict[str, Floats] = {name: bored.ground[name] for name in numbers}
    for name in ("bore_diameter_m", "disc_count", "disc_diameter_mm", "disc_lever_arm"):
        known = getattr(machine, name)
        values[name] = np.full(count, np.nan if known is None else float(known))
    values["penetration_mm_rev"] = PENETRATION.observed(bored.sums.columns, machine, asked.gross)
    values["head_power_kW"] = head_power_kW(bored.sums.columns, machine)
    values["disc_load_kN"] = DISC_LOAD.observed(bored.sums.columns, machine, asked.gross)
    for name, value in asked.stated.items():
        known = values.get(name, np.full(count, np.nan))
        values[name] = np.where(np.isnan(known), value, known)
    values.setdefault("disc_spacing_mm", np.full(count, track_spacing_mm(machine)))
    values.setdefault("brittleness", ratio(values["ucs_MPa"], values["bts_MPa"]))
    return values


def _rows(
    drive: Readable, bored: BoredGround, model: Model, values: Mapping[str, Floats], asked: Asked
) -> Table:
    machine, quantity = drive.setup.machine, model.quantity
    low, high = bored.sums["position_from_m"], bored.sums["position_to_m"]
    observed, expects = (
        quantity.observed(bored.sums.columns, machine, asked.gross),
        np.broadcast_to(expected_of(model, values), len(bored)),
    )
    columns: dict[str, Column] = {
        "position_from_m": low,
        "position_to_m": high,
        "chainage_from_m": drive.axis.chainage_m(low),
        "chainage_to_m": drive.axis.chainage_m(high, ends=True),
        "ground": bored.ground["rock"],
        "advance_m": bored.sums["advance_m"],
        "observed": observed,
        "expected": expects,
        "observed_over_expected": ratio(observed, expects),
        "range": range_of(model, values, len(bored)),
        "missing": _missing(model, values, len(bored)),
    }
    same = {
        "model": model.name,
        "quantity": quantity.name(asked.gross),
        "unit": quantity.unit,
        "stated": _stated(model, values, asked),
        "ground_kind": bored.entry.kind,
        "ground_name": bored.entry.name,
        "ground_issued": bored.entry.issued,
        "source": model.source,
        "label": model.label,
    }
    columns |= {name: np.full(len(bored), text, object) for name, text in same.items()}
    return Table({name: columns[name] for name in EXPECTED_COLUMNS})


def _missing(model: Model, values: Mapping[str, Floats], count: int) -> Column:
    """The inputs that are missing in each row, (n,)."""
    nothing = np.full(count, np.nan)
    absent = {i.name: np.isnan(values.get(i.name, nothing)) for i in model.inputs}
    texts = [", ".join(name for name, gone in absent.items() if gone[row]) for row in range(count)]
    return np.array([*texts, ""], object)[:-1]


def _stated(model: Model, values: Mapping[str, Floats], asked: Asked) -> str:
    """What a model takes that is neither measured nor mapped, in words."""
    said = [f"{i.name} {asked.stated[i.name]:g}" for i in model.inputs if i.name in asked.stated]
    if any(i.name == "disc_spacing_mm" for i in model.inputs) and "disc_spacing_mm" not in asked.stated:
        said.append(
            f"disc_spacing_mm {values['disc_spacing_mm'][0]:.1f} = D/(2 N)" if len(values["q"]) else ""
        )
    return "; ".join(text for text in said if text)


# --- as text ------------------------------------------------------------------------------------


def expected_text(drive: Keeping, asked: Asked) -> str:
    """The comparison for a terminal: a block a model, then what was left out and which ground it is against."""
    rows = expected(drive, asked)
    bored = bored_ground(drive, asked.ground, asked.name)
    values = inputs_of(bored, drive.setup.machine, asked)
    shown = [model for model in _models(drive, asked) if model.name in set(rows["model"].tolist())]
    lines: list[str] = []
    for model in shown:
        lines += [*_block(drive, rows.rows(rows["model"] == model.name), model), ""]
    for model in _models(drive, asked):
        if model not in shown:
            lines.append(f"left out: {model.name}, {_lacks(model, values)}")
    return "\n".join([*lines, f"compared with {bored.told}", CAUTION])


def _block(drive: Readable, rows: Table, model: Model) -> list[str]:
    outside = np.array(
        [text if text.startswith("outside") else "" for text in rows["range"].tolist()], object
    )
    missing = np.array([f"missing: {text}" if text else "" for text in rows["missing"].tolist()], object)
    rows = rows.with_columns({"flag": np.where(rows["missing"] != "", missing, outside)})
    unranged = ", ".join(i.name for i in model.inputs if not i.ranged)
    stated = rows["stated"][0]
    return [
        f"{model.name}: {rows['quantity'][0]}, {model.quantity.unit}",
        text_table(rows, drive.setup.drive.zone, _SHOWN),
        f"{model.label}; {model.source}; {model.basis}",
        *([f"range of validity not known for {unranged}"] if unranged else []),
        *([f"stated: {stated}"] if stated else []),
    ]


def _lacks(model: Model, values: Mapping[str, Floats]) -> str:
    """Why a model says nothing here, and what would help."""
    gone = [i for i in model.inputs if i.name not in values or np.isnan(values[i.name]).all()]
    if not gone:
        return "no interval has all its inputs"
    names = ", ".join(i.name for i in gone)
    helps = "".join(f" --stated {i.name}=VALUE" for i in gone if i.origin != BORED)
    return f"nothing says {names}" + (f"; where it is known:{helps}" if helps else "")
