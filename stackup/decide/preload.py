"""How often a clearance that counts as 0 below 0 is below 0: a preload, which the gaps do not see."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from stackup.cage import kind as kind_called
from stackup.case import Case
from stackup.chain.model import Allowance, Model, Requirement
from stackup.decide.fractions import of_row
from stackup.decide.record import Note
from stackup.decide.words import LEAST, interval, share
from stackup.engine import monte_carlo, rss
from stackup.engine.result import Fraction
from stackup.engine.settings import Settings


def notes(case: Case, models: Iterable[tuple[str, Model]], settings: Settings) -> Iterator[Note]:
    """Yield, for each of ``models`` with the words for its row and state, how many cages have a preload."""
    gap = kind_called(case.kind).preload
    for where, model in models:
        if gap is None or all(one.name != gap for one in model.gaps):
            continue
        found = below_zero(model, gap, settings)
        if found is not None and found.high >= LEAST:
            sure = "" if found.low == found.high else f" (95 %: {interval(found)})"
            yield Note(f"below 0 in {share(found)} of cages{sure}{where}: a preload, which counts as 0", gap)


def below_zero(model: Model, gap: str, settings: Settings) -> Fraction | None:
    """Return the fraction of cages in which the cage's ``gap`` is below 0: exact where its law is, else sampled."""
    asked = Requirement(gap, gap, min=0.0, allow=Allowance(1.0, "cages"))
    laws, _ = rss.run(model, [asked], settings)
    law = laws[gap]
    sampled = None if law and law.exact else monte_carlo.run(model, [asked], settings).records[gap]
    return of_row(model, asked, law, sampled)[1]
