"""Many jobs of one sort shared out to processes; what comes of them does not depend on their number."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TypeVar

from stackup.decide.apart import Apart, is_possible
from stackup.engine.settings import Progress
from stackup.errors import Interrupted

Job = TypeVar("Job")
Made = TypeVar("Made")
#: results with the places of their jobs
_Found = list[tuple[int, Made]]


def share_out(
    jobs: Sequence[Job], work: Callable[[Job, Progress], Made], workers: int, progress: Progress, what: str
) -> list[Made]:
    """Return ``work(job, progress)`` of every job, in their order, done by up to ``workers`` ≥ 1 processes.

    Worker k takes the jobs k, k + workers, …; the first is this process.  ``progress`` hears how many jobs are done.
    Raises Interrupted with the results that were finished, in the order of their jobs.
    """
    workers = max(1, min(workers, len(jobs))) if is_possible() else 1
    done = [0.0] * workers

    def teller(worker: int) -> Progress:
        def tell(finished: float, of: float, _: str) -> None:
            del of
            done[worker] = finished
            progress(sum(done), len(jobs), what)

        return tell

    portions = [range(start, len(jobs), workers) for start in range(workers)]
    others = [Apart(partial(_portion, jobs, work, portion)) for portion in portions[1:]]

    def ours(finished: float, of: float, _: str) -> None:
        teller(0)(finished, of, what)
        for worker, other in enumerate(others, start=1):
            other.report(teller(worker))

    try:
        found, stopped = _kept(lambda: _portion(jobs, work, portions[0], ours))
        for worker, other in enumerate(others, start=1):
            theirs, stopped = (other.wound_up(), True) if stopped else _waited_for(other, teller(worker))
            found = [*found, *(theirs or [])]
    except BaseException:
        for other in others:
            other.kill()
        raise
    made = [result for _, result in sorted(found, key=lambda one: one[0])]
    if stopped:
        raise Interrupted(made)
    return made


def _portion(
    jobs: Sequence[Job], work: Callable[[Job, Progress], Made], places: range, progress: Progress
) -> _Found[Made]:
    """Do the jobs at ``places``.  Raises Interrupted with what was finished."""
    found: _Found[Made] = []

    def within(*_: object) -> None:
        progress(len(found), len(places), "")

    try:
        for place in places:
            found.append((place, work(jobs[place], within)))
            within()
    except (KeyboardInterrupt, Interrupted):
        raise Interrupted(found) from None
    return found


def _waited_for(other: Apart[_Found[Made]], progress: Progress) -> tuple[_Found[Made] | None, bool]:
    """Wait for what a process found, and tell whether the user stopped it before the end."""
    try:
        return _kept(lambda: other.result(progress))
    except KeyboardInterrupt:
        return other.wound_up(), True


def _kept(run: Callable[[], _Found[Made]]) -> tuple[_Found[Made], bool]:
    """Return what ``run`` found, and whether it was stopped before the end."""
    try:
        return run(), False
    except Interrupted as stopped:
        return stopped.records or [], True
