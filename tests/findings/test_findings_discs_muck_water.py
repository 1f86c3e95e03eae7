"""Muck, water and discs: what is told, where, and what is not."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.domain.setup import Machine
from tbmreview.domain.site import DISC_CHANGES, empty_site_table
from tbmreview.domain.station import Axis
from tbmreview.domain.table import Table
from tbmreview.findings.detector import MUCK, Profile
from tbmreview.findings.disc_wear import creeping, over_distance, robust_slope
from tbmreview.findings.doubts import with_doubts
from tbmreview.findings.inflow import rises, water
from tbmreview.findings.muck import off_balance
from tbmreview.findings.registry import DETECTORS
from tests.support.cells import HOUR_US, MACHINE, START_US, ground_of

SETTINGS = FindingSettings()
NONE = Table({})


def texts(*values: str) -> np.ndarray:
    return np.array([*values, ""], dtype=object)[:-1]


def profile(rows: Table = NONE, machine: Machine = MACHINE, **more: object) -> Profile:
    return Profile(rows, lambda _: {}, Axis(4180.0, 1), machine=machine, **more)  # type: ignore[arg-type]


# --- muck ---------------------------------------------------------------------------------------


def rings_of(*surplus: float) -> Table:
    """Rings of 1.5 m, 120 t of rock each; flagged where three in a row are more than 10 % over or under."""
    pct = np.array(surplus)
    flag = np.full(len(pct), "", object)
    for i in range(len(pct) - 2):
        if abs(np.sign(pct[i : i + 3]).sum()) == 3 and np.abs(pct[i : i + 3]).min() > 10:
            flag[i : i + 3] = "surplus" if pct[i] > 0 else "deficit"
    low = 1.5 * np.arange(len(pct))
    at = START_US + np.arange(len(pct), dtype=np.int64) * HOUR_US
    columns = {
        "ring": 1421.0 + np.arange(len(pct)), "ring_source": texts(*["counted"] * len(pct)),
        "position_from_m": low, "position_to_m": low + 1.5, "start_utc": at, "end_utc": at + HOUR_US,
        "bored_t": np.full(len(pct), 120.0), "belt_t": 120 * (1 + pct / 100), "surplus_pct": pct, "flag": flag,
    }  # fmt: skip
    return Table(columns)


def test_rings_beyond_tolerance_are_one_finding_that_proves_nothing() -> None:
    (found,) = off_balance(profile(rings=rings_of(1, 2, 30, 20, 25, 0, -1)), SETTINGS)
    assert (found.kind, found.position_from_m, found.position_to_m) == ("muck surplus", 3.0, 7.5)
    assert found.figures["surplus_t"] == pytest.approx(90)
    assert "450 t where 360 t" in found.evidence
    assert "25 % more" in found.evidence
    assert "rings 1423 to 1425" in found.evidence
    assert "never proves" in found.evidence
    assert "excludes no cavity" in found.evidence


def test_a_deficit_is_another_finding_and_a_balance_within_tolerance_none() -> None:
    found = off_balance(profile(rings=rings_of(30, 20, 25, -20, -20, -20)), SETTINGS)
    assert [f.kind for f in found] == ["muck surplus", "muck deficit"]
    assert off_balance(profile(rings=rings_of(1, 2, 9, 12, 3)), SETTINGS) == []
    assert off_balance(profile(), SETTINGS) == []


def test_what_is_usual_in_a_drive_stands_out_only_if_all_of_it_is_off() -> None:
    assert off_balance(profile(rings=rings_of(5, 5, 4, 11, 12, 11, 5, 4, 5)), SETTINGS) == []
    (found,) = off_balance(profile(rings=rings_of(31, 30, 32, 29, 33)), SETTINGS)
    assert "in the median of the drive it is +31 %" in found.evidence


def test_slivers_between_ring_numbers_have_no_balance() -> None:
    rings = rings_of(1, 2, 1, 2, 30, 20, 25)
    low = np.r_[rings["position_from_m"][:4], 6.0, 6.01, 6.02]
    high = np.r_[rings["position_to_m"][:4], 6.01, 6.02, 6.03]
    assert (
        off_balance(
            profile(rings=rings.with_columns({"position_from_m": low, "position_to_m": high})), SETTINGS
        )
        == []
    )


# --- water --------------------------------------------------------------------------------------


def test_inflow_that_rises_and_falls_back() -> None:
    mean = np.r_[np.full(20, 90.0), 150, 400, 900, 500, 200, np.full(20, 95.0)]
    assert list(rises(mean, SETTINGS)) == [(21, 24, 90.0)]


def test_inflow_that_stays_is_usual_after_two_days() -> None:
    mean = np.r_[np.full(20, 90.0), np.full(200, 400.0), np.full(20, 90.0)]
    assert list(rises(mean, SETTINGS)) == [(20, 67, 90.0)]


def test_a_dry_tunnel_needs_some_litres_more_and_a_beginning_hours_before() -> None:
    assert list(rises(np.r_[np.zeros(20), np.full(5, 50.0)], SETTINGS)) == []
    assert list(rises(np.r_[10.0, 500.0, 500.0], SETTINGS)) == []


def water_of(*rows: tuple[str, float, float, float]) -> Table:
    source, low, high, inflow = zip(*rows, strict=True)
    return Table(
        {
            "source": texts(*source),
            "position_from_m": np.array(low),
            "position_to_m": np.array(high),
            "inflow_10m_l_min": np.array(inflow),
            "water_class": texts(*["flowing"] * len(rows)),
            "water_scheme": texts(*["RMR 1989"] * len(rows)),
        }
    )


def test_stretches_over_the_class_are_joined_by_source_and_only_where_bored() -> None:
    bored = rows_of(np.full(40, 30.0))
    known = water_of(
        ("site", 10, 20, 200), ("site", 20, 30, 150), ("site", 40, 50, 20), ("mapped ground", 12, 18, 180), ("site", 900, 910, 500)
    )  # fmt: skip
    found = water(profile(bored, water=known), SETTINGS)
    assert [(f.kind, f.position_from_m, f.position_to_m) for f in found] == [
        ("inflow high", 10.0, 30.0),
        ("inflow high", 12.0, 18.0),
    ]
    assert "200 l/min over 10 m" in found[0].evidence
    assert "as the site measured it" in found[0].evidence
    assert "hours old" in found[0].evidence


# --- discs --------------------------------------------------------------------------------------


def rows_of(fpi: np.ndarray, reaction: int = 1) -> Table:
    """A stroke of 1.5 m for each FPI, fifteen rows each, 8 mm a turn."""
    rng = np.random.default_rng(5)
    n = 15 * len(fpi)
    low = 0.1 * np.arange(n)
    start = (
        START_US
        + np.repeat(np.arange(len(fpi)), 15) * HOUR_US
        + np.tile(np.arange(15), len(fpi)) * 60_000_000
    )
    noisy = np.repeat(fpi, 15) * np.exp(rng.normal(0, 0.05, n))
    return Table(
        {
            "position_from_m": low,
            "position_to_m": low + 0.1,
            "start_us": start.astype(np.int64),
            "end_us": start.astype(np.int64) + 60_000_000,
            "advance_m": np.full(n, 0.1),
            "penetration_mm_rev": np.full(n, 8.0),
            "reaction": np.full(n, reaction, np.int8),
            "net_fpi_kN_per_mm_rev": noisy,
            "fpi_kN_per_mm_rev": noisy,
        }
    )


def changed_at(*strokes: int) -> dict[str, Table]:
    """Disc 7 changed before these strokes."""
    table = empty_site_table(DISC_CHANGES)
    blank = {
        name: np.repeat(texts("") if c.dtype == object else np.zeros(1, c.dtype), len(strokes))
        for name, c in table.columns.items()
    }
    times = np.array([START_US + s * HOUR_US - 1 for s in strokes], np.int64)
    return {DISC_CHANGES: Table({**blank, "time_us": times, "disc": np.full(len(strokes), 7)})}


GNEISS = ground_of((0.0, 500.0, "gneiss"))


def crept(fpi: np.ndarray, *changes: int, ground: Table = GNEISS) -> list[Finding]:
    rows = rows_of(fpi)
    strokes = Table({"stroke_start_us": START_US + np.arange(len(fpi), dtype=np.int64) * HOUR_US - 1000})
    return creeping(profile(rows, strokes=strokes, site=changed_at(*changes), ground=ground), SETTINGS)


def test_fpi_that_creeps_up_since_a_change_is_told_with_its_slope() -> None:
    wears = np.r_[np.full(10, 25.0), 25 * np.exp(np.linspace(0, 0.3, 40)), np.full(10, 25.0)]
    (found,) = crept(wears, 10, 50)
    assert found.kind == "FPI creeping up"
    assert (round(found.position_from_m), round(found.position_to_m)) == (15, 75)
    assert found.figures["rise_pct"] == pytest.approx(100 * (np.exp(0.3) - 1), rel=0.1)
    turns = 39 * 1500 / 8
    assert found.figures["rolling_km"] == pytest.approx(
        2 * np.pi * 1.5 * turns / 1000, rel=0.02
    )  # bore of 6 m
    assert "ground that slowly gets harder" in found.evidence


def test_fpi_that_steps_or_stays_does_not_creep() -> None:
    assert crept(np.r_[np.full(30, 25.0), np.full(30, 40.0)], 1) == []
    assert crept(np.full(60, 25.0), 1) == []


def test_a_rise_across_a_change_of_ground_or_of_discs_is_none() -> None:
    rising = 25 * np.exp(np.linspace(0, 0.5, 60))
    assert len(crept(rising, 1)) == 1
    ground = ground_of(*((15.0 * i, 15.0 * i + 15, f"ground {i}") for i in range(6)))
    assert crept(rising, 1, ground=ground) == []
    assert crept(rising, *range(1, 60, 10)) == []


def test_without_a_table_of_changes_nothing_is_said_of_discs() -> None:
    rows = rows_of(25 * np.exp(np.linspace(0, 0.5, 60)))
    assert creeping(profile(rows, ground=GNEISS), SETTINGS) == []


def test_without_a_map_nobody_says_that_the_ground_is_unchanged() -> None:
    assert crept(25 * np.exp(np.linspace(0, 0.5, 60)), 1, ground=ground_of()) == []


def test_the_robust_slope_is_that_of_scipy() -> None:
    """Theil and Sen, Mann and Kendall, against scipy.stats."""
    rng = np.random.default_rng(8)
    x = np.cumsum(rng.uniform(0.5, 2, 40))
    y = 0.02 * x + rng.standard_t(2, 40) * 0.1
    slope, score = robust_slope(x, y)
    assert slope == pytest.approx(scipy.stats.theilslopes(y, x).slope)
    tau = scipy.stats.kendalltau(x, y, method="asymptotic")
    assert score == pytest.approx(scipy.stats.norm.isf(tau.pvalue / 2), rel=1e-6)


def worn_of(used: list[float], source: str = "drive.toml") -> Table:
    n = len(used)
    return Table(
        {
            "disc": np.arange(1.0, n + 1), "rolling_km": 400 * np.array(used), "limit_km": np.full(n, 400.0),
            "limit_source": texts(*[source] * n), "used_share": np.array(used),
            "installed_utc": np.full(n, START_US), "installed_chainage_m": np.full(n, 4185.0),
        }
    )  # fmt: skip


def test_discs_over_their_stated_distance_are_one_finding_the_worst_first() -> None:
    rows = rows_of(np.full(4, 25.0))
    (found,) = over_distance(profile(rows, worn=worn_of([0.4, 1.02, np.nan, 1.3])), SETTINGS)
    assert found.figures["discs"] == 2
    assert found.evidence.index("disc 4 520 km of 400 km") < found.evidence.index("disc 2 408 km")
    usual = worn_of([1.5, 1.2], source="usual, 4 discs of all positions")
    assert over_distance(profile(rows, worn=usual), SETTINGS) == []
    half = replace(SETTINGS, discs_used_share=0.3)
    assert over_distance(profile(rows, worn=worn_of([0.4, 0.2])), half)[0].figures["discs"] == 1


# --- doubts -------------------------------------------------------------------------------------


def test_a_finding_made_of_a_doubtful_reading_says_so() -> None:
    from tbmreview.findings.health import SERIES

    muck = Finding("muck surplus", 10, 20, 1000, 2000, 1.0, "More muck.")
    belt = Finding(
        "unit jump", 12, 14, 1500, 1600, 1.0, "Belt.", {"series": float(SERIES.index("belt_rate_t_h"))}
    )
    torque = replace(belt, figures={"series": float(SERIES.index("torque_kNm"))})
    later = replace(belt, start_us=3000, end_us=4000)
    assert with_doubts([muck, belt], DETECTORS)[0].evidence.endswith("in doubt: belt rate (unit jump).")
    assert with_doubts([muck, torque, later], DETECTORS)[0] == muck
    assert {d.family for d in DETECTORS if "muck surplus" in d.kinds} == {MUCK}
