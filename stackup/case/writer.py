"""Writes a case back: changed values in their places, comments and order kept (tomlkit)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.container import OutOfOrderTableProxy
from tomlkit.items import Table

from stackup.case.case import Case
from stackup.case.changes import Changes, apply


def write(case: Case | str, changes: Changes | None = None) -> str:
    """Return the text of ``case`` (or of a document) with ``changes`` made in it.

    A changed value keeps the comment that stands beside it; a new key comes last in its table; None takes a
    key away.  A case that came from no text is written from its tables.  Raises ValueFault for a path that
    the case does not have.
    """
    document = case if isinstance(case, str) else case.document
    if not document and isinstance(case, Case):
        document = tomlkit.dumps(case.mapping)
    tables = tomlkit.parse(document)
    values = {key: _written(value) for key, value in (changes or {}).items()}
    apply(tables, values, new_table=_new_table)
    return tomlkit.dumps(tables)


def _new_table(place: Any) -> Any:
    """Return an empty table for ``place``: with a header of its own where the others there have one."""
    has_headers = isinstance(place, Table | OutOfOrderTableProxy | tomlkit.TOMLDocument) and any(
        isinstance(item, Table) for item in place.values()
    )
    return tomlkit.table() if has_headers else tomlkit.inline_table()


def _written(value: Any) -> Any:
    """Return a value as one line of TOML holds it: tables inside lists and tables are inline."""
    if isinstance(value, Mapping):
        table = tomlkit.inline_table()
        table.update({key: _written(item) for key, item in value.items()})
        return table
    if isinstance(value, list | tuple):
        array = tomlkit.array()
        array.extend(map(_written, value))
        return array
    return value
