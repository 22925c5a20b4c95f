"""Pages on a terminal, by rich: wide or stacked, with or without colour, the same in a file."""

from __future__ import annotations

import io
import os
import re
import sys
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import IO, Literal

from rich.console import Console, ConsoleOptions, Group, RenderableType
from rich.padding import Padding
from rich.table import Table as RichTable
from rich.text import Text as RichText

from stackup.report.letters import harmless, spelled
from stackup.report.view import Column, Facts, Page, Section, Table, Text, changed

#: columns of a file or a pipe, unless COLUMNS says otherwise
FILE_WIDTH = 100
#: narrower than this no table can be read; rich wraps there
NARROWEST = 40
GUTTER = 2
#: a list has room for so much at least
LEAST_LIST = 20
#: what may wrap wants no more than this
LOOSE = 32
#: lines of a formula or a kept list after the first are set in by so much
CONTINUED = 4
#: stands for the items of a list that have no room
MORE = ", …"

#: a formula may be broken behind an operator, a comma, an opening bracket
_BREAKS = re.compile(r"(?<=[-+*/,(])(?![*\d])|(?<= )")

Stacks = Sequence[tuple[int, ...]]
#: colours that read on light and on dark ground; the words say the same without them
STYLES = {
    "plain": "",
    "met": "green",
    "not met": "bold red",
    "undecided": "magenta",
    "strong": "bold",
    "quiet": "dim",
}


def text_of(page: Page, stream: IO[str], plain: bool = False) -> str:
    """Return ``page`` as it is to be written to ``stream``: its width, its signs, and colour only on a terminal."""
    page = changed(page, lambda text: spelled(text, getattr(stream, "encoding", None)))
    on_terminal = stream.isatty() and os.environ.get("TERM") != "dumb"
    room = io.StringIO()
    console = Console(
        file=room,
        force_terminal=on_terminal,
        width=None if on_terminal else int_or(os.environ.get("COLUMNS"), FILE_WIDTH),
        no_color=True if plain else None,
        color_system="auto" if on_terminal and not plain else None,
        highlight=False,
        emoji=False,
        markup=False,
    )
    console.print(Screen(page))
    return _trimmed(room.getvalue())


def int_or(text: str | None, default: int) -> int:
    """Return the whole number in ``text``, ``default`` where there is none of at least NARROWEST."""
    return int(text) if text and text.isdecimal() and NARROWEST <= int(text) <= 10_000 else default


def _trimmed(text: str) -> str:
    return "\n".join(line.rstrip() for line in text.split("\n"))


class Screen:
    """A page that rich can print, laid out for the width it gets."""

    def __init__(self, page: Page) -> None:
        """Take the page."""
        self.page = changed(page, harmless)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterable[RenderableType]:
        """Yield title, sections and the answer."""
        del console
        page, width = self.page, options.max_width
        if page.title:
            yield RichText(page.title, style="bold")
            yield RichText(page.about, style="dim")
        for section in page.sections:
            yield RichText("")
            if section.title:
                yield RichText(section.title, style="bold underline")
            yield _laid_out(section, width)
        if page.answer:
            if page.sections:
                yield RichText("")
            yield _rich(page.answer)


def _laid_out(section: Section, width: int) -> RenderableType:
    if isinstance(section, Table):
        table = _table(section, width)
        return Group(table, RichText(section.note, style="dim")) if section.note else table
    if isinstance(section, Facts):
        return _facts(section)
    return Group(*(_hanging(line) for line in section.lines))


def _rich(text: Text) -> RichText:
    return RichText(text.text, style=STYLES[text.status])


def _hanging(line: Text) -> RenderableType:
    grid = RichTable.grid(padding=(0, 1, 0, 0))
    grid.add_row(RichText("·", style="dim"), _rich(line))
    return grid


def _facts(section: Facts) -> RenderableType:
    grid = RichTable.grid(padding=(0, GUTTER, 0, 0))
    for label, text in section.facts:
        grid.add_row(RichText(label, style="dim", no_wrap=True), _rich(text))
    return Padding(grid, (0, 0, 0, GUTTER))


def _table(section: Table, width: int) -> RenderableType:
    stacks = _stacks(section, width)
    if not stacks:
        return _one_by_one(section, width)
    rooms = _rooms(section, stacks, width)
    section = replace(section, rows=tuple(tuple(map(_fitted, row, section.columns, rooms)) for row in section.rows))
    tallest = max(map(len, stacks))  # heads stand at the top, as the cells below them do
    table = RichTable(box=None, pad_edge=False, padding=(0, GUTTER, 0, 0), header_style="dim")
    for stack in stacks:
        first, indent = section.columns[stack[0]], _indent(section, stack)
        columns = [section.columns[index] for index in stack]
        heads = f"\n{' ' * indent}".join(column.head for column in columns) + "\n" * (tallest - len(stack))
        wraps = any(column.loose or column.formula for column in columns)
        own = _formula_width(section, stack, width - _others(section, stacks, stack))
        side: Literal["left", "right"] = "right" if first.right else "left"
        table.add_column(heads, justify=side, no_wrap=not wraps, overflow="fold", width=own)
    for row in section.rows:
        table.add_row(*(_stacked([row[index] for index in stack], _indent(section, stack)) for stack in stacks))
    return table


def _one_by_one(section: Table, width: int) -> RenderableType:
    """Return a table that fits in no other way: a line for each cell with its head before it, none for empty ones."""
    heads = [*(" " * (GUTTER * bool(index)) + column.head for index, column in enumerate(section.columns))]
    least = min(max(map(len, heads)), width // 2)
    grid = RichTable.grid(padding=(0, GUTTER, 0, 0))
    grid.add_column(style="dim", width=least, overflow="fold")
    grid.add_column(overflow="fold")
    for row in section.rows:
        for head, column, cell in zip(heads, section.columns, row, strict=True):
            if cell.text:
                room = max(width - least - GUTTER, LEAST_LIST)
                grid.add_row(head, _rich(Text(broken(cell.text, room), cell.status) if column.formula else cell))
    return grid


def _rooms(section: Table, stacks: Stacks, width: int) -> list[int]:
    """Return the room of every column: for a list or a formula what the others leave, else no end of it."""
    rooms = [sys.maxsize] * len(section.columns)
    for index, column in enumerate(section.columns):
        if column.list or column.formula:
            own = next(stack for stack in stacks if index in stack)
            below = _indent(section, own) if index != own[0] else 0
            rooms[index] = max(width - _others(section, stacks, own) - below, LEAST_LIST)
    return rooms


def _others(section: Table, stacks: Stacks, own: tuple[int, ...]) -> int:
    """Return the width that all stacks but one take, with the gutters between."""
    return sum(_stack_width(section, stack) + GUTTER for stack in stacks if stack is not own)


def _formula_width(section: Table, stack: tuple[int, ...], room: int) -> int | None:
    """Return the width of a stack with a formula in it, whose lines are broken already; None for any other."""
    if not any(section.columns[index].formula for index in stack):
        return None
    texts = [row[index].text for row in section.rows for index in stack]
    longest = max((len(line) for text in texts for line in text.split("\n")), default=0)
    heads = max(len(section.columns[index].head) for index in stack)
    return min(max(longest + _indent(section, stack), heads), max(room, LEAST_LIST))


def _fitted(cell: Text, column: Column, room: int) -> Text:
    """Return a cell as its column has room for it."""
    if column.formula:
        return Text(broken(cell.text, room), cell.status)
    if column.kept:
        return Text(continued(cell.text, room), cell.status)
    return Text(_shed(cell.text, room), cell.status) if column.list else cell


def _shed(text: str, room: int) -> str:
    """Return a list cut behind the last item that has room, with a sign that there is more; the first stays."""
    if len(text) <= room:
        return text
    while ", " in text and len(text) + len(MORE) > room:
        text = text.rpartition(", ")[0]
    return text + MORE


def continued(text: str, room: int) -> str:
    """Return a list in lines of at most ``room`` characters, broken behind commas, an item longer than that alone."""
    return _in_lines(re.split(r"(?<=, )", text), room, CONTINUED)


def broken(formula: str, room: int) -> str:
    """Return a formula in lines of at most ``room`` characters, broken behind operators and brackets."""
    return _in_lines(_BREAKS.split(formula), room, CONTINUED)


def _in_lines(pieces: Sequence[str], room: int, indent: int) -> str:
    """Return pieces in lines of at most ``room`` characters, those after the first set in."""
    lines = [""]
    for piece in pieces:
        if lines[-1].strip() and len(lines[-1] + piece.rstrip()) > room:
            lines.append(" " * indent)
        lines[-1] += piece
    return "\n".join(line.rstrip() for line in lines)


def _indent(section: Table, stack: tuple[int, ...]) -> int:
    """Return how far the cells below the first are set in: numbers stay under numbers."""
    return 0 if section.columns[stack[0]].right else GUTTER


def _stacked(cells: Sequence[Text], indent: int) -> RichText:
    """Return the cells of a stack, those below the first set in by ``indent``; no lines for empty ones at the end."""
    while len(cells) > 1 and not cells[-1].text:
        cells = cells[:-1]
    first, *below = cells
    inner = [Text(cell.text.replace("\n", f"\n{' ' * indent}"), cell.status) for cell in below]
    return RichText(f"\n{' ' * indent}").join(map(_rich, [first, *inner]))


def _stacks(section: Table, width: int) -> Stacks:
    """Return which columns stand on top of each other: none, or as the table says; empty where nothing fits."""
    alone: Stacks = [(index,) for index in range(len(section.columns))]
    choices: list[tuple[Stacks, int]] = [(alone, 2)]
    choices += [(stacks, 1) for stacks in (section.stacks, section.narrow) if stacks]
    fitting = (stacks for stacks, items in choices if natural_width(section, stacks, items) <= width)
    return next(fitting, ())


def natural_width(section: Table, stacks: Stacks, items: int) -> int:
    """Return the width that a table takes when nothing of it wraps and lists keep their first ``items``."""
    return sum(_stack_width(section, stack, items) for stack in stacks) + GUTTER * (len(stacks) - 1)


def _stack_width(section: Table, stack: tuple[int, ...], items: int = 1) -> int:
    first, *below = stack
    under = (_wanted(section, index, items) + _indent(section, stack) for index in below)
    return max(_wanted(section, first, items), *under, 0)


def _wanted(section: Table, index: int, items: int) -> int:
    """Return the width that a column wants: a loose one LOOSE at most, a list that of its first ``items``."""
    texts = [row[index].text for row in section.rows]
    if section.columns[index].loose or section.columns[index].formula:
        texts = [text[:LOOSE] for text in texts]
    if section.columns[index].list:
        comma = int(section.columns[index].kept)
        texts = [text[: len(", ".join(text.split(", ")[:items])) + comma] for text in texts]
    return max(len(section.columns[index].head), *(len(text) for text in texts), 0)
