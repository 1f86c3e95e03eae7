"""What a person looks at, and how it changes: frozen state, pure transitions. Positions in m."""

from dataclasses import dataclass, replace

from tbmreview.domain.findings import Finding
from tbmreview.domain.marks import Mark
from tbmreview.domain.station import decimetres
from tbmreview.scene.class_list import CLASSES_BY_NAME, DEFAULT_CLASSES
from tbmreview.scene.source import Source
from tbmreview.scene.strips import BY_NAME, DEFAULT, STRIPS

LEAST_VIEW_M = 1.0
STEPS_M = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)


@dataclass(frozen=True, slots=True)
class Session:
    """The state of a view.

    span_m: what has been bored. view_m: what is shown. step_m: the step of the values shown, None
    for the one that suits the view. finding, mark: id of the selected one or ''. predicted: name of
    the baseline shown, '' for the latest. fit_values: scale each strip to the view, not the drive.
    band: the band of uncertainty behind the values. classes: rows of classes (class_list) to show where the ground
    carries them.
    """

    span_m: tuple[float, float]
    view_m: tuple[float, float]
    strips: tuple[str, ...] = DEFAULT
    step_m: float | None = None
    finding: str = ""
    mark: str = ""
    predicted: str = ""
    fit_values: bool = False
    band: bool = False
    classes: tuple[str, ...] = DEFAULT_CLASSES

    @property
    def limits_m(self) -> tuple[float, float]:
        """How far the view may go: the span with one percent of room on either side."""
        low, high = self.span_m
        room = max((LEAST_VIEW_M - (high - low)) / 2, (high - low) * 0.01, 0.0)
        return low - room, high + room

    @property
    def length_m(self) -> float:
        return self.view_m[1] - self.view_m[0]

    def show(self, from_m: float, to_m: float) -> "Session":
        """View these positions, as far as the limits let it; never less than LEAST_VIEW_M."""
        least, most = self.limits_m
        from_m, to_m = min(from_m, to_m), max(from_m, to_m)
        length = min(max(to_m - from_m, LEAST_VIEW_M), most - least)
        start = (from_m + to_m - length) / 2
        start = min(max(start, least), most - length)
        return replace(self, view_m=(start, start + length))

    def fit(self) -> "Session":
        """View the whole drive."""
        return self.show(*self.limits_m)

    def pan(self, by_m: float) -> "Session":
        """Move the view along the drive."""
        return self.show(self.view_m[0] + by_m, self.view_m[1] + by_m)

    def zoom(self, factor: float, about_m: float) -> "Session":
        """Divide the length of view by `factor` (> 0), the position `about_m` staying in its place."""
        if factor <= 0:
            raise ValueError(f"a zoom factor is above 0, got {factor:g}")
        least, most = self.limits_m
        length = min(max(self.length_m / factor, LEAST_VIEW_M), most - least)
        place = (about_m - self.view_m[0]) / self.length_m
        start = about_m - place * length
        return self.show(start, start + length)

    def jump(self, from_m: float, to_m: float, around: float = 2.0) -> "Session":
        """View an interval with `around` times its length on either side, at least 10 m each."""
        room = max(abs(to_m - from_m) * around, 10.0)
        return self.show(min(from_m, to_m) - room, max(from_m, to_m) + room)

    def jump_to(self, finding: Finding) -> "Session":
        """Select a finding and view it."""
        return self.jump(finding.position_from_m, finding.position_to_m).select(finding.id)

    def jump_to_mark(self, mark: Mark) -> "Session":
        """Select a mark and view it."""
        return replace(self.jump(mark.position_from_m, mark.position_to_m), mark=mark.id)

    def select(self, finding: str) -> "Session":
        """Select a finding by its id; '' for none."""
        return replace(self, finding=finding)

    def with_strips(self, names: tuple[str, ...]) -> "Session":
        """Show these strips, in this order. ValueError names one that does not exist."""
        for name in names:
            if name not in BY_NAME:
                raise ValueError(f"no strip {name!r}; there are {', '.join(BY_NAME)}")
        return replace(self, strips=names)

    def with_classes(self, names: tuple[str, ...]) -> "Session":
        """Show these rows of classes. ValueError names one that does not exist."""
        for name in names:
            if name not in CLASSES_BY_NAME:
                raise ValueError(f"no row of classes {name!r}; there are {', '.join(CLASSES_BY_NAME)}")
        return replace(self, classes=names)

    def toggle(self, name: str) -> "Session":
        """Show a strip in the order of the registry, or take it away."""
        if name in self.strips:
            return self.with_strips(tuple(n for n in self.strips if n != name))
        shown = {*self.strips, name}
        kept = tuple(s.name for s in STRIPS if s.name in shown)
        return self.with_strips(kept if name in kept else (*kept, name))

    def with_step(self, step_m: float | None) -> "Session":
        """Show values of this step (a multiple of 0.1 m, else ValueError), or of the one that suits."""
        return replace(self, step_m=None if step_m is None else decimetres(step_m) / 10)

    def with_predicted(self, name: str) -> "Session":
        """Compare with this baseline; '' for the latest."""
        return replace(self, predicted=name)

    def with_band(self, on: bool) -> "Session":
        """Show the band of uncertainty behind the values, or not."""
        return replace(self, band=on)

    def grown(self, span_m: tuple[float, float]) -> "Session":
        """After an import: the new span, the view kept, or following where it showed everything."""
        was_all = self.view_m[0] <= self.span_m[0] and self.view_m[1] >= self.span_m[1]
        after = replace(self, span_m=span_m)
        return after.fit() if was_all else after.show(*self.view_m)


def open_session(source: Source, strips: tuple[str, ...] = DEFAULT) -> Session:
    """A session that shows the whole drive."""
    return Session(source.span_m, source.span_m).with_strips(strips).fit()
