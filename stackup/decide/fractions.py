"""The best estimate of each population's fraction out of spec: exact where the law is known, else sampled."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from stackup.chain.model import Model, Requirement
from stackup.chain.program import compile_model
from stackup.dimension import Dimension
from stackup.engine.result import Fraction, Rss, Sampled

#: how the pockets of a cage hang together: not at all, as one, or in between
Sharing = Literal["nothing", "all", "some"]
#: what a quadrature may leave out, beyond 9 standard deviations of three numbers: no tail of it is told to be less
UNSWEPT = 1e-16


@dataclass(frozen=True)
class Fractions:
    """The fraction out of spec of each population; None where there is none of it."""

    pockets: Fraction | None
    cages: Fraction | None
    bearings: Fraction | None


def of_row(
    model: Model, requirement: Requirement, rss: Rss | None, sampled: Sampled | None
) -> tuple[Fraction | None, Fraction | None]:
    """Return the fractions of pockets and of cages of one row.

    The tail of a linear chain of normals, and of lengths of such chains, serves where it is that of the law itself; for
    cages only where their pockets share nothing or everything.
    """
    pockets = sampled.pockets if sampled else None
    cages = sampled.cages if sampled else None
    if rss is None or not rss.known or rss.out_of_spec is None:
        return pockets, plain(cages)
    tail = rss.out_of_spec if rss.exact else max(rss.out_of_spec, UNSWEPT)
    if requirement.over != "each" or model.gap(requirement.gap).scope == "cage":
        return None, Fraction.exact(tail)
    exact = of_cages(tail, sharing(model, requirement.gap), model.pockets)
    return Fraction.exact(tail), plain(cages) if exact is None else Fraction.exact(exact)


def no_less(anyone: Fraction | None, single: Sequence[Fraction | None]) -> Fraction | None:
    """Return the sampled fraction failing any requirement, no less than that of a ``single`` one, known better."""
    if anyone is None:
        return None
    known = [anyone, *(fraction for fraction in single if fraction)]
    estimate = max(fraction.out_of_spec for fraction in known)
    low = max(fraction.low for fraction in known)
    return replace(anyone, out_of_spec=estimate, low=min(low, estimate), high=max(anyone.high, estimate))


def plain(fraction: Fraction | None) -> Fraction | None:
    """Return the fraction without what independence would have said."""
    if fraction is None:
        return None
    return Fraction(fraction.out_of_spec, fraction.low, fraction.high, fraction.method)


def of_cages(pocket: float, shared: Sharing, pockets: int) -> float | None:
    """Return the fraction of cages with any of ``pockets`` out, each with probability ``pocket``."""
    if shared == "all" or pockets == 1:
        return pocket
    return at_least_one(pocket, pockets) if shared == "nothing" else None


def at_least_one(probability: float, count: int) -> float:
    """Return the probability that any of ``count`` independent things of one ``probability`` happens."""
    if probability >= 1:
        return 1.0 if count else 0.0
    return -math.expm1(count * math.log1p(-probability))


def sharing(model: Model, gap: str) -> Sharing:
    """Return whether the pockets of a cage draw everything anew for ``gap``, share all draws alike, or some."""
    program = compile_model(model, [gap])
    if any(node.op in ("next", "angle") for node in program.nodes):
        return "some"
    used = [d for d in model.dimensions.values() if any(part in program.inputs for part in d.components)]
    if any(_differs_round_the_ring(dimension) for dimension in used):
        return "some"
    if not any(np.any(dimension.law.own) for dimension in used):
        return "all"
    return "some" if any(np.any(dimension.law.shared) for dimension in used) else "nothing"


def _differs_round_the_ring(dimension: Dimension) -> bool:
    return any(np.size(mean) > 1 for mean in dimension.law.mean)


def of_one_row(requirement: Requirement, rows: int) -> Requirement:
    """Return what a requirement asks of each of ``rows`` independent rows, so that their bearing is sure to keep it.

    An allowance of bearings is shared equally: 1 − (1 − p)^rows is what it allows.  Rows that differ could share it
    otherwise, which allows one of them more.
    """
    allow = requirement.allow
    if allow is None or allow.of != "bearings" or rows == 1:
        return requirement
    part = 1.0 if allow.ppm >= 1e6 else -math.expm1(math.log1p(-allow.ppm * 1e-6) / rows)
    return replace(requirement, allow=replace(allow, ppm=part * 1e6, of="cages"))


def of_bearings(rows: Sequence[tuple[Fraction | None, int]]) -> Fraction | None:
    """Return the fraction of bearings with any row out, from each row's fraction of cages and its count.

    Rows are independent.  None where a row has none.
    """
    if len(rows) == 1 and rows[0][1] == 1:
        return rows[0][0]
    known = [(fraction, count) for fraction, count in rows if fraction is not None]
    if len(known) < len(rows):
        return None

    def any_out(end: Callable[[Fraction], float]) -> float:
        inside = [count * math.log1p(-min(end(fraction), 1 - 1e-16)) for fraction, count in known]
        return 0.0 - math.expm1(sum(inside))  # 0 where none fails, not −0

    methods = {fraction.method for fraction, _ in known}
    return Fraction(
        any_out(lambda f: f.out_of_spec),
        any_out(lambda f: f.low),
        any_out(lambda f: f.high),
        methods.pop() if len(methods) == 1 else "sampled",
    )
