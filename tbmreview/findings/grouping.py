"""Groups: neighbouring findings of the ground that may have one cause. Each keeps its own evidence."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tbmreview.domain.findings import Finding
from tbmreview.findings.face import BLOCKY, MASSIVE

# Which way a kind speaks: ground that bores more easily (+1) or harder (-1); others speak for neither.
EASIER = {"FPI low": 1, "specific energy low": 1, "penetration high": 1}
HARDER = {"FPI high": -1, "specific energy high": -1, "penetration low": -1, MASSIVE: -1}
WAY = {**EASIER, **HARDER, BLOCKY: 0}


@dataclass(slots=True)
class _Group:
    first: int
    members: list[int]
    to_m: float
    way: int


def grouped(findings: Sequence[Finding], kinds: Sequence[str], within_m: float) -> list[Finding]:
    """The findings with `group` of those of the kinds that lie within within_m of each other and do not speak
    against each other: the number of its first in this order, as text; '' alone. findings: along position."""
    groups: list[_Group] = []
    for i, finding in enumerate(findings):
        if finding.kind not in kinds:
            continue
        way = WAY.get(finding.kind, 0)
        near = [g for g in groups if finding.position_from_m <= g.to_m + within_m and g.way * way >= 0]
        if near:
            group = near[-1]
            group.members.append(i)
            group.to_m = max(group.to_m, finding.position_to_m)
            group.way = group.way or way
        else:
            groups.append(_Group(i, [i], finding.position_to_m, way))
    of = {i: str(g.first) for g in groups if len(g.members) > 1 for i in g.members}
    return [replace(finding, group=of.get(i, "")) for i, finding in enumerate(findings)]
