"""What a kind of cage offers to the rest of the house: slots, chains, gaps and a starter case.

A new kind is one file that makes one :class:`Kind`, and one line in the table of ``stackup/cage/__init__.py``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from stackup.chain.model import Step
from stackup.dimension import Dimension

SlotKind = Literal["size", "zone", "one-sided"]


@dataclass(frozen=True)
class Slot:
    """One line of the drawing that the kind knows by name.

    ``symbol`` is the letter of ``docs/symbols.md``; ``indication`` is how a drawing states it (ISO 1101).
    ``stands_in`` names the slot whose value counts where this one is left out (else zero), ``without`` says in words
    what the part is without it, where that is neither; ``nominal_zero`` marks a size that may have a tolerance alone,
    ``signed`` one that may be below 0; ``unit`` is that of the case file (formulas have angles in rad).

    In an operating state a size scales with its part unless not ``scales``; ``wears`` is −1 where wear takes from it,
    1 where wear adds to it, 0 where it has none; ``turns`` marks a pitch circle that grows as the cage turns.
    """

    name: str
    kind: SlotKind
    scope: Literal["pocket", "cage"]
    part: str
    symbol: str
    meaning: str
    indication: str
    required: bool = False
    feature: Literal["hole", "shaft"] | None = None
    nonnegative: bool = False
    stands_in: str | None = None
    without: str = ""
    nominal_zero: bool = False
    signed: bool = False
    unit: Literal["mm", "deg"] = "mm"
    scales: bool = True
    wears: Literal[-1, 0, 1] = 0
    turns: bool = False

    @property
    def positive(self) -> bool:
        """Tell whether this is a length or a diameter that every real part has."""
        return self.kind == "size" and not (self.nonnegative or self.nominal_zero or self.signed)


@dataclass(frozen=True)
class Option:
    """A key of ``[cage]`` that the kind reads: a choice of words (``choices``) or a positive number.

    Without a ``default`` the case must say it.
    """

    name: str
    default: str | float | None
    choices: tuple[str, ...] = ()
    unit: str = ""
    meaning: str = ""


@dataclass(frozen=True)
class BuiltIn:
    """A built-in gap: the step that holds it, its unit, and the slots without which it is left out.

    ``max_caution(dimensions)`` says in words what an upper limit on this gap leaves out, "" where it is nothing.
    ``hints`` says by slot what the gap misses where that slot is left out.  ``signed`` marks a gap whose sign is a
    direction: below 0 it is as good as above.  ``in_operation`` marks one that only a bearing in operation has.
    """

    name: str
    unit: str
    meaning: str
    needs: tuple[str, ...] = ()
    max_caution: Callable[[Mapping[str, Dimension]], str] = field(default=lambda _: "")
    scope: Literal["pocket", "cage"] = "pocket"
    hints: Mapping[str, str] = field(default_factory=dict)
    signed: bool = False
    in_operation: bool = False


@dataclass(frozen=True)
class Given:
    """What a case says of its cage: the slots it gives, and every option, as given or by default."""

    slots: frozenset[str]
    options: Mapping[str, Any]


@dataclass(frozen=True)
class Contradiction:
    """Two nominals that no parts can have together: the slot at fault, what was found and what is allowed."""

    slot: str
    found: str
    allowed: str


@dataclass(frozen=True)
class RatingInputs:
    """What ISO 281 asks of the rollers of a row: D_we, L_we, D_pw in mm, α in rad, all from nominals."""

    diameter: float
    length: float
    pitch: float
    angle: float


@dataclass(frozen=True)
class RollerSet:
    """How the rollers of a kind stand round the cage: what must be known to ask for another number of them.

    ``spacing`` names the gaps between neighbours, of which the least counts, and ``spacing_name`` is what the least
    is called in a record; ``wall`` is the gap that is a roller's wall round its bore.  ``rating(dimensions)`` gives
    the inputs of the rating.  ``on_raceways(dimensions)`` gives, by slot, the nominals [mm] with which the pins stand
    in the middle of the seats that the raceways leave the rollers, everything at the middle of its tolerance.
    """

    spacing: tuple[str, ...]
    wall: str
    rating: Callable[[Mapping[str, Dimension]], RatingInputs]
    on_raceways: Callable[[Mapping[str, Dimension]], Mapping[str, float]]
    spacing_name: str = "roller_spacing"


@dataclass(frozen=True)
class Kind:
    """One kind of cage.

    ``steps(given)`` returns the steps of every built-in gap, written over all slots; slots left out are
    put in as zero (or as the slot that stands in for them) by the case room.  The step of a built-in gap
    bears the gap's name.  ``closing`` names the gap of the whole cage that tells whether its rings can be closed,
    ``closing_name`` what it is called in a record, ``closing_moves`` what the numbers of its pose are [mm];
    ``preload`` names that of scope cage which counts as 0 in other gaps where it is below 0.
    ``warnings(dimensions)`` returns, in words, what is doubtful about the dimensions
    of a case without being wrong, ``contradictions(dimensions)`` what is impossible.  ``roller_set`` is None for a
    kind without rollers.  ``not_given`` says of a name that a drawing may have, and that is no slot, from what it
    follows instead; ``not_given_note`` says it beside the slots.
    """

    name: str
    title: str
    slots: tuple[Slot, ...]
    gaps: tuple[BuiltIn, ...]
    steps: Callable[[Given], tuple[Step, ...]]
    options: tuple[Option, ...] = ()
    parameters: Callable[[Mapping[str, Any]], Mapping[str, float]] = field(default=lambda _: {})
    one_pocket: bool = False
    warnings: Callable[[Mapping[str, Dimension]], Sequence[str]] = field(default=lambda _: ())
    contradictions: Callable[[Mapping[str, Dimension]], Sequence[Contradiction]] = field(default=lambda _: ())
    roller_set: RollerSet | None = None
    closing: str | None = None
    closing_name: str = "ring_entry"
    closing_moves: tuple[str, ...] = ()
    preload: str | None = None
    not_given: Mapping[str, str] = field(default_factory=dict)
    not_given_note: str = ""

    def slot(self, name: str) -> Slot | None:
        """Return the slot called ``name``, or None."""
        return next((slot for slot in self.slots if slot.name == name), None)
