"""Reads a case: text → tables → schema → dimensions, chains, requirements → Case, with all faults at once."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from stackup.cage import KINDS, Kind
from stackup.cage import kind as kind_called
from stackup.case import build, chains, dimensions, requirements
from stackup.case.case import MADE, Case, Row, Run
from stackup.case.chains import Chain
from stackup.case.columns import Sheets
from stackup.case.draft import Draft
from stackup.case.faults import Faults, parse, shown
from stackup.case.nominal import evaluate_at_nominal
from stackup.case.scanner import Place, Places, TooDeep, scan
from stackup.case.scanner import Path as KeyPath
from stackup.case.schema import CageEntry, is_law
from stackup.chain.model import Model
from stackup.errors import CaseError, Fault, nearest

#: Largest case file in bytes; measured columns stand in files of their own.
LARGEST_FILE = 2**20
LATER = "not built yet: it comes with a later version"
#: keys of the interface that this version refuses
NOT_BUILT: tuple[KeyPath, ...] = (("operating",), ("row",), ("cage", "rows"), ("cage", "ring_face"))
KINDS_NOT_BUILT = ("tapered",)


def read(path: str | Path) -> Case:
    """Return the case in the file ``path``.

    Raises CaseError with all faults of the file, each once, in its order; where it is no TOML, with the first.
    """
    path = Path(path)
    data = _bytes(path)
    text = _text(data, str(path))
    places = _places(text, str(path))
    return _case(_tables(text, places, str(path)), Faults(places, str(path)), text, data, path)


def from_mapping(
    mapping: Mapping[str, Any], file: str = "", text: str = "", folder: str | Path = "."
) -> Case:
    """Return the case that nested tables say; the same checks as :func:`read`, without places.

    ``process.shape`` may be an object with mean, moments and quantile; arrays and tuples count as lists.
    Columns are looked for in ``folder``.  Raises CaseError.
    """
    raw = _plain(mapping)
    places = _places(text, file) if text else Places()
    path = Path(file) if file else None
    return _case(raw, Faults(places, file), text, text.encode() or repr(raw).encode(), path, Path(folder))


def _plain(value: Any) -> Any:
    """Return nested tables, lists and plain numbers for whatever a notebook holds."""
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple) and not is_law(value):
        return [_plain(item) for item in value]
    return value


# From file to tables --------------------------------------------------------------------------------------


def _refused(file: str, found: str, allowed: str, place: Place | None = None) -> CaseError:
    place = place or Place()
    return CaseError([Fault("", found, allowed, None, place.line, place.column, file)])


def _bytes(path: Path) -> bytes:
    file = str(path)
    try:
        if path.is_dir():
            raise _refused(file, "a folder", "a case file (TOML)")
        if not path.is_file():
            raise _refused(file, "no such file", "a case file (TOML)")
        if path.stat().st_size > LARGEST_FILE:
            raise _refused(
                file, f"a file of {path.stat().st_size} bytes", f"a case file of at most {LARGEST_FILE} bytes"
            )
        return path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise _refused(
            file, f"a file that cannot be read ({reason})", "a readable case file (TOML)"
        ) from error


def _text(data: bytes, file: str) -> str:
    """Return the text of a file with line ends ``\\n``."""
    if (zero := data.find(b"\0")) >= 0:
        raise _refused(
            file, "a zero byte: this is no text", "a case file (TOML) in UTF-8", _line_of(data, zero)
        )
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        place = _line_of(data, error.start)
        raise _refused(
            file, f"the byte 0x{data[error.start]:02x}, which is no UTF-8", "a text in UTF-8", place
        ) from error


def _line_of(data: bytes, offset: int) -> Place:
    return Place(data.count(b"\n", 0, offset) + 1, offset - data.rfind(b"\n", 0, offset))


def _places(text: str, file: str) -> Places:
    try:
        return scan(text)
    except TooDeep as error:
        raise _refused(
            file, "brackets or dotted keys nested too deep", str(error), Places(text).at(error.offset)
        ) from error


def _tables(text: str, places: Places, file: str) -> dict[str, Any]:
    """Return the tables of ``text``.  Raises CaseError at the first thing that is no TOML."""
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise _syntax_fault(str(error), text, places, file) from error


_WHERE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")


def _syntax_fault(message: str, text: str, places: Places, file: str) -> CaseError:
    where = _WHERE.search(message)
    reason = _WHERE.sub("", message)
    place = places.at(len(text.rstrip()))
    if where and where[1]:
        place = Place(int(where[1]), int(where[2]))
    elif places.unclosed is not None:
        place, reason = places.at(places.unclosed), "a string or bracket that is never closed"
    if reason.startswith("Cannot") and places.again:
        path, offset = places.again[0]
        place, reason = places.at(offset), f"{'.'.join(map(str, path))} a second time"
    return _refused(file, f"no TOML: {reason}"[:200], "TOML 1.0, each key once", place)


# From tables to a case ------------------------------------------------------------------------------------


def _case(
    raw: dict[str, Any], faults: Faults, text: str, data: bytes, path: Path | None, folder: Path | None = None
) -> Case:
    kind = _kind(raw, faults)
    document = parse(_as_kind(raw, kind), faults)
    if kind is None or document is None:
        faults.raise_all()
        raise AssertionError("a case without a kind has a fault")
    options = _options(kind, document.cage, faults)
    sheets = Sheets(folder or (path.parent if path else Path()))
    draft = Draft(document, raw, kind, faults, sheets, _pockets(kind, document.cage, faults))
    dimensions.judge(draft)
    found = chains.judge(draft)
    chains.judge_use(draft, found.used)
    wanted = requirements.judge(draft, found.right)
    model = build.model(draft, found.right, options)
    _judge_nominal(draft, model, found.right)
    faults.raise_all()
    return Case(
        title=document.title,
        kind=kind.name,
        rollers=draft.pockets,
        dimensions=draft.dimensions,
        chains={name: found.right[name] for name in document.chains},
        requirements=wanted,
        run=Run(**document.run.model_dump()),
        digest=hashlib.sha256(data).hexdigest(),
        path=path,
        options=options,
        entries=document.dimensions,
        document=text,
        mapping=raw,
        notes=(*draft.notes, *_notes(draft), *kind.warnings(draft.dimensions)),
        rows=(Row("1", 1, draft.pockets, {MADE: model}),),
    )


def _kind(raw: Mapping[str, Any], faults: Faults) -> Kind | None:
    """Return the kind of cage, for a misspelt one the nearest; refuse what is not built yet."""
    for path in NOT_BUILT:
        if _at(raw, path) is not None:
            found = f"[{path[0]}]" if len(path) == 1 else f"the key {path[-1]}"
            faults.add(path, found, LATER, at_key=True)
            faults.take_out(path)
    path, name = ("cage", "kind"), _at(raw, ("cage", "kind"))
    if not isinstance(name, str) or name in KINDS:
        return kind_called(name) if isinstance(name, str) else None
    near, later = nearest(name, KINDS), f"; {name} is {LATER}" if name in KINDS_NOT_BUILT else ""
    faults.add(path, shown(name), f"{' or '.join(map(shown, KINDS))}{later}", near=near)
    faults.take_out(path)
    return kind_called(near) if near else None


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
    return options


def _judge_nominal(draft: Draft, model: Model, right: Mapping[str, Chain]) -> None:
    """Note every gap that has no finite value at the nominal."""
    if not draft.pockets:
        return
    values = evaluate_at_nominal(build.known_only(model))
    lost = [name for name, value in values.items() if not np.isfinite(value).all()]
    built_in = [name for name in lost if name not in right]
    if built_in:
        found = f"{', '.join(built_in)}, which no finite number comes out of at the nominal"
        draft.faults.add(("dimensions",), found, "dimensions of which every gap is finite", at_key=True)
    for name in lost:
        if name in right and not built_in:
            found = "a formula that is not finite at the nominal"
            draft.faults.add(("chains", name, "formula"), found, "a formula with a finite value there")


def _notes(draft: Draft) -> list[str]:
    """Return which gaps are left out and for want of which slots."""
    left_out = draft.gaps_left_out()
    return [f"{name} is left out: {', '.join(slots)} is not given" for name, slots in left_out.items()]
