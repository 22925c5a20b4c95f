"""Runs all engines on a row in all its states; with several workers worst case and RSS in a process of their own."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from stackup.chain.model import Model, Requirement
from stackup.decide.apart import Apart, is_possible
from stackup.decide.once import Once
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


def run_states(
    models: Mapping[str, Model], requirements: Sequence[Requirement], settings: Settings, progress: Progress
) -> dict[str, Found]:
    """Return what every engine finds of a row, by state; what was finished where the user stops the run.

    ``models`` differ in the values of parameters only (else ValueError): all draw the same cages, and what no state
    changes is worked out once.  The numbers are those of each state by itself, and do not depend on
    ``settings.workers``.
    """
    once = Once(models, requirements)
    found = {state: Found() for state in models}
    by_law = partial(_by_law, models, once, settings)
    if settings.workers == 1 or not is_possible():
        _keep_laws(found, lambda: by_law(progress))
        _sample(found, models, requirements, once, settings, progress)
        return found
    beside = Apart(by_law)
    try:

        def both(done: float, of: float, what: str) -> None:
            progress(done, of, what)
            beside.report(progress)

        _sample(found, models, requirements, once, replace(settings, workers=settings.workers - 1), both)
        _keep_laws(found, lambda: _answer_of(beside, progress, _stopped(found)))
    except BaseException:
        beside.kill()
        raise
    return found


def _stopped(found: Mapping[str, Found]) -> bool:
    return any(one.interrupted for one in found.values())


def _stop(found: Mapping[str, Found]) -> None:
    for one in found.values():
        one.interrupted = True


@dataclass(frozen=True)
class _Laws:
    """What worst case and RSS found, by state and requirement."""

    worst_case: dict[str, dict[str, WorstCase]] = field(default_factory=dict)
    rss: dict[str, dict[str, Rss | None]] = field(default_factory=dict)
    reasons: dict[str, dict[str, str]] = field(default_factory=dict)

    def filled(self, once: Once) -> _Laws:
        """Return them in every state in which they hold."""
        return _Laws(once.filled(self.worst_case), once.filled(self.rss), once.filled(self.reasons))


def _by_law(models: Mapping[str, Model], once: Once, settings: Settings, progress: Progress) -> _Laws:
    """Return what worst case and RSS find, state by state.  Raises Interrupted with what was finished."""
    laws = _Laws()
    try:
        for state, model in models.items():
            if once.asked[state]:
                _laws_of(laws, state, model, once.asked[state], settings, once.within(state, progress))
    except (Interrupted, KeyboardInterrupt):
        raise Interrupted(laws.filled(once)) from None
    return laws.filled(once)


def _laws_of(
    laws: _Laws, state: str, model: Model, asked: Sequence[Requirement], settings: Settings, progress: Progress
) -> None:
    """Put in what worst case and RSS find in one state, what was finished where Interrupted is raised."""
    try:
        laws.worst_case[state] = worst_case.run(model, asked, settings, progress)
        laws.rss[state], laws.reasons[state] = rss.run(model, asked, settings, progress)
    except Interrupted as stopped:
        if isinstance(stopped.records, tuple):
            laws.rss[state], laws.reasons[state] = stopped.records
        elif stopped.records is not None:
            laws.worst_case[state] = stopped.records
        raise


def _answer_of(beside: Apart[_Laws], progress: Progress, stopped: bool) -> _Laws:
    """Wait for the process; the user's wish to stop is passed on to it.  Raises Interrupted with what it had."""
    if not stopped:
        try:
            return beside.result(progress)
        except KeyboardInterrupt:
            pass
    raise Interrupted(beside.wound_up())


def _keep_laws(found: Mapping[str, Found], laws_of: Callable[[], _Laws]) -> None:
    try:
        laws = laws_of()
    except Interrupted as stopped:
        _stop(found)
        laws = stopped.records or _Laws()
    for state, one in found.items():
        one.worst_case = laws.worst_case.get(state, {})
        one.rss, one.reasons = laws.rss.get(state, {}), laws.reasons.get(state, {})


def _sample(
    found: Mapping[str, Found],
    models: Mapping[str, Model],
    requirements: Sequence[Requirement],
    once: Once,
    settings: Settings,
    progress: Progress,
) -> None:
    """Run Monte Carlo and contributions; nothing is begun after an interruption."""
    if _stopped(found):
        return
    drawn: Mapping[str, MonteCarlo] = {}
    moved: dict[str, Mapping[str, tuple[Contribution, ...]]] = {}
    try:
        try:
            drawn = monte_carlo.run_states(models, requirements, settings, progress)
        except Interrupted as stopped:
            drawn = stopped.records or {}
            raise
        _contributions(moved, models, once, settings, progress)
    except (Interrupted, KeyboardInterrupt):
        _stop(found)
    filled = once.filled(moved)
    for state, one in found.items():
        one.monte_carlo, one.contributions = drawn.get(state), filled[state]


def _contributions(
    moved: dict[str, Mapping[str, tuple[Contribution, ...]]],
    models: Mapping[str, Model],
    once: Once,
    settings: Settings,
    progress: Progress,
) -> None:
    """Put in the contributions of all states, what was finished where Interrupted is raised."""
    for state, model in models.items():
        if once.asked[state]:
            try:
                moved[state] = contributions.run(model, once.asked[state], settings, once.within(state, progress))
            except Interrupted as stopped:
                moved[state] = stopped.records or {}
                raise
