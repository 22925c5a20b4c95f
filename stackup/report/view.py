"""What a screen shows, before any screen: a page of sections of text with a status, laid out by each renderer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

#: what a text means: a verdict, something to lead the eye, something to read last
Status = Literal["plain", "met", "not met", "undecided", "strong", "quiet"]


@dataclass(frozen=True)
class Text:
    """A piece of text and what it means."""

    text: str
    status: Status = "plain"


@dataclass(frozen=True)
class Column:
    """The head of a column; ``right`` for numbers.

    A ``loose`` column may wrap; a ``list`` may lose the tail of its commas where there is no room, unless it is to be
    ``kept``: then it breaks behind them; a ``formula`` breaks behind its operators.
    """

    head: str
    right: bool = False
    loose: bool = False
    list: bool = False
    kept: bool = False
    formula: bool = False


@dataclass(frozen=True)
class Table:
    """Rows under heads.

    ``stacks`` says which columns stand on top of each other where the page is too narrow for all:
    ``((0, 2), (1,))`` puts the third below the first.  Empty: never stacked.  ``narrow`` says the same for a page
    that is too narrow for that.  A page too narrow for all of these has each cell on a line of its own.
    ``note`` stands below.
    """

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Text, ...], ...]
    stacks: tuple[tuple[int, ...], ...] = ()
    narrow: tuple[tuple[int, ...], ...] = ()
    note: str = ""


@dataclass(frozen=True)
class Facts:
    """Lines of a label and a text."""

    title: str
    facts: tuple[tuple[str, Text], ...]


@dataclass(frozen=True)
class Lines:
    """Paragraphs."""

    title: str
    lines: tuple[Text, ...]


Section = Table | Facts | Lines


@dataclass(frozen=True)
class Page:
    """A whole screen: title, what it is about, sections, and the answer in one line (said last)."""

    title: str
    about: str
    sections: tuple[Section, ...]
    answer: Text | None = None


def changed(page: Page, say: Callable[[str], str]) -> Page:
    """Return ``page`` with ``say`` applied to all its texts."""

    def text(old: Text) -> Text:
        return replace(old, text=say(old.text))

    def section(old: Section) -> Section:
        if isinstance(old, Table):
            heads = tuple(replace(column, head=say(column.head)) for column in old.columns)
            rows = tuple(tuple(map(text, row)) for row in old.rows)
            return replace(old, title=say(old.title), columns=heads, rows=rows, note=say(old.note))
        if isinstance(old, Facts):
            return Facts(say(old.title), tuple((say(label), text(fact)) for label, fact in old.facts))
        return Lines(say(old.title), tuple(map(text, old.lines)))

    answer = page.answer and text(page.answer)
    return Page(say(page.title), say(page.about), tuple(map(section, page.sections)), answer)
