"""From whatever ends a command to an exit code: words on stderr, never a traceback."""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import typer

from stackup.errors import Interrupted, StackupError

MET, NOT_MET, WRONG, INTERNAL, STOPPED = 0, 1, 2, 70, 130
#: reasons why an output has no place to go
NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EFBIG)


def code_of(command: Callable[[], Any], arguments: Sequence[str]) -> int:
    """Return the exit code of ``command``, which the command line ``arguments`` asks for."""
    as_json = "--json" in arguments
    try:
        return int(command() or MET)
    except StackupError as error:
        return _refuse(error, as_json)
    except (KeyboardInterrupt, Interrupted, typer.Abort):
        _say("stackup: interrupted\n")
        return STOPPED
    except SystemExit as stop:
        return _after_exit(stop)
    except Exception as error:  # the last resort: words instead of a traceback
        return _last_resort(error, arguments, as_json)


def open_streams() -> None:
    """Send what is written to stdout and stderr nowhere where they were closed before the program began."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 - open to the end


def _last_resort(error: Exception, arguments: Sequence[str], as_json: bool) -> int:
    """Say what is wrong with the command line, that help has no place to go, or that the program is at fault."""
    if hasattr(error, "format_message"):
        from stackup.report import usage

        return _refuse(usage.fault_of(error, arguments), as_json)
    if isinstance(error, OSError) and error.errno in NO_ROOM:
        from stackup.report.output import cannot_write, silence

        silence(sys.stdout)
        return _refuse(cannot_write(error), as_json=False)
    return _own_fault(error)


def _refuse(error: StackupError, as_json: bool) -> int:
    """Say what is wrong with the input: in words on stderr, with ``--json`` as a record on stdout too."""
    from stackup.report import faults, json
    from stackup.report.output import put

    _say(faults.in_words(error))
    if as_json:
        put(json.text_of(faults.record(faults.faults_of(error))), sys.stdout)
    return WRONG


def _after_exit(stop: SystemExit) -> int:
    """Return the exit code where the parser itself ends; a reader that closed the pipe on its help changes none."""
    if isinstance(stop.__context__, BrokenPipeError):
        from stackup.report.output import silence

        silence(sys.stdout)
        return MET
    return WRONG if stop.code else MET


def _own_fault(error: Exception) -> int:
    """Say that the fault is the program's own, and where."""
    trace = error.__traceback__
    while trace and trace.tb_next:
        trace = trace.tb_next
    where = f" ({Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno})" if trace else ""
    _say(f"stackup: a fault of the program itself, not of the input: {type(error).__name__}: {error}{where}\n")
    return INTERNAL


def _say(text: str) -> None:
    """Write to stderr; where nothing can be written the exit code says it alone."""
    from stackup.report.output import put

    with contextlib.suppress(StackupError):
        put(text, sys.stderr)
