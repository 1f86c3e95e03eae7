"""Bytes of a log: a plain file, or the one file inside a zip."""

import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, cast

from tbmreview.domain.errors import LogError

TEXT, PARQUET, FEATHER = "text", "parquet", "feather"
EXPECTED = "expected a CSV or text table, a zip of one, Parquet or Feather"


@dataclass(frozen=True, slots=True)
class Source:
    """Where the bytes are: `member` is the name inside a zip, '' for a plain file; size in bytes."""

    path: Path
    member: str
    size: int
    kind: str

    def open(self) -> BinaryIO:
        """The bytes from the start; the caller closes it."""
        if not self.member:
            return self.path.open("rb")
        archive = zipfile.ZipFile(self.path)
        stream = archive.open(self.member)
        archive.close()  # the stream keeps the file open until it is closed itself
        return cast(BinaryIO, stream)


def find_source(path: Path) -> Source:
    """The log behind a path; LogError where there is none."""
    if not path.exists():
        raise LogError(f"{path}: no such file; {EXPECTED}")
    if not path.is_file():
        raise LogError(f"{path}: is no file; {EXPECTED}")
    try:
        size = path.stat().st_size
        with path.open("rb") as stream:
            head = stream.read(8)
    except OSError as error:
        raise LogError(f"{path}: cannot be read ({error.strerror})") from error
    if size == 0:
        raise LogError(f"{path}: the file is empty; {EXPECTED}")
    if head.startswith(b"PK\x03\x04"):
        return _inside_zip(path)
    return Source(path, "", size, _kind(head))


def _kind(head: bytes) -> str:
    if head.startswith(b"PAR1"):
        return PARQUET
    if head.startswith((b"ARROW1", b"FEA1")):
        return FEATHER
    return TEXT


def _inside_zip(path: Path) -> Source:
    try:
        with zipfile.ZipFile(path) as archive:
            members = [m for m in archive.infolist() if _is_data(m)]
            names = {m.filename for m in members}
            if "[Content_Types].xml" in names:
                raise LogError(f"{path}: is a workbook or an office file, no log; {EXPECTED}")
            if len(members) != 1:
                raise LogError(f"{path}: the zip holds {len(members)} files; expected one log in it")
            member = members[0]
            if member.file_size == 0:
                raise LogError(f"{path}: {member.filename} in the zip is empty; {EXPECTED}")
            with archive.open(member) as stream:
                head = stream.read(8)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError, EOFError) as error:
        raise LogError(f"{path}: the zip cannot be read ({error})") from error
    return Source(path, member.filename, member.file_size, _kind(head))


def _is_data(member: zipfile.ZipInfo) -> bool:
    hidden = member.filename.startswith("__MACOSX/") or member.filename.rsplit("/", 1)[-1].startswith(".")
    return not member.is_dir() and not hidden
