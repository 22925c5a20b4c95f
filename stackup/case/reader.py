"""Reads a case: text → tables → schema → dimensions, chains, requirements → Case, with all faults at once."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from stackup.cage import KINDS, Kind
from stackup.cage import kind as kind_called
from stackup.case import assumptions, build, chains, dimensions, operating, requirements
from stackup.case.case import Case, Row, Run
from stackup.case.chains import Chain
from stackup.case.changes import Changes, apply
from stackup.case.columns import Sheets
from stackup.case.draft import Draft
from stackup.case.faults import Faults, parse, shown
from stackup.case.nominal import evaluate_at_nominal
from stackup.case.scanner import Path as KeyPath
from stackup.case.scanner import Places
from stackup.case.schema import CageEntry
from stackup.case.slot_forms import fitting
from stackup.case.source import bytes_of, places_of, tables_of, text_of
from stackup.case.states import MADE
from stackup.case.values import MOST_NAMES, is_law
from stackup.chain.symbols import split_next
from stackup.errors import nearest

LATER = "not built yet: it comes with a later version"
#: keys of the interface that this version refuses
NOT_BUILT: tuple[KeyPath, ...] = (("row",), ("cage", "rows"))


@dataclass(frozen=True)
class _Source:
    """Where a case comes from: its tables, its text ('' from a notebook), its file, its columns' folder."""

    raw: dict[str, Any]
    text: str
    digest: str
    path: Path | None
    folder: Path


def read(path: str | Path) -> Case:
    """Return the case in the file ``path``.

    Raises CaseError with all faults of the file, each once, in its order; where it is no TOML, the first.
    """
    path, file = Path(path), str(path)
    data = bytes_of(path)
    text = text_of(data, file)
    places = places_of(text, file)
    raw = tables_of(text, places, file)
    source = _Source(raw, text, hashlib.sha256(data).hexdigest(), path, path.parent)
    return _case(source, Faults(places, file))


def from_mapping(
    mapping: Mapping[str, Any], file: str = "", text: str = "", folder: str | Path | None = None
) -> Case:
    """Return the case that nested tables say; the same checks as :func:`read`, places only with ``text``.

    ``process.shape`` may be an object with mean, moments and quantile; arrays and tuples count as lists.
    Columns are looked for in ``folder``, by default that of ``file``.  ``digest`` is that of ``text``, else
    of the tables.  Raises CaseError.
    """
    raw = _plain(mapping)
    path = Path(file) if file else None
    data = text or json.dumps(raw, default=_type_name)
    digest = hashlib.sha256(data.encode()).hexdigest()
    near = path.parent if path else Path()
    places = places_of(text, file) if text else Places()
    return _case(_Source(raw, text, digest, path, Path(folder or near)), Faults(places, file))


def changed(case: Case, changes: Changes) -> Case:
    """Return ``case`` with ``changes`` made, checked like any other; its document is empty.

    ``{"cage.rollers": 41, "dimensions.pin_diameter.tolerance": 0.01}``; None takes a key away.
    Raises CaseError for what the changed case does not allow, ValueFault for a path that leads nowhere.
    """
    mapping = _plain(case.mapping)
    apply(mapping, {key: _plain(value) for key, value in changes.items()})
    return from_mapping(mapping, str(case.path or ""), folder=case.folder)


def _type_name(value: Any) -> str:
    return type(value).__qualname__


def _plain(value: Any) -> Any:
    """Return nested tables, lists and plain numbers for whatever a notebook holds."""
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple) and not is_law(value):
        return [_plain(item) for item in value]
    return value


# From tables to a case ------------------------------------------------------------------------------------


def _case(source: _Source, faults: Faults) -> Case:
    """Return the case; raises CaseError with everything that is wrong with it."""
    draft = _draft(source, faults)
    document, kind = draft.document, draft.kind
    draft.options = _options(kind, document.cage, faults)
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
    faults.raise_all()
    return Case(
        title=document.title,
        kind=kind.name,
        rollers=draft.pockets,
        dimensions=draft.dimensions,
        chains={name: found.right[name] for name in document.chains},
        requirements=wanted,
        run=Run(**document.run.model_dump()),
        digest=source.digest,
        path=source.path,
        folder=source.folder,
        options=draft.options,
        entries=document.dimensions,
        document=source.text,
        mapping=source.raw,
        notes=(*kind.warnings(draft.dimensions), *assumptions.notes(draft, found.right, nominal)),
        rows=(Row("1", 1, draft.pockets, states),),
    )


def _draft(source: _Source, faults: Faults) -> Draft:
    """Return what can be judged further; raises CaseError where it is not even known which cage it is."""
    raw = source.raw
    _judge_counts(raw, faults)
    kind = _kind(raw, faults)
    document = parse(fitting(_as_kind(raw, kind), kind, faults), faults)
    if kind is None or document is None:
        faults.raise_all()
        raise AssertionError("a case without a kind has a fault")
    return Draft(document, raw, kind, faults, Sheets(source.folder), _pockets(kind, document.cage, faults))


def _kind(raw: Mapping[str, Any], faults: Faults) -> Kind | None:
    """Return the kind of cage, for a misspelt one the nearest; refuse what is not built yet."""
    path, name = ("cage", "kind"), _at(raw, ("cage", "kind"))
    _refuse_what_is_not_built(raw, faults)
    if not isinstance(name, str) or name in KINDS:
        return kind_called(name) if isinstance(name, str) else None
    near = nearest(name, KINDS)
    faults.add(path, shown(name), " or ".join(map(shown, KINDS)), near=near)
    faults.take_out(path)
    return kind_called(near) if near else None


def _refuse_what_is_not_built(raw: Mapping[str, Any], faults: Faults) -> None:
    for path in NOT_BUILT:
        if _at(raw, path) is not None:
            found = f"[{path[0]}]" if len(path) == 1 else f"the key {path[-1]}"
            faults.add(path, found, LATER, at_key=True)
            faults.take_out(path)


def _judge_counts(raw: Mapping[str, Any], faults: Faults) -> None:
    """Stop at once where a table holds more names than any case needs."""
    for table in ("dimensions", "chains", "requirements"):
        count = len(raw[table]) if isinstance(raw.get(table), Mapping) else 0
        if count > MOST_NAMES:
            faults.add((table,), f"{count} {table}", f"at most {MOST_NAMES}", at_key=True)
    faults.raise_all()


def _at(raw: Any, path: KeyPath) -> Any:
    for part in path:
        raw = raw.get(part) if isinstance(raw, Mapping) else None
    return raw


def _as_kind(raw: Mapping[str, Any], kind: Kind | None) -> Mapping[str, Any]:
    """Return ``raw`` without the keys that are not built yet, with the kind that is meant."""
    tables: dict[str, Any] = {key: value for key, value in raw.items() if (key,) not in NOT_BUILT}
    if isinstance(tables.get("cage"), Mapping):
        tables["cage"] = {
            key: value for key, value in tables["cage"].items() if ("cage", key) not in NOT_BUILT
        }
        tables["cage"] |= {"kind": kind.name} if kind else {}
    return tables


def _pockets(kind: Kind, cage: CageEntry, faults: Faults) -> int:
    """Return the number of pockets, 0 where the file does not say it."""
    path: KeyPath = ("cage", "rollers")
    if kind.one_pocket:
        if cage.rollers is not None:
            faults.add(path, "rollers", f'no rollers: kind = "{kind.name}" has one pocket', at_key=True)
        return 1
    if cage.rollers is None and not faults.is_out(path):
        faults.add(path, "nothing", "rollers = the number of rollers in one row", at_key=True)
    return cage.rollers or 0


def _options(kind: Kind, cage: CageEntry, faults: Faults) -> dict[str, Any]:
    """Return the options of the kind, each as given or by default."""
    options: dict[str, Any] = {option.name: option.default for option in kind.options}
    for key in cage.model_fields_set - {"kind", "rollers"}:
        if key in options:
            options[key] = getattr(cage, key)
        else:
            allowed = ", ".join(("kind", *([] if kind.one_pocket else ["rollers"]), *options))
            faults.add(("cage", key), f"the key {key}", f'kind = "{kind.name}" has {allowed}', at_key=True)
    for option in kind.options:
        if options[option.name] is None and not faults.is_out(("cage", option.name)):
            wanted = f"{option.name} = {' or '.join(map(shown, option.choices))}: {option.meaning}"
            faults.add(("cage", option.name), "nothing", wanted, place=faults.places.value(("cage", "kind")))
    return options


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
