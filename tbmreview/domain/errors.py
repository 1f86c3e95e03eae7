"""The errors a user can meet. The command line prints each as one line.

TbmReviewError            exit 1: refused, nothing changed
  SetupError              drive.toml or a setup file: file, key, value, what was expected
  LogError                a log file cannot be read as a log at all
  ColumnsOpen             a column's meaning or unit is still a question
  GroundError             a ground table cannot be used
  ClassError              a class, or a scheme of classes, that is none
  SiteError               a table of stations, chainage equations or delays cannot be used
  FitError                a relation cannot be fitted to what there is
  ChainageError           a chainage exists twice or not at all on the drive's axis
  DriveError              the folder is no drive, is damaged, or is in the way
    DriveBusy             another program is writing to the drive
    Overtaken             another person has decided meanwhile; look again
  Cancelled               the person stopped the work
UsageError                exit 2: the command itself is wrong
"""


class TbmReviewError(Exception):
    """Refused; nothing was changed. The message says what to do."""


class SetupError(TbmReviewError):
    """A setup file names a wrong key or value."""


class LogError(TbmReviewError):
    """A file cannot be read as a log."""


class ColumnsOpen(TbmReviewError):
    """A column's meaning or unit is not settled and must be asked for."""


class GroundError(TbmReviewError):
    """A ground table cannot be used."""


class ClassError(TbmReviewError):
    """A class, or a scheme of classes, that is none."""


class SiteError(TbmReviewError):
    """A table of surveyed stations, chainage equations or delays cannot be used."""


class FitError(TbmReviewError):
    """A relation cannot be fitted to what there is."""


class ChainageError(TbmReviewError):
    """A chainage equation gives a chainage twice, or cuts it out."""


class DriveError(TbmReviewError):
    """The folder is no drive, is damaged, or is in the way."""


class DriveBusy(DriveError):
    """Another program is writing to the drive."""


class Overtaken(DriveError):
    """What a person was looking at was decided or changed by another meanwhile."""


class Cancelled(TbmReviewError):
    """The person stopped the work; the drive is as it was."""


class UsageError(Exception):
    """The command is wrong as typed (exit 2)."""
