"""From a draft to a model: the steps of the kind without the slots left out, and the file's own chains.

What a slot left out comes to (zero, or the slot that stands in for it) is put into the steps; steps that come
to a number are put in as well; steps that no gap needs are dropped.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import sympy

from stackup.case.chains import Chain
from stackup.case.draft import Draft
from stackup.case.operating import SizesNow, now
from stackup.chain.model import Gap, Model, Step
from stackup.chain.steps import needed
from stackup.chain.symbols import (
    ANGLE,
    MADE,
    NOMINAL,
    NOMINAL_NOW,
    PARTS,
    SCALE,
    Expr,
    Greatest,
    Least,
    Length,
    Magnitude,
    following,
    nominal,
    nominal_now,
    split_next,
    symbol,
)

#: What an expression holds where it has no finite real value.
_NO_NUMBERS = (sympy.zoo, sympy.oo, -sympy.oo, sympy.nan, sympy.I)
#: What the steps of a kind say of states.
_OF_STATES = (MADE, NOMINAL_NOW, SCALE)
#: The nodes that sympy does not fold, with their values of floats.
_NODES: Mapping[Any, Callable[..., Any]] = {Length: math.hypot, Least: min, Greatest: max, Magnitude: abs}


def _is_of_numbers(expr: Expr) -> bool:
    return expr.func in _NODES and all(_is_finite(item) for item in expr.args)


def _is_finite(expr: Expr) -> bool:
    return bool(expr.is_Number and expr.is_finite)


def _folded(expr: Expr) -> Expr:
    return sympy.sympify(_NODES[expr.func](*expr.args))


def states(draft: Draft, chains: Mapping[str, Chain]) -> dict[str, Model]:
    """Return the model of what is right in ``draft`` in each state; it is complete where nothing is wrong.

    The states share dimensions, steps and gaps, the very same objects, and differ in parameters alone.
    """
    made = _model(draft, chains)
    return {
        state: replace(made, parameters={**made.parameters, **parameters}) if parameters else made
        for state, parameters in draft.operating.states().items()
    }


def _model(draft: Draft, chains: Mapping[str, Chain]) -> Model:
    """Return the model without the parameters of its state."""
    words = _Words(draft, chains)
    missing = draft.gaps_left_out()
    built_in = [
        Gap(gap.name, gap.unit, gap.name, gap.scope) for gap in draft.kind.gaps if gap.name not in missing
    ]
    own = [Gap(chain.name, chain.unit, chain.name, chain.scope, own=True) for chain in chains.values()]
    gaps = (*built_in, *own)
    steps = [*words.now.steps(), *_turned_zones(draft), *_kind_steps(words, gaps)]
    steps += [Step(chain.name, words.put_in(chain.expression)) for chain in chains.values()]
    parameters = {words.renamed(name): value for name, value in draft.kind.parameters(draft.options).items()}
    kept = tuple(needed(steps, [gap.step for gap in gaps]))
    return Model(draft.dimensions, kept, gaps, draft.assumed_pockets, parameters, _nominals(kept))


def known_only(whole: Model) -> Model:
    """Return ``whole`` without the gaps that need a dimension which could not be made."""
    known = {component for item in whole.dimensions.values() for component in item.components}
    known |= {ANGLE, "rollers", *whole.parameters}
    known |= {f"{name}.{NOMINAL}" for name in whole.nominals if name in whole.dimensions}
    steps = []
    for step in whole.steps:
        if all(split_next(item.name)[0] in known for item in _symbols(step.formula)):
            known.add(step.name)
            steps.append(step)
    gaps = tuple(gap for gap in whole.gaps if gap.step in known)
    kept = tuple(needed(steps, [gap.step for gap in gaps]))
    return replace(whole, steps=kept, gaps=gaps, nominals=_nominals(kept))


def _nominals(steps: Sequence[Step]) -> tuple[str, ...]:
    """Return the sizes whose nominals the steps use."""
    names = {item.name for step in steps for item in _symbols(step.formula)}
    return tuple(sorted(name.removesuffix(f".{NOMINAL}") for name in names if name.endswith(f".{NOMINAL}")))


def _symbols(formula: Any) -> set[Any]:
    return set(sympy.sympify(formula).free_symbols)


def _kind_steps(words: _Words, gaps: Sequence[Gap]) -> Iterator[Step]:
    """Yield the steps of the kind over the slots that are given."""
    kept = {gap.step for gap in gaps}
    for step in words.steps:
        formula = words.put_in(step.formula, of_kind=True)
        name = words.renamed(step.name)
        if name not in kept and _is_finite(formula):
            words.numbers[step.name] = formula
        else:
            yield Step(name, formula, step.note)


def _turned_zones(draft: Draft) -> Iterator[Step]:
    """Yield the parts along r and t of every zone of scope cage, turned into the pocket."""
    cosine, sine = sympy.cos(symbol(ANGLE)), sympy.sin(symbol(ANGLE))
    for name in draft.named("dimensions"):
        if draft.is_zone(name) and draft.scope(name) == "cage":
            x, y = symbol(f"{name}.x"), symbol(f"{name}.y")
            yield Step(f"{name}.r", x * cosine + y * sine, "outward, in the pocket's axes")
            yield Step(f"{name}.t", y * cosine - x * sine, "along the circumference")


class _Words:
    """What the symbols of the kind's steps and of formulas become in this case.

    ``steps`` are those of the kind as it writes them; ``numbers`` are steps that come to a number.
    """

    def __init__(self, draft: Draft, chains: Mapping[str, Chain]) -> None:
        self.draft = draft
        self.numbers: dict[str, Expr] = {}
        self._given = set(draft.named("dimensions"))
        self._own = {*chains, *self._given} - {slot.name for slot in draft.kind.slots}
        self.steps = draft.steps
        self._inner = {step.name.partition(".")[0] for step in self.steps}
        self._inner |= set(draft.kind.parameters(draft.options))
        self.now = SizesNow(draft)

    def put_in(self, formula: Any, of_kind: bool = False) -> Expr:
        """Return a formula of the file, or of the kind, in the words of this case."""
        formula = sympy.sympify(formula)
        changes = {item: self._word(item, of_kind) for item in formula.free_symbols}
        changes = {item: word for item, word in changes.items() if word != item}
        if changes:
            formula = formula.xreplace(changes).replace(sympy.Abs, Magnitude).replace(_is_of_numbers, _folded)
        return sympy.nan if formula.has(*_NO_NUMBERS) else formula

    def renamed(self, name: str) -> str:
        """Return the name of a step or parameter of the kind, out of the way of the file's own names."""
        root, dot, part = name.partition(".")
        while root in self._own and name.partition(".")[0] in self._inner:
            root += "_"
        return root + dot + part

    def _word(self, item: Any, of_kind: bool) -> Expr:
        base, count = split_next(item.name)
        root, _, part = base.partition(".")
        if of_kind and part in _OF_STATES:
            return self._of_state(item, root, part)
        if of_kind and base in self.numbers:
            return self.numbers[base]
        if of_kind and root in self._inner:
            return following(symbol(self.renamed(base)), count)
        if not part and root in self.now:
            return now(root) if self.draft.scope(root) == "cage" else following(now(root), count)
        return self._drawn(item)

    def _drawn(self, item: Any) -> Expr:
        """Return a symbol of the drawing, in no state: a slot left out is 0, or the one that stands in for it."""
        base, count = split_next(item.name)
        root, _, part = base.partition(".")
        slot = self.draft.slot(root)
        if slot and root not in self._given:
            if slot.stands_in not in self._given:
                return item if slot.required else sympy.Integer(0)
            root = str(slot.stands_in)
            base = f"{root}.{part}" if part in (*PARTS, NOMINAL) else root
        if root in self._given and self.draft.scope(root) == "cage" and part not in ("r", "t"):
            return symbol(base)  # the next pocket of a cage has the same
        return following(symbol(base), count)

    def _of_state(self, item: Any, root: str, part: str) -> Expr:
        """Return what the kind asks of a part, or of a size in and out of the state of the bearing."""
        if part == SCALE:
            return sympy.sympify(self.now.scale_of(root))
        if part == NOMINAL_NOW:
            return nominal_now(root) if root in self.now else self._drawn(nominal(root))
        _, count = split_next(item.name)
        return self._drawn(following(symbol(root), count))
