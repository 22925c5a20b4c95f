"""Least cost under concave limits: continuous half-widths and nominals, and options of which one is taken.

Outer approximation (M. A. Duran, I. E. Grossmann, Mathematical Programming 36 (1986) 307-339): costs and limits are
replaced by their tangents at the points seen so far; a mixed-integer linear programme over these (HiGHS, by scipy)
gives a lower bound of the cost, sequential quadratic programming with the options fixed gives a solution.  Where all
functions are convex, a solution whose cost is that bound is the cheapest there is.

Unknowns: for a place without options its half-width in units of the present one, else one 0/1 for each option; then the
nominals that may move, in mm from the present ones.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.decide.limits import Limit
from stackup.decide.plan import Key, Option, Place, Quantities

Array = Any

#: parts of the cost that a proved solution may be above its bound; limits may be missed by parts of their scale
GAP, MISSED = 1e-7, 1e-9
#: rounds of tangents, steps of the quadratic programming
ROUNDS, STEPS = 120, 200
#: relaxations below this part of a limit's scale are none
NO_RELAXATION = 1e-6


@dataclass(frozen=True)
class Assigned:
    """What a solution gives one place: half-width, option if it has any, and nominal if it moves."""

    half: float
    option: Option | None = None
    nominal: float | None = None


@dataclass(frozen=True)
class Solution:
    """Assignments by dimension, cost, a bound that no solution passes, and the price of each limit per unit of margin.

    ``proved`` where the cost is the bound; ``prices`` are None where options decide.
    """

    assigned: Mapping[str, Assigned]
    cost: float
    bound: float
    proved: bool
    prices: Mapping[str, float | None]


class Problem:
    """Costs and limits over the unknowns of free places."""

    def __init__(self, places: Sequence[Place], limits: Sequence[Limit], reach: float = np.inf) -> None:
        """Lay out the unknowns; a half-width may change by a factor ``reach`` at most."""
        self.places = [p for p in places if not p.locked]
        self.limits = list(limits)
        self.low: list[float] = []
        self.high: list[float] = []
        self.whole: list[bool] = []
        self.widths: dict[str, int] = {}
        self.picks: dict[str, list[int]] = {}
        self.nominals: dict[str, int] = {}
        for place in self.places:
            self._lay_out(place, reach)
        self.count = len(self.low)
        self._seen = self._linear_maps()
        self._compiled = [self._compile(limit) for limit in self.limits]

    def _lay_out(self, place: Place, reach: float) -> None:
        if place.options:
            self.picks[place.name] = [self._add(0.0, 1.0, True) for _ in place.options]
        else:
            ends = max(place.finest / place.before, 1 / reach), min(place.coarsest / place.before, reach)
            self.widths[place.name] = self._add(min(ends), max(ends), False)
        if place.moves_nominal and place.nominal_range and place.nominal is not None:
            low, high = (end - place.nominal for end in place.nominal_range)
            self.nominals[place.name] = self._add(low, high, False)

    def _add(self, low: float, high: float, whole: bool) -> int:
        self.low.append(low)
        self.high.append(high)
        self.whole.append(whole)
        return len(self.low) - 1

    def _linear_maps(self) -> dict[Key, tuple[Array, Array]]:
        """Return, by dimension of a row, (4,) and (4, count): chains see the first plus the second times the unknowns.

        A row with a tolerance of its own may follow the nominal of all: then two places move what it sees.
        """
        keys = dict.fromkeys(key for place in self.places for key in place.seen)
        found = {key: (np.zeros(4), np.zeros((4, self.count))) for key in keys}
        wide = {key for place in self.places for key in place.wide}
        for place in self.places:
            for key, seen in place.seen.items():
                base, matrix = found[key]
                if key in place.wide and place.options:
                    for index, option in zip(self.picks[place.name], place.options, strict=True):
                        matrix[:, index] = option.quantities[key].array()
                elif key in place.wide:
                    per_width = seen.per_width.array() * place.before
                    base += seen.now.array() - per_width
                    matrix[:, self.widths[place.name]] = per_width
                elif key not in wide:
                    base += seen.now.array()
                if place.name in self.nominals:
                    matrix[:, self.nominals[place.name]] = np.array([1.0, 0.0, 1.0, 0.0]) * seen.per_nominal
        return found

    def _compile(self, limit: Limit) -> tuple[float, Array, float, list[tuple[float, float, Array]]]:
        """Return m's constant and gradient, the variance that stays, and (weight, sd, gradient of sd) by free place."""
        constant, gradient, rest = limit.constant, np.zeros(self.count), limit.rest
        spreads = []
        for name in {*limit.middle, *limit.half, *limit.mean, *limit.weights}:
            was = limit.at[name].array()
            slopes = np.array([limit.middle.get(name, 0.0), limit.half.get(name, 0.0), limit.mean.get(name, 0.0), 0.0])
            weight = limit.weights.get(name, 0.0)
            if name not in self._seen:
                rest += weight * was[3] ** 2
                continue
            base, matrix = self._seen[name]
            constant += float(slopes @ (base - was))
            gradient = gradient + slopes @ matrix
            if weight > 0:
                spreads.append((weight, float(base[3]), matrix[3]))
        return constant, gradient, rest, spreads

    def margins(self, z: Array) -> tuple[Array, Array]:
        """Return all margins (limits,) and their gradients (limits, count)."""
        values, slopes = np.zeros(len(self.limits)), np.zeros((len(self.limits), self.count))
        for i, (limit, (constant, gradient, rest, spreads)) in enumerate(zip(self.limits, self._compiled, strict=True)):
            variance, by = rest, np.zeros(self.count)
            for weight, base, matrix in spreads:
                sd = base + float(matrix @ z)
                variance += weight * sd * sd
                by += weight * sd * matrix
            s = float(np.sqrt(max(variance, 0.0)))
            value, by_m, by_s = limit.shape(constant + float(gradient @ z), s)
            values[i], slopes[i] = value, by_m * gradient + (by_s / s * by if s > 0 else 0.0)
        return values, slopes

    @property
    def scales(self) -> Array:
        """The size of each limit (limits,), in its gap's unit."""
        return np.array([limit.scale for limit in self.limits])

    def costs(self, z: Array) -> tuple[Array, Array]:
        """Return the cost of every place (places,) and its slope by the place's unknowns (places, count)."""
        values, slopes = np.zeros(len(self.places)), np.zeros((len(self.places), self.count))
        for i, place in enumerate(self.places):
            if place.options:
                prices = np.array([option.cost for option in place.options])
                values[i] = prices @ z[self.picks[place.name]]
                slopes[i, self.picks[place.name]] = prices
            elif place.curve is not None:
                index = self.widths[place.name]
                half = float(z[index]) * place.before
                values[i], slopes[i, index] = place.curve.value(half), place.curve.slope(half) * place.before
        return values, slopes

    def feasible(self, z: Array) -> bool:
        """Tell whether every limit is kept, but for rounding."""
        return bool(np.all(self.margins(z)[0] >= -MISSED * self.scales))

    def assigned(self, z: Array) -> dict[str, Assigned]:
        """Return what the unknowns mean."""
        found = {}
        for place in self.places:
            option = None
            if place.options:
                option = place.options[int(np.argmax(z[self.picks[place.name]]))]
            half = option.half if option else float(z[self.widths[place.name]]) * place.before
            index = self.nominals.get(place.name)
            moved = None if index is None or place.nominal is None else place.nominal + float(z[index])
            found[place.name] = Assigned(half, option, moved)
        return found

    def seen(self, assigned: Mapping[str, Assigned]) -> dict[Key, Quantities]:
        """Return what chains see of the free places, by dimension of a row."""
        z = np.zeros(self.count)
        for place in self.places:
            one = assigned[place.name]
            if place.options:
                at = next(i for i, option in enumerate(place.options) if option is one.option)
                z[self.picks[place.name][at]] = 1.0
            else:
                z[self.widths[place.name]] = one.half / place.before
            if place.name in self.nominals and one.nominal is not None and place.nominal is not None:
                z[self.nominals[place.name]] = one.nominal - place.nominal
        return {key: Quantities(*map(float, base + matrix @ z)) for key, (base, matrix) in self._seen.items()}

    def finest(self) -> Array:
        """Return the unknowns with every half-width as fine as it may be, nominals as they are."""
        z = np.array(self.low)
        for place in self.places:
            if place.options:
                best = int(np.argmin([option.half for option in place.options]))
                z[self.picks[place.name][best]] = 1.0
            if place.name in self.nominals:
                index = self.nominals[place.name]
                z[index] = min(max(0.0, self.low[index]), self.high[index])
        return z


class _Tangents:
    """The linear programme: tangents of costs and limits at the points seen so far."""

    def __init__(self, problem: Problem, slack: bool) -> None:
        """With ``slack`` the limits may be missed, and what is missed (in parts of their scale) is the cost."""
        self.problem, self.slack = problem, slack
        self.rows: list[Array] = []
        self.ends: list[float] = []
        self.of_limit: list[int] = []
        self.points = 0
        self.more = len(problem.limits) if slack else len(problem.places)

    def add(self, z: Array) -> None:
        """Add the tangents at a point."""
        problem, n = self.problem, self.problem.count
        values, slopes = problem.margins(z)
        for i, (value, slope) in enumerate(zip(values, slopes, strict=True)):
            row = np.zeros(n + self.more)
            row[:n] = slope
            if self.slack:
                row[n + i] = problem.limits[i].scale
            self._put(row, float(slope @ z - value), i)
        if self.slack:
            return
        values, slopes = problem.costs(z)
        for i, place in enumerate(problem.places):
            row = np.zeros(n + self.more)
            row[:n], row[n + i] = -slopes[i], 1.0
            if not (place.options and self.points):  # the cost of options is linear: once is enough
                self._put(row, float(values[i] - slopes[i] @ z), -1)
        self.points += 1

    def _put(self, row: Array, least: float, limit: int) -> None:
        self.rows.append(row)
        self.ends.append(least)
        self.of_limit.append(limit)

    def solve(self, fixed: Array | None = None) -> tuple[Array | None, float, Any]:
        """Return the unknowns of the linear programme, its cost, and the multipliers of its rows with options fixed."""
        problem, n = self.problem, self.problem.count
        objective = np.concatenate((np.zeros(n), np.ones(self.more)))
        low = np.concatenate((problem.low, np.zeros(self.more) if self.slack else np.full(self.more, -np.inf)))
        high = np.concatenate((problem.high, np.full(self.more, np.inf)))
        whole = np.concatenate((problem.whole, np.zeros(self.more, dtype=bool)))
        if fixed is not None:
            low[: n][whole[:n]] = high[:n][whole[:n]] = fixed[whole[:n]]
            whole = np.zeros_like(whole)
        groups = np.zeros((len(problem.picks), n + self.more))
        for i, indices in enumerate(problem.picks.values()):
            groups[i, indices] = 1.0
        matrix, ends = np.array(self.rows), np.array(self.ends)
        size = np.maximum(np.abs(matrix).max(axis=1), 1e-300)
        matrix, ends = matrix / size[:, None], ends / size
        if np.any(whole):
            from scipy.optimize import Bounds, LinearConstraint, milp

            rules = [LinearConstraint(matrix, ends, np.inf)]
            if len(groups):
                rules.append(LinearConstraint(groups, 1.0, 1.0))
            found = milp(objective, integrality=whole.astype(int), bounds=Bounds(low, high), constraints=rules,
                         options={"mip_rel_gap": 0.0})  # fmt: skip
            return (None if found.x is None else found.x[:n]), float(found.fun) if found.x is not None else np.inf, None
        from scipy.optimize import linprog

        equal = {"A_eq": groups, "b_eq": np.ones(len(groups))} if len(groups) else {}
        bounds = np.column_stack((low, high))
        found = linprog(objective, A_ub=-matrix, b_ub=-ends, bounds=bounds, method="highs", **equal)
        if found.x is None:
            return None, np.inf, None
        return found.x[:n], float(found.fun), -found.ineqlin.marginals / size


def solve(problem: Problem) -> Solution | None:
    """Return the cheapest solution found; None where no solution keeps all limits."""
    tangents = _Tangents(problem, slack=False)
    tangents.add(problem.finest())
    best, best_cost, bound = None, np.inf, -np.inf
    for _ in range(ROUNDS):
        z, bound, _ = tangents.solve()
        if z is None:
            break
        tangents.add(z)
        for candidate in (z, _polished(problem, z)):
            cost = float(problem.costs(candidate)[0].sum())
            if problem.feasible(candidate) and cost < best_cost:
                best, best_cost = candidate, cost
                tangents.add(candidate)
        if best is not None and _is_closed(best_cost, bound):
            break
    if best is None:
        return None
    proved = _is_closed(best_cost, bound)
    exact = all(limit.exact for limit in problem.limits)
    return Solution(problem.assigned(best), best_cost, min(bound, best_cost), proved and exact, _prices(problem, best))


def _is_closed(cost: float, bound: float) -> bool:
    return cost - bound <= GAP * max(abs(cost), 1e-9)


def _polished(problem: Problem, start: Array) -> Array:
    """Return the cheapest point with the options of ``start``, by sequential quadratic programming."""
    from scipy.optimize import minimize

    free = np.flatnonzero(~np.array(problem.whole, dtype=bool))
    if not len(free):
        return start
    base, scales = start.copy(), problem.scales

    def at(x: Array) -> Array:
        z = base.copy()
        z[free] = x
        return z

    whole = max(abs(float(problem.costs(start)[0].sum())), 1e-9)
    found = minimize(
        lambda x: float(problem.costs(at(x))[0].sum()) / whole,
        start[free],
        jac=lambda x: problem.costs(at(x))[1].sum(axis=0)[free] / whole,
        bounds=[(problem.low[i], problem.high[i]) for i in free],
        constraints=[{
            "type": "ineq",
            "fun": lambda x: problem.margins(at(x))[0] / scales,
            "jac": lambda x: problem.margins(at(x))[1][:, free] / scales[:, None],
        }],
        method="SLSQP",
        options={"maxiter": STEPS, "ftol": 1e-13},
    )  # fmt: skip
    return at(np.clip(found.x, np.array(problem.low)[free], np.array(problem.high)[free]))


def _prices(problem: Problem, z: Array) -> dict[str, float | None]:
    """Return, by requirement, what one unit of margin more would save: the multipliers of the tangents at ``z``."""
    names = dict.fromkeys(limit.name for limit in problem.limits)
    if all(problem.whole):
        return dict.fromkeys(names)
    tangents = _Tangents(problem, slack=False)
    tangents.add(z)
    _, _, multipliers = tangents.solve(fixed=z)
    found: dict[str, float | None] = dict.fromkeys(names, 0.0)
    if multipliers is None:
        return dict.fromkeys(names)
    for limit, price in zip(tangents.of_limit, multipliers, strict=True):
        if limit >= 0:
            name = problem.limits[limit].name
            found[name] = (found[name] or 0.0) + max(float(price), 0.0)
    return found


# What cannot work ------------------------------------------------------------------------------------------------


def relaxation(problem: Problem) -> dict[str, float]:
    """Return by how much the limits of each requirement must give way, least in all (in parts of their scale).

    Amounts are in the gap's unit; empty where all limits can be kept.
    """
    tangents = _Tangents(problem, slack=True)
    tangents.add(problem.finest())
    missed = np.zeros(len(problem.limits))
    for _ in range(ROUNDS):
        z, bound, _ = tangents.solve()
        if z is None:
            break
        missed = np.maximum(-problem.margins(z)[0], 0.0)
        if float((missed / problem.scales).sum()) - bound <= NO_RELAXATION:
            break
        tangents.add(z)
    found: dict[str, float] = {}
    for limit, amount in zip(problem.limits, missed, strict=True):
        if amount > NO_RELAXATION * limit.scale:
            found[limit.name] = max(found.get(limit.name, 0.0), float(amount))
    return found
