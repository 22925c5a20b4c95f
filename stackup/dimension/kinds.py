"""Size, Zone, OneSided, and both as built: what the drawing says of one dimension, and how it comes out.

A dimension owns a *region* (what the drawing grants) and a *law* (how values come out), and labels.
Every number it gives is a scalar or a column of Z; no engine asks how it is made.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, ClassVar, Protocol

from stackup.dimension import build
from stackup.dimension.check import SCOPES, finite, not_negative, one_of, positive, whole, within
from stackup.dimension.fields import Lean, NominalField
from stackup.dimension.law import Law
from stackup.dimension.process import Process
from stackup.dimension.region import Classes, Column, Disc, Growth, Interval, Region, sorting_classes
from stackup.errors import ValueFault

FEATURES = ("hole", "shaft")


class Dimension(Protocol):
    """What chains, engines and decisions may ask of any dimension."""

    @property
    def name(self) -> str:
        """Name in the case file."""

    @property
    def kind(self) -> str:
        """Return "size", "zone" or "one-sided"."""

    @property
    def scope(self) -> str:
        """Return "pocket" (drawn anew for each pocket) or "cage" (one draw for all)."""

    @property
    def part(self) -> str:
        """The part it is measured on, or "none"."""

    @property
    def unit(self) -> str:
        """Label of the unit."""

    @property
    def feature(self) -> str | None:
        """Return "hole", "shaft" or None."""

    @property
    def components(self) -> tuple[str, ...]:
        """Names of its inputs: (name,), or (name.r, name.t), or (name.x, name.y)."""

    @property
    def nominal(self) -> tuple[Column, ...]:
        """Nominal of each component in the unit of formulas; zones and one-sided 0, as built the values."""

    @property
    def half_width(self) -> float:
        """Half-width of the region about its middle: a zone's radius, half a one-sided limit."""

    @property
    def tolerance(self) -> float:
        """Half-width that costs money: a one-sided value's is the limit itself."""

    @property
    def region(self) -> Region:
        """What the drawing grants."""

    @property
    def law(self) -> Law:
        """How values come out."""


def _judge_labels(dimension: Any) -> None:
    one_of("scope", dimension.scope, SCOPES)
    whole("rollers", dimension.pockets, 1)
    within("lot_share", dimension.lot_share, 0.0, 1.0)
    if dimension.scope == "cage":
        for key in ("lot_share", "sorted_to"):
            if getattr(dimension, key, None):
                raise ValueFault(key, f"{getattr(dimension, key):g} at scope cage", "only at scope pocket")
        if dimension.process.moves_round:
            key = "pattern" if dimension.process.pattern else "drift"
            raise ValueFault(key, "a pattern round the ring at scope cage", "only at scope pocket")


@dataclass(frozen=True)
class Size(Lean):
    """A nominal with a lower and an upper deviation.

    ``nominal``, ``lower`` ≤ ``upper``, ``sorted_to`` > 0 and the lengths of ``process`` as entered;
    formulas get ``factor`` times that (1; π/180 for angles entered in degrees).  ``pockets`` is Z.
    Raises ValueFault, naming the key, for anything inadmissible.
    """

    name: str
    nominal: NominalField = NominalField()  # noqa: RUF009 - a descriptor, not a default
    lower: float = 0.0
    upper: float = 0.0
    scope: str = "pocket"
    part: str = "none"
    unit: str = "mm"
    feature: str | None = None
    process: Process = field(default_factory=Process)
    sorted_to: float | None = None
    lot_share: float = 0.0
    pockets: int = 1
    factor: float = 1.0

    kind: ClassVar[str] = "size"

    def __post_init__(self) -> None:
        """Judge labels, limits, sorting and process."""
        _judge_labels(self)
        if finite("tolerance", self.lower) > finite("tolerance", self.upper):
            raise ValueFault("tolerance", f"[{self.lower:g}, {self.upper:g}]", "the lower deviation first")
        if self.feature is not None:
            one_of("feature", self.feature, FEATURES)
        self._judge_sorting()
        build.judge_size(self.process)
        if self.process.inspected or self.sorted_to is not None:
            _ = self.law  # raises where next to nothing is left

    def _judge_sorting(self) -> None:
        if self.sorted_to is None:
            return
        positive("sorted_to", self.sorted_to)
        if self.lot_share:
            raise ValueFault("sorted_to", f"{self.sorted_to:g} beside lot_share", "one of them")
        if self.process.moves_round:
            raise ValueFault("sorted_to", f"{self.sorted_to:g} beside pattern or drift", "one of them")
        sorting_classes(self.lower, self.upper, self.sorted_to)

    @property
    def components(self) -> tuple[str, ...]:
        """Return (name,)."""
        return (self.name,)

    @property
    def nominal_size(self) -> float:
        """The nominal as entered."""
        return float(self.__dict__["_entered"])

    @property
    def half_width(self) -> float:
        """Half of upper − lower, in the unit of formulas."""
        return 0.5 * (self.upper - self.lower) * self.factor

    @property
    def tolerance(self) -> float:
        """The half-width."""
        return self.half_width

    @property
    def limits(self) -> tuple[float, float]:
        """Least and greatest size the drawing allows, in the unit of formulas."""
        return (self.nominal_size + self.lower) * self.factor, (self.nominal_size + self.upper) * self.factor

    @cached_property
    def region(self) -> Interval | Classes:
        """The interval of the drawing, or its sorting classes."""
        low, high = self.limits
        if self.sorted_to is None:
            return Interval(low, high)
        return sorting_classes(low, high, self.sorted_to * self.factor)

    @cached_property
    def law(self) -> Law:
        """How values come out."""
        return build.size_law(self)


@dataclass(frozen=True)
class Bonus:
    """Material bonus (ISO 2692) from a size: ``kind`` "hole" or "shaft", its maximum material size.

    ``size``: the feature itself, if known; the moments of an inspected zone are then averaged over it,
    else they are those without bonus.
    """

    feature: str
    kind: str
    maximum_material_size: float
    size: Size | None = None

    def __post_init__(self) -> None:
        """Judge kind and size."""
        one_of("bonus_from", self.kind, FEATURES)
        finite("bonus_from", self.maximum_material_size)

    @property
    def growth(self) -> Growth:
        """How the radius of the zone grows: half the departure from the maximum material size."""
        return Growth(self.feature, 0.5 if self.kind == "hole" else -0.5, self.maximum_material_size)


@dataclass(frozen=True)
class Zone(Lean):
    """A circular position zone of ``diameter`` ≥ 0: a vector with nominal (0, 0).

    Parts r, t in the pocket's axes (scope pocket) or x, y in the ring's (scope cage).
    Raises ValueFault, naming the key, for anything inadmissible.
    """

    name: str
    diameter: float
    scope: str = "pocket"
    part: str = "none"
    unit: str = "mm"
    process: Process = field(default_factory=Process)
    lot_share: float = 0.0
    bonus: Bonus | None = None
    pockets: int = 1
    factor: float = 1.0

    kind: ClassVar[str] = "zone"
    feature: ClassVar[str | None] = None

    def __post_init__(self) -> None:
        """Judge labels, diameter and process."""
        _judge_labels(self)
        not_negative("zone", self.diameter)
        build.judge_zone(self.process, self.lot_share)
        if self.process.inspected:
            _ = self.law  # raises where next to nothing is left

    @property
    def components(self) -> tuple[str, ...]:
        """Return (name.r, name.t) at scope pocket, (name.x, name.y) at scope cage."""
        return parts_of(self.name, self.scope)

    @property
    def nominal(self) -> tuple[Column, ...]:
        """Return (0, 0)."""
        return 0.0, 0.0

    @property
    def half_width(self) -> float:
        """The radius, without bonus."""
        return 0.5 * self.diameter * self.factor

    @property
    def tolerance(self) -> float:
        """The radius."""
        return self.half_width

    @cached_property
    def region(self) -> Disc:
        """The disc of the drawing about (0, 0), with its bonus."""
        return Disc((0.0, 0.0), self.half_width, None if self.bonus is None else self.bonus.growth)

    @cached_property
    def law(self) -> Law:
        """How vectors come out."""
        return build.zone_law(self)


@dataclass(frozen=True)
class OneSided(Lean):
    """A form or runout: 0…``limit``, limit ≥ 0.

    Raises ValueFault, naming the key, for anything inadmissible.
    """

    name: str
    limit: float
    scope: str = "pocket"
    part: str = "none"
    unit: str = "mm"
    process: Process = field(default_factory=Process)
    lot_share: float = 0.0
    pockets: int = 1
    factor: float = 1.0

    kind: ClassVar[str] = "one-sided"
    feature: ClassVar[str | None] = None

    def __post_init__(self) -> None:
        """Judge labels, limit and process."""
        _judge_labels(self)
        not_negative("limit", self.limit)
        build.judge_one_sided(self.process)
        if self.process.inspected:
            _ = self.law  # raises where next to nothing is left

    @property
    def components(self) -> tuple[str, ...]:
        """Return (name,)."""
        return (self.name,)

    @property
    def nominal(self) -> tuple[Column, ...]:
        """Return (0,)."""
        return (0.0,)

    @property
    def half_width(self) -> float:
        """Half the limit: the region's half-width about limit/2."""
        return 0.5 * self.tolerance

    @property
    def tolerance(self) -> float:
        """The limit itself."""
        return self.limit * self.factor

    @cached_property
    def region(self) -> Interval:
        """Return 0…limit."""
        return Interval(0.0, self.tolerance)

    @cached_property
    def law(self) -> Law:
        """How values come out."""
        return build.one_sided_law(self)


def parts_of(name: str, scope: str) -> tuple[str, ...]:
    """Return the names of a zone's parts: r, t in the pocket's axes, x, y in the ring's."""
    axes = "rt" if scope == "pocket" else "xy"
    return tuple(f"{name}.{axis}" for axis in axes)
