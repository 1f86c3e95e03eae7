"""Where things lie in a drive folder."""

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

EPOCH = date(1970, 1, 1)


@dataclass(frozen=True, slots=True)
class Layout:
    """The paths of one drive folder."""

    folder: Path

    @property
    def setup(self) -> Path:
        return self.folder / "drive.toml"

    @property
    def catalogue(self) -> Path:
        return self.folder / "catalogue.sqlite"

    @property
    def samples(self) -> Path:
        return self.folder / "samples"

    @property
    def derived(self) -> Path:
        return self.folder / "derived"

    @property
    def incoming(self) -> Path:
        """Where the one writer keeps what is not yet part of the drive."""
        return self.folder / "incoming"

    def chunk_name(self, utc_day: int, content_hash: str) -> str:
        """Path of a chunk below the folder, with '/' whatever the system."""
        day = day_date(utc_day)
        return f"samples/{day:%Y}/{day:%m}/{day:%Y-%m-%d}-{content_hash[:16]}.parquet"

    def derived_file(self, name: str) -> Path:
        return self.derived / f"{name}.arrow"


def day_date(utc_day: int) -> date:
    """The date of a day counted from 1970-01-01."""
    return EPOCH + timedelta(days=utc_day)
