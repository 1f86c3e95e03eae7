"""What pages list from the registries: models, detectors and their thresholds."""

from collections.abc import Callable, Mapping

from tbmreview.domain.channels import CHANNELS
from tbmreview.domain.finding_settings import FindingSettings
from tbmreview.domain.setting import OURS, settings_of
from tbmreview.findings.registry import DETECTORS
from tbmreview.help.grid import grid, number
from tbmreview.indicators.models import MODELS


def models() -> str:
    """Each model with its source and how sure its coefficients are."""
    rows = [(f"`{m.name}`", m.source, m.label, m.basis) for m in MODELS]
    return grid(("model", "source", "how sure", "to keep in mind"), rows)


def detectors() -> str:
    """Each detector with the kinds of findings it makes and what it compares."""
    rows = [(", ".join(d.kinds), d.family, d.what) for d in DETECTORS]
    return grid(("finding", "about", "what is compared"), rows)


def thresholds() -> str:
    """Each threshold of the detectors with its value unless stated; its source where it is not our judgement."""
    rows = []
    for key, (field, facts) in settings_of(FindingSettings).items():
        if not isinstance(field.default, tuple):
            value = f"{field.default:g} {facts.unit}".rstrip()
            said = facts.what if facts.source in ("", OURS) else f"{facts.what}; {facts.source}"
            rows.append((f"`{key}`", value, said))
    return grid(("[findings]", "default", "what it is"), rows)


def channels() -> str:
    """Each channel with the unit it has inside, and what any machine may read."""
    rows = [
        (f"`{c.name}`", c.label, c.unit or "–", f"{number(c.low)} to {number(c.high)}", c.what)
        for c in CHANNELS
    ]
    return grid(("channel", "label", "unit", "may read", "what it is"), rows)


COMPUTED: Mapping[str, Callable[[], str]] = {
    "models": models,
    "detectors": detectors,
    "thresholds of findings": thresholds,
    "channels": channels,
}
