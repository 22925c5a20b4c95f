"""Case files: reading with all faults at once, writing with comments kept, and the models for engines.

``read`` and ``from_mapping`` make a :class:`Case`, ``changed`` another one from it; ``write`` gives its text
back with changes made, ``json_schema`` the schema of the file.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

from stackup.case.case import Case, Row, Run
from stackup.case.reader import changed, from_mapping, read

__all__ = ["Case", "Row", "Run", "changed", "from_mapping", "json_schema", "read", "write"]

#: name → module; fetched when asked for: reading a case needs neither.
_LATER = {"write": "stackup.case.writer", "json_schema": "stackup.case.editor"}


def __getattr__(name: str) -> Any:
    """Return what reading a case does without."""
    if name in _LATER:
        return getattr(import_module(_LATER[name]), name)
    raise AttributeError(name)
