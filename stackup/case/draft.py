"""A case on its way from text to :class:`stackup.case.case.Case`: what every judge of this room reads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from stackup.cage import Given, Kind, Slot
from stackup.case.columns import Sheets
from stackup.case.faults import Faults
from stackup.case.schema import Document, ValuesEntry, ZoneEntry
from stackup.case.states import Operating
from stackup.chain.formula import RESERVED
from stackup.chain.model import Step
from stackup.dimension import Dimension

#: the table that makes gaps of a bearing in operation
OPERATING = "[operating]"


@dataclass
class Draft:
    """What is known while a case is read.

    ``document`` is the file without what is wrong by itself, ``raw`` the whole file; ``pockets`` is 0 where
    the number of rollers is wrong; ``dimensions`` are those that could be made, ``centres_unstated`` those of
    which only cpk is known; ``operating`` is how the bearing runs.
    """

    document: Document
    raw: Mapping[str, Any]
    kind: Kind
    faults: Faults
    sheets: Sheets
    pockets: int
    dimensions: dict[str, Dimension] = field(default_factory=dict)
    centres_unstated: list[str] = field(default_factory=list)
    options: Mapping[str, Any] = field(default_factory=dict)
    operating: Operating = field(default_factory=Operating)

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps of the kind for what this case gives."""
        given = frozenset(slot.name for slot in self.kind.slots if slot.name in self.named("dimensions"))
        return self.kind.steps(Given(given, self.options))

    @property
    def assumed_pockets(self) -> int:
        """The number of pockets; where the file does not say it, one that lets the rest be judged."""
        return self.pockets or 40

    def slot(self, name: str) -> Slot | None:
        """Return the slot called ``name``."""
        return self.kind.slot(name)

    def named(self, table: str) -> Mapping[str, Any]:
        """Return what the file says in ``table``, the wrong ones too."""
        found = self.raw.get(table)
        return found if isinstance(found, Mapping) else {}

    def is_zone(self, name: str) -> bool:
        """Return whether ``name``, a slot or a dimension of the file, is a zone."""
        entry, slot = self.document.dimensions.get(name), self.slot(name)
        if slot:
            return slot.kind == "zone"
        if entry is None:
            said = self.named("dimensions").get(name)
            return isinstance(said, Mapping) and "zone" in said
        return isinstance(entry, ZoneEntry) or (isinstance(entry, ValuesEntry) and of_pairs(entry))

    def scope(self, name: str) -> str:
        """Return the scope of a slot or dimension: the cage's, or pocket unless entered as cage."""
        entry, slot = self.document.dimensions.get(name), self.slot(name)
        if slot and slot.scope == "cage":
            return "cage"
        return (entry.scope if entry else None) or "pocket"

    def slots_without(self, needs: tuple[str, ...]) -> list[str]:
        """Return those of the slots ``needs`` that the file leaves out."""
        return [name for name in needs if name not in self.named("dimensions")]

    def gaps_left_out(self) -> dict[str, list[str]]:
        """Return the built-in gaps that are left out, each with the slots it misses (or with [operating])."""
        missing = {gap.name: self.slots_without(gap.needs) for gap in self.kind.gaps}
        if not self.operating:
            missing |= {gap.name: [OPERATING] for gap in self.kind.gaps if gap.in_operation}
        return {name: slots for name, slots in missing.items() if slots}


def of_pairs(entry: ValuesEntry) -> bool:
    """Return whether the values of a dimension that is no slot are pairs, which makes it a zone."""
    if isinstance(entry.values, str):
        return "," in entry.values.rpartition("#")[2]
    return bool(entry.values) and isinstance(entry.values[0], list)


def judge_name(draft: Draft, table: str, name: str) -> None:
    """Add a fault where a dimension, chain or requirement may not be called ``name``."""
    faults, path = draft.faults, (table, name)
    if not is_name(name):
        allowed = "a small letter, then small letters, digits and underscores"
        faults.add(path, f"the name {name!r}"[:90], allowed, at_key=True)
    elif name in RESERVED:
        faults.add(
            path, f"the name {name}", "a name that formulas do not use for something else", at_key=True
        )
    elif table != "requirements" and name in {gap.name for gap in draft.kind.gaps}:
        faults.add(path, f"the name {name}", "another name: a built-in gap bears this one", at_key=True)
    elif table == "chains" and draft.slot(name):
        faults.add(path, f"the name {name}", "another name: a slot bears this one", at_key=True)
    elif table == "chains" and name in draft.named("dimensions"):
        faults.add(path, f"the name {name}", "another name: a dimension bears this one", at_key=True)


def is_name(text: str) -> bool:
    """Return whether ``text`` may name a dimension, chain or requirement."""
    is_plain = text.isascii() and text == text.lower() and text.replace("_", "a").isalnum()
    return is_plain and text[:1].isalpha()
