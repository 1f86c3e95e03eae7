"""Every detector. `drive.detect` runs them; help and docs read this."""

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.findings.bracing import BRACING
from tbmreview.findings.context import with_context
from tbmreview.findings.detector import DATA, GROUND, Detector, Profile
from tbmreview.findings.disc_wear import DISCS_CREEP, DISCS_OVER
from tbmreview.findings.doubts import with_doubts
from tbmreview.findings.face import BLOCKY_FACE, MASSIVE_GROUND
from tbmreview.findings.grouping import grouped
from tbmreview.findings.held_shield import HELD_SHIELD
from tbmreview.findings.indices import (
    ENERGY_OFF_BASELINE,
    PENETRATION_OFF_BASELINE,
    TORQUE_RATIO_OFF_BASELINE,
)
from tbmreview.findings.inflow import WATER
from tbmreview.findings.level_health import CHANNEL_FAULTS
from tbmreview.findings.muck import MASS_BALANCE
from tbmreview.findings.penetration_index import FPI_OFF_BASELINE
from tbmreview.findings.record_health import RECORD
from tbmreview.findings.steps import STEPS
from tbmreview.findings.torque_limit import TORQUE_LIMIT
from tbmreview.findings.trusted import trusted

DETECTORS: tuple[Detector, ...] = (
    FPI_OFF_BASELINE,
    ENERGY_OFF_BASELINE,
    TORQUE_RATIO_OFF_BASELINE,
    PENETRATION_OFF_BASELINE,
    STEPS,
    BLOCKY_FACE,
    MASSIVE_GROUND,
    HELD_SHIELD,
    BRACING,
    TORQUE_LIMIT,
    MASS_BALANCE,
    WATER,
    DISCS_CREEP,
    DISCS_OVER,
    CHANNEL_FAULTS,
    RECORD,
)
GROUND_KINDS: tuple[str, ...] = tuple(kind for d in DETECTORS if d.family == GROUND for kind in d.kinds)


def detect_all(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """What every detector notices, along position, without the kinds that settings.left_out names.

    Detectors that name channels are not given what was bored while one of these was at fault. Findings of the ground
    say what the operator did within them. Those that may have one cause have one `group`:
    the number of the first of them in this list, as text.
    """
    wanted = [d for d in DETECTORS if not set(d.kinds) <= set(settings.left_out)]
    faults = [f for d in DETECTORS if d.family == DATA for f in d.function(profile, settings)]
    given = {d.channels: trusted(profile, faults, d.channels) for d in wanted}
    ground, others = (
        [
            f
            for d in wanted
            if d.family != DATA and (d.family == GROUND) == of_ground
            for f in d.function(given[d.channels], settings)
        ]
        for of_ground in (True, False)
    )
    ground = with_context(ground, profile, settings)
    found = with_doubts([*ground, *others, *faults], DETECTORS)
    found = [finding for finding in found if finding.kind not in settings.left_out]
    found.sort(key=lambda f: (f.position_from_m, f.position_to_m, f.kind))
    return grouped(found, GROUND_KINDS, settings.group_within_m)
