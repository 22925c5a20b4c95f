"""Faults of an input, in words and as the record that ``--json`` prints."""

from __future__ import annotations

from typing import Any

from stackup.errors import CaseError, Fault, FormulaError, StackupError, ValueFault
from stackup.report.letters import harmless


def faults_of(error: StackupError) -> tuple[Fault, ...]:
    """Return every fault that ``error`` tells of."""
    if isinstance(error, CaseError):
        return error.faults
    if isinstance(error, ValueFault):
        return (Fault(error.name, error.found, error.allowed),)
    if isinstance(error, FormulaError):
        return (Fault("formula", error.found, error.allowed, error.nearest, column=error.place + 1),)
    return (Fault("", str(error), "see stackup --help"),)


def in_words(error: StackupError) -> str:
    """Return one line or more for each fault, with a line end."""
    return harmless(f"{error}\n")


def record(faults: tuple[Fault, ...]) -> dict[str, Any]:
    """Return the record of ``faults`` that ``--json`` prints."""
    return {"faults": [fault.to_dict() for fault in faults]}
