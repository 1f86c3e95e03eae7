"""How the columns of logs are understood, before anything is imported."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tbmreview.domain.errors import TbmReviewError
from tbmreview.ingest.column_map import ColumnMap, Entry
from tbmreview.ingest.read import FileUnderstanding, understand
from tbmreview.store.setup_file import parse, read_text


@dataclass(frozen=True, slots=True)
class SeenColumns:
    """The logs, each understood as far as its columns, units and stamps allow."""

    logs: tuple[FileUnderstanding, ...]

    @property
    def questions(self) -> tuple[str, ...]:
        """What must be answered before the logs can be imported, one line each."""
        return tuple(f"{log.path.name}: {question}" for log in self.logs for question in log.questions)

    def text(self) -> str:
        """In plain lines, log by log; the last line says whether anything is open."""
        settled = (
            "every column is settled" if not self.questions else f"open questions: {len(self.questions)}"
        )
        return "\n".join([*(log.as_text() for log in self.logs), settled])

    def column_map(self) -> ColumnMap:
        """One map for all the logs; where two give a header a different meaning, an error says so."""
        maps = [log.as_map() for log in self.logs]
        entries: dict[str, Entry] = {}
        for log, one in zip(self.logs, maps, strict=True):
            for header, entry in one.columns.items():
                if entries.setdefault(header, entry) != entry:
                    raise TbmReviewError(
                        f"{log.path}: {header!r} means something else here than in the logs before; write a map for each"
                    )
        first = maps[0]
        alike = all((m.stamps, m.order, m.zone) == (first.stamps, first.order, first.zone) for m in maps)
        return ColumnMap(entries, first.stamps, first.order, first.zone) if alike else ColumnMap(entries)

    def write_map(self, path: Path) -> None:
        """Write the map, to be edited and given to `add`."""
        path.write_text(self.column_map().as_toml(), encoding="utf-8")


def columns(files: Sequence[Path | str], setup_file: Path | None = None) -> SeenColumns:
    """Understand logs. The setup's zone and machine settle what the logs alone leave open."""
    zone = machine = None
    if setup_file is not None:
        setup, _ = parse(read_text(setup_file), str(setup_file))
        zone, machine = setup.drive.zone, setup.machine
    return SeenColumns(tuple(understand(path, zone, machine) for path in files))
