"""A function in a process beside this one: what it says comes back, and it ends when asked, killed or left alone."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from stackup.decide import apart
from stackup.decide.apart import Apart, is_possible
from stackup.engine.settings import Progress, silent
from stackup.errors import Interrupted

pytestmark = pytest.mark.skipif(not is_possible(), reason="no process can be forked here")

HERE = os.getpid()
#: seconds in which a process ends that does nothing but wait for it
SOON = 10.0


def begun(function: Callable[[Progress], str]) -> Apart[str]:
    """Begin and wait until the process has spoken."""
    beside = Apart(function)
    assert beside._pipe.poll(SOON)
    return beside


def wait(progress: Progress) -> str:
    """Speak, then sleep until a signal."""
    progress(1, 2, "waiting")
    time.sleep(SOON)
    return "never stopped"


def test_what_it_reports_and_returns() -> None:
    """Reports come in their order, then what the function returns."""
    heard: list[tuple[float, float, str]] = []

    def speak(progress: Progress) -> str:
        progress(1, 4, "half")
        progress(2, 4, "half")
        return f"not {HERE}" if os.getpid() != HERE else "here"

    found = Apart(speak).result(lambda *said: heard.append(said))
    assert heard == [(1, 4, "half"), (2, 4, "half")]
    assert found == f"not {HERE}"


def test_a_fault_is_raised_here() -> None:
    """What the function raises in its process it raises again in this one."""

    def fail(_: Progress) -> str:
        raise ZeroDivisionError("there" if os.getpid() != HERE else "here")

    with pytest.raises(ZeroDivisionError, match="here"):
        Apart(fail).result(silent)


def test_asked_to_stop() -> None:
    """It answers with the records that its function carries out."""

    def careful(progress: Progress) -> str:
        try:
            return wait(progress)
        except KeyboardInterrupt:
            raise Interrupted("half of it") from None

    beside = begun(careful)
    beside.stop()
    with pytest.raises(Interrupted) as caught:
        beside.result(silent)
    assert caught.value.records == "half of it"


def test_stopped_with_nothing_in_hand() -> None:
    """A function that keeps nothing leaves no records."""
    beside = begun(wait)
    beside.stop()
    with pytest.raises(Interrupted) as caught:
        beside.result(silent)
    assert caught.value.records is None


def test_asked_again_until_it_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    """A wish to stop that is lost (some libraries swallow it) is told again."""
    monkeypatch.setattr(apart, "AGAIN", 0.1)

    def deaf_once(progress: Progress) -> str:
        try:
            wait(progress)
        except KeyboardInterrupt:
            time.sleep(0.2)
        return wait(silent)

    beside = begun(deaf_once)
    beside.stop()
    with pytest.raises(Interrupted):
        beside.result(silent)


def test_asked_twice_at_once(capfd: pytest.CaptureFixture[str]) -> None:
    """The terminal asks the whole group and the parent asks as well: the second wish does not disturb the answer."""

    def careful(progress: Progress) -> str:
        try:
            return wait(progress)
        except KeyboardInterrupt:
            time.sleep(0.1)
            raise Interrupted("half of it") from None

    beside = begun(careful)
    beside.stop()
    time.sleep(0.05)
    beside.stop()
    with pytest.raises(Interrupted) as caught:
        beside.result(silent)
    assert caught.value.records == "half of it"
    assert not capfd.readouterr().err


def test_stopped_before_it_began(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> None:
    """A wish to stop that comes with the fork is neither lost nor answered by a traceback."""
    serve = apart._serve

    def stopped_at_once(*given: Any) -> None:
        os.kill(os.getpid(), signal.SIGINT)
        serve(*given)

    monkeypatch.setattr(apart, "_serve", stopped_at_once)
    with pytest.raises(Interrupted):
        Apart(lambda _: "done" if os.getpid() != HERE else "begun anew").result(silent)
    assert not capfd.readouterr().err


def test_dead_after_it_was_asked_to_stop() -> None:
    """The user wants no more: what the process has lost is not done again here."""

    def dying(progress: Progress) -> str:
        if os.getpid() == HERE:
            return "begun anew"
        try:
            return wait(progress)
        except KeyboardInterrupt:
            os._exit(9)

    beside = begun(dying)
    beside.stop()
    with pytest.raises(Interrupted) as caught:
        beside.result(silent)
    assert caught.value.records is None


def test_a_second_stop_does_not_wait() -> None:
    """A user who cannot wait for the answer: the process is ended, and nothing of it is kept."""

    def deaf(progress: Progress) -> str:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # before it speaks: it never hears the first wish
        return wait(progress)

    beside = begun(deaf)
    handler = signal.signal(signal.SIGINT, signal.default_int_handler)
    main = threading.main_thread().ident
    assert main is not None
    again = threading.Timer(0.3, signal.pthread_kill, (main, signal.SIGINT))
    before = time.monotonic()
    again.start()
    try:
        assert beside.wound_up() is None
    finally:
        again.join()
        signal.signal(signal.SIGINT, handler)
    assert 0.3 <= time.monotonic() - before < SOON / 2
    assert not beside._process.is_alive()


def test_a_message_cut_in_two(monkeypatch: pytest.MonkeyPatch) -> None:
    """A stop while a message is read leaves half of it in the pipe: no more can be understood, and nothing is done."""
    beside = begun(wait)
    os.read(beside._pipe.fileno(), 7)
    monkeypatch.setattr(beside, "_function", lambda _: "begun anew")
    beside.stop()
    with pytest.raises(Interrupted) as caught:
        beside.result(silent)
    assert caught.value.records is None


def test_killed() -> None:
    """It ends at once, whatever it is at."""
    beside = begun(wait)
    before = time.monotonic()
    beside.kill()
    assert time.monotonic() - before < SOON / 2
    assert not beside._process.is_alive()


ORPHAN = """
import os
from stackup.decide.apart import Apart

def speak(progress):
    for _ in range(100_000):  # more than a pipe holds
        progress(1, 2, "talking to nobody")

beside = Apart(speak)
os.write(1, b"begun\\n")
beside.result(lambda *_: os.read(0, 1))  # listens to nothing until it is killed
"""


def test_left_alone() -> None:
    """Where the parent is killed, the process beside it ends too: nothing runs on for nobody."""
    parent = subprocess.Popen(
        [sys.executable, "-c", ORPHAN],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        cwd=Path(__file__).parents[2],
        start_new_session=True,
    )
    assert parent.stdout is not None
    try:
        assert parent.stdout.readline() == b"begun\n"
        parent.kill()
        parent.wait(SOON)
        parent.communicate(timeout=SOON)  # the end of the output comes when no process holds it any more
    finally:
        end_group(parent.pid)


def end_group(leader: int) -> None:
    """End what is left of the process group of ``leader``."""
    with contextlib.suppress(ProcessLookupError):
        os.killpg(leader, signal.SIGKILL)
