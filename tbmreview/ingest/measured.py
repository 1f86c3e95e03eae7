"""How the columns of a log fit the relations that tie their units: motion, power, rolling discs, cylinder areas.

Relations of motion and power are exact identities; bands of rolling and of areas are wide and only
choose between units that a log does not state (common practice, no source, unless said).
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tbmreview.domain.setup import Machine
from tbmreview.ingest.laws import CHAINAGE, POWER, STROKE, VNP, Fit, Laws, Relation, ratio_fit
from tbmreview.ingest.ranges import AF, AS, MP, C, F, N, P, S, T, V, W
from tbmreview.ingest.units import Unit

Values = NDArray[np.float64]
Raw = Mapping[str, Values]

AUX_STROKE = replace(STROKE, name="auxiliary stroke step = v dt", terms={AS: 1, V: -1}, far=math.inf)
_WINDOW_S, _WINDOW_ROWS = 60.0, 4
_SHARE = 0.2  # of the windows of boring in which a set follows the speed, from which it is seen to push
_DISC_RADIUS_MM = 216.0  # of a 17 inch disc, where the setup does not say


@dataclass(frozen=True, slots=True)
class Measured:
    """A relation as the raw numbers fit it."""

    relation: Relation
    fit: Fit

    def value(self, units: Mapping[str, Unit]) -> float:
        return self.relation.value(self.fit.ratio, units)

    def holds(self, units: Mapping[str, Unit]) -> bool:
        return self.relation.low <= self.value(units) <= self.relation.high


@dataclass(frozen=True, slots=True)
class Band:
    """A relation that only roughly holds: a unit within it is good, one off it by more than `margin` is not."""

    measured: Measured
    margin: float

    def near(self, units: Mapping[str, Unit]) -> bool:
        relation = self.measured.relation
        return relation.low / self.margin <= self.measured.value(units) <= relation.high * self.margin


# --- exact relations ----------------------------------------------------------------------------


def measure(raw: Raw, stated: frozenset[str], seconds: Sequence[Values]) -> Iterator[Measured]:
    """The relations between columns. stated: channels whose unit the log states; of a stroke that pushes
    only part of the time and of a chainage nothing is asked but the unit."""
    speed = {V: -1} if V in raw else {N: -1, P: -1}
    if not set(speed) <= set(raw):
        speed = {}
    v = raw[V] if V in raw else raw[N] * raw[P] if speed else np.empty(0)
    tied = {k: raw[c] for k, c in enumerate((V, N, P, T, W, S)) if c in raw} | ({6: v} if speed else {})
    laws = Laws(tied, seconds)
    fits = (
        (VNP, laws.product(0, 1, 2) if {0, 1, 2} <= set(tied) else None),
        (POWER, laws.product(4, 1, 3) if {4, 1, 3} <= set(tied) else None),
    )
    yield from (Measured(relation, fit) for relation, fit in fits if fit is not None)
    if not speed:
        return
    for channel, relation in ((S, STROKE), (AS, AUX_STROKE)):
        fit = laws.rate(5, 6) if channel == S in raw else None
        if fit is None and channel in raw and channel not in stated:
            fit = following(raw[channel], v, seconds)
        if fit is not None:
            yield Measured(replace(relation, terms={channel: 1, **speed}), fit)
    if C in raw and C not in stated:
        ratio = _chainage_ratio(raw[C], v, np.concatenate(seconds))
        if ratio is not None:
            yield Measured(replace(CHAINAGE, terms={C: 1, **speed}), Fit(ratio, 0.0))


def following(stroke: Values, speed: Values, seconds: Sequence[Values]) -> Fit | None:
    """Change of a stroke over the integral of a speed a minute, (n,) each, where the stroke follows it at
    least a part of the time; None where it does not."""
    tops = np.abs(speed[np.isfinite(speed)])
    tops = tops[tops > 0]
    ratios = list(_ratios(stroke, speed, seconds, 0.2 * float(np.quantile(tops, 0.9)))) if len(tops) else []
    rising = np.sort(np.log([r for r in ratios if r > 0]))
    if len(rising) < 5:
        return None
    reach = np.searchsorted(rising, rising + math.log(STROKE.high / STROKE.low), "right") - np.arange(
        len(rising)
    )
    at = int(np.argmax(reach))
    if reach[at] < max(5, _SHARE * len(ratios)):
        return None
    part = np.exp(rising[at : at + reach[at]])
    middle = float(np.median(part))
    return Fit(middle, float(np.median(np.abs(part / middle - 1))))


def _ratios(stroke: Values, speed: Values, seconds: Sequence[Values], least: float) -> Iterator[float]:
    """Of each window of a minute in which the speed is in use."""
    at = 0
    for run in seconds:
        s, v = stroke[at : at + len(run)], np.abs(speed[at : at + len(run)])
        at += len(run)
        steps = np.diff(run)
        usual = float(np.nanmedian(steps)) if np.isfinite(steps).any() else 0.0
        if usual <= 0:
            continue
        rows = max(_WINDOW_ROWS, round(_WINDOW_S / usual))
        for i in range(0, len(run) - rows, rows):
            dt, busy = steps[i : i + rows], v[i : i + rows + 1]
            if np.all(dt > 0) and np.all(dt < 3 * usual) and np.all(busy > least):
                change = float(s[i + rows] - s[i])
                if math.isfinite(change):
                    yield change / (float(np.sum(busy[:-1] * dt)) / 60)


def _chainage_ratio(chainage: Values, v: Values, time_s: Values) -> float | None:
    """Range of the chainage over mean v times the span of time [m, v in mm/min]; None where it does not run."""
    good = np.isfinite(chainage) & np.isfinite(v) & np.isfinite(time_s)
    if good.sum() < 100 or np.std(chainage[good]) == 0 or np.std(time_s[good]) == 0:
        return None
    if abs(float(np.corrcoef(chainage[good], time_s[good])[0, 1])) < 0.9:
        return None
    low, high = np.quantile(chainage[good], (0.01, 0.99))
    expected = float(np.mean(v[good])) / 60_000 * float(np.ptp(time_s[good])) * 0.98
    return float(high - low) / expected if expected > 0 else None


# --- bands --------------------------------------------------------------------------------------


def lever_arm(thrust: str, machine: Machine | None, top_rpm: float) -> Relation:
    """Torque over thrust as an arm [m] that rolling discs have: 0.3 D times 0.01 to 0.45.

    Without a machine D is 2 to 16 m, and at most what lets the rim of a head at `top_rpm` run 5 m/s.
    """
    bores = (2.0, max(2.0, min(16.0, 100 / max(top_rpm, 1.0))))
    if machine is not None:
        bores = (machine.bore_diameter_m,) * 2
    low, high = 0.01 * 0.3 * bores[0], 0.45 * 0.3 * bores[1]
    return Relation("discs roll", {T: 1, thrust: -1}, low, high, math.inf)


def fits_some_bore(thrust_kN: float, torque_kNm: float, rpm: float) -> bool:
    """Whether a machine of any bore D of 2 to 16 m works so: thrust 40 to 1500 kN/m2 times D2, torque 1.5 to
    60 D3, n D 8 to 100 m/min, and discs that
    roll (common practice, no source; wide on purpose). A NaN head speed tells nothing."""
    bore = np.arange(2.0, 16.01, 0.1)
    arm = torque_kNm / thrust_kN / (0.3 * bore)
    fits = (arm >= 0.01) & (arm <= 0.45) & ~(rpm * bore < 8) & ~(rpm * bore > 100)
    fits &= (thrust_kN >= 40 * bore**2) & (thrust_kN <= 1500 * bore**2)
    return bool(np.any(fits & (torque_kNm >= 1.5 * bore**3) & (torque_kNm <= 60 * bore**3)))


def bands(raw: Raw, machine: Machine | None, top_rpm: float, p_mm: float) -> Iterator[Band]:
    """What ties thrust, torque and pressure where a log does not state their units.

    p_mm: median penetration while boring [mm/rev], NaN where not known. The rolling coefficient of a disc is
    tan(phi / 2) with cos phi = 1 - p / R (the resultant halves the arc of contact; from memory, as the Colorado
    School of Mines model has it). Cylinder areas of a set are 0.004 to 0.06 D2 (common practice, no source).
    """
    for thrust in (F, AF):
        fit = ratio_fit(np.abs(raw[T]), np.abs(raw[thrust])) if {T, thrust} <= set(raw) else None
        if fit is None:
            continue
        yield Band(Measured(lever_arm(thrust, machine, top_rpm), fit), 1.0)
        if machine is not None and p_mm > 0:
            radius = (machine.disc_diameter_mm or 2 * _DISC_RADIUS_MM) / 2
            rolling = math.tan(math.acos(max(0.0, 1 - p_mm / radius)) / 2)
            arm = machine.disc_lever_arm * machine.bore_diameter_m * rolling
            yield Band(
                Measured(Relation("discs roll", {T: 1, thrust: -1}, 0.3, 1.8, math.inf, arm), fit), 2.0
            )
    fit = ratio_fit(raw[F], raw[MP]) if {F, MP} <= set(raw) and machine is not None else None
    if fit is not None and machine is not None:
        area = 100.0 * machine.bore_diameter_m**2
        name = "the thrust is an area times the pressure"
        yield Band(Measured(Relation(name, {F: 1, MP: -1}, 0.004, 0.06, math.inf, area), fit), 1.0)
