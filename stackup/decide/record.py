"""Records of ``check``: what ``--json`` prints, key for key (every key always there)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from stackup.chain.model import Requirement
from stackup.decide.fractions import Fractions
from stackup.decide.head import Drawn, head
from stackup.decide.verdict import Verdict
from stackup.engine.result import AnyRequirement, Contribution, Fraction, Normal, Rss, Sampled, WorstCase

Json = dict[str, Any]


@dataclass(frozen=True)
class RowRecord:
    """One row of rollers: its name, how many rows are alike, its rollers."""

    name: str
    count: int
    rollers: int

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        return {"name": self.name, "count": self.count, "rollers": self.rollers}


@dataclass(frozen=True)
class Note:
    """One thing to know: in words, of which requirement (None: the whole case).

    ``level``: *finding* belongs beside the verdict, *caution* is what the tool does not tell, *reason* says why
    a number does not exist.
    """

    text: str
    about: str | None = None
    level: str = "finding"

    def __str__(self) -> str:
        """Return the note with the name of its requirement in front."""
        return f"{self.about}: {self.text}" if self.about else self.text


@dataclass(frozen=True)
class Record:
    """Everything known of one requirement in one row and state; what does not exist is None.

    ``limited`` is False for a gap without a requirement: it has no verdict.  ``by_state`` holds the records of
    all rows and states where there are several; this one is then the worst of them.
    """

    requirement: Requirement
    unit: str
    of_cage: bool
    nominal: float
    row: str
    state: str
    worst_case: WorstCase | None
    rss: Rss | None
    monte_carlo: Sampled | None
    contributions: tuple[Contribution, ...]
    fraction: Fractions | None
    verdict: Verdict | None
    more_cages: int | None
    by_state: tuple[Record, ...] = ()

    @property
    def name(self) -> str:
        """Return the name of the requirement, or of the gap without one."""
        return self.requirement.name

    @property
    def limited(self) -> bool:
        """Tell whether the case sets a limit."""
        return self.requirement.min is not None or self.requirement.max is not None

    @property
    def governing(self) -> tuple[tuple[str, float], ...]:
        """Dimensions with their part of 1, the greatest first.

        Where the worst case decides: of what all tolerances take of the end that is nearer to its limit; else of the
        scatter.
        """
        shares = {one.dimension: one.variance_share or 0.0 for one in self.contributions}
        if self.requirement.allow is None and self.limited and self.worst_case is not None:
            shares = dict(self.worst_case.high_shares if self._is_nearer_above() else self.worst_case.low_shares)
        return tuple(sorted(((name, part) for name, part in shares.items() if part > 0), key=lambda one: -one[1]))

    def _is_nearer_above(self) -> bool:
        """Tell whether the guaranteed upper end has less room to its limit than the lower one."""
        asked, found = self.requirement, self.worst_case
        if found is None or asked.min is None or asked.max is None:
            return asked.min is None
        return asked.max - found.bound_high < found.bound_low - asked.min

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        return {**self._own_dict(), "by_state": [record._own_dict() for record in self.by_state]}

    def _own_dict(self) -> Json:
        limits = self.requirement
        return {
            "name": limits.name,
            "gap": limits.gap,
            "over": limits.over,
            "unit": self.unit,
            "min": limits.min,
            "max": limits.max,
            "allow": {"ppm": limits.allow.ppm, "of": limits.allow.of} if limits.allow else None,
            "nominal": finite(self.nominal),
            "row": self.row,
            "state": self.state,
            "worst_case": _worst_case(self.worst_case),
            "rss": _rss(self.rss),
            "monte_carlo": _monte_carlo(self.monte_carlo),
            "contributions": [contribution_dict(one) for one in self.contributions],
            "fraction": _fractions(self.fraction),
            "verdict": self.verdict,
            "more_cages": self.more_cages,
        }


@dataclass(frozen=True)
class CheckResult(Drawn):
    """What ``check`` found: the requirements in the order of the case, then the gaps without one.

    ``verdict`` is the worst of all requirements, None where the case has none.  ``interrupted`` marks a record
    of what was finished when the user stopped the run.
    """

    pockets_per_cage: int
    rows: tuple[RowRecord, ...]
    states: tuple[str, ...]
    notes: tuple[Note, ...]
    any_requirement: AnyRequirement
    requirements: tuple[Record, ...]
    verdict: Verdict | None
    interrupted: bool = False

    def __getitem__(self, name: str) -> Record:
        """Return the record of the requirement (or gap without one) called ``name``; KeyError where none is."""
        for record in self.requirements:
            if record.name == name:
                return record
        raise KeyError(name)

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints: plain lists, numbers, words and None."""
        anyone = self.any_requirement
        return {
            **head(self),
            "pockets_per_cage": self.pockets_per_cage,
            "rows": [row.to_dict() for row in self.rows],
            "states": list(self.states),
            "notes": [str(note) for note in self.notes],
            "interrupted": self.interrupted,
            "any_requirement": {"pockets": _ends(anyone.pockets), "cages": _ends(anyone.cages)},
            "requirements": [record.to_dict() for record in self.requirements],
        }


def without_draws(record: Record | None) -> Json | None:
    """Return the record of a requirement as other records hold it: that of ``check`` without its Monte Carlo."""
    if record is None:
        return None
    found = record.to_dict()
    for each in (found, *found["by_state"]):
        del each["monte_carlo"]
    return found


def finite(value: float | None) -> float | None:
    """Return a number that JSON knows, None for what is not finite."""
    return value if value is not None and math.isfinite(value) else None


def _worst_case(found: WorstCase | None) -> Json | None:
    if found is None:
        return None
    return {
        "low": finite(found.low),
        "high": finite(found.high),
        "bound_low": finite(found.bound_low),
        "bound_high": finite(found.bound_high),
        "certified_low": found.certified_low,
        "certified_high": found.certified_high,
        "certified": found.certified,
        "linear_low": finite(found.linear_low),
        "linear_high": finite(found.linear_high),
    }


def _rss(found: Rss | None) -> Json | None:
    if found is None:
        return None
    second = found.second_order
    return {
        "mean": finite(found.mean),
        "sd": finite(found.sd),
        "low": finite(found.low),
        "high": finite(found.high),
        "out_of_spec": finite(found.out_of_spec),
        "inflated": _normal(found.inflated),
        "shifted": _normal(found.shifted),
        "second_order": second
        and {
            "mean": finite(second.mean),
            "sd": finite(second.sd),
            "skewness": finite(second.skewness),
            "kurtosis": finite(second.kurtosis),
            "out_of_spec": finite(second.out_of_spec),
        },
    }


def _normal(found: Normal | None) -> Json | None:
    if found is None:
        return None
    return {"mean": finite(found.mean), "sd": finite(found.sd), "out_of_spec": finite(found.out_of_spec)}


def _monte_carlo(found: Sampled | None) -> Json | None:
    if found is None:
        return None
    cages = _ends(found.cages)
    if cages is not None and found.cages is not None:
        cages["if_independent"] = finite(found.cages.if_independent)
    return {
        "mean": finite(found.mean),
        "sd": finite(found.sd),
        "skewness": finite(found.skewness),
        "kurtosis": finite(found.kurtosis),
        "quantiles": {name: finite(value) for name, value in found.quantiles.items()},
        "histogram": {
            "edges": [finite(edge) for edge in found.histogram.edges],
            "counts": list(found.histogram.counts),
        },
        "pockets": _ends(found.pockets),
        "cages": cages,
    }


def _ends(fraction: Fraction | None) -> Json | None:
    if fraction is None:
        return None
    return {"out_of_spec": fraction.out_of_spec, "low": fraction.low, "high": fraction.high}


def _fractions(found: Fractions | None) -> Json | None:
    if found is None:
        return None
    each = {"pockets": found.pockets, "cages": found.cages, "bearings": found.bearings}
    return {
        name: fraction and {**(_ends(fraction) or {}), "method": fraction.method} for name, fraction in each.items()
    }


def contribution_dict(one: Contribution) -> Json:
    """Return the record that ``--json`` prints of a contribution."""
    return {
        "dimension": one.dimension,
        "sensitivity": finite(one.sensitivity),
        "signed": one.signed,
        "mean_sensitivity": finite(one.mean_sensitivity),
        "variance_share": finite(one.variance_share),
        "width_share": finite(one.width_share),
        "tighter": finite(one.tighter),
    }
