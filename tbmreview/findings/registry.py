"""Every detector. `drive.detect` runs them; help and docs read this."""

from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.findings import Finding
from tbmreview.findings.detector import Detector, Profile
from tbmreview.findings.penetration_index import FPI_OFF_BASELINE

DETECTORS: tuple[Detector, ...] = (FPI_OFF_BASELINE,)


def detect_all(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """What every detector notices, along position, without the kinds that settings.left_out names."""
    wanted = [d for d in DETECTORS if not set(d.kinds) <= set(settings.left_out)]
    found = [finding for detector in wanted for finding in detector.function(profile, settings)]
    found = [finding for finding in found if finding.kind not in settings.left_out]
    return sorted(found, key=lambda f: (f.position_from_m, f.position_to_m, f.kind))
