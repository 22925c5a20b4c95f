"""Pages as HTML for a notebook: plain tables in the notebook's own type and colours."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from stackup.report.view import Facts, Page, Section, Table, Text

_STYLES = {
    "plain": "",
    "met": "color:#1a7f37",
    "not met": "color:#c62828;font-weight:bold",
    "undecided": "color:#8e24aa",
    "strong": "font-weight:bold",
    "quiet": "opacity:.7",
}


def html_of(page: Page) -> str:
    """Return ``page`` as a fragment of HTML."""
    answer = f"<p>{_span(page.answer)}</p>" if page.answer else ""
    body = "".join(_section(section) for section in page.sections)
    return f"<div><h3>{escape(page.title)}</h3><p>{escape(page.about)}</p>{answer}{body}</div>"


def _span(text: Text) -> str:
    style = _STYLES[text.status]
    return f'<span style="{style}">{escape(text.text)}</span>' if style else escape(text.text)


def _section(section: Section) -> str:
    title = f"<h4>{escape(section.title)}</h4>" if section.title else ""
    if isinstance(section, Table):
        return title + _table(section)
    if isinstance(section, Facts):
        rows = "".join(f"<tr><th>{escape(label)}</th><td>{_span(text)}</td></tr>" for label, text in section.facts)
        return f"{title}<table>{rows}</table>"
    return title + "<ul>" + "".join(f"<li>{_span(line)}</li>" for line in section.lines) + "</ul>"


def _table(section: Table) -> str:
    heads = "".join(f"<th>{escape(column.head)}</th>" for column in section.columns)
    rows = "".join(f"<tr>{''.join(_cells(section, row))}</tr>" for row in section.rows)
    notes = "".join(f"<p>{escape(line)}</p>" for line in section.note.splitlines())
    return f"<table><tr>{heads}</tr>{rows}</table>{notes}"


def _cells(section: Table, row: tuple[Text, ...]) -> Iterator[str]:
    for column, cell in zip(section.columns, row, strict=True):
        side = "right" if column.right else "left"
        yield f'<td style="text-align:{side}">{_span(cell)}</td>'
