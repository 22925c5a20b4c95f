"""What a page of several rows and states shows of each: where a requirement is decided, how it stands elsewhere."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from stackup.decide.record import CheckResult, Record, RowRecord
from stackup.decide.verdict import room
from stackup.decide.words import LEAST, state_in_words
from stackup.engine.result import Fraction
from stackup.report import numbers
from stackup.report.view import Column, Table, Text

NOTE = "Room left by the worst case (− outside), or what is out of spec of the population in the allowance"
NONE_SEEN = "; where none was seen, the room left by 99.73 % of what was drawn"


class Bearing(Protocol):
    """A result of a bearing: its kind, its rows and its states."""

    @property
    def kind(self) -> str:
        """The kind of cage."""
        ...

    @property
    def rows(self) -> Sequence[RowRecord]:
        """The rows that differ."""
        ...

    @property
    def states(self) -> Sequence[str]:
        """The states."""
        ...


def are_several(result: Bearing) -> bool:
    """Tell whether there is more than one row or state to tell apart."""
    return len(result.rows) > 1 or len(result.states) > 1


def where(result: Bearing, record: Record) -> str:
    """Return the row and state of a record in words, without what is the same for all."""
    return place(result, record.row, record.state)


def place(result: Bearing, row: str, state: str) -> str:
    """Return a row and state in words, without what is the same for all."""
    words = (f"row {row}" if len(result.rows) > 1 else "", state_in_words(state) if len(result.states) > 1 else "")
    return ", ".join(filter(None, words))


def at(result: Bearing, row: str, state: str) -> str:
    """Return a row and state in brackets, to stand behind a number; nothing where there is only one of each."""
    said = place(result, row, state)
    return f" ({said})" if said else ""


def about(result: Bearing) -> str:
    """Return which rows there are, and in which states they are checked."""
    named = len(result.rows) > 1
    rows = " and ".join((f"row {row.name}: " if named else "") + _rollers(row) for row in result.rows)
    states = "" if len(result.states) < 2 else f" · {', '.join(map(state_in_words, result.states))}"
    return f"{result.kind} cage, {rows}{states}"


def _rollers(row: RowRecord) -> str:
    return f"{row.count} rows of {row.rollers} rollers" if row.count > 1 else f"{row.rollers} rollers"


def section(result: CheckResult, records: Sequence[Record], places: Callable[[Record], int]) -> Table:
    """Return how every requirement stands in every row (a line) and state (a column)."""
    columns = (
        Column("requirement"),
        *((Column("row"),) if len(result.rows) > 1 else ()),
        *(Column(state_in_words(state), right=True) for state in result.states),
    )
    rows = []
    for record in records:
        for row in result.rows:
            found = {one.state: one for one in record.by_state if one.row == row.name}
            names = (Text(record.name), *((Text(row.name),) if len(result.rows) > 1 else ()))
            rows.append((*names, *(_cell(found[state], places) for state in result.states)))
    head, count = len(columns) - len(result.states), len(columns)
    halves = [tuple(range(head, count)[i : i + 2]) for i in range(0, len(result.states), 2)]
    note = NOTE + (NONE_SEEN if any(_none_seen(one) for record in records for one in record.by_state) else "")
    return Table("In every row and state", columns, tuple(rows), stacks=(tuple(range(head)), *halves), note=note)


def _cell(record: Record, places: Callable[[Record], int]) -> Text:
    """Return in one number how a requirement stands: the room left, or a fraction.

    Where nothing failed among what was drawn, the fraction says how much was drawn: the room says how one stands.
    """
    verdict, allow, worst = record.verdict or "undecided", record.requirement.allow, record.worst_case
    sampled = record.monte_carlo
    if sampled is not None and _none_seen(record):
        least, *_, greatest = sampled.quantiles.values()
        return Text(_room(record, least, greatest, places), verdict)
    if allow is not None:
        fraction = _fraction(record)
        return Text(numbers.share(fraction, least=min(LEAST, allow.ppm * 1e-8)) if fraction else numbers.NONE, verdict)
    if worst is None:
        return Text(numbers.NONE, verdict)
    ends = (worst.bound_low, worst.bound_high) if verdict == "met" else (worst.low, worst.high)
    return Text(_room(record, *ends, places), verdict)


def _room(record: Record, low: float, high: float, places: Callable[[Record], int]) -> str:
    left = room(record.requirement, low, high)
    return f"{numbers.number(left, places(record))} {record.unit}".replace("-", "−")


def _fraction(record: Record) -> Fraction | None:
    """Return the fraction of the population in the allowance."""
    allow = record.requirement.allow
    return getattr(record.fraction, allow.of) if allow and record.fraction else None


def _none_seen(record: Record) -> bool:
    """Tell whether all that is known of a fraction is that none of what was drawn failed."""
    fraction = _fraction(record)
    return fraction is not None and fraction.method == "sampled" and fraction.out_of_spec == 0
