"""Writing to a stream or a file: a reader that goes away changes nothing, nothing is overwritten unasked."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TextIO

from stackup.errors import CaseError, Fault, OutputExists


def put(text: str, stream: TextIO) -> None:
    """Write ``text`` to ``stream``; what it cannot encode becomes a question mark; a closed pipe is silence."""
    try:
        try:
            stream.write(text)
        except UnicodeEncodeError:
            encoding = stream.encoding or "ascii"
            stream.write(text.encode(encoding, "replace").decode(encoding))
        stream.flush()
    except BrokenPipeError:
        silence(stream)


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
    if path is not None and path.exists() and not force:
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
