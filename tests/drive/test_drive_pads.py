"""Pads over a drive: sums that add whatever the grouping, what pushes and what holds, missing pads, setups."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tbmreview.domain.errors import DriveError, UsageError
from tbmreview.domain.pads import Pads
from tbmreview.domain.samples import DAY_US, Samples
from tbmreview.domain.setup import SINGLE_SHIELD
from tbmreview.domain.states import Reaction, State
from tbmreview.domain.table import Table, stack
from tbmreview.drive.pad_sums import logged_pads
from tbmreview.drive.pads import GROUPINGS, PadForces, pad_forces
from tbmreview.drive.pads_text import each_pad, pads_says, pads_text
from tests.support.cells import HOUR_US, TableDrive, drive_of, periods_of, setup_of, steady

DAY = 21_990
BEGIN_US = DAY * DAY_US + 20 * HOUR_US  # boring goes on past midnight
NAMES = tuple(f"extra:aux pad force {n} kN" for n in (1, 2, 3, 4))
PADS = Pads(angles_deg=(0.0, 90.0, 180.0, 270.0), radius_m=2.6, pushes="positive")
RUNS = (
    (State.BORING, 0.0, 1.0),  # periods end with their shift
    (State.BORING, 1.0, 2.0),
    (State.REGRIP, 2.0, 2.2),
    (State.RING_BUILD, 2.2, 3.0),
    (State.BORING, 3.0, 5.5),
    (State.STANDING, 5.5, 8.0),
)


@dataclass(frozen=True)
class Chunk:
    content_hash: str


@dataclass(frozen=True)
class Padded(TableDrive):
    """Two hours of boring on grippers, a regrip, a ring, then boring into the ring past midnight; samples each 10 s."""

    forces: tuple[Callable[[np.ndarray], np.ndarray], ...] = ()  # of hours since the beginning [kN]
    factor: float = 1.0  # what the log writes for 1 kN
    names: tuple[str, ...] = NAMES
    thrust: str = "aux_thrust_kN"  # channel of what the pads add up to; '': not logged
    content: str = "one"
    read: list[int] = field(default_factory=list)

    @property
    def channels(self) -> tuple[str, ...]:
        return (*self.names, "extra:Spare 7")

    def days(self) -> dict[int, Chunk]:
        return {DAY: Chunk(self.content), DAY + 1: Chunk(self.content)}

    def samples(self, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
        self.read.append(start_us // DAY_US)
        time_us = BEGIN_US + np.arange(8 * 360) * 10_000_000
        time_us = time_us[(time_us >= start_us) & (time_us < end_us)]
        hours = (time_us - BEGIN_US) / HOUR_US
        values = {n: self.factor * f(hours) for n, f in zip(self.names, self.forces, strict=True)}
        if self.thrust:
            values[self.thrust] = sum(np.nan_to_num(f(hours)) for f in self.forces)
        return Samples(time_us, {n: v for n, v in values.items() if channels is None or n in channels})


def level(low_kN: float, high_kN: float) -> Callable[[np.ndarray], np.ndarray]:
    """Low until the third hour, high while boring into the ring, low after it."""
    return lambda hours: np.where((hours >= 3) & (hours < 5.5), high_kN, low_kN)


EQUAL = tuple(level(300.0, 1500.0) for _ in range(4))
ONE_DOUBLED = (level(300.0, 1500.0), level(300.0, 3000.0), level(300.0, 1500.0), level(300.0, 1500.0))


def drive(folder: Path, forces: Sequence[object] = ONE_DOUBLED, pads: Pads = PADS, **more: object) -> Padded:
    setup = replace(setup_of(ring_length_m=1.5), pads=pads)
    at = [BEGIN_US + round(h * HOUR_US) for h in (0, 3)]
    axis = setup.drive.axis
    cells = stack(
        [
            steady(axis, (0.0, 1.5), rpm=1.5625, start_us=at[0]),  # 8 mm at 1.5625 rpm: 0.75 m/h
            steady(axis, (1.5, 3.0), rpm=1.25, start_us=at[1], reaction=Reaction.RING),
        ]
    )
    runs = [(state, BEGIN_US + round(a * HOUR_US), BEGIN_US + round(b * HOUR_US)) for state, a, b in RUNS]
    ends = [BEGIN_US, at[1], BEGIN_US + 8 * HOUR_US]
    rings = Table(
        {
            "ring": np.array([1, 2]),
            "position_from_m": np.array([0.0, 1.5]),
            "position_to_m": np.array([1.5, 3.0]),
            "start_us": np.array(ends[:-1]),
            "end_us": np.array(ends[1:]),
            "nominal": np.ones(2, np.int8),
        }
    )
    made = drive_of(setup, cells)
    return Padded(
        setup,
        cells,
        made.strokes,
        periods_of(*runs, metres=3.0),
        rings,
        folder=folder,
        forces=tuple(forces),
        **more,
    )  # type: ignore[arg-type]


def row(found: PadForces, doing: str) -> dict[str, object]:
    (at,) = np.flatnonzero(found.rows["doing"] == doing)
    return {name: found.rows[name][at] for name in found.rows}


def test_pushing_and_holding_apart_with_one_pad_doubled(tmp_path: Path) -> None:
    """Derived: 1500 kN more of 7500 kN at 2.6 m is 520 mm towards the pad at 90 deg."""
    of = drive(
        tmp_path,
        pads=replace(PADS, force_limit_kN=2500.0, eccentricity_limit_mm=400.0, least_total_kN=2000.0),
    )
    found = pad_forces(of, "drive")
    assert found.rows["doing"].tolist() == ["holding", "regripping", "ring building", "pushing"]
    pushing, holding = row(found, "pushing"), row(found, "holding")
    assert pushing["all_pads_s"] == pytest.approx(2.5 * 3600)
    assert holding["all_pads_s"] == pytest.approx(4.5 * 3600)
    assert pushing["total_kN"] == pytest.approx(7500)
    assert holding["total_kN"] == pytest.approx(1200)
    assert (pushing["eccentricity_mm"], pushing["eccentricity_deg"]) == (
        pytest.approx(520),
        pytest.approx(90),
    )
    assert pushing["eccentricity_right_mm"] == pytest.approx(520)
    assert holding["eccentricity_mm"] == pytest.approx(0, abs=1e-6)
    assert np.isnan(holding["eccentricity_deg"])
    assert pushing["eccentricity_of_limit"] == pytest.approx(1.3)
    assert pushing["eccentricity_max_mm"] == pytest.approx(520)
    assert np.isnan(holding["eccentricity_max_mm"])  # below least_total_kN
    assert (pushing["highest_pad"], pushing["highest_kN"], pushing["highest_of_limit"]) == ("2", 3000, 1.2)
    assert (pushing["pad_1_kN"], pushing["pad_2_max_of_limit"]) == (pytest.approx(1500), 1.2)
    assert (pushing["chainage_from_m"], pushing["chainage_to_m"]) == (
        pytest.approx(4181.5),
        pytest.approx(4183),
    )
    each = each_pad(of, found.pads)
    assert each["pad_pushing_kN"] == pytest.approx([1500, 3000, 1500, 1500])
    assert each["pad_holding_max_kN"].tolist() == [300] * 4
    assert each["pad_pushing_max_of_limit"] == pytest.approx([0.6, 1.2, 0.6, 0.6])
    said = "\n".join(pads_says(of, found))
    assert "greatest force of a pad: 1.20 of the limit of 2500 (force_limit_kN); rows over it: 1" in said
    assert "the pads add up to 1.000 of the logged auxiliary thrust" in said
    assert "The limits are the segment designer's." in said
    assert "nor to pass a limit. Local codes and licensed practice come first." in said


def test_equal_pads_have_no_eccentricity_and_without_limits_there_are_no_shares(tmp_path: Path) -> None:
    of = drive(tmp_path, EQUAL)
    found = pad_forces(of, "drive")
    assert found.rows["eccentricity_mm"] == pytest.approx([0.0] * 4, abs=1e-6)
    assert np.isnan(found.rows["highest_of_limit"]).all()
    said = "\n".join(pads_says(of, found))
    assert "no limit is given: [pads] force_limit_kN, from the segment designer" in said
    assert "no limit is given: [pads] eccentricity_limit_mm" in said
    assert "least_total_kN" in said


@pytest.mark.parametrize("by", GROUPINGS)
def test_sums_and_rows_hold_the_whole_whatever_the_grouping(by: str, tmp_path: Path) -> None:
    """Against the samples themselves: each stands for ten seconds."""
    rng = np.random.default_rng(5)
    noise = rng.uniform(100, 2000, (4, 8 * 360))
    forces = [lambda hours, n=n: noise[n, np.rint(hours * 360).astype(int)] for n in range(4)]
    rows = pad_forces(drive(tmp_path, forces), by).rows
    for n in range(4):
        mean, greatest = rows[f"pad_{n + 1}_kN"], rows[f"pad_{n + 1}_max_kN"]
        assert (mean * rows["all_pads_s"]).sum() == pytest.approx(noise[n].sum() * 10)
        assert greatest.max() == noise[n].max()
    assert rows["all_pads_s"].sum() == pytest.approx(8 * 3600)
    assert (rows["total_kN"] * rows["all_pads_s"]).sum() == pytest.approx(noise.sum() * 10)
    moment = np.nansum(rows["eccentricity_right_mm"] * rows["total_kN"] * rows["all_pads_s"])
    assert moment == pytest.approx(2600 * 10 * (noise[1] - noise[3]).sum())


def test_a_sample_across_a_ring_is_divided_and_its_greatest_goes_to_both(tmp_path: Path) -> None:
    """At 4 h one sample of 9000 kN; the ring changes 3 s later, the next sample comes after 10 s."""
    spike = (lambda hours: np.where(np.abs(hours - 4) < 1e-4, 9000.0, 0.0), *EQUAL[1:])
    of = drive(tmp_path, spike)
    at_us = BEGIN_US + 4 * HOUR_US + 3_000_000
    times = {"start_us": np.array([BEGIN_US, at_us]), "end_us": np.array([at_us, BEGIN_US + 8 * HOUR_US])}
    rows = pad_forces(replace(of, rings=of.rings.with_columns(times)), "ring").rows
    rows = rows.rows(rows["doing"] == "pushing")
    assert rows["all_pads_s"] == pytest.approx([3603, 5397])
    assert rows["pad_1_kN"] * rows["all_pads_s"] == pytest.approx([27_000, 63_000])
    assert rows["pad_1_max_kN"].tolist() == [9000, 9000]


def test_time_without_record_counts_for_nothing(tmp_path: Path) -> None:
    """A sample stands for at most three intervals of ten seconds."""
    of = drive(tmp_path)
    whole = of.samples(BEGIN_US, BEGIN_US + 9 * HOUR_US)
    kept = np.flatnonzero((whole.time_us < BEGIN_US + HOUR_US // 2) | (whole.time_us >= BEGIN_US + HOUR_US))

    class Gapped(Padded):
        def samples(self, start_us: int, end_us: int, channels: Sequence[str] | None = None) -> Samples:
            time_us = whole.time_us[kept]
            own = kept[(time_us >= start_us) & (time_us < end_us)]
            return Samples(whole.time_us[own], {n: v[own] for n, v in whole.values.items()})

    gapped = Gapped(**{name: getattr(of, name) for name in Padded.__dataclass_fields__})
    assert row(pad_forces(gapped, "drive"), "holding")["all_pads_s"] == pytest.approx(4.5 * 3600 - 1800 + 20)


def test_rows_of_each_grouping_are_labelled(tmp_path: Path) -> None:
    of = drive(tmp_path)
    assert pad_forces(of, "ring").rows["ring"].tolist() == [1, 1, 1, 2, 2]
    assert pad_forces(of, "stroke").rows["stroke"].tolist() == [1, 1, 1, 2, 2]
    shifts = pad_forces(of, "shift").rows  # 22:00 in Oslo is an hour after the beginning
    labels = list(zip(shifts["date"], shifts["shift"], shifts["doing"], strict=True))
    assert labels[:2] == [("2030-03-17", "late", "holding"), ("2030-03-17", "night", "holding")]
    assert shifts["all_pads_s"][:2] == pytest.approx([3600, 3.5 * 3600])
    assert set(pad_forces(of, "day").rows["date"]) == {"2030-03-17"}


def test_a_missing_pad_takes_its_own_figures_the_total_and_the_eccentricity_and_no_others(
    tmp_path: Path,
) -> None:
    dead = (*ONE_DOUBLED[:2], lambda hours: np.full(len(hours), np.nan), ONE_DOUBLED[3])
    of = drive(tmp_path, dead, thrust="")
    found = pad_forces(of, "drive")
    pushing = row(found, "pushing")
    for name in ("pad_3_kN", "pad_3_max_kN", "total_kN", "eccentricity_mm", "eccentricity_deg"):
        assert np.isnan(pushing[name]), name  # type: ignore[arg-type]
    assert (pushing["pad_1_kN"], pushing["pad_2_kN"], pushing["highest_pad"]) == (1500, 3000, "2")
    said = "\n".join(pads_says(of, found))
    assert "pads without a value: 3; so total and eccentricity are missing" in said
    assert "no auxiliary thrust is logged beside the pads" in said
    part = (*ONE_DOUBLED[:3], lambda hours: np.where(hours < 4, np.nan, ONE_DOUBLED[3](hours)))
    found = pad_forces(drive(tmp_path / "part", part), "drive")
    pushing = row(found, "pushing")
    assert pushing["all_pads_s"] == pytest.approx(1.5 * 3600)
    assert (pushing["total_kN"], pushing["eccentricity_mm"]) == (pytest.approx(7500), pytest.approx(520))
    assert "every pad was measured for 50.0% of the time" in "\n".join(pads_says(of, found))


def test_of_a_single_shield_the_main_set_pushes_through_the_pads(tmp_path: Path) -> None:
    braced = drive(tmp_path / "braced", thrust="main_thrust_kN")
    assert "no auxiliary thrust is logged" in "\n".join(pads_says(braced, pad_forces(braced, "drive")))
    machine = replace(braced.setup.machine, kind=SINGLE_SHIELD)
    single = replace(braced, setup=replace(braced.setup, machine=machine), folder=tmp_path / "single")
    said = "\n".join(pads_says(single, pad_forces(single, "drive")))
    assert "the pads add up to 1.000 of the logged main thrust" in said


def test_pressures_need_an_area_and_signs_are_as_stated(tmp_path: Path) -> None:
    """Derived: 100 kN on 0.1 m2 are 10 bar."""
    names = tuple(f"extra:pad 0{n} pressure (bar)" for n in (1, 2, 3, 4))
    pads = replace(PADS, area_m2=0.1, pushes="negative")
    of = drive(tmp_path, pads=pads, names=names, factor=-0.1)
    pushing = row(pad_forces(of, "drive"), "pushing")
    assert (pushing["total_kN"], pushing["eccentricity_mm"]) == (pytest.approx(7500), pytest.approx(520))
    with pytest.raises(DriveError, match=r"'pad 01 pressure \(bar\)' is a pressure: state \[pads\] area_m2"):
        pad_forces(drive(tmp_path, names=names), "drive")
    wrong = drive(tmp_path / "wrong", pads=replace(pads, area_m2=0.2), names=names, factor=-0.1)
    assert "add up to 2.000 of the logged auxiliary thrust; look at" in "\n".join(
        pads_says(wrong, pad_forces(wrong, "drive"))
    )


@pytest.mark.parametrize(
    ("pads", "names", "said"),
    [
        (Pads(), NAMES, "no pads are stated: .* columns that speak of pads: 'aux pad force 1 kN', "),
        (Pads(), ("extra:a", "extra:b", "extra:c", "extra:d"), "no column of the logs speaks of a pad"),
        (PADS, ("extra:a", "extra:b", "extra:c", "extra:d"), "no log has a column of a pad"),
        (PADS, tuple(f"extra:pad {n} force" for n in (1, 2, 3, 4)), "'pad 1 force' states no unit"),
        (replace(PADS, unit="bar"), NAMES, "unit = 'bar', but 'aux pad force 1 kN' is in kN"),
        (
            replace(PADS, angles_deg=(0.0, 120.0, 240.0)),
            NAMES,
            "has 3 pads, the columns that speak of pads are",
        ),
        (
            replace(PADS, columns=("a", "b", "c", "Spare 7")),
            NAMES,
            "no log has 'a', 'b', 'c'; further .* 'Spare 7'",
        ),
        (replace(PADS, columns=("Spare 7", "", "", "")), NAMES, "'Spare 7' states no unit"),
    ],
)
def test_what_does_not_fit_is_told(pads: Pads, names: tuple[str, ...], said: str, tmp_path: Path) -> None:
    with pytest.raises(DriveError, match=said):
        pad_forces(drive(tmp_path, pads=pads, names=names), "drive")


def test_by_and_rings_that_are_none_are_told(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="--by metre: expected one of ring, stroke"):
        pad_forces(drive(tmp_path), "metre")
    with pytest.raises(DriveError, match="no ring is known"):
        pad_forces(replace(drive(tmp_path), rings=drive(tmp_path).rings.rows(slice(0, 0))), "ring")


def test_columns_that_a_person_names(tmp_path: Path) -> None:
    names = ("extra:p1", "extra:p2", "extra:p3", "extra:p4")
    pads = replace(PADS, columns=("p3", "", "p1", "p2"), unit="MN")
    of = drive(tmp_path, pads=pads, names=names, factor=0.001)
    assert [(pad.label, pad.name) for pad in logged_pads(of)] == [
        *(("1", "extra:p3"), ("2", ""), ("3", "extra:p1"), ("4", "extra:p2")),
    ]
    pushing = row(pad_forces(of, "drive"), "pushing")
    assert (pushing["pad_1_kN"], pushing["pad_4_kN"]) == (pytest.approx(1500), pytest.approx(3000))
    assert "2 at 90 deg, not logged" in pads_text(of, pad_forces(of, "drive"))


def test_days_are_read_once_and_again_only_where_something_changed(tmp_path: Path) -> None:
    of = drive(tmp_path)
    first = pad_forces(of, "ring")
    assert of.read == [DAY, DAY + 1]
    assert pad_forces(of, "shift").rows["all_pads_s"].sum() == pytest.approx(first.rows["all_pads_s"].sum())
    assert of.read == [DAY, DAY + 1]
    ends_us = of.periods["end_us"] - np.where(np.arange(len(of.periods)) == len(of.periods) - 1, HOUR_US, 0)
    later = of.periods.with_columns({"end_us": ends_us})  # the last one lies in the second day
    moved = replace(of, periods=later, read=[])
    pad_forces(moved, "ring")
    assert moved.read == [DAY + 1]
    other = replace(of, setup=replace(of.setup, pads=replace(PADS, radius_m=2.5)), read=[])
    pad_forces(other, "ring")
    assert other.read == [DAY, DAY + 1]


@settings(deadline=None, max_examples=15)
@given(st.permutations(range(4)), st.floats(0, 360), st.floats(0.1, 10))
def test_order_turn_and_scale(
    tmp_path_factory: pytest.TempPathFactory, order: list[int], turn: float, scale: float
) -> None:
    plain = row(pad_forces(drive(tmp_path_factory.mktemp("a")), "drive"), "pushing")
    angles = tuple((PADS.angles_deg[i] + turn) % 360 for i in order)
    forces = [lambda hours, i=i: scale * ONE_DOUBLED[i](hours) for i in order]
    pads = replace(PADS, angles_deg=angles)
    other = row(pad_forces(drive(tmp_path_factory.mktemp("b"), forces, pads), "drive"), "pushing")
    assert other["eccentricity_mm"] == pytest.approx(plain["eccentricity_mm"])
    off = float(other["eccentricity_deg"]) - float(plain["eccentricity_deg"]) - turn  # type: ignore[arg-type]
    assert abs((off + 180) % 360 - 180) < 1e-6
    assert other["total_kN"] == pytest.approx(scale * 7500)
