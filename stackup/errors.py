"""The one family of errors a user can cause: where, what, and how to mend it.

::

    StackupError              anything the user can mend; exit code 2
    ├── CaseError             one or more faults of a case file, all at once
    ├── FormulaError          a formula outside the grammar, with the place in the text
    ├── ValueFault            one value outside its admissible range, place not known yet
    └── OutputExists          an output file that is there already
    Interrupted               stopped by the user; carries what was finished; exit code 130

Nothing in this module knows of cases, cages or engines.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True)
class Fault:
    """One fault of an input: where it is, what was found, what is allowed.

    ``key`` is the whole path (``dimensions.pin_diameter.tolerance[1]``), ``line`` and ``column`` count
    from 1 (0: the whole file), ``nearest`` is the nearest valid name where a name is misspelt.
    """

    key: str
    found: str
    allowed: str
    nearest: str | None = None
    line: int = 0
    column: int = 0
    file: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return the record that ``--json`` prints for this fault."""
        record = asdict(self)
        return {
            name: record[name] for name in ("file", "key", "line", "column", "found", "allowed", "nearest")
        }

    def __str__(self) -> str:
        """Return the message in words: place, key, what was found, what is allowed."""
        place = f"{self.file}:{self.line}" if self.line else self.file
        hint = f" Did you mean {self.nearest}?" if self.nearest else ""
        head = ": ".join(part for part in (place, self.key, f"found {self.found}") if part)
        return f"{head}; allowed: {self.allowed}.{hint}"


class StackupError(Exception):
    """Anything the user can mend: ends a command with exit code 2 and no traceback."""


class CaseError(StackupError):
    """All faults of a case file, each once.

    ``faults`` is in the order of the file.
    """

    def __init__(self, faults: Sequence[Fault]) -> None:
        """Keep ``faults`` (at least one)."""
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class FormulaError(StackupError):
    """A formula outside the grammar: the text, the place (counted from 0) and what is allowed there."""

    def __init__(self, text: str, place: int, found: str, allowed: str, nearest: str | None = None) -> None:
        """Keep the place so that the reader of a case can add file and line."""
        self.text, self.place, self.found, self.allowed, self.nearest = text, place, found, allowed, nearest
        super().__init__(f"found {found}; allowed: {allowed}\n{self.caret()}")

    def caret(self, width: int = 72) -> str:
        """Return the formula's line about the place, and below it a caret under the character."""
        start = max(0, min(self.place - width // 2, len(self.text) - width))
        shown = "".join(" " if char.isspace() else char for char in self.text[start : start + width])
        return f"  {shown}\n  {' ' * (self.place - start)}^"


class ValueFault(StackupError):  # noqa: N818 - the trade's word for what is wrong with a drawing
    """One value outside its admissible range: its name, what was found, what is allowed.

    Raised below the case room, which adds file and line.
    """

    def __init__(self, name: str, found: str, allowed: str) -> None:
        """Keep the parts so that the reader of a case can add the place."""
        self.name, self.found, self.allowed = name, found, allowed
        super().__init__(f"{name}: found {found}; allowed: {allowed}")


class OutputExists(StackupError):  # noqa: N818 - says what is the case
    """An output that is there already; nothing is overwritten without ``--force``."""


class Interrupted(Exception):  # noqa: N818 - not an error: the user's own wish
    """Stopped by the user; ``records`` holds what was finished so far."""

    def __init__(self, records: Any = None) -> None:
        """Keep the records that are complete."""
        self.records = records
        super().__init__("interrupted")


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Return the name in ``known`` that is most like ``name``, or None when none is alike."""
    found = difflib.get_close_matches(name, list(known), n=1, cutoff=0.6)
    return found[0] if found else None


_NUMBER = re.compile(r"\s*(?:±|\+/-|\+-)?\s*([-+]?\d+)(?:[.,](\d+))?\s*(?:mm|deg|°)?\s*")


def number_meant(text: str) -> str | None:
    """Return the number with decimal point and without unit that ``724,0``, ``±0.02`` or ``5 mm`` means, if any."""
    found = _NUMBER.fullmatch(text)
    return None if not found else found[1] + (f".{found[2]}" if found[2] else "")


def whole_number_meant(text: str) -> str | None:
    """Return the whole number that ``1e6`` or ``8.0`` means, None where it means none or is one."""
    try:
        value = float(text)
    except ValueError:
        return None
    whole = str(int(value)) if value.is_integer() and abs(value) < 1e15 else None
    return whole if whole != text else None
