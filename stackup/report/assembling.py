"""The page of ``assemble``: can the rings be closed, where they jam, which pins block, which order is best."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from stackup.decide.assemble_record import AssembleResult, RowClosing
from stackup.decide.record import Record
from stackup.decide.verdict import Verdict
from stackup.decide.words import is_none_seen, thousands
from stackup.engine.result import Estimate, Fraction, Ordering
from stackup.report import numbers
from stackup.report.checking import SHOUTED
from stackup.report.view import Column, Facts, Lines, Page, Section, Table, Text

#: lines of the table of jams; pockets named that block most (all that stand out); dimensions named that govern
BANDS, BLOCKING, GOVERN = 8, 6, 5
#: decimals of a length; a difference of so many standard errors is one
PLACES, SURE = 4, 2.0
TWO_DIGITS = 1
#: pockets of a natural order that are written before it is cut short
SHORT = 3


def page(result: AssembleResult) -> Page:
    """Return the page of an assembly."""
    sections: list[Section] = [Facts(f"Can the rings be closed ({result.gap})", tuple(_closing(result)))]
    if len(result.rows) > 1:
        sections.append(_rows(result))
    governing = result.governing
    if governing and governing.jammed:
        which = f", row {governing.name}" if len(result.rows) > 1 else ""
        sections += [_jams(governing, which), _blocking(governing, which)]
        if governing.ordering:
            sections.append(Facts(f"Best order{which}", tuple(_order(governing.ordering, governing.closing.order))))
    elif governing:
        sections.append(Lines("Where they jam", (_nowhere(governing),)))
    if result.record and result.record.contributions:
        sections.append(_governs(result.record))
    sections.append(_notes(result))
    return Page(result.title or "untitled case", _about(result), tuple(sections), answer(result))


def answer_page(result: AssembleResult) -> Page:
    """Return the answer alone."""
    return Page("", "", (), answer(result))


def _about(result: AssembleResult) -> str:
    rows = " and ".join(_row(row) for row in result.rows) or f"{result.pockets_per_cage} pins"
    drawn = thousands(result.cages)
    if result.interrupted:
        drawn = f"{thousands(min((row.closing.drawn for row in result.rows), default=0))} of {drawn}"
    stopped = ", INTERRUPTED" if result.interrupted else ""
    about = f"{result.kind} cage, {rows} · {drawn} cages drawn, seed {result.seed}{stopped}"
    return f"{about} · case {result.digest[:12]} · stackup {result.version}"


def _row(row: RowClosing) -> str:
    return f"{row.count} rows of {row.rollers} pins" if row.count > 1 else f"{row.rollers} pins"


# The answer -----------------------------------------------------------------------------------------------------


def answer(result: AssembleResult) -> Text:
    """Return whether the rings can be closed, and what to do, in one line."""
    status: Verdict | str = result.verdict or "strong"
    head = f"{result.verdict.upper()}: " if result.verdict else f"no requirement on {result.gap}: "
    if result.governing is None:
        return Text(f"{head}nothing finished, whether the rings can be closed is not told", "undecided")
    return Text(f"{head}{_how_many(result)}{_what_to_do(result)}", status)  # type: ignore[arg-type]


def _how_many(result: AssembleResult) -> str:
    governing = result.governing
    assert governing is not None  # noqa: S101 - asked where there is one
    closing = governing.closing
    if is_none_seen(closing.cannot_close):
        drawn = thousands(closing.drawn)
        return f"none of {drawn} cages jams, {numbers.share(closing.cannot_close)} cannot be closed"
    which = f" of row {governing.name}" if len(result.rows) > 1 else ""
    sure = f"95 %: {numbers.interval(closing.cannot_close)}"
    return f"{numbers.share(closing.cannot_close)} of cages{which} cannot be closed (sampled, {sure})"


def _what_to_do(result: AssembleResult) -> str:
    governing = result.governing
    if governing is None or not governing.jammed:
        return ""
    said = f"; {_estimate(governing.closing.entered)} pins are in when they jam"
    if result.record and result.record.governing and result.verdict != "met":
        said += f"; make {result.record.governing[0][0]} better first"
    return said


# Can the rings be closed ----------------------------------------------------------------------------------------


def _closing(result: AssembleResult) -> Iterator[tuple[str, Text]]:
    for record in result.requirements:
        verdict = record.verdict or "undecided"
        yield record.name, Text(f"{SHOUTED[verdict]}: {_asked(record)}", verdict)
    governing = result.governing
    if governing is None:
        return
    yield "cages that jam", Text(_told(governing.closing.cannot_close))
    if result.bearings is not None and result.bearings != governing.closing.cannot_close:
        yield "bearings that jam", Text(_told(result.bearings))
    yield from _rooms(result)
    for move, one in zip(result.moves, governing.closing.pose, strict=False):
        spread = "" if one.sd is None else f", sd {numbers.number(one.sd, PLACES)}"
        yield move, Text(f"mean {numbers.number(one.mean, PLACES)}{spread} {result.unit} (cages that can be closed)")


def _asked(record: Record) -> str:
    allow, worst = record.requirement.allow, record.worst_case
    limit = numbers.limits(record.requirement, record.unit)
    if allow is None:
        found = "not finished" if worst is None else numbers.span(worst.bound_low, worst.bound_high, PLACES)
        return f"{limit}, worst case {found}"
    fraction = getattr(record.fraction, allow.of) if record.fraction else None
    told = f"{numbers.share(fraction)} out of spec" if fraction else "not finished"
    return f"{limit}, {numbers.allowed(allow)} of {allow.of} allowed, {told}"


def _told(fraction: Fraction) -> str:
    seen = "none seen" if is_none_seen(fraction) else f"95 %: {numbers.interval(fraction)}"
    return f"{numbers.share(fraction)} (sampled, {seen})"


def _rooms(result: AssembleResult) -> Iterator[tuple[str, Text]]:
    record, missing = result.record, result.governing and result.governing.closing.missing
    sampled, worst = (record.monte_carlo, record.worst_case) if record else (None, None)
    if sampled is not None:
        mean, sd = numbers.number(sampled.mean, PLACES), numbers.number(sampled.sd, PLACES)
        ends = f"; worst case {numbers.number(worst.bound_low, PLACES)} {result.unit}" if worst else ""
        yield "room left", Text(f"mean {mean}, sd {sd} {result.unit}{ends}")
    if missing:
        mean, most = (numbers.number(x, PLACES) for x in (missing.mean, missing.greatest))
        yield "room missing", Text(f"mean {mean}, most {most} {result.unit} (radius) round every pin, where they jam")


def _rows(result: AssembleResult) -> Table:
    columns = (
        Column("row"),
        Column("pins", right=True),
        Column("not closed", right=True),
        Column("95 %", right=True),
        Column("pins in at the jam", right=True),
    )
    rows = tuple(
        (
            Text(f"{row.name}{f' ({row.count} alike)' if row.count > 1 else ''}", "strong"),
            Text(str(row.rollers)),
            Text(numbers.share(row.closing.cannot_close)),
            Text(numbers.interval(row.closing.cannot_close)),
            Text(_estimate(row.closing.entered)),
        )
        for row in result.rows
    )
    return Table("Row by row", columns, rows, stacks=((0, 1), (2, 3), (4,)))


# Where they jam -------------------------------------------------------------------------------------------------


def _nowhere(row: RowClosing) -> Text:
    """Return what stands in the place of jams, pins that block and orders where nothing jams."""
    order, drawn = row.closing.order, thousands(row.closing.drawn)
    given = "" if order == tuple(range(row.rollers)) else f", {written(order)} included,"
    return Text(f"none of {drawn} cages jams, so no pin blocks and no order of assembly{given} is better than another")


def _jams(row: RowClosing, which: str) -> Table:
    columns = (
        Column("pins in at the jam"),
        Column("cages", right=True),
        Column("95 %", right=True),
        Column("of the jams", right=True),
    )
    rows = []
    for first, last in bands([pins for pins, count in enumerate(row.closing.stuck) if count]):
        found, count = row.stuck_between(first, last), sum(row.closing.stuck[first : last + 1])
        pins = str(first) if first == last else f"{first} … {last}"
        cells = (pins, numbers.share(found), numbers.interval(found), numbers.percent(count / row.jammed))
        rows.append(tuple(map(Text, cells)))
    note = f"order: {written(row.closing.order)}; so many pins enter together, the next does not"
    return Table(f"Where they jam{which}", columns, tuple(rows), stacks=((0,), (1, 2), (3,)), note=note)


def bands(numbers_seen: Sequence[int]) -> list[tuple[int, int]]:
    """Return the numbers, sorted and at least one, in at most BANDS bands of equal width; each has one in it."""
    if len(numbers_seen) <= BANDS:
        return [(one, one) for one in numbers_seen]
    low, high = numbers_seen[0], numbers_seen[-1]
    width = -(-(high - low + 1) // BANDS)
    all_bands = [(first, min(first + width - 1, high)) for first in range(low, high + 1, width)]
    return [(first, last) for first, last in all_bands if any(first <= one <= last for one in numbers_seen)]


def written(order: Sequence[int]) -> str:
    """Return an order in words, runs of neighbours in natural order cut short: ``0, 24, 1 … 23``."""
    pieces: list[list[int]] = []
    for pocket in order:
        if pieces and pocket == pieces[-1][-1] + 1:
            pieces[-1].append(pocket)
        else:
            pieces.append([pocket])
    return ", ".join(f"{run[0]} … {run[-1]}" if len(run) > SHORT else ", ".join(map(str, run)) for run in pieces)


def _blocking(row: RowClosing, which: str) -> Table:
    columns = tuple(Column(head, right=True) for head in ("pocket", "share of blocking", "standard error"))
    outstanding = row.standing_out()
    rows = []
    for pocket, one in row.blocking()[: max(BLOCKING, len(outstanding))]:
        error = numbers.NONE if one.standard_error is None else f"{100 * one.standard_error:.1f} %"
        status = "undecided" if pocket in outstanding else "plain"
        rows.append((Text(str(pocket), "strong"), Text(f"{100 * one.mean:.1f} %", status), Text(error)))  # type: ignore[arg-type]
    even = f"all alike would have {100 / row.rollers:.1f} % each"
    told = "none stands out beyond chance" if not outstanding else f"beyond chance: {', '.join(map(str, outstanding))}"
    return Table(f"Which pins block{which}", columns, tuple(rows), note=f"{even}; {told}")


# Best order -----------------------------------------------------------------------------------------------------


def _order(found: Ordering, given: tuple[int, ...]) -> Iterator[tuple[str, Text]]:
    how = f"the least over all orders of {len(given)} pins" if found.proved else "the best found, not proved"
    if found.order == given:
        yield "order", Text(f"{written(given)}, as it is ({how}, {thousands(found.cages)} jams)", "strong")
        yield from _natural(found, given)
        return
    yield "order", Text(written(found.order), "strong")
    yield "on these jams", Text(
        f"{_estimate(found.best)} pins in vain, {_estimate(found.given)} by {written(given)} ({how}, "
        f"{thousands(found.cages)} jams)"
    )
    yield from _natural(found, given)
    yield "saving here", Text(f"{_estimate(found.saving_here)} pins, of the cages it was chosen from")
    if found.saving is None:
        yield "saving to expect", Text("not to be told: too few jams", "undecided")
    else:
        status = "met" if _is_sure(found.saving) else "undecided"
        told = "" if _is_sure(found.saving) else ": none is shown, keep the order that suits the work"
        said = f"{_estimate(found.saving)} pins, of cages it was not chosen from{told}"
        yield "saving to expect", Text(said, status)  # type: ignore[arg-type]


def _natural(found: Ordering, given: tuple[int, ...]) -> Iterator[tuple[str, Text]]:
    """Yield what the natural order is worth on these jams, unless it is one of the two that are told."""
    order = tuple(range(len(given)))
    if order not in (given, found.order):
        yield "natural order", Text(f"{_estimate(found.natural)} pins in vain by {written(order)}")


def _is_sure(saving: Estimate) -> bool:
    return saving.standard_error is not None and saving.mean > SURE * saving.standard_error


def _estimate(found: Estimate | None) -> str:
    """Return a mean with its standard error, both to a tenth."""
    if found is None:
        return numbers.NONE
    error = "" if found.standard_error is None else f" ± {found.standard_error:.{TWO_DIGITS}f}"
    return f"{numbers.number(found.mean, TWO_DIGITS)}{error}"


# What governs, notes --------------------------------------------------------------------------------------------


def _governs(record: Record) -> Table:
    columns = (Column("dimension"), Column("of scatter", right=True), Column("10 % tighter", right=True))
    rows = tuple(
        (
            Text(one.dimension),
            Text(numbers.percent(one.variance_share)),
            Text(numbers.NONE if one.tighter is None else f"{100 * one.tighter:+.0f} %"),
        )
        for one in record.contributions[:GOVERN]
    )
    note = "10 % tighter: what it changes of the cages out of spec" if record.limited else ""
    return Table("What governs it", columns, rows, note=note)


def _notes(result: AssembleResult) -> Lines:
    lines = tuple(Text(str(note), "quiet" if note.level == "caution" else "plain") for note in result.notes)
    return Lines("To know", lines)
