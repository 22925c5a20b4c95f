"""Faults of a case file: gathered all at once, each once, in the order of the file.

Two sources meet here: what pydantic finds against :mod:`stackup.case.schema`, put into plain words, and
what the rest of this room finds.  A key that is wrong by itself is taken out before the rest is judged; the
gatherer remembers it, so that its absence makes no second fault.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, get_args, get_origin

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from stackup.case.fault_words import LIMITS, NAMED, TYPE_WORDS, TYPES
from stackup.case.scanner import Path, Place, Places
from stackup.case.schema import TABLES, Document
from stackup.case.values import FORMS, LARGEST, TAGS, OneOf, Table
from stackup.errors import CaseError, Fault, FormulaError, ValueFault, nearest, number_meant, whole_number_meant

#: Most faults of the schema that are put into words.
MOST_PROBLEMS = 1000
#: Most names that one fault lists.
_MOST_LISTED = 40
#: How the rooms below say which name is nearest.
_HINT = re.compile(r"(?: \(did you mean (\S+)\?\)|; nearest: (\S+))$")


@dataclass
class Faults:
    """What is wrong with one case file so far."""

    places: Places = field(default_factory=Places)
    file: str = ""
    #: how often a fault was found, the same one again included
    noted: int = 0
    _found: dict[str, tuple[Place, Fault]] = field(default_factory=dict)
    _taken_out: set[Path] = field(default_factory=set)

    def __len__(self) -> int:
        """Return how many faults there are."""
        return len(self._found)

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
        """Note one fault at ``path``: at its value, at its key, or at ``place``.

        Nothing is noted where the key has a fault already, or where it, or a table it stands in, was taken
        out as wrong by itself.
        """
        if self.is_out(path):
            return
        self.noted += 1
        where = place or (self.places.key(path) if at_key else self.places.value(path))
        fault = Fault(key_path(path), found, allowed, near, where.line, where.column, self.file)
        self._found.setdefault(fault.key, (where, fault))

    def add_formula(self, path: Path, error: FormulaError) -> None:
        """Note a fault inside the formula at ``path``, at the very character."""
        place = self.places.inside(path, error.place)
        found = f"{error.found} (character {error.place + 1} of the formula)"
        self.add(path, found, error.allowed, near=error.nearest, place=place)

    def add_value(self, path: Path, error: ValueFault) -> None:
        """Note a value that a room below refused, at the key of the table ``path`` that it names, if any."""
        where = (*path, *error.name.split(".")) if error.name else path
        hint = _HINT.search(error.allowed)
        allowed, near = _HINT.sub("", error.allowed), hint[1] or hint[2] if hint else None
        self.add(where, error.found, allowed, near=near)

    def written(self, path: Path) -> str | None:
        """Return the number or word at ``path`` as the file has it; None for strings, lists and tables."""
        return self.places.written(path)

    def take_out(self, path: Path) -> None:
        """Remember that what stands at ``path`` is wrong by itself and judged no further."""
        self._taken_out.add(path)

    def is_out(self, path: Path) -> bool:
        """Return whether ``path``, or a table it stands in, was taken out."""
        return any(path[:length] in self._taken_out for length in range(1, len(path) + 1))

    def in_order(self) -> list[Fault]:
        """Return all faults in the order of the file."""
        found = sorted(self._found.values(), key=lambda item: (item[0].line, item[0].column))
        return [fault for _, fault in found]

    def raise_all(self) -> None:
        """Raise CaseError with all faults; return where there is none."""
        if self._found:
            raise CaseError(self.in_order())


def key_path(path: Path) -> str:
    """Return ``dimensions.pin_diameter.tolerance[1]`` for a path."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            text += ("." if text else "") + _shown_key(part)
    return text


def _shown_key(key: str) -> str:
    is_plain = key.isascii() and key.replace("_", "a").replace("-", "a").isalnum()
    return key if is_plain and len(key) <= 60 else repr(key[:60])


def shown(value: Any) -> str:
    """Return a value as a case file writes it, shortened where it is long."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{_printable(value)}"'
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list):
        return "[" + ", ".join(map(shown, value[:3])) + (", …]" if len(value) > 3 else "]")
    if isinstance(value, int) and abs(value) >= LARGEST:
        return f"a whole number of about {math.log10(abs(value)):.0f} digits"
    return str(value) if isinstance(value, int | float) else f"a {type(value).__name__}"


def listed(names: Iterable[str], none: str = "") -> str:
    """Return names with commas, the last ones of a long list left out; ``none`` for an empty list."""
    known = list(names)
    more = ["…"] if len(known) > _MOST_LISTED else []
    return ", ".join([*known[:_MOST_LISTED], *more]) or none


def _printable(text: str) -> str:
    cut = text if len(text) <= 60 else text[:59] + "…"
    return "".join(char if char.isprintable() else "�" for char in cut)


# What pydantic finds --------------------------------------------------------------------------------------


def parse(raw: Mapping[str, Any], faults: Faults, untold: Collection[str] = ()) -> Document | None:
    """Return ``raw`` as a document, without the keys that are wrong by themselves; those become faults.

    ``untold``: words that the schema knows and this case may not use, which no fault offers.

    None where nothing useful is left ([cage] is wrong as a whole).
    """
    rest: Any = _copied(raw)
    for attempt in range(100):
        try:
            return Document.model_validate(rest)
        except ValidationError as error:
            problems = [_Problem(item, untold) for item in error.errors(include_url=False)]
            if attempt == 0:
                _note(problems[:MOST_PROBLEMS], faults)
            paths = {problem.culprit(rest) for problem in problems}
        if ("cage",) in paths or () in paths:
            return None
        for path in paths:
            faults.take_out(path)
            _remove(rest, path)
    return None


def note_errors(error: ValidationError, path: Path, faults: Faults) -> None:
    """Note what is wrong with the value at ``path``, which was judged by itself."""
    _note([_Problem({**item, "loc": path}) for item in error.errors(include_url=False)], faults)


def _copied(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _copied(item) for key, item in value.items()}
    return [_copied(item) for item in value] if isinstance(value, list) else value


def _remove(root: Any, path: Path) -> None:
    """Take ``path`` out of nested tables; a table above it may be gone already."""
    for part in path[:-1]:
        root = root.get(part, {}) if isinstance(root, dict) else root[part]
    root.pop(path[-1], None)


def _note(problems: Iterable[_Problem], faults: Faults) -> None:
    """Note every problem once; a key that is missing because it is misspelt is one problem, not two."""
    meant: set[Path] = set()
    words = []
    for problem in problems:
        said = problem.words()
        words.append((problem, said))
        if problem.kind == "extra_forbidden" and said.near:
            meant.add((*problem.path[:-1], said.near))
    for problem, said in words:
        if problem.kind != "missing" or problem.path not in meant:
            found = problem.as_written(faults) or said.found
            faults.add(said.path, found, said.allowed, near=said.near, at_key=said.at_key)
    for path in meant:
        faults.take_out(path)


@dataclass(frozen=True)
class _Said:
    """A fault in words, before its place is looked up."""

    path: Path
    found: str
    allowed: str
    near: str | None = None
    at_key: bool = False


class _Problem:
    """One error of pydantic's: ``path`` in the file, ``kind``, what is known of it."""

    def __init__(self, error: ErrorDetails, untold: Collection[str] = ()) -> None:
        self.untold = untold
        self.kind, self.value, self.known = error["type"], error["input"], error.get("ctx", {})
        self.loc = error["loc"]
        self.path: Path = tuple(part for part in self.loc if not _is_tag(part))

    def as_written(self, faults: Faults) -> str | None:
        """Return a number of a wrong sort or range as the file has it."""
        is_number = isinstance(self.value, float) and math.isfinite(self.value)
        return faults.written(self.path) if is_number and self.kind != "extra_forbidden" else None

    def culprit(self, root: Any) -> Path:
        """Return the path of the key to take out: the innermost key that no list holds, or a table of a list."""
        path = self.path[:-1] if self.kind == "missing" else self.path
        inside: Path = ()
        for position, part in enumerate(path):
            if isinstance(part, int):
                if position != 1 or not isinstance(root[part], dict):  # a list of values, not of [[tables]]
                    return inside
            elif part not in root:
                return inside
            else:
                inside = path[: position + 1]
            root = root[part]
        return inside

    def words(self) -> _Said:
        """Return the problem in words."""
        say = getattr(self, f"_{self.kind}", None)
        if say is not None:
            said: _Said = say()
            return said
        return _Said(self.path, shown(self.value), self._allowed(), self._number_meant())

    def _number_meant(self) -> str | None:
        """Return the number that a text means where a number is allowed, the whole number that another one means."""
        if self.kind == "int_type" and isinstance(self.value, float | str):
            meant = number_meant(self.value) if isinstance(self.value, str) else str(self.value)
            return (whole_number_meant(meant) or (meant if meant.lstrip("+-").isdigit() else None)) if meant else None
        return number_meant(self.value) if self.kind == "float_type" and isinstance(self.value, str) else None

    def _allowed(self) -> str:
        if ends := self._both_ends():
            return f"{ends[0]:.10g} … {ends[1]:.10g}"
        if self.kind in TYPE_WORDS:
            named = NAMED.get(str(self.path[0])) if len(self.path) == 2 else None
            return named or TYPES.get(self._key(), TYPE_WORDS[self.kind])
        limit = LIMITS.get(self.kind)
        return limit(self.known) if limit else str(self.known.get("error", self.kind.replace("_", " ")))

    def _both_ends(self) -> tuple[float, float] | None:
        """Return between which numbers a number that is too small or too large must lie; None where one end is open."""
        if self.kind not in ("greater_than_equal", "less_than_equal") or self.loc[-1] != self._key():
            return None
        field = table_at(self.loc[:-1]).model_fields.get(self._key())
        found = [*field.metadata, *_metadata(field.annotation)] if field else []
        low, high = (next((getattr(one, end) for one in found if hasattr(one, end)), None) for end in ("ge", "le"))
        return None if low is None or high is None or high >= LARGEST else (low, high)

    def _key(self) -> str:
        """Return the name of the key that the value stands at, '' inside a list."""
        return str(self.path[-1]) if self.path and isinstance(self.path[-1], str) else ""

    def _missing(self) -> _Said:
        table = table_at(self.loc[:-1])
        example = _example(table, self._key(), self.untold)
        return _Said(self.path, "nothing", f"{table.what} needs {example}", at_key=True)

    def _extra_forbidden(self) -> _Said:
        table = table_at(self.loc[:-1])
        keys = list(table.model_fields)
        found, key = f"the key {_shown_key(self._key())}", self._key()
        near = None if key in _keys_of_kin(table) else nearest(key, keys)  # in the wrong place, not misspelt
        return _Said(self.path, found, f"{table.what} has {', '.join(keys)}", near, at_key=True)

    def _union_tag_not_found(self) -> _Said:
        """A dimension that has none or several of the keys that say what it is."""
        one = f"exactly one of {', '.join(FORMS)}"
        present = [key for key in FORMS if key in self.value]
        if present:
            return _Said((*self.path, present[1]), " beside ".join(present), one, at_key=True)
        for key in self.value:
            if near := nearest(str(key), FORMS):
                return _Said((*self.path, key), f"the key {_shown_key(str(key))}", one, near, at_key=True)
        return _Said(self.path, f"none of {', '.join(FORMS)}", one, at_key=True)

    def _word(self) -> _Said:
        words = ", ".join(f'"{word}"' for word in self.known["words"])
        return _Said(self.path, shown(self.value), words, self.known["near"])

    def _literal_error(self) -> _Said:
        words = [word.strip("'") for word in self.known["expected"].replace(" or ", ", ").split(", ")]
        words = [word for word in words if word not in self.untold]
        near = nearest(self.value, words) if isinstance(self.value, str) else None
        return _Said(self.path, shown(self.value), ", ".join(f'"{word}"' for word in words), near)


def _example(table: type[Table], key: str, untold: Collection[str]) -> str:
    """Return how a key is written: with the words it takes, or what it says."""
    field = table.model_fields[key]
    if key in TYPES and any(_tables_in(field.annotation)):
        return TYPES[key]
    words = [word for word in get_args(field.annotation) if isinstance(word, str) and word not in untold]
    words += [word for one in field.metadata if isinstance(one, OneOf) for word in one.words]
    if words:
        return f"{key} = " + " or ".join(f'"{word}"' for word in words)
    said = (field.description or "").rstrip(".")
    return f"{key} = …, {said[:1].lower()}{said[1:]}"


def _metadata(annotation: Any) -> Iterator[Any]:
    """Yield what a type says beside itself, alone or as one of several."""
    for one in (annotation, *get_args(annotation)):
        for said in getattr(one, "__metadata__", ()):
            yield from getattr(said, "metadata", (said,))


def _is_tag(part: str | int) -> bool:
    return part in TABLES or part in TAGS


def table_at(loc: tuple[str | int, ...]) -> type[Table]:
    """Return the table of the schema in which pydantic's location ``loc``, tags included, stands."""
    tables: tuple[type[Table], ...] = (Document,)
    is_name = False
    for part in loc:
        if is_name:
            is_name = False
        elif _is_tag(part):
            tables = (TABLES[str(part)],)
        else:
            annotation = tables[0].model_fields[str(part)].annotation
            tables, is_name = tuple(_tables_in(annotation)), _holds_many(annotation)
    return tables[0]


def _keys_of_kin(table: type[Table]) -> set[str]:
    """Return the keys of ``table`` and of those like it: all dimensions, all processes."""
    eldest = [kin for kin in table.__mro__ if issubclass(kin, Table) and kin is not Table][-1]
    kin = [eldest]
    for each in kin:
        kin += each.__subclasses__()
    return {key for each in kin for key in each.model_fields}


def _tables_in(annotation: Any) -> Iterator[type[Table]]:
    if isinstance(annotation, type) and issubclass(annotation, Table):
        yield annotation
    for inner in get_args(annotation):
        yield from _tables_in(inner)


def _holds_many(annotation: Any) -> bool:
    """Return whether the next part of a location is a name or an index and no key."""
    return any(get_origin(item) in (dict, list) for item in (annotation, *get_args(annotation)))
