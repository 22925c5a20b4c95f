"""What an allocation may change: which dimensions, how far, in which steps, and what each half-width costs.

Half-widths are as the case states them: a size's (upper − lower)/2, a zone's radius, a one-sided limit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.cage import kind as kind_called
from stackup.case import Case, changed
from stackup.case.changes import Changes
from stackup.case.schema import Choice, ExponentialCost, OneSidedEntry, ReciprocalCost, SizeEntry, Toleranced, ZoneEntry
from stackup.decide.machines import changes_of, cost_of_good_part, scrap
from stackup.dimension import Dimension, Disc
from stackup.errors import CaseError, Fault, StackupError, ValueFault
from stackup.standards.iso286 import grade, limits, split_class

#: half-widths reach from the present one over this to the present one times this, where the case sets no end
REACH = 10.0
#: preferred numbers of one decade (ISO 3): R5 is every fourth, R10 every second of R20
R20 = (1.0, 1.12, 1.25, 1.4, 1.6, 1.8, 2.0, 2.24, 2.5, 2.8, 3.15, 3.55, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0)
EVERY = {"R20": 1, "R10": 2, "R5": 4}
#: more steps than this between both ends are no steps
MOST_STEPS = 400
#: stands for the cost of a process that makes no good part
MOST_COST = 1e12
#: significant digits of a half-width that is written back, rounded to the finer side
DIGITS = 5
#: decimals that rounding of binary numbers is cleaned at
DECIMALS = 12
_KEYS: dict[type, str] = {ZoneEntry: "zone", OneSidedEntry: "limit"}


@dataclass(frozen=True)
class Quantities:
    """What chains see of a dimension: middle and half-width of its region, mean and sd of its law (formula units)."""

    middle: float
    half: float
    mean: float
    sd: float

    def array(self) -> Any:
        """Return the four numbers as an array."""
        return np.array([self.middle, self.half, self.mean, self.sd])


@dataclass(frozen=True)
class Option:
    """One step, grade or process: half-width, cost, what it changes in the case, and what chains then see."""

    name: str
    half: float
    cost: float
    changes: Changes
    quantities: Quantities


@dataclass(frozen=True)
class Curve:
    """Cost of a half-width t > 0 and its slope."""

    value: Callable[[float], float]
    slope: Callable[[float], float]


@dataclass(frozen=True)
class Place:
    """One dimension of the plan.

    ``options`` are all there is where steps, grades or processes are given; else any half-width from ``finest`` to
    ``coarsest``.  ``per_width`` is what chains see more for each unit of half-width, ``nominal_range`` where the
    nominal may move.  A ``locked`` one only has its present cost.
    """

    name: str
    before: float
    cost_before: float | None
    nominal: float | None
    locked: bool
    finest: float = 0.0
    coarsest: float = 0.0
    curve: Curve | None = None
    options: tuple[Option, ...] = ()
    nominal_range: tuple[float, float] | None = None
    factor: float = 1.0
    now: Quantities = Quantities(0.0, 0.0, 0.0, 0.0)
    per_width: Quantities = Quantities(0.0, 0.0, 0.0, 0.0)
    entry: Toleranced | None = None

    @property
    def moves_nominal(self) -> bool:
        """Tell whether the nominal may move."""
        return self.nominal_range is not None and self.nominal_range[0] < self.nominal_range[1]

    def at(self, half: float, nominal: float | None = None) -> Quantities:
        """Return what chains see at a half-width and a nominal."""
        moved = 0.0 if nominal is None or self.nominal is None else (nominal - self.nominal) * self.factor
        q = self.now.array() + self.per_width.array() * (half - self.before) + moved * np.array([1.0, 0.0, 1.0, 0.0])
        return Quantities(*map(float, q))

    def changes(self, half: float, option: Option | None, nominal: float | None) -> dict[str, Any]:
        """Return the changes of the case that give a half-width, or an option, and a nominal."""
        found = dict(option.changes) if option else self._written(half)
        if nominal is not None and self.moves_nominal and nominal != self.nominal:
            found[f"dimensions.{self.name}.nominal"] = nominal
        return found

    def _written(self, half: float) -> dict[str, Any]:
        if half == self.before or self.entry is None:
            return {}
        return {f"dimensions.{self.name}.{key}": value for key, value in stated(self.entry, half).items()}


def plan_of(case: Case) -> tuple[Place, ...]:
    """Return a place for every dimension with a tolerance, in the order of the file.

    Raises CaseError where no dimension has a cost or choices, or one that has has no tolerance to begin with.
    """
    places, faults = [], []
    for name, entry in case.entries.items():
        if isinstance(entry, Toleranced):
            try:
                places.append(_place(case, name, entry))
            except ValueFault as error:
                faults.append(Fault(f"dimensions.{name}.{error.name}", error.found, error.allowed, file=_file(case)))
    if not any(isinstance(e, Toleranced) and (e.cost or e.choices) for e in case.entries.values()):
        allowed = "a cost or choices for one dimension at least: nothing says what a tolerance costs"
        faults.append(Fault("dimensions", "no cost and no choices", allowed, file=_file(case)))
    if faults:
        raise CaseError(faults)
    return tuple(places)


def _file(case: Case) -> str:
    return str(case.path or "")


def _place(case: Case, name: str, entry: Toleranced) -> Place:
    dimension = case.dimensions[name]
    before = dimension.tolerance / _factor(dimension)
    nominal = entry.nominal or 0.0 if isinstance(entry, SizeEntry) else None
    curve = curve_of(entry)
    if entry.locked or not (entry.cost or entry.choices):
        return Place(name, before, curve.value(before) if curve and before > 0 else None, nominal, True)
    if before <= 0:
        raise ValueFault(_key(entry), "no tolerance", "a half-width above 0 to begin with, where a cost is given")
    finest, coarsest = _ends(case, name, entry, before)
    options = tuple(_options(case, name, entry, finest, coarsest))
    if _is_stepped(entry) and not options:
        raise ValueFault(_key(entry), "no step between finest and coarsest", "ends that hold one step at least")
    now = quantities(dimension)
    per_width = Quantities(0.0, 0.0, 0.0, 0.0)
    if not options:
        finer = changed(case, {f"dimensions.{name}.{k}": v for k, v in stated(entry, before / 2).items()})
        off = now.array() - quantities(finer.dimensions[name]).array()
        per_width = Quantities(*map(float, off / (before / 2)))
    cost = curve.value(before) if curve else _cost_of_present(options, now)
    return Place(
        name, before, cost, nominal, False, finest, coarsest, curve, options, _range(entry), _factor(dimension), now,
        per_width, entry,
    )  # fmt: skip


def _factor(dimension: Dimension) -> float:
    """Return what turns a number of the case into the unit of formulas (degrees into rad)."""
    return math.pi / 180 if dimension.unit == "rad" else 1.0


def _range(entry: Toleranced) -> tuple[float, float] | None:
    given = entry.nominal_range if isinstance(entry, SizeEntry) else None
    return (given[0], given[1]) if given else None


def curve_of(entry: Toleranced) -> Curve | None:
    """Return the cost of a half-width as the case states it."""
    cost = entry.cost
    if isinstance(cost, ReciprocalCost):
        fixed, rate, power = cost.fixed, cost.rate, cost.power
        return Curve(lambda t: fixed + rate / t**power, lambda t: -power * rate / t ** (power + 1))
    if isinstance(cost, ExponentialCost):
        fixed, rate, scale = cost.fixed, cost.rate, cost.scale
        return Curve(lambda t: fixed + rate * math.exp(-t / scale), lambda t: -rate / scale * math.exp(-t / scale))
    return None


def quantities(dimension: Dimension) -> Quantities:
    """Return what chains see of a dimension; of a zone its radius and the sd of one part."""
    region, law = dimension.region, dimension.law
    sd = math.sqrt(max(float(law.own[0, 0] + law.shared[0, 0]), 0.0))
    if isinstance(region, Disc):
        return Quantities(0.0, float(region.radius), 0.0, sd)
    low, high = float(np.mean(region.low)), float(np.mean(region.high))
    return Quantities(0.5 * (low + high), 0.5 * (high - low), float(np.mean(law.mean[0])), sd)


def _key(entry: Toleranced) -> str:
    return _KEYS.get(type(entry), "tolerance")


def stated(entry: Toleranced, half: float) -> dict[str, Any]:
    """Return the keys of a dimension that state a half-width: the middle of the tolerance stays."""
    if isinstance(entry, ZoneEntry):
        return {"zone": round(2 * half, DECIMALS)}
    if isinstance(entry, OneSidedEntry):
        return {"limit": half}
    tolerance = entry.tolerance if isinstance(entry, SizeEntry) else None
    if isinstance(tolerance, list):
        middle = 0.5 * (tolerance[0] + tolerance[1])
        return {"tolerance": [round(middle - half, DECIMALS), round(middle + half, DECIMALS)]}
    return {"tolerance": round(half, DECIMALS)}


def rounded(half: float) -> float:
    """Return a half-width with few digits, on the finer side (what rounding took off a digit is given back)."""
    places = DIGITS - 1 - math.floor(math.log10(half))
    return round(math.floor(half * 10.0**places * (1 + 1e-8)) / 10.0**places, DECIMALS)


def _ends(case: Case, name: str, entry: Toleranced, before: float) -> tuple[float, float]:
    """Return the finest and the coarsest half-width; a size that is never negative is no wider than its middle."""
    coarsest = entry.coarsest or before * REACH
    slot = kind_called(case.kind).slot(name)
    if slot and slot.nonnegative and isinstance(entry, SizeEntry):
        coarsest = min(coarsest, quantities(case.dimensions[name]).middle)
    finest = min(entry.finest or before / REACH, coarsest)
    return finest, coarsest


# Steps, grades, processes ---------------------------------------------------------------------------------


def _is_stepped(entry: Toleranced) -> bool:
    return bool(entry.choices or entry.steps or _letter(entry))


def _letter(entry: Toleranced) -> str | None:
    """Return the letter of an ISO 286-1 class."""
    is_class = isinstance(entry, SizeEntry) and isinstance(entry.tolerance, str)
    return split_class(entry.tolerance)[0] if is_class else None  # type: ignore[attr-defined]


def _options(case: Case, name: str, entry: Toleranced, finest: float, coarsest: float) -> Iterator[Option]:
    if entry.choices:
        for one in entry.choices:
            yield from _choice(case, name, one)
        return
    curve = curve_of(entry)
    if curve is None or not _is_stepped(entry):
        return
    for label, half, keys in _steps(entry, finest, coarsest):
        if finest * (1 - 1e-9) <= half <= coarsest * (1 + 1e-9):
            changes = {f"dimensions.{name}.{key}": value for key, value in keys.items()}
            try:
                made = changed(case, changes).dimensions[name]
            except StackupError:  # a grade that the case does not allow here is no option
                continue
            yield Option(label, half, curve.value(half), changes, quantities(made))


def _steps(entry: Toleranced, finest: float, coarsest: float) -> Iterator[tuple[str, float, Mapping[str, Any]]]:
    """Yield the name, half-width and keys of every step that may be meant."""
    letter = _letter(entry)
    if letter is not None and isinstance(entry, SizeEntry):
        for n in range(1, 19):
            try:
                found = limits(entry.nominal or 0.0, f"{letter}{n}")
            except ValueFault:
                continue
            yield f"{letter}{n}", 0.5 * (found.upper - found.lower), {"tolerance": f"{letter}{n}"}
    elif entry.steps == "IT":
        if not isinstance(entry, SizeEntry) or not entry.nominal or entry.unit not in (None, "mm"):
            raise ValueFault("steps", '"IT"', "grades are for sizes in mm with a nominal: R5, R10, R20 or a number")
        for n in range(1, 19):
            half = 0.5 * grade(entry.nominal, n)
            yield f"IT{n}", half, stated(entry, half)
    else:
        for half in _numbers(entry.steps, finest, coarsest):
            yield f"{half:g}", half, stated(entry, half)


def _numbers(steps: str | float | None, finest: float, coarsest: float) -> Sequence[float]:
    """Return the preferred numbers (ISO 3), or the multiples of a number, from finest to coarsest."""
    if isinstance(steps, str):
        decades = range(math.floor(math.log10(finest)) - 1, math.floor(math.log10(coarsest)) + 1)
        found = [round(number * 10.0**d, 12 - d) for d in decades for number in R20[:: EVERY[steps]]]
    else:
        step = float(steps or 0.0)
        first, last = math.ceil(finest / step - 1e-9), math.floor(coarsest / step + 1e-9)
        if last - first > MOST_STEPS:
            raise ValueFault("steps", f"{step:g}, which makes {last - first} steps", f"at most {MOST_STEPS} steps")
        found = [round(k * step, 12) for k in range(max(first, 1), last + 1)]
    return [half for half in found if finest * (1 - 1e-9) <= half <= coarsest * (1 + 1e-9)]


def _choice(case: Case, name: str, choice: Choice) -> Iterator[Option]:
    """Yield one real process, once for each side that its mean may stand on: what a good part costs with it."""
    both = changes_of(case, name, choice)
    for changes in both:
        dimension = changed(case, changes).dimensions[name]
        side = changes.get(f"dimensions.{name}.process.toward") if len(both) > 1 else None
        label = f"{choice.name} towards {side}" if side else choice.name
        cost = cost_of_good_part(choice.cost, scrap(dimension))
        half = dimension.tolerance / _factor(dimension)
        yield Option(label, half, min(cost, MOST_COST), changes, quantities(dimension))


def _cost_of_present(options: Sequence[Option], now: Quantities) -> float | None:
    """Return the cost of the option that is what the case has now: the same width, mean and scatter; else None."""
    same = [o.cost for o in options if np.allclose(o.quantities.array(), now.array(), rtol=1e-9, atol=1e-12)]
    return min(same, default=None)
