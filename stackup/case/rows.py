"""Rows that differ: every ``[[row]]`` judged as a whole, with what it says in the place of what all rows have.

``[dimensions]`` and ``[cage]`` describe a whole row by themselves; a ``[[row]]`` says what differs from it.  A fault
that the common part has too is told once, there; one that a row brings is told at the row, or names it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from stackup.case import whole
from stackup.case.bearing import MOST_ROWS, RowEntry
from stackup.case.case import Row
from stackup.case.faults import Faults, key_path, shown
from stackup.case.merging import with_named
from stackup.case.scanner import Path, Place
from stackup.case.whole import Whole
from stackup.errors import nearest


@dataclass(frozen=True)
class Differing:
    """A ``[[row]]``: its name, how many rows are alike, what it says of dimensions, and what it is as a whole."""

    name: str
    count: int
    said: Mapping[str, frozenset[str]]
    whole: Whole

    def row(self) -> Row:
        """Return what engines and decisions need of it."""
        draft = self.whole.draft
        return Row(self.name, self.count, draft.pockets, self.whole.states, draft.document.dimensions, self.said)


def judged(common: Whole, raw: Mapping[str, Any], faults: Faults) -> list[Differing]:
    """Return the rows of the file that differ, none where it has none; what is wrong with any is noted."""
    entries = common.draft.document.row
    _judge_rows(common, entries, faults)
    if common.draft.kind.one_pocket:
        return []
    found = []
    for index, entry in enumerate(entries):
        name = entry.name or str(index + 1)
        its_faults = RowFaults(faults, index, name, entry.dimensions, _names(common))
        made = whole.judged(_tables(raw, entry), its_faults, common.draft.sheets)
        said = {dimension: frozenset(keys) for dimension, keys in entry.dimensions.items()}
        found.append(Differing(name, entry.count, said, made))
    _judge_gaps(common, found)
    return found


def notes(rows: Sequence[Differing]) -> tuple[str, ...]:
    """Return the notes of all rows, each once; what does not hold for all names the row."""
    of_rows = [one.whole.notes() for one in rows]
    found = []
    for text in dict.fromkeys(text for texts in of_rows for text in texts):
        names = [one.name for one, texts in zip(rows, of_rows, strict=True) if text in texts]
        found.append(text if len(names) == len(rows) else f"{_called(names)}: {text}")
    return tuple(found)


def _called(names: Sequence[str]) -> str:
    return f"row{'s' * (len(names) > 1)} {', '.join(names)}"


def _names(common: Whole) -> list[str]:
    return [*common.draft.named("dimensions"), *(slot.name for slot in common.draft.kind.slots)]


def _tables(raw: Mapping[str, Any], entry: RowEntry) -> dict[str, Any]:
    """Return the tables of a case of this one row."""
    tables = {key: value for key, value in raw.items() if key != "row"}
    common = raw.get("dimensions", {})
    tables["dimensions"] = with_named(common, entry.dimensions) if isinstance(common, Mapping) else common
    cage = {key: value for key, value in raw["cage"].items() if key != "rows"}
    tables["cage"] = {**cage, "rollers": entry.rollers} if entry.rollers else cage
    return tables


def _judge_rows(common: Whole, entries: Sequence[RowEntry], faults: Faults) -> None:
    """Judge what rows are among each other, apart from what is in them."""
    if entries and common.draft.kind.one_pocket:
        allowed = f'no rows: kind = "{common.draft.kind.name}" has one pocket'
        faults.add(("row",), "[[row]]", allowed, at_key=True)
        return
    if entries and common.draft.document.cage.rows is not None:
        faults.add(("cage", "rows"), "rows beside [[row]]", "one of the two: a [[row]] has its own count", at_key=True)
    total, names = 0, set[str]()
    for index, entry in enumerate(entries):
        total, name = total + entry.count, entry.name or str(index + 1)
        if total > MOST_ROWS >= total - entry.count:
            faults.add(("row", index, "count"), f"{total} rows in all", f"at most {MOST_ROWS}")
        if name in names:
            allowed = "a name of its own for each row (without one it is named by its number)"
            faults.add(("row", index, "name"), f"{shown(name)} a second time", allowed)
        names.add(name)


def _judge_gaps(common: Whole, rows: Sequence[Differing]) -> None:
    """Every row has the same gaps: note slots that make a gap of one row that others do not have."""
    draft = common.draft
    making = {name for gap in draft.kind.gaps for name in gap.needs} - set(draft.named("dimensions"))
    for index, one in enumerate(rows):
        for name in sorted(making & one.said.keys()):
            found, allowed = f"{name}, which not every row has", f"{name} in [dimensions]: all rows have the same gaps"
            draft.faults.add(("row", index, "dimensions", name), found, allowed, at_key=True)


class RowFaults(Faults):
    """The faults of one row, gathered with those of the file: each at the key of the row that brings it.

    ``said`` is what the row says of dimensions, ``names`` what it may mean.
    """

    def __init__(self, of: Faults, index: int, name: str, said: Mapping[str, Any], names: Sequence[str]) -> None:
        """Gather into ``of`` what is wrong with the row ``index``."""
        super().__init__(of.places, of.file, 0, of._found, set(of._taken_out))
        self.index, self.name, self.said, self.names = index, name, said, names

    def add(
        self,
        path: Path,
        found: str,
        allowed: str,
        *,
        near: str | None = None,
        place: Place | None = None,
        at_key: bool = False,
    ) -> None:
        """Note a fault at the row's own key, or at a common one with the row named; once told is enough."""
        if self.is_out(path):
            return
        self.noted += 1
        if not self._is_said(path) and key_path(path) in self._found:
            return
        own = self._own(path)
        if own == path:
            found = f"{found}, in row {self.name}"
        elif len(path) == 2:
            near = (nearest(str(path[1]), self.names) if path[1] not in self.names else None) or near
        super().add(own, found, allowed, near=near, place=place, at_key=at_key)

    def take_out(self, path: Path) -> None:
        """Remember what is wrong by itself, at the row's own key."""
        super().take_out(self._own(path))

    def is_out(self, path: Path) -> bool:
        """Return whether ``path`` was taken out, here or in what all rows have."""
        return super().is_out(self._own(path)) or (not self._is_said(path) and super().is_out(path))

    def written(self, path: Path) -> str | None:
        """Return the number or word at the row's own key."""
        return super().written(self._own(path))

    def _own(self, path: Path) -> Path:
        """Return the key of the row for that of a dimension of which the row says anything."""
        is_own = path[:1] == ("dimensions",) and path[1:2] and path[1] in self.said
        return ("row", self.index, *path) if is_own else path

    def _is_said(self, path: Path) -> bool:
        """Tell whether the row itself says what stands at ``path``."""
        own = self._own(path)
        return own != path and (len(path) == 2 or path[2] in self.said[str(path[1])])
