"""The page of ``allocate``: what to change, what each requirement costs, and what the trade's rules would cost."""

from __future__ import annotations

from pathlib import Path

from stackup.decide.allocation import AllocationResult, Line, Priced
from stackup.decide.rules import RULES
from stackup.report import numbers, rows_and_states
from stackup.report.checking import SHOUTED
from stackup.report.view import Column, Lines, Page, Section, Table, Text

#: changes smaller than this part are none
SAME = 1e-9
#: digits of a cost and of a half-width
COST, WIDTH = 4, 4


def page(result: AllocationResult, written: Path | None = None) -> Page:
    """Return the page of an allocation; ``written`` is where the new case went."""
    sections: list[Section] = []
    if result.works:
        sections += [_dimensions(result), _requirements(result), _rules(result)]
    else:
        sections += [_conflict(result), _requirements(result)]
    sections.append(_notes(result))
    what = rows_and_states.about(result) if rows_and_states.are_several(result) else result.kind
    about = f"{what} · case {result.digest[:12]}"
    return Page(result.title or "untitled case", about, tuple(sections), answer(result, written))


def answer_page(result: AllocationResult, written: Path | None = None) -> Page:
    """Return the answer alone."""
    return Page("", "", (), answer(result, written))


def answer(result: AllocationResult, written: Path | None = None) -> Text:
    """Return what it comes to, in one line."""
    if not result.works or result.cost_after is None:
        conflict = result.conflict
        if conflict is None:
            return Text("NOT FOUND: a drawing that meets all; nothing proves that there is none", "not met")
        names = ", ".join(conflict.requirements)
        return Text(f"NOTHING WORKS: {names} cannot {'hold together' if _several(result) else 'be met'}", "not met")
    how = "proved least" if result.optimal == "proved" else "a local least"
    at = rows_and_states.at(result, *result.cages_at) if result.cages_at else ""
    failing = f"; {numbers.share(result.cages)} of {_unit(result)} fail at least one{at}" if result.cages else ""
    into = f"; written to {written}" if written else ""
    return Text(f"MET at a cost of {result.cost_after:.{COST}g}{_change(result)} ({how}){failing}{into}", "met")


def _change(result: AllocationResult) -> str:
    """Return what the new drawing costs more or less, where the cost of the present one is known."""
    free = [line for line in result.dimensions if not line.locked]
    if result.cost_after is None or any(line.cost_before is None for line in free):
        return ""
    change = result.cost_after - result.cost_before
    return f", {abs(change):.{COST}g} {'more' if change > 0 else 'less'} than now"


def _unit(result: AllocationResult) -> str:
    return "stacks" if result.kind == "none" else "cages"


def _several(result: AllocationResult) -> bool:
    return result.conflict is not None and len(result.conflict.requirements) > 1


def _dimensions(result: AllocationResult) -> Table:
    columns = (
        Column("dimension"),
        Column("half-width now", right=True),
        Column("new", right=True),
        Column("cost now", right=True),
        Column("new", right=True),
        Column("what", loose=True),
    )
    free = [line for line in result.dimensions if not line.locked]
    rows = tuple(
        (
            Text(line.name, "strong" if _changed(line) else "plain"),
            Text(f"{line.before:.{WIDTH}g}"),
            Text(f"{line.after:.{WIDTH}g}"),
            Text(_cost(line.cost_before)),
            Text(_cost(line.cost_after)),
            Text(_what(line)),
        )
        for line in free
    )
    total = (
        Text("together"), Text(""), Text(""), Text(_cost(result.cost_before), "strong"),
        Text(_cost(result.cost_after), "strong"), Text(""),
    )  # fmt: skip
    return Table("What to change", columns, (*rows, total), stacks=((0, 5), (1, 2), (3, 4)))


def _cost(cost: float | None) -> str:
    return numbers.NONE if cost is None else f"{cost:.{COST}g}"


def _changed(line: Line) -> bool:
    moved = line.nominal_after is not None and line.nominal_after != line.nominal_before
    return moved or abs(line.after - line.before) > SAME * line.before


def _what(line: Line) -> str:
    """Return in words what becomes of a dimension."""
    said = []
    if line.choice:
        said.append(line.choice)
    ratio = line.after / line.before if line.before else 1.0
    if abs(ratio - 1) > SAME:
        said.append(f"{'wider' if ratio > 1 else 'finer'} by {abs(ratio - 1):.0%}")
    if line.nominal_after is not None and line.nominal_after != line.nominal_before:
        said.append(f"nominal {line.nominal_before:.10g} → {line.nominal_after:.10g}")
    if line.idle:
        said.append("at its coarsest: no requirement pays for finer")
    return ", ".join(said) or "stays"


def _requirements(result: AllocationResult) -> Table:
    several = rows_and_states.are_several(result)
    columns = (
        Column("requirement"),
        Column("verdict"),
        Column("slack", right=True),
        Column("price of 1 µm", right=True),
        Column("what it means", loose=True),
        *((Column("at worst in", loose=True),) if several else ()),
    )
    rows = tuple(
        (
            Text(one.name, "strong"),
            Text(SHOUTED[one.verdict], one.verdict),
            Text(_slack(one)),
            Text(_price(one)),
            Text(_meaning(one), "quiet"),
            *((Text(rows_and_states.place(result, one.row, one.state)),) if several else ()),
        )
        for one in result.requirements
    )
    stacks = ((0, 5), (1, 4), (2, 3)) if several else ((0, 4), (1,), (2, 3))
    return Table("What each requirement costs", columns, rows, stacks=stacks)


def _slack(one: Priced) -> str:
    if one.slack is None:
        return numbers.NONE
    return f"{1000 * one.slack:.3g} µm" if one.unit == "mm" else f"{one.slack:.3g} {one.unit}"


def _price(one: Priced) -> str:
    """Return the cost that a small step of slack would save: 1 µm of lengths, else a hundredth of the unit."""
    if one.price is None:
        return numbers.NONE
    if one.price == 0:
        return "0"
    step, of = (1e-3, "") if one.unit == "mm" else (1e-2, f" (0.01 {one.unit})")
    return f"{one.price * step:.3g}{of}"


def _meaning(one: Priced) -> str:
    if one.price is None:
        return ""
    return "governs: relaxing it saves" if one.price > 0 else "costs nothing"


def _rules(result: AllocationResult) -> Table:
    columns = (Column("rule"), Column("cost", right=True), Column("what it is", loose=True))
    said = {"cost": "least cost under all requirements", **RULES}
    rows = tuple(
        (
            Text(one.rule, "strong" if one.rule == "cost" else "plain"),
            Text(_cost(one.cost) if one.met else "cannot meet them"),
            Text(said[one.rule], "quiet"),
        )
        for one in result.rules
    )
    return Table("By the rules of the trade", columns, rows)


def _conflict(result: AllocationResult) -> Section:
    if result.conflict is None:
        return Lines("What stands in the way", (Text("no set of requirements in conflict was found"),))
    columns = (Column("requirement"), Column("must give way by", right=True), Column("in the smallest conflict"))
    units = {one.name: one.unit for one in result.requirements}
    names = dict.fromkeys((*result.conflict.requirements, *result.conflict.relax))
    rows = tuple(
        (
            Text(name, "strong"),
            Text(f"{result.conflict.relax[name]:.3g} {units[name]}" if name in result.conflict.relax else "0"),
            Text("yes" if name in result.conflict.requirements else "no"),
        )
        for name in names
    )
    return Table("What cannot hold together, and the least that cures it", columns, rows)


def _notes(result: AllocationResult) -> Lines:
    lines = (Text(str(note), "plain" if note.level == "finding" else "quiet") for note in result.notes)
    return Lines("To know", tuple(lines))
