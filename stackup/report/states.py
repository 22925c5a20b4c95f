"""In which row and state a number of a check holds, where there are several."""

from __future__ import annotations

from stackup.decide.record import CheckResult, Record
from stackup.report import numbers
from stackup.report.view import Column, Table, Text

SAID = {"made": "as made"}


def words(state: str) -> str:
    """Return a state in words: as made, hot, worn, hot and worn."""
    return SAID.get(state, state.replace("_", " and "))


def where(record: Record, at: Record | None = None) -> str:
    """Return the state and the row of a record, each where there are several; "" for one row in one state.

    ``at`` is one of its ``by_state``, the record itself by default, which is the worst of them.
    """
    at = at or record
    states, rows = ({one.state for one in record.by_state}, {one.row for one in record.by_state})
    said = [words(at.state)] if len(states) > 1 else []
    return ", ".join([*said, *([f"row {at.row}"] if len(rows) > 1 else [])])


def named(record: Record, unit: str = "") -> str:
    """Return the name of a requirement, its unit behind it, with where it is worst."""
    place = where(record)
    return f"{record.name}{f', {unit}' if unit else ''}{f' ({place})' if place else ''}"


def about(result: CheckResult) -> str:
    """Return the states in words, "" where there is one."""
    return f" · {', '.join(map(words, result.states))}" if len(result.states) > 1 else ""


def by_state(record: Record, places: int) -> Table:
    """Return how one requirement stands in every row and state where there are several; ``places``: decimals."""
    columns = (
        Column("in"),
        Column("verdict"),
        Column("worst case found", right=True),
        Column("guaranteed", right=True),
        Column("out of spec", right=True),
    )
    rows = tuple(_row(record, one, places) for one in record.by_state)
    return Table("", columns, rows, stacks=((0, 1), (2, 3), (4,)))


def _row(record: Record, one: Record, places: int) -> tuple[Text, ...]:
    worst, allow = one.worst_case, one.requirement.allow
    fraction = getattr(one.fraction, allow.of if allow else "cages") if one.fraction else None
    return (
        Text(where(record, one)),
        Text(one.verdict or numbers.NONE, one.verdict or "plain"),
        Text(numbers.span(worst.low, worst.high, places) if worst else numbers.NONE),
        Text(numbers.span(worst.bound_low, worst.bound_high, places) if worst else numbers.NONE),
        Text(numbers.share(fraction) if fraction else numbers.NONE),
    )
