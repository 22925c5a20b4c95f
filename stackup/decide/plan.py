"""What an allocation may change: which dimensions, how far, in which steps, and what each half-width costs.

Half-widths are as the case states them: a size's (upper − lower)/2, a zone's radius, a one-sided limit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from stackup.cage import kind as kind_called
from stackup.case import Case, changed
from stackup.case.changes import Changes
from stackup.case.schema import Choice, ExponentialCost, OneSidedEntry, ReciprocalCost, SizeEntry, Toleranced, ZoneEntry
from stackup.case.statements import GRANTS, Statement, statements
from stackup.decide.machines import changes_of, cost_of_good_part, scrap, toward_of
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

    def more(self, each: Quantities, times: float) -> Quantities:
        """Return these and ``times`` others."""
        return Quantities(*map(float, self.array() + times * each.array()))

    def less(self, other: Quantities) -> Quantities:
        """Return what these are more than others."""
        return self.more(other, -1.0)

    def times(self, factor: float) -> Quantities:
        """Return the multiple of these."""
        return Quantities(*map(float, factor * self.array()))


NOTHING = Quantities(0.0, 0.0, 0.0, 0.0)


#: a dimension in a row: the row by its place in the case, and the dimension's name
Key = tuple[int, str]


@dataclass(frozen=True)
class Option:
    """One step, grade or process: half-width, cost, what it changes in the case, what chains then see in each row."""

    name: str
    half: float
    cost: float
    changes: Changes
    quantities: Mapping[Key, Quantities]


@dataclass(frozen=True)
class Seen:
    """What chains of one row see of a place: now, more for each unit of half-width, and for each unit of nominal."""

    now: Quantities
    per_width: Quantities
    per_nominal: float


@dataclass(frozen=True)
class Curve:
    """Cost of a half-width t > 0 and its slope."""

    value: Callable[[float], float]
    slope: Callable[[float], float]


@dataclass(frozen=True)
class Place:
    """One line of the plan: a dimension of all rows, or a row's own.

    ``path``: its table in the case; ``count``: the rows of the bearing that go by its tolerance, each of which costs.
    ``options`` are all there is where steps, grades or processes are given; else any half-width from ``finest`` to
    ``coarsest``.  ``wide``: where its tolerance holds; ``seen``: what chains see of it, by row; a row with a tolerance
    of its own may still follow its nominal.  ``nominal_range``: where the nominal may move.  A ``locked`` one only
    has its present cost.
    """

    name: str
    path: str
    count: int
    before: float
    cost_before: float | None
    nominal: float | None
    locked: bool
    finest: float = 0.0
    coarsest: float = 0.0
    curve: Curve | None = None
    options: tuple[Option, ...] = ()
    nominal_range: tuple[float, float] | None = None
    wide: frozenset[Key] = frozenset()
    seen: Mapping[Key, Seen] = field(default_factory=dict)
    entry: Toleranced | None = None

    @property
    def moves_nominal(self) -> bool:
        """Tell whether the nominal may move."""
        return self.nominal_range is not None and self.nominal_range[0] < self.nominal_range[1]

    def changes(self, half: float, option: Option | None, nominal: float | None) -> dict[str, Any]:
        """Return the changes of the case that give a half-width, or an option, and a nominal."""
        found = dict(option.changes) if option else self._written(half)
        if nominal is not None and self.moves_nominal and nominal != self.nominal:
            found[f"{self.path}.nominal"] = nominal
        return found

    def standing_at(self, half: float) -> Place:
        """Return the place with its factor counted from another half-width."""
        if self.locked or self.options:
            return self
        moved = half - self.before
        seen = {key: replace(one, now=one.now.more(one.per_width, moved)) for key, one in self.seen.items()}
        return replace(self, before=half, seen=seen)

    def _written(self, half: float) -> dict[str, Any]:
        if half == self.before or self.entry is None:
            return {}
        return {f"{self.path}.{key}": value for key, value in stated(self.entry, half).items()}


def plan_of(case: Case) -> tuple[Place, ...]:
    """Return a place for every dimension with a tolerance, in the order of the file; a row's own has one of its own.

    Raises CaseError where no dimension has a cost or choices, or one that has has no tolerance to begin with.
    """
    places, faults = [], []
    toleranced = [one for one in statements(case, GRANTS) if isinstance(one.entry, Toleranced)]
    for said in toleranced:
        try:
            places.append(_place(case, said, said.entry))  # type: ignore[arg-type]  # looked at above
        except ValueFault as error:
            faults.append(Fault(f"{said.path}.{error.name}", error.found, error.allowed, file=_file(case)))
    if all(isinstance(one.entry, Toleranced) and not (one.entry.cost or one.entry.choices) for one in toleranced):
        allowed = "a cost or choices for one dimension at least: nothing says what a tolerance costs"
        faults.append(Fault("dimensions", "no cost and no choices", allowed, file=_file(case)))
    if faults:
        raise CaseError(faults)
    return tuple(places)


def _file(case: Case) -> str:
    return str(case.path or "")


def _place(case: Case, said: Statement, entry: Toleranced) -> Place:
    before = said.dimension.tolerance / _factor(said.dimension)
    nominal = entry.nominal or 0.0 if isinstance(entry, SizeEntry) else None
    curve = curve_of(entry, said.count)
    if entry.locked or not (entry.cost or entry.choices):
        paid = curve.value(before) if curve and before > 0 else None
        return Place(said.label, said.path, said.count, before, paid, nominal, True)
    if before <= 0:
        raise ValueFault(_key(entry), "no tolerance", "a half-width above 0 to begin with, where a cost is given")
    now = _in_rows(case, said)
    finest, coarsest = _ends(case, said, entry, before, now)
    options = tuple(_options(case, said, entry, finest, coarsest))
    if _is_stepped(entry) and not options:
        raise ValueFault(_key(entry), "no step between finest and coarsest", "ends that hold one step at least")
    wide = _in_rows(case, said, now if options else None, None if options else stated(entry, before / 2))
    per_width = {key: now[key].less(finer).times(2 / before) for key, finer in wide.items()}
    moving, nominal_range = _followers(case, said), _range(case, said, entry)
    factor = _factor(said.dimension)
    seen = {
        key: Seen(now.get(key) or quantities(case.models()[key[0]].dimensions[said.name]),
                  per_width.get(key, NOTHING), factor if key in moving else 0.0)
        for key in dict.fromkeys([*now, *(moving if nominal_range else ())])
    }  # fmt: skip
    cost = curve.value(before) if curve else _cost_of_present(options, now)
    return Place(
        said.label, said.path, said.count, before, cost, nominal, False, finest, coarsest, curve, options,
        nominal_range, frozenset(now), seen, entry,
    )  # fmt: skip


def _in_rows(
    case: Case, said: Statement, known: Mapping[Key, Quantities] | None = None, keys: Mapping[str, Any] | None = None
) -> dict[Key, Quantities]:
    """Return what chains see of a dimension in the rows that go by ``said``, with ``keys`` of it changed."""
    if known is not None:
        return dict(known)
    made = changed(case, {f"{said.path}.{key}": value for key, value in keys.items()}) if keys else case
    return {(row, said.name): quantities(made.models()[row].dimensions[said.name]) for row in said.rows}


def _followers(case: Case, said: Statement) -> list[Key]:
    """Return the rows that follow the nominal of a statement: all that say none of their own, or the row itself."""
    rows = list(enumerate(case.models()))
    if said.is_of_row:
        rows = [(index, row) for index, row in rows if index in said.rows]
        return [(index, said.name) for index, row in rows if "nominal" in row.said.get(said.name, ())]
    return [
        (index, said.name)
        for index, row in rows
        if said.name in row.dimensions and "nominal" not in row.said.get(said.name, ())
    ]


def _factor(dimension: Dimension) -> float:
    """Return what turns a number of the case into the unit of formulas (degrees into rad)."""
    return math.pi / 180 if dimension.unit == "rad" else 1.0


def _range(case: Case, said: Statement, entry: Toleranced) -> tuple[float, float] | None:
    """Return where the nominal may move; None where no row would follow it."""
    given = entry.nominal_range if isinstance(entry, SizeEntry) else None
    return (given[0], given[1]) if given and _followers(case, said) else None


def curve_of(entry: Toleranced, count: int = 1) -> Curve | None:
    """Return the cost of a half-width as the case states it, ``count`` times."""
    cost = entry.cost
    if isinstance(cost, ReciprocalCost):
        fixed, rate, power = count * cost.fixed, count * cost.rate, cost.power
        return Curve(lambda t: fixed + rate / t**power, lambda t: -power * rate / t ** (power + 1))
    if isinstance(cost, ExponentialCost):
        fixed, rate, scale = count * cost.fixed, count * cost.rate, cost.scale
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


def _ends(
    case: Case, said: Statement, entry: Toleranced, before: float, now: Mapping[Key, Quantities]
) -> tuple[float, float]:
    """Return the finest and the coarsest half-width; a size that is never negative is no wider than its middle."""
    coarsest = entry.coarsest or before * REACH
    slot = kind_called(case.kind).slot(said.name)
    if slot and slot.nonnegative and isinstance(entry, SizeEntry):
        coarsest = min(coarsest, *(one.middle for one in now.values()))
    finest = min(entry.finest or before / REACH, coarsest)
    return finest, coarsest


# Steps, grades, processes ---------------------------------------------------------------------------------


def _is_stepped(entry: Toleranced) -> bool:
    return bool(entry.choices or entry.steps or _letter(entry))


def _letter(entry: Toleranced) -> str | None:
    """Return the letter of an ISO 286-1 class."""
    is_class = isinstance(entry, SizeEntry) and isinstance(entry.tolerance, str)
    return split_class(entry.tolerance)[0] if is_class else None  # type: ignore[attr-defined]


def _options(case: Case, said: Statement, entry: Toleranced, finest: float, coarsest: float) -> Iterator[Option]:
    if entry.choices:
        for one in entry.choices:
            yield from _choice(case, said, one)
        return
    curve = curve_of(entry, said.count)
    if curve is None or not _is_stepped(entry):
        return
    for label, half, keys in _steps(entry, finest, coarsest):
        if finest * (1 - 1e-9) <= half <= coarsest * (1 + 1e-9):
            changes = {f"{said.path}.{key}": value for key, value in keys.items()}
            try:
                made = _in_rows(case, said, None, keys)
            except StackupError:  # a grade that the case does not allow here is no option
                continue
            yield Option(label, half, curve.value(half), changes, made)


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


def _choice(case: Case, said: Statement, choice: Choice) -> Iterator[Option]:
    """Yield one real process, once for each side that its mean may stand on: what a good part costs with it."""
    both = changes_of(said, choice)
    for changes in both:
        made = changed(case, changes).models()
        dimension = made[said.rows[0]].dimensions[said.name]
        side = toward_of(changes) if len(both) > 1 else None
        label = f"{choice.name} towards {side}" if side else choice.name
        cost = said.count * cost_of_good_part(choice.cost, scrap(dimension))
        half = dimension.tolerance / _factor(dimension)
        seen = {(row, said.name): quantities(made[row].dimensions[said.name]) for row in said.rows}
        yield Option(label, half, min(cost, MOST_COST), changes, seen)


def _cost_of_present(options: Sequence[Option], now: Mapping[Key, Quantities]) -> float | None:
    """Return the cost of the option that is what the case has now: the same width, mean and scatter; else None."""
    same = [option.cost for option in options if all(_is(option.quantities[key], one) for key, one in now.items())]
    return min(same, default=None)


def _is(one: Quantities, other: Quantities) -> bool:
    """Tell whether chains see the same."""
    return np.allclose(one.array(), other.array(), rtol=1e-9, atol=1e-12)
