"""How often a clearance that counts as 0 below 0 is below 0: a preload, which the gaps do not see."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from stackup.cage import kind as kind_called
from stackup.case import Case
from stackup.chain.model import Allowance, Model, Requirement
from stackup.decide.fractions import of_row
from stackup.decide.record import Note
from stackup.decide.words import LEAST, interval, share, state_in_words
from stackup.engine import monte_carlo, rss
from stackup.engine.result import Fraction
from stackup.engine.settings import Settings


def notes(case: Case, models: Iterable[tuple[str, str, Model]], settings: Settings) -> Iterator[Note]:
    """Yield in how many cages of each row and state, given with its model, there is a preload: alike ones together."""
    gap = kind_called(case.kind).preload
    found: dict[str, list[tuple[str, str]]] = {}
    for row, state, model in models:
        there = gap is not None and any(one.name == gap for one in model.gaps)
        fraction = below_zero(model, gap, settings) if gap and there else None
        if fraction is not None and fraction.out_of_spec >= LEAST:
            found.setdefault(f"{share(fraction)} of cages ({interval(fraction)})", []).append((row, state))
    rows = [row.name for row in case.models()]
    for told, places in found.items():
        yield Note(f"{_in_words(rows, places)}: below 0 in {told}, a preload that counts as 0", gap)


def _in_words(rows: Sequence[str], places: Sequence[tuple[str, str]]) -> str:
    """Return states in words, each with its rows where it does not hold for all."""
    words = []
    for state in dict.fromkeys(state for _, state in places):
        of = [row for row, its in places if its == state]
        which = "" if len(of) == len(rows) else f" in row{'s' * (len(of) > 1)} {', '.join(of)}"
        words.append(state_in_words(state) + which)
    return "; ".join(words)


def below_zero(model: Model, gap: str, settings: Settings) -> Fraction | None:
    """Return the fraction of cages in which the cage's ``gap`` is below 0: exact where its law is, else sampled."""
    asked = Requirement(gap, gap, min=0.0, allow=Allowance(1.0, "cages"))
    laws, _ = rss.run(model, [asked], settings)
    law = laws[gap]
    sampled = None if law and law.exact else monte_carlo.run(model, [asked], settings).records[gap]
    return of_row(model, asked, law, sampled)[1]
