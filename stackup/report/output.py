"""Writing to a stream or a file: a reader that goes away changes nothing, nothing is overwritten unasked."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TextIO

from stackup.errors import CaseError, Fault, OutputExists, StackupError
from stackup.report.letters import spelled


def put(text: str, stream: TextIO) -> None:
    """Write ``text`` to ``stream``; what it cannot encode becomes other signs; a closed pipe is silence.

    Raises StackupError where the stream does not take it (a full disk).
    """
    try:
        try:
            stream.write(text)
        except UnicodeEncodeError:
            stream.write(spelled(text, stream.encoding or "ascii"))
        stream.flush()
    except BrokenPipeError:
        silence(stream)
    except OSError as error:
        silence(stream)
        raise cannot_write(error) from error


def cannot_write(error: OSError) -> StackupError:
    """Return in words that the output has nowhere to go."""
    return StackupError(f"cannot write the output: {(error.strerror or str(error)).lower()}")


def silence(stream: TextIO) -> None:
    """Send all that is still to be written to ``stream`` nowhere."""
    try:
        number = stream.fileno()
    except (OSError, ValueError):
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, number)
    os.close(nowhere)


def free(path: Path | None, force: bool) -> None:
    """Raise OutputExists where ``path`` is there already (unless ``force``): before long work, not after it."""
    if path is not None and os.path.lexists(path) and not force:  # False, not an error, where no file can be
        raise OutputExists(f"{path} is there already; --force overwrites it")


def save(text: str, path: Path, force: bool) -> None:
    """Write ``text`` into the file ``path``.

    Raises OutputExists where it is there already (unless ``force``), CaseError where it cannot be written.
    """
    free(path, force)
    try:
        path.write_text(text, encoding="utf-8")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        fault = Fault("--output", f"a file that cannot be written ({reason})", "a file in a folder that is there")
        raise CaseError([Fault(fault.key, fault.found, fault.allowed, file=str(path))]) from error
