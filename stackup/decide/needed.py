"""The least index at which all requirements hold if one process alone changes.

Of each dimension the index is wanted that is met while 1 % less of it is not.  All dimensions are searched at once,
on the same cages: every round draws them one time and tries two indices of each dimension.  Where the next pair
lies is told by the crossings of the last: from its margin as it is and at the last index, each pocket has a factor at
which it would begin to fail; the one that is one too many stands at the boundary, but for the curvature.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from stackup.chain.model import Requirement
from stackup.decide.processes import Spread, capability_of
from stackup.decide.trials import Change, Outcome, Trials, allowed_to_fail
from stackup.engine.settings import Progress, silent

#: the least index that is looked at, and one at which nothing scatters
FLOOR, LARGEST = 0.1, 1000.0
#: met at an index, not met with this part of it less
STEP = 0.01
#: how often the step of a guess is doubled at most: by then it spans all indices there are
FARTHEST = 15
#: an index is tried so far above where the boundary is thought to be: in the middle of the last per cent
ABOVE = 1.005
DIGITS = 4
#: a bracket with ends in this ratio is tried all over at once
NARROW = 1.05
MOST_ROUNDS = 20

Array = Any
Answer = Literal["found", "floor", "none", "not asked", "no index", "not finished"]


@dataclass(frozen=True)
class Needed:
    """The least ``index``, with its ``factor`` of the spread; None with a reason (``why``) where there is none.

    ``answer``: *found*; *floor*, any index down to FLOOR is enough (``index`` is FLOOR); *none* would do; *not
    asked*, no requirement with an allowance depends on it; *no index*, the dimension has none; *not
    finished*.  ``decided_by``: the requirement that fails first with less, or that no index
    of it mends; None where that does not depend on it.
    """

    answer: Answer
    index: float | None = None
    factor: float | None = None
    decided_by: str | None = None
    why: str = ""


NOT_FINISHED = Needed("not finished", why="the search was not finished")
NOT_SETTLED = Needed("not finished", why=f"met and not met alternate: no boundary was found in {MOST_ROUNDS} rounds")


@dataclass
class _Search:
    """One dimension under search: not met at ``low``, thought to be met at ``high``, surely met at ``best``.

    The boundary is thought to lie at ``guess``, where the requirement ``first`` fails first.
    """

    name: str
    spread: Spread
    held: tuple[Requirement, ...]
    low: float
    high: float
    best: float
    guess: float | None = None
    first: str | None = None
    steps: int = 0
    done: Needed | None = None

    def change(self, index: float, crossing: bool = True, only: frozenset[str] | None = None) -> Change:
        """Return what is tried at ``index``."""
        factor = self.spread.factor(index)
        return Change(self.name, factor, crossing and factor != 1, only)

    def tries(self) -> list[float]:
        """Return the indices to try next: the guess, else the middle of the bracket; a narrow bracket all over."""
        end = rounded_up(self.high)
        if self.high <= NARROW * self.low:
            comb = [end]
            while comb[-1] * (1 - STEP) > self.low:
                comb.append(rounded_up(comb[-1] * (1 - STEP)))
            return comb
        if self.guess is None or not self.low < self.guess < self.high:
            return [rounded_up(math.sqrt(self.low * self.high))]
        return [rounded_up(self.guess)]

    def below(self) -> list[Requirement]:
        """Return the requirement that is asked 1 % below: the one that should fail first; all where it is not known."""
        return [r for r in self.held if self.first in (None, r.name)]

    def narrow(self, index: float, met: bool) -> None:
        """Take in what was found at ``index``, at which all requirements were asked, or (met) 1 % above it."""
        if met:
            self.high = min(self.high, (1 - STEP) * index)
            self.best = min(self.best, index)
        else:
            self.low = max(self.low, index)
        if self.low >= self.high:
            self.high = self.best

    def step(self, index: float, failed: bool) -> None:
        """Go on from ``index``: the first new guess is believed where it moves, later ones go by steps that grow."""
        self.steps += 1
        least = (1 + STEP) ** (2 ** min(self.steps - 1, FARTHEST)) if self.steps > 1 else 1 + STEP / 2
        guess = index if self.guess is None else self.guess
        self.guess = max(guess, index * least) if failed else min(guess, index / least)


def rounded_up(value: float) -> float:
    """Return ``value`` > 0 with DIGITS digits, never less than it is."""
    text = f"{value:.{DIGITS - 1}e}"
    if float(text) >= value:
        return float(text)
    digits, _, power = text.partition("e")
    return float(f"{float(digits) + 10.0 ** (1 - DIGITS):.{DIGITS - 1}f}e{power}")


def needed_indices(
    trials: Trials, names: Iterable[str], base: Outcome, progress: Progress = silent
) -> dict[str, Needed]:
    """Return the least index of each dimension in ``names``; ``base`` is what was found of the case as it is.

    KeyboardInterrupt from ``progress`` stops the search: what is not known by then is *not finished*.
    """
    verdicts = trials.verdicts(base, trials.requirements)
    lacking = [r for r in trials.requirements if verdicts[r.name] != "met"]
    begun = {name: _begin(trials, name, lacking) for name in names}
    searches = [one for one in begun.values() if isinstance(one, _Search)]
    try:
        _far_ends(trials, searches, lacking, progress)
        for _ in range(MOST_ROUNDS):
            left = [search for search in searches if search.done is None]
            if left:
                _round(trials, left, progress)
        for search in searches:
            search.done = search.done or NOT_SETTLED
    except KeyboardInterrupt:
        pass
    return {name: one if isinstance(one, Needed) else one.done or NOT_FINISHED for name, one in begun.items()}


def _begin(trials: Trials, name: str, lacking: Sequence[Requirement]) -> Needed | _Search:
    """Return the search of one dimension, or the answer where there is nothing to search."""
    has, held = capability_of(trials.dimensions[name]), trials.holding(name)
    if not held:
        return Needed("not asked", why="no requirement with an allowance depends on it")
    if has.cpk is None or has.spread is None:
        return Needed("no index", why=has.why)
    if has.spread.index <= 0:
        return Needed("no index", why="its mean stands outside the tolerance: no spread has an index above 0")
    for r in lacking:
        if r.name not in trials.provable:
            why = f"{trials.settings.cages} cages drawn cannot prove {r.name} of any process: draw more (--cages)"
            return Needed("none", decided_by=r.name, why=why)
        if r not in held:
            return Needed("none", why=f"{r.name} is not met and does not depend on it")
    index = has.spread.index
    low, high = (index, LARGEST) if lacking else (FLOOR, max(index, FLOOR))
    return _Search(name, has.spread, held, low, high, high)


def _far_ends(trials: Trials, searches: Sequence[_Search], lacking: Sequence[Requirement], progress: Progress) -> None:
    """Try what is not met without any spread; what is met, at the floor."""
    only = frozenset(r.name for r in lacking) if lacking else None
    ends = [(search, search.high if lacking else search.low) for search in searches]
    outcomes = _tried(trials, [search.change(index, only=only) for search, index in ends], progress)
    for (search, index), outcome in zip(ends, outcomes, strict=True):
        wanted = lacking or search.held
        failing = _failing(trials, outcome, wanted)
        if lacking and failing:
            why = f"{failing[0]} is not met even without any spread of it"
            search.done = Needed("none", decided_by=failing[0], why=why)
        elif not lacking and not failing:
            search.done = Needed("floor", FLOOR, search.spread.factor(FLOOR), why=f"any index down to {FLOOR} will do")
        else:
            _guess(trials, search, index, outcome, wanted)


def _round(trials: Trials, searches: Sequence[_Search], progress: Progress) -> None:
    """Try the next indices of each search, and 1 % less of each."""
    tries = [(search, index, search.below()) for search in searches for index in search.tries()]
    uppers = [search.change(index) for search, index, _ in tries]
    lowers = [
        search.change((1 - STEP) * index, False, frozenset(r.name for r in asked)) for search, index, asked in tries
    ]
    outcomes = _tried(trials, [*uppers, *lowers], progress)
    for (search, index, asked), upper, lower in zip(tries, outcomes[: len(tries)], outcomes[len(tries) :], strict=True):
        if search.done is None:
            _learn(trials, search, index, upper, _failing(trials, lower, asked))


def _learn(trials: Trials, search: _Search, index: float, upper: Outcome | None, below: Sequence[str]) -> None:
    """Answer the search where ``index`` is met and 1 % less is not (``below`` fail there), else narrow its bracket."""
    above = _failing(trials, upper, search.held)
    if not above and below:
        search.done = Needed("found", index, search.spread.factor(index), below[0])
        return
    search.narrow(index, met=not above)
    _guess(trials, search, index, upper, search.held)
    search.step(index if above else (1 - STEP) * index, failed=bool(above))


def _tried(trials: Trials, changes: Sequence[Change], progress: Progress) -> list[Outcome | None]:
    """Return the outcome of each change; None where no process can be so."""
    possible = [change for change in changes if trials.is_possible(change)]
    outcomes = dict(zip(possible, trials.run(possible, progress)[1] if possible else (), strict=True))
    return [outcomes.get(change) for change in changes]


def _failing(trials: Trials, outcome: Outcome | None, wanted: Sequence[Requirement]) -> list[str]:
    """Return the requirements that are not met; all where there is no such process."""
    if outcome is None:
        return [r.name for r in wanted]
    return [name for name, verdict in trials.verdicts(outcome, wanted).items() if verdict != "met"]


# Where the boundary is thought to be ----------------------------------------------------------------------------


def _guess(
    trials: Trials, search: _Search, index: float, outcome: Outcome | None, wanted: Sequence[Requirement]
) -> None:
    """Put the guess where the first of ``wanted`` to fail should just hold, by the ``outcome`` at ``index``."""
    factors = []
    for r in wanted:
        if r.name in trials.exact:
            factors.append((_exact_factor(trials, search, r), r.name))
        elif outcome is not None:
            for place, counts in zip(trials.places, outcome.counts, strict=True):
                if r.name in counts.crossings:
                    like = counts.failures[r.name]
                    allowed = allowed_to_fail(r, trials.settings.cages, place.model.pockets, like)
                    failed = like.total if r.allow is not None and r.allow.of == "pockets" else like.failed
                    tried = search.spread.factor(index)
                    factors.append((boundary(counts.crossings[r.name], tried, failed, allowed), r.name))
    known = [(factor, name) for factor, name in factors if 0 < factor < math.inf]
    search.guess = search.first = None
    if known:
        factor, search.first = min(known)
        search.guess = ABOVE * search.spread.index_at(factor)


def boundary(crossings: Array, tried: float, failed: int, allowed: int) -> float:
    """Return the factor at which more than ``allowed`` fail, infinite where the crossings do not tell.

    ``failed`` is how many do at the factor ``tried``.  Those of them without a crossing (the scatter had made up for
    that of others) grow in number from none at factor 1, by the square, as they must come near the limit first.
    """
    below = int(np.count_nonzero(crossings < tried))
    others = max(failed - below, 0) if below < len(crossings) else 0
    away = np.clip((np.clip(crossings, 0.0, None) - 1.0) / (tried - 1.0), 0.0, None)
    over = np.flatnonzero(np.arange(1, len(crossings) + 1) + others * away**2 > allowed)
    return float(crossings[over[0]]) if over.size else math.inf


def _exact_factor(trials: Trials, search: _Search, requirement: Requirement) -> float:
    """Return the factor at which an exact fraction comes to what is allowed, infinite where it does not."""
    from scipy.optimize import brentq

    def excess(log_index: float) -> float:
        change = search.change(math.exp(log_index), crossing=False)
        return math.log(max(trials.excess(requirement, change), 1e-300))

    low, high = math.log(search.low), math.log(search.high)
    if excess(low) <= 0 or excess(high) > 0:
        return math.inf
    return search.spread.factor(math.exp(brentq(excess, low, high, xtol=1e-5)))
