"""The pages of ``explain``: steps in symbols, contributions, and the program where it is asked for."""

from __future__ import annotations

import math
from collections.abc import Mapping

from stackup.chain.symbols import NOMINAL
from stackup.decide.explain import ExplainedGap, ExplainResult
from stackup.decide.words import state_in_words
from stackup.report.checking import contributions
from stackup.report.view import Column, Lines, Page, Section, Table, Text

#: digits of a value at the nominal; a value of another state has more where as many of the change would not show
DIGITS, MOST_DIGITS, OF_CHANGE = 6, 8, 4


def page(result: ExplainResult) -> Page:
    """Return the page of an explanation."""
    sections: list[Section] = []
    for gap in result.gaps:
        sections.append(_steps(gap, result))
        shares = contributions(gap.contributions, "governed by")
        if shares.rows:
            sections.append(shares)
    if result.program is not None:
        sections.append(_program(result))
    about = f"{result.kind} · case {result.digest[:12]}"
    if any(len(gap.by_row) > 1 for gap in result.gaps):
        about += f" · steps and contributions are those of row {result.row}"
    if any(gap.nominals for gap in result.gaps):
        about += f" · {state_in_words(result.state)}"
    return Page(result.title or "untitled case", about, tuple(sections))


def _steps(gap: ExplainedGap, result: ExplainResult) -> Table:
    columns = (
        Column("step"),
        Column("at nominal", right=True),
        Column("formula", formula=True),
        Column("what it is", loose=True),
    )
    given = tuple(
        (Text(name), Text(f"{value:.{DIGITS}g}"), Text("given"), Text(_source(gap, name, result.state)))
        for name, value in gap.parameters.items()
    )
    rows = tuple(
        (
            Text(step.name, "strong" if step is gap.steps[-1] else "plain"),
            Text(f"{step.nominal:.{DIGITS}g}"),
            Text(step.formula),
            Text(step.note),
        )
        for step in gap.steps
    )
    title = f"{gap.name}: {gap.meaning} · {gap.nominal:.{DIGITS}g} {gap.unit} at nominal"
    title += f" ({_in_others(gap.nominals, result.state)})" if gap.nominals else ""
    of_rows = {row: value for row, value in gap.by_row.items() if row != result.row and value != gap.nominal}
    others = [f"row {row} {value:.{DIGITS}g}" for row, value in of_rows.items()]
    title += f" ({', '.join(others)})" if others else ""
    return Table(title, columns, given + rows, stacks=((0, 1), (2, 3)))


def _source(gap: ExplainedGap, name: str, state: str) -> str:
    """Return where a number comes from, with its values in the other states where they differ."""
    if values := gap.by_state.get(name):
        return f"of [operating]: {_in_others(values, state)}"
    size, _, part = name.partition(".")
    return f"nominal of {size}" if part == NOMINAL else "a number of [cage]"


def _in_others(values: Mapping[str, float], state: str) -> str:
    """Return the values of all states but the one that is explained, which stands before them."""
    here, others = values[state], {name: value for name, value in values.items() if name != state}
    shown = (f"{state_in_words(name)} {value:.{_digits(value, here)}g}" for name, value in others.items())
    return ", ".join(shown)


def _digits(value: float, here: float) -> int:
    """Return the digits that show a value, and of what it is more than ``here`` as many as OF_CHANGE."""
    if not value or value == here:
        return DIGITS
    lost = math.floor(math.log10(abs(value))) - math.floor(math.log10(abs(value - here)))
    return min(max(OF_CHANGE + lost, DIGITS), MOST_DIGITS)


def _program(result: ExplainResult) -> Section:
    lines = result.program or ()
    if not lines:
        return Lines("Program", ())
    columns = (Column("result"), Column("operation"), Column("values"))
    rows = tuple((Text(line.target), Text(line.operation), Text(line.shape)) for line in lines)
    return Table("Program", columns, rows)
