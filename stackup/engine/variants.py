"""The same cages with one dimension come out otherwise, many such variants in one run.

Every dimension draws from a stream of its own (``monte_carlo.stream``), so a model in which one dimension differs draws
the same numbers in all others.  Here the cages are drawn once; each variant draws its own dimension again (and zones
whose limit grows with it) and computes again only what hangs on it.  Counts are those of ``monte_carlo.run`` on the
changed model, to the last cage.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from stackup.chain.model import Model, Requirement
from stackup.chain.program import compile_model
from stackup.engine.monte_carlo import CHUNK
from stackup.engine.scatter import owner_of
from stackup.engine.settings import Progress, Settings, silent
from stackup.engine.variant_walk import Counts, Tally, Variant, Walker

__all__ = ["Counts", "Variant", "held_by", "run"]


def held_by(model: Model, requirement: Requirement) -> frozenset[str]:
    """Return the dimensions on which a requirement depends, those that a zone's limit grows with included."""
    program = compile_model(model, [requirement.gap])
    found = {owner_of(model, part).name for part in program.inputs}
    while needed := {need for name in found if (need := model.dimensions[name].law.needs)} - found:
        found |= needed
    return frozenset(found)


def run(
    model: Model,
    requirements: Sequence[Requirement],
    variants: Sequence[Variant],
    settings: Settings,
    progress: Progress = silent,
    kept: Mapping[str, int] | None = None,
) -> tuple[Counts, list[Counts]]:
    """Return the counts over ``settings.cages`` cages of the model as it is, and of every variant.

    A variant counts only requirements that hold its dimension (any of them: all).  ``kept``: how many crossings of a
    requirement are wanted.  KeyboardInterrupt from ``progress`` stops the run.
    """
    sizes = [min(CHUNK, settings.cages - start) for start in range(0, settings.cages, CHUNK)]
    idle: list[Walker] = []

    def work(index: int) -> list[Tally]:
        walker = idle.pop() if idle else Walker(model, requirements, variants, settings.seed)
        try:
            return walker.chunk(index, sizes[index], kept or {})
        finally:
            idle.append(walker)

    total: list[Tally] = []
    for done, found in enumerate(_chunks(work, len(sizes), settings.workers)):
        total = found if not total else [one.merged(other) for one, other in zip(total, found, strict=True)]
        progress(done + 1, len(sizes), "cages")
    base, *others = (tally.counts() for tally in total)
    return base, others


def _chunks(work: Any, count: int, workers: int) -> Iterator[Any]:
    if workers == 1:
        yield from map(work, range(count))
        return
    with ThreadPoolExecutor(workers) as pool:
        try:
            yield from pool.map(work, range(count))
        finally:
            pool.shutdown(cancel_futures=True)
