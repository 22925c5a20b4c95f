"""One row of rollers as the tables of a case say it: judged by all judges of this room, and built."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from stackup.cage import KINDS, Kind
from stackup.cage import kind as kind_called
from stackup.case import assumptions, build, chains, dimensions, operating, options, requirements
from stackup.case.chains import Chain
from stackup.case.columns import Sheets
from stackup.case.draft import Draft
from stackup.case.faults import Faults, parse, shown
from stackup.case.nominal import evaluate_at_nominal
from stackup.case.scanner import Path
from stackup.case.schema import OF_NO_CAGE, Document
from stackup.case.slot_forms import fitting
from stackup.case.states import MADE
from stackup.case.values import MOST_NAMES
from stackup.chain.model import Model, Requirement
from stackup.chain.symbols import split_next
from stackup.errors import nearest


@dataclass(frozen=True)
class Whole:
    """A row of rollers as far as it is right: its models by state, and their gaps at the nominal."""

    draft: Draft
    chains: Mapping[str, Chain]
    requirements: tuple[Requirement, ...]
    states: Mapping[str, Model]
    nominal: Mapping[str, Mapping[str, Any]]

    def notes(self) -> tuple[str, ...]:
        """Return what is worth a word about a row that is right."""
        draft = self.draft
        doubts = draft.kind.warnings(draft.dimensions)
        return (*doubts, *assumptions.notes(draft, self.chains, self.nominal))


def judged(raw: Mapping[str, Any], faults: Faults, sheets: Sheets) -> Whole:
    """Return what the tables ``raw`` say; what is wrong with them is noted in ``faults``.

    Raises CaseError where it is not even known which cage it is.
    """
    draft = _draft(raw, faults, sheets)
    draft.options = options.judged(draft.kind, draft.named("cage"), faults)
    dimensions.judge(draft)
    draft.operating = operating.judge(draft)
    found = chains.judge(draft)
    chains.judge_use(draft, found.used)
    wanted = requirements.judge(draft, found.right)
    _judge_whole(draft)
    states = build.states(draft, found.right)
    nominal = {state: evaluate_at_nominal(build.known_only(model)) for state, model in states.items()}
    for state, values in nominal.items():
        _judge_nominal(draft, state, values, found.right)
    return Whole(draft, found.right, wanted, states, nominal)


def _draft(raw: Mapping[str, Any], faults: Faults, sheets: Sheets) -> Draft:
    """Return what can be judged further; raises CaseError where it is not even known which cage it is."""
    _judge_counts(raw, faults)
    kind = _kind(raw, faults)
    tables = fitting(_as_kind(raw, kind), kind, faults)
    document = parse(options.without(tables, kind), faults, () if kind and kind.one_pocket else (OF_NO_CAGE,))
    if kind is None or document is None:
        faults.raise_all()
        raise AssertionError("a case without a kind has a fault")
    return Draft(document, raw, kind, faults, sheets, _pockets(kind, document, faults))


def _kind(raw: Mapping[str, Any], faults: Faults) -> Kind | None:
    """Return the kind of cage, for a misspelt one the nearest."""
    path: Path = ("cage", "kind")
    cage = raw.get("cage")
    name = cage.get("kind") if isinstance(cage, Mapping) else None
    if not isinstance(name, str) or name in KINDS:
        return kind_called(name) if isinstance(name, str) else None
    near = nearest(name, KINDS)
    faults.add(path, shown(name), " or ".join(map(shown, KINDS)), near=near)
    faults.take_out(path)
    return kind_called(near) if near else None


def _judge_counts(raw: Mapping[str, Any], faults: Faults) -> None:
    """Stop at once where a table holds more names than any case needs."""
    too_many = False
    for table in ("dimensions", "chains", "requirements"):
        count = len(raw[table]) if isinstance(raw.get(table), Mapping) else 0
        if count > MOST_NAMES:
            too_many = True
            faults.add((table,), f"{count} {table}", f"at most {MOST_NAMES}", at_key=True)
    if too_many:
        faults.raise_all()


def _as_kind(raw: Mapping[str, Any], kind: Kind | None) -> Mapping[str, Any]:
    """Return ``raw`` with the kind that is meant."""
    cage = raw.get("cage")
    return {**raw, "cage": {**cage, "kind": kind.name}} if kind and isinstance(cage, Mapping) else raw


def _pockets(kind: Kind, document: Document, faults: Faults) -> int:
    """Return the number of pockets, 0 where the file does not say it; where only rows say it, that of the first."""
    path, cage = ("cage", "rollers"), document.cage
    if kind.one_pocket:
        if cage.rollers is not None:
            faults.add(path, "rollers", f'no rollers: kind = "{kind.name}" has one pocket', at_key=True)
        return 1
    if cage.rollers is None and document.row and all(row.rollers for row in document.row):
        return document.row[0].rollers or 0
    if cage.rollers is None and not faults.is_out(path):
        faults.add(path, "nothing", "rollers = the number of rollers in one row", at_key=True)
    return cage.rollers or 0


def _judge_whole(draft: Draft) -> None:
    """Note what no parts can have together."""
    for one in draft.kind.contradictions(draft.dimensions):
        draft.faults.add(("dimensions", one.slot, "nominal"), one.found, one.allowed)


def _judge_nominal(draft: Draft, state: str, values: Mapping[str, Any], right: Mapping[str, Chain]) -> None:
    """Note every gap that has no finite value at the nominal in a state."""
    lost = {name for name, value in values.items() if not np.isfinite(value).all()}
    at = "at the nominal" + ("" if state == MADE else f" in the state {state}")
    built_in = sorted(lost - right.keys())
    if built_in:
        found = f"dimensions of which {', '.join(built_in)} is not finite {at}"
        draft.faults.add(("dimensions",), found, "nominals of which every gap is a finite number", at_key=True)
    for name in lost & right.keys():
        uses = {split_next(symbol.name)[0] for symbol in right[name].expression.free_symbols}
        if not uses & lost:
            found = f"a formula that is not finite {at}"
            draft.faults.add(("chains", name, "formula"), found, "a formula with a finite value there")
