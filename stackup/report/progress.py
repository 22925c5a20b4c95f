"""One line on a terminal that says how far a run is; nothing anywhere else."""

from __future__ import annotations

import os
import sys
import threading
from types import TracebackType
from typing import IO


class Progress:
    """A line on ``stream`` that is rewritten while engines report, and wiped at the end.

    Used as a context; called with (done, of, what) from any thread.  ``shown`` is False where ``stream`` is no
    terminal.
    """

    def __init__(self, quiet: bool = False, stream: IO[str] | None = None) -> None:
        """Take the stream, stderr by default."""
        self._stream = sys.stderr if stream is None else stream
        self.shown = not quiet and self._stream.isatty() and os.environ.get("TERM") != "dumb"
        self._parts: dict[str, str] = {}
        self._lock = threading.Lock()

    def __enter__(self) -> Progress:
        """Begin."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Wipe the line."""
        self._write("")

    def __call__(self, done: float, of: float, what: str) -> None:
        """Say that ``done`` of ``of`` are finished of ``what``."""
        if not self.shown:
            return
        with self._lock:
            self._parts[what] = f"{what} {100 * done / of:.0f} %" if of else what
            line = " · ".join(self._parts.values())
        self._write(line[: _width(self._stream) - 1])

    def _write(self, line: str) -> None:
        if self.shown:
            try:
                self._stream.write(f"\r\x1b[2K{line}")
                self._stream.flush()
            except (OSError, UnicodeEncodeError):
                self.shown = False


def _width(stream: IO[str]) -> int:
    try:
        return os.get_terminal_size(stream.fileno()).columns or 80
    except (OSError, ValueError):
        return 80
