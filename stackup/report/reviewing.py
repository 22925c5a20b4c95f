"""The page of ``review``: what to answer to each change and why, who takes the margins, what to ask."""

from __future__ import annotations

import math
from collections.abc import Sequence

from stackup.decide.drawing_words import in_words
from stackup.decide.record import Record
from stackup.decide.review_record import Cause, ChangeReview, RequirementReview, ReviewResult
from stackup.decide.verdict import room as room_left
from stackup.decide.weighing import least_of
from stackup.report import numbers, rows_and_states
from stackup.report.checking import SHOUTED
from stackup.report.view import Column, Lines, Page, Section, Status, Table, Text

SAID: dict[str | None, str] = {"accept": "accept", "refuse": "REFUSE", None: "open"}
STATUS: dict[str | None, Status] = {"accept": "met", "limit": "undecided", "refuse": "not met", None: "quiet"}
OPINIONS: dict[str | None, Status] = {"accept": "met", "accept in part": "undecided", "refuse": "not met"}
#: what every word of a change stands for, where it is one key
KEYS = {"sorting": "sorted_to", "lot share": "lot_share", "bonus": "bonus_from", "lower limit": "min"}
#: what is added as a whole
WHOLE = ("added", "requirement", "chain")
#: names of what was left out that are shown, more are counted
NAMED = 6


def page(result: ReviewResult, details: bool = False) -> Page:
    """Return the page of a review; ``details`` adds what every method says before and after."""
    sections: list[Section] = []
    if result.changes:
        sections.append(changes_table(result))
    if any(one.margin for one in result.requirements):
        sections.append(margins_table(result))
    if any(one.before for one in result.requirements):
        sections.append(requirements_table(result))
    if details:
        sections.append(methods_table(result))
    if result.questions:
        sections.append(Lines("To ask", tuple(Text(question) for question in result.questions)))
    sections.append(notes(result))
    return Page(result.title or "untitled case", about(result), tuple(sections), answer(result))


def answer_page(result: ReviewResult, details: bool = False) -> Page:
    """Return the answer alone."""
    del details
    return Page("", "", (), answer(result))


def about(result: ReviewResult) -> str:
    """Return what was reviewed, in one line."""
    what = "a whole case" if result.whole else "the lines that change"
    drawn = f"{f'{result.cages:,}'.replace(',', ' ')} drawn, seed {result.seed}"
    stopped = ", INTERRUPTED" if result.interrupted else ""
    if rows_and_states.are_several(result):
        drawn = f"{rows_and_states.about(result)} · {drawn}"
    digests = f"case {result.digest[:12]} · proposal {result.proposal_digest[:12]}"
    return f"a proposal ({what}) against the drawing · {drawn}{stopped} · {digests} · stackup {result.version}"


def answer(result: ReviewResult) -> Text:
    """Return the verdict, in one line."""
    if result.verdict is None:
        return Text("NOT REVIEWED: interrupted", "undecided")
    asked = len(result.questions)
    after = f"; {asked} question{'s' * (asked != 1)} to ask" if asked else ""
    if not result.changes:
        return Text(f"ACCEPT: the proposal changes nothing{after}", "met")
    counts = [(word, sum(c.decision == d for c in result.changes)) for d, word in _COUNTED]
    said = ", ".join(f"{count} {word}" for word, count in counts if count)
    many = f"of {len(result.changes)} changes " if len(result.changes) > 1 else ""
    return Text(f"{result.verdict.upper()}: {many}{said}{after}", OPINIONS[result.verdict])


_COUNTED = (("accept", "accepted"), ("limit", "accepted up to a limit"), ("refuse", "refused"))


# What to answer -----------------------------------------------------------------------------------------------


def changes_table(result: ReviewResult) -> Table:
    """Return every change with its decision, and the number behind it."""
    columns = (
        Column("change", loose=True),
        Column("from → to", loose=True),
        Column("decision", loose=True),
        Column("why", loose=True),
    )
    rows = tuple(
        (
            Text(f"{change.dimension}: {change.what}", "strong"),
            Text(f"{value(change, change.before)} → {value(change, change.after)}"),
            Text(decision(change), STATUS[change.decision]),
            Text(why(result, change), "quiet" if change.decision == "accept" else "plain"),
        )
        for change in result.changes
    )
    return Table("What to answer", columns, rows, stacks=((0, 1), (2, 3)))


def decision(change: ChangeReview) -> str:
    """Return what becomes of a change: ``up to ±0.081`` where that much can be accepted."""
    return f"up to {value(change, change.counter)}" if change.decision == "limit" else SAID[change.decision]


def value(change: ChangeReview, said: object) -> str:
    """Return what a drawing says of a change, in words."""
    if said is None and change.what not in WHOLE:
        return f"no {change.what}"
    return in_words(said, KEYS.get(change.what, change.what))


def why(result: ReviewResult, change: ChangeReview) -> str:
    """Return the reason of a decision: the number that caused a refusal, what an accepted change takes."""
    if change.reason is not None:
        return change.reason
    if change.causes:
        return cause(result, max(change.causes, key=_weight))
    return _taken(result, change) if change.decision == "accept" else ""


def _weight(one: Cause) -> float:
    """Return how much stands against a change, to name the most of it."""
    if one.after.excess is not None:
        return one.after.excess
    return 0.0 if one.after.room is None or math.isnan(one.after.room) else 1.0 - one.after.room


def cause(result: ReviewResult, one: Cause) -> str:
    """Return one number that stands against a change, with that of the drawing."""
    beside = ", beside what is accepted" if one.together else ""
    at = rows_and_states.at(result, one.after.row, one.after.state)
    allow = one.after.requirement.allow
    if allow is None:
        of = next((unit(r) for r in result.requirements if r.name == one.requirement), "")
        rooms = (one.after.room, one.before.room)
        after, before = (numbers.room(math.nan if room is None else room, of) for room in rooms)
        return f"{one.requirement}: worst case {after}{at}{beside}; as drawn {before}"
    fractions = [numbers.share(f) if f else numbers.NONE for f in (one.after.fraction, one.before.fraction)]
    doubt = ""
    if one.after.verdict == "undecided" and one.after.fraction:
        doubt = f" (undecided, 95 %: {numbers.interval(one.after.fraction)})"
    least = f"{numbers.allowed(allow)} allowed, {fractions[1]} as drawn"
    return f"{one.requirement}: {fractions[0]} of {allow.of}{at}{doubt}{beside}; {least}"


def _taken(result: ReviewResult, change: ChangeReview) -> str:
    """Return what an accepted change takes from the requirement that it weighs on most, and adds to one."""
    if change.effect == "nothing":
        return "costs nothing"
    shares = [(r, change.shares.get(r.name)) for r in result.requirements]
    told = [(r, part.value) for r, part in shares if part and _counts(r, part.value)]
    said = []
    if takes := [item for item in told if item[1] > 0]:
        one, most = max(takes, key=lambda item: item[1] / _scale(item[0]))
        left = one.margin.agreed if one.margin else None
        after = f" ({numbers.room(left, unit(one))} as agreed)" if left is not None else ""
        said.append(f"takes {amount(most)} {unit(one)} of {one.name}{after}")
    if adds := [item for item in told if item[1] < 0]:
        one, most = min(adds, key=lambda item: item[1] / _scale(item[0]))
        said.append(f"{'' if takes else 'helps: '}adds {amount(-most)} {unit(one)} to {one.name}")
    return ", ".join(said)


def _counts(one: RequirementReview, taken: float) -> bool:
    return one.before is not None and abs(taken) > least_of(one.before)


def _scale(one: RequirementReview) -> float:
    margin = one.margin.before if one.margin else None
    return abs(margin) if margin and math.isfinite(margin) else 1.0


def unit(one: RequirementReview) -> str:
    """Return the unit of a requirement's gap."""
    return one.before.unit if one.before else ""


def amount(taken: float) -> str:
    """Return an amount with two digits."""
    places = 1 - math.floor(math.log10(abs(taken))) if taken else 0
    return f"{taken:.{max(places, 0)}f}"


# Who takes the margins ------------------------------------------------------------------------------------------


def margins_table(result: ReviewResult) -> Table:
    """Return every requirement's margin before and after, and what each change takes from it or adds to it."""
    columns = (
        Column("requirement"),
        Column("margin by"),
        Column("as drawn", right=True),
        Column("all changes", right=True),
        Column("as agreed", right=True),
        Column("taken (−) or added (+) by", loose=True),
    )
    rows = tuple(_margin_row(result, one) for one in result.requirements if one.margin)
    note = "shares are Shapley values: they add up to what all changes together do to the margin"
    return Table("Who takes the margins", columns, rows, stacks=((0, 1), (2, 3, 4), (5,)), note=note)


def _margin_row(result: ReviewResult, one: RequirementReview) -> tuple[Text, ...]:
    margin = one.margin
    ends = (margin.before, margin.after, margin.agreed) if margin else (None, None, None)
    return (
        Text(f"{one.name}, {unit(one)}", "strong"),
        Text(margin.method if margin else numbers.NONE, "quiet"),
        *(Text(numbers.number(end, _places(one)), "not met" if end and end < 0 else "plain") for end in ends),
        Text(shares_of(result, one)),
    )


def _places(one: RequirementReview) -> int:
    worst = one.before.worst_case if one.before else None
    return numbers.decimals(worst.high - worst.low) if worst and worst.high > worst.low else 4


def shares_of(result: ReviewResult, one: RequirementReview) -> str:
    """Return what every change does to a margin, the most first; what does not count is left out."""
    told = [(change, part) for change in result.changes if (part := change.shares.get(one.name))]
    told = [(change, part) for change, part in told if _counts(one, part.value)]
    told.sort(key=lambda item: -item[1].value)
    said = [f"{change.dimension} {_signed(-part.value)}{_doubt(part.high - part.low)}" for change, part in told]
    return ", ".join(said) if said else "none"


def _signed(number: float) -> str:
    return f"{'+' if number > 0 else '−'}{amount(abs(number))}"


def _doubt(width: float) -> str:
    return f" ± {amount(width / 2)}" if width > 0 else ""


# Requirements before and after --------------------------------------------------------------------------------


def requirements_table(result: ReviewResult) -> Table:
    """Return every requirement's verdict and number: as drawn, with all changes, as agreed."""
    columns = (Column("requirement"), Column("as drawn"), Column("all changes"), Column("as agreed"))
    rows = tuple(
        (Text(_limit(one)), *(_standing(result, record) for record in (one.before, one.after, one.agreed)))
        for one in result.requirements
    )
    return Table("Requirements before and after", columns, rows, stacks=((0,), (1, 2, 3)))


def _limit(one: RequirementReview) -> str:
    record = one.before or one.after
    if record is None:
        return one.name
    over = "" if record.requirement.over == "each" else f"{record.requirement.over} "
    allow = record.requirement.allow
    by = f", {numbers.allowed(allow)} of {allow.of}" if allow else ", worst case"
    return f"{one.name}: {over}{numbers.limits(record.requirement, record.unit)}{by}"


def _standing(result: ReviewResult, record: Record | None) -> Text:
    if record is None or record.verdict is None:
        return Text(numbers.NONE)
    at = rows_and_states.at(result, record.row, record.state)
    return Text(f"{SHOUTED[record.verdict]}, {_number(record)}{at}", record.verdict)


def _number(record: Record) -> str:
    allow, worst = record.requirement.allow, record.worst_case
    if allow is not None:
        fraction = getattr(record.fraction, allow.of) if record.fraction else None
        return numbers.share(fraction) if fraction else numbers.NONE
    if worst is None:
        return numbers.NONE
    return numbers.room(room_left(record.requirement, worst.bound_low, worst.bound_high), record.unit)


def methods_table(result: ReviewResult) -> Table:
    """Return what every method says of every requirement: as drawn, with all changes, as agreed."""
    columns = (
        Column("requirement"),
        Column("which"),
        Column("worst case", right=True),
        Column("RSS, ±3 sd", right=True),
        Column("Monte Carlo, 99.73 %", right=True),
        Column("pockets out", right=True),
        Column("cages out", right=True),
    )
    rows = tuple(
        _method_row(one.name, which, record)
        for one in result.requirements
        for which, record in (("as drawn", one.before), ("all changes", one.after), ("as agreed", one.agreed))
        if record is not None
    )
    return Table("By all methods", columns, rows, stacks=((0, 1), (2, 3, 4), (5, 6)))


def _method_row(name: str, which: str, record: Record) -> tuple[Text, ...]:
    worst, law, sampled, fraction = record.worst_case, record.rss, record.monte_carlo, record.fraction
    places = numbers.decimals(worst.high - worst.low) if worst and worst.high > worst.low else 4
    quantiles = list(sampled.quantiles.values()) if sampled else []
    each = (fraction.pockets, fraction.cages) if fraction else (None, None)
    return (
        Text(f"{name}, {record.unit}"),
        Text(which, "quiet"),
        Text(numbers.span(worst.bound_low, worst.bound_high, places) if worst else numbers.NONE),
        Text(numbers.span(law.low, law.high, places) if law else numbers.NONE),
        Text(numbers.span(quantiles[0], quantiles[-1], places) if quantiles else numbers.NONE),
        *(Text(numbers.share(found) if found else numbers.NONE) for found in each),
    )


# Notes -----------------------------------------------------------------------------------------------------------


def notes(result: ReviewResult) -> Lines:
    """Return what was taken from the drawing, findings and cautions."""
    lines = [Text(left_out(result.unsaid))] if any(path.count(".") == 1 for path in result.unsaid) else []
    for note in result.notes:
        if note.level != "reason":
            lines.append(Text(str(note), "quiet" if note.level == "caution" else "plain"))
    return Lines("To know", tuple(lines))


def left_out(unsaid: Sequence[str]) -> str:
    """Return what the proposal does not name, by tables: a few names, more are counted; single keys stay in JSON."""
    tables: dict[str, list[str]] = {}
    for path in unsaid:
        table, *names = path.split(".")
        if len(names) == 1:
            tables.setdefault(table, []).append(names[0])
    return f"not named, taken from the drawing: {'; '.join(f'{t} {_few(names)}' for t, names in tables.items())}"


def _few(names: Sequence[str]) -> str:
    more = len(names) - NAMED
    return ", ".join(names[:NAMED]) + (f" and {more} more" if more > 0 else "")
