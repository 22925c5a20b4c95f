"""From ``[chains.NAME]`` to chains: names, formulas, circles, scope; and which dimensions nobody uses."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from graphlib import CycleError, TopologicalSorter

from stackup.case.draft import Draft, judge_name
from stackup.case.scanner import Path
from stackup.case.schema import ZoneEntry
from stackup.chain.formula import Kind, Names, Reference, names_in, read
from stackup.chain.model import Scope
from stackup.chain.symbols import ANGLE, Expr, split_next
from stackup.errors import FormulaError, nearest

_IDENTIFIER = re.compile(r"[a-z][a-z0-9_]*")


@dataclass(frozen=True)
class Chain:
    """A gap of the case file: its formula as text and as an expression, its unit, whose it is."""

    name: str
    formula: str
    unit: str
    expression: Expr
    scope: Scope = "pocket"


@dataclass
class Chains:
    """All chains that are right, each after those it uses, and the names that any formula uses."""

    right: dict[str, Chain] = field(default_factory=dict)
    used: set[str] = field(default_factory=set)


def judge(draft: Draft) -> Chains:
    """Return the chains of the file; what is wrong with the others is noted."""
    chains, names = Chains(), names_of(draft)
    read_so_far: dict[str, Chain] = {}
    uses: dict[str, set[str]] = {}
    for name, entry in draft.document.chains.items():
        judge_name(draft, "chains", name)
        references, expression = _formula(draft, name, entry.formula, names, chains.used)
        uses[name] = {reference.name for reference in references}
        if expression is not None:
            read_so_far[name] = Chain(name, entry.formula, entry.unit, expression)
    for name in _in_order(draft, uses):
        if name in read_so_far:
            chains.right[name] = _with_scope(draft, read_so_far[name], chains.right)
    return chains


def names_of(draft: Draft) -> Names:
    """Return the names that a formula of this case may use."""
    kinds = dict.fromkeys((gap.name for gap in draft.kind.gaps), Kind.SCALAR)
    kinds |= dict.fromkeys(draft.named("chains"), Kind.SCALAR)
    for name in (*(slot.name for slot in draft.kind.slots), *draft.named("dimensions")):
        zone = Kind.CAGE_ZONE if draft.scope(name) == "cage" else Kind.POCKET_ZONE
        kinds[name] = zone if draft.is_zone(name) else Kind.SCALAR
    return Names(kinds, neighbours=not draft.kind.one_pocket)


def _formula(
    draft: Draft, name: str, text: str, names: Names, used: set[str]
) -> tuple[list[Reference], Expr | None]:
    """Read one formula; return its references, and its expression where it is right."""
    path: Path = ("chains", name, "formula")
    try:
        references = names_in(text)
        used.update(reference.name for reference in references)
        expression = read(text, names)
    except FormulaError as error:
        draft.faults.add_formula(path, error)
        used.update(_IDENTIFIER.findall(text), (error.nearest,) if error.nearest else ())
        return [], None
    missing = draft.gaps_left_out()
    for reference in references:
        if reference.name in missing:
            place = draft.faults.places.inside(path, reference.place)
            found = f"the gap {reference.name}, which needs {', '.join(missing[reference.name])}"
            draft.faults.add(path, found, "gaps whose slots are all given", place=place)
            return references, None
    return references, expression


# Circles --------------------------------------------------------------------------------------------------


def _in_order(draft: Draft, uses: Mapping[str, set[str]]) -> list[str]:
    """Return the chains so that each comes after those it uses; circles are noted and left out."""
    graph = {name: sorted(used & uses.keys()) for name, used in uses.items()}
    while True:
        try:
            return [name for name in TopologicalSorter(graph).static_order() if name in graph]
        except CycleError as error:
            circle = _from_first(list(reversed(error.args[1][:-1])), list(uses))
            _note_circle(draft, circle)
            graph = {name: used for name, used in graph.items() if name not in circle}


def _from_first(circle: list[str], order: list[str]) -> list[str]:
    """Return the circle beginning with the chain that stands first in the file."""
    first = min(range(len(circle)), key=lambda index: order.index(circle[index]))
    return circle[first:] + circle[:first]


def _note_circle(draft: Draft, circle: list[str]) -> None:
    path: Path = ("chains", circle[0], "formula")
    found = f"a circle: {' uses '.join([*circle, circle[0]])}"
    draft.faults.add(path, found, "chains that do not come back to themselves")


# Scope ----------------------------------------------------------------------------------------------------


def _with_scope(draft: Draft, chain: Chain, right: Mapping[str, Chain]) -> Chain:
    """Return the chain with its scope: the cage's where nothing of a pocket is in it."""
    symbols = (str(symbol.name) for symbol in chain.expression.free_symbols)
    is_pocket = draft.kind.one_pocket or any(_is_of_pocket(draft, name, right) for name in symbols)
    return Chain(chain.name, chain.formula, chain.unit, chain.expression, "pocket" if is_pocket else "cage")


def _is_of_pocket(draft: Draft, symbol: str, right: Mapping[str, Chain]) -> bool:
    root, _, part = split_next(symbol)[0].partition(".")
    gap = next((gap for gap in draft.kind.gaps if gap.name == root), None)
    if gap is not None:
        return gap.scope == "pocket"
    if root in right:
        return right[root].scope == "pocket"
    if draft.slot(root) and root not in draft.named("dimensions"):
        return False  # left out: zero
    return root == ANGLE or (
        root in draft.named("dimensions") and (draft.scope(root) == "pocket" or part in ("r", "t"))
    )


# Dimensions that nobody uses, slots that are missing ------------------------------------------------------


def judge_use(draft: Draft, used: Iterable[str]) -> None:
    """Note own dimensions that no formula uses, and required slots that are missing."""
    used = {*used, *_bonus_features(draft)}
    slots = [slot.name for slot in draft.kind.slots]
    misspelt: set[str | None] = set()
    for name in draft.named("dimensions"):
        if name not in used and draft.slot(name) is None and not draft.faults.is_out(("chains",)):
            if follows := draft.kind.not_given.get(name):
                draft.faults.add(("dimensions", name), f"{name}, which is no slot", follows, at_key=True)
                continue
            near = nearest(name, [slot for slot in slots if slot not in draft.named("dimensions")])
            misspelt.add(near)
            _note_unused(draft, name, near)
    for slot in draft.kind.slots:
        if slot.required and slot.name not in draft.named("dimensions") and slot.name not in misspelt:
            place = draft.faults.places.value(("cage", "kind"))
            allowed = f'kind = "{draft.kind.name}" needs the slot {slot.name} ({slot.meaning})'
            draft.faults.add(("dimensions", slot.name), "nothing", allowed, place=place)


def _note_unused(draft: Draft, name: str, near: str | None) -> None:
    found, allowed = f"{name}, which no formula uses", "a dimension that a formula uses"
    if draft.kind.slots:
        found = f"{name}, which is no slot and which no formula uses"
        allowed = f"{allowed}, or a slot (`stackup slots {draft.kind.name}` lists them)"
    draft.faults.add(("dimensions", name), found, allowed, near=near, at_key=True)


def _bonus_features(draft: Draft) -> set[str]:
    entries = draft.document.dimensions.values()
    return {entry.bonus_from for entry in entries if isinstance(entry, ZoneEntry) and entry.bonus_from}
