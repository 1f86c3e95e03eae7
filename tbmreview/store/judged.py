"""Findings and what people decided: verdicts, marks, sign-offs. Reading, and writing within a transaction.

What a person decided is only ever appended; views give what counts now.
"""

import json
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from tbmreview.domain.findings import OPEN, Finding
from tbmreview.domain.marks import Act, Mark
from tbmreview.store.versions import version_of

if TYPE_CHECKING:
    from tbmreview.store.writing import Writing

_SINCE_VERSION = 5
_MISSING: tuple[Any, ...] = (None, "", [], ())


@dataclass(frozen=True, slots=True)
class Judgement:
    """A verdict on a finding as it was given; the last one of a finding counts."""

    finding: str
    verdict: str
    decided_by: str
    decided_us: int
    note: str


@dataclass(frozen=True, slots=True)
class SignOff:
    """That a shift's data were reviewed: what was open then, and fingerprints of what was seen, by name."""

    shift_start_us: int
    decided_by: str
    decided_us: int
    note: str
    open: tuple[str, ...]
    seen: Mapping[str, str]
    withdrawn: bool = False


@dataclass(frozen=True, slots=True)
class ChangeSeen:
    """How the findings changed at a detection: ids that came and went; (id, metres at its start, at its end)."""

    when_us: int
    who: str
    new: tuple[str, ...]
    gone: tuple[str, ...]
    moved: tuple[tuple[str, float, float], ...]


# --- findings and verdicts --------------------------------------------------------------------------


def findings(db: sqlite3.Connection, gone: bool = False) -> tuple[Finding, ...]:
    """The findings of the last detection along the drive, or those that it did not notice any more, each with its
    current verdict."""
    new = version_of(db) >= _SINCE_VERSION
    if gone and not new:
        return ()
    where = f"WHERE gone_us IS {'NOT ' if gone else ''}NULL" if new else ""
    found = db.execute(
        "SELECT f.kind, position_from_m, position_to_m, start_us, end_us, strength, evidence, figures,"
        " coalesce(verdict, ?), coalesce(decided_by, ''), decided_us, coalesce(note, ''), id,"
        f" {'together' if new else chr(39) * 2}"
        f" FROM finding AS f LEFT JOIN current_verdict AS v ON v.finding = f.id {where}"
        " ORDER BY position_from_m, id",
        (OPEN,),
    )
    return tuple(
        Finding(kind, low, high, start, end, strength, text, _figures(figures), *decision)
        for kind, low, high, start, end, strength, text, figures, *decision in found
    )


def highest_finding(db: sqlite3.Connection) -> int:
    """The highest number that a finding of the drive ever had; 0 where there was none."""
    if version_of(db) > 1:
        found = db.execute("SELECT highest FROM numbered WHERE what = 'finding'").fetchone()
        return int(found[0]) if found else 0
    return max((finding.number for finding in findings(db)), default=0)


def judgements(db: sqlite3.Connection) -> tuple[Judgement, ...]:
    """Every verdict that was given, the oldest first."""
    found = db.execute("SELECT finding, verdict, decided_by, decided_us, note FROM verdict ORDER BY number")
    return tuple(Judgement(*row) for row in found)


def changes_seen(db: sqlite3.Connection) -> tuple[ChangeSeen, ...]:
    """How the findings changed from one detection to the next, the oldest first."""
    if version_of(db) < _SINCE_VERSION:
        return ()
    found = db.execute("SELECT when_us, who, content FROM change_seen ORDER BY number")
    return tuple(_change(when, who, json.loads(content)) for when, who, content in found)


def _change(when_us: int, who: str, content: Mapping[str, Any]) -> ChangeSeen:
    moved = tuple((name, float(low), float(high)) for name, low, high in content["moved"])
    return ChangeSeen(when_us, who, tuple(content["new"]), tuple(content["gone"]), moved)


def replace_findings(work: "Writing", found: Iterable[Finding], change: Mapping[str, Any]) -> None:
    """Put what the detectors noticed in the place of what they noticed before; what is gone stays, marked so, and
    so do verdicts. change: new, gone and moved as in ChangeSeen.

    The highest number that a finding ever had is kept, so that no id is given twice.
    """
    found = tuple(found)
    highest = max((f.number for f in found), default=0)
    work.db.execute(
        "INSERT INTO numbered VALUES ('finding', ?) ON CONFLICT (what) DO UPDATE"
        " SET highest = max(highest, excluded.highest)",
        (highest,),
    )
    work.db.execute("UPDATE finding SET gone_us = ? WHERE gone_us IS NULL", (work.now_us,))
    work.db.executemany(
        "INSERT OR REPLACE INTO finding (id, kind, position_from_m, position_to_m, start_us, end_us, strength,"
        " evidence, figures, together, gone_us) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, NULL)",
        (
            (
                *(f.id, f.kind, float(f.position_from_m), float(f.position_to_m), int(f.start_us)),
                *(int(f.end_us), float(f.strength), f.evidence, _json(_finite(f.figures)), f.group),
            )
            for f in found
        ),
    )
    work.db.execute(
        "INSERT INTO change_seen (when_us, who, content) VALUES (?, ?, ?)",
        (work.now_us, work.who, _json(change)),
    )


def add_verdict(work: "Writing", finding: str, verdict: str, note: str, who: str) -> None:
    """Append a judgement of a finding."""
    work.db.execute(
        "INSERT INTO verdict (finding, verdict, decided_by, decided_us, note) VALUES (?, ?, ?, ?, ?)",
        (finding, verdict, who, work.now_us, note),
    )


def _figures(text: str) -> dict[str, float]:
    return {name: np.nan if value is None else value for name, value in json.loads(text).items()}


def _finite(figures: Mapping[str, float]) -> dict[str, float | None]:
    return {name: float(value) if np.isfinite(value) else None for name, value in figures.items()}


# --- marks ------------------------------------------------------------------------------------------


_MARK = "mark, kind, position_from_m, position_to_m, content, withdrawn, act, decided_by, decided_us"


def marks(db: sqlite3.Connection, act: int | None = None) -> dict[str, Mark]:
    """Id -> the mark as it is now, or as it was after an act; withdrawn ones too, in order of position."""
    if version_of(db) < _SINCE_VERSION:
        return {}
    limit = np.iinfo(np.int64).max if act is None else act
    found = db.execute(
        f"SELECT {_MARK} FROM mark JOIN act ON act.number = act WHERE (mark, act) IN"
        " (SELECT mark, max(act) FROM mark WHERE act <= ? GROUP BY mark)"
        " ORDER BY position_from_m, CAST(substr(mark, 2) AS INTEGER)",
        (int(limit),),
    )
    return {row[0]: _mark(row) for row in found}


def mark_versions(db: sqlite3.Connection, name: str) -> tuple[Mark, ...]:
    """Every version of a mark, the oldest first."""
    if version_of(db) < _SINCE_VERSION:
        return ()
    found = db.execute(
        f"SELECT {_MARK} FROM mark JOIN act ON act.number = act WHERE mark = ? ORDER BY act", (name,)
    )
    return tuple(_mark(row) for row in found)


def acts(db: sqlite3.Connection) -> tuple[Act, ...]:
    """Everything that was done to marks, the oldest first."""
    if version_of(db) < _SINCE_VERSION:
        return ()
    touched: dict[int, list[str]] = {}
    for number, name in db.execute(
        "SELECT act, mark FROM mark ORDER BY act, CAST(substr(mark, 2) AS INTEGER)"
    ):
        touched.setdefault(number, []).append(name)
    found = db.execute("SELECT number, what, decided_by, decided_us, reason, undoes FROM act ORDER BY number")
    return tuple(
        Act(number, what, who, when, reason, undoes, tuple(touched.get(number, ())))
        for number, what, who, when, reason, undoes in found
    )


def add_act(work: "Writing", act: Act, versions: Sequence[Mark]) -> tuple[Mark, ...]:
    """Append an act with the marks as it leaves them; a mark without id gets the next. The marks as stored."""
    number = work.db.execute(
        "INSERT INTO act (what, decided_by, decided_us, reason, undoes) VALUES (?, ?, ?, ?, ?)",
        (act.what, act.decided_by, work.now_us, act.reason, act.undoes),
    ).lastrowid
    (highest,) = work.db.execute(
        "SELECT coalesce(max(CAST(substr(mark, 2) AS INTEGER)), 0) FROM mark"
    ).fetchone()
    names = []
    for one in versions:
        if not one.id:
            highest += 1
        names.append(one.id or f"M{highest}")
        work.db.execute(
            "INSERT INTO mark VALUES (?, ?, ?, ?, ?, ?, ?)",
            (
                *(number, names[-1], one.kind, float(one.position_from_m), float(one.position_to_m)),
                *(_json(_content(one)), int(one.withdrawn)),
            ),
        )
    now = marks(work.db)
    return tuple(now[name] for name in names)


_NUMBERS = ("from_u95_m", "to_u95_m", "dip_deg", "dip_direction_deg")
_TEXTS = ("confidence", "note", "ground")
_LISTS = ("findings", "photos")


def _content(one: Mark) -> dict[str, Any]:
    told: dict[str, Any] = _finite({name: getattr(one, name) for name in _NUMBERS})
    told |= {name: getattr(one, name) for name in _TEXTS}
    told |= {name: list(getattr(one, name)) for name in _LISTS}
    return {name: value for name, value in told.items() if value not in _MISSING}


def _mark(row: tuple[Any, ...]) -> Mark:
    name, kind, low_m, high_m, content, withdrawn, act, who, when = row
    told: dict[str, Any] = json.loads(content)
    told |= {key: tuple(told[key]) for key in _LISTS if key in told}
    told |= {"id": name, "version": act, "decided_by": who, "decided_us": when, "withdrawn": bool(withdrawn)}
    return Mark(kind, low_m, high_m, **told)


# --- sign-offs --------------------------------------------------------------------------------------


def sign_offs(db: sqlite3.Connection, every: bool = False) -> tuple[SignOff, ...]:
    """The sign-off of each shift that has one, by shift; every: all that were ever given, the oldest first."""
    if version_of(db) < _SINCE_VERSION:
        return ()
    found = db.execute(
        "SELECT shift_start_us, decided_by, decided_us, note, open, seen, withdrawn"
        f" FROM {'signoff ORDER BY number' if every else 'current_signoff ORDER BY shift_start_us'}"
    )
    return tuple(
        SignOff(start, who, when, note, tuple(json.loads(open_)), json.loads(seen), bool(withdrawn))
        for start, who, when, note, open_, seen, withdrawn in found
    )


def add_sign_off(work: "Writing", one: SignOff) -> None:
    """Append a sign-off of a shift, or that it is taken back."""
    work.db.execute(
        "INSERT INTO signoff (shift_start_us, decided_by, decided_us, note, open, seen, withdrawn)"
        " VALUES (?, ?, ?, ?, ?, ?, ?)",
        (
            *(int(one.shift_start_us), one.decided_by, work.now_us, one.note),
            *(_json(list(one.open)), _json(dict(one.seen)), int(one.withdrawn)),
        ),
    )


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
