"""Runs all engines on one model: the sampler in a thread of its own (it releases the interpreter's lock)."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any

from stackup.chain.model import Model, Requirement
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
    """Return what every engine finds; what was finished where the user stops the run."""
    found, stop = Found(), threading.Event()

    def unless_stopped(done: float, of: float, what: str) -> None:
        if stop.is_set():
            raise KeyboardInterrupt
        progress(done, of, what)

    with ThreadPoolExecutor(1) as pool:
        sampling = pool.submit(monte_carlo.run, model, requirements, settings, unless_stopped)
        try:
            _in_this_thread(found, model, requirements, settings, progress)
            if found.interrupted:
                stop.set()
            _take_sampled(found, sampling)
        except KeyboardInterrupt:
            stop.set()
            _take_sampled(found, sampling)
            found.interrupted = True
        except BaseException:
            stop.set()
            raise
    return found


def _in_this_thread(
    found: Found, model: Model, requirements: Sequence[Requirement], settings: Settings, progress: Progress
) -> None:
    """Run worst case, RSS and contributions one after the other; none is begun after an interruption."""

    def keep_rss(records: Any) -> None:
        found.rss, found.reasons = records

    steps: tuple[tuple[Callable[..., Any], Callable[[Any], None]], ...] = (
        (worst_case.run, lambda records: setattr(found, "worst_case", records)),
        (rss.run, keep_rss),
        (contributions.run, lambda records: setattr(found, "contributions", records)),
    )
    for run, keep in steps:
        try:
            keep(run(model, requirements, settings, progress))
        except Interrupted as stopped:
            found.interrupted = True
            if stopped.records is not None:
                keep(stopped.records)
            return


def _take_sampled(found: Found, sampling: Future[MonteCarlo]) -> None:
    try:
        found.monte_carlo = sampling.result()
    except Interrupted as stopped:
        found.interrupted, found.monte_carlo = True, stopped.records
