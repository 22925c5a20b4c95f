"""Records of ``assemble``: what ``--json`` prints, key for key (every key always there)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import NormalDist

from stackup.decide.head import Drawn, head
from stackup.decide.record import Json, Note, Record, without_draws
from stackup.decide.verdict import Verdict
from stackup.engine.fractions import of_cages
from stackup.engine.result import Closing, Estimate, Fraction, Ordering

#: chance that any pocket of a cage whose pockets are alike is told to block more than others
CHANCE = 0.01
#: fewer cages that jam tell of no pocket
FEWEST = 30


@dataclass(frozen=True)
class RowClosing:
    """One row: what its cages do when they are closed, and the best order; ``ordering`` is None where not finished."""

    name: str
    count: int
    rollers: int
    closing: Closing
    ordering: Ordering | None

    def stuck_at(self) -> Mapping[int, Fraction]:
        """Return the fraction of cages that jam after so many pins, for each number after which any did."""
        drawn = self.closing.drawn
        return {pins: of_cages(count, drawn) for pins, count in enumerate(self.closing.stuck) if count}

    def stuck_between(self, first: int, last: int) -> Fraction:
        """Return the fraction of cages that jam after ``first`` to ``last`` pins."""
        return of_cages(sum(self.closing.stuck[first : last + 1]), self.closing.drawn)

    @property
    def jammed(self) -> int:
        """How many of the drawn cages cannot be closed."""
        return sum(self.closing.stuck)

    def blocking(self) -> tuple[tuple[int, Estimate], ...]:
        """Return pockets with their share, the largest first."""
        return tuple(sorted(enumerate(self.closing.blocking), key=lambda one: (-one[1].mean, one[0])))

    def standing_out(self) -> tuple[int, ...]:
        """Return the pockets that block more than an even share, beyond chance, the worst first.

        The share must pass 1/Z by so many standard errors that, were all pockets alike, any of the Z would do so with
        probability CHANCE (Bonferroni, normal law); no error counts as less than the mean one.
        """
        found = self.blocking()
        if self.jammed < FEWEST or any(one.standard_error is None for _, one in found):
            return ()
        errors = [one.standard_error or 0.0 for _, one in found]
        least = sum(errors) / len(errors)
        far = NormalDist().inv_cdf(1 - CHANCE / self.rollers)
        even = 1 / self.rollers
        return tuple(
            pocket for pocket, one in found if one.mean - even > far * max(one.standard_error or 0.0, least)
        )

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        return {"name": self.name, "count": self.count, "rollers": self.rollers, **self.own_dict()}

    def own_dict(self) -> Json:
        """Return what the record of the whole run says of its governing row too."""
        closing, ordering = self.closing, self.ordering
        return {
            "drawn": closing.drawn,
            "cages_not_closed": _fraction(closing.cannot_close),
            "order": list(closing.order),
            "stuck_at": [{"pins": pins, "fraction": _fraction(one)} for pins, one in self.stuck_at().items()],
            "entered": _estimate(closing.entered),
            "best_order": list(ordering.order) if ordering else None,
            "best": _ordering(ordering),
            "blocking": [
                {"pocket": pocket, "share": one.mean, "standard_error": one.standard_error}
                for pocket, one in self.blocking()
            ],
            "standing_out": list(self.standing_out()),
            "missing": closing.missing and {"mean": closing.missing.mean, "greatest": closing.missing.greatest},
            "pose": [{"mean": one.mean, "sd": one.sd} for one in closing.pose],
        }


@dataclass(frozen=True)
class AssembleResult(Drawn):
    """What ``assemble`` found.

    ``gap`` is the number of the whole cage that tells whether the rings can be closed, ``gap_name`` what the kind calls
    it in a record, ``unit`` its unit, ``moves`` what the numbers of its pose are; ``order`` that of the governing row,
    the one of whose cages most cannot be closed (None: nothing was finished).  ``bearings``: any row cannot be closed.
    ``record``: that of ``check`` on the gap, of the worst of its ``requirements``; without any, the gap without limits.
    ``verdict`` is None without requirements.
    """

    pockets_per_cage: int
    gap: str
    gap_name: str
    unit: str
    state: str
    moves: tuple[str, ...]
    order: tuple[int, ...]
    governing: RowClosing | None
    rows: tuple[RowClosing, ...]
    bearings: Fraction | None
    record: Record | None
    requirements: tuple[Record, ...]
    notes: tuple[Note, ...]
    verdict: Verdict | None
    interrupted: bool = False

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints: plain lists, numbers, words and None."""
        governing = self.governing
        return {
            **head(self),
            "pockets_per_cage": self.pockets_per_cage,
            "state": self.state,
            "row": governing.name if governing else None,
            **(governing.own_dict() if governing else {**NOTHING, "order": list(self.order)}),
            "bearings_not_closed": _fraction(self.bearings),
            "moves": list(self.moves),
            self.gap_name: without_draws(self.record),
            "requirements": [{"name": one.name, "verdict": one.verdict} for one in self.requirements],
            "verdict": self.verdict,
            "rows": [row.to_dict() for row in self.rows],
            "notes": [str(note) for note in self.notes],
            "interrupted": self.interrupted,
        }


#: what a run that was stopped before its first cages says of the governing row
NOTHING: Json = {
    "drawn": 0,
    "cages_not_closed": None,
    "order": [],
    "stuck_at": [],
    "entered": None,
    "best_order": None,
    "best": None,
    "blocking": [],
    "standing_out": [],
    "missing": None,
    "pose": [],
}


def _fraction(found: Fraction | None) -> Json | None:
    if found is None:
        return None
    return {"out_of_spec": found.out_of_spec, "low": found.low, "high": found.high, "method": found.method}


def _estimate(found: Estimate | None) -> Json | None:
    if found is None:
        return None
    return {"mean": found.mean, "standard_error": found.standard_error}


def _ordering(found: Ordering | None) -> Json | None:
    if found is None:
        return None
    return {
        "proved": found.proved,
        "cages": found.cages,
        "pins_in_given": _estimate(found.given),
        "pins_in_best": _estimate(found.best),
        "pins_in_natural": _estimate(found.natural),
        "saving_here": _estimate(found.saving_here),
        "saving": _estimate(found.saving),
    }
