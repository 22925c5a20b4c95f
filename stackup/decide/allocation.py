"""Records of ``allocate``: what ``--json`` prints, key for key (every key always there)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from stackup.case.changes import Changes
from stackup.decide.displays import Shown
from stackup.decide.record import Note, RowRecord, finite
from stackup.decide.verdict import Verdict
from stackup.engine.result import Fraction

Json = dict[str, Any]


@dataclass(frozen=True)
class RuleRecord:
    """What one rule costs (None: it cannot keep all limits)."""

    rule: str
    cost: float | None
    met: bool


@dataclass(frozen=True)
class Conflict:
    """Requirements that cannot hold together, and by how much each must give way (the gap's unit), least in all.

    ``smallest``: no smaller set is in conflict.
    """

    requirements: tuple[str, ...]
    relax: Mapping[str, float]
    smallest: bool


@dataclass(frozen=True)
class Line:
    """One dimension: half-widths as the case states them, nominals, costs; ``choice`` names a step or process.

    ``idle``: at its coarsest, no requirement pays for it to be finer.
    """

    name: str
    before: float
    after: float
    nominal_before: float | None
    nominal_after: float | None
    cost_before: float | None
    cost_after: float | None
    locked: bool
    choice: str | None
    idle: bool

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        return {
            "name": self.name,
            "before": self.before,
            "after": self.after,
            "nominal_before": self.nominal_before,
            "nominal_after": self.nominal_after,
            "cost_before": self.cost_before,
            "cost_after": self.cost_after,
            "locked": self.locked,
            "choice": self.choice,
            "idle": self.idle,
        }


@dataclass(frozen=True)
class Priced:
    """One requirement: its verdict, the slack it keeps, and the cost saved for each unit of slack given to it.

    ``row`` and ``state``: where it is nearest to its limit.
    """

    name: str
    verdict: Verdict
    slack: float | None
    price: float | None
    unit: str
    row: str
    state: str

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        slack, price = finite(self.slack), finite(self.price)
        return {
            "name": self.name,
            "verdict": self.verdict,
            "slack": slack,
            "price": price,
            "unit": self.unit,
            "row": self.row,
            "state": self.state,
        }


@dataclass(frozen=True)
class AllocationResult(Shown):
    """The answer of ``allocate``; ``changes`` turn the case into the new one (empty where nothing works).

    ``cages`` is the fraction of cages of the new case that fail any requirement with an allowance, in the row and
    state (``cages_at``) where most do; ``rows`` and ``states`` are those of the bearing.
    """

    title: str
    kind: str
    digest: str
    cost_before: float
    cost_after: float | None
    optimal: Literal["proved", "local"]
    works: bool
    rules: tuple[RuleRecord, ...]
    conflict: Conflict | None
    dimensions: tuple[Line, ...]
    requirements: tuple[Priced, ...]
    cages: Fraction | None
    cages_at: tuple[str, str] | None
    rows: tuple[RowRecord, ...]
    states: tuple[str, ...]
    changes: Changes
    notes: tuple[Note, ...]
    interrupted: bool = False

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        conflict = self.conflict
        return {
            "title": self.title,
            "kind": self.kind,
            "digest": self.digest,
            "interrupted": self.interrupted,
            "rule": "cost",
            "cost_before": self.cost_before,
            "cost_after": self.cost_after,
            "optimal": self.optimal,
            "rules": [{"rule": one.rule, "cost": finite(one.cost), "met": one.met} for one in self.rules],
            "conflict": conflict
            and {
                "requirements": list(conflict.requirements),
                "relax": dict(conflict.relax),
                "smallest": conflict.smallest,
            },
            "dimensions": [line.to_dict() for line in self.dimensions],
            "requirements": [one.to_dict() for one in self.requirements],
            "rows": [row.to_dict() for row in self.rows],
            "states": list(self.states),
            "cages": self.cages
            and self.cages_at
            and {
                "out_of_spec": self.cages.out_of_spec,
                "low": self.cages.low,
                "high": self.cages.high,
                "row": self.cages_at[0],
                "state": self.cages_at[1],
            },
            "notes": [str(note) for note in self.notes],
        }
