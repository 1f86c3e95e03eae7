"""Every detector. `drive.detect` runs them; help and docs read this."""

from tbmreview.domain.findings import Finding
from tbmreview.domain.setup import FindingSettings
from tbmreview.findings.detector import Detector, Profile
from tbmreview.findings.penetration_index import FPI_OFF_BASELINE

DETECTORS: tuple[Detector, ...] = (FPI_OFF_BASELINE,)


def detect_all(profile: Profile, settings: FindingSettings) -> list[Finding]:
    """What every detector notices, along position."""
    found = [finding for detector in DETECTORS for finding in detector.function(profile, settings)]
    return sorted(found, key=lambda f: (f.position_from_m, f.position_to_m, f.kind))
