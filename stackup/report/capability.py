"""The page of ``capability``: what to improve first, what the data say, which machine is good enough."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from stackup.decide.capability_record import CapabilityResult, DimensionCapability, Machine, RequirementVerdict
from stackup.decide.measured import Index, MeasuredColumn
from stackup.decide.verdict import Verdict
from stackup.decide.words import is_none_seen, thousands
from stackup.report import numbers, rows_and_states
from stackup.report.checking import SHOUTED
from stackup.report.view import Column, Facts, Lines, Page, Section, Status, Table, Text

#: decimals of an index
PLACES = 2
#: dimensions named in the answer
NAMED = 3
#: significance at which a test is told to speak
ALPHA = 0.05


def page(result: CapabilityResult) -> Page:
    """Return the page of a capability study."""
    sections: list[Section] = []
    if any(_matters(one) for one in result.dimensions):
        sections.append(_improve(result))
    if rows_and_states.are_several(result) and result.requirements:
        sections.append(_where(result))
    sections += [_column(column) for column in result.measured]
    if result.machines:
        sections.append(_machines(result.machines))
    sections.append(_notes(result))
    what = "stack without a cage" if result.pockets_per_cage == 1 else _cage(result)
    drawn = f"{thousands(result.cages)} drawn, seed {result.seed}"
    stopped = ", INTERRUPTED" if result.interrupted else ""
    about = f"{what} · {drawn}{stopped} · case {result.digest[:12]} · stackup {result.version}"
    return Page(result.title or "untitled case", about, tuple(sections), answer(result))


def _cage(result: CapabilityResult) -> str:
    return rows_and_states.about(result) if rows_and_states.are_several(result) else f"{result.kind} cage"


def answer_page(result: CapabilityResult) -> Page:
    """Return the answer alone."""
    return Page("", "", (), answer(result))


# The answer -----------------------------------------------------------------------------------------------------


def answer(result: CapabilityResult) -> Text:
    """Return whether the processes are good enough, and where to begin, in one line."""
    if not result.requirements:
        return Text("no requirements: nothing to meet", "strong")
    status = result.verdict or "undecided"
    return Text(f"{_head(result)}{_first(result)}{_enough(result)}", status)


def _head(result: CapabilityResult) -> str:
    if result.verdict == "met":
        return "MET: the processes are good enough for all requirements"
    verdicts: tuple[Verdict, ...] = ("not met", "undecided")
    each = {v: ", ".join(_named(result, r) for r in result.requirements if r.verdict == v) for v in verdicts}
    return "; ".join(f"{verdict.upper()}: {names}" for verdict, names in each.items() if names)


def _named(result: CapabilityResult, one: RequirementVerdict) -> str:
    """Return the name of a requirement, with the row and state that govern it where there are several."""
    return one.requirement.name + (rows_and_states.at(result, *one.place) if one.place else "")


def _first(result: CapabilityResult) -> str:
    best = result.dimensions[0]
    if best.gains.spread is not None and best.gains.spread > 0:
        return f"; improve {best.name} first (10 % less spread: {_fewer(best.gains.spread)} out)"
    if best.needed.answer == "found" and best.reserve is not None and best.reserve >= 1:
        return f"; least reserve: {best.name}, Cpk {_has(best.cpk)}, {_needed(best)} needed"
    return ""


def _enough(result: CapabilityResult) -> str:
    """Return which process alone would do where a requirement with an allowance is not met."""
    lacking = [r for r in result.requirements if not r.by_worst_case and r.verdict != "met"]
    if not lacking or result.interrupted:
        return ""
    found = [one for one in result.dimensions if one.needed.answer == "found"]
    if not found:
        return "; no process alone would do"
    named = ", ".join(f"{one.name} {_needed(one)}" for one in found[:NAMED])
    more = f" or {len(found) - NAMED} more" if len(found) > NAMED else ""
    return f"; enough alone: {named}{more}"


# What to improve first --------------------------------------------------------------------------------------------


def _matters(one: DimensionCapability) -> bool:
    return one.needed.answer != "not asked"


def _improve(result: CapabilityResult) -> Table:
    columns = (
        Column("dimension"),
        Column("Cp", right=True),
        Column("Cpk", right=True),
        Column("needed", right=True),
        Column("10 % less spread", right=True),
        Column("centred", right=True),
        Column("decided by", list=True),
    )
    rows = tuple(_row(one) for one in result.dimensions if _matters(one))
    what = "stacks" if result.pockets_per_cage == 1 else "cages"
    note = f"needed: Cpk, this process alone; less spread, centred: {what} that fail a requirement with an allowance"
    if rows_and_states.are_several(result):
        note += ", in the row and state where most do"
    stacks = ((0, 6), (1, 2), (3,), (4, 5))
    return Table("What to improve first", columns, rows, stacks=stacks, note=note)


def _row(one: DimensionCapability) -> tuple[Text, ...]:
    status: Status = "plain"
    if one.needed.answer == "found" and one.reserve is not None:
        status = "met" if one.reserve >= 1 else "not met"
    return (
        Text(one.name, "strong"),
        Text(_has(one.cp)),
        Text(_has(one.cpk)),
        Text(_needed(one), status),
        Text(_fewer(one.gains.spread)),
        Text("in place" if one.centred else _fewer(one.gains.centring)),
        Text(one.needed.decided_by or numbers.NONE, "quiet"),
    )


def _has(index: float | None) -> str:
    """Return an index that a process has, rounded down."""
    if index is None:
        return numbers.NONE
    return numbers.number(math.floor(index * 10**PLACES + 1e-6) / 10**PLACES, PLACES)


def _needed(one: DimensionCapability) -> str:
    """Return the index that is needed, with all its digits: they are few, and rounded up."""
    if one.needed.answer == "found" and one.needed.index is not None:
        return f"≥ {one.needed.index:.4g}"
    return {"floor": "any", "none": "not alone", "not finished": "not finished"}.get(one.needed.answer, numbers.NONE)


def _fewer(gain: float | None) -> str:
    """Return a relative fall in words."""
    if gain is None:
        return numbers.NONE
    if gain == 0:
        return "the same"
    return f"{numbers.percent(abs(gain))} {'fewer' if gain > 0 else 'more'}"


def _where(result: CapabilityResult) -> Table:
    """Return how every requirement stands in the row and state that govern it."""
    columns = (Column("requirement"), Column("verdict"), Column("out of spec"), Column("at worst in", loose=True))
    rows = tuple(
        (
            Text(one.requirement.name, "strong"),
            Text(SHOUTED[one.verdict], one.verdict),
            Text(_out(one), "quiet"),
            Text(_worst_in(result, one)),
        )
        for one in result.requirements
    )
    return Table("Where each requirement is worst", columns, rows, stacks=((0, 3), (1, 2)))


def _worst_in(result: CapabilityResult, one: RequirementVerdict) -> str:
    """Return the row and state that govern; none does where nothing was seen out of spec in any."""
    if one.place is None:
        return numbers.NONE
    if one.fraction is not None and is_none_seen(one.fraction):
        return "none seen in any"
    return rows_and_states.place(result, *one.place)


def _out(one: RequirementVerdict) -> str:
    allow = one.requirement.allow
    if allow is None:
        return "by the worst case"
    return f"{numbers.share(one.fraction)} of {allow.of}" if one.fraction else numbers.NONE


# Measured columns -------------------------------------------------------------------------------------------------


def _column(column: MeasuredColumn) -> Facts:
    groups = f", {column.subgroups} subgroups" if column.subgroups else ""
    title = f"{column.name}, measured: {column.source} ({column.n} parts{groups})"
    return Facts(title, tuple(_facts(column)))


def _facts(column: MeasuredColumn) -> Iterator[tuple[str, Text]]:
    places = numbers.decimals(6 * column.sd)
    process = ""
    if column.uncertainty:
        process = f", of the process {numbers.number(column.process_sd, places + 1)}"
    spread = f"sd {numbers.number(column.sd, places + 1)}{process}"
    yield "mean", Text(f"{numbers.number(column.mean, places)} {column.unit}, {spread}")
    if column.cp.value is not None or column.cpk.value is not None:
        yield "within subgroups", Text(_both("Cp", column.cp, "Cpk", column.cpk))
    if column.pp.value is not None or column.ppk.value is not None:
        yield "all parts", Text(_both("Pp", column.pp, "Ppk", column.ppk))
    if column.quantile_pk is not None:
        which = "the values are not normal: take these" if column.form == "quantile" else "the normal form holds"
        pair = ", ".join(
            f"{name} {_has(value)}"
            for name, value in (("Pp", column.quantile_p), ("Ppk", column.quantile_pk))
            if value is not None
        )
        yield "by quantiles", Text(f"{pair} ({which})")
    yield from _proof(column)
    if column.normal_test and column.normal_p is not None:
        yield "normality", Text(f"{column.normal_test}, p {_p(column.normal_p)}", _doubt(column.normal_p))
    if column.between_p is not None:
        yield "control", Text(f"F test between subgroups, p {_p(column.between_p)}", _doubt(column.between_p))
    lines = ", ".join(map(str, column.outliers))
    yield "outliers", Text(f"line {lines}" if lines else "none", "undecided" if lines else "plain")
    yield "single parts", Text(_conform(column, places))


def _both(first: str, one: Index, second: str, other: Index) -> str:
    return ", ".join(
        f"{name} {_has(index.value)} ({_has(index.low)} … {numbers.number(index.high, PLACES)})"
        for name, index in ((first, one), (second, other))
        if index.value is not None
    )


def _proof(column: MeasuredColumn) -> Iterator[tuple[str, Text]]:
    if column.proved is None:
        return
    said, status = f"Ppk ≥ {_has(column.proved)}", "plain"
    if column.needed is not None:
        is_enough = column.proved >= column.needed
        status = "met" if is_enough else "not met"
        said += f"; {column.needed:.4g} is needed: {'proved' if is_enough else 'not proved'}"
        if not is_enough:
            said += f", {column.needed_n} parts like these would" if column.needed_n else ", no number of parts would"
    yield "proved at 95 %", Text(said, status)  # type: ignore[arg-type]


def _p(value: float) -> str:
    if value > 0.99:
        return "> 0.99"
    return f"= {value:.2g}" if value >= 1e-4 else "< 0.0001"


def _doubt(p_value: float) -> Status:
    return "undecided" if p_value < ALPHA else "plain"


def _conform(column: MeasuredColumn, places: int) -> str:
    good, bad, open_ = (column.proofs[key] for key in ("conforms", "does not", "not proved"))
    if not column.uncertainty:
        return f"{good} conform, {bad} do not"
    low, high = column.conform_limits or (None, None)
    where = "nowhere" if low is None and high is None else f"within {numbers.span(low, high, places)}"
    if low is None and high is not None:
        where = f"up to {numbers.number(high, places)}"
    return f"{good} proved good ({where}), {bad} proved bad, {open_} neither (ISO 14253-1)"


# Machines ---------------------------------------------------------------------------------------------------------


def _machines(machines: Sequence[Machine]) -> Table:
    columns = (
        Column("dimension"),
        Column("choice"),
        Column("verdict"),
        Column("not met", list=True),
        Column("holds ±", right=True),
        Column("Cp", right=True),
        Column("Cpk", right=True),
        Column("scrap", right=True),
        Column("cost", right=True),
        Column("good part", right=True),
    )
    rows = tuple(
        (
            Text(one.dimension),
            Text(one.name, "strong"),
            Text(SHOUTED[one.verdict] if one.verdict else numbers.NONE, one.verdict or "plain"),
            Text(", ".join(one.failing), "quiet"),
            Text(numbers.NONE if one.half_width is None else f"{one.half_width:.4g}"),
            Text(_has(one.cp)),
            Text(_has(one.cpk)),
            Text(numbers.NONE if one.scrap is None else numbers.tail(one.scrap) if one.scrap else "0"),
            Text(f"{one.cost:.4g}"),
            Text(numbers.NONE if one.good_part is None else f"{one.good_part:.4g}"),
        )
        for one in machines
    )
    return Table("Which machine is good enough", columns, rows, stacks=((0, 1), (2, 3), (4, 7), (5, 6), (8, 9)))


# Notes ------------------------------------------------------------------------------------------------------------


def _notes(result: CapabilityResult) -> Lines:
    """Return findings and cautions, equal ones once with all names."""
    about: dict[tuple[str, str], list[str]] = {}
    for note in result.notes:
        about.setdefault((note.text, note.level), []).extend([note.about] if note.about else [])
    lines = []
    for (text, level), names in about.items():
        said = f"{', '.join(names)}: {text}" if names else text
        lines.append(Text(said, "quiet" if level == "caution" else "plain"))
    return Lines("To know", tuple(lines))
