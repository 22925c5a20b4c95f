"""A function that runs in a process of its own beside this one, where the system can fork and nothing forbids it.

Threads do not help here: the engines are many small operations, and two threads of one interpreter wait for each
other most of the time.
"""

from __future__ import annotations

import math
import multiprocessing
import os
import signal
import threading
import time
import warnings
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any, Generic, TypeVar

from stackup.engine.settings import Progress, silent
from stackup.errors import Interrupted

Result = TypeVar("Result")

#: seconds after which a process that was asked to stop is asked again
AGAIN = 1.0


def is_possible() -> bool:
    """Tell whether a process can be forked safely: a system with fork, the main thread, and no other."""
    forks = "fork" in multiprocessing.get_all_start_methods() and hasattr(os, "fork")
    return forks and threading.active_count() == 1 and threading.current_thread() is threading.main_thread()


class Apart(Generic[Result]):
    """``function(progress)`` begun in a process of its own; what it reports and returns comes through a pipe."""

    def __init__(self, function: Callable[[Progress], Result]) -> None:
        """Begin; :func:`is_possible` must hold."""
        self._function = function
        self._answer: tuple[str, Any] | None = None
        self._stopping = False
        context = multiprocessing.get_context("fork")
        self._pipe, theirs = context.Pipe(duplex=False)
        self._process = context.Process(target=_serve, args=(function, self._pipe, theirs), daemon=True)
        with warnings.catch_warnings():  # idle threads of a linear algebra library do not hold any lock of ours
            warnings.simplefilter("ignore", DeprecationWarning)
            before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})  # _serve heeds it when it is ready
            try:
                self._process.start()
            finally:
                signal.pthread_sigmask(signal.SIG_SETMASK, before)
        theirs.close()

    def report(self, progress: Progress) -> None:
        """Pass on what the process has reported so far; its result stays in the pipe."""
        while self._answer is None and self._pipe.poll():
            message = self._kept()
            if message[0] == "progress":
                progress(*message[1])

    def _kept(self) -> tuple[str, Any]:
        """Return the next message, an answer kept; a stop in the midst of it comes when it is safe."""
        stopped = False

        def note(*_: object) -> None:
            nonlocal stopped
            stopped = True

        before = signal.signal(signal.SIGINT, note)
        try:
            message = self._message()
            if message[0] != "progress":
                self._answer = message
        finally:
            signal.signal(signal.SIGINT, before)
        if stopped:
            raise KeyboardInterrupt
        return message

    def _message(self) -> tuple[str, Any]:
        """Return the next message: that it failed where the process died, or a stop cut a message in two."""
        try:
            kind, said = self._pipe.recv()
        except Exception:
            return "failed", None
        return kind, said

    def result(self, progress: Progress) -> Result:
        """Wait for what the function returns; Interrupted with its records where it was stopped.

        Where the process failed, the function runs in this one, and raises here what it raises; where it was asked to
        stop, there is nothing more to do.
        """
        self.report(progress)
        while self._answer is None:
            if not self._pipe.poll(AGAIN if self._stopping else None):
                self.stop()
            self.report(progress)
        self._process.join()
        kind, records = self._answer
        if kind == "stopped" or (kind == "failed" and self._stopping):
            raise Interrupted(records)
        if kind == "failed":
            return self._function(progress)
        found: Result = records
        return found

    def wound_up(self) -> Result | Any:
        """Stop the process, and return what it found or the records that it had (None: nothing).

        The user has been heard: nobody is asked again meanwhile.  A second wish to stop does not wait for the answer.
        """
        self.stop()
        try:
            return self.result(silent)
        except Interrupted as stopped:
            return stopped.records
        except KeyboardInterrupt:
            self.kill()
            return None

    def stop(self) -> None:
        """Ask the process to stop with what it has; asked again until it answers."""
        self._stopping = True
        if self._process.is_alive() and self._process.pid is not None:
            os.kill(self._process.pid, signal.SIGINT)

    def kill(self) -> None:
        """End the process at once."""
        self._process.kill()
        self._process.join()


def _serve(function: Callable[[Progress], Any], theirs: Connection, pipe: Connection) -> None:
    """Run the function in the forked process and send what comes of it; ``theirs`` is the parent's end of the pipe."""
    theirs.close()  # else the pipe would never break, and this process wait for ever for a parent that is gone
    last = -math.inf

    def once(*_: object) -> None:
        nonlocal last
        before, last = last, time.monotonic()
        if last - before > AGAIN / 2:  # the terminal and the parent may both have asked
            raise KeyboardInterrupt

    def progress(done: float, of: float, what: str) -> None:
        pipe.send(("progress", (done, of, what)))

    kept: list[tuple[str, Any]] = []  # filled in one step: a stop that comes as the function returns loses nothing

    def attempt() -> None:
        try:
            kept.append(("done", function(progress)))
        except Interrupted as stopped:
            kept.append(("stopped", stopped.records))
        except Exception:  # the parent runs it again and raises the same in its own words
            kept.append(("failed", None))

    try:
        signal.signal(signal.SIGINT, once)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
        attempt()
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    except KeyboardInterrupt:
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    answer = kept[0] if kept else ("stopped", None)
    try:
        pipe.send(answer)
    except OSError:
        os._exit(1)
