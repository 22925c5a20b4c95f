"""What of a block of cages is tallied: every gap under its folds, against the limits on it, in every state of a row."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from stackup.chain.fold import FOLDS
from stackup.chain.model import Model, Requirement
from stackup.chain.together import Together
from stackup.engine.tally import Failures, Moments, Room, Scale, may_fail, within

Array = Any

#: one of so many blocks of a chunk is looked at closely (``Moments``); counts, mean and sd take all
CLOSELY = 4


@dataclass(frozen=True)
class Watch:
    """One number that is tallied: an output of the program under a fold, and the requirements on it.

    ``gap`` is the output's name; ``states``: those of a row in which it holds the gap that the requirements name.
    """

    gap: str
    over: str
    rows: int
    requirements: tuple[Requirement, ...]
    states: tuple[str, ...] = ()

    @property
    def place(self) -> tuple[str, str]:
        """Return output and fold."""
        return self.gap, self.over

    def folded(self, values: Array, cages: int) -> Array:
        """Return the numbers (rows, cages) that are tallied; an output without draws or pockets is smaller."""
        found = FOLDS[self.over].value(values)
        return found if found.shape == (self.rows, cages) else np.broadcast_to(found, (self.rows, cages))


def watches(model: Model, requirements: Sequence[Requirement]) -> list[Watch]:
    """Return what is tallied, each (gap, fold) once."""
    found: dict[tuple[str, str], list[Requirement]] = {}
    for requirement in requirements:
        found.setdefault((requirement.gap, requirement.over), []).append(requirement)
    return [
        Watch(
            gap,
            over,
            1 if FOLDS[over].of_cage or model.gap(gap).scope == "cage" else model.pockets,
            tuple(each),
        )
        for (gap, over), each in found.items()
    ]


def in_states(seen: Sequence[Watch], joined: Together) -> list[Watch]:
    """Return what is tallied of a row in all its states: what is the same in several of them once."""
    return [
        replace(watch, gap=output, states=states)
        for watch in seen
        for output, states in joined.states_of(watch.gap).items()
    ]


@dataclass(frozen=True)
class AnyOf:
    """Counts of what fails any requirement in one state."""

    pockets: Failures
    cages: Failures

    def merge(self, other: AnyOf) -> None:
        """Add another chunk's counts."""
        self.pockets.merge(other.pockets)
        self.cages.merge(other.cages)


class Counter:
    """Tallies of one chunk.

    ``moments`` by output and fold, ``failures`` by output and requirement, ``any_of`` by state.
    """

    def __init__(self, pockets: int, seen: Sequence[Watch], scales: Mapping[tuple[str, str], Scale]) -> None:
        """Prepare empty tallies."""
        self.pockets = pockets
        self.by_gap: dict[str, list[Watch]] = {}
        for watch in seen:
            self.by_gap.setdefault(watch.gap, []).append(watch)
        self.moments = {watch.place: Moments(scales[watch.place]) for watch in seen}
        self.failures = {(w.gap, r.name): Failures() for w in seen for r in w.requirements}
        self.any_of = {state: AnyOf(Failures(), Failures()) for watch in seen for state in watch.states}
        self._room: dict[tuple[int, ...], Room] = {}
        self._bad_pockets: dict[str, Array] = {}
        self._bad_cages: dict[str, Array] = {}

    def begin(self, cages: int, block: int) -> None:
        """Begin block number ``block`` of the chunk, ``cages`` cages."""
        self.cages, self._closely = cages, block % CLOSELY == 0
        self._bad_pockets.clear()
        self._bad_cages.clear()

    def sink(self, gap: str, values: Array) -> None:
        """Tally one output of the block."""
        for watch in self.by_gap.get(gap, ()):
            folded = watch.folded(values, self.cages)
            least, greatest = self.moments[watch.place].add(folded, self._room_for(folded.shape), self._closely)
            for requirement in watch.requirements:
                self._judge(requirement, watch, folded, least, greatest)

    def _room_for(self, shape: tuple[int, ...]) -> Room:
        if shape not in self._room:
            self._room[shape] = Room.of(shape)
        return self._room[shape]

    def _judge(self, requirement: Requirement, watch: Watch, values: Array, least: float, greatest: float) -> None:
        failures = self.failures[watch.gap, requirement.name]
        if not may_fail(least, greatest, requirement.min, requirement.max):
            failures.cages += self.cages
            return
        bad = ~within(values, requirement.min, requirement.max)
        counts = np.broadcast_to(bad.sum(axis=0), (self.cages,))
        failures.add(counts)
        _add_to(self._bad_cages, watch.states, counts > 0)
        if watch.rows == self.pockets and watch.over == "each":
            _add_to(self._bad_pockets, watch.states, bad)

    def end(self) -> None:
        """End the block: count what failed any requirement."""
        for state, any_of in self.any_of.items():
            _count(any_of.pockets, self._bad_pockets.get(state), self.cages)
            _count(any_of.cages, self._bad_cages.get(state), self.cages)

    def merge(self, other: Counter) -> None:
        """Add another chunk's tallies."""
        for place, moments in self.moments.items():
            moments.merge(other.moments[place])
        for name, failures in self.failures.items():
            failures.merge(other.failures[name])
        for state, any_of in self.any_of.items():
            any_of.merge(other.any_of[state])


def _add_to(found: dict[str, Array], states: Sequence[str], bad: Array) -> None:
    """Add what fails to all that fails in some states."""
    for state in states:
        found[state] = found[state] | bad if state in found else bad


def _count(failures: Failures, bad: Array | None, cages: int) -> None:
    """Count what fails of a block, (Z, n) pockets or (n,) cages; None: nothing."""
    if bad is None:
        failures.cages += cages
    else:
        failures.add(bad.sum(axis=0) if bad.ndim == 2 else bad.astype(np.int64))
