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
    ``stands_in`` names the slot whose value counts where this one is left out (else zero);
    ``nominal_zero`` marks a size that may have a tolerance alone.
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
    nominal_zero: bool = False


@dataclass(frozen=True)
class Option:
    """A key of ``[cage]`` that the kind reads: a choice of words (``choices``) or a positive number."""

    name: str
    default: str | float
    choices: tuple[str, ...] = ()
    unit: str = ""
    meaning: str = ""


@dataclass(frozen=True)
class BuiltIn:
    """A built-in gap: the step that holds it, its unit, and the slots without which it is left out.

    ``max_caution`` says in words why an upper limit on this gap is to be taken with care.
    """

    name: str
    unit: str
    meaning: str
    needs: tuple[str, ...] = ()
    max_caution: str = ""
    scope: Literal["pocket", "cage"] = "pocket"


@dataclass(frozen=True)
class Kind:
    """One kind of cage.

    ``steps(options)`` returns the steps of every built-in gap, written over all slots; slots left out are
    put in as zero (or as the slot that stands in for them) by the case room.  The step of a built-in gap
    bears the gap's name.  ``warnings(dimensions)`` returns, in words, what is doubtful about the dimensions
    of a case without being wrong.
    """

    name: str
    title: str
    slots: tuple[Slot, ...]
    gaps: tuple[BuiltIn, ...]
    steps: Callable[[], tuple[Step, ...]]
    options: tuple[Option, ...] = ()
    parameters: Callable[[Mapping[str, Any]], Mapping[str, float]] = field(default=lambda _: {})
    one_pocket: bool = False
    warnings: Callable[[Mapping[str, Dimension]], Sequence[str]] = field(default=lambda _: ())
    starter: str = ""

    def slot(self, name: str) -> Slot | None:
        """Return the slot called ``name``, or None."""
        return next((slot for slot in self.slots if slot.name == name), None)
