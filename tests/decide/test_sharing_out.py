"""Jobs shared out to processes: the results and their order do not depend on the number of workers."""

from __future__ import annotations

import multiprocessing
import os
import time

import pytest

from stackup.decide.share_out import share_out
from stackup.engine.settings import Progress, silent
from stackup.errors import Interrupted


def squared(job: int, progress: Progress) -> int:
    progress(0, 1, "")
    return job * job


@pytest.mark.parametrize("workers", [1, 2, 3, 9])
@pytest.mark.parametrize("count", [0, 1, 2, 7])
def test_in_their_order(workers: int, count: int) -> None:
    """Also with more workers than jobs, and with none to do; the last thing heard is that all are done."""
    heard: list[tuple[float, float, str]] = []
    made = share_out(range(count), squared, workers, lambda *said: heard.append(said), "jobs")
    assert made == [job * job for job in range(count)]
    assert all(of == count and what == "jobs" for _, of, what in heard)
    assert not heard or max(done for done, _, _ in heard) == count


def test_in_processes_of_their_own() -> None:
    """Every second job runs in another process."""
    processes = share_out(range(4), lambda *_: os.getpid(), 2, silent, "jobs")
    assert processes[0] == processes[2] == os.getpid() != processes[1] == processes[3]


@pytest.mark.parametrize("workers", [1, 2])
def test_what_a_job_raises_is_raised(workers: int) -> None:
    """Wherever it ran."""

    def odd(job: int, progress: Progress) -> int:
        del progress
        if job == 3:
            raise ValueError("three")
        return job

    with pytest.raises(ValueError, match="three"):
        share_out(range(5), odd, workers, silent, "jobs")


def test_stopped_with_what_is_finished() -> None:
    """Everything finished by either process is kept, in the order of the jobs; nothing that was not."""

    def slow(job: int, progress: Progress) -> int:
        while job >= 4:
            time.sleep(0.01)
            progress(0, 1, "")
        return job

    def stop(done: float, *_: object) -> None:
        if done >= 4:
            raise KeyboardInterrupt

    with pytest.raises(Interrupted) as raised:
        share_out(range(8), slow, 2, stop, "jobs")
    assert raised.value.records == [0, 1, 2, 3]


def test_a_stop_said_again_and_again() -> None:
    """A progress that goes on saying stop while the other process is wound up loses no result and passes no stop on."""
    ready = multiprocessing.get_context("fork").Event()

    def talk(job: int, progress: Progress) -> int:
        if job == 0:
            assert ready.wait(10)
        if job == 3:
            for _ in range(20):  # all in the pipe before the first process listens
                progress(0, 1, "")
            ready.set()
            time.sleep(10)
        return job

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    with pytest.raises(Interrupted) as raised:
        share_out(range(4), talk, 2, stop, "jobs")
    assert raised.value.records == [0, 1]
