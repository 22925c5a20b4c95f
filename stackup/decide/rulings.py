"""Changes that are not the maker's to make: requirements, and the chains that they are asked of.

What is required is the customer's.  A requirement that a proposal loosens is refused whatever the numbers say; one
that it tightens, or adds, is noted: the drawing's own is what is checked.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from stackup.cage import kind as kind_called
from stackup.case import Case
from stackup.case.proposal import Proposal
from stackup.chain.model import POPULATIONS, Allowance, Requirement

LOOSER = "the requirement is the drawing's"
TIGHTER = "more than the drawing asks: noted, the drawing's own is what was checked"
OTHER = "what a requirement is asked of is the drawing's"
ADDED = "nothing of the drawing asks for it: noted, not checked"


@dataclass(frozen=True)
class Ruling:
    """One change that no number decides: of which requirement, chain or dimension, and why it is decided so."""

    name: str
    what: str
    before: Any
    after: Any
    decision: Literal["accept", "refuse"]
    reason: str


def rulings_of(case: Case, proposal: Proposal) -> tuple[Ruling, ...]:
    """Return the rulings, requirements first."""
    return (
        *_of_requirements(case, proposal),
        *_of_chains(case, proposal),
        *_of_own_dimensions(case, proposal),
    )


def _of_requirements(case: Case, proposal: Proposal) -> Iterator[Ruling]:
    old = {r.name: r for r in case.requirements}
    for new in proposal.case.requirements:
        before = old.get(new.name)
        if before is None:
            yield Ruling(new.name, "requirement", None, _table(new), "accept", ADDED)
        elif before != new:
            yield from _of_requirement(before, new)


def _table(requirement: Requirement) -> dict[str, Any]:
    said = {
        "gap": requirement.gap,
        "min": requirement.min,
        "max": requirement.max,
        "allow": _said(requirement.allow),
    }
    return {key: value for key, value in said.items() if value is not None}


def _of_requirement(old: Requirement, new: Requirement) -> Iterator[Ruling]:
    for key in ("gap", "over"):
        if getattr(old, key) != getattr(new, key):
            yield Ruling(old.name, key, getattr(old, key), getattr(new, key), "refuse", OTHER)
    for key, what, sign in (("min", "lower limit", 1.0), ("max", "upper limit", -1.0)):
        before, after = getattr(old, key), getattr(new, key)
        if before != after:
            tighter = before is None or (after is not None and sign * after > sign * before)
            yield _ruled(old.name, what, before, after, tighter)
    if old.allow != new.allow:
        yield _ruled(old.name, "allowance", _said(old.allow), _said(new.allow), _is_tighter(old.allow, new.allow))


def _said(allow: Allowance | None) -> dict[str, Any] | None:
    return None if allow is None else {"ppm": allow.ppm, "of": allow.of}


def _is_tighter(old: Allowance | None, new: Allowance | None) -> bool:
    """Tell whether an allowance asks for more in every case: no more ppm, of no smaller a part of the bearing.

    As many ppm of cages are fewer pockets than as many ppm of pockets.
    """
    if old is None or new is None:
        return new is None
    return new.ppm <= old.ppm and POPULATIONS.index(new.of) >= POPULATIONS.index(old.of)


def _ruled(name: str, what: str, before: Any, after: Any, tighter: bool) -> Ruling:
    return Ruling(name, what, before, after, "accept" if tighter else "refuse", TIGHTER if tighter else LOOSER)


def _of_chains(case: Case, proposal: Proposal) -> Iterator[Ruling]:
    for name, chain in proposal.case.chains.items():
        old = case.chains.get(name)
        if old is None:
            yield Ruling(name, "chain", None, chain.formula, "accept", ADDED)
            continue
        for key in ("formula", "unit"):
            if getattr(old, key) != getattr(chain, key):
                yield Ruling(name, key, getattr(old, key), getattr(chain, key), "refuse", OTHER)


def _of_own_dimensions(case: Case, proposal: Proposal) -> Iterator[Ruling]:
    """Yield dimensions that are neither in the drawing nor slots: no chain of the drawing holds them."""
    said = proposal.tables.get("dimensions")
    for name, entry in said.items() if isinstance(said, Mapping) else ():
        if name not in case.dimensions and kind_called(case.kind).slot(name) is None:
            yield Ruling(name, "added", None, entry, "accept", ADDED)
