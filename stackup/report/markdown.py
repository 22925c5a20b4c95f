"""Pages as Markdown, to be sent: the answer first, tables as plain text that any reader shows."""

from __future__ import annotations

from collections.abc import Iterable

from stackup.report.view import Facts, Page, Section, Table, Text

#: what would be read as a mark of the format
_MARKS = str.maketrans({mark: f"\\{mark}" for mark in "\\`*|<>"})


def text_of(page: Page) -> str:
    """Return ``page`` as a Markdown document with a line end."""
    answer = [f"**{escaped(page.answer.text)}**"] if page.answer else []
    parts = [f"# {escaped(page.title)}", escaped(page.about), *answer, *map(_section, page.sections)]
    return "\n\n".join(part for part in parts if part) + "\n"


def escaped(text: str) -> str:
    """Return ``text`` with the marks of the format taken as they are."""
    return text.translate(_MARKS)


def _section(section: Section) -> str:
    title = f"## {escaped(section.title)}\n\n" if section.title else ""
    if isinstance(section, Table):
        note = f"\n\n{escaped(section.note)}" if section.note else ""
        return f"{title}{_table(section)}{note}"
    if isinstance(section, Facts):
        return title + "\n".join(f"- {escaped(label)}: {_said(text)}" for label, text in section.facts)
    return title + "\n".join(f"- {_said(line)}" for line in section.lines)


def _said(text: Text) -> str:
    return f"**{escaped(text.text)}**" if text.status == "strong" else escaped(text.text)


def _table(table: Table) -> str:
    heads = _row(escaped(column.head) for column in table.columns)
    rule = _row("---:" if column.right else "---" for column in table.columns)
    return "\n".join([heads, rule, *(_row(map(_said, row)) for row in table.rows)])


def _row(cells: Iterable[str]) -> str:
    return f"| {' | '.join(cells)} |"
