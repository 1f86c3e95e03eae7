"""[findings] of drive.toml: thresholds of the detectors, each with its unit, range and reason."""

from dataclasses import dataclass

from tbmreview.domain.setting import OURS, setting


@dataclass(frozen=True, slots=True)
class FindingSettings:
    """[findings]: thresholds of the detectors; the first word of a key names its detector."""

    left_out: tuple[str, ...] = setting("kinds of findings that are not looked for", default=())
    fpi_window_m: float = setting(
        "length of ground on either side that makes the baseline",
        default=30.0,
        unit="m",
        low=2,
        high=500,
        source=OURS,
    )
    fpi_ratio: float = setting(
        "a cell counts when it is off the baseline by this factor, up or down",
        default=1.6,
        low=1.05,
        high=20,
        source=OURS,
    )
    fpi_score: float = setting(
        "and by this many robust deviations (1.4826 MAD of log FPI)", default=3.0, low=1, high=20, source=OURS
    )
    fpi_least_m: float = setting(
        "shortest advance that makes a finding", default=2.0, unit="m", low=0.1, high=100, source=OURS
    )
    fpi_bridge_m: float = setting(
        "stretches that count are joined across a gap of at most this",
        default=1.0,
        unit="m",
        low=0,
        high=100,
        source=OURS,
    )
    fpi_least_cells: int = setting(
        "fewest cells of baseline; with ten or fewer a three-sigma rule can never fire",
        default=20,
        low=11,
        high=10_000,
        source=OURS,
    )
