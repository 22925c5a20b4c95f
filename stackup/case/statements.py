"""Where a case says something of a dimension, and which rows go by it: in [dimensions] for all, or in a ``[[row]]``."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from stackup.case.case import Case, Row
from stackup.case.merging import with_named
from stackup.case.schema import Entry
from stackup.dimension import Dimension

#: what a drawing grants, of whichever form
GRANTS = ("tolerance", "zone", "limit")


#: what a process makes of it
PROCESS = ("process",)


@dataclass(frozen=True)
class Statement:
    """What a case says in one place of the dimension ``name``: what ``rows`` (by their place in the case) go by.

    ``path``: the key path of its table; ``label``: its name in a list, with the row where it is a row's own;
    ``entry``: everything that holds there, ``table`` the same as the file says it; ``count``: how many rows of the
    bearing go by it.
    """

    name: str
    path: str
    label: str
    rows: tuple[int, ...]
    count: int
    entry: Entry
    table: Mapping[str, Any]
    dimension: Dimension

    @property
    def is_of_row(self) -> bool:
        """Tell whether a row says it itself."""
        return self.path.startswith("row[")


def statements(case: Case, keys: Iterable[str]) -> tuple[Statement, ...]:
    """Return where the case says any of ``keys`` of its dimensions, in the order of the file, a row's own after.

    What a row says in another form (measured values for a size) is its own in everything.
    """
    wanted = frozenset(keys)
    rows = case.models()
    names = dict.fromkeys([*case.entries, *(name for row in rows for name in row.entries)])
    return tuple(one for name in names for one in _of(case, rows, name, wanted))


def _of(case: Case, rows: tuple[Row, ...], name: str, keys: frozenset[str]) -> Iterator[Statement]:
    own = [index for index, row in enumerate(rows) if name in row.entries and _is_own(case, row, name, keys)]
    common = tuple(index for index, row in enumerate(rows) if name in row.entries and index not in own)
    if common:
        first = rows[common[0]]
        count = sum(rows[index].count for index in common)
        path = f"dimensions.{name}"
        table = case.mapping["dimensions"][name]
        yield Statement(name, path, name, common, count, first.entries[name], table, first.dimensions[name])
    for index in own:
        row, path = rows[index], f"row[{index}].dimensions.{name}"
        label = f"{name} (row {row.name})"
        table = with_named(case.mapping.get("dimensions", {}), case.mapping["row"][index]["dimensions"])[name]
        yield Statement(name, path, label, (index,), row.count, row.entries[name], table, row.dimensions[name])


def _is_own(case: Case, row: Row, name: str, keys: frozenset[str]) -> bool:
    """Tell whether a row says any of ``keys`` itself, or says the dimension in a form of its own."""
    if name not in case.entries:
        return True
    return bool(keys & row.said.get(name, frozenset())) or type(row.entries[name]) is not type(case.entries[name])
