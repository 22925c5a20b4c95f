"""A review as it is sent to the maker of a proposal: verdict, reasons in numbers, counter-proposal, questions."""

from __future__ import annotations

from stackup.decide.review_record import ChangeReview, ReviewResult
from stackup.report import markdown, reviewing
from stackup.report.view import Column, Lines, Page, Section, Table, Text


def text_of(result: ReviewResult) -> str:
    """Return the review as a Markdown document."""
    return markdown.text_of(page(result))


def page(result: ReviewResult) -> Page:
    """Return the page, in the order in which it is read."""
    sections: list[Section] = []
    if result.changes:
        sections.append(_changes(result))
    against = [change for change in result.changes if change.decision != "accept"]
    if against:
        sections.append(Lines("Reasons", tuple(Text(_reason(result, change)) for change in against)))
    if any(change.counter is not None for change in result.changes):
        sections.append(_counter(result))
    if result.questions:
        sections.append(Lines("Questions", tuple(Text(question) for question in result.questions)))
    if result.requirements:
        sections.append(reviewing.requirements_table(result))
    if any(one.margin for one in result.requirements):
        sections.append(reviewing.margins_table(result))
    if result.requirements:
        sections.append(reviewing.methods_table(result))
    sections.append(reviewing.notes(result))
    title = f"Review of a proposal: {result.title or 'untitled case'}"
    return Page(title, reviewing.about(result), tuple(sections), reviewing.answer(result))


def _changes(result: ReviewResult) -> Table:
    columns = (Column("dimension"), Column("what"), Column("drawing"), Column("proposed"), Column("decision"))
    rows = tuple(
        (
            Text(change.dimension),
            Text(change.what),
            Text(reviewing.value(change, change.before)),
            Text(reviewing.value(change, change.after)),
            Text(_decision(result, change)),
        )
        for change in result.changes
    )
    return Table("Changes", columns, rows)


def _decision(result: ReviewResult, change: ChangeReview) -> str:
    if change.decision == "limit":
        return f"accepted up to {reviewing.value(change, change.counter)}"
    if change.decision == "refuse":
        return "refused"
    why = reviewing.why(result, change)
    return f"accepted; {why}" if why else "accepted"


def _reason(result: ReviewResult, change: ChangeReview) -> str:
    """Return everything that stands against a change, not only the most of it."""
    said = reviewing.value(change, change.after)
    named = f"{change.dimension} ({said if ',' in change.what else f'{change.what} {said}'})"
    against = "; ".join(reviewing.cause(result, one) for one in change.causes) or reviewing.why(result, change)
    return f"{named}: {against}"


def _counter(result: ReviewResult) -> Table:
    columns = (Column("dimension"), Column("what"), Column("proposed"), Column("can be accepted"))
    rows = tuple(
        (
            Text(change.dimension),
            Text(change.what),
            Text(reviewing.value(change, change.after)),
            Text(reviewing.value(change, change.counter), "strong"),
        )
        for change in result.changes
        if change.counter is not None
    )
    note = "All of these hold together, beside the changes that are accepted. Each is the loosest beside the others."
    return Table("Counter-proposal", columns, rows, note=note)
