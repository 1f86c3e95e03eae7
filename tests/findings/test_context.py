"""What the operator did: found where it was done, told in a sentence, and counted."""

from dataclasses import replace

import numpy as np
import pytest

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.domain.site import DISC_CHANGES, site_column
from tbmreview.domain.states import State
from tbmreview.domain.table import Table
from tbmreview.drive.detect import profile_of
from tbmreview.findings.context import FIGURES, Doings, changes_of_level, with_context
from tbmreview.findings.detector import Profile
from tests.support.bored import bored
from tests.support.cells import HOUR_US, START_US, delays_of, periods_of

USUAL = FindingSettings()
STEADY = (30.0, 225.0, 7.0)
FINDING = Finding("FPI low", 20.0, 40.0, 0, 1, 5.0, "Evidence.")


def even(*grounds: tuple[float, ...], ring_every: int = 0) -> Profile:
    return profile_of(bored(*grounds, noise=0.0, ring_every=ring_every))


def told(profile: Profile) -> str:
    (found,) = with_context([FINDING], profile, USUAL)
    return found.evidence.removeprefix("Evidence. ")


def test_where_nothing_was_done_that_is_said() -> None:
    quiet = even(STEADY, STEADY)
    assert told(quiet) == (
        "Thrust, head speed and reaction stayed as they were within it (disc changes are not stated)."
    )
    stated = replace(
        quiet, site=delays_of((START_US, START_US + 1, "belt")), position_at=lambda us: us * np.nan
    )
    assert told(stated) == "Thrust, head speed, discs and reaction stayed as they were within it."
    (found,) = with_context([FINDING], quiet, USUAL)
    assert all(found.figures[name] == 0 for name in FIGURES.values())


def test_thrust_and_head_speed_set_anew_are_told_with_their_place() -> None:
    profile = even((30.0, 225.0, 7.0, 5.1), (30.0, 180.0, 7.0, 3.9))
    assert told(profile) == (
        "Within it: head speed set anew from 5.1 to 3.9 rpm at 4+210.0; net thrust went from 9000 to 7200 kN at 4+210.0."
    )


def test_without_drag_thrust_is_told_of_one_reaction() -> None:
    rows = even((30.0, 225.0, 7.0), (30.0, 150.0, 7.0), ring_every=2)
    unknown = rows.rows.with_columns({"net_thrust_kN": np.full(len(rows.rows), np.nan)})
    doings = Doings(replace(rows, rows=unknown), USUAL).within(20.0, 40.0)
    thrust = [d for d in doings if d.what == "thrust"]
    assert len(thrust) == 1
    assert thrust[0].words.startswith("thrust went from 9600 to 6600 kN")


def test_many_changes_are_counted() -> None:
    profile = even(STEADY, STEADY, ring_every=2)
    assert "reaction changed 15 times" in told(profile)


@pytest.mark.parametrize(("at", "there"), [(18.0, False), (18.6, True), (41.4, True), (42.0, False)])
def test_what_was_done_at_the_edge_counts(at: float, there: bool) -> None:
    profile = replace(even(STEADY, STEADY), bends_m=np.array([at]))
    assert ("a curve began or ended at" in told(profile)) == there


def test_a_restart_needs_a_long_stop() -> None:
    hours = np.array([0, 1, 1.5, 2.5, 5.7, 7]) * HOUR_US
    t = hours.astype(np.int64).tolist()
    periods = periods_of(
        (State.BORING, t[0], t[1]),
        (State.RING_BUILD, t[1], t[2]),
        (State.BORING, t[2], t[3]),
        (State.STANDING, t[3], t[4]),
        (State.BORING, t[4], t[5]),
        metres=33.0,
    )
    profile = replace(even(STEADY, STEADY), periods=periods)
    assert told(profile) == "Within it: boring restarted after 3.2 h at 4+200.0."


def test_discs_are_told_by_their_table_or_by_delays_that_say_so() -> None:
    quiet = replace(even(STEADY, STEADY), position_at=lambda us: us / 1e6)
    rows = {"time_us": [30_000_000, 30_000_000, 90_000_000], "disc": [1, 2, 3], "reason": [""] * 3,
            "wear_mm": [None] * 3, "note": [""] * 3}  # fmt: skip
    table = Table({name: site_column(DISC_CHANGES, name, values) for name, values in rows.items()})
    assert told(replace(quiet, site={DISC_CHANGES: table})) == "Within it: 2 discs changed at 4+210.0."
    delays = delays_of(
        (25_000_000, 1, "Disc change"), (31_000_000, 1, "transport"), (35_000_000, 1, "Rollenmeißel")
    )
    assert told(replace(quiet, site=delays)) == (
        "Within it: discs changed at 4+205.0; discs changed at 4+215.0."
    )


def test_changes_of_level_last_and_are_told_once() -> None:
    values = np.r_[np.full(30, 6.0), np.full(30, 5.0), np.full(30, 6.0)]
    values[[5, 45]] = 60.0  # a spike is no change of level
    values[50] = np.nan
    assert changes_of_level(values, 1.06) == [(30, 6.0, 5.0), (60, 5.0, 6.0)]
    assert changes_of_level(values, 1.3) == []
    assert changes_of_level(values[:15], 1.06) == []
    assert changes_of_level(np.full(40, np.nan), 1.06) == []


def test_of_no_rows_nothing_is_told() -> None:
    nothing = even(STEADY).of_rows(np.zeros(300, bool))
    assert told(nothing).startswith("Thrust")
