"""What happens to an error that nobody caught: one clear sentence for the person, the whole for the log."""

import sys
import threading
import traceback
from types import TracebackType

from PySide6.QtCore import QObject, Signal

from tbmreview.domain.errors import TbmReviewError, UsageError


def sentence(error: BaseException) -> str:
    """An error in one sentence that says what is wrong and, where known, with which file."""
    if isinstance(error, TbmReviewError | UsageError):
        return " ".join(str(error).split())
    if isinstance(error, OSError):
        return f"{error.filename or 'file'}: {error.strerror or error}"
    return f"The program met an error of its own ({type(error).__name__}: {error}). Nothing was changed."


class Faults(QObject):
    """Takes over both excepthooks; `met` carries the sentence to the main thread."""

    met = Signal(str)

    def install(self) -> None:
        """Catch what reaches the top of any thread from now on."""
        self._before = sys.excepthook, threading.excepthook
        sys.excepthook = self._main
        threading.excepthook = self._thread

    def remove(self) -> None:
        """Give the hooks back."""
        sys.excepthook, threading.excepthook = self._before

    def _main(self, kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        if issubclass(kind, KeyboardInterrupt):
            sys.__excepthook__(kind, error, trace)
            return
        traceback.print_exception(kind, error, trace, file=sys.stderr)
        self.met.emit(sentence(error))

    def _thread(self, args: threading.ExceptHookArgs) -> None:
        if args.exc_value is not None:
            self._main(args.exc_type, args.exc_value, args.exc_traceback)
