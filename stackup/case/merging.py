"""What one set of tables says in the place of another: a proposal of a drawing, a row of what all rows have.

Keys given replace keys of the same table; a dimension of another form (measured values for a size) leaves nothing of
the one in its place; ``process`` is replaced as a whole.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stackup.case.schema import form_of

#: tables of named tables
NAMED = ("dimensions", "chains", "requirements", "operating")
Tables = Mapping[str, Any]


def merged(tables: Tables, said: Tables) -> dict[str, Any]:
    """Return nested ``tables`` with what ``said`` says in their place."""
    found = dict(tables)
    for key, value in said.items():
        old = tables.get(key)
        if not (isinstance(old, Mapping) and isinstance(value, Mapping)):
            found[key] = value
        elif key in NAMED:
            found[key] = with_named(old, value)
        else:
            found[key] = {**old, **value}
    return found


def with_named(tables: Tables, said: Tables) -> dict[str, Any]:
    """Return named tables with those of ``said`` in their place, key by key."""
    return {**tables, **{name: _one(tables.get(name), entry) for name, entry in said.items()}}


def _one(old: Any, new: Any) -> Any:
    """Return one named table; another form of a dimension leaves nothing of the old one."""
    if not (isinstance(old, Mapping) and isinstance(new, Mapping)) or is_other_form(old, new):
        return new
    return {**old, **new}


def is_other_form(old: Tables, new: Tables) -> bool:
    """Tell whether ``new`` makes another kind of dimension of ``old``: a size, a zone, a limit, measured values."""
    form = form_of(new)
    return form is not None and form != form_of(old) and form_of(old) is not None
