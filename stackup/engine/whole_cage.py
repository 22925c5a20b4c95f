"""The worst case of a number of the whole cage: bounds from one pocket, values found on whole cages.

The step of such a number says what one pocket tells of it (``BestPose`` in ``chain/symbols.py``): its floor, its
ceiling and its aims are numbers of a pocket, and the search of their ends gives bounds that no cage can pass.  What is
found is the number itself, solved for cages put together from the points of these ends.  A chain of the file that uses
such a number takes it as a size between its bounds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from stackup.chain.arrays import walk
from stackup.chain.model import Gap, Model
from stackup.chain.program import Program, StandIn, bindings, compile_model, pitch_angles
from stackup.chain.steps import needed
from stackup.chain.symbols import BestPose, symbol
from stackup.dimension import Size
from stackup.engine.asked import Asked, Ends
from stackup.engine.cage_search import CageSearch, Descent, FoldSearch
from stackup.engine.extreme_cages import cages_of, joined, middle, mixes, scattered
from stackup.engine.ground import alike
from stackup.engine.levelled import at_rest
from stackup.engine.search import End
from stackup.engine.settings import Settings

Array = Any
#: looks at most for the best share of a floor, what it may still gain when it is settled [mm], a step for its slope
LOOKS, SETTLED, NUDGE = 8, 5e-5, 1e-4
Point = Mapping[str, float]


@dataclass(frozen=True)
class _Tangent:
    """The floor's bound at a ``share``, ``slope`` by the share, and the end it belongs to."""

    share: float
    slope: float
    end: End

    @property
    def rises(self) -> bool:
        """Tell whether a larger share gives more."""
        return self.slope > 0

    def crossing(self, other: _Tangent) -> tuple[float, float]:
        """Return the share where both tangents cross, and their height there."""
        apart = self.slope - other.slope
        step = (other.end.found - self.end.found + other.slope * (self.share - other.share)) / apart
        return self.share + step, self.end.found + self.slope * step


class WholeCage:
    """One gap that hangs on a number of the whole cage, ready for either end."""

    def __init__(self, model: Model, program: Program, gap: str, known: Ends | None = None) -> None:
        """Take the program that holds the gap ``gap`` of ``model``; ``known`` remembers ends of the same model."""
        self.model, self.gap, self.known = model, gap, {} if known is None else known
        self.rolled = program.only([gap])
        formulas = {step.name: step.formula for step in model.steps}
        number = formulas[model.gap(gap).step]
        self.number: BestPose | None = number if isinstance(number, BestPose) else None

    def both(self, settings: Settings, closely: bool = True) -> tuple[End, End, float]:
        """Return the end of the gap and that of −gap, what was found and the bound apart; and what counts as closed.

        ``closely``: where they stay apart, the best share of the floor is looked for, and more cages.
        """
        ends = [self.bound(1, settings), self.bound(-1, settings)]
        tolerance = self._asked(1, settings).tolerance
        cages = self._cages(self._points(ends, settings))
        both = zip((1, -1), ends, strict=True)
        found = [self._found(cages, sign, end.bound + tolerance, closely) for sign, end in both]
        low, high = (replace(end, found=one) if np.isfinite(one) else end for end, one in zip(ends, found, strict=True))
        if closely and low.found - low.bound > tolerance:
            low = self._better(low, settings)
        return low, high, tolerance

    def _better(self, low: End, settings: Settings) -> End:
        """Return the low end with the best bound over the share that the floor leaves open.

        The bound is concave in the share: where its tangents from both sides cross is the next share to try, and as
        far as it can rise.
        """
        best = low
        for share, least, most in () if self.number is None else self.number.shares:
            tangents = [self._tangent(str(share), float(end), settings) for end in (least, most)]
            for _ in range(LOOKS):
                left, right = (max((t for t in tangents if t.rises == up), key=lambda t: t.share if up else -t.share,
                                   default=None) for up in (True, False))  # fmt: skip
                best = max([best, *(t.end for t in tangents)], key=lambda end: end.bound)
                if left is None or right is None:
                    break
                place, height = left.crossing(right)
                if height - best.bound < SETTLED:
                    break
                tangents.append(self._tangent(str(share), place, settings))
        return replace(best, found=low.found)

    def _tangent(self, share: str, value: float, settings: Settings) -> _Tangent:
        """Return the bound of the floor at a share, and how it moves with it."""
        sides = [self._with({share: value + side}) for side in (0.0, -NUDGE, NUDGE)]
        end = sides[0].end(1, settings)
        below, above = (side.at(end) for side in sides[1:])
        return _Tangent(value, (above - below) / (2 * NUDGE), end)

    def _with(self, shares: Mapping[str, float]) -> Asked:
        """Return the floor with its shares chosen."""
        model = replace(self.model, parameters={**self.model.parameters, **shares})
        return self._of_pocket(lambda _, number: number.floor, model)

    def bound(self, sign: int, settings: Settings) -> End:
        """Return the least that sign·gap can be by what one pocket tells of it; its ``found`` is that pocket's."""
        if self.number is not None:
            return self._asked(sign, settings).end(sign, settings, self.known)
        end = self._between(settings).end(sign, settings)  # over sizes that only this gap has: nothing to remember
        return replace(end, slopes=self._through(end, settings))

    def _through(self, end: End, settings: Settings) -> dict[str, float]:
        """Return the slopes of an end of a chain by the inputs alone: through the ends of the numbers it hangs on."""
        slopes = dict(end.slopes)
        for inner in self._inner:
            by_number = slopes.pop(inner.gap, 0.0)
            within = inner.bound(1 if by_number > 0 else -1, settings).slopes if by_number else {}
            for part, slope in within.items():
                slopes[part] = slopes.get(part, 0.0) + abs(by_number) * slope
        return slopes

    def _asked(self, sign: int, settings: Settings) -> Asked:
        if self.number is None:
            return self._between(settings)
        return self._below if sign > 0 else self._above

    @cached_property
    def _below(self) -> Asked:
        return self._of_pocket(lambda _, number: number.floor)

    @cached_property
    def _above(self) -> Asked:
        alone = compile_model(self.model, [self.gap], lambda _, number: number.ceilings[0])
        return self._of_pocket(lambda _, number: number.ceilings[0 if alike(alone, self.model) else 1])

    def _of_pocket(self, stand_in: StandIn, model: Model | None = None) -> Asked:
        """Return what a pocket says in the place of this number; others keep their floors."""
        model, step = model or self.model, self.model.gap(self.gap).step

        def only_here(name: str, number: BestPose) -> Any:
            return stand_in(name, number) if name == step else number.ceilings[1]

        return Asked(model, compile_model(model, [self.gap], only_here), self.gap)

    # Chains of the file over such numbers

    @cached_property
    def _inner(self) -> list[WholeCage]:
        """The numbers of the whole cage that the gap hangs on, each as a gap of its own."""
        if self.number is not None:
            return [self]
        below = needed(self.model.steps, [self.model.gap(self.gap).step])
        names = [step.name for step in below if isinstance(step.formula, BestPose)]
        model = replace(self.model, gaps=tuple(Gap(name, "mm", name, "cage") for name in names))
        program = compile_model(model)
        return [WholeCage(model, program, name, self.known) for name in names]

    def _between(self, settings: Settings) -> Asked:
        """Return the chain with each number of the whole cage as a size between its bounds."""
        sizes = {}
        for inner in self._inner:
            low, high = (sign * inner.bound(sign, settings).bound for sign in (1, -1))
            middle = 0.5 * (low + high)
            sizes[inner.gap] = Size(inner.gap, middle, low - middle, high - middle, scope="cage")
        model = self.model.with_dimensions(sizes)
        between = compile_model(model, [self.gap], lambda step, one: symbol(step) if step in sizes else one.ceilings[1])
        return Asked(model, between, self.gap)

    # What is found

    def _points(self, ends: Sequence[End], settings: Settings) -> list[Point]:
        """Return points of a pocket that make extreme cages."""
        if self.number is None:
            return [point for inner in self._inner for point in inner._points(inner.both(settings)[:2], settings)]
        still = at_rest(self.model)
        best = self._of_pocket(lambda _, number: number.floor, still)
        aims = [
            self._of_pocket(lambda _, number, k=k: number.aims[k]).end(1, settings, self.known)  # type: ignore[misc]
            for k in range(len(self.number.aims))
        ]
        high = best.end(-1, settings)
        return [point for low in (ends[0], *aims) for point in (low.point, high.point)]

    def _cages(self, points: Sequence[Point]) -> dict[str, Array]:
        """Return cages put together from ``points``, a low and a high one in turn."""
        whole = [{**middle(self.model, self.rolled), **point} for point in points]
        pairs = zip(whole[::2], whole[1::2], strict=True)
        tried = [mix for low, high in pairs for mix in mixes(self.model, self.rolled, low, high)]
        return cages_of(self.model, self.rolled, tried)

    def _found(self, cages: Mapping[str, Array], sign: int, enough: float, broadly: bool) -> float:
        """Return the least of sign·gap among ``cages``; where that is not ``enough``, after a search from them.

        ``broadly``: from cages at random ends too.
        """
        with np.errstate(all="ignore"):
            seen = walk(self.rolled, cages, np.array(pitch_angles(self.model.pockets)), bindings(self.model))
        found = float(np.nanmin(sign * seen[self.gap], initial=np.inf))
        if found > enough:
            if broadly:
                cages = joined(cages, cages_of(self.model, self.rolled, scattered(self.model, self.rolled)))
            found = min(found, self._search(sign).least(cages, sign))
        return found

    def _search(self, sign: int) -> Descent:
        """Return the search for bad cages, or for one bad pocket of a chain over the number."""
        if self.number is not None:
            return CageSearch(self.model, self.rolled, self.gap, self.number)
        return FoldSearch(self.model, self.rolled, self.gap, "least" if sign > 0 else "greatest")
