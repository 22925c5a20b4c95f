"""Does a model work, and no more: the engines that decide a verdict, none of those that only inform.

What ``check`` says of a requirement, ``judge`` says too: the same engines on the same draws.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from stackup.chain.model import Model, Requirement
from stackup.decide.fractions import of_row
from stackup.decide.once import Once
from stackup.decide.verdict import Verdict, by_fraction, by_worst_case, room, worst
from stackup.engine import monte_carlo, rss, worst_case
from stackup.engine.result import AnyRequirement, Fraction, Rss, Sampled, WorstCase
from stackup.engine.settings import Progress, Settings, silent


@dataclass(frozen=True)
class Judgement:
    """The verdict on one requirement, and the number behind it: both ends of the worst case, or a fraction.

    ``cages`` is the fraction of cages out of spec where it was sampled.
    """

    requirement: Requirement
    verdict: Verdict
    worst_case: WorstCase | None
    fraction: Fraction | None
    cages: Fraction | None

    @property
    def room(self) -> float | None:
        """How far the guaranteed bounds stay within the limits, in the gap's unit; None with an allowance."""
        found = self.worst_case
        return None if found is None else room(self.requirement, found.bound_low, found.bound_high)

    @property
    def excess(self) -> float | None:
        """The fraction out of spec over what is allowed, 1 at the limit; None where the worst case decides."""
        allow = self.requirement.allow
        if allow is None or self.fraction is None:
            return None
        return self.fraction.out_of_spec / (allow.ppm * 1e-6)


@dataclass(frozen=True)
class Trial:
    """The verdicts on all requirements, and the fraction of pockets and cages that fail any that was sampled."""

    judgements: Mapping[str, Judgement]
    any_requirement: AnyRequirement

    @property
    def verdict(self) -> Verdict:
        """The worst verdict; *met* without requirements."""
        return worst(one.verdict for one in self.judgements.values()) if self.judgements else "met"

    @property
    def works(self) -> bool:
        """Tell whether every requirement is met."""
        return self.verdict == "met"


def judge(
    model: Model, requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent
) -> Trial:
    """Return the verdicts on ``requirements``: each by the worst case or by its fraction, as it asks.

    One row of one bearing: of bearings counts as of cages.  Raises Interrupted.
    """
    (trial,) = judge_states({"": model}, requirements, settings, progress).values()
    return trial


def judge_states(
    models: Mapping[str, Model], requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent
) -> dict[str, Trial]:
    """Return, by state, what ``judge`` says of each; all states are sampled in one run.

    ``models``: one row, by state; they differ in the values of parameters only (else ValueError).
    """
    by_worst = [r for r in requirements if r.allow is None]
    by_share = [r for r in requirements if r.allow is not None]
    ends = worst_cases(models, by_worst, settings, progress)
    drawn = monte_carlo.run_states(models, by_share, settings, progress) if by_share else {}
    laws = first_laws(models, by_share, settings, progress)
    trials = {}
    for state, model in models.items():
        found = {r.name: by_ends(r, ends[state][r.name]) for r in by_worst}
        for r in by_share:
            found[r.name] = by_draws(model, r, laws[state][r.name], drawn[state].records[r.name])
        overall = drawn[state].any_requirement if by_share else AnyRequirement(None, None)
        trials[state] = Trial({r.name: found[r.name] for r in requirements}, overall)
    return trials


def worst_cases(
    models: Mapping[str, Model], requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent
) -> dict[str, dict[str, WorstCase]]:
    """Return the worst case of every requirement in every state, what is the same in several of them found once."""
    return Once(models, requirements).run(
        lambda state, asked, told: worst_case.run(models[state], asked, settings, told), progress
    )


def first_laws(
    models: Mapping[str, Model], requirements: Sequence[Requirement], settings: Settings, progress: Progress = silent
) -> dict[str, dict[str, Rss | None]]:
    """Return the RSS of every requirement in every state, what is the same in several of them found once."""
    return Once(models, requirements).run(
        lambda state, asked, told: rss.run(models[state], asked, settings, told)[0], progress
    )


def by_ends(requirement: Requirement, ends: WorstCase) -> Judgement:
    """Return the verdict on a requirement without an allowance."""
    return Judgement(requirement, by_worst_case(requirement, ends), ends, None, None)


def by_draws(model: Model, requirement: Requirement, law: Rss | None, drawn: Sampled) -> Judgement:
    """Return the verdict on a requirement with an allowance: of bearings counts as of cages."""
    allow = requirement.allow
    pockets, cages = of_row(model, requirement, law, drawn)
    fraction = pockets if allow is not None and allow.of == "pockets" else cages
    verdict: Verdict = "undecided"
    if fraction is not None and allow is not None:
        verdict = by_fraction(fraction, allow.ppm)
    return Judgement(requirement, verdict, None, fraction, cages)
