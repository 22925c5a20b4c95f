"""What a screen shows, before any screen: a page of sections of text with a status, laid out by each renderer."""

from __future__ import annotations

from dataclasses import dataclass
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

    A ``loose`` column may wrap; a ``list`` may lose the tail of its commas where there is no room.
    """

    head: str
    right: bool = False
    loose: bool = False
    list: bool = False


@dataclass(frozen=True)
class Table:
    """Rows under heads.

    ``stacks`` says which columns stand on top of each other where the page is too narrow for all:
    ``((0, 2), (1,))`` puts the third below the first.  Empty: never stacked.
    """

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Text, ...], ...]
    stacks: tuple[tuple[int, ...], ...] = ()
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
