"""Signing a shift off: that its data were reviewed, by whom, when, and what was open; what changed since is told."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np

from tbmreview.domain.errors import DriveError, Overtaken, UsageError
from tbmreview.domain.findings import OPEN, Finding
from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.shifts import ShiftBounds, shifts_covering, utc_day
from tbmreview.domain.table import Table
from tbmreview.drive.delays import texts
from tbmreview.drive.detect import detect
from tbmreview.drive.history import person
from tbmreview.drive.opened import Drive
from tbmreview.drive.overrule import in_force
from tbmreview.store.catalogue import Chunk
from tbmreview.store.judged import SignOff, add_sign_off, sign_offs
from tbmreview.store.writing import writing

MEANS = "A sign-off confirms that data were reviewed; it says nothing about support, entry or lining."

# What was seen -> how it is told when it is another by now. 'chunks' only says whether the samples need a look.
SEEN: dict[str, str] = {
    "samples": "the log",
    "machine": "the machine's setup",
    "motion": "thresholds of states and strokes",
    "thresholds": "thresholds of findings",
    "overrules": "overrules",
    "findings": "findings or verdicts",
}
_CHUNKS = "chunks"


def sign_off(drive: Drive, start_us: int, note: str = "", who: str = "", withdrawn: bool = False) -> SignOff:
    """Sign a shift off by its start (microseconds UTC), or take its sign-off back; what was kept.

    Open findings do not stand in the way: they are kept beside the name. DriveError where no shift of the drive
    begins then, where it is signed off already and nothing changed since, or there is nothing to take back;
    Overtaken where another signed it off meanwhile, or took that back.
    """
    shifts = _shifts(drive)
    if start_us not in shifts.start_us[:-1]:
        raise DriveError(f"{drive.folder}: no shift of the drive begins at {_when(drive, start_us)}")
    if withdrawn and not note.strip():
        raise UsageError("taking a sign-off back needs a reason: --note TEXT")
    before = signed(drive, start_us)
    if before is None and withdrawn:
        raise DriveError(f"{drive.folder}: the shift of {_when(drive, start_us)} is not signed off")
    if before is not None and not withdrawn and not changed_since(drive, before):
        raise DriveError(
            f"{drive.folder}: the shift of {_when(drive, start_us)} is signed off by {before.decided_by} already, and "
            "nothing changed since; --withdraw takes that back, with a reason"
        )
    detect(drive)  # so that the ids that are kept last
    found = _findings_in(drive, shifts, start_us)
    waiting = tuple(f.id for f in found if f.verdict == OPEN)
    one = SignOff(
        start_us, who.strip() or person(), 0, note.strip(), waiting, seen_now(drive, start_us), withdrawn
    )
    with writing(drive.folder, person()) as work:
        if _of_shift(sign_offs(work.db), start_us) != before:
            raise Overtaken(
                f"{drive.folder}: the sign-off of the shift of {_when(drive, start_us)} became another while you looked "
                "at it; nothing was written, look again"
            )
        add_sign_off(work, one)
        what = "sign-off taken back" if withdrawn else "sign-off"
        work.record(what, {"shift_start_us": start_us, "by": one.decided_by})
        return replace(one, decided_us=work.now_us)


def signed(drive: Drive, start_us: int) -> SignOff | None:
    """The sign-off of the shift that begins then, None where there is none."""
    return _of_shift(drive.sign_offs(), start_us)


def _of_shift(given: Sequence[SignOff], start_us: int) -> SignOff | None:
    return next((one for one in given if one.shift_start_us == start_us), None)


def stands(drive: Drive, start_us: int) -> bool:
    """Whether the shift that begins then has a sign-off, and all is as it was when that was given."""
    one = signed(drive, start_us)
    return one is not None and not changed_since(drive, one)


def changed_since(drive: Drive, one: SignOff) -> tuple[str, ...]:
    """What is no more as it was when the shift was signed off, in words; () where all is."""
    if _shift_end(drive, one.shift_start_us) is None:
        return ("the shift's bounds",)
    now = seen_now(drive, one.shift_start_us, one.seen)
    return tuple(words for name, words in SEEN.items() if now[name] != one.seen.get(name))


def signed_text(drive: Drive, one: SignOff) -> str:
    """'Data reviewed and signed off by Ida, 2030-05-03 09:12; open then: F004. Changed since: the log.'"""
    text = f"Data reviewed and signed off by {one.decided_by}, {_when(drive, one.decided_us)}"
    text += f"; open then: {', '.join(one.open)}." if one.open else "."
    text += f" Note: {one.note.rstrip('.')}." if one.note else ""
    changed = changed_since(drive, one)
    return text + (f" Changed since: {', '.join(changed)}." if changed else "")


def shifts_told(drive: Drive) -> list[tuple[int, str]]:
    """(start, '2030-05-02 early: not signed off, 2 findings open') of each shift with a record, the last first."""
    if drive.time_span_us is None:
        return []
    shifts, given = _shifts(drive), {one.shift_start_us: one for one in drive.sign_offs()}
    out = []
    for start, name, day in zip(shifts.start_us[:-1].tolist(), shifts.names, shifts.dates, strict=True):
        one = given.get(start)
        open_ = sum(f.verdict == OPEN for f in _findings_in(drive, shifts, start))
        state = f"signed off by {one.decided_by}" if one else "not signed off"
        out.append((start, f"{day} {name}: {state}, {open_} {'finding' if open_ == 1 else 'findings'} open"))
    return out[::-1]


def sign_off_table(drive: Drive, every: bool = False) -> Table:
    """The shifts that are signed off: shift_start_utc, shift, decided_by, decided_utc, open, changed, note.

    every: all that were ever given, the oldest first, with those replaced or taken back; `withdrawn` says 'yes'
    where one takes the sign-off of its shift back.
    """
    given = drive.sign_offs(every)
    names = _names(drive)
    return Table(
        {
            "shift_start_utc": np.array([one.shift_start_us for one in given], np.int64),
            "shift": texts([names.get(one.shift_start_us, "") for one in given]),
            "decided_by": texts([one.decided_by for one in given]),
            "decided_utc": np.array([one.decided_us for one in given], np.int64),
            "open": texts([" ".join(one.open) for one in given]),
            "changed": texts([", ".join(changed_since(drive, one)) for one in given]),
            "note": texts([one.note for one in given]),
            **({"withdrawn": texts(["yes" if one.withdrawn else "" for one in given])} if every else {}),
        }
    )


# --- what is seen -----------------------------------------------------------------------------------


def seen_now(drive: Drive, start_us: int, before: Mapping[str, str] | None = None) -> dict[str, str]:
    """Fingerprints of what a shift's review looks at. before: an earlier one; where its chunks are still those of
    now, the samples are not read again."""
    end_us = _shift_end(drive, start_us)
    if end_us is None:
        raise DriveError(f"{drive.folder}: no shift of the drive begins at {_when(drive, start_us)}")
    chunks = _hash([c.content_hash for c in _chunks(drive, start_us, end_us)])
    same = before is not None and before.get(_CHUNKS) == chunks
    setup, shifts = drive.setup, _shifts(drive)
    return {
        _CHUNKS: chunks,
        "samples": before["samples"] if same and before else _samples(drive, start_us, end_us),
        "machine": _hash(setup.machine),
        "motion": _hash(setup.motion),
        "thresholds": _hash(setup.findings),
        "overrules": _hash(
            [(o.what, o.start_us, o.end_us, o.value) for o in in_force(drive, (start_us, end_us))]
        ),
        "findings": _hash([(f.id, f.kind, f.verdict) for f in _findings_in(drive, shifts, start_us)]),
    }


def _samples(drive: Drive, start_us: int, end_us: int) -> str:
    samples = drive.samples(start_us, end_us)
    digest = hashlib.sha256(np.ascontiguousarray(samples.time_us).tobytes())
    for name, values in sorted(samples.values.items()):
        if np.isfinite(values).any():  # a channel that another part of the day has is none of this shift
            digest.update(name.encode() + np.ascontiguousarray(values, np.float64).tobytes())
    return digest.hexdigest()


def _chunks(drive: Drive, start_us: int, end_us: int) -> list[Chunk]:
    first, last = utc_day(np.array([start_us, end_us - 1], np.int64)).tolist()
    return [chunk for day, chunk in drive.days().items() if first <= day <= last]


def _findings_in(drive: Drive, shifts: ShiftBounds, start_us: int) -> list[Finding]:
    end_us = int(shifts.start_us[np.searchsorted(shifts.start_us, start_us, side="right")])
    found = [f for f in drive.stored_findings() if f.start_us < end_us and f.end_us > start_us]
    return sorted(found, key=lambda f: f.id)


def _hash(value: object) -> str:
    return hashlib.sha256(repr(value).encode()).hexdigest()


# --- shifts -----------------------------------------------------------------------------------------


def _shifts(drive: Drive) -> ShiftBounds:
    if drive.time_span_us is None:
        raise DriveError(f"{drive.folder}: no shift has a record yet")
    return shifts_covering(drive.setup, *drive.time_span_us)


def _names(drive: Drive) -> dict[int, str]:
    if drive.time_span_us is None:
        return {}
    shifts = _shifts(drive)
    return dict(zip(shifts.start_us[:-1].tolist(), shifts.names, strict=True))


def _shift_end(drive: Drive, start_us: int) -> int | None:
    starts = _shifts(drive).start_us.tolist()
    return starts[starts.index(start_us) + 1] if start_us in starts[:-1] else None


def _when(drive: Drive, time_us: int) -> str:
    return f"{datetime.fromtimestamp(time_us / MICROSECONDS, drive.setup.drive.zone):%Y-%m-%d %H:%M}"
