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
    zone_contrast: float = setting(
        "a stretch between two change points is a zone when FPI is off the nearer side by this share, 0.37 being down to "
        "0.63 or up to 1.37 times: a contrast of 40 %, less what the figure scatters",
        default=0.37,
        low=0.05,
        high=0.95,
        source=OURS,
    )
    zone_longest_m: float = setting(
        "a longer stretch is a rock of its own, told by the steps at its ends",
        default=40.0,
        unit="m",
        low=2,
        high=500,
        source=OURS,
    )
    curve_least_exponent: float = setting(
        "in the same ground disc load rises with penetration to this power at least; what load alone does to FPI and "
        "penetration is no finding",
        default=0.33,
        low=0.1,
        high=0.95,
        source="power law of Bruland 1998 (from memory, fair); the range is " + OURS,
    )
    curve_greatest_exponent: float = setting(
        "and to this power at most",
        default=0.75,
        low=0.1,
        high=0.95,
        source="power law of Bruland 1998 (from memory, fair); the range is " + OURS,
    )
    curve_least_load_ratio: float = setting(
        "load that differs by less than this factor explains nothing",
        default=1.08,
        low=1.01,
        high=2,
        source=OURS,
    )
    curve_tolerance: float = setting(
        "FPI within this factor of what load alone does is explained by load",
        default=1.15,
        low=1,
        high=2,
        source=OURS,
    )
    energy_factor: float = setting(
        "a cell counts when specific energy is off its baseline by this factor, up or down; window and lengths are "
        "those of FPI",
        default=1.8,
        low=1.05,
        high=20,
        source=OURS,
    )
    energy_score: float = setting(
        "and by this many robust deviations (1.4826 MAD of its log)", default=4.0, low=1, high=20, source=OURS
    )
    torque_ratio_factor: float = setting(
        "a cell counts when the torque ratio is off its baseline by this factor, up or down; published bounds of "
        "regular advance are 0.35 to 0.57, 0.45 to 0.57 and 0.53 to 0.63, a factor of 1.1 to 1.3 about the middle",
        default=1.4,
        low=1.05,
        high=20,
        source=OURS,
    )
    torque_ratio_score: float = setting(
        "and by this many robust deviations (1.4826 MAD of its log)", default=4.0, low=1, high=20, source=OURS
    )
    penetration_factor: float = setting(
        "a cell counts when penetration is off its baseline by this factor, up or down",
        default=1.6,
        low=1.05,
        high=20,
        source=OURS,
    )
    penetration_score: float = setting(
        "and by this many robust deviations (1.4826 MAD of its log)", default=4.0, low=1, high=20, source=OURS
    )
    group_within_m: float = setting(
        "findings of the ground that lie so near to each other, and do not speak against each other, are grouped",
        default=3.0,
        unit="m",
        low=0,
        high=100,
        source=OURS,
    )
    operator_edge_m: float = setting(
        "what the operator did counts within an interval and so far beyond its ends",
        default=1.5,
        unit="m",
        low=0,
        high=20,
        source=OURS,
    )
    operator_thrust_ratio: float = setting(
        "a lasting change of thrust by this factor is told",
        default=1.15,
        low=1.02,
        high=5,
        source=OURS,
    )
    operator_speed_ratio: float = setting(
        "a lasting change of head speed by this factor is told",
        default=1.06,
        low=1.01,
        high=5,
        source=OURS,
    )
    operator_stop_h: float = setting(
        "a restart is told where boring had stopped for so long; a ring takes less than an hour (common practice, "
        "no source)",
        default=2.0,
        unit="h",
        low=0.2,
        high=1000,
        source=OURS,
    )
    step_ratio: float = setting(
        "a change of level of FPI by this factor, up or down, is a step",
        default=1.35,
        low=1.05,
        high=20,
        source=OURS,
    )
    step_penalty: float = setting(
        "a change point must lower the sum of squares by so many times the robust variance times the log of the "
        "number of cells; 2 is the Schwarz criterion of independent cells, and neighbouring cells are not",
        default=6.0,
        low=1,
        high=100,
        source=OURS,
    )
    step_window_m: float = setting(
        "a step's levels are medians over so much ground on either side, so that a short zone makes none",
        default=30.0,
        unit="m",
        low=4,
        high=500,
        source=OURS,
    )
    step_least_m: float = setting(
        "least ground on either side of a step",
        default=10.0,
        unit="m",
        low=2,
        high=100,
        source=OURS,
    )
    blocky_spread: float = setting(
        "torque counts as uneven where its spread within a cell is this share of its mean at least; the smooth "
        "boring of an invented drive has 0.03 to 0.05",
        default=0.12,
        low=0.01,
        high=2,
        source=OURS,
    )
    blocky_factor: float = setting(
        "and this many times the spread around it",
        default=2.0,
        low=1.05,
        high=20,
        source=OURS,
    )
    blocky_score: float = setting(
        "and by this many robust deviations (1.4826 MAD of its log)", default=3.0, low=1, high=20, source=OURS
    )
    massive_load_share: float = setting(
        "net disc load counts as near its limit from this share of machine.disc_load_limit_kN",
        default=0.9,
        low=0.3,
        high=1.5,
        source=OURS,
    )
    massive_penetration_mm_rev: float = setting(
        "and penetration as low up to this",
        default=4.0,
        unit="mm/rev",
        low=0.2,
        high=20,
        source=OURS,
    )
    massive_least_m: float = setting(
        "shortest advance under such load that makes a finding",
        default=2.0,
        unit="m",
        low=0.1,
        high=100,
        source=OURS,
    )
    health_still_min: float = setting(
        "a reading that stays the same over so much boring, and five times as long as it usually does, is stuck or dead; "
        "twenty minutes of boring are a third of a stroke",
        default=10.0,
        unit="min",
        low=1,
        high=600,
        source=OURS,
    )
    health_missing_min: float = setting(
        "a run without a reading that lasts so long while the machine bores is told",
        default=5.0,
        unit="min",
        low=0.5,
        high=600,
        source=OURS,
    )
    health_missing_share: float = setting(
        "and so is an hour of which this share of the boring has no reading",
        default=0.1,
        low=0.005,
        high=1,
        source=OURS,
    )
    health_outside_share: float = setting(
        "share of an hour's boring with readings beyond what the machine can give that is told",
        default=0.05,
        low=0.001,
        high=1,
        source=OURS,
    )
    health_factor: float = setting(
        "a law of the machine fails where its ratio is off its usual value by this factor; good sensors keep to 1 or 2 %",
        default=1.06,
        low=1.01,
        high=3,
        source=OURS,
    )
    health_gap_min: float = setting(
        "a gap in the record that is told; shorter ones are counted under time",
        default=10.0,
        unit="min",
        low=0.5,
        high=1440,
        source=OURS,
    )
    muck_tolerance_percent: float = setting(
        "a ring whose muck on the belt scale is off the rock bored by more than this counts",
        default=10.0,
        unit="%",
        low=1,
        high=100,
        source=OURS,
    )
    muck_least_rings: int = setting(
        "so many rings in a row to the same side are flagged; muck stays in the head and on the belt, a ring or two say "
        "nothing",
        default=3,
        low=2,
        high=100,
        source=OURS,
    )
    water_ratio: float = setting(
        "logged inflow that rises to this many times its usual value of the twelve hours before is told",
        default=2.0,
        low=1.1,
        high=100,
        source=OURS,
    )
    water_rise_l_min: float = setting(
        "and by so much at least", default=60.0, unit="l/min", low=1, high=10_000, source=OURS
    )
    water_from_l_min: float = setting(
        "inflow over 10 m of tunnel from which a stretch is told; from 25 it is dripping, over 125 flowing in the classes "
        "of RMR 1989",
        default=125.0,
        unit="l/min",
        low=0,
        high=10_000,
        source=OURS,
    )
    discs_creep_percent: float = setting(
        "rise of FPI with rolling distance, from a disc change to the next in one ground, that is told",
        default=15.0,
        unit="%",
        low=1,
        high=500,
        source=OURS,
    )
    discs_score: float = setting(
        "and its Mann-Kendall score, over strokes; those of one ground resemble their neighbours, so more than the two of "
        "a textbook",
        default=4.0,
        low=1,
        high=20,
        source=OURS,
    )
    discs_least_strokes: int = setting(
        "fewest strokes between two changes that a slope is looked for over",
        default=15,
        low=8,
        high=1000,
        source=OURS,
    )
    discs_used_share: float = setting(
        "share of the rolling distance that a disc may do from which it is told",
        default=1.0,
        low=0.1,
        high=5,
        source=OURS,
    )
    held_window_strokes: int = setting(
        "strokes of the same set before it that each stroke is held against",
        default=30,
        low=5,
        high=1000,
        source=OURS,
    )
    held_least_strokes: int = setting(
        "fewest of them that tell what is usual", default=5, low=3, high=100, source=OURS
    )
    held_ratio: float = setting(
        "drag and the force to regrip count when above what is usual by this factor, drag twice when by its cube; "
        "from stroke to stroke they differ by some per cent",
        default=1.15,
        low=1.05,
        high=10,
        source=OURS,
    )
    held_score: float = setting(
        "and by this many robust deviations (1.4826 MAD of the log)", default=3.0, low=1, high=20, source=OURS
    )
    held_rise: float = setting(
        "drag above what is usual by the square of held_ratio counts twice when it rises by this share a stroke over five "
        "that showed it",
        default=0.04,
        low=0.005,
        high=1,
        source=OURS,
    )
    held_start_ratio: float = setting(
        "thrust to set off over thrust to go on counts when above what is usual by this factor; static over sliding "
        "friction of a shield is put at 0.45 over 0.30",
        default=1.2,
        low=1.02,
        high=5,
        source="friction after Ramoni & Anagnostou 2010 (from memory); the factor is ours",
    )
    held_torque_drop: float = setting(
        "torque over what thrust and penetration ask for counts when below what is usual by this share, with thrust "
        "up by half of it; and twice when two strokes in succession show half as much in their mean",
        default=0.1,
        low=0.02,
        high=0.9,
        source=OURS,
    )
    held_installed_share: float = setting(
        "thrust counts as near installed thrust from this share", default=0.9, low=0.3, high=1.2, source=OURS
    )
    held_still_min: float = setting(
        "turning loaded without advance, or creeping, counts when it takes so much of a stroke, and twice from three "
        "times as much",
        default=10.0,
        unit="min",
        low=1,
        high=600,
        source=OURS,
    )
    held_speed_mm_min: float = setting(
        "boring slower than this is creeping; a held shield is reported to creep at 2.7 mm/min",
        default=5.0,
        unit="mm/min",
        low=0.5,
        high=100,
        source="2.7 mm/min: Wang S. et al. 2025 (read); the threshold is ours",
    )
    held_least_signs: int = setting(
        "so many signs together make a finding; a sign that counts twice is two",
        default=2,
        low=1,
        high=7,
        source=OURS,
    )
    brace_ratio: float = setting(
        "gripper pressure of a stroke counts as lost when below that of the strokes before by this factor",
        default=0.85,
        low=0.1,
        high=0.99,
        source=OURS,
    )
    brace_window_strokes: int = setting(
        "strokes before it that a stroke's bracing and reaction are held against",
        default=20,
        low=5,
        high=1000,
        source=OURS,
    )
    brace_least_strokes: int = setting(
        "fewest strokes on the ring, one after the other, that make a change of reaction",
        default=2,
        low=1,
        high=100,
        source=OURS,
    )
    limit_torque_share: float = setting(
        "torque counts as near its limit from this share of machine.torque_installed_kNm",
        default=0.9,
        low=0.3,
        high=1.2,
        source=OURS,
    )
    limit_least_m: float = setting(
        "shortest advance at such torque that makes a finding",
        default=0.5,
        unit="m",
        low=0.1,
        high=100,
        source=OURS,
    )
