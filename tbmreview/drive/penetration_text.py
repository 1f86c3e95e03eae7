"""Penetration tests as text and as tables."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Protocol
from zoneinfo import ZoneInfo

import numpy as np

from tbmreview.domain.samples import MICROSECONDS
from tbmreview.domain.table import Table
from tbmreview.drive.export import text_table
from tbmreview.drive.fits_text import AS_KEPT, CHANGED
from tbmreview.drive.penetration_curve import PenetrationCurve
from tbmreview.drive.penetration_tests import PenetrationTest, Tested, data_changed, kept_test
from tbmreview.store.fits import KeptFit

CAUTION = (
    "a test holds for the face, the discs and the head speed with which it was done; loads beyond those applied were "
    "not tested, and no load is advised"
)
NONE_FOUND = "no penetration test is found in the samples: four loads or more, each held for 90 s or more, with one head speed"
_SHOWN = (
    *("start_utc", "chainage_from_m", "seconds", "disc_load_kN", "net_disc_load_kN"),
    *("head_speed_rpm", "revolutions", "penetration_mm_rev", "fitted_mm_rev"),
)
_NOT_KEPT = "not kept"


class KeepingTests(Tested, Protocol):
    """A drive that keeps tests."""

    def kept_tests(self) -> tuple[KeptFit, ...]:
        """The last test of each name."""


def loads_table(test: PenetrationTest) -> Table:
    """The loads of a test with how long each was held [s] and, where there is a critical load, the penetration that
    the curve tells [mm/rev]."""
    seconds = (test.loads["end_utc"] - test.loads["start_utc"]) / MICROSECONDS
    nothing = np.full(len(seconds), np.nan)
    fitted = nothing if test.curve is None else test.curve.penetration(test.load_kN)
    return test.loads.with_columns({"seconds": seconds, "fitted_mm_rev": fitted})


def table_of(tests: Sequence[tuple[str, PenetrationTest, str]]) -> Table:
    """A row for each (name, test, state of its data)."""
    rows = [_row(*one) for one in tests]
    names = list(rows[0]) if rows else ["test", "start_utc", "end_utc"]
    kinds = {str: object, int: np.int64, float: np.float64}
    return Table(
        {n: np.array([row[n] for row in rows], kinds[type(rows[0][n])] if rows else object) for n in names}
    )


def _row(name: str, test: PenetrationTest, state: str) -> dict[str, Any]:
    loads, curve, robust = test.loads, test.curve, test.robust
    told = {
        column: np.nan if curve is None else float(getattr(curve, column))
        for column in (
            *("slope", "slope_low", "slope_high"),
            *("critical_load_kN", "critical_load_low_kN", "critical_load_high_kN", "residual_sd"),
        )
    }
    return {
        "test": name,
        "start_utc": test.start_us,
        "end_utc": test.end_us,
        "chainage_from_m": float(loads["chainage_from_m"][0]),
        "chainage_to_m": float(loads["chainage_to_m"][-1]),
        "origin": test.origin,
        "load": "gross" if test.gross else "net",
        "loads": float(len(loads)),
        "least_load_kN": float(test.load_kN.min()),
        "greatest_load_kN": float(test.load_kN.max()),
        "head_speed_rpm": float(np.median(loads["head_speed_rpm"])),
        **told,
        "robust_slope": np.nan if robust is None else float(robust.slope),
        "robust_critical_load_kN": np.nan if robust is None else float(robust.critical_load_kN),
        "refused": test.refused or ("" if curve is None else curve.said),
        "discs": test.discs,
        "data": state,
        "fingerprint": test.fingerprint,
    }


def text_of(test: PenetrationTest, zone: ZoneInfo) -> str:
    """A test for a terminal: its loads, the curve, what cannot be said."""
    return "\n".join(
        [
            f"{test.origin}: {_span(test, zone)}; discs: {test.discs or 'not noted'}",
            "",
            text_table(loads_table(test), zone, _SHOWN),
            "",
            *_curve_lines(test),
        ]
    )


def _curve_lines(test: PenetrationTest) -> list[str]:
    if test.curve is None:
        return [f"no curve: {test.refused}"]
    load = "gross" if test.gross else "net"
    lines = [f"penetration = (Fn {load} / F1)^b, controlled, {test.curve.points} loads"]
    lines.append(f"  ordinary least squares: {_numbers(test.curve)}")
    if test.robust is not None:
        lines.append(f"  robust (Huber):         {_numbers(test.robust)}")
    if test.gross:
        lines.append("  gross: the load holds drag, which does not cut")
    return [
        *lines,
        "  in brackets: 95 %, Student's t with loads - 2 degrees of freedom; of F1 by Fieller's theorem",
    ]


def _numbers(curve: PenetrationCurve) -> str:
    slope = f"b {curve.slope:.2f} ({curve.slope_low:.2f} to {curve.slope_high:.2f})"
    if curve.said:
        return f"{slope}; {curve.said}"
    ends = f"{curve.critical_load_low_kN:.0f} to {curve.critical_load_high_kN:.0f}"
    return f"{slope}, critical load F1 {curve.critical_load_kN:.0f} kN ({ends})"


def _span(test: PenetrationTest, zone: ZoneInfo) -> str:
    """'2030-05-02 08:30:00 to 2030-05-02 08:44:10', as --from-time and --to-time take it."""
    ends = (datetime.fromtimestamp(us / MICROSECONDS, zone) for us in (test.start_us, test.end_us))
    return " to ".join(f"{at:%Y-%m-%d %H:%M:%S}" for at in ends)


def all_tests(
    drive: KeepingTests, found: Sequence[PenetrationTest]
) -> list[tuple[str, PenetrationTest, str]]:
    """(name, test, state of its data) of those that are kept, then of those found that none of the kept covers."""
    kept = [(one, kept_test(one)) for one in drive.kept_tests()]
    told = [(one.name, test, CHANGED if data_changed(drive, one) else AS_KEPT) for one, test in kept]
    return told + [
        ("", test, _NOT_KEPT) for test in found if not any(_same(test, other) for _, other in kept)
    ]


def _same(one: PenetrationTest, other: PenetrationTest) -> bool:
    return one.start_us < other.end_us and one.end_us > other.start_us


def text_of_all(drive: KeepingTests, found: Sequence[PenetrationTest], zone: ZoneInfo) -> str:
    """Tests kept and found, for a terminal."""
    kept = {one.name: one for one in drive.kept_tests()}
    lines: list[str] = []
    for name, test, state in all_tests(drive, found):
        if name:
            by = kept[name]
            when = datetime.fromtimestamp(by.decided_us / MICROSECONDS, zone)
            note = f"; {by.note}" if by.note else ""
            lines.append(f"{name}: kept by {by.decided_by}, {when:%Y-%m-%d %H:%M}; {state}{note}")
        lines += [text_of(test, zone), ""]
    if not found:
        lines += [NONE_FOUND, ""]
    return "\n".join([*lines, CAUTION])
