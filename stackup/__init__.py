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
    from stackup.case.proposal import read_over as read_proposal  # noqa: F401 - the same
    from stackup.decide.allocate import allocate as allocate
    from stackup.decide.allocation import AllocationResult as AllocationResult
    from stackup.decide.assemble import assemble as assemble
    from stackup.decide.assemble_record import AssembleResult as AssembleResult
    from stackup.decide.capability import capability as capability
    from stackup.decide.capability_record import CapabilityResult as CapabilityResult
    from stackup.decide.check import check as check
    from stackup.decide.explain import explain as explain
    from stackup.decide.record import CheckResult as CheckResult
    from stackup.decide.review import review as review
    from stackup.decide.review_record import ReviewResult as ReviewResult
    from stackup.decide.rollers import rollers as rollers
    from stackup.decide.rollers_record import RollersResult as RollersResult
    from stackup.engine.settings import Settings as Settings

__version__ = "0.1.0"

#: name → the module that holds it, and what it is called there
_NAMES = {
    "AllocationResult": ("stackup.decide.allocation", "AllocationResult"),
    "allocate": ("stackup.decide.allocate", "allocate"),
    "CapabilityResult": ("stackup.decide.capability_record", "CapabilityResult"),
    "AssembleResult": ("stackup.decide.assemble_record", "AssembleResult"),
    "assemble": ("stackup.decide.assemble", "assemble"),
    "Case": ("stackup.case", "Case"),
    "CheckResult": ("stackup.decide.record", "CheckResult"),
    "ReviewResult": ("stackup.decide.review_record", "ReviewResult"),
    "RollersResult": ("stackup.decide.rollers_record", "RollersResult"),
    "Settings": ("stackup.engine.settings", "Settings"),
    "capability": ("stackup.decide.capability", "capability"),
    "changed": ("stackup.case", "changed"),
    "check": ("stackup.decide.check", "check"),
    "explain": ("stackup.decide.explain", "explain"),
    "from_mapping": ("stackup.case", "from_mapping"),
    "load": ("stackup.case", "read"),
    "read_proposal": ("stackup.case.proposal", "read_over"),
    "review": ("stackup.decide.review", "review"),
    "rollers": ("stackup.decide.rollers", "rollers"),
    "write": ("stackup.case", "write"),
}
#: names whose results show themselves
_SHOWN = frozenset(
    {
        "AllocationResult",
        "allocate",
        "AssembleResult",
        "assemble",
        "CapabilityResult",
        "capability",
        "CheckResult",
        "RollersResult",
        "check",
        "explain",
        "rollers",
        "ReviewResult",
        "review",
    }
)

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
