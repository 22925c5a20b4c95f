"""Records of ``review``: what ``--json`` prints, key for key (every key always there)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from stackup.decide.coalitions import Method
from stackup.decide.head import Drawn, head
from stackup.decide.record import Note, Record, RowRecord, finite, without_draws
from stackup.decide.shapley import Part
from stackup.decide.trial import Judgement
from stackup.engine.result import Fraction

Json = dict[str, Any]
Decision = Literal["accept", "refuse", "limit"]
Opinion = Literal["accept", "accept in part", "refuse"]
Effect = Literal["takes", "adds", "both", "nothing"]


@dataclass(frozen=True)
class Cause:
    """The number that stands against a change: a requirement as the drawing has it, and as the change would.

    ``together``: only with the other changes that are accepted, not alone.
    """

    requirement: str
    together: bool
    before: Judgement
    after: Judgement

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        allow = self.after.requirement.allow
        return {
            "requirement": self.requirement,
            "together": self.together,
            "row": self.after.row,
            "state": self.after.state,
            "room_before": finite(self.before.room),
            "room_after": finite(self.after.room),
            "fraction_before": _fraction(self.before.fraction),
            "fraction_after": _fraction(self.after.fraction),
            "allow": {"ppm": allow.ppm, "of": allow.of} if allow else None,
        }


def _fraction(found: Fraction | None) -> Json | None:
    if found is None:
        return None
    return {"out_of_spec": found.out_of_spec, "low": found.low, "high": found.high, "method": found.method}


@dataclass(frozen=True)
class ChangeReview:
    """One change and what becomes of it.

    ``dimension`` is "cage" for a key of ``[cage]``, the requirement or chain where one of these changes; ``counter``
    is what a drawing could say instead (*limit*).  ``shares``: what it takes from the margin of every requirement, in
    the gap's unit (negative: it adds), None where that is not known.  ``reason`` is set where no number decides,
    ``causes`` name the numbers where some do.  ``decision`` is None where the review was stopped before.
    """

    dimension: str
    what: str
    before: Any
    after: Any
    decision: Decision | None
    counter: Any
    shares: Mapping[str, Part | None]
    effect: Effect | None
    reason: str | None
    causes: tuple[Cause, ...]

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        return {
            "dimension": self.dimension,
            "what": self.what,
            "from": self.before,
            "to": self.after,
            "decision": self.decision,
            "counter": self.counter,
            "shares": {name: part and part.value for name, part in self.shares.items()},
            "intervals": {name: part and [part.low, part.high] for name, part in self.shares.items()},
            "effect": self.effect,
            "reason": self.reason,
            "causes": [cause.to_dict() for cause in self.causes],
        }


@dataclass(frozen=True)
class Margins:
    """The margin of one requirement in the gap's unit: as drawn, with all changes, and as agreed; None: unknown."""

    method: Method
    before: float | None
    after: float | None
    agreed: float | None

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        return {
            "method": self.method,
            "before": finite(self.before),
            "after": finite(self.after),
            "agreed": finite(self.agreed),
        }


@dataclass(frozen=True)
class RequirementReview:
    """One requirement of the drawing: its record of ``check`` as drawn, with all changes, and as agreed."""

    name: str
    margin: Margins | None
    before: Record | None
    after: Record | None
    agreed: Record | None

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        return {
            "name": self.name,
            "margin": self.margin and self.margin.to_dict(),
            "before": without_draws(self.before),
            "after": without_draws(self.after),
            "agreed": without_draws(self.agreed),
        }


@dataclass(frozen=True)
class ReviewResult(Drawn):
    """What a review found.

    ``whole``: the proposal is a case of its own; ``unsaid`` are key paths taken from the drawing; ``largest``: no
    larger set of changes can be accepted, all were looked at.  ``verdict`` is None where the review was stopped.
    """

    proposal_digest: str
    pockets_per_cage: int
    rows: tuple[RowRecord, ...]
    states: tuple[str, ...]
    whole: bool
    verdict: Opinion | None
    largest: bool | None
    changes: tuple[ChangeReview, ...]
    requirements: tuple[RequirementReview, ...]
    questions: tuple[str, ...]
    unsaid: tuple[str, ...]
    notes: tuple[Note, ...]
    interrupted: bool = False

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints: plain lists, numbers, words and None."""
        return {
            **head(self),
            "proposal_digest": self.proposal_digest,
            "pockets_per_cage": self.pockets_per_cage,
            "rows": [row.to_dict() for row in self.rows],
            "states": list(self.states),
            "whole": self.whole,
            "verdict": self.verdict,
            "largest": self.largest,
            "changes": [change.to_dict() for change in self.changes],
            "requirements": [requirement.to_dict() for requirement in self.requirements],
            "questions": list(self.questions),
            "unsaid": list(self.unsaid),
            "notes": [str(note) for note in self.notes],
            "interrupted": self.interrupted,
        }
