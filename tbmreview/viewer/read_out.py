"""What lies under the pointer, as the texts of the side panel."""

from dataclasses import dataclass, field

from tbmreview.scene.hit import ReadOut
from tbmreview.scene.strips import NET

NOWHERE = "Point at a strip to read its values."


@dataclass(frozen=True, slots=True)
class Reading:
    """Texts to show: chainage, the interval of the values, a line for each ground and for a finding here,
    and for each strip its value and its net value."""

    chainage: str = ""
    interval: str = ""
    here: str = NOWHERE
    values: dict[str, tuple[str, str]] = field(default_factory=dict)


def reading(found: ReadOut | None) -> Reading:
    """The texts of what was found under the pointer; None where it is beside the plot."""
    if found is None:
        return Reading()
    lines = [f"{kind.capitalize()}: {rock}" for kind, rock in found.ground]
    if found.finding is not None:
        lines.append(f"Finding {found.finding.id}: {found.finding.kind}, {found.finding.verdict}")
    interval = f"values of {found.interval}" if found.interval else "not bored, or no record"
    return Reading(f"{found.chainage} m", interval, "\n".join(lines), _values(found))


def _values(found: ReadOut) -> dict[str, tuple[str, str]]:
    values: dict[str, tuple[str, str]] = {}
    for r in (*found.readings, *found.classes):
        value, net = values.get(r.strip, ("", ""))
        text = r.value or "–"
        values[r.strip] = (value, text) if r.label.endswith(f", {NET}") else (text, net)
    return values
