"""The table of a check that tells how many are out of spec, of each population."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from stackup.decide.record import Record
from stackup.decide.words import doubt_if_independent
from stackup.engine.result import Fraction
from stackup.report import numbers
from stackup.report.view import Column, Table, Text

NO_NUMBER = f"{numbers.NONE} no such number"


def section(records: Sequence[Record], alone: bool, many_rows: bool = False) -> Table:
    """Return the fractions; a stack that stands ``alone`` is its own cage, a bearing of one row its cage."""
    if alone:
        return _of_stacks(records)
    heads = ["pockets", "95 %", "cages", "95 %", "cages, if pockets were independent", "pockets, by RSS"]
    stacks: tuple[tuple[int, ...], ...] = ((0,), (1, 2), (3, 4), (5, 6))
    narrow: tuple[tuple[int, ...], ...] = ((0,), (1, 2, 6), (3, 4, 5))
    if many_rows:
        heads += ["bearings", "95 %"]
        stacks, narrow = (*stacks, (7, 8)), (*narrow, (7, 8))
    columns = (Column("requirement"), *(Column(head, right=True) for head in heads))
    rows = tuple(_row(record, many_rows) for record in records)
    return explained(Table("How many are out of spec", columns, rows, stacks, narrow))


def _of_stacks(records: Sequence[Record]) -> Table:
    columns = (Column("requirement"), *(Column(head, right=True) for head in ("stacks", "95 %", "by RSS")))
    found = ((record, record.fraction.cages if record.fraction else None) for record in records)
    rows = tuple((Text(record.name), *_fraction(stacks), _by_law(record)) for record, stacks in found)
    return Table("How many are out of spec", columns, rows)


def explained(table: Table) -> Table:
    """Return a table that says what its dashes mean."""
    if not any(cell.text == numbers.NONE for row in table.rows for cell in row):
        return table
    return replace(table, note="\n".join([*filter(None, [table.note]), NO_NUMBER]))


def _row(record: Record, many_rows: bool) -> tuple[Text, ...]:
    found, sampled = record.fraction, record.monte_carlo
    alone = sampled.cages.if_independent if sampled and sampled.cages else None
    apart = is_apart(alone, sampled.cages.out_of_spec if sampled and sampled.cages else None)
    said = numbers.parts(alone, doubt_if_independent(sampled)) if alone else numbers.NONE
    return (
        Text(record.name),
        *_fraction(found.pockets if found else None),
        *_fraction(found.cages if found else None),
        Text(said, "undecided" if apart else "plain"),
        _by_law(record),
        *(_fraction(found.bearings if found else None) if many_rows else ()),
    )


def _fraction(fraction: Fraction | None) -> tuple[Text, Text]:
    """Return a fraction and its interval."""
    told = numbers.share(fraction) if fraction else numbers.NONE
    return Text(told), Text(numbers.interval(fraction) if fraction else "", "quiet")


def _by_law(record: Record) -> Text:
    law = record.rss
    known = law.out_of_spec if law and not record.of_cage else None
    return Text(numbers.NONE if known is None else numbers.tail(known))


def is_apart(alone: float | None, cages: float | None) -> bool:
    """Tell whether independence would mislead by half or more."""
    return bool(alone and cages and not 2 / 3 < alone / cages < 1.5)
