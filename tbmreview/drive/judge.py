"""A person's verdict on findings: kept for ever, with name, time and note; the last one counts."""

from collections.abc import Mapping, Sequence
from datetime import datetime

import numpy as np

from tbmreview.domain.errors import DriveError, Overtaken, UsageError
from tbmreview.domain.findings import OPEN, SET_ASIDE, VERDICTS, Finding
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.table import Table
from tbmreview.drive.delays import texts
from tbmreview.drive.detect import detect
from tbmreview.drive.history import person
from tbmreview.drive.opened import Drive
from tbmreview.store import judged
from tbmreview.store.judged import ChangeSeen
from tbmreview.store.writing import writing


def judge(
    drive: Drive,
    names: Sequence[str],
    verdict: str,
    note: str = "",
    who: str = "",
    seen_us: Mapping[str, int | None] | None = None,
) -> tuple[Finding, ...]:
    """Give findings a verdict; the findings as judged, in the order of names.

    verdict: open, agreed or set aside; one set aside needs a note, since it stays visible for ever. who: by
    default the person at the computer. seen_us: of each finding, when the verdict that the person was looking at
    was given (None: there was none); Overtaken if another has been given since, and nothing is written.
    UsageError for a wrong verdict; DriveError where no finding has the name.
    """
    verdict, note = _verdict(verdict), one_line(note)
    if verdict == SET_ASIDE and not note:
        raise UsageError("setting a finding aside needs a reason: --note TEXT")
    detect(drive)
    names = [normal(name) for name in names]
    by = who.strip() or person()
    with writing(drive.folder, person()) as work:
        known = {f.id: f for f in (*judged.findings(work.db), *judged.findings(work.db, gone=True))}
        for name in names:
            if name not in known:
                raise DriveError(f"{drive.folder}: no finding is called {name}; {_there(known)}")
            if seen_us is not None and known[name].decided_us != seen_us.get(name):
                raise Overtaken(_overtaken(known[name], drive))
        for name in names:
            judged.add_verdict(work, name, verdict, note, by)
        work.record("verdict", {"findings": names, "verdict": verdict, "by": by})
        known = {f.id: f for f in (*judged.findings(work.db), *judged.findings(work.db, gone=True))}
    return tuple(known[name] for name in names)


def one_line(text: str) -> str:
    """Free text in one line: what a person pastes has line breaks, tables and sheets have rows."""
    return " ".join(text.split())


def normal(name: str) -> str:
    """'f12' -> 'F012', as findings are called; another text as it is."""
    digits = name.strip().lstrip("fF")
    return f"F{int(digits):03d}" if digits.isdecimal() else name.strip()


def _verdict(text: str) -> str:
    folded = " ".join(text.replace("-", " ").replace("_", " ").split()).casefold()
    if folded not in VERDICTS:
        raise UsageError(f"verdict '{text}': expected one of {', '.join(VERDICTS)}")
    return folded


def _there(known: Mapping[str, Finding]) -> str:
    names = sorted(known)
    return f"there is {names[0]} to {names[-1]}" if names else "there is none"


def _overtaken(now: Finding, drive: Drive) -> str:
    if now.decided_us is None:
        return f"{now.id} has no verdict any more; look again"
    at = datetime.fromtimestamp(now.decided_us / MICROSECONDS, drive.setup.drive.zone)
    return (
        f"{now.id} was judged '{now.verdict}' by {now.decided_by} at {at:%Y-%m-%d %H:%M:%S}, while you looked at an "
        "older state; nothing was written, look again and decide anew"
    )


def verdict_table(drive: Drive) -> Table:
    """Every verdict that was given, the oldest first: id, verdict, decided_by, decided_utc, note."""
    given = drive.judgements()
    return Table(
        {
            "id": texts([j.finding for j in given]),
            "verdict": texts([j.verdict for j in given]),
            "decided_by": texts([j.decided_by for j in given]),
            "decided_utc": np.array([j.decided_us for j in given], np.int64),
            "note": texts([j.note for j in given]),
        }
    )


def change_text(change: ChangeSeen, drive: Drive) -> str:
    """'Since 2030-05-02 08:10: 2 new (F013, F014), 1 gone (F004), F007 moved (start 1.2 m, end 0.0 m).'"""
    at = datetime.fromtimestamp(change.when_us / MICROSECONDS, drive.setup.drive.zone)
    said = [
        f"{len(ids)} {what} ({', '.join(ids)})"
        for what, ids in (("new", change.new), ("gone", change.gone))
        if ids
    ]
    said += [f"{name} moved (start {low:+.1f} m, end {high:+.1f} m)" for name, low, high in change.moved]
    what = "; ".join(said) or "evidence or strength of some"
    return f"changed at {at:%Y-%m-%d %H:%M} ({change.who}): {what}"


def counts_text(found: Sequence[Finding]) -> str:
    """'12 findings: 9 open, 2 agreed, 1 set aside'."""
    counts = {verdict: sum(f.verdict == verdict for f in found) for verdict in (OPEN, *VERDICTS[1:])}
    told = ", ".join(f"{n} {verdict}" for verdict, n in counts.items() if n)
    return (
        f"{len(found)} {'finding' if len(found) == 1 else 'findings'}: {told}"
        if found
        else "nothing to judge"
    )
