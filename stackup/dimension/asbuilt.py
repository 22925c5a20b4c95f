"""Dimensions as built: one measured value for each pocket, exact or with its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import ClassVar

import numpy as np

from stackup.dimension.check import SCOPES, not_negative, one_of
from stackup.dimension.fields import Lean
from stackup.dimension.kinds import FEATURES, parts_of
from stackup.dimension.law import Law
from stackup.dimension.process import Process
from stackup.dimension.region import Array, Column, Disc, Interval
from stackup.dimension.scalar import Constant, ScalarLaw
from stackup.dimension.unbounded import Normal
from stackup.dimension.zones import About, NormalZone
from stackup.errors import ValueFault

#: The worst case of a measured value lies within so many standard uncertainties.
REACH = 3.0


@dataclass(frozen=True, eq=False)
class MeasuredSize(Lean):
    """A size (or one-sided value) as built: ``values`` (Z,), one for each pocket.

    ``uncertainty``: standard uncertainty of the measurement, ≥ 0, or None (exact).  All in ``unit``, times
    ``factor`` in formulas.  Raises ValueFault, naming the key, for anything inadmissible.
    """

    name: str
    values: Array
    uncertainty: float | None = None
    scope: str = "pocket"
    part: str = "none"
    unit: str = "mm"
    feature: str | None = None
    kind: str = "size"
    factor: float = 1.0

    process: Process = field(default_factory=Process, init=False)
    lot_share: ClassVar[float] = 0.0
    sorted_to: ClassVar[float | None] = None

    def __post_init__(self) -> None:
        """Keep the values as an array and judge them."""
        object.__setattr__(self, "values", _judged(self, 1))
        one_of("kind", self.kind, ("size", "one-sided"))
        if self.feature is not None:
            one_of("feature", self.feature, FEATURES)

    @property
    def pockets(self) -> int:
        """Number of values."""
        return len(self.values)

    @property
    def components(self) -> tuple[str, ...]:
        """Return (name,)."""
        return (self.name,)

    @property
    def nominal(self) -> tuple[Column, ...]:
        """The values, in the unit of formulas."""
        return (self.values * self.factor,)

    @property
    def half_width(self) -> float:
        """Three uncertainties."""
        return REACH * (self.uncertainty or 0.0) * self.factor

    @property
    def tolerance(self) -> float:
        """Three uncertainties: nothing that money changes."""
        return self.half_width

    @cached_property
    def region(self) -> Interval:
        """The values, or within three uncertainties of them."""
        (values,) = self.nominal
        return Interval(values - self.half_width, values + self.half_width)

    @cached_property
    def law(self) -> Law:
        """Normal about the values with the uncertainty, or exact."""
        shape = Normal() if self.uncertainty else Constant()
        return ScalarLaw(shape, self.nominal[0], (self.uncertainty or 1.0) * self.factor, self.scope)


@dataclass(frozen=True, eq=False)
class MeasuredZone(Lean):
    """Position errors as built: ``values`` (Z, 2), parts r and t of each pocket.

    ``uncertainty``: standard uncertainty of each part, ≥ 0, or None (exact).
    Raises ValueFault, naming the key, for anything inadmissible.
    """

    name: str
    values: Array
    uncertainty: float | None = None
    scope: str = "pocket"
    part: str = "none"
    unit: str = "mm"
    factor: float = 1.0

    process: Process = field(default_factory=Process, init=False)
    kind: ClassVar[str] = "zone"
    feature: ClassVar[str | None] = None
    lot_share: ClassVar[float] = 0.0
    bonus: ClassVar[None] = None

    def __post_init__(self) -> None:
        """Keep the values as an array and judge them."""
        object.__setattr__(self, "values", _judged(self, 2))

    @property
    def pockets(self) -> int:
        """Number of pairs."""
        return len(self.values)

    @property
    def components(self) -> tuple[str, ...]:
        """Return (name.r, name.t)."""
        return parts_of(self.name, self.scope)

    @property
    def nominal(self) -> tuple[Column, ...]:
        """The two columns of values, in the unit of formulas."""
        return self._columns

    @property
    def _columns(self) -> tuple[Array, Array]:
        return self.values[:, 0] * self.factor, self.values[:, 1] * self.factor

    @property
    def half_width(self) -> float:
        """Three uncertainties."""
        return REACH * (self.uncertainty or 0.0) * self.factor

    @property
    def tolerance(self) -> float:
        """Three uncertainties: nothing that money changes."""
        return self.half_width

    @cached_property
    def region(self) -> Disc:
        """A disc of three uncertainties about each pair."""
        return Disc(self._columns, self.half_width)

    @cached_property
    def law(self) -> Law:
        """Normal about the pairs with the uncertainty, or exact."""
        return NormalZone(
            (self.uncertainty or 0.0) * self.factor, About(self._columns, self.scope, moves=False)
        )


def _judged(dimension: MeasuredSize | MeasuredZone, columns: int) -> Array:
    """Return the values as an array of their own; raises ValueFault unless they are as they must be."""
    one_of("scope", dimension.scope, SCOPES)
    if dimension.scope == "cage":
        raise ValueFault("values", "values at scope cage", "only at scope pocket: one for each pocket")
    if dimension.uncertainty is not None:
        not_negative("uncertainty", dimension.uncertainty)
    values = np.array(dimension.values, dtype=float)
    if values.ndim != columns or values.shape[1:] not in ((), (2,)) or len(values) == 0:
        form = "one number for each pocket" if columns == 1 else "one pair for each pocket"
        raise ValueFault("values", f"an array of shape {values.shape}", form)
    if not np.isfinite(values).all():
        raise ValueFault("values", "a number that is not finite", "finite numbers")
    return values
