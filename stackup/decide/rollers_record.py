"""Records of ``rollers``: what ``--json`` prints, key for key (every key always there)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from stackup.cage import RatingInputs
from stackup.decide.head import Drawn, head
from stackup.decide.record import Json, Note, finite
from stackup.decide.trial import Judgement
from stackup.decide.verdict import Verdict, worst
from stackup.engine.result import Fraction
from stackup.standards.iso281 import Rating


@dataclass(frozen=True)
class Layout:
    """Where the holes stand: ``follow`` is the word that asked for it, ``nominals`` [mm] are those that it changes.

    ``pitch``: the pitch circle of the drawing; ``raceway``: the one that the raceways give.
    """

    follow: str
    nominals: Mapping[str, float]

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        return {"follow": self.follow, "nominals": dict(self.nominals)}


@dataclass(frozen=True)
class RatingRecord:
    """The rating of the ``rows`` i that are alike, with their own count: its inputs, and what ISO 281 makes of them.

    ``found`` is None where γ lies outside the standard's table.
    """

    inputs: RatingInputs
    rows: int
    found: Rating | None

    @property
    def gamma(self) -> float:
        """Return γ = D_we·cos α/D_pw."""
        return self.inputs.diameter * math.cos(self.inputs.angle) / self.inputs.pitch

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints; ``alpha`` in degrees, lengths in mm, ``c_r`` in N."""
        return {
            "d_we": self.inputs.diameter,
            "l_we": self.inputs.length,
            "d_pw": self.inputs.pitch,
            "alpha": math.degrees(self.inputs.angle),
            "gamma": self.gamma,
            "rows": self.rows,
            "f_c": self.found.f_c if self.found else None,
            "b_m": self.found.b_m if self.found else None,
            "c_r": self.found.c_r if self.found else None,
        }


@dataclass(frozen=True)
class Spacing:
    """Gap between neighbours [mm], the least over rows and states; ``name`` is what the kind calls it.

    ``worst_low`` is the least value found of parts to the drawing, ``bound_low`` the one that nothing passes,
    ``mean`` that of all pockets drawn.  None where rollers overlap.
    """

    name: str
    worst_low: float | None
    bound_low: float | None
    mean: float | None

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        return {
            "worst_low": finite(self.worst_low),
            "bound_low": finite(self.bound_low),
            "mean": finite(self.mean),
        }


@dataclass(frozen=True)
class CountRecord:
    """One number of rollers in the row called ``row``, with the holes as ``follow`` says.

    ``stands`` is False where so many rollers overlap on their circle: then nothing was computed but the ratios.
    ``wall`` is the least wall of parts to the drawing [mm]; ``fraction`` that of cages failing any requirement, in the
    state (``state``) where most do;
    ``verdict`` None where the case has no requirement; ``governing`` the first requirement that is not met, else the
    first that is undecided.  Ratios are to the case's own count; ``c_r`` [N] is None outside the standard's table.
    """

    row: str
    rollers: int
    follow: str
    stands: bool
    spacing: Spacing
    wall: float | None
    fraction: Fraction | None
    state: str | None
    verdict: Verdict | None
    judgements: Mapping[str, Judgement]
    rating_ratio: float
    life_ratio: float
    c_r: float | None

    @property
    def governing(self) -> Judgement | None:
        """Return the first judgement that is not met, else the first undecided one, else None."""
        for wanted in ("not met", "undecided"):
            for one in self.judgements.values():
                if one.verdict == wanted:
                    return one
        return None

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints."""
        governing, fraction = self.governing, self.fraction
        return {
            "row": self.row,
            "rollers": self.rollers,
            "follow": self.follow,
            "stands": self.stands,
            self.spacing.name: self.spacing.to_dict(),
            "wall": finite(self.wall),
            "fraction": fraction
            and {
                "out_of_spec": fraction.out_of_spec,
                "low": fraction.low,
                "high": fraction.high,
                "method": fraction.method,
            },
            "state": self.state,
            "verdict": self.verdict,
            "governed_by": governing.requirement.name if governing else None,
            "governed_in": governing.state if governing else None,
            "verdicts": {name: one.verdict for name, one in self.judgements.items()},
            "rating_ratio": self.rating_ratio,
            "life_ratio": self.life_ratio,
            "c_r": self.c_r,
        }


def _at(counts: Sequence[CountRecord], rollers: int, follow: str | None) -> CountRecord:
    """Return the first record of so many rollers, in the layout that follows ``follow`` (None: any)."""
    for one in counts:
        if one.rollers == rollers and follow in (None, one.follow):
            return one
    raise KeyError(rollers)


@dataclass(frozen=True)
class RowRollers:
    """What was found of a row, or of ``count`` rows that are alike: the counts in ascending order, layout by layout.

    ``rollers`` is its own count, ``as_given`` the verdict on it with the holes of the drawing (None: no requirements,
    or interrupted before); ``full`` the most rollers that can stand on the circle; ``largest`` the largest count that
    meets every requirement; ``never_met`` the requirements that are not met (rather than undecided) with any count
    that stands, and ``largest_without`` the largest count that meets all others.
    """

    name: str
    count: int
    rollers: int
    as_given: Verdict | None
    full: int
    rating: RatingRecord
    layouts: tuple[Layout, ...]
    counts: tuple[CountRecord, ...]
    largest: int | None
    never_met: tuple[str, ...]
    largest_without: int | None

    def at(self, rollers: int, follow: str | None = None) -> CountRecord:
        """Return the record of so many rollers, in the first layout that has it (KeyError: none)."""
        return _at(self.counts, rollers, follow)

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints; its counts stand with those of all rows."""
        return {
            "name": self.name,
            "count": self.count,
            "rollers": self.rollers,
            "as_given": self.as_given,
            "full_complement": self.full,
            "rating": self.rating.to_dict(),
            "layouts": [layout.to_dict() for layout in self.layouts],
            "largest": self.largest,
            "never_met": list(self.never_met),
            "largest_without": self.largest_without,
        }


@dataclass(frozen=True)
class RollersResult(Drawn):
    """What ``rollers`` found of every row that differs from the others; ``units`` are those of the requirements.

    What is told of the bearing as a whole is that of its only row where all are alike, else None: but ``as_given`` is
    the worst of its rows, and ``largest`` the largest count that every row can have.  ``interrupted``: the counts are
    those that were finished.
    """

    rows: tuple[RowRollers, ...]
    states: tuple[str, ...]
    units: Mapping[str, str]
    notes: tuple[Note, ...]
    interrupted: bool = False

    @property
    def only(self) -> RowRollers | None:
        """The only row, where all are alike."""
        return self.rows[0] if len(self.rows) == 1 else None

    @property
    def counts(self) -> tuple[CountRecord, ...]:
        """The counts of all rows, row by row."""
        return tuple(one for row in self.rows for one in row.counts)

    @property
    def as_given(self) -> Verdict | None:
        """The worst verdict on the rows as given; None where one is not known."""
        known = [row.as_given for row in self.rows if row.as_given]
        return worst(known) if len(known) == len(self.rows) else None

    @property
    def largest(self) -> int | None:
        """The largest count that meets every requirement in every row."""
        met = [{one.rollers for one in row.counts if one.verdict == "met"} for row in self.rows]
        return max(set.intersection(*met), default=None)

    @property
    def rollers(self) -> int | None:
        """The number of rollers in each row."""
        return self.only.rollers if self.only else None

    @property
    def full(self) -> int | None:
        """The most rollers that can stand on the circle."""
        return self.only.full if self.only else None

    @property
    def rating(self) -> RatingRecord | None:
        """The rating of the bearing."""
        return self.only.rating if self.only else None

    @property
    def layouts(self) -> tuple[Layout, ...]:
        """Where the holes stand; the same words for every row."""
        return self.rows[0].layouts

    @property
    def never_met(self) -> tuple[str, ...]:
        """The requirements that some row does not meet with any count."""
        return tuple(dict.fromkeys(name for row in self.rows for name in row.never_met))

    @property
    def largest_without(self) -> int | None:
        """The largest count that meets all requirements but those that are never met."""
        return self.only.largest_without if self.only else None

    def at(self, rollers: int, follow: str | None = None) -> CountRecord:
        """Return the record of so many rollers, in the first row and layout that has it (KeyError: none)."""
        return _at(self.counts, rollers, follow)

    def to_dict(self) -> Json:
        """Return the record that ``--json`` prints: plain lists, numbers, words and None."""
        return {
            **head(self),
            "rollers": self.rollers,
            "as_given": self.as_given,
            "full_complement": self.full,
            "rating": self.rating and self.rating.to_dict(),
            "layouts": [layout.to_dict() for layout in self.layouts] if self.only else None,
            "rows": [row.to_dict() for row in self.rows],
            "states": list(self.states),
            "counts": [one.to_dict() for one in self.counts],
            "largest": self.largest,
            "never_met": list(self.never_met),
            "largest_without": self.largest_without,
            "notes": [str(note) for note in self.notes],
            "interrupted": self.interrupted,
        }
