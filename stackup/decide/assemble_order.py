"""Which gap tells whether rings can be closed, and the order of the pins: faults of a case, and of the command line."""

from __future__ import annotations

from collections.abc import Sequence

from stackup.cage import KINDS, Kind
from stackup.cage import kind as kind_called
from stackup.case import Case
from stackup.case.faults import Faults
from stackup.case.source import places_of
from stackup.errors import CaseError, Fault, whole_number_meant

OPTION = "--order"


def closing_of(case: Case) -> tuple[Kind, str]:
    """Return the kind of a case, and its gap that tells whether the rings can be closed.

    Raises CaseError for a kind without rings to close, and for a case that lacks slots of the gap.
    """
    found = kind_called(case.kind)
    faults = Faults(places_of(case.document, str(case.path or "")), str(case.path or ""))
    if found.closing is None:
        known = " or ".join(f'"{name}"' for name in KINDS if kind_called(name).closing)
        said = f'"{case.kind}", which has no rings to close'
        faults.add(("cage", "kind"), said, f"a kind of cage with rings: {known}")
        faults.raise_all()
        raise AssertionError("a fault was noted")
    needs = next(gap.needs for gap in found.gaps if gap.name == found.closing)
    missing = [slot for slot in needs if slot not in case.dimensions]
    if missing:
        said = f"the gap {found.closing}, for which {', '.join(missing)} {'is' if len(missing) == 1 else 'are'} missing"
        faults.add(("dimensions",), said, f"the slot{'s' * (len(missing) > 1)} {', '.join(missing)}")
    faults.raise_all()
    return found, found.closing


def read_order(text: str) -> tuple[int, ...]:
    """Return the pockets of ``0, 24, 12``.  Raises CaseError for what is no whole number."""
    pieces = [piece.strip() for piece in text.split(",")]
    wrong = [piece for piece in pieces if not (piece.isascii() and piece.isdigit() and len(piece) < 10)]
    faults = [_fault(f'"{piece}"' if piece else "nothing between commas", None, piece) for piece in wrong]
    if faults:
        raise CaseError(list(dict.fromkeys(faults)))
    return tuple(map(int, pieces))


def whole_order(given: Sequence[int] | None, case: Case) -> dict[str, tuple[int, ...]]:
    """Return the order of all pockets of every row, by the row's name: as given, then the others in natural order.

    Raises CaseError for a pocket that a row has not, or one that is named twice.
    """
    pockets = tuple(given or ())
    fewest = min(case.models(), key=lambda row: row.rollers)
    faults = []
    for place, pocket in enumerate(pockets):
        if isinstance(pocket, bool) or not isinstance(pocket, int):
            faults.append(_fault(repr(pocket), fewest.rollers))
        elif not 0 <= pocket < fewest.rollers:
            which = f", which row {fewest.name} has not" if len(case.models()) > 1 else ""
            faults.append(_fault(f"pocket {pocket}{which}", fewest.rollers))
        elif pocket in pockets[:place]:
            faults.append(Fault(OPTION, f"pocket {pocket} a second time", "each pocket once"))
    if faults:
        raise CaseError(list(dict.fromkeys(faults)))
    named = set(pockets)
    return {row.name: (*pockets, *(i for i in range(row.rollers) if i not in named)) for row in case.models()}


def _fault(found: str, pockets: int | None, meant: str = "") -> Fault:
    last = "Z - 1" if pockets is None else str(pockets - 1)
    allowed = f"numbers of pockets, 0 … {last}, with commas between; those left out follow in natural order"
    return Fault(OPTION, found, allowed, whole_number_meant(meant))
