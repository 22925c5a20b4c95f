"""What less spread and a centred mean are worth: the same cages before and after."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from stackup.decide.processes import capability_of
from stackup.decide.trials import Change, Outcome, Trials
from stackup.engine.settings import Progress, silent

#: 10 % less spread
LESS = 0.9
#: fewer cages (pockets) that fail say nothing about a relative change
FEWEST = 10


@dataclass(frozen=True)
class Gains:
    """Relative falls of the fraction of cages that fail any requirement with an allowance; None where unknown.

    Of the row and state where most cages fail, before and after.

    ``spread``: 10 % less spread; ``centring``: the mean in the middle of the tolerance.  ``by_requirement``: for 10 %
    less spread, of each requirement's own population.  Negative where more fail.
    """

    spread: float | None
    centring: float | None
    by_requirement: Mapping[str, float | None]


def failed_any(trials: Trials, outcome: Outcome) -> int:
    """Return how many cages fail any requirement, in the row and state where most do."""
    return outcome.counts[trials.worst_place(outcome)].any_cages.failed


def gains_of(trials: Trials, names: Iterable[str], progress: Progress = silent) -> tuple[Outcome, dict[str, Gains]]:
    """Return what is found of the case as it is, and the gains of every dimension in ``names``.

    KeyboardInterrupt from ``progress`` stops the run.
    """
    names = list(names)
    tighter = {n: Change(n, LESS) for n in names if capability_of(trials.dimensions[n]).spread is not None}
    moved = {name: Change(name, None) for name in tighter if _is_off_centre(trials, name)}
    asked = [c for c in (*tighter.values(), *moved.values()) if trials.holding(c.name)]
    base, outcomes = trials.run(asked, progress, every=True)
    found = dict(zip(asked, outcomes, strict=True))
    gains = {}
    for name in names:
        after, centred = found.get(tighter.get(name)), found.get(moved.get(name))  # type: ignore[arg-type]
        held = {r.name for r in trials.holding(name)}
        still = not held or capability_of(trials.dimensions[name]).source == "exact"
        gains[name] = Gains(
            spread=0.0 if still else _of_any(trials, base, after),
            centring=_centring(trials, name, still or name not in moved, base, centred),
            by_requirement={
                r.name: 0.0 if still or r.name not in held else _of_one(trials, base, after, r.name)
                for r in trials.requirements
            },
        )
    return base, gains


def _is_off_centre(trials: Trials, name: str) -> bool:
    spread = capability_of(trials.dimensions[name]).spread
    return spread is not None and spread.centred() is not None


def _centring(trials: Trials, name: str, in_place: bool, base: Outcome, after: Outcome | None) -> float | None:
    """Return the gain of centring: nothing where the mean stands in the middle, None where there is no middle."""
    has = capability_of(trials.dimensions[name])
    if has.spread is None or not has.spread.has_middle:
        return None
    return 0.0 if in_place else _of_any(trials, base, after)


def _of_any(trials: Trials, base: Outcome, after: Outcome | None) -> float | None:
    before = failed_any(trials, base)
    if after is None or before < FEWEST:
        return None
    return 1 - failed_any(trials, after) / before


def _of_one(trials: Trials, base: Outcome, after: Outcome | None, name: str) -> float | None:
    """Return the relative fall of one requirement's fraction, of the row and state where it is greatest, each time."""
    if after is None:
        return None
    requirement = trials.by_name[name]
    before, then = (max(f.out_of_spec for f in trials.fractions(one, requirement)) for one in (base, after))
    if before == 0 or (name not in trials.exact and _failed(base, name) < FEWEST):
        return None
    return 1 - then / before


def _failed(outcome: Outcome, name: str) -> int:
    counted: Sequence[int] = [counts.failures[name].failed for counts in outcome.counts]
    return max(counted)
