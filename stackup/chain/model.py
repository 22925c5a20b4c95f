"""What an engine receives: dimensions, chains of steps, gaps and requirements of one row of one bearing.

A model knows no file, no cage kind and no screen.  Nominals, limits and pocket angles are numbers bound
when a program runs, never baked into the steps (house.md, abstraction 3).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from stackup.dimension import Dimension

Over = Literal["each", "least", "greatest", "mean", "spread"]
Population = Literal["pockets", "cages", "bearings"]
Scope = Literal["pocket", "cage"]

OVERS: tuple[Over, ...] = ("each", "least", "greatest", "mean", "spread")
POPULATIONS: tuple[Population, ...] = ("pockets", "cages", "bearings")


@dataclass(frozen=True)
class Step:
    """One named line of a chain: ``name = formula`` over symbols, parameters, earlier steps and ``.next``.

    A vector step is two steps, ``name.r`` and ``name.t``.  ``note`` says in words what the line means.
    """

    name: str
    formula: Any
    note: str = ""


@dataclass(frozen=True)
class Gap:
    """A number of a pocket or of a cage: the step that holds it, its unit, and its name on the screen.

    ``scope`` is ``cage`` for a chain with nothing of a pocket in it.  ``own`` marks a chain of the case file.
    """

    name: str
    unit: str
    step: str
    scope: Scope = "pocket"
    own: bool = False


@dataclass(frozen=True)
class Allowance:
    """How many of a population may be out of spec: ``ppm`` > 0 of ``of``."""

    ppm: float
    of: Population


@dataclass(frozen=True)
class Requirement:
    """A limit on a gap: each pocket, or the least, greatest, mean or spread over the pockets of a cage.

    ``min`` and ``max`` are in the gap's own unit; at least one is given.  Without ``allow`` the worst case
    decides.
    """

    name: str
    gap: str
    over: Over = "each"
    min: float | None = None
    max: float | None = None
    allow: Allowance | None = None


@dataclass(frozen=True)
class Model:
    """One row of one bearing in one state.

    ``dimensions`` by name; ``steps`` in an order in which each uses only earlier ones; ``pockets`` is Z;
    ``parameters`` binds every symbol that is neither a dimension nor a step (``rollers``, a modulus, a slot
    left out).  The pocket angle is known to every chain as ``angle``.  ``nominals`` names the sizes whose nominal
    the chains use, as ``name.nominal``: it follows the dimension, whoever changes it.
    """

    dimensions: Mapping[str, Dimension]
    steps: tuple[Step, ...]
    gaps: tuple[Gap, ...]
    pockets: int
    parameters: Mapping[str, float] = field(default_factory=dict)
    nominals: tuple[str, ...] = ()

    def gap(self, name: str) -> Gap:
        """Return the gap called ``name`` (KeyError when there is none)."""
        return next(gap for gap in self.gaps if gap.name == name)

    def with_dimensions(self, changed: Mapping[str, Dimension]) -> Model:
        """Return the same chains with some dimensions replaced by others of the same components."""
        return replace(self, dimensions={**self.dimensions, **changed})
