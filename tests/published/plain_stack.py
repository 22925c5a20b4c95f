"""Stacks of ``kind = "none"`` in one line: dimensions and a formula in, the records of every engine out."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from stackup.case import Case, from_mapping
from stackup.chain.model import Model, Requirement
from stackup.engine import contributions, monte_carlo, rss, worst_case
from stackup.engine.result import Contribution, Fraction, Rss, Sampled, WorstCase
from stackup.engine.settings import Settings

#: "within error" means within so many standard errors
STANDARD_ERRORS = 4


@dataclass(frozen=True)
class Stack:
    """A case and the records of its engines, each asked for one requirement (by default the only one)."""

    case: Case

    @property
    def model(self) -> Model:
        """The model of its only row, as made."""
        return self.case.models()[0].states["made"]

    def requirement(self, name: str) -> Requirement:
        """Return the requirement called ``name``; '' is the first."""
        return next(r for r in self.case.requirements if name in ("", r.name))

    def worst_case(self, name: str = "", **settings: Any) -> WorstCase:
        """Return the worst case."""
        (found,) = worst_case.run(self.model, [self.requirement(name)], Settings(**settings)).values()
        return found

    def rss(self, name: str = "", **settings: Any) -> Rss:
        """Return the RSS, which must exist."""
        records, notes = rss.run(self.model, [self.requirement(name)], Settings(**settings))
        (found,) = records.values()
        assert found is not None, notes
        return found

    def sampled(self, name: str = "", cages: int = 100_000, **settings: Any) -> Sampled:
        """Return the Monte Carlo."""
        wanted = [self.requirement(name)]
        return monte_carlo.run(self.model, wanted, Settings(cages=cages, **settings)).records[wanted[0].name]

    def contributions(self, name: str = "") -> dict[str, Contribution]:
        """Return the contributions by dimension."""
        (found,) = contributions.run(self.model, [self.requirement(name)], Settings()).values()
        return {each.dimension: each for each in found}


def stack(formula: str, dimensions: Mapping[str, Any], **limits: float) -> Stack:
    """Return the stack of one gap; ``limits`` are min and max (without them nothing is asked of it)."""
    limits = limits or {"min": -1e12}
    return Stack(
        from_mapping(
            {
                "cage": {"kind": "none"},
                "dimensions": dimensions,
                "chains": {"gap": {"formula": formula}},
                "requirements": {"gap": limits},
            }
        )
    )


def normal(mean: float, sd: float) -> dict[str, Any]:
    """Return a normal size with this mean and standard deviation."""
    return {"nominal": mean, "tolerance": 3 * sd}


def uniform(low: float, high: float) -> dict[str, Any]:
    """Return a size that is uniform from ``low`` to ``high``."""
    middle = 0.5 * (low + high)
    return {"nominal": middle, "tolerance": [low - middle, high - middle], "process": {"shape": "uniform"}}


def of_law(law: Any, nominal: float = 0.0, tolerance: float = 0.0) -> dict[str, Any]:
    """Return a size whose values follow ``law``, an object with mean, moments and quantile."""
    return {"nominal": nominal, "tolerance": tolerance, "process": {"shape": law}}


def within_error(sampled: Fraction | None, fraction: float) -> bool:
    """Tell whether a sampled fraction of kind "none" agrees: half a 95 % interval is 1.96 standard errors."""
    assert sampled is not None
    half = 0.5 * (sampled.high - sampled.low) / 1.96
    return abs(sampled.out_of_spec - fraction) <= STANDARD_ERRORS * half


def standard_error_of_sd(sampled: Sampled) -> float:
    """Return the standard error of a sampled standard deviation, sd·√((κ − 1)/4n)."""
    assert sampled.kurtosis is not None
    return sampled.sd * math.sqrt((sampled.kurtosis - 1) / (4 * sampled.drawn))
