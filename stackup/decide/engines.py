"""Runs all engines on one model; with several workers the worst case and RSS in a process beside the sampler."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from stackup.chain.model import Model, Requirement
from stackup.decide.apart import Apart, is_possible
from stackup.engine import contributions, monte_carlo, rss, worst_case
from stackup.engine.result import Contribution, MonteCarlo, Rss, WorstCase
from stackup.engine.settings import Progress, Settings
from stackup.errors import Interrupted


@dataclass
class Found:
    """What the engines found, by requirement; incomplete where ``interrupted``."""

    worst_case: Mapping[str, WorstCase] = field(default_factory=dict)
    rss: Mapping[str, Rss | None] = field(default_factory=dict)
    reasons: Mapping[str, str] = field(default_factory=dict)
    contributions: Mapping[str, tuple[Contribution, ...]] = field(default_factory=dict)
    monte_carlo: MonteCarlo | None = None
    interrupted: bool = False


def run_all(model: Model, requirements: Sequence[Requirement], settings: Settings, progress: Progress) -> Found:
    """Return what every engine finds; what was finished where the user stops the run.

    The numbers do not depend on ``settings.workers``.
    """
    found = Found()
    by_law = partial(_by_law, model, requirements, settings)
    if settings.workers == 1 or not is_possible():
        _keep_laws(found, lambda: by_law(progress))
        _sample(found, model, requirements, settings, progress)
        return found
    beside = Apart(by_law)
    try:

        def both(done: float, of: float, what: str) -> None:
            progress(done, of, what)
            beside.report(progress)

        _sample(found, model, requirements, replace(settings, workers=settings.workers - 1), both)
        _keep_laws(found, lambda: _answer_of(beside, progress, found.interrupted))
    except BaseException:
        beside.kill()
        raise
    return found


def _by_law(model: Model, requirements: Sequence[Requirement], settings: Settings, progress: Progress) -> Found:
    """Return what worst case and RSS find.  Raises Interrupted with what was finished."""
    laws = Found()
    try:
        laws.worst_case = worst_case.run(model, requirements, settings, progress)
        laws.rss, laws.reasons = rss.run(model, requirements, settings, progress)
    except Interrupted as stopped:
        if isinstance(stopped.records, tuple):
            laws.rss, laws.reasons = stopped.records
        elif stopped.records is not None:
            laws.worst_case = stopped.records
        raise Interrupted(laws) from None
    except KeyboardInterrupt:
        raise Interrupted(laws) from None
    return laws


def _answer_of(beside: Apart[Found], progress: Progress, stopped: bool) -> Found:
    """Wait for the process; the user's wish to stop is passed on to it.  Raises Interrupted with what it had."""
    if not stopped:
        try:
            return beside.result(progress)
        except KeyboardInterrupt:
            pass
    raise Interrupted(beside.wound_up())


def _keep_laws(found: Found, laws_of: Callable[[], Found]) -> None:
    try:
        laws = laws_of()
    except Interrupted as stopped:
        found.interrupted, laws = True, stopped.records
    if laws is not None:
        found.worst_case, found.rss, found.reasons = laws.worst_case, laws.rss, laws.reasons


def _sample(
    found: Found, model: Model, requirements: Sequence[Requirement], settings: Settings, progress: Progress
) -> None:
    """Run Monte Carlo and contributions; nothing is begun after an interruption."""
    if found.interrupted:
        return
    try:
        found.monte_carlo = monte_carlo.run(model, requirements, settings, progress)
    except Interrupted as stopped:
        found.interrupted, found.monte_carlo = True, stopped.records
        return
    except KeyboardInterrupt:
        found.interrupted = True
        return
    try:
        found.contributions = contributions.run(model, requirements, settings, progress)
    except Interrupted as stopped:
        found.interrupted, found.contributions = True, stopped.records or {}
    except KeyboardInterrupt:
        found.interrupted = True
