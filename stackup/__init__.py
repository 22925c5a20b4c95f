"""stackup: tolerance stack-up of pin-type roller bearing cages.

>>> import stackup
>>> case = stackup.load("case.toml")
>>> result = stackup.check(case)

Names are fetched when they are asked for: importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from stackup.case import Case as Case
    from stackup.case import changed as changed
    from stackup.case import from_mapping as from_mapping
    from stackup.case import read as load  # noqa: F401 - what the table below calls so
    from stackup.case import write as write
    from stackup.decide.check import check as check
    from stackup.decide.explain import explain as explain
    from stackup.decide.record import CheckResult as CheckResult
    from stackup.engine.settings import Settings as Settings

__version__ = "0.1.0"

#: name → the module that holds it, and what it is called there
_NAMES = {
    "Case": ("stackup.case", "Case"),
    "CheckResult": ("stackup.decide.record", "CheckResult"),
    "Settings": ("stackup.engine.settings", "Settings"),
    "changed": ("stackup.case", "changed"),
    "check": ("stackup.decide.check", "check"),
    "explain": ("stackup.decide.explain", "explain"),
    "from_mapping": ("stackup.case", "from_mapping"),
    "load": ("stackup.case", "read"),
    "write": ("stackup.case", "write"),
}
#: names whose results show themselves
_SHOWN = frozenset({"CheckResult", "check", "explain"})

__all__ = [  # noqa: PLE0604 - the table is the list
    "__version__",
    *_NAMES,
]


def __getattr__(name: str) -> Any:
    """Return what ``name`` stands for, importing its room only now."""
    if name not in _NAMES:
        raise AttributeError(f"module 'stackup' has no attribute {name!r}")
    if name in _SHOWN:
        import_module("stackup.report.show")
    module, attribute = _NAMES[name]
    return getattr(import_module(module), attribute)


def __dir__() -> list[str]:
    """Return all names, fetched or not."""
    return sorted(__all__)
