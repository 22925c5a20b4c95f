"""The kinds of cage, one file each; this table names them all.

Importing a kind imports sympy, so the table holds where each lives and :func:`kind` fetches it when asked.
"""

from __future__ import annotations

from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

from stackup.cage.kind import BuiltIn, Given, Kind, Option, RatingInputs, RollerSet, Slot

__all__ = ["KINDS", "BuiltIn", "Given", "Kind", "Option", "RatingInputs", "RollerSet", "Slot", "kind", "starter"]

#: kind → module of this room that holds it as ``KIND``
KINDS = {"cylindrical": "cylindrical", "tapered": "tapered", "none": "plain"}


def kind(name: str) -> Kind:
    """Return the kind called ``name`` (KeyError when there is none)."""
    found: Kind = import_module(f"stackup.cage.{KINDS[name]}").KIND
    return found


def starter(name: str) -> str:
    """Return the commented starter case of the kind ``name`` as text (TOML), a file beside the kind's own."""
    found = find_spec(f"stackup.cage.{KINDS[name]}")
    assert found is not None  # noqa: S101 - the table names modules that are there
    return (Path(str(found.origin)).parent / f"starter_{name}.toml").read_text(encoding="utf-8")
